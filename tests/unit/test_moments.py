"""Moments and excursions of I² over a step against quadrature and brute force."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fusetherm.solver.kernels.moments import (
    excursion,
    moments,
    partial_moments,
    segment_at,
    to_breakpoint,
)
from fusetherm.solver.pieces import table_of

Floats = npt.NDArray[np.float64]
NODES, WEIGHTS = np.polynomial.legendre.leggauss(4)

spans = st.lists(st.floats(0.05, 2.0), min_size=1, max_size=5)
numbers = st.floats(0.0, 10.0)


class Squared:
    """A block as the current floor hands it over."""

    def __init__(self, steps: list[float], rows: list[tuple[float, float, float]]) -> None:
        self.time = np.concatenate(([0.0], np.cumsum(steps)))
        self.s0, self.s1, self.s2 = (
            np.array(column, dtype=float) for column in zip(*rows, strict=True)
        )
        self.repeats, self.start = 1000, 0.0

    def value(self, t: Floats) -> Floats:
        local = np.mod(t, self.time[-1])
        j = np.clip(np.searchsorted(self.time, local, side="right") - 1, 0, len(self.s0) - 1)
        d = local - self.time[j]
        return np.asarray(self.s0[j] + d * (self.s1[j] + d * self.s2[j]))

    def edges(self, a: float, b: float) -> Floats:
        """Breakpoints from a to b, both included, through the repeats."""
        period = self.time[-1]
        cycles = np.arange(np.floor(a / period), np.ceil(b / period) + 1)
        inner = np.unique((cycles[:, None] * period + self.time[:-1]).ravel())
        return np.concatenate(([a], inner[(inner > a + 1e-9) & (inner < b - 1e-9)], [b]))

    def integrals(self, a: float, b: float) -> tuple[float, float]:
        """int I² and int (t - a) I² by Gauss-Legendre between breakpoints."""
        e = self.edges(a, b)
        middle, half = 0.5 * (e[1:] + e[:-1]), 0.5 * np.diff(e)
        t = middle[:, None] + half[:, None] * NODES
        w = half[:, None] * WEIGHTS * self.value(t)
        return float(w.sum()), float((w * (t - a)).sum())


#: A node that stays at zero.
STILL = (0.0, 0.0, 0.0, 0.0)


@st.composite
def blocks(draw: st.DrawFn) -> Squared:
    steps = draw(spans)
    rows = [(draw(numbers), draw(numbers), draw(numbers)) for _ in steps]
    return Squared(steps, rows)


@settings(max_examples=60)
@given(blocks(), st.floats(0.0, 0.999), st.floats(0.01, 12.0))
def test_moments_through_many_periods(block: Squared, at: float, periods: float) -> None:
    table, whole0, whole1 = table_of(block)
    offset, dt = at * block.time[-1], periods * block.time[-1]
    m0, m1 = moments(table, whole0, whole1, offset, dt)
    e0, e1 = block.integrals(offset, offset + dt)
    assert m0 == pytest.approx(e0, rel=1e-10, abs=1e-12)
    assert m1 == pytest.approx(e1, rel=1e-10, abs=1e-12)


def test_moments_of_ten_billion_periods() -> None:
    table, whole0, whole1 = table_of(Squared([4e-6, 6e-6], [(9.0, 0.0, 0.0), (0.0, 0.0, 0.0)]))
    dt = 1e-5 * 1e10
    m0, m1 = moments(table, whole0, whole1, 0.0, dt)
    assert m0 == pytest.approx(3.6 * dt, rel=1e-12)
    # the on-time sits early in its period by .3 of it
    assert m1 == pytest.approx(3.6 * dt * (0.5 * dt - 0.3e-5), rel=1e-12)


def test_partial_moments_of_nothing() -> None:
    table, _, _ = table_of(Squared([1.0], [(2.0, 0.0, 0.0)]))
    assert partial_moments(table, 0.5, 0.5, 0.0) == (0.0, 0.0)
    assert partial_moments(table, 0.25, 0.75, 10.0) == pytest.approx((1.0, 10.25))


@pytest.mark.parametrize(("offset", "segment"), [(0.0, 0), (0.9, 0), (1.0, 1), (2.5, 2), (9.0, 2)])
def test_segment_at(offset: float, segment: int) -> None:
    table, _, _ = table_of(Squared([1.0, 1.0, 2.0], 3 * [(1.0, 0.0, 0.0)]))
    assert segment_at(table, offset) == segment


@settings(max_examples=60)
@given(blocks(), st.floats(0.0, 0.999), st.floats(0.01, 2.9))
def test_excursion_against_brute_force(block: Squared, at: float, periods: float) -> None:
    table, whole0, whole1 = table_of(block)
    offset, dt = at * block.time[-1], periods * block.time[-1]
    m0, m1 = moments(table, whole0, whole1, offset, dt)
    mean, slope = m0 / dt, 12.0 * (m1 / dt - 0.5 * m0) / dt**2
    # a node that warms evenly from 300 K to 310 K but for what W adds
    node = (300.0, 10.0 / dt, 310.0, 10.0 / dt)
    low, high, where, top, top_at = excursion(table, offset, dt, mean, slope, 4, 2.0, node)
    edges = block.edges(offset, offset + dt)
    ages = np.sort(np.concatenate((edges, 0.5 * (edges[1:] + edges[:-1])))) - offset
    w = np.array(
        [
            block.integrals(offset, offset + age)[0] - age * (mean + 0.5 * slope * (age - dt))
            if age > 0.0
            else 0.0
            for age in ages
        ]
    )
    scale = max(m0, 1e-3)
    assert low == pytest.approx(min(w.min(), 0.0), abs=1e-9 * scale)
    assert high == pytest.approx(max(w.max(), 0.0), abs=1e-9 * scale)
    assert 0.0 <= where <= dt * (1.0 + 1e-12)
    w[-1] = 0.0
    warmest = 300.0 + 10.0 * ages / dt + 2.0 * w
    assert top == pytest.approx(warmest.max(), abs=1e-8 * scale + 1e-9)
    assert 0.0 <= top_at <= dt * (1.0 + 1e-12)


def test_a_pulse_inside_a_long_step_stands_out() -> None:
    rows = [(0.0, 0.0, 0.0), (1e4, 0.0, 0.0), (0.0, 0.0, 0.0)]
    table, whole0, whole1 = table_of(Squared([50.0, 0.02, 49.98], rows))
    m0, m1 = moments(table, whole0, whole1, 0.0, 100.0)
    low, high, where, *_ = excursion(
        table, 0.0, 100.0, m0 / 100.0, 12.0 * (m1 / 100.0 - 0.5 * m0) / 1e4, 3, 0.0, STILL
    )
    assert high - low == pytest.approx(200.0, rel=1e-3)
    assert where in (pytest.approx(50.0), pytest.approx(50.02))


@pytest.mark.parametrize(
    ("offset", "dt", "taken"),
    [
        (0.0, 3.1, 3.0),  # a breakpoint in the last tenth
        (0.0, 2.9, 2.9),  # none
        (0.5, 0.52, 0.5),
        (3.0, 0.01, 0.01),  # within a segment
        (0.0, 4.0, 4.0),  # the end itself
        (3.5, 0.6, 0.6),  # into the next period
    ],
)
def test_a_step_ends_at_a_breakpoint_near_its_end(offset: float, dt: float, taken: float) -> None:
    table, _, _ = table_of(Squared([1.0, 2.0, 1.0], 3 * [(1.0, 0.0, 0.0)]))
    assert to_breakpoint(table, offset, dt) == taken


def test_a_straight_line_has_no_excursion() -> None:
    table, _, _ = table_of(Squared([1.0, 2.0], [(2.0, 3.0, 0.0), (5.0, 3.0, 0.0)]))
    low, high, *_ = excursion(table, 0.5, 2.0, 2.0 + 3.0 * 1.5, 3.0, 3, 0.0, STILL)
    assert (low, high) == pytest.approx((0.0, 0.0), abs=1e-12)
