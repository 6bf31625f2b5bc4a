"""The current that parts a model at a time, and steady values, against the solver itself."""

from __future__ import annotations

import math
from typing import Any

import pytest

from fusetherm.calibration.observations import CURRENT_NOISE, Observation
from fusetherm.calibration.residual import Bench, spread, steady_value
from fusetherm.current.sampled import constant
from fusetherm.errors import CalibrationError
from fusetherm.solver.run import simulate
from fusetherm.solver.steady import minimum_fusing_current, steady_state


@pytest.fixture(scope="module")
def bench(published: Any) -> Bench:
    return Bench.of(published.truth, 23.0, 64)


@pytest.mark.parametrize("time", [0.05, 1.0, 30.0, 1000.0])
@pytest.mark.parametrize("off", [-0.3, 0.3])
def test_current_at_a_time_parts_at_that_time(bench: Bench, time: float, off: float) -> None:
    x, slope = bench.current_at(time, bench.least + 0.5 + off)
    assert bench.log_time(x, 10.0 * time) == pytest.approx(math.log(time), abs=5e-4 * abs(slope))
    step = 1e-3
    around = [bench.log_time(x + s, 10.0 * time) for s in (-step, step)]
    assert slope == pytest.approx((around[1] - around[0]) / (2 * step), rel=0.6)


def test_log_time_is_that_of_simulate(bench: Bench, published: Any) -> None:
    run = simulate(published.truth, constant(120.0, 60.0), ambient_c=23.0)
    assert run.pre_arcing_time is not None
    assert bench.log_time(math.log(120.0), 60.0) == pytest.approx(
        math.log(run.pre_arcing_time), abs=1e-6
    )


def test_below_the_minimum_fusing_current_nothing_parts(bench: Bench, published: Any) -> None:
    assert math.exp(bench.least) == pytest.approx(minimum_fusing_current(published.truth))
    assert bench.log_time(bench.least - 1e-3, 1e5) == math.inf
    assert bench.log_time(bench.least + 1e-2, 1e5) < math.inf


def test_slope_of_one_time_constant(bench: Bench) -> None:
    # t = -tau ln(1 - r²) with r the minimum fusing current over the current
    def log_time(x: float) -> float:
        return math.log(-math.log1p(-math.exp(2.0 * (bench.least - x))))

    x, h = bench.least + 0.2, 1e-5
    assert bench.slope(x) == pytest.approx((log_time(x + h) - log_time(x - h)) / (2 * h), rel=1e-6)
    assert bench.slope(bench.least + 9.0) == -2.0


def test_a_point_out_of_reach_is_an_error(bench: Bench) -> None:
    class Never(Bench):
        def log_time(self, log_current: float, until: float) -> float:
            return math.inf

    with pytest.raises(CalibrationError, match="current-not-found"):
        Never(bench.network, bench.ambient).current_at(1.0, 4.0)


def observation(kind: Any, where: str, current: float = 40.0) -> Observation:
    return Observation(kind, "x", current, 0.1, 0.05, 23.0, where)


def test_steady_values(bench: Bench, published: Any) -> None:
    steady = steady_state(published.truth, 40.0)
    assert steady is not None
    drop = steady_value(bench, observation("drop", "blades"))
    assert drop == pytest.approx(steady.element_voltage)
    contacts = published.truth.left.contact.resistance + published.truth.right.contact.resistance
    with_contacts = steady_value(bench, observation("drop", "clips"))
    assert with_contacts - drop == pytest.approx(40.0 * contacts)
    rises = {w: steady_value(bench, observation("rise", w)) for w in ("blade", "clip")}
    assert rises["blade"] == pytest.approx(steady.node_temperature_c["blade_left"] - 23.0)
    assert rises["clip"] < rises["blade"]
    assert steady_value(bench, observation("drop", "blades", 500.0)) == math.inf


def test_spread_is_in_current_for_times() -> None:
    time = observation("time", "")
    assert spread(time, -2.0) == pytest.approx(math.hypot(CURRENT_NOISE, 0.025))
    assert spread(time, -20.0) < spread(time, -2.0)
    assert spread(observation("drop", "blades"), -2.0) == 0.05
