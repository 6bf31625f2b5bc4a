"""Fusing current of a wire against its length: cooled by its ends when short, by air when long."""

from __future__ import annotations

from ...fuse.element import round_wire
from ...fuse.model import FuseModel, Surroundings
from ...physics.metals import metal
from ...solver.steady import minimum_fusing_current
from ..case import Case, case
from ..models import plain_metal

__all__ = ["ENDLESS", "ROWS", "SHORT", "fusing_current"]

#: Copper wire of .5 mm, emissivity .6, in air and between ends of 20 °C: current of an endless
#: one [A], and current times length of one cooled by its ends alone [A m].
ENDLESS = 24.742
SHORT = 1.205031
_AIR = "computed with ht 1.2.0 (Churchill and Chu) and air of CoolProp 8.0.0, endless wire"
_ENDS = (
    "largest of 2 A int k dT / sqrt(2 int k rho dT) over all hot spots up to melting, reached at "
    "1266 K, trapezoids on the shipped tables, no loss"
)


def fusing_current(length: float) -> float:
    """Minimum fusing current of the dark copper wire of .5 mm of a length [m] in air [A]."""
    around = Surroundings(natural_convection=True, emissivity=0.6)
    model = FuseModel(round_wire(metal("copper"), 0.5e-3, length), surroundings=around)
    return minimum_fusing_current(model, ambient_c=20.0, cells=256)


def _at(millimetres: float, expected: float, relative: float, source: str) -> Case:
    @case(
        f"length-copper-{millimetres:g}mm",
        f"dark copper wire of .5 mm, {millimetres:g} mm long in air: minimum fusing current",
        unit="A",
        expected=expected,
        relative=relative,
        source=source,
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        return fusing_current(1e-3 * millimetres)

    return measured


def _between(millimetres: float) -> Case:
    short = 1e3 * SHORT / millimetres
    both = (short**2 + ENDLESS**2) ** 0.5

    @case(
        f"length-copper-{millimetres:g}mm",
        f"dark copper wire of .5 mm, {millimetres:g} mm long in air: minimum fusing current",
        unit="A",
        expected=(max(short, ENDLESS), both),
        source="above both limits, of end cooling and of an endless wire in air, and below the "
        "root of their squares",
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        return fusing_current(1e-3 * millimetres)

    return measured


def _exact(millimetres: float, expected: float) -> Case:
    @case(
        f"length-fixed-laws-{millimetres:g}mm",
        f"wire of fixed properties and film, {millimetres:g} mm long: minimum fusing current",
        unit="A",
        expected=expected,
        relative=1e-4,
        source="endless / sqrt(1 - sech(m L / 2)), m² = h perimeter / (k A), by hand",
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        of = plain_metal(density=8960.0, specific_heat=385.0, resistivity=6e-8, conductivity=300.0)
        wire = round_wire(of, 0.5e-3, 1e-3 * millimetres)
        around = Surroundings(film_coefficient=100.0)
        model = FuseModel(wire, surroundings=around)
        return minimum_fusing_current(model, ambient_c=20.0, cells=256)

    return measured


ROWS = (
    _at(1.0, 1e3 * SHORT, 1e-3, _ENDS),
    _at(2.0, 0.5e3 * SHORT, 1e-3, _ENDS),
    *(_between(length) for length in (10.0, 20.0, 40.0, 60.0, 100.0)),
    _at(300.0, ENDLESS, 0.01, _AIR),
    _exact(3.0, 427.63984593),
    _exact(30.0, 47.7799068838),
    _exact(100.0, 25.3796690599),
)
