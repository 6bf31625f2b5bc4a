"""physics/fins.py: all branches of the heated fin."""

from __future__ import annotations

import dataclasses
import doctest
import math

import pytest
from scipy.integrate import solve_bvp

from fusetherm.errors import SolveError
from fusetherm.physics import fins
from fusetherm.physics.fins import (
    Fin,
    fin_critical_current,
    fin_minimum_fusing_current,
    fin_steady,
    fin_time_to,
    fin_transient,
    long_wire_current,
)

WIRE = Fin(math.pi / 4 * 0.25e-6, math.pi * 0.5e-3, 20e-3, 385.0, 1.72e-8, 3.9e-3, 30.0)
HEAT = 8960.0 * 385.0


def test_docstring_examples() -> None:
    tried = doctest.testmod(fins)
    assert tried.attempted > 0
    assert tried.failed == 0


@pytest.mark.parametrize("current", [5.0, 15.0, 30.0])
def test_steady_state_against_a_numerical_solution(current: float) -> None:
    m2, s = WIRE.exponent_squared(current), WIRE.heat(current)
    scale = WIRE.half_length

    def field(x, y):  # type: ignore[no-untyped-def]
        return [y[1], scale**2 * (m2 * y[0] - s)]

    def ends(a, b):  # type: ignore[no-untyped-def]
        return [a[1], b[0]]

    numerical = solve_bvp(field, ends, [0.0, 0.5, 1.0], [[1.0] * 3, [0.0] * 3], tol=1e-9)
    assert fin_steady(WIRE, current).centre == pytest.approx(numerical.sol(0.0)[0], rel=1e-8)


def test_branches_join_smoothly() -> None:
    # m^2 vanishes where the gain by R(T) balances the side loss
    balance = math.sqrt(
        WIRE.film_coefficient
        * WIRE.perimeter
        * WIRE.area
        / (WIRE.resistivity * WIRE.temperature_coefficient)
    )
    here = fin_steady(WIRE, balance)
    assert here.exponent_squared == pytest.approx(0.0, abs=1e-10)
    assert here.centre == pytest.approx(WIRE.heat(balance) * WIRE.half_length**2 / 2.0, rel=1e-9)
    step = 1e-5
    below, above = (fin_steady(WIRE, balance * (1 + e)) for e in (-step, step))
    for name in ("centre", "mean", "voltage"):
        curve = [getattr(state, name) for state in (below, here, above)]
        assert curve[2] - 2.0 * curve[1] + curve[0] == pytest.approx(0.0, abs=1e-8 * curve[1])
        assert curve[0] < curve[1] < curve[2]


def test_voltage_times_current_leaves_by_side_and_ends() -> None:
    state, current = fin_steady(WIRE, 15.0), 15.0
    side = WIRE.film_coefficient * WIRE.perimeter * 2 * WIRE.half_length * state.mean
    root = math.sqrt(-state.exponent_squared)
    slope = (
        WIRE.heat(current) / root**2 * root * math.tan(root * WIRE.half_length)
    )  # of (s/mu^2)(cos(mu x)/cos(mu l) - 1) at the end
    ends = 2 * WIRE.conductivity * WIRE.area * slope
    assert state.voltage * current == pytest.approx(side + ends, rel=1e-12)


def test_above_the_critical_current_there_is_no_steady_state() -> None:
    critical = fin_critical_current(WIRE)
    assert fin_steady(WIRE, 0.999999 * critical).centre > 1e5
    for current in (critical, -1.2 * critical):
        with pytest.raises(SolveError, match="no steady state") as caught:
            fin_steady(WIRE, current)
        assert caught.value.code == "no-steady-state"


@pytest.mark.parametrize("half_length", [5e-3, 20e-3, 0.5])
def test_minimum_fusing_current_brings_the_rise(half_length: float) -> None:
    fin = dataclasses.replace(WIRE, half_length=half_length)
    current = fin_minimum_fusing_current(fin, 400.0)
    assert fin_steady(fin, current).centre == pytest.approx(400.0, rel=1e-6)
    assert current > long_wire_current(fin, 400.0) * (1.0 - 1e-9)


def test_without_temperature_coefficient() -> None:
    plain = dataclasses.replace(WIRE, temperature_coefficient=0.0)
    current = fin_minimum_fusing_current(plain, 400.0)
    assert fin_steady(plain, current).centre == pytest.approx(400.0, rel=1e-12)


def test_very_long_wire_does_not_overflow() -> None:
    long = dataclasses.replace(WIRE, half_length=50.0)
    current = 0.8 * long_wire_current(long, 400.0)
    theta = fin_steady(long, current).centre
    assert long_wire_current(long, theta) == pytest.approx(current, rel=1e-12)


def test_transient_ends_at_the_steady_state() -> None:
    centre, mean = fin_transient(WIRE, 15.0, 500.0, HEAT)
    state = fin_steady(WIRE, 15.0)
    assert (centre, mean) == pytest.approx((state.centre, state.mean), rel=1e-10)
    assert fin_transient(WIRE, 15.0, 0.0, HEAT) == (0.0, 0.0)


def test_early_rise_of_the_middle_is_that_of_a_lump_without_ends() -> None:
    current, time = 100.0, 1e-3
    rate = WIRE.heat(current) * WIRE.conductivity / HEAT
    assert fin_transient(WIRE, current, time, HEAT)[0] == pytest.approx(rate * time, rel=3e-3)


def test_times_fall_with_current_and_end_at_the_minimum() -> None:
    minimum = fin_minimum_fusing_current(WIRE, 1060.0)
    times = [fin_time_to(WIRE, f * minimum, 1060.0, HEAT) for f in (1.001, 1.1, 2.0, 5.0)]
    assert times == sorted(times, reverse=True)
    assert math.isinf(fin_time_to(WIRE, 0.999 * minimum, 1060.0, HEAT))
    above = fin_time_to(WIRE, 1.2 * fin_critical_current(WIRE), 1060.0, HEAT)
    assert fin_transient(WIRE, 1.2 * fin_critical_current(WIRE), above, HEAT)[0] == pytest.approx(
        1060.0, rel=1e-9
    )
