"""Curve models: closed forms, exact recovery, agreement between their two ways, comparison."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fusetherm.calibration.curve_models.base import CurvePoints, corrected_information
from fusetherm.calibration.curve_models.compare import (
    CURVE_MODELS,
    compare_curve_models,
    fit_curve_model,
)
from fusetherm.calibration.curve_models.lumped import ConstantAction, Ladder, PowerLaw, ladder
from fusetherm.calibration.curve_models.network import NetworkCurve
from fusetherm.calibration.curve_models.three_lumps import ThreeLumps
from fusetherm.current.waveform import Waveform
from fusetherm.errors import CalibrationError, InputError
from fusetherm.fuse.definition import load_fuse
from fusetherm.fuse.published import Curve, CurvePoint

EXAMPLE = load_fuse(Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml")
LUMPS = ThreeLumps((2e3, 2.0, 4.0, 1.4, 0.5, 30.0, 0.4), 1.2, 0.6, 420.0)
TWO = Ladder((2e-4, 1e-4), (0.5, 20.0), 420.0)
SIMPLE = (ConstantAction(2e3, 420.0), PowerLaw(90.0, 3.0), Ladder((3e-4,), (4.0,), 420.0))


def published(model: Any, times: Any) -> Any:
    points = tuple(CurvePoint(current=model.current_at(float(t)), time=float(t)) for t in times)
    curve = Curve(time_kind="pre-arcing", ambient_c=23.0, source="computed", points=points)
    return replace(EXAMPLE, curve=curve, melting_integrals=())


def square(current: float, duration: float) -> Waveform:
    return Waveform(time=[0.0, duration], current=[current, current])


def test_one_time_constant_is_its_closed_form() -> None:
    model = Ladder((1.0 / 50.0**2,), (7.0,), 420.0)
    assert model.minimum_fusing_current() == pytest.approx(50.0)
    for current in (50.5, 80.0, 400.0):
        time = 7.0 * math.log(1.0 / (1.0 - (50.0 / current) ** 2))
        assert model.time_at(current) == pytest.approx(time, rel=1e-9)
        assert model.current_at(time) == pytest.approx(current, rel=1e-9)
    assert model.time_at(49.9) == math.inf


def test_short_times_are_adiabatic() -> None:
    action = 1.0 / (2e-4 / 0.5 + 1e-4 / 20.0)
    assert TWO.current_at(1e-6) ** 2 * 1e-6 == pytest.approx(action, rel=1e-5)


@pytest.mark.parametrize("model", [*SIMPLE, TWO, LUMPS], ids=lambda m: m.name)
@pytest.mark.parametrize("ambient_c", [None, -40.0, 85.0])
def test_time_and_current_are_inverse_and_a_square_pulse_agrees(
    model: Any, ambient_c: float | None
) -> None:
    for time in (1e-3, 0.7, 30.0):
        current = model.current_at(time, ambient_c)
        assert model.time_at(current, ambient_c) == pytest.approx(time, rel=1e-6)
    factor = model.current_factor(square(40.0, 0.7), ambient_c)
    assert 40.0 * factor == pytest.approx(model.current_at(0.7, ambient_c), rel=1e-5)


def test_simple_models_come_back_from_their_own_points() -> None:
    times = np.geomspace(0.01, 50.0, 8)
    for model in SIMPLE:
        found = fit_curve_model(model.name, published(model, times))
        for a, b in zip(found.quantities, model.quantities, strict=True):
            assert a.value == pytest.approx(b.value, rel=1e-6)


def test_two_rungs_come_back_and_are_chosen() -> None:
    definition = published(TWO, np.geomspace(0.02, 100.0, 10))
    found = ladder(CurvePoints.of(definition), 420.0, 2, "exponentials")
    assert found.time_constants == pytest.approx(TWO.time_constants, rel=1e-4)
    assert found.weights == pytest.approx(TWO.weights, rel=1e-4)
    assert fit_curve_model("exponentials", definition).parameter_count == 4.0


def test_rungs_follow_a_waveform_as_scipy_does() -> None:
    wave = Waveform(time=[0, 1, 3, 3, 4], current=[0, 90, 20, 60, 0])
    tau, w = np.array(TWO.time_constants), np.array(TWO.weights)

    def rate(t: float, z: Any) -> Any:
        return (w * float(wave.current(t)) ** 2 - z) / tau

    highest = 0.0
    start: Any = np.zeros(2)
    for a, b in ((0.0, 1.0), (1.0, 3.0 - 1e-12), (3.0, 4.0)):
        done = solve_ivp(rate, (a, b), start, rtol=1e-10, atol=1e-13, max_step=2e-3)
        start, highest = done.y[:, -1], max(highest, float(done.y.sum(axis=0).max()))
    assert TWO.peak_rise(wave) == pytest.approx(highest, rel=1e-5)


def test_long_repeats_are_those_followed_run_by_run() -> None:
    cycle = Waveform(time=[0, 0.2, 0.2, 1.0], current=[80, 80, 5, 5])
    long = TWO.peak_rise(cycle.repeated(200))
    state, peak = np.zeros(2), 0.0
    (block,) = cycle.repeated(200).blocks()
    for _ in range(200):
        state, peak = TWO._through(block, state, peak)
    assert long == pytest.approx(peak, rel=1e-10)


def test_three_lumps_agree_with_scipy() -> None:
    """The two stages in closed form against the enthalpies integrated by scipy."""
    current = 1.3 * LUMPS.minimum_fusing_current()
    time = LUMPS.time_at(current)
    level = 1.0 + LUMPS.latent

    def off(log_time: float) -> float:
        return LUMPS._peak(square(current, math.exp(log_time)), 1.0, 0.0) - level

    found = math.exp(brentq(off, math.log(time) - 0.3, math.log(time) + 0.3, xtol=1e-7))
    assert time == pytest.approx(found, rel=1e-5)


def test_three_lumps_without_passages_are_adiabatic() -> None:
    alone = replace(LUMPS, values=(2e3, 1e-9, 4.0, 1.4, 1e-9, 30.0, 1e-9))
    b, s = LUMPS.resistance_rise, 100.0**2
    time = 2e3 / s * (math.log1p(b) / b + LUMPS.latent / (1.0 + b))
    assert alone.time_at(100.0) == pytest.approx(time, rel=1e-6)


def test_three_lumps_meet_their_own_points() -> None:
    times = np.geomspace(0.02, 200.0, 10)
    found = fit_curve_model("three_lumps", published(LUMPS, times))
    for time in np.sqrt(times[1:] * times[:-1]):
        assert found.current_at(time) == pytest.approx(LUMPS.current_at(time), rel=0.005)
    assert 3.0 < found.parameter_count < 7.0


def test_ambient_scales_the_rise_to_melting() -> None:
    ratio = math.sqrt((420.0 - 125.0) / (420.0 - 23.0))
    assert TWO.current_at(5.0, 125.0) == pytest.approx(ratio * TWO.current_at(5.0))
    assert SIMPLE[1].current_at(5.0, 125.0) == SIMPLE[1].current_at(5.0)
    with pytest.raises(InputError, match="ambient-above-melting"):
        TWO.current_at(5.0, 430.0)


def test_information_has_no_value_without_room() -> None:
    assert corrected_information(3.0, 2.0, 10) == pytest.approx(3.0 + 4.0 + 12.0 / 7.0)
    assert corrected_information(3.0, 5.0, 6) == math.inf


def test_comparison_finds_the_model_the_points_were_made_with() -> None:
    definition = published(SIMPLE[2], np.geomspace(0.02, 20.0, 8))
    names = CURVE_MODELS[:3]
    found = compare_curve_models(definition, names=names)
    assert found.best == "one_time_constant"
    assert found.held_out_rms[2] < 1e-6 < found.held_out_rms[1] < found.held_out_rms[0]
    assert np.all(found.held_out_rms[:2] > found.fitted_rms[:2])
    assert int(np.argmin(found.aicc)) == 2
    left = CurvePoints.of(definition).without({3})
    assert len(left) == 7
    dataset = found.to_xarray()
    assert dataset["held_out_off"].dims == ("model", "point")
    assert "one time constant" in str(found)
    assert [row["model"] for row in found.rows()] == list(names)
    upper, lower = found.plot().axes
    assert len(upper.lines) == 4
    assert lower.get_ylabel() == "off when left out (%)"
    folded = compare_curve_models(definition, names=names, folds=4)
    assert folded.held_out_rms[2] < 1e-6


def test_what_cannot_be_compared_is_refused() -> None:
    definition = published(SIMPLE[2], [0.1, 1.0, 5.0, 20.0])
    with pytest.raises(InputError, match="unknown-curve-model"):
        fit_curve_model("two_lumps", definition)
    with pytest.raises(InputError, match="folds-out-of-range"):
        compare_curve_models(definition, folds=9)
    with pytest.raises(CalibrationError, match="too-few-observations"):
        compare_curve_models(definition, names=("power_law",))


def test_the_network_is_that_of_the_calibration(fitted: Any) -> None:
    found = NetworkCurve(fitted)
    current = found.current_at(1.0)
    assert found.time_at(current) == pytest.approx(1.0, rel=2e-3)
    assert found.current_factor(square(current, 1.0)) == pytest.approx(1.0, rel=2e-3)
    assert found.minimum_fusing_current(85.0) < found.minimum_fusing_current()
    assert 2.0 < found.parameter_count < len(found.quantities)
