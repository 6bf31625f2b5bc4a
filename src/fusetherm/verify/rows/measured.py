"""Measurements that others made, against first principles: nothing here is fitted."""

from __future__ import annotations

import math

from ...fuse.element import Element, RoundSection
from ...fuse.model import FuseModel
from ...physics import kohlrausch
from ...physics.metals import metal
from ...solver.run import simulate
from ..case import Case, case
from ..models import constant

_TOPIC = "measured"
_HOLM = "Holm, Electric Contacts: measured melting voltages of contacts, from memory"


def _melting_voltage(name: str, measured_v: float, tolerance: float, why: str = "") -> Case:
    @case(
        f"measured-melting-voltage-{name}",
        f"drop that melts {name} between ends at 20 °C, against measured contacts",
        topic=_TOPIC,
        unit="V",
        expected=measured_v,
        relative=tolerance,
        source=_HOLM + why,
        origin="memory",
        calls="fusetherm.physics.closed_forms.kohlrausch_voltage",
    )
    def row() -> float:
        of = metal(name)
        return kohlrausch.kohlrausch_voltage(of, of.solidus_k, 293.15)

    return row


@case(
    "measured-wire-explosion-copper",
    "copper wire of .3 mm under 8 kA: action up to boiling, below that of explosion",
    topic=_TOPIC,
    unit="A2 s/mm4",
    expected=(-math.inf, 2.1e5),
    source="explosion at 2.1e5 A2 s/mm4 whatever the diameter from .16 to .5 mm, Sci. Rep. 2025, "
    "10.1038/s41598-025-11130-7 (read in its abstract); an upper bound, no more",
    origin="read",
    calls="fusetherm.simulate",
    integrates=True,
)
def _explosion() -> float:
    diameter = 0.3e-3
    # no break length: the column holds together until it boils
    wire = Element(metal("copper"), (RoundSection(20e-3, diameter),), break_length=1.0)
    run = simulate(FuseModel(wire), constant(8e3, 1e-3), ambient_c=20.0, cells=64)
    area_mm2 = math.pi * (1e3 * diameter) ** 2 / 4.0
    return run.i2t / area_mm2**2


ROWS = (
    _melting_voltage("copper", 0.43, 0.15),
    _melting_voltage("silver", 0.37, 0.15),
    _melting_voltage("aluminium", 0.30, 0.15),
    _melting_voltage("tin", 0.13, 0.15),
    _melting_voltage("zinc", 0.17, 0.25, "; k rho / T of zinc is not one value"),
    _melting_voltage("nickel", 0.65, 0.25, "; nickel passes its magnetic transition"),
    _melting_voltage("lead", 0.12, 0.40, "; k rho / T of lead is not one value"),
    _explosion,
)
