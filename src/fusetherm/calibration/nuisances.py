"""What a fit takes for granted, and how far it may be wrong: quantities no curve can tell.

Each nuisance changes a model by a standard normal score, 0 for what the fit takes for granted.
Draws vary them all and fit the quantities of the family anew, so that an answer off the curve
carries what the assumed properties, shapes and laws of loss are worth.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..fuse.definition import Definition
from ..fuse.element import Section
from ..fuse.model import FuseModel, Side
from ..physics.metals import Metal
from ..physics.tables import Table

Floats = npt.NDArray[np.float64]
Change = Callable[[FuseModel, float], FuseModel]

#: Share of a notch that tapers: at one standard deviation, at most, and below which the taper
#: is left out [-]. Half of all notches are taken to be cut square.
_TAPER, _MOST_TAPER, _LEAST_TAPER = 0.15, 0.5, 0.04
#: Spread of the temperature at which a spot begins to dissolve [K]: a per cent of copper, lead or
#: antimony in the tin moves a eutectic by a few kelvin (from memory).
_ONSET = 3.0
#: Conductance from each blade to the body at most [W/K]: 50 mm² of plastic, 2 mm thick, at
#: .3 W/m/K pass .0075 W/K (conductivity from memory).
_MOST_BLADE = 0.01
#: Spread of a cable section nobody states [ln]: 4, 6 and 10 mm² are all used at 40 A.
_SECTION_SPREAD = 0.35


@dataclass(frozen=True, slots=True)
class Nuisance:
    """One thing taken for granted.

    Attributes
    ----------
    name, about : str
        What it is, and how far one standard deviation moves it and why.
    change : callable
        The model changed by a standard normal score.
    """

    name: str
    about: str
    change: Change


def altered(
    model: FuseModel,
    scores: Floats,
    definition: Definition,
    connection: Literal["test", "installed"],
) -> FuseModel:
    """A model with every nuisance at its score; cable sections nobody states move as well."""
    for nuisance, score in zip(NUISANCES, scores[: len(NUISANCES)], strict=True):
        model = nuisance.change(model, float(score))
    if definition.test_connection is None:
        model = _other_cable(model, float(scores[TEST_CABLE]))
    if connection == "installed" and definition.installed_connection is None:
        model = _other_cable(model, float(scores[INSTALLED_CABLE]))
    return model


def _metal(model: FuseModel, metal: Metal) -> FuseModel:
    return replace(model, element=replace(model.element, metal=metal))


def _bent(table: Table, metal: Metal, score: float, level: float, bend: float) -> Table:
    """A property table moved by a level and a bend, see `_bending`."""
    temperature = np.asarray(table.temperature_k)
    share = (temperature - 293.15) / (metal.solidus_k - 293.15)
    factor = np.exp(score * (level + bend * share))
    return replace(table, value=tuple(float(v) for v in np.asarray(table.value) * factor))


def _bending(
    table: Literal["resistivity_table", "conductivity_table", "specific_heat_table"],
    level: float,
    bend: float,
) -> Change:
    """A property of the metal moved by a level [ln], and by a bend that grows to melting."""

    def change(model: FuseModel, score: float) -> FuseModel:
        metal = model.element.metal
        properties: dict[str, Any] = {
            table: _bent(getattr(metal, table), metal, score, level, bend)
        }
        return _metal(model, replace(metal, **properties))

    return change


def _melting_heat(model: FuseModel, score: float) -> FuseModel:
    metal = model.element.metal
    return _metal(model, replace(metal, latent_heat=metal.latent_heat * math.exp(0.03 * score)))


def _liquid(model: FuseModel, score: float) -> FuseModel:
    metal = model.element.metal
    ratio = 1.0 + (metal.liquid_resistivity_ratio - 1.0) * math.exp(0.1 * score)
    return _metal(model, replace(metal, liquid_resistivity_ratio=ratio))


def _shape(model: FuseModel, score: float) -> FuseModel:
    """A notch that tapers, or a spot that begins to dissolve elsewhere: no element has both."""
    return _taper(model, score) if model.element.spot is None else _onset(model, score)


def _onset(model: FuseModel, score: float) -> FuseModel:
    spot = model.element.spot
    assert spot is not None
    law = replace(spot.dissolution, onset_k=spot.dissolution.onset_k + _ONSET * score)
    return replace(model, element=replace(model.element, spot=replace(spot, dissolution=law)))


def _taper(model: FuseModel, score: float) -> FuseModel:
    sections = model.element.sections
    if len(sections) != 3:
        return model
    before, notch, after = sections
    if not (isinstance(before, Section) and isinstance(notch, Section)):
        return model
    share = min(_TAPER * score, _MOST_TAPER)
    if share < _LEAST_TAPER or (notch.end_width, notch.middle_width) != (None, None):
        return model
    ramp = 0.5 * share * notch.length
    down = Section(ramp, before.width, notch.thickness, end_width=notch.width)
    up = Section(ramp, notch.width, notch.thickness, end_width=before.width)
    middle = replace(notch, length=notch.length - 2.0 * ramp)
    element = replace(model.element, sections=(before, down, middle, up, after))
    return replace(model, element=element)


def _uniform(score: float) -> float:
    """Share between 0 and 1, evenly spread, of a normal score."""
    return 0.5 * math.erfc(-score / math.sqrt(2.0))


def _break_length(model: FuseModel, score: float) -> FuseModel:
    length = model.element.parting_length * math.exp(0.2 * score)
    return replace(model, element=replace(model.element, break_length=length))


def _emissivity(model: FuseModel, score: float) -> FuseModel:
    if model.body is None:
        return model
    return replace(model, body=replace(model.body, element_emissivity=0.1 * abs(score)))


def _blade_to_body(model: FuseModel, score: float) -> FuseModel:
    if model.body is None:
        return model
    conductance = _MOST_BLADE * _uniform(score)
    return replace(model, body=replace(model.body, blade_conductance=conductance))


def _body_slope(model: FuseModel, score: float) -> FuseModel:
    if model.body is None:
        return model
    slope = model.body.conductance_slope + 1e-3 * score
    return replace(model, body=replace(model.body, conductance_slope=slope))


def _sides(model: FuseModel, change: Callable[[Side, float], Side]) -> FuseModel:
    """Both sides changed; the sign tells left (-1) from right (+1)."""
    return replace(model, left=change(model.left, -1.0), right=change(model.right, 1.0))


def _film_slope(model: FuseModel, score: float) -> FuseModel:
    def one(side: Side, _: float) -> Side:
        if side.cable is None:
            return side
        return replace(side, cable=replace(side.cable, film_slope=6e-4 * score))

    return _sides(model, one)


def _uneven(model: FuseModel, score: float) -> FuseModel:
    def one(side: Side, sign: float) -> Side:
        if side.contact is None:
            return side
        resistance = side.contact.resistance * math.exp(0.3 * sign * score)
        return replace(side, contact=replace(side.contact, resistance=resistance))

    return _sides(model, one)


def _other_cable(model: FuseModel, score: float) -> FuseModel:
    def one(side: Side, _: float) -> Side:
        cable = side.cable
        if cable is None or cable.insulation_diameter is not None:
            return side
        section = cable.section * math.exp(_SECTION_SPREAD * score)
        return replace(side, cable=replace(cable, section=section))

    return _sides(model, one)


#: What is varied. Spreads without another source are own estimates; handbooks differ by 1 to
#: 3 % in the properties of pure metals (from memory), alloys and cold work by more.
NUISANCES: tuple[Nuisance, ...] = (
    Nuisance(
        "resistivity near melting",
        "2 % against that at 20 °C",
        _bending("resistivity_table", 0.0, 0.02),
    ),
    Nuisance("thermal conductivity", "3 %", _bending("conductivity_table", 0.03, 0.0)),
    Nuisance(
        "conductivity near melting",
        "4 % against that at 20 °C",
        _bending("conductivity_table", 0.0, 0.04),
    ),
    Nuisance(
        "specific heat",
        "1 % at 20 °C, 3 % near melting",
        _bending("specific_heat_table", 0.01, 0.02),
    ),
    Nuisance("heat of melting", "3 %", _melting_heat),
    Nuisance("resistivity of the liquid", "10 % of its rise at melting", _liquid),
    Nuisance(
        "taper of the notch, or onset of a spot",
        "square in half of all, else 15 % of its length at one deviation; 3 K",
        _shape,
    ),
    Nuisance("break length", "20 %", _break_length),
    Nuisance("radiation to the body", "emissivity .1, one-sided: bright to oxidised", _emissivity),
    Nuisance("blade to body", "0 to .01 W/K, evenly: plastic that holds it", _blade_to_body),
    Nuisance("body and ambient", ".1 % per kelvin of ambient", _body_slope),
    Nuisance("cable and ambient", ".06 % per kelvin of ambient", _film_slope),
    Nuisance("uneven contacts", "30 % either way of their mean", _uneven),
)
#: Places of the further scores of a draw, after the nuisances: the cable sections of test and
#: installation, which count where nobody states them, and a worn contact. Then their number.
TEST_CABLE, INSTALLED_CABLE, WORN_CONTACT = (len(NUISANCES) + k for k in range(3))
SCORES = len(NUISANCES) + 3
