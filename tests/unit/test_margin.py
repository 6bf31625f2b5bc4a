"""Margins: factors at which melting just begins, and their band."""

from __future__ import annotations

import math
import statistics
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import fusetherm as ft
from fusetherm.answers.margin import LARGEST, POPULATION, Margin, hottest, margin
from fusetherm.calibration.band import CONFIDENCE, spread_of
from fusetherm.current.sampled import constant
from fusetherm.current.shapes import exponential_decay, rectangular_pulse
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError
from fusetherm.solver.run import simulate
from fusetherm.solver.steady import minimum_fusing_current

PULSE = Waveform(time=[0, 0, 0.02, 0.02, 0.1], current=[0, 125, 125, 0, 0])
LOADED = Waveform(time=[0, 0.1, 0.1, 0.15, 0.15, 0.3], current=[25, 25, 150, 150, 25, 25])


def codes(near: Margin) -> list[str]:
    return [note.code for note in near.notes]


@pytest.mark.parametrize(
    ("wave", "options"),
    [
        (PULSE, {}),
        (PULSE, {"start": 25.0}),
        (PULSE.scaled(20.0), {}),
        (exponential_decay(300.0, 0.05, 0.5), {"ambient_c": 85.0}),
        (constant(30.0, 3600.0), {}),
        (constant(30.0, 10.0), {"after": "hold"}),
    ],
    ids=["pulse", "after 25 A", "opens", "decay at 85", "an hour", "held"],
)
def test_onset_lies_just_beyond_the_factor(published: Any, wave: Any, options: Any) -> None:
    factor = margin(published.truth, wave, duration=False, **options).current_factor
    below = simulate(published.truth, wave.scaled(0.999 * factor), **options)
    above = simulate(published.truth, wave.scaled(1.001 * factor), **options)
    assert below.onset_time is None
    assert above.onset_time is not None


@pytest.mark.parametrize("amperes", [125.0, 2000.0])
def test_onset_lies_just_beyond_the_duration(published: Any, amperes: float) -> None:
    wave = rectangular_pulse(amperes, 0.02)
    near = margin(published.truth, wave)
    factor = near.duration_factor
    assert factor is not None
    assert (factor > 1.0) == (near.current_factor > 1.0) == (amperes < 1000.0)
    shorter, longer = (
        simulate(published.truth, rectangular_pulse(amperes, 0.02 * factor * k))
        for k in (0.999, 1.001)
    )
    assert shorter.onset_time is None
    assert longer.onset_time is not None


def test_adiabatic_pulses_go_by_their_joule_integral(published: Any) -> None:
    # without loss of heat a pulse four times as long carries half the current
    one, four = (margin(published.truth, constant(1000.0, t), duration=False).current_factor
                 for t in (1e-4, 4e-4))  # fmt: skip
    assert one / four == pytest.approx(2.0, rel=2e-3)


def test_a_long_load_goes_by_the_minimum_fusing_current(published: Any) -> None:
    near = margin(published.truth, constant(20.0, 20000.0), duration=False)
    least = minimum_fusing_current(published.truth)
    assert near.current_factor == pytest.approx(least / 20.0, rel=2e-3)


def test_only_the_pulse_is_scaled(published: Any) -> None:
    near = margin(published.truth, LOADED, pulse_only=25.0, duration=False)
    whole = margin(published.truth, LOADED, duration=False)
    assert near.current_factor > whole.current_factor
    for k, melts in ((0.999, False), (1.001, True)):
        f = near.current_factor * k
        wave = Waveform(time=LOADED.time, current=25.0 + f * (LOADED.values - 25.0))
        assert (simulate(published.truth, wave).onset_time is not None) == melts


@settings(max_examples=12)
@given(st.lists(st.floats(-40.0, 200.0), min_size=2, max_size=2, unique=True))
def test_margin_falls_with_the_ambient(published: Any, ambients: list[float]) -> None:
    cold, hot = sorted(ambients)
    factors = [
        margin(published.truth, PULSE, ambient_c=a, duration=False).current_factor
        for a in (cold, hot)
    ]
    assert factors[1] < factors[0] * (1.0 + 5e-4)
    if hot - cold > 5.0:
        assert factors[1] < factors[0]


def test_a_model_has_no_band_and_a_calibration_has(published: Any, fitted: Any) -> None:
    bare = margin(published.truth, PULSE)
    assert bare.current_low == bare.current_factor == bare.current_high
    assert "no-band" in codes(bare)
    near = margin(fitted, PULSE)
    assert near.current_low * near.current_high == pytest.approx(near.current_factor**2)
    assert 0.01 < math.log(near.current_high / near.current_factor) / 1.645 < 0.1
    assert [name for name, _ in near.sources] == ["unit to unit", "fit"]
    assert (near.level, codes(near)) == (0.9, [])
    assert math.fsum(share for _, share in near.sources) == pytest.approx(1.0)


def test_the_instrument_widens_the_band_wherever_the_capture_sits(
    fitted: Any, tmp_path: Any
) -> None:
    from fusetherm.current.capture import read_capture

    path = tmp_path / "a.csv"
    rows = "\n".join(f"{t / 1000},{100 if 20 < t < 60 else 0}" for t in range(100))
    path.write_text("time (s),current (A)\n" + rows + "\n")
    exact, rough = (
        read_capture(path, gain_tolerance=gain, offset_sd=offset, flat_top_is_real=True)
        for gain, offset in ((0.0, 0.0), (0.03, 5.0))
    )
    plain = dict(margin(fitted, exact, duration=False).sources)
    assert not {"clamp gain", "clamp offset"} & set(plain)
    for wave in (rough, rough.then(constant(0.0, 1.0))):
        near = margin(fitted, wave, duration=False)
        sd = math.log(near.current_high / near.current_factor) / 1.6448536
        sources = dict(near.sources)
        assert sources["clamp gain"] * sd**2 == pytest.approx(0.03**2, rel=1e-3)
        # 5 A of 100 A: the same share of the current
        assert sources["clamp offset"] * sd**2 == pytest.approx(0.05**2, rel=0.1)


def test_the_band_is_that_of_the_draws_asked_one_by_one(fitted: Any) -> None:
    near = margin(fitted, PULSE, duration=False)
    factors = [
        margin(model, PULSE, duration=False).current_factor for model in fitted.models("installed")
    ]
    units = [
        margin(model, PULSE, duration=False).current_factor
        for model in fitted.units.units(fitted.installed)
    ]
    band = spread_of(
        np.log(np.array(factors) / near.current_factor),
        np.log(np.array(units) / near.current_factor),
    )
    assert near.current_low / near.current_factor == pytest.approx(band.low, rel=1e-3)
    assert dict(near.sources)["fit"] == pytest.approx(dict(band.shares)["fit"], rel=0.02)


def test_connections_differ(fitted: Any) -> None:
    load = constant(30.0, 7200.0)
    installed, test = (
        margin(fitted, load, connection=c, duration=False).current_factor
        for c in ("installed", "test")
    )
    assert installed > 1.03 * test


def test_next_to_nothing_is_far_from_melting(published: Any) -> None:
    near = margin(published.truth, constant(1e-4, 1.0))
    assert near.current_factor == LARGEST
    assert near.duration_factor is None
    assert {"margin-beyond-reach", "no-duration-melts"} <= set(codes(near))


def test_where_a_duration_has_no_meaning_there_is_none(published: Any) -> None:
    assert margin(published.truth, PULSE, duration=False).duration_factor is None
    held = margin(published.truth, constant(30.0, 1.0), after="hold")
    assert held.duration_factor is None
    assert margin(published.truth, exponential_decay(300.0, 0.05, 0.5)).duration_factor is None


@pytest.mark.parametrize(
    ("wave", "options", "code"),
    [
        (constant(0.0, 1.0), {}, "no-current-to-scale"),
        (constant(25.0, 1.0), {"pulse_only": 25.0}, "no-current-to-scale"),
        (constant(90.0, 600.0).then(constant(91.0, 1.0)), {"pulse_only": 90.0},
         "melts-without-scaling"),
        (PULSE, {"ambient_c": 430.0}, "ambient-above-melting"),
        (PULSE, {"ambient_c": [(0.0, 20.0), (1.0, 430.0)]}, "ambient-above-melting"),
    ],
)  # fmt: skip
def test_questions_without_an_answer(published: Any, wave: Any, options: Any, code: str) -> None:
    with pytest.raises(InputError, match=code):
        margin(published.truth, wave, **options)


def test_hottest_of_a_course() -> None:
    assert hottest(40.0) == 40.0
    assert hottest([(0.0, 20.0), (5.0, 60.0), (9.0, -4.0)]) == 60.0


def test_a_long_record_gives_the_factors_of_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    time = np.linspace(0.0, 2.0, 40_001)
    noise = np.random.default_rng(5).normal(0.0, 0.5, time.size)
    wave = ft.Waveform(time=time, current=20.0 + 90.0 * np.exp(-time / 0.1) + noise)
    model = ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"])
    fit = ft.calibrate(model)
    short = ft.margin(fit, wave)
    monkeypatch.setattr("fusetherm.answers.margin.LONG_RECORD", time.size)
    whole = ft.margin(fit, wave)
    assert short.current_factor == pytest.approx(whole.current_factor, rel=2e-4)
    assert short.duration_factor == pytest.approx(whole.duration_factor, rel=1e-3)


# one unit, and the weakest of many --------------------------------------------------------------


def test_units_and_knowledge_are_kept_apart(fitted: Any) -> None:
    """The spread of units counts once: at the quantile of the population, not in the confidence."""
    near = margin(fitted, PULSE, duration=False)
    sd = math.log(near.current_high / near.current_factor) / 1.6448536
    shares = dict(near.sources)
    unit, known = (sd * math.sqrt(shares[name]) for name in ("unit to unit", "fit"))
    assert math.hypot(unit, known) == pytest.approx(sd)
    # a share of a normal law beyond the quantile, one-sided confidence of 95 %
    weakest = math.log(near.needed) - statistics.NormalDist().inv_cdf(CONFIDENCE) * known
    share = 0.5 * math.erfc(weakest / unit / math.sqrt(2.0))
    assert 1.0 / share == pytest.approx(POPULATION, rel=1e-6)


def test_the_factor_needed_keeps_its_promise() -> None:
    """Drawn: in 95 of 100 states of knowledge no more than one unit in a hundred melts.

    With quantiles of 1 in 100 instead of 1 in 10,000, so that few draws tell.
    """
    rng = np.random.default_rng(7)
    unit, known = 0.03, 0.04
    normal = statistics.NormalDist()
    needed = math.exp(normal.inv_cdf(0.99) * unit + normal.inv_cdf(0.95) * known)
    # ln of the true median factor, when the fit says it is just the one needed
    medians = math.log(needed) + known * rng.standard_normal(20_000)
    melting = np.array([normal.cdf(-m / unit) for m in medians.tolist()])
    assert np.mean(melting <= 0.01) == pytest.approx(0.95, abs=0.005)
    counted_twice = math.exp(normal.inv_cdf(0.99) * unit + 1.6449 * math.hypot(unit, known))
    assert counted_twice > 1.01 * needed


def test_a_bare_model_needs_what_units_differ_by(published: Any) -> None:
    assert margin(published.truth, PULSE, duration=False).needed == pytest.approx(1.118, abs=5e-4)
