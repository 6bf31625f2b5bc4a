"""Both ends of the published curve: what the margin has to cover beyond them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from fusetherm.answers.carry import carry
from fusetherm.answers.margin import margin
from fusetherm.answers.published_range import CLOSE, extrapolation, longest_time
from fusetherm.current.sampled import constant
from fusetherm.current.waveform import Waveform
from fusetherm.fuse.published import Hold, MeltingIntegral
from fusetherm.solver.steady import minimum_fusing_current


def with_points(fit: Any, points: Any) -> Any:
    curve = replace(fit.definition.curve, points=tuple(points))
    return replace(fit, definition=replace(fit.definition, curve=curve))


@pytest.fixture(scope="module")
def slow(fitted: Any) -> Any:
    """The same fit with nothing but its four slowest points published."""
    points = sorted(fitted.definition.curve.points, key=lambda p: p.time)[-4:]
    assert points[0].time > 2.0
    return with_points(fitted, points)


def pulse(current: float, duration: float) -> Waveform:
    return Waveform(
        time=[0, 0, duration, duration, 2 * duration], current=[0, *[current] * 2, 0, 0]
    )


def to_melt(fit: Any, duration: float) -> float:
    near = margin(fit, constant(100.0, duration), connection="test", duration=False)
    return 100.0 * near.current_factor


def test_inside_the_curve_nothing_is_added(fitted: Any) -> None:
    shortest = min(p.time for p in fitted.definition.curve.points)
    found = extrapolation(fitted, pulse(50.0, 1.01 * shortest), current_factor=3.0, lasting=0.0)
    assert (found.factor, found.notes) == (1.0, ())


def test_a_curve_that_ends_nearly_adiabatic_holds_for_shorter_pulses(fitted: Any) -> None:
    shortest = min(fitted.definition.curve.points, key=lambda p: p.time)
    for duration in (0.9 * shortest.time, 1e-2 * shortest.time, 1e-6 * shortest.time):
        wave = pulse(50.0, duration)
        found = extrapolation(fitted, wave, current_factor=3.0, lasting=0.0)
        assert found.factor == 1.0
        assert [n.code for n in found.notes] == ["outside-fitted-range"]
        assert "nearly adiabatic" in found.notes[0].text
    # which is a fact of the element: its melting integral hardly falls any more
    ratio = (
        to_melt(fitted, shortest.time) ** 2 * shortest.time / (to_melt(fitted, 1e-4) ** 2 * 1e-4)
    )
    assert 1.0 < ratio < CLOSE**2


def test_a_curve_that_ends_early_has_to_be_covered_once_more(slow: Any) -> None:
    shortest = min(p.time for p in slow.definition.curve.points)
    factors = []
    for duration in (0.9 * shortest, 0.1 * shortest, 1e-2):
        found = extrapolation(slow, pulse(50.0, duration), current_factor=3.0, lasting=0.0)
        own = to_melt(slow, shortest) * math.sqrt(shortest)
        own /= to_melt(slow, duration) * math.sqrt(duration)
        factors.append(found.factor)
        assert found.factor == pytest.approx(own if own > CLOSE else 1.0, rel=1e-3)
    assert 1.0 == factors[0] < CLOSE < factors[1] < factors[2]


def test_a_limit_is_no_published_time(slow: Any) -> None:
    """Gates and holds say nothing about when the mean unit parts: they extend no curve."""
    gated = replace(
        slow,
        definition=replace(
            slow.definition,
            gates=("iso8820-3-high-current-blade",),
            holds=(Hold(current=40.0, time=1e6, source="x"),),
        ),
    )
    assert longest_time(gated) == longest_time(slow)
    wave, options = pulse(50.0, 0.1), {"current_factor": 3.0, "lasting": 30.0}
    assert extrapolation(gated, wave, **options) == extrapolation(slow, wave, **options)


def test_the_verdict_covers_what_was_extrapolated(slow: Any, fitted: Any) -> None:
    brief = 1e-2
    needed = margin(fitted, pulse(100.0, brief), duration=False)
    factor = extrapolation(slow, pulse(100.0, brief), current_factor=3.0, lasting=0.0).factor
    for off, name in ((0.98, "marginal"), (1.02, "carries")):
        scale = needed.current_factor / (off * factor * needed.needed)
        verdict = carry(slow, pulse(100.0 * scale, brief), ambient_c=23.0)
        assert verdict.verdict == name, verdict.reasons
        assert verdict.needed == pytest.approx(needed.needed * factor, rel=1e-3)
        if name == "marginal":
            assert "outside the published curve" in verdict.reasons[0]
        # the fast points of the whole curve settle it
        assert carry(fitted, pulse(100.0 * scale, brief), ambient_c=23.0).verdict == "carries"
    # as does a melting integral that somebody stated
    amperes = to_melt(slow, brief)
    known = MeltingIntegral(i2t=amperes**2 * brief, duration=brief, source="x")
    told = replace(slow, definition=replace(slow.definition, melting_integrals=(known,)))
    assert carry(told, pulse(100.0 * scale, brief), ambient_c=23.0).verdict == "carries"


def test_operating_times_with_an_arc_in_them_settle_nothing(slow: Any) -> None:
    curve = slow.definition.curve
    arcing = replace(curve.points[-1], current=5000.0, time=0.004)
    fit = with_points(slow, (*curve.points, arcing))
    wave = pulse(50.0, 0.01)
    options = {"current_factor": 3.0, "lasting": 0.0}
    assert extrapolation(fit, wave, **options) == extrapolation(fit, wave, **options)
    assert extrapolation(fit, wave, **options).notes == ()  # 4 ms are published
    operating = replace(fit.definition.curve, time_kind="operating")
    fit = replace(fit, definition=replace(fit.definition, curve=operating))
    assert extrapolation(fit, wave, **options) == extrapolation(slow, wave, **options)


# loads longer than the curve -------------------------------------------------------------------


def test_a_lowest_point_far_above_the_minimum_fusing_current_is_covered(fitted: Any) -> None:
    least = minimum_fusing_current(fitted.model, cells=fitted.cells)
    points = [p for p in fitted.definition.curve.points if p.current > 1.3 * least]
    high = with_points(fitted, points)
    ratio = min(p.current for p in points) / least
    load = constant(1.0, 50.0 * longest_time(high))
    for fit, factor in ((fitted, 1.0), (high, ratio)):
        found = extrapolation(fit, load, current_factor=50.0, lasting=1.0)
        assert found.factor == pytest.approx(factor, rel=1e-6)
        assert bool(found.notes) == (factor > 1.0)
    # a load that the lasting part of does not melt is no matter of the slow end
    share = 0.49 * min(p.current for p in points)
    assert extrapolation(high, load, current_factor=1.0, lasting=share).factor == 1.0


def test_a_held_load_needs_more_where_the_curve_ends_high(fitted: Any) -> None:
    least = minimum_fusing_current(fitted.model, cells=fitted.cells)
    points = [p for p in fitted.definition.curve.points if p.current > 1.3 * least]
    high = with_points(fitted, points)
    brief = constant(20.0, 0.02)
    plain, covered = (
        carry(f, brief, ambient_c=23.0, after="hold", connection="test") for f in (fitted, high)
    )
    assert plain.needed is not None
    assert covered.needed is not None
    ratio = min(p.current for p in points) / least
    assert covered.needed / plain.needed == pytest.approx(ratio, rel=1e-6)
    told = [n.text for n in covered.notes if n.code == "outside-fitted-range"]
    assert any("lasts longer than all that is published" in text for text in told)
    assert not [n for n in plain.notes if "lasts longer" in n.text]
