"""Small models the rows are measured on: metals of straight lines, lumps, wires and strips."""

from __future__ import annotations

import math
from dataclasses import replace

from ..current.waveform import Waveform
from ..errors import SolveError
from ..fuse.element import Element, RoundSection, Section, round_wire
from ..fuse.model import Blade, FuseModel, Side
from ..physics.metals import Metal, metal
from ..physics.tables import Table
from ..solver.steady import SteadyState, steady_state

__all__ = [
    "constant",
    "held_strip",
    "insulated_wire",
    "lump",
    "notched_strip",
    "number",
    "plain_metal",
    "settled",
    "straight",
    "straight_copper",
    "strip_copper",
]


def straight(at_293: float, slope: float = 0.0) -> Table:
    """Property that is a straight line about 293.15 K."""
    ends = (200.0, 3000.0)
    return Table(ends, tuple(at_293 + slope * (t - 293.15) for t in ends), "of the case")


def plain_metal(
    of: str = "copper",
    *,
    density: float,
    specific_heat: float,
    resistivity: float,
    slope: float = 0.0,
    conductivity: float,
    conductivity_slope: float = 0.0,
    melts_k: float = 1357.77,
) -> Metal:
    """Metal of a fixed specific heat, and a resistivity rising by ``slope`` a kelvin from 20 °C."""
    return replace(
        metal(of),
        density=density,
        solidus_k=melts_k,
        liquidus_k=melts_k,
        resistivity_table=straight(resistivity, resistivity * slope),
        conductivity_table=straight(conductivity, conductivity_slope),
        specific_heat_table=straight(specific_heat),
    )


def straight_copper(
    slope: float = 0.0039, conductivity: float = 400.0, melts_k: float = 1357.77
) -> Metal:
    """Copper of a fixed specific heat and conductivity, its resistivity a straight line."""
    return plain_metal(
        density=8960.0,
        specific_heat=385.0,
        resistivity=1.72e-8,
        slope=slope,
        conductivity=conductivity,
        melts_k=melts_k,
    )


def strip_copper() -> Metal:
    """Copper of the notched strips: resistivity and conductivity straight lines."""
    return plain_metal(
        density=8960.0,
        specific_heat=385.0,
        resistivity=1.72e-8,
        slope=0.00393,
        conductivity=401.0,
        conductivity_slope=-0.06,
    )


def constant(current: float, duration: float) -> Waveform:
    """Constant current [A] for a time [s]."""
    return Waveform(time=[0.0, duration], current=[current, current])


def insulated_wire(of: Metal, area: float, length: float = 10e-3) -> FuseModel:
    """Wire of a section [m2] that gives its heat to nothing."""
    ends = Side(Blade(heat_capacity=1e-12))
    return FuseModel(round_wire(of, math.sqrt(4.0 * area / math.pi), length), None, ends, ends)


def lump(
    *, capacity: float, loss: float, ohms: float, slope: float = 0.0, melts_k: float = 1357.77
) -> FuseModel:
    """One heat capacity: a blade whose element weighs nothing, resists nothing, and follows it."""
    nothing = replace(
        metal("copper"),
        density=1e-3,
        solidus_k=melts_k,
        liquidus_k=melts_k,
        resistivity_table=straight(1e-16),
        conductivity_table=straight(400.0),
        specific_heat_table=straight(385.0),
    )
    element = Element(nothing, (RoundSection(1e-3, 1e-3),))
    blade = Blade(capacity, loss, ohms, slope)
    return FuseModel(element, None, Side(blade), Side(Blade(heat_capacity=1e-9)))


def notched_strip(
    of: Metal, *, length: float, width: float, middle: float, notch: float, thickness: float
) -> Element:
    """Strip with a cosine notch of a length and a middle width, without spreading [m]."""
    plain = Section(length=0.5 * (length - notch), width=width, thickness=thickness)
    bridge = Section(length=notch, width=width, thickness=thickness, middle_width=middle)
    return Element(of, (plain, bridge, plain), spreading=False)


def held_strip() -> Element:
    """Copper: 10 mm by 2 mm by .1 mm, notched to .5 mm."""
    return notched_strip(
        strip_copper(), length=10e-3, width=2e-3, middle=0.5e-3, notch=2e-3, thickness=0.1e-3
    )


def settled(model: FuseModel, current: float, *, ambient_c: float, cells: int = 64) -> SteadyState:
    """Steady state that is to exist; a row without one fails."""
    found = steady_state(model, current, ambient_c=ambient_c, cells=cells)
    if found is None:
        raise SolveError("no-steady-start", f"no steady state at {current:g} A")
    return found


def number(value: float | None) -> float:
    """The value, and no number where there is none: that fails a row."""
    return math.nan if value is None else value
