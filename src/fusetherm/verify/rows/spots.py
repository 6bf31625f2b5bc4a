"""Tin spots: how their fusing current follows the ambient, and how fast they dissolve."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

from ...fuse.element import Element, RoundSection, Section, Spot
from ...fuse.model import Blade, Body, Cable, Clip, Contact, FuseModel, Side, Surroundings
from ...physics.dissolution import SPOTS, Dissolution
from ...physics.metals import Metal, metal
from ...solver.run import simulate
from ...solver.steady import minimum_fusing_current
from ..case import Case, case
from ..models import constant, number, plain_metal, straight

_ONSET_K = 494.0  # tin on silver


@lru_cache
def _least(ambient_c: float, spotted: bool) -> float:
    """Minimum fusing current of a silver strip in a body on blades, clips and cables."""
    film = Cable(2.5e-6).film
    end = Side(Blade(0.4, 0.01), Contact(0.2e-3), Clip(), Cable(2.5e-6, film_coefficient=film))
    parts = tuple(Section(length, 1e-3, 1e-4) for length in (4e-3, 2e-3, 4e-3))
    spot = Spot(1, SPOTS["silver"]) if spotted else None
    model = FuseModel(Element(metal("silver"), parts, spot=spot), Body(), end, end)
    return minimum_fusing_current(model, ambient_c=ambient_c)


@case(
    "spot-ambient-slope",
    "tin spot on silver in a body: mean slope of the fusing current, -40 to 125 °C",
    unit="%/K",
    expected=-0.306,
    relative=0.05,
    source="mean of a study of synthetic elements made with a fuller model, our own",
    origin="computed",
    calls="fusetherm.minimum_fusing_current",
    integrates=True,
)
def _slope() -> float:
    cold, middle, hot = (_least(t, True) for t in (-40.0, 23.0, 125.0))
    return 100.0 * (hot - cold) / 165.0 / middle


@case(
    "spot-ambient-against-plain",
    "the same: its slope over that of the strip without a spot",
    unit="1",
    expected=(3.5, 5.5),
    source="-.306 and -.063 %/K in the same study, our own",
    origin="computed",
    calls="fusetherm.minimum_fusing_current",
    integrates=True,
)
def _against_plain() -> float:
    def slope(spotted: bool) -> float:
        cold, middle, hot = (_least(t, spotted) for t in (-40.0, 23.0, 125.0))
        return (hot - cold) / middle

    return slope(True) / slope(False)


def _spotted(of: Metal) -> Element:
    """Wire of 20 mm and .5 mm, a spot on its middle millimetre."""
    parts = tuple(RoundSection(length, 0.5e-3) for length in (9.5e-3, 1e-3, 9.5e-3))
    return Element(of, parts, spot=Spot(1, Dissolution(_ONSET_K)))


def _limit(ambient_c: float, cooled: str, expected: float) -> Case:
    law = (
        "acos(Ta/To) / acos(T23/To), Wiedemann and Franz"
        if cooled == "ends"
        else "sqrt((To - Ta) / (To - T23))"
    )

    @case(
        f"spot-ambient-{cooled}-{ambient_c:g}c".replace("--", "-minus-"),
        f"spot with its onset at 494 K, cooled by its {cooled}, {ambient_c:g} over 23 °C: fusing "
        "current",
        unit="1",
        expected=expected,
        relative=5e-5,
        source=f"{law}, To the onset, by hand",
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        model = _ends() if cooled == "ends" else _sides()
        hot, cold = (
            minimum_fusing_current(model, ambient_c=t, cells=128) for t in (ambient_c, 23.0)
        )
        return hot / cold

    return measured


def _plain(conductivity: float) -> Metal:
    return plain_metal(
        "silver",
        density=10490.0,
        specific_heat=235.0,
        resistivity=5.863e-8,
        conductivity=conductivity,
        melts_k=1234.9,
    )


def _ends() -> FuseModel:
    slope = 2e-10
    ideal = replace(
        _plain(2.443004509073666e-8 / slope), resistivity_table=straight(293.15 * slope, slope)
    )
    return FuseModel(_spotted(ideal))


def _sides() -> FuseModel:
    ends = Side(Blade(heat_capacity=1e-9))
    around = Surroundings(film_coefficient=30.0)
    return FuseModel(_spotted(_plain(400.0)), None, ends, ends, around)


@case(
    "spot-dissolves-at-600k",
    "spot whose alloy conducts like the wire, held at 600 K: time to part",
    unit="s",
    expected=20.0,
    relative=0.005,
    source="1 / k600, with k600 = .05 /s: the definition of the rate",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _dissolves() -> float:
    law = Dissolution(_ONSET_K, resistivity_ratio=1.0 + 1e-9)
    # insulated ends, no slope of resistivity: the loss alone sets 600 K, within a tenth of a second
    wire = _plain(400.0)
    element = Element(wire, (RoundSection(5e-3, 0.1e-3),), spot=Spot(0, law))
    film, perimeter, area = 2000.0, math.pi * 0.1e-3, 0.25 * math.pi * 0.1e-3**2
    current = math.sqrt(film * perimeter * area * (600.0 - 296.15) / 5.863e-8)
    ends = Side(Blade(heat_capacity=1e-9))
    model = FuseModel(element, None, ends, ends, Surroundings(film_coefficient=film))
    run = simulate(model, constant(current, 60.0), ambient_c=23.0, tolerance=1e-6, cells=8)
    return number(run.pre_arcing_time)


ROWS = (
    _slope,
    _against_plain,
    _limit(-40.0, "ends", 1.1631075293408362),
    _limit(125.0, "ends", 0.682683867773512),
    _limit(-40.0, "sides", 1.1482260438447898),
    _limit(125.0, "sides", 0.6960301162081196),
    _dissolves,
)
