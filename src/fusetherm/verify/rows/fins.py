"""Wires between ends held at ambient, cooled along their sides, short to long."""

from __future__ import annotations

import math

import numpy as np

from ...fuse.element import round_wire
from ...fuse.model import FuseModel, Surroundings
from ...solver.run import simulate
from ...solver.steady import minimum_fusing_current
from ..case import Case, case
from ..models import constant, number, settled, straight_copper

_PAPER = "closed form of the fin with its own Joule heat, mpmath, 25 digits"
_MESH = f"{_PAPER}; .1 % for the mesh"
_AMBIENT_C = 20.0


def _wire(half_length: float, *, slope: float = 0.0039, film: float = 30.0) -> FuseModel:
    """Round wire of .5 mm, 1060 K from its melting point."""
    of = straight_copper(slope, 385.0, _AMBIENT_C + 273.15 + 1060.0)
    around = Surroundings(film_coefficient=film)
    return FuseModel(round_wire(of, 0.5e-3, 2.0 * half_length), surroundings=around)


def _steady(current: float, which: str, unit: str, expected: float) -> Case:
    @case(
        f"fin-steady-{which.replace(' ', '-')}-{current:g}a",
        f"wire of .5 mm, 40 mm long, 30 W/(m² K) at {current:g} A: steady {which}",
        unit=unit,
        expected=expected,
        relative=1e-3,
        source=_MESH,
        origin="computed",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        steady = settled(_wire(20e-3), current, ambient_c=_AMBIENT_C)
        if which == "drop":
            return steady.element_voltage
        if which == "mean rise":
            return float(np.mean(steady.temperature_c)) - _AMBIENT_C
        return steady.peak_temperature_c - _AMBIENT_C

    return measured


@case(
    "fin-parabola",
    "wire of constant properties without side loss at 10 A: rise of its middle",
    unit="K",
    expected=23.175970691633335,
    relative=3e-4,
    source="I² rho l² / (2 k A²); 1/64² of it for the mesh",
    origin="computed",
    calls="fusetherm.steady_state",
    integrates=True,
)
def _parabola() -> float:
    bare = _wire(20e-3, slope=0.0, film=0.0)
    return settled(bare, 10.0, ambient_c=_AMBIENT_C).peak_temperature_c - _AMBIENT_C


def _fusing(name: str, half_length: float, expected: float, cells: int = 64) -> Case:
    @case(
        f"fin-minimum-current-{name}",
        f"wire of .5 mm, {2e3 * half_length:g} mm long, 30 W/(m² K): minimum fusing current",
        unit="A",
        expected=expected,
        relative=1e-3,
        source=_MESH,
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        return minimum_fusing_current(_wire(half_length), ambient_c=_AMBIENT_C, cells=cells)

    return measured


def _transient(current: float, time: float, expected: float) -> Case:
    @case(
        f"fin-transient-{current:g}a-{1e3 * time:g}ms",
        f"wire of .5 mm, 40 mm long, {time:g} s after {current:g} A begins: rise of its middle",
        unit="K",
        expected=expected,
        relative=1e-3,
        source="series solution, mpmath, 25 digits; .1 % for 128 cells",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        run = simulate(_wire(20e-3), constant(current, time), ambient_c=_AMBIENT_C, cells=128)
        return float(run.element_temperature_c[-1]) - _AMBIENT_C

    return measured


def _melting(current: float, expected: float) -> Case:
    @case(
        f"fin-onset-{current:g}a",
        f"wire of .5 mm, 40 mm long at {current:g} A: time to the onset of melting",
        unit="s",
        expected=expected,
        relative=1e-3,
        source="root of the series solution, mpmath, 25 digits; .1 % for the mesh",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        wave = constant(current, 2.0 * expected)
        return number(simulate(_wire(20e-3), wave, ambient_c=_AMBIENT_C).onset_time)

    return measured


@case(
    "fin-carries-just-below",
    "the same wire for 600 s at 33.8 A, .4 % below its minimum fusing current: hottest point",
    unit="degC",
    expected=(-math.inf, 1080.0),
    source="minimum fusing current of the closed form, 33.931776 A",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _carried() -> float:
    run = simulate(_wire(20e-3), constant(33.8, 600.0), ambient_c=_AMBIENT_C)
    return math.nan if run.onset_time is not None else run.peak_temperature_c


ROWS = (
    _steady(15.0, "rise", "K", 55.79935925183979),
    _steady(20.0, "rise", "K", 115.36625983976987),
    _steady(20.0, "mean rise", "K", 76.29313886667694),
    _steady(20.0, "drop", "V", 0.090930668474743),
    _parabola,
    _fusing("20mm", 10e-3, 65.48164774526494),
    _fusing("40mm", 20e-3, 33.931776260930285),
    _fusing("160mm", 80e-3, 13.094893657856462),
    _fusing("endless", 1.0, 10.538924369748312, cells=256),
    _transient(100.0, 0.01, 13.260083730845192),
    _transient(15.0, 3.0, 47.48570301537545),
    _transient(30.0, 0.5, 62.02866058461298),
    _melting(40.0, 3.7154727076653304),
    _melting(200.0, 0.08122501795486613),
    _carried,
)
