"""Handbook laws of wires and cables: Preece, Onderdonk, the adiabatic constant of conductors."""

from __future__ import annotations

import math

from ...fuse.element import round_wire
from ...fuse.model import Blade, FuseModel, Side, Surroundings
from ...physics.heat_loss import nusselt_horizontal_cylinder_churchill_chu
from ...physics.metals import metal
from ...physics.wire_laws import (
    CABLE_CONDUCTORS,
    PREECE_CONSTANTS,
    adiabatic_k,
    insulated_cable_action,
    onderdonk_action,
    preece_current,
    preece_diameter,
)
from ...solver.run import simulate
from ...solver.steady import minimum_fusing_current
from ..case import Case, case
from ..models import constant, insulated_wire, number

_TABLE = "Ness Engineering, Fuse equations (Preece's law), nessengr.com, read"
_CIRCULAR_MIL = 5.067075e-10  # [m²]


def _preece(name: str, current: float, inches: float) -> Case:
    @case(
        f"law-preece-{name}-{current:g}a",
        f"Preece: {name} wire that {current:g} A fuse, diameter",
        unit="in",
        expected=inches,
        absolute=6e-5,
        source=f"{_TABLE}, table",
        origin="read",
        calls="fusetherm.physics.closed_forms.preece_diameter",
    )
    def measured() -> float:
        return preece_diameter(current, PREECE_CONSTANTS[name]) / 0.0254

    return measured


@case(
    "law-preece-aluminium-250a",
    "Preece: aluminium wire that 250 A fuse, diameter",
    unit="in",
    expected=0.1028,
    absolute=6e-5,
    source=f"{_TABLE}: its constant; its table prints .1208, between .1028 and .1095",
    origin="computed",
    calls="fusetherm.physics.closed_forms.preece_diameter",
)
def _misprinted() -> float:
    return preece_diameter(250.0, PREECE_CONSTANTS["aluminium"]) / 0.0254


@case(
    "law-preece-awg-24",
    "Preece: copper wire of AWG 24, .0201 in",
    unit="A",
    expected=29.2,
    relative=3e-3,
    source="wire table of a public forum, read",
    origin="read",
    calls="fusetherm.physics.closed_forms.preece_current",
)
def _gauge() -> float:
    return preece_current(0.0201 * 0.0254, PREECE_CONSTANTS["copper"])


@case(
    "law-preece-against-air",
    "dark copper wire of .5 mm in still air: minimum fusing current over Preece's",
    unit="1",
    expected=(0.6, 1.2),
    source="an empirical law for long bare wires, good to some 40 %, from memory",
    origin="memory",
    calls="fusetherm.minimum_fusing_current",
    integrates=True,
)
def _against_air() -> float:
    around = Surroundings(natural_convection=True, emissivity=0.6)
    ends = Side(Blade(heat_capacity=1e-6))
    model = FuseModel(round_wire(metal("copper"), 0.5e-3, 0.1), None, ends, ends, around)
    law = preece_current(0.5e-3, PREECE_CONSTANTS["copper"])
    return minimum_fusing_current(model, ambient_c=20.0, cells=16) / law


def _onderdonk(name: str, circular_mils: float, seconds: float, current: float) -> Case:
    @case(
        f"law-onderdonk-{name}",
        f"Onderdonk: copper of {circular_mils:g} circular mils that melts in {seconds:g} s",
        unit="A",
        expected=current,
        relative=1e-4,
        source="33 (I/A)² s = log10(dT/(234 + Ta) + 1), 25 to 1083 °C, computed apart",
        origin="computed",
        calls="fusetherm.physics.closed_forms.onderdonk_action",
    )
    def measured() -> float:
        return circular_mils * _CIRCULAR_MIL * math.sqrt(onderdonk_action(298.15) / seconds)

    return measured


@case(
    "law-onderdonk-against-the-solver",
    "copper wire of AWG 24 without loss, 10 kA: action to the onset over Onderdonk's",
    unit="1",
    expected=(1.0, 1.1),
    source="Onderdonk's constant heat and straight resistivity against the tables, 8 % apart",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _against_the_solver() -> float:
    area = 404.0 * _CIRCULAR_MIL
    wire = insulated_wire(metal("copper"), area)
    run = simulate(wire, constant(1e4, 0.1), ambient_c=25.0, tolerance=1e-6, cells=8)
    return 1e8 * number(run.onset_time) / area**2 / onderdonk_action(298.15)


@case(
    "law-insulated-cable",
    "short circuit of insulated copper cable, 75 to 150 °C: current density that lasts 1 s",
    unit="A/mm2",
    expected=104.48266,
    relative=1e-4,
    source="ICEA: (I/A)² t = .0297 log10((T2 + 234)/(T1 + 234)), A in circular mils, read",
    origin="computed",
    calls="fusetherm.physics.closed_forms.insulated_cable_action",
)
def _cable() -> float:
    return math.sqrt(insulated_cable_action(75.0 + 273.15, 150.0 + 273.15)) * 1e-6


def _adiabatic(name: str, start_c: float, end_c: float, expected: float) -> Case:
    @case(
        f"law-adiabatic-k-{name}-{end_c:g}c",
        f"{name} conductor, {start_c:g} to {end_c:g} °C: adiabatic constant k",
        unit="A s0.5/mm2",
        expected=expected,
        relative=6e-3,
        source="IEC 60364-5-54, printed, read in comments of code that cite BS 7671",
        origin="read",
        calls="fusetherm.physics.closed_forms.adiabatic_k",
    )
    def measured() -> float:
        conductor = CABLE_CONDUCTORS[name]
        return adiabatic_k(conductor, start_c + 273.15, end_c + 273.15) * 1e-6

    return measured


def _nusselt(rayleigh: float, expected: float) -> Case:
    @case(
        f"law-churchill-chu-ra-{rayleigh:g}".replace("1e+06", "1e6").replace("0.01", "1e-2"),
        f"horizontal cylinder, Churchill and Chu, Pr .7, Ra {rayleigh:g}: Nusselt number",
        unit="1",
        expected=expected,
        relative=1e-6,
        source="computed with ht 1.2.0, Nu_horizontal_cylinder_Churchill_Chu",
        origin="computed",
        calls="fusetherm.physics.heat_loss.nusselt_horizontal_cylinder_churchill_chu",
    )
    def measured() -> float:
        return float(nusselt_horizontal_cylinder_churchill_chu(rayleigh, 0.7))

    return measured


ROWS = (
    _preece("copper", 30.0, 0.0205),
    _preece("tin", 10.0, 0.0334),
    _preece("iron", 10.0, 0.0216),
    _misprinted,
    _gauge,
    _against_air,
    _onderdonk("awg-16", 2583.0, 1.0, 377.8833),
    _onderdonk("worked-example", 2581.0, 5.0, 168.864),
    _against_the_solver,
    _cable,
    _adiabatic("copper", 70.0, 160.0, 115.0),
    _adiabatic("copper", 90.0, 250.0, 143.0),
    _adiabatic("aluminium", 90.0, 250.0, 94.0),
    _nusselt(0.01, 0.5609395886731684),
    _nusselt(1e6, 14.51019084744473),
)
