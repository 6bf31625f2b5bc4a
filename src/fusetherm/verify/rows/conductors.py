"""Conductors: resistances, gauges, adiabatic limits, what they carry, how they heat."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, cast

from ...conductor.damage import damage_curve, heating
from ...conductor.insulation import Insulation, insulation
from ...conductor.sections import Make, conductor_resistance, gauge_section
from ...conductor.wire import Wire, continuous_current, steady_current, thermal
from ...physics.fins import Fin, fin_steady, fin_transient
from ..case import Case, case

_MM2 = 1e-6
_IEC_60228 = "IEC 60228, largest resistance at 20 °C, mycableengineering.com, read"
_K = "IEC 60364-4-43 and -5-54, the formula of k, computed apart"
_AMPACITY = "IEC 60364-5-52, PVC, two loaded conductors, method B1, 30 °C, read in a stored table"


def _wire(section_mm2: float, name: str, bundle: int = 1) -> Wire:
    return Wire(section=section_mm2 * _MM2, insulation=insulation(name), bundle=bundle)


def _resistance(section_mm2: float, make: str, expected: float) -> Case:
    @case(
        f"conductor-resistance-{section_mm2:g}-{make}".replace(".", ""),
        f"{make} copper conductor of {section_mm2:g} mm²: resistance",
        unit="ohm/km",
        expected=expected,
        relative=1e-9,
        source=_IEC_60228,
        origin="read",
        calls="fusetherm.conductor.sections.conductor_resistance",
    )
    def measured() -> float:
        return 1e3 * conductor_resistance(section_mm2 * _MM2, "copper", cast(Make, make))

    return measured


def _gauge(number: int, expected: float) -> Case:
    @case(
        f"conductor-gauge-{number}",
        f"AWG {number}: section",
        unit="mm2",
        expected=expected,
        relative=1e-9,
        source="ASTM B258, d = .127 mm · 92^((36 - n)/39), computed apart",
        origin="computed",
        calls="fusetherm.conductor.sections.gauge_section",
    )
    def measured() -> float:
        return gauge_section(number) / _MM2

    return measured


def _k(name: str, start_c: float, expected: float, material: str = "copper") -> Case:
    @case(
        f"conductor-k-{name}-{material}-from-{start_c:g}",
        f"{material} in {name}, from {start_c:g} °C: k",
        unit="A s0.5/mm2",
        expected=expected,
        relative=1e-5,
        source=_K,
        origin="computed",
        calls="fusetherm.Wire.k",
    )
    def measured() -> float:
        made: dict[str, Any] = {"material": material, "make": "rigid"}
        of = replace(_wire(25.0, name), **made)
        return 1e-6 * of.k(start_c)

    return measured


def _carries(section_mm2: float, amperes: float) -> Case:
    @case(
        f"conductor-carries-{section_mm2:g}".replace(".", ""),
        f"pair of PVC wires of {section_mm2:g} mm² bunched in air, over the table's current",
        unit="1",
        # tubes and walls differ from a pair in free air by about this
        expected=(0.9, 1.1),
        source=_AMPACITY,
        origin="read",
        calls="fusetherm.conductor.wire.continuous_current",
    )
    def measured() -> float:
        pair = replace(_wire(section_mm2, "pvc-70", 2), make="rigid")
        return continuous_current(pair, 30.0) / amperes

    return measured


def _fin(length: float, time: float | None) -> Case:
    """A wire without insulation worth the name, with a fixed film, between cooled ends."""
    steady = time is None

    @case(
        f"conductor-fin-{'steady' if steady else 'heating'}-{1e3 * length:g}mm"
        + ("" if time is None else f"-{time:g}s"),
        f"wire of {length:g} m between cooled ends, "
        + ("steady rise" if steady else f"rise after {time:g} s")
        + " of its middle over the fin's",
        unit="1",
        expected=1.0,
        absolute=2e-3,
        source="steady and transient fin with Joule heat, closed form and series, computed apart",
        origin="computed",
        calls="fusetherm.conductor.wire.steady_current"
        if steady
        else "fusetherm.conductor.damage.heating",
    )
    def measured() -> float:
        thin = Insulation("thin", 100.0, 160.0, "invented", 1e-2, 1e3)
        of = Wire(
            section=0.5 * _MM2, insulation=thin, bundle=1, outer_diameter=1e-3, length=length,
            film_coefficient=30.0,
        )  # fmt: skip
        fin = Fin(
            area=of.section,
            perimeter=math.pi * 1e-3,
            half_length=0.5 * length,
            conductivity=391.0,
            resistivity=of.resistance(30.0) * of.section,
            temperature_coefficient=1.0 / (thermal(of, 30.0).beta + 30.0),
            film_coefficient=30.0,
        )
        if time is None:
            return 50.0 / fin_steady(fin, steady_current(of, 80.0, 30.0)).centre
        solution, _ = heating(of, 20.0, ambient_c=30.0, until=time)
        centre, _ = fin_transient(fin, 20.0, time, of.conductor.volumetric_heat)
        return float(solution.y[0, -1] - 30.0) / centre

    return measured


@case(
    "conductor-short-time",
    "copper of 2.5 mm² in PVC from 70 °C at 1 kA: time to damage, as its section alone resists",
    unit="s",
    expected=0.08265625,
    relative=0.03,
    source="t = (k S/I)², k = 115, IEC 60364-4-43, computed apart",
    origin="computed",
    calls="fusetherm.conductor.damage.damage_curve",
)
def _short() -> float:
    of = replace(_wire(2.5, "pvc-70"), gauge=99)
    return float(damage_curve(of, [1000.0], ambient_c=69.9999).time[0])


ROWS = (
    _resistance(0.5, "flexible", 39.0),
    _resistance(2.5, "flexible", 7.98),
    _resistance(25.0, "rigid", 0.727),
    _resistance(70.0, "tinned", 0.277),
    _gauge(10, 5.261154954510373),
    _gauge(20, 0.5176192419280384),
    _k("pvc-70", 70.0, 114.83612782557213),
    _k("xlpe-90", 90.0, 142.87404845736057),
    _k("xlpe-90", 90.0, 94.55281495200396, "aluminium"),
    _k("rubber-60", 60.0, 93.22144541260654, "aluminium"),
    _k("pvc-70", 30.0, 142.68607781319076),
    _short,
    _carries(1.5, 17.5),
    _carries(2.5, 24.0),
    _carries(4.0, 32.0),
    _carries(6.0, 41.0),
    _carries(10.0, 57.0),
    _fin(0.06, None),
    _fin(0.2, None),
    _fin(0.1, 5.0),
    _fin(0.1, 20.0),
)
