"""A FuseModel from a definition and the values of the fitted quantities."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np

from ..errors import InputError, Note
from ..fuse.definition import Connection, Definition
from ..fuse.element import Element, RoundSection, Section, Spot, spreading_squares
from ..fuse.family import Family, element_metal
from ..fuse.model import (
    BODY_CONDUCTANCE_SLOPE,
    Blade,
    Body,
    Cable,
    Clip,
    Contact,
    Filler,
    FuseModel,
    Limits,
    Side,
)
from ..fuse.prior import Prior
from ..fuse.spot import law_of, with_spot
from ..physics.metals import Metal
from ..written import number

#: Sections of cable [mm²] (IEC 60228) a test or an installation is assumed to have when the
#: definition is silent: the first that keeps the rated current below 6.7 A/mm² (common
#: practice, no source).
_SECTIONS_MM2 = (
    0.5,
    0.75,
    1.0,
    1.5,
    2.5,
    4.0,
    6.0,
    10.0,
    16.0,
    25.0,
    35.0,
    50.0,
    70.0,
    95.0,
    120.0,
)
_CURRENT_DENSITY = 6.7
#: Length of cable [m] on each side when the definition is silent (common practice, no source).
_CABLE_LENGTH = 1.0
#: Receptacle: heat capacity per ampere of rating [J/K/A] and conductance to the holder
#: [W/K] (own estimate: 1 J/K of copper alloy at 40 A). The cable draws most of the heat.
_CLIP_HEAT_PER_AMPERE = 0.025
_CLIP_TO_AMBIENT = 0.003


#: Bore over the diameter of a cylinder as wide as the element, at least, where no bore is
#: stated (own choice: half a radius of sand).
_SAND_AROUND = 1.5


def assumed_section(rated_current: float) -> float:
    """Cable section [m²] assumed for a rated current [A] when none is stated."""
    for section in _SECTIONS_MM2:
        if rated_current / section <= _CURRENT_DENSITY:
            return section * 1e-6
    return _SECTIONS_MM2[-1] * 1e-6


def element_of(
    definition: Definition, family: Family, metal: Metal, value: Mapping[str, float]
) -> Element:
    """Element of a definition: from its drawing where sections are given, else fitted.

    Notes
    -----
    A fitted strip has a straight notch in its middle: length L, notch length q L, widths W
    and r W, thickness t by the class. Its width follows from the resistance,
    ``R = rho/t [ ((1 - q) L + q L / r) / W + 2 n(1/r) ]`` with n the squares of spreading.
    With a spot the notch is two halves, and the spot covers the land of full width between
    them. A family without quantities of a notch has plain elements.
    """
    geometry, stated = definition.geometry, definition.spot
    drawn = geometry is not None and len(geometry.sections) > 0
    if geometry is not None and drawn:
        sections = tuple(_drawn(part) for part in geometry.sections)
    elif family.element == "wire":
        sections = _fitted_wire(metal, value)
    else:
        sections = _fitted_strip(definition, family, metal, value)
    if family.spot is None:
        return Element(metal, sections)
    centre = None if stated is None else stated.position
    if centre is not None and family.element == "strip" and not drawn:
        raise InputError(
            "spot-without-drawing",
            "the position of a spot on a strip of which no sections are given",
            expected="the sections of the geometry",
            mend="leave position_mm out: a fitted strip has its spot in the middle",
        )
    sections, index = with_spot(sections, 2.0 * value["spot_half_length"], centre)
    law = law_of(
        definition,
        family,
        metal,
        rate_600=value["spot_rate"],
        activation_k=value["spot_activation"],
        resistivity_ratio=value["spot_resistivity_ratio"],
    )
    return Element(metal, sections, spot=Spot(index, law))


def _shape(metal: Metal, value: Mapping[str, float]) -> tuple[float, float, float, float]:
    """Length [m], integral of dx/A [1/m], ratio and share of the notch [-]."""
    share = min(value.get("notch_length_fraction", 0.0), 0.95)
    return (
        2.0 * value["half_element_length"],
        2.0 * value["half_element_resistance"] / metal.resistivity(293.15),
        value.get("notch_area_ratio", 1.0),
        share,
    )


def _fitted_wire(metal: Metal, value: Mapping[str, float]) -> tuple[RoundSection, ...]:
    length, shape, ratio, share = _shape(metal, value)
    notch, rest = share * length, 0.5 * (1.0 - share) * length
    area = (2.0 * rest + notch / ratio) / shape
    if notch == 0.0:
        return (RoundSection(length, math.sqrt(4.0 * area / math.pi)),)
    outer = RoundSection(rest, math.sqrt(4.0 * area / math.pi))
    inner = RoundSection(notch, math.sqrt(4.0 * area * ratio / math.pi))
    return (outer, inner, outer)


def _fitted_strip(
    definition: Definition, family: Family, metal: Metal, value: Mapping[str, float]
) -> tuple[Section, ...]:
    length, shape, ratio, share = _shape(metal, value)
    geometry = definition.geometry
    size, _ = family.size(definition.rated_current, definition.size)
    thickness = size.thickness
    if geometry is not None and geometry.thickness is not None:
        thickness = geometry.thickness
    if thickness is None:
        raise InputError(
            "thickness-unknown",
            f"the size {size.name} of family {family.name} has no thickness",
            expected="thickness_mm in the family or in the geometry",
        )
    notches = 0 if share == 0.0 else 2 if family.spot is not None else 1
    spreading = 2.0 * notches * spreading_squares(1.0 / ratio)
    squares = max(shape * thickness - spreading, 0.05 * shape * thickness)
    notch, rest = share * length, (1.0 - share) * length
    width = (rest + notch / ratio) / squares
    if notches == 0:
        return (Section(length, width, thickness),)
    if notches == 1:
        wide = Section(0.5 * rest, width, thickness)
        return (wide, Section(notch, ratio * width, thickness), wide)
    land = min(2.0 * value["spot_half_length"], 0.5 * rest)
    wide = Section(0.5 * (rest - land), width, thickness)
    bridge = Section(0.5 * notch, ratio * width, thickness)
    return (wide, bridge, Section(land, width, thickness), bridge, wide)


def filler_of(
    definition: Definition, family: Family, element: Element, value: Mapping[str, float]
) -> Filler | None:
    """Filler of a fuse in the bore its geometry states, or its size has.

    A fitted strip stands for all that lie side by side: where it is wider than the bore of the
    size holds, the sand between them counts as a wider bore.
    """
    if family.filler is None:
        return None
    size, _ = family.size(definition.rated_current, definition.size)
    geometry = definition.geometry
    bore = None if geometry is None else geometry.bore
    if bore is None:
        assert size.bore is not None  # a family with a filler has it in each size
        around = max(float(np.max(part.perimeter(np.zeros(1)))) for part in element.sections)
        bore = max(size.bore, _SAND_AROUND * around / math.pi)
    return Filler(bore, value["filler_conductivity"], value["filler_heat_capacity"])


def _drawn(part: object) -> Section | RoundSection:
    diameter = getattr(part, "diameter", None)
    length = float(getattr(part, "length"))  # noqa: B009
    if diameter is not None:
        return RoundSection(length, diameter)
    return Section(
        length,
        getattr(part, "width"),  # noqa: B009
        getattr(part, "thickness"),  # noqa: B009
        end_width=getattr(part, "end_width", None),
        middle_width=getattr(part, "middle_width", None),
    )


def side_of(
    definition: Definition,
    connection: Connection | None,
    which: Literal["left", "right"],
    value: Mapping[str, float],
) -> Side:
    """One side: blade of the fuse, contact, clip and cable of the connection."""
    stated = None if connection is None else connection.side(which)
    contact, section = value["contact_resistance"], assumed_section(definition.rated_current)
    length, diameter = _CABLE_LENGTH, None
    if stated is not None:
        section = stated.cable_section or section
        length = stated.cable_length or length
        diameter = stated.insulation_diameter
        if connection is not definition.test_connection:
            # an installed contact is what its own table says; the test one was fitted
            contact = stated.contact_resistance or contact
    return Side(
        blade=Blade(heat_capacity=value["blade_heat_capacity"]),
        contact=Contact(contact, value["contact_heat_share"]),
        clip=Clip(_CLIP_HEAT_PER_AMPERE * definition.rated_current, _CLIP_TO_AMBIENT),
        cable=_cable(section, length, diameter, value["cable_film_coefficient"]),
    )


def _cable(section: float, length: float, diameter: float | None, film: float) -> Cable:
    """Cable whose film coefficient [W/m²/K] holds in air of 23 degC and follows the ambient."""
    alone = Cable(section, length, diameter)
    return replace(alone, film_factor=film / alone.film)


def model_of_parameters(
    definition: Definition,
    family: Family,
    value: Mapping[str, float],
    connection: Literal["test", "installed"] = "test",
) -> FuseModel:
    """Model of a fuse in its test or its installed connection.

    Parameters
    ----------
    definition : Definition
    family : Family
    value : mapping of str to float
        Values of the fitted quantities, SI, names of ``fusetherm.fuse.prior``.
    connection : {"test", "installed"}
        Installed falls back to test where the definition has none.
    """
    metal = element_metal(definition, family)
    element = element_of(definition, family, metal, value)
    chosen = definition.test_connection
    if connection == "installed" and definition.installed_connection is not None:
        chosen = definition.installed_connection
    limits = definition.limits
    return FuseModel(
        element=element,
        body=Body(
            heat_capacity=2.0 * value["half_body_heat_capacity"],
            conductance=2.0 * value["half_body_conductance"],
            element_loss=value.get("lateral_loss", 0.0),
            filler=filler_of(definition, family, element, value),
            conductance_slope=BODY_CONDUCTANCE_SLOPE,
        ),
        left=side_of(definition, chosen, "left", value),
        right=side_of(definition, chosen, "right", value),
        limits=Limits()
        if limits is None
        else Limits(limits.blade_c, limits.clip_c, limits.body_c, limits.cable_insulation_c),
        rated_current=definition.rated_current,
        name=definition.id,
    )


def values_of(priors: tuple[Prior, ...], scores: object) -> dict[str, float]:
    """Values of the fitted quantities at scores (standard deviations from the centres)."""
    z = np.asarray(scores, dtype=float)
    return {p.name: p.value(float(s)) for p, s in zip(priors, z, strict=True)}


def connection_notes(definition: Definition) -> tuple[Note, ...]:
    """Notes on connections the definition leaves open."""
    notes: list[Note] = []
    section = assumed_section(definition.rated_current) * 1e6
    if definition.test_connection is None:
        text = f"no test connection is stated; {number(section)} mm² of cable assumed"
        notes.append(Note("test-connection-assumed", text))
    if definition.installed_connection is None:
        text = "no installed connection is stated; the answer is for the test connection"
        notes.append(Note("installed-connection-assumed", text))
    return tuple(notes)
