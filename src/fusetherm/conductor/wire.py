"""The conductor as a thermal model of its own: metal, insulation, still air around it.

The metal and the insulation are one node each, with the insulation's resistance between them;
along a wire of given length the metal conducts to its cooled ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..fuse.model import INSULATION_EMISSIVITY, Cable
from ..physics.heat_loss import cylinder_film_coefficient, radiation_coefficient
from ..physics.wire_laws import CABLE_CONDUCTORS, CableConductor, adiabatic_k
from ..units import kelvin
from ..written import number
from .insulation import Insulation
from .sections import Make, Material, conductor_resistance, refuse_section

Floats = npt.NDArray[np.float64]

#: Factors on the current of wires bunched in air, by how many carry current: IEC 60364-5-52,
#: table B.52.17, first row, from memory. Between them the larger count's factor is taken.
BUNCHED = ((1, 1.0), (2, 0.8), (3, 0.7), (4, 0.65), (5, 0.6), (6, 0.57), (7, 0.54), (8, 0.52),
           (9, 0.5), (12, 0.45), (16, 0.41), (20, 0.38))  # fmt: skip
#: Thermal conductivity [W/m/K]: handbook values, from memory.
_CONDUCTIVITY = {"copper": 391.0, "aluminium": 230.0}
#: Cells of half a wire between cooled ends.
CELLS = 32
#: Hottest surface looked at [K above ambient]: beyond any insulation.
_REACH = 900.0
_TABLE = 600
#: Half lengths, in lengths of decay, beyond which the ends are not felt in the middle.
_LONG = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """A conductor with its insulation, and how it is laid.

    Parameters
    ----------
    section : float
        Of the metal [m²].
    insulation : Insulation
    bundle : int
        Wires bunched together that carry current at once, itself among them.
    material : {"copper", "aluminium"}
    make : {"rigid", "flexible", "tinned"}
        Class of IEC 60228.
    gauge : int, optional
        Where the section was given by gauge.
    outer_diameter : float, optional
        Over the insulation [m]; by default that of a thin wall.
    length : float, optional
        Between ends held at ambient [m]; by default the wire is long and its ends do not help.
    film_coefficient : float, optional
        On the surface [W/m²/K]; by default natural convection and radiation in still air.

    Examples
    --------
    >>> from fusetherm.conductor.insulation import insulation
    >>> wire = Wire(section=2.5e-6, insulation=insulation("pvc-70"), bundle=1)
    >>> round(1e-6 * wire.k(70.0)), round(wire.withstand(70.0), -1)
    (115, 82420.0)
    """

    section: float
    insulation: Insulation
    bundle: int
    material: Material = "copper"
    make: Make = "flexible"
    gauge: int | None = None
    outer_diameter: float | None = None
    length: float | None = None
    film_coefficient: float | None = None

    def __post_init__(self) -> None:
        refuse_section(self.section)
        conductor_resistance(self.section, self.material, self.make)
        if self.bundle < 1:
            raise InputError(
                "bundle-count", f"{self.bundle} wires in the bundle", expected="1 for a wire alone"
            )
        for name in ("length", "film_coefficient"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0.0):
                raise InputError("not-positive", f"Wire: {name} is {value}", expected="above zero")
        _ = self.shape

    @property
    def shape(self) -> Cable:
        """Its cross-section as a cable: diameters of strand and insulation."""
        return Cable(self.section, insulation_diameter=self.outer_diameter)

    @property
    def conductor(self) -> CableConductor:
        """Constants of the metal."""
        return CABLE_CONDUCTORS[self.material]

    @property
    def bundling_factor(self) -> float:
        """Factor on the current of a wire alone [-]."""
        return next(
            (factor for count, factor in BUNCHED if count >= self.bundle), BUNCHED[-1][1] * 0.9
        )

    def resistance(self, temperature_c: float) -> float:
        """Largest resistance per length at a temperature [ohm/m]."""
        cold = conductor_resistance(self.section, self.material, self.make, gauge=self.gauge)
        beta = self.conductor.inferred_zero
        return cold * (beta + temperature_c) / (beta + 20.0)

    def k(self, start_c: float) -> float:
        """Factor k of the adiabatic formula from a temperature to the limit [A s^0.5/m²]."""
        end_c = self.insulation.short_circuit_c
        if start_c >= end_c:
            return 0.0
        return adiabatic_k(self.conductor, kelvin(start_c), kelvin(end_c))

    def withstand(self, start_c: float) -> float:
        """Joule integral it stands in a short circuit of at most 5 s, k² S² [A²s]."""
        return (self.k(start_c) * self.section) ** 2


@dataclass(frozen=True, slots=True)
class Thermal:
    """Numbers of a wire at an ambient, per length, temperatures in degC.

    Attributes
    ----------
    loss_rise, loss : (n,) array
        Rise of the surface above ambient [K], and the heat it gives off [W/m].
    radial : float
        Resistance of the insulation [K m/W].
    metal_heat, wall_heat : float
        Heat capacities [J/m/K].
    cold, beta : float
        Resistance at 20 degC [ohm/m], inferred zero [K].
    axial : float
        Conductivity times section [W m/K].
    """

    ambient_c: float
    loss_rise: Floats
    loss: Floats
    radial: float
    metal_heat: float
    wall_heat: float
    cold: float
    beta: float
    axial: float
    half_length: float

    def resistance(self, temperature_c: Any) -> Any:
        """Resistance per length [ohm/m]."""
        return self.cold * (self.beta + temperature_c) / (self.beta + 20.0)

    def surface_loss(self, surface_c: Any) -> Any:
        """Heat given off at a temperature of the surface [W/m]."""
        return np.interp(surface_c - self.ambient_c, self.loss_rise, self.loss)

    def metal_loss(self, temperature_c: float) -> tuple[float, float]:
        """Heat that leaves the metal in steady state [W/m], and the surface's temperature."""
        # the surface at each heat, and the metal behind the insulation: both rise with it
        behind = self.loss_rise + self.radial * self.loss
        rise = float(np.interp(temperature_c - self.ambient_c, behind, self.loss_rise))
        return float(np.interp(rise, self.loss_rise, self.loss)), self.ambient_c + rise


@lru_cache(maxsize=64)
def thermal(wire: Wire, ambient_c: float) -> Thermal:
    """Numbers of a wire at an ambient [degC]."""
    ambient_k = kelvin(ambient_c, "ambient of the conductor")
    shape, metal = wire.shape, wire.conductor
    outer, inner = shape.outer_diameter, shape.strand_diameter
    rise = np.concatenate(([0.0], np.geomspace(0.02, _REACH, _TABLE)))
    surface = ambient_k + rise
    if wire.film_coefficient is not None:
        film = np.full_like(rise, wire.film_coefficient)
    else:
        film = np.asarray(
            cylinder_film_coefficient(outer, surface, np.full_like(surface, ambient_k))
            + radiation_coefficient(surface, ambient_k, INSULATION_EMISSIVITY)
        )
    loss = math.pi * outer * film * rise * wire.bundling_factor**2
    wall = max(0.25 * math.pi * (outer**2 - inner**2), 0.0)
    return Thermal(
        ambient_c=ambient_c,
        loss_rise=rise,
        loss=loss,
        radial=wire.insulation.thermal_resistivity * math.log(outer / inner) / (2.0 * math.pi),
        metal_heat=metal.volumetric_heat * wire.section,
        wall_heat=wire.insulation.volumetric_heat * wall,
        cold=wire.resistance(20.0),
        beta=metal.inferred_zero,
        axial=_CONDUCTIVITY[wire.material] * wire.section,
        half_length=math.inf if wire.length is None else 0.5 * wire.length,
    )


def steady_current(wire: Wire, temperature_c: float, ambient_c: float) -> float:
    """Current that holds the hottest place of a wire at a temperature [A].

    Parameters
    ----------
    wire : Wire
    temperature_c : float
        Of the conductor [degC].
    ambient_c : float
        [degC].

    Returns
    -------
    float
        0 at or below ambient.

    Notes
    -----
    ``I² R(T) = loss(T)`` for a long wire. Between cooled ends the profile is marched from the
    middle outwards, and the current is that which brings the end to ambient.

    Examples
    --------
    >>> from fusetherm.conductor.insulation import insulation
    >>> wire = Wire(section=2.5e-6, insulation=insulation("pvc-70"), bundle=1)
    >>> 25.0 < steady_current(wire, 70.0, 30.0) < 35.0
    True
    """
    numbers = thermal(wire, ambient_c)
    if temperature_c <= ambient_c:
        return 0.0
    heat, _ = numbers.metal_loss(temperature_c)
    long = math.sqrt(heat / float(numbers.resistance(temperature_c)))
    if math.isinf(numbers.half_length):
        return long
    decay = math.sqrt(heat / (temperature_c - ambient_c) / numbers.axial)
    if decay * numbers.half_length > _LONG:
        return long
    from scipy.optimize import brentq

    def end_rise(squared: float) -> float:
        return _marched(numbers, temperature_c, squared) - ambient_c

    low = high = long * long
    while end_rise(high) > 0.0:
        low, high = high, 2.0 * high
    return math.sqrt(float(brentq(end_rise, low, high, rtol=1e-12)))


def _marched(numbers: Thermal, temperature_c: float, squared: float) -> float:
    """Temperature of the end of half a wire whose middle has a temperature [degC]."""
    step = numbers.half_length / CELLS
    here, flow = temperature_c, 0.0
    for cell in range(CELLS):
        width = step if cell else 0.5 * step
        flow += width * (squared * numbers.resistance(here) - numbers.metal_loss(here)[0])
        here -= flow * step / numbers.axial
        if here < numbers.ambient_c:
            break
    return float(here)


def steady_temperature(wire: Wire, current: float, ambient_c: float) -> float:
    """Temperature of the hottest place of a wire at a steady current [degC].

    Parameters
    ----------
    wire : Wire
    current : float
        [A].
    ambient_c : float
        [degC].

    Returns
    -------
    float
        Infinite where there is no steady state below 600 degC or so.

    Examples
    --------
    >>> from fusetherm.conductor.insulation import insulation
    >>> wire = Wire(section=2.5e-6, insulation=insulation("pvc-70"), bundle=1)
    >>> round(steady_temperature(wire, steady_current(wire, 70.0, 30.0), 30.0), 6)
    70.0
    """
    if current == 0.0:
        return ambient_c
    from scipy.optimize import brentq

    top = ambient_c + 600.0
    if steady_current(wire, top, ambient_c) <= abs(current):
        return math.inf
    return float(
        brentq(
            lambda t: steady_current(wire, t, ambient_c) - abs(current),
            ambient_c,
            top,
            xtol=1e-9,
        )
    )


def continuous_current(wire: Wire, ambient_c: float) -> float:
    """Current that a wire carries for ever at its class temperature [A].

    Raises
    ------
    InputError
        ``ambient-above-insulation``.
    """
    if ambient_c >= wire.insulation.class_c:
        raise InputError(
            "ambient-above-insulation",
            f"ambient of the conductor {number(ambient_c, 6)} °C, and {wire.insulation.name} is "
            f"for {number(wire.insulation.class_c, 6)} °C",
            expected="an ambient below the class of the insulation",
            mend="check the ambient, or take a better insulation",
        )
    return steady_current(wire, wire.insulation.class_c, ambient_c)
