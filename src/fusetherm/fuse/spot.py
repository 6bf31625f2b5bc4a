"""The spot of a definition: its law, and where it lies on the sections of an element."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..errors import InputError
from ..physics.dissolution import Dissolution, spot_law
from ..units import kelvin
from .element import RoundSection, Section

if TYPE_CHECKING:
    from ..physics.metals import Metal
    from .definition import Definition
    from .family import Family

Piece = Section | RoundSection
#: Least part of a section a spot leaves free on either side, so that meshes change smoothly with
#: its length; and how near to a whole section it counts as covering it.
_FREE, _WHOLE = 0.02, 0.01


def law_of(
    definition: Definition,
    family: Family,
    metal: Metal,
    *,
    rate_600: float = 0.05,
    activation_k: float = 4500.0,
    resistivity_ratio: float = 9.0,
) -> Dissolution:
    """Law of a fuse's spot.

    Raises
    ------
    InputError
        ``spot-on-metal`` for a metal the family's rate is not known of, or on which the spot
        does nothing before it melts.
    """
    stated = None if definition.spot is None else definition.spot.onset_c
    if stated is None and metal.name not in family.metals:
        raise InputError(
            "spot-on-metal",
            f"a spot of tin on {metal.name}: family {family.name} knows how fast tin dissolves "
            f"{' and '.join(family.metals)}",
            expected="an element of " + ", ".join(family.metals),
            mend="state onset_C under [spot] if you know that of your pair, or write a family "
            "file with its rate",
        )
    return spot_law(
        metal,
        None if stated is None else kelvin(stated, "onset of the spot"),
        rate_600=rate_600,
        activation_k=activation_k,
        resistivity_ratio=resistivity_ratio,
    )


def with_spot(
    sections: Sequence[Piece], length: float, centre: float | None = None
) -> tuple[tuple[Piece, ...], int]:
    """Sections with one that lies under a spot, and its number.

    Parameters
    ----------
    sections : sequence of Section or RoundSection
        The element from left to right.
    length : float
        Length of the spot [m]; it ends with the section its middle lies on.
    centre : float, optional
        Its middle from the left end [m]; the element's middle when left out.

    Raises
    ------
    InputError
        ``spot-off-the-element``, or ``spot-on-notch`` for a part of a rounded notch.

    Examples
    --------
    >>> parts, index = with_spot([RoundSection(10e-3, 1e-4)], 2e-3)
    >>> [round(1e3 * part.length, 3) for part in parts], index
    ([4.0, 2.0, 4.0], 1)
    """
    whole = sum(part.length for part in sections)
    middle = 0.5 * whole if centre is None else centre
    if not 0.0 < middle < whole:
        raise InputError(
            "spot-off-the-element",
            f"a spot {1e3 * middle:g} mm from the left end of an element of {1e3 * whole:g} mm",
            expected="a position on the element",
        )
    start = 0.0
    for index, part in enumerate(sections):
        if middle <= start + part.length or index == len(sections) - 1:
            break
        start += part.length
    left = middle - 0.5 * length - start
    right = middle + 0.5 * length - start
    if left < _WHOLE * part.length and right > (1.0 - _WHOLE) * part.length:
        return tuple(sections), index
    if isinstance(part, Section) and part.middle_width is not None:
        raise InputError(
            "spot-on-notch",
            f"a spot of {1e3 * length:g} mm on a part of a rounded notch of "
            f"{1e3 * part.length:g} mm",
            expected="a spot over all of the notch, or on a section without middle_width_mm",
            mend="draw the notch as sections, the spot on one of them",
        )
    left = min(max(left, _FREE * part.length), (1.0 - 2.0 * _FREE) * part.length)
    right = max(min(right, (1.0 - _FREE) * part.length), left + _FREE * part.length)
    pieces = tuple(
        _piece(part, a, b) for a, b in ((0.0, left), (left, right), (right, part.length))
    )
    return (*sections[:index], *pieces, *sections[index + 1 :]), index + 1


def _piece(part: Piece, a: float, b: float) -> Piece:
    """Part of a section between two distances from its start [m]."""
    if isinstance(part, RoundSection) or part.end_width is None:
        return dataclasses.replace(part, length=b - a)
    slope = (part.end_width - part.width) / part.length
    return Section(b - a, part.width + slope * a, part.thickness, end_width=part.width + slope * b)
