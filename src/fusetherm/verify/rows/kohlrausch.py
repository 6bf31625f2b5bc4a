"""The drop over an end-cooled conductor against its hottest point (Kohlrausch)."""

from __future__ import annotations

import math
from dataclasses import replace

from ...fuse.element import Element, RoundSection, Section, round_wire
from ...fuse.model import FuseModel, Surroundings
from ...physics import kohlrausch
from ...physics.metals import Metal, metal
from ...physics.tables import Table
from ...solver.steady import minimum_fusing_current
from ..case import Case, case
from ..models import settled, strip_copper

_PAPER = "closed form evaluated with mpmath to 25 digits"
#: Sommerfeld's Lorenz number [W ohm/K²], of the exact constants of the SI; written out here so
#: that a slip in the package's own is seen.
_LORENZ = 2.443004509073666e-8


def _ideal(of: Metal, slope: float, melts_k: float) -> Metal:
    """The metal with rho = slope T and the conductivity of Wiedemann and Franz."""
    ends = (100.0, 3000.0)
    return replace(
        of,
        solidus_k=melts_k,
        liquidus_k=melts_k,
        resistivity_table=Table(ends, tuple(slope * t for t in ends), "of the case"),
        conductivity_table=Table((300.0,), (_LORENZ / slope,), "of the case"),
    )


@case(
    "kohlrausch-lorenz-number",
    "Lorenz number of the free-electron metal",
    unit="W ohm/K2",
    expected=_LORENZ,
    relative=1e-9,
    source="(pi²/3) (k_B/e)² of the exact constants of the SI, 2019",
    origin="computed",
    calls="fusetherm.physics.closed_forms.sommerfeld_lorenz",
)
def _lorenz() -> float:
    return kohlrausch.sommerfeld_lorenz()


def _melting_voltage(name: str, melting_k: float, expected: float) -> Case:
    @case(
        f"kohlrausch-melting-voltage-{name}",
        f"drop that melts ideal {name} between ends at 20 °C",
        unit="V",
        expected=expected,
        relative=1e-6,
        source=f"2 sqrt(L (Tm² - T0²)), Sommerfeld's L; {_PAPER}",
        origin="computed",
        calls="fusetherm.physics.closed_forms.kohlrausch_voltage_wf",
    )
    def measured() -> float:
        return kohlrausch.kohlrausch_voltage_wf(melting_k, 293.15)

    return measured


@case(
    "kohlrausch-unequal-ends",
    "straight k and rho, ends at 20 and 80 °C, middle at 800 K: drop",
    unit="V",
    expected=0.22692173030413262,
    relative=1e-6,
    source=f"sum over the ends of sqrt(2 int k rho dT); {_PAPER}",
    origin="computed",
    calls="fusetherm.physics.closed_forms.kohlrausch_voltage",
)
def _unequal() -> float:
    of = strip_copper()
    return kohlrausch.kohlrausch_voltage(of, 800.0, (293.15, 353.15))


def _end_cooled(name: str, melting_k: float, at_300: float, area: float, expected: float) -> Case:
    @case(
        f"kohlrausch-end-cooled-{name}",
        f"ideal {name} wire of {1e6 * area:g} mm², 10 mm between ends at 20 °C: least current",
        unit="A",
        expected=expected,
        relative=1e-4,
        source=f"2 sqrt(L) acos(T0/Tm) A / (slope length); {_PAPER}",
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        of = _ideal(metal(name), at_300 / 300.0, melting_k)
        wire = round_wire(of, math.sqrt(4.0 * area / math.pi), 10e-3)
        return minimum_fusing_current(FuseModel(wire), ambient_c=20.0, cells=256)

    return measured


def _notched() -> FuseModel:
    """Strip of ideal zinc with a taper and a notch."""
    zinc = _ideal(metal("zinc"), 2e-10, 692.677)
    sections = (
        Section(3e-3, 3e-3, 0.3e-3, end_width=2e-3),
        Section(2e-3, 2e-3, 0.3e-3, middle_width=0.8e-3),
        Section(4e-3, 3e-3, 0.3e-3),
    )
    return FuseModel(Element(zinc, sections, spreading=False))


def _ceiling(millivolts: float, expected: float) -> Case:
    @case(
        f"kohlrausch-ceiling-{millivolts:g}mv",
        f"tapered and notched strip of ideal zinc, {millivolts:g} mV, ends at 23 °C: hottest point",
        unit="K",
        expected=expected,
        relative=2e-4,
        source="sqrt(T0² + U²/(4 L)), whatever the shape",
        origin="computed",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        return _hottest(_notched(), millivolts)

    return measured


def _hottest(model: FuseModel, millivolts: float) -> float:
    """Hottest point [K] at the current that drops so much over the element."""
    from scipy.optimize import brentq

    def excess(current: float) -> float:
        steady = settled(model, current, ambient_c=23.0, cells=256)
        return 1e3 * steady.element_voltage - millivolts

    top = minimum_fusing_current(model, ambient_c=23.0, cells=256)
    current = float(brentq(excess, 0.2 * top, 0.999 * top, xtol=1e-5))
    return settled(model, current, ambient_c=23.0, cells=256).peak_temperature_c + 273.15


_SHAPES: dict[str, tuple[Section | RoundSection, ...]] = {
    "plain-wire": (RoundSection(12e-3, 0.3e-3),),
    "stepped-wire": tuple(
        RoundSection(length, d) for length, d in ((5e-3, 4e-4), (1e-3, 2e-4), (7e-3, 4e-4))
    ),
    "two-bridges": (
        Section(4e-3, 4e-3, 0.2e-3), Section(0.8e-3, 1e-3, 0.2e-3), Section(6e-3, 4e-3, 0.2e-3),
        Section(0.8e-3, 1.5e-3, 0.2e-3), Section(3e-3, 4e-3, 0.2e-3),
    ),
    "taper": (Section(10e-3, 4e-3, 0.2e-3, end_width=1e-3),),
    "rounded-notch": (Section(15e-3, 5e-3, 0.1e-3, middle_width=0.7e-3),),
}  # fmt: skip


def _ceiling_of(shape: str, loss: float) -> Case:
    ceiling = 563.874179694941366
    cooled = ", film of 100 W/(m² K)" if loss else ""

    @case(
        f"kohlrausch-ceiling-{shape}{'-cooled' if loss else ''}",
        f"{shape.replace('-', ' ')} of ideal zinc, 150 mV, ends at 23 °C{cooled}: hottest point",
        unit="K",
        expected=(296.15, ceiling * (1.0 + 3e-4)) if loss else ceiling,
        relative=None if loss else 3e-4,
        source="no higher than sqrt(T0² + U²/(4 L))"
        if loss
        else "sqrt(T0² + U²/(4 L)), whatever the shape",
        origin="computed",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        zinc = _ideal(metal("zinc"), 2e-10, 692.677)
        element = Element(zinc, _SHAPES[shape], spreading=False)
        model = FuseModel(element, surroundings=Surroundings(film_coefficient=loss))
        return _hottest(model, 150.0)

    return measured


@case(
    "kohlrausch-zinc-melts-at-196mv",
    "the same strip at its minimum fusing current: drop",
    unit="V",
    expected=0.195744095302690331,
    relative=1e-4,
    source="2 sqrt(L (Tm² - T0²)), melting point 692.677 K",
    origin="computed",
    calls="fusetherm.steady_state",
    integrates=True,
)
def _zinc_melts() -> float:
    model = _notched()
    top = minimum_fusing_current(model, ambient_c=23.0, cells=256)
    return settled(model, top * (1.0 - 1e-9), ambient_c=23.0, cells=256).element_voltage


ROWS = (
    _lorenz,
    _melting_voltage("aluminium", 933.473, 0.27704303270505526),
    _melting_voltage("lead", 600.612, 0.16386975213592656),
    _unequal,
    _end_cooled("copper", 1357.77, 1.725e-8, 0.1e-6, 73.5663087704208),
    _end_cooled("zinc", 692.677, 6.06e-8, 0.3e-6, 52.63824002939852),
    _ceiling(80.0, 391.405094023542903),
    _ceiling(150.0, 563.874179694941366),
    *(_ceiling_of(shape, loss) for shape in _SHAPES for loss in (0.0, 100.0)),
    _zinc_melts,
)
