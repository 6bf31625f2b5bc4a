"""Units: spreads recovered from a band, and what each quantity does."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fusetherm.calibration.fit import calibrate
from fusetherm.calibration.residual import Bench
from fusetherm.calibration.unit_spread import ASSUMED, UNIT_SPREAD, UnitSpread, unit_spread
from fusetherm.fuse.element import RoundSection, round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.metals import metal

#: Sensitivities of ln current at fixed time from 10 ms to 100 s, a study of the project's own:
#: thickness 1.00 to .88, notch width .33 to .05, loss .001 to .09.
TABLE = np.column_stack(
    (np.linspace(1.0, 0.88, 8), np.linspace(0.33, 0.05, 8), np.linspace(0.001, 0.09, 8))
)


def test_spreads_come_back_from_the_band_they_make() -> None:
    truth = np.array([0.02, 0.03, 0.08])
    widths = 2.0 * np.sqrt(TABLE**2 @ truth**2)
    found = unit_spread(TABLE, widths)
    assert found.source == "band"
    assert list(found.sd.values()) == pytest.approx(truth, rel=1e-3)


def test_a_few_points_scale_what_is_assumed() -> None:
    widths = 2.0 * np.sqrt(TABLE[:2] ** 2 @ np.array(list(ASSUMED.values())) ** 2)
    found = unit_spread(TABLE[:2], 1.5 * widths)
    assert found.sd == pytest.approx({name: 1.5 * sd for name, sd in ASSUMED.items()})
    assert unit_spread(np.zeros((0, 3)), np.zeros(0)) == UnitSpread(dict(ASSUMED), "assumed")


def test_what_is_assumed_makes_three_per_cent_of_a_short_pulse(fitted: Any) -> None:
    bench = Bench.of(fitted.model, 23.0, 64)
    x, _ = bench.current_at(0.01, bench.least + 2.0)
    off = [
        Bench.of(unit, 23.0, 64).current_at(0.01, x)[0] - x
        for unit in fitted.units.units(fitted.model)
    ]
    assert math.hypot(*off) == pytest.approx(UNIT_SPREAD, rel=0.05)


def test_units_differ_in_one_quantity_each(published: Any) -> None:
    spread = UnitSpread({"thickness": 0.1, "notch width": 0.1, "loss of heat": 0.1}, "assumed")
    thick, wide, loose = spread.units(published.truth)
    volume = published.truth.element.mesh(32).volume.sum()
    assert thick.element.mesh(32).volume.sum() == pytest.approx(math.exp(0.1) * volume)
    assert wide.element.narrowest()[0] == pytest.approx(
        math.exp(0.1) * published.truth.element.narrowest()[0]
    )
    assert wide.element.sections[0] == published.truth.element.sections[0]
    assert loose.element == published.truth.element
    assert loose.body.conductance > published.truth.body.conductance
    wire = FuseModel(round_wire(metal("silver"), 2e-4, 0.02))
    (thicker, same, _) = spread.units(wire)
    (section,) = thicker.element.sections
    assert isinstance(section, RoundSection)
    assert section.diameter == pytest.approx(2e-4 * math.exp(0.05))
    assert same == wire


def test_a_published_band_sets_the_spread(published: Any, fitted: Any) -> None:
    """Times 2 sd apart, for units of a known spread in current alone: thickness."""
    curve = published.definition.curve
    assert curve is not None
    slopes = np.gradient(
        np.log([p.time for p in curve.points]), np.log([p.current for p in curve.points])
    )
    points = tuple(
        replace(p, min_time=p.time * math.exp(0.08 * s), max_time=p.time * math.exp(-0.08 * s))
        for p, s in zip(curve.points, slopes.tolist(), strict=True)
    )  # fmt: skip
    fit = calibrate(replace(published.definition, curve=replace(curve, points=points)))
    assert fit.units.source == "band"
    assert fit.units.sd["thickness"] == pytest.approx(0.04, rel=0.25)
    assert fitted.units.source == "assumed"
