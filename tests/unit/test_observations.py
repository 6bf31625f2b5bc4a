"""What is published, as numbers with their noise."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fusetherm.calibration.observations import (
    ARCING_NOISE,
    STEADY_NOISE,
    TIME_NOISE,
    observations_of,
)
from fusetherm.fuse.definition import Curve, CurvePoint, load_fuse

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"


def test_everything_published_is_observed_once() -> None:
    found = observations_of(load_fuse(EXAMPLE))
    assert [o.kind for o in found] == ["time"] * 10 + ["drop", "rise"]
    melting, drop, rise = found[9:]
    assert melting.current**2 * melting.value == pytest.approx(9000.0)
    assert (drop.value, drop.current, drop.where) == (0.095, 40.0, "blades")
    assert (rise.value, rise.where, rise.noise) == (55.0, "blade", STEADY_NOISE)
    assert len({o.label for o in found}) == len(found)


def test_limits_count_as_two_standard_deviations(published: Any) -> None:
    points = (
        CurvePoint(current=60.0, min_time=50.0, max_time=200.0),
        CurvePoint(current=80.0, time=20.0, min_time=10.0, max_time=40.0),
        CurvePoint(current=90.0, time=12.0, min_time=11.9, max_time=12.1),
        CurvePoint(current=100.0, min_time=3.0),
    )
    curve = Curve(time_kind="pre-arcing", ambient_c=40.0, source="x", points=points)
    first, second, third = observations_of(replace(published.definition, curve=curve))
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
