"""Remarks on a fit: what it does not meet, what it contradicts, what its mesh left out."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ..errors import Note
from ..physics.kohlrausch import hot_spot_ceiling
from ..solver.steady import cells_for
from ..units import REFERENCE_AMBIENT_C, ZERO_CELSIUS_K, kelvin
from ..written import measure, number, percent
from .observations import SHOWN_UNITS
from .residual import Bench

if TYPE_CHECKING:
    from .fit import Calibration

#: Misfits above which a fit is remarked on: rms in current [-], one point in its spreads.
_POOR_RMS, _POOR_POINT = 0.03, 4.0
#: A limit counts as kept within this share of its spread.
_LIMIT_KEPT = 0.5


#: Families whose bands were held against fuses of another structure
#: (`benchmarks/band_coverage.py`, docs/uncertainty.md).
STUDIED = frozenset({"zinc-strip", "wire-in-body", "tin-spot-wire", "wire-in-sand"})


def remarks(calibration: Calibration) -> tuple[Note, ...]:
    """Notes a reader of the fit should have."""
    return (
        *_misfit(calibration),
        *_limits(calibration),
        *_ceilings(calibration),
        *_mesh(calibration),
        *_band(calibration),
    )


def _misfit(calibration: Calibration) -> tuple[Note, ...]:
    """A note when no fuse of the family meets what is published."""
    found = calibration.diagnosis
    worst = max(found.left_out, key=lambda one: abs(one.in_spreads))
    rms = calibration.rms_current
    if rms <= _POOR_RMS and abs(worst.in_spreads) <= _POOR_POINT:
        return ()
    text = (
        f"no fuse of family {calibration.family.name} meets all that is published: "
        f"{percent(rms)} rms in current; least in keeping with the rest is {worst.label}, which "
        f"lies {percent(abs(worst.relative))} from what the rest predicts, "
        f"{number(abs(worst.in_spreads), 2)} spreads"
    )
    return (Note("poor-fit", text),)


def _mesh(calibration: Calibration) -> tuple[Note, ...]:
    """A note when the mesh was too coarse for the fitted element, whose sizes then absorbed it."""
    wanted = cells_for(calibration.model)
    if wanted <= calibration.cells:
        return ()
    text = (
        f"{calibration.cells} cells are few for the fitted element: its sizes took up what the "
        f"mesh left out; {wanted} cells would leave less than .01 % in the minimum fusing current"
    )
    return (Note("coarse-mesh", text),)


def _limits(calibration: Calibration) -> tuple[Note, ...]:
    """Notes on limits the fitted model does not keep."""
    notes = []
    for r in calibration.residuals:
        if not r.bound or abs(r.in_spreads) < _LIMIT_KEPT:
            continue
        unit, factor = SHOWN_UNITS[r.kind]
        text = f"{r.label}: the fitted model has {measure(factor * r.fitted, unit)} there"
        if r.kind == "time":
            text = (
                f"{r.label}: the fitted curve parts then at {measure(r.fitted, 'A')}, and the "
                f"limit is set at {measure(r.observed, 'A')}"
            )
        notes.append(Note("outside-limit", text))
    return tuple(notes)


def _ceilings(calibration: Calibration) -> tuple[Note, ...]:
    """A published drop bounds the hot spot; a curve that melts below it contradicts it."""
    definition = calibration.definition
    metal = calibration.model.element.metal
    least = Bench.of(calibration.model, REFERENCE_AMBIENT_C, calibration.cells).least
    notes = []
    for drop in definition.voltage_drops:
        ceiling = hot_spot_ceiling(metal, drop.voltage, kelvin(drop.ambient_c))
        if math.log(drop.current) > least and math.isfinite(ceiling):
            text = (
                f"a drop of {measure(drop.voltage, 'V')} allows no hot spot above "
                f"{number(ceiling - ZERO_CELSIUS_K)} °C, yet the curve melts the element at "
                f"{measure(drop.current, 'A')}"
            )
            notes.append(Note("drop-contradicts-curve", text))
    return tuple(notes)


def _band(calibration: Calibration) -> tuple[Note, ...]:
    """A note on bands that nothing has proven yet."""
    if calibration.family.name in STUDIED:
        return ()
    text = (
        f"whether its bands hold as often as they say has been tried on the families "
        f"{', '.join(sorted(STUDIED))}, not on {calibration.family.name}"
    )
    return (Note("band-not-studied", text),)
