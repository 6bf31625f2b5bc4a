"""A FuseModel from a definition and the values of the fitted quantities."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from ..errors import InputError, Note
from ..fuse.definition import Connection, Definition
from ..fuse.element import Element, RoundSection, Section, spreading_squares
from ..fuse.family import Family, element_metal
from ..fuse.model import (
    BODY_CONDUCTANCE_SLOPE,
    Blade,
    Body,
    Cable,
    Clip,
    Contact,
    FuseModel,
    Limits,
    Side,
)
from ..fuse.prior import Prior
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
    """
    geometry = definition.geometry
    if geometry is not None and geometry.sections:
        return Element(metal, [_drawn(part) for part in geometry.sections])
    length = 2.0 * value["half_element_length"]
    ratio, share = value["notch_area_ratio"], min(value["notch_length_fraction"], 0.95)
    shape = 2.0 * value["half_element_resistance"] / metal.resistivity(293.15)
    notch, rest = share * length, 0.5 * (1.0 - share) * length
    if family.element == "wire":
        area = (2.0 * rest + notch / ratio) / shape
        outer = RoundSection(rest, math.sqrt(4.0 * area / math.pi))
        inner = RoundSection(notch, math.sqrt(4.0 * area * ratio / math.pi))
        return Element(metal, (outer, inner, outer))
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
    spreading = 2.0 * spreading_squares(1.0 / ratio)
    squares = shape * thickness - spreading
    if squares <= 0.05 * shape * thickness:
        squares = 0.05 * shape * thickness
    width = (2.0 * rest + notch / ratio) / squares
    wide = Section(rest, width, thickness)
    return Element(metal, (wide, Section(notch, ratio * width, thickness), wide))


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
    chosen = definition.test_connection
    if connection == "installed" and definition.installed_connection is not None:
        chosen = definition.installed_connection
    limits = definition.limits
    return FuseModel(
        element=element_of(definition, family, metal, value),
        body=Body(
            heat_capacity=2.0 * value["half_body_heat_capacity"],
            conductance=2.0 * value["half_body_conductance"],
            element_loss=value["lateral_loss"],
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
    import numpy as np

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
