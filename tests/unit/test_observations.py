"""What is published, as numbers with their noise."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fusetherm.calibration.observations import (
    ARCING_NOISE,
    LIMIT_NOISE,
    STEADY_NOISE,
    TIME_NOISE,
    Observation,
    observations_of,
    read_noise,
)
from fusetherm.fuse.definition import load_fuse
from fusetherm.fuse.published import (
    Curve,
    CurvePoint,
    Hold,
    LeastCurrent,
    MeltingIntegral,
    ReRating,
    ReRatingPoint,
    TerminalRise,
    VoltageDrop,
)

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"


def test_everything_published_is_observed_once() -> None:
    found = observations_of(load_fuse(EXAMPLE))
    told = [o for o in found if not o.bound]
    assert [o.kind for o in told] == ["time"] * 10 + ["drop", "rise"]
    melting, drop, rise = told[9:]
    assert melting.current**2 * melting.value == pytest.approx(12000.0)
    assert (drop.value, drop.current, drop.where) == (0.0725, 40.0, "blades")
    assert (rise.value, rise.where, rise.noise) == (75.0, "blade", STEADY_NOISE)
    assert len({o.label for o in found}) == len(found)


def test_limits_count_as_two_standard_deviations(published: Any) -> None:
    points = (
        CurvePoint(current=60.0, min_time=50.0, max_time=200.0),
        CurvePoint(current=80.0, time=20.0, min_time=10.0, max_time=40.0),
        CurvePoint(current=90.0, time=12.0, min_time=11.9, max_time=12.1),
        CurvePoint(current=100.0, min_time=3.0),
    )
    curve = Curve(time_kind="pre-arcing", ambient_c=40.0, source="x", points=points)
    first, second, third, fourth = observations_of(replace(published.definition, curve=curve))
    assert (fourth.bound, fourth.value, fourth.label) == ("least", 3.0, "100 A, no sooner than 3 s")
    assert first.value == pytest.approx(100.0)
    assert first.noise == pytest.approx(0.25 * math.log(4.0))
    assert (second.value, third.noise) == (20.0, TIME_NOISE)
    assert {o.ambient_c for o in (first, second, third)} == {40.0}


@pytest.mark.parametrize(
    ("kind", "noise"), [("operating", ARCING_NOISE), ("pre-arcing", TIME_NOISE)]
)
def test_short_operating_times_count_little(published: Any, kind: Any, noise: float) -> None:
    points = (CurvePoint(current=400.0, time=0.01), CurvePoint(current=100.0, time=9.0))
    curve = Curve(time_kind=kind, ambient_c=23.0, source="x", points=points)
    short, long = observations_of(replace(published.definition, curve=curve))
    assert (short.noise, long.noise) == (noise, TIME_NOISE)


def test_nothing_published_is_nothing_observed(published: Any) -> None:
    assert observations_of(replace(published.definition, curve=None)) == ()


def test_a_click_on_paper() -> None:
    # .5 mm on a decade of 50 mm is 10^.01 = 2.3 %, evenly spread (standard deviation of a
    # uniform law: its width over the square root of 12)
    width = math.log(10.0**0.01)
    assert math.expm1(width) == pytest.approx(0.0233, abs=1e-4)
    assert read_noise(0.05) == pytest.approx(width / math.sqrt(12.0))
    assert read_noise(None) == 0.0


def test_points_read_off_paper_weigh_less(published: Any) -> None:
    assert published.definition.curve is not None
    curve = replace(published.definition.curve, current_decade=0.05, time_decade=0.025)
    read = observations_of(replace(published.definition, curve=curve))
    told = observations_of(published.definition)
    assert read[0].current_noise == pytest.approx(
        math.hypot(told[0].current_noise, 0.00665), rel=1e-3
    )
    assert read[0].noise == pytest.approx(math.hypot(TIME_NOISE, 0.01329), rel=1e-3)


def only(published: Any, **stated: Any) -> tuple[Observation, ...]:
    return observations_of(replace(published.definition, curve=None, **stated))


def test_gates_and_holds_are_limits(published: Any) -> None:
    found = only(published, gates=("iso8820-3-high-current-blade",),
                 holds=(Hold(current=42.0, time=3600.0, ambient_c=40.0, source="x"),))  # fmt: skip
    hold, *gates = found
    assert (hold.bound, hold.current, hold.value, hold.ambient_c) == ("least", 42.0, 3600.0, 40.0)
    assert hold.label == "42 A held for 1 h"
    assert {o.bound for o in gates} == {"least", "most"}
    assert {o.noise for o in found} == {LIMIT_NOISE}
    # 1.35 times the rating: no later than 30 min (ISO 8820-3 high-current blades, from memory)
    (late,) = [o for o in gates if o.current == pytest.approx(54.0) and o.bound == "most"]
    assert late.value == 1800.0
    assert late.broken(54.5)
    assert not late.broken(53.5)
    assert hold.broken(41.9)
    assert not hold.broken(42.1)


def test_stated_tolerances_and_maxima(published: Any) -> None:
    drop, rise = only(
        published,
        voltage_drops=(VoltageDrop(voltage=0.1, current=40.0, measured_at="blades", source="x",
                                   stated_as="maximum"),),
        terminal_rises=(TerminalRise(rise=60.0, current=40.0, tolerance=0.2, source="x"),),
    )  # fmt: skip
    assert (drop.bound, drop.noise) == ("most", STEADY_NOISE)
    assert drop.broken(0.11)
    assert not drop.broken(0.09)
    assert (rise.bound, rise.noise) == ("", 0.1)
    (melting,) = only(
        published,
        melting_integrals=(MeltingIntegral(i2t=900.0, duration=0.01, tolerance=0.3, source="x"),),
    )
    assert melting.noise == 0.15
    (least,) = only(
        published, minimum_fusing=LeastCurrent(current=50.0, tolerance=0.04, source="x")
    )
    assert (least.kind, least.value, least.noise) == ("fusing", 50.0, 0.02)


def test_re_rating_bounds_the_fusing_current_from_below_in_the_heat(published: Any) -> None:
    points = tuple(
        ReRatingPoint(ambient_c=a, factor=f) for a, f in ((-40, 1.2), (23, 1.0), (85, 0.8))
    )
    (hot,) = only(published, re_rating=ReRating(source="x", points=points))
    assert (hot.ambient_c, hot.bound) == (85, "least")
    assert hot.broken(0.79)
    assert not hot.broken(0.9)
    told = only(published, re_rating=ReRating(source="x", points=points, criterion="fusing"))
    assert [(o.ambient_c, o.bound) for o in told] == [(-40, ""), (85, "")]
