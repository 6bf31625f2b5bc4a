"""The aged fuse: a stated scenario, for lives are told of new ones."""

from __future__ import annotations

import math
from dataclasses import replace

from ..fuse.element import RoundSection
from ..fuse.model import FuseModel, Side

#: Resistance of the element and of each contact, aged over new (own choice of a scenario, no
#: forecast of what years do).
RESISTANCE, CONTACT = 1.10, 2.0


def aged(model: FuseModel) -> FuseModel:
    """The same fuse grown old: element of 10 % more resistance, contacts doubled.

    Parameters
    ----------
    model : FuseModel
        The new fuse.

    Returns
    -------
    FuseModel

    Notes
    -----
    The element loses section, as oxide takes it: all of it is thinner by a factor 1.1, so that
    it also holds less heat. A contact of twice the resistance passes half the heat.

    Examples
    --------
    >>> from fusetherm import FuseModel, metal, round_wire
    >>> wire = FuseModel(round_wire(metal("silver"), 0.2e-3, 10e-3))
    >>> round(aged(wire).element.cold_resistance() / wire.element.cold_resistance(), 6)
    1.1
    """
    element = model.element
    thinner = tuple(
        replace(part, diameter=part.diameter / math.sqrt(RESISTANCE))
        if isinstance(part, RoundSection)
        else replace(part, thickness=part.thickness / RESISTANCE)
        for part in element.sections
    )
    return replace(
        model,
        element=replace(element, sections=thinner),
        left=_worn(model.left),
        right=_worn(model.right),
    )


def _worn(side: Side) -> Side:
    if side.contact is None:
        return side
    return replace(
        side, contact=replace(side.contact, resistance=CONTACT * side.contact.resistance)
    )
