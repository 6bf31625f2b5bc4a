"""physics/tables.py: monotone interpolation, straight ends, exact integral."""

from __future__ import annotations

import doctest
import math
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator, PPoly

from fusetherm.errors import InputError
from fusetherm.physics import tables
from fusetherm.physics.tables import Table, quadrature

BENT = Table((200.0, 300.0, 450.0, 500.0), (1.0, 2.0, 2.5, 7.0), "invented")

three_points = st.lists(st.floats(1.0, 9.0), min_size=3, max_size=6).map(
    lambda values: Table(tuple(250.0 + 50.0 * i for i in range(len(values))), tuple(values), "")
)


def test_docstring_examples() -> None:
    tried = doctest.testmod(tables)
    assert tried.attempted > 0
    assert tried.failed == 0


@given(three_points)
def test_passes_through_its_points_without_overshoot(table: Table) -> None:
    assert table(np.array(table.temperature_k)) == pytest.approx(table.value, rel=1e-12)
    for (a, b), (p, q) in zip(
        zip(table.temperature_k, table.temperature_k[1:], strict=False),
        zip(table.value, table.value[1:], strict=False),
        strict=True,
    ):
        between = table(np.linspace(a, b, 31))
        assert between.min() >= min(p, q) - 1e-12
        assert between.max() <= max(p, q) + 1e-12


@given(three_points)
def test_ends_are_straight_and_smooth(table: Table) -> None:
    last, value = table.temperature_k[-1], table.value[-1]
    slope = table.slope(last - 1e-9)
    assert table(last + 40.0) == pytest.approx(value + 40.0 * slope, abs=1e-7)
    first = table.temperature_k[0]
    assert table(first - 40.0) == pytest.approx(
        table.value[0] - 40.0 * table.slope(first + 1e-9), abs=1e-7
    )


@pytest.mark.parametrize(("start", "end"), [(150.0, 620.0), (320.0, 470.0), (500.0, 210.0)])
def test_integral_is_that_of_the_interpolant(start: float, end: float) -> None:
    inside = [b for b in BENT.temperature_k if min(start, end) < b < max(start, end)]
    expected = quad(lambda t: BENT(t), start, end, points=inside, epsabs=1e-11)[0]
    assert BENT.integral(start, end) == pytest.approx(expected, rel=1e-12)


def test_integral_of_many_ends() -> None:
    ends = np.array([180.0, 300.0, 555.0])
    assert BENT.integral(250.0, ends) == pytest.approx([BENT.integral(250.0, e) for e in ends])


def test_two_points_make_a_line_and_one_a_constant() -> None:
    line, constant = Table((300.0, 400.0), (1.0, 2.0), ""), Table((300.0,), (4.0,), "")
    assert line(np.array([200.0, 350.0, 900.0])) == pytest.approx([0.0, 1.5, 7.0])
    assert constant(np.array([10.0, 5000.0])) == pytest.approx([4.0, 4.0])
    assert constant.integral(300.0, 310.0) == pytest.approx(40.0)


def test_scalar_in_scalar_out() -> None:
    assert type(BENT(310.0)) is float
    assert type(BENT.slope(310.0)) is float
    assert type(BENT.integral(310.0, 320.0)) is float
    assert BENT(np.array([[310.0], [320.0]])).shape == (2, 1)


def test_travels_between_processes_after_use() -> None:
    used = BENT(333.0)
    back = pickle.loads(pickle.dumps(BENT))
    assert back == BENT
    assert hash(back) == hash(BENT)
    assert back(333.0) == used


@pytest.mark.parametrize(
    ("temperature", "value"),
    [
        ((300.0, 300.0), (1.0, 2.0)),
        ((400.0, 300.0), (1.0, 2.0)),
        ((300.0, 400.0), (1.0,)),
        ((300.0, 400.0), (1.0, -2.0)),
        ((300.0, 400.0), (1.0, math.nan)),
        ((300.0, math.inf), (1.0, 2.0)),
        ((), ()),
    ],
)
def test_unsound_tables_are_refused(
    temperature: tuple[float, ...], value: tuple[float, ...]
) -> None:
    with pytest.raises(InputError) as caught:
        Table(temperature, value, "")
    assert caught.value.code == "property-table-unsound"


def test_quadrature_heeds_breaks_and_direction() -> None:
    def kinked(x: np.ndarray) -> np.ndarray:
        return np.abs(x - 0.3)

    exact = (0.3**2 + 0.7**2) / 2.0
    assert quadrature(kinked, 0.0, 1.0, [0.3, 5.0]) == pytest.approx(exact, rel=1e-14)
    assert quadrature(kinked, 1.0, 0.0, [0.3]) == pytest.approx(-exact, rel=1e-14)
    assert quadrature(kinked, 0.5, 0.5) == 0.0


def of_scipy(table: Table) -> PPoly:
    """The same interpolant from scipy's classes."""
    x, y = np.array(table.temperature_k), np.array(table.value)
    if x.size == 1:
        return PPoly([[y[0]]], [x[0], x[0] + 1.0])
    inner = PchipInterpolator(x, y)
    first, last = inner.derivative()(x[[0, -1]])
    left, right = [0.0, 0.0, first, y[0] - first], [0.0, 0.0, last, y[-1]]
    knots = np.concatenate([[x[0] - 1.0], x, [x[-1] + 1.0]])
    return PPoly(np.column_stack([left, inner.c, right]), knots)


def test_the_cubics_are_those_of_scipy() -> None:
    """Value, slope and integral, inside and outside, of tables with bumps, flats and few points."""
    chance = np.random.default_rng(3)
    for k in range(60):
        count = int(chance.integers(1, 9))
        x = 200.0 + np.cumsum(chance.uniform(1.0, 100.0, count))
        y = chance.uniform(0.1, 2.0, count)
        if count > 3 and k % 3 == 0:
            y[1] = y[2]
        table = Table(tuple(x), tuple(y if k % 2 else np.sort(y)), "invented")
        expected = of_scipy(table)
        whole = expected.antiderivative()
        at = np.concatenate([chance.uniform(x[0] - 150.0, x[-1] + 150.0, 50), x])
        assert table(at) == pytest.approx(expected(at), rel=1e-13, abs=1e-13)
        assert table.slope(at) == pytest.approx(expected(at, 1), rel=1e-12, abs=1e-14)
        integral = whole(at) - whole(300.0)
        assert table.integral(300.0, at) == pytest.approx(integral, rel=1e-12, abs=1e-10)
