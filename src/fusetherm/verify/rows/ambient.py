"""Minimum fusing current against ambient: the limits of convection and of end cooling."""

from __future__ import annotations

import math
from dataclasses import replace

from ...answers.curve import time_current_curve
from ...answers.drop import drop
from ...answers.rerating import rerate
from ...fuse.element import Element, Section, round_wire
from ...fuse.model import Blade, FuseModel, Side, Surroundings
from ...physics import kohlrausch
from ...physics.metals import metal
from ...solver.steady import minimum_fusing_current
from ..case import Case, case
from ..models import plain_metal, straight

_REFERENCE_K = 296.15  # the ambient of the standards, 23 °C
_MELTS = {"zinc": 692.677, "copper": 1357.77}


def _ratio(model: FuseModel, ambient_c: float, cells: int = 64) -> float:
    hot, cold = (minimum_fusing_current(model, ambient_c=t, cells=cells) for t in (ambient_c, 23.0))
    return hot / cold


def _limit(name: str, ambient_c: float, limit: str, expected: float) -> Case:
    law = (
        "sqrt((Tm - Ta) / (Tm - T23))"
        if limit == "convective"
        else "acos(Ta/Tm) / acos(T23/Tm), Wiedemann and Franz"
    )
    called = "convective" if limit == "convective" else "end_cooled_wf"

    @case(
        f"ambient-{limit}-{name}-{ambient_c:g}c".replace("--", "-minus-"),
        f"{name} at {ambient_c:g} °C over 23 °C: fusing current, {limit} limit",
        unit="1",
        expected=expected,
        relative=1e-6,
        source=f"{law}, mpmath, 25 digits",
        origin="computed",
        calls=f"fusetherm.physics.closed_forms.ambient_ratio_{called}",
    )
    def measured() -> float:
        law_of = getattr(kohlrausch, f"ambient_ratio_{called}")
        return float(law_of(ambient_c + 273.15, metal(name).solidus_k, _REFERENCE_K))

    return measured


def _convective(name: str, expected: float) -> Case:
    @case(
        f"ambient-wire-in-air-{name}",
        f"wire that melts like {name}, no end loss, fixed film, 85 over 23 °C: fusing current",
        unit="1",
        expected=expected,
        relative=1e-6,
        source="sqrt((Tm - Ta) / (Tm - T23)), mpmath, 25 digits",
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        ends = Side(Blade(heat_capacity=1e-9))
        of = plain_metal(
            name,
            density=8000.0,
            specific_heat=400.0,
            resistivity=5e-8,
            slope=0.0039,
            conductivity=200.0,
            melts_k=_MELTS[name],
        )
        around = Surroundings(film_coefficient=30.0)
        return _ratio(FuseModel(round_wire(of, 0.5e-3, 20e-3), None, ends, ends, around), 85.0)

    return measured


def _ideal_strip(name: str, melts_k: float) -> FuseModel:
    """Notched strip between held ends, of a metal that keeps Wiedemann and Franz's law."""
    slope = 2e-10
    of = replace(
        plain_metal(
            name,
            density=8000.0,
            specific_heat=400.0,
            resistivity=293.15 * slope,
            conductivity=2.443004509073666e-8 / slope,
            melts_k=melts_k,
        ),
        resistivity_table=straight(293.15 * slope, slope),
    )
    sections = (
        Section(4e-3, 3e-3, 0.3e-3),
        Section(2e-3, 3e-3, 0.3e-3, middle_width=1e-3),
        Section(4e-3, 3e-3, 0.3e-3),
    )
    return FuseModel(Element(of, sections, spreading=False))


def _end_cooled(name: str, expected: float) -> Case:
    @case(
        f"ambient-end-cooled-strip-{name}",
        f"notched strip of ideal {name}, ends at ambient, 85 over 23 °C: fusing current",
        unit="1",
        expected=expected,
        relative=1e-5,
        source="acos(Ta/Tm) / acos(T23/Tm), Wiedemann and Franz, mpmath, 25 digits",
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        return _ratio(_ideal_strip(name, _MELTS[name]), 85.0, cells=256)

    return measured


@case(
    "rerate-same-hot-spot-in-air",
    "wire, no end loss, fixed film, hot spot of 123 °C at its rating: re-rated at 85 °C over it",
    unit="1",
    expected=0.6164414002968976,
    relative=1e-5,
    source="sqrt((Th - Ta) / (Th - T23)) with a hot spot held, mpmath, 25 digits",
    origin="computed",
    calls="fusetherm.rerate",
    integrates=True,
)
def _same_hot_spot_in_air() -> float:
    wire, rated = _wire_in_air(), _rated_in_air()
    answer = rerate(wire, ambient_c=85.0, rated_current=rated)
    return float(answer.hot_spot_current[0]) / rated


@case(
    "drop-wire-in-air",
    "wire, no end loss, fixed film, 100 K above 23 °C: current from the drop along its 20 mm",
    unit="A",
    expected=3.633481656839675,
    relative=1e-5,
    source="I² R(T) = h P l (T - Ta) with the drop V = sqrt(h P l (T - Ta) R(T)), by hand",
    origin="computed",
    calls="fusetherm.drop",
    integrates=True,
)
def _drop_in_air() -> float:
    resistance = 5e-8 * (1.0 + _SLOPE * 103.0) * 20e-3 / (0.25 * math.pi * _DIAMETER**2)
    heat = _FILM * math.pi * _DIAMETER * 20e-3 * 100.0
    table = drop(_wire_in_air(), voltages=[math.sqrt(heat * resistance)])
    return float(table.current[0])


@case(
    "drop-end-cooled",
    "notched strip of ideal metal, ends at 23 °C, hot spot of 200 °C: drop between the ends",
    unit="V",
    expected=0.11535239855035107,
    # the mesh an answer takes by itself: 1.7e-4 with 64 cells, 4.1e-5, 9.8e-6, 2.2e-6 doubled
    relative=3e-4,
    source="Kohlrausch with Wiedemann and Franz: V = 2 sqrt(L (Th² - Ta²)), by hand",
    origin="computed",
    calls="fusetherm.drop",
    integrates=True,
)
def _drop_end_cooled() -> float:
    current = minimum_fusing_current(_ideal_strip("tin", 473.15), cells=256)
    return float(drop(_ideal_strip("zinc", _MELTS["zinc"]), currents=[current]).voltage[0])


_FILM, _DIAMETER, _SLOPE = 30.0, 0.5e-3, 0.0039


def _rated_in_air() -> float:
    """Current that holds the wire 100 K above 23 °C [A]."""
    area = 0.25 * math.pi * _DIAMETER**2
    rho = 5e-8 * (1.0 + _SLOPE * 103.0)
    return math.sqrt(_FILM * math.pi * _DIAMETER * 100.0 * area / rho)


def _wire_in_air() -> FuseModel:
    of = plain_metal(
        "zinc",
        density=8000.0,
        specific_heat=400.0,
        resistivity=5e-8,
        slope=_SLOPE,
        conductivity=200.0,
        melts_k=_MELTS["zinc"],
    )
    ends = Side(Blade(heat_capacity=1e-9))
    around = Surroundings(film_coefficient=_FILM)
    return FuseModel(round_wire(of, _DIAMETER, 20e-3), None, ends, ends, around)


@case(
    "rerate-same-hot-spot-end-cooled",
    "notched strip of ideal metal, ends at ambient, hot spot of 200 °C: re-rated at 85 °C",
    unit="1",
    expected=0.7961641456331942,
    relative=1e-4,
    source="acos(Ta/Th) / acos(T23/Th), Wiedemann and Franz, a hot spot held, mpmath, 25 digits",
    origin="computed",
    calls="fusetherm.rerate",
    integrates=True,
)
def _same_hot_spot_end_cooled() -> float:
    rated = minimum_fusing_current(_ideal_strip("tin", 473.15), cells=256)
    model = _ideal_strip("zinc", _MELTS["zinc"])
    answer = rerate(model, ambient_c=85.0, rated_current=rated)
    return float(answer.hot_spot_current[0]) / rated


def _table(name: str, low: float, high: float) -> Case:
    @case(
        f"ambient-tables-{name}",
        f"notched strip of {name} of the tables, ends at ambient, 85 over 23 °C: fusing current",
        unit="1",
        expected=(0.99 * low, 1.01 * high),
        source="between the end-cooled and the convective limit, give or take 1 %",
        origin="computed",
        calls="fusetherm.time_current_curve",
        integrates=True,
    )
    def measured() -> float:
        sections = (
            Section(4e-3, 3e-3, 0.3e-3),
            Section(2e-3, 3e-3, 0.3e-3, middle_width=1e-3),
            Section(4e-3, 3e-3, 0.3e-3),
        )
        model = FuseModel(Element(metal(name), sections))
        curve = time_current_curve(model, ambient_c=[23.0, 85.0], currents=[1.0])
        cold, hot = curve.minimum_fusing_current
        return math.nan if cold <= 1.0 else float(hot / cold)

    return measured


ROWS = (
    _limit("zinc", -40.0, "convective", 1.076512643217449),
    _limit("zinc", -40.0, "end-cooled", 1.0872244179207653),
    _limit("copper", 125.0, "convective", 0.9507472973948976),
    _limit("copper", 125.0, "end-cooled", 0.9424614524425199),
    _convective("zinc", 0.9185000954589893),
    _convective("copper", 0.9703600820295359),
    _end_cooled("zinc", 0.9099850698617993),
    _end_cooled("copper", 0.9651684653967161),
    _same_hot_spot_in_air,
    _drop_in_air,
    _drop_end_cooled,
    _same_hot_spot_end_cooled,
    _table("zinc", 0.9099850698617993, 0.9185000954589893),
    _table("copper", 0.9651684653967161, 0.9703600820295359),
)
