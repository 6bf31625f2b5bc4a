"""How units of one kind differ: in thickness, in the width of the notch, in how they lose heat.

Where the definition publishes a band, its width at each current says how much; else spreads
are assumed and said so.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from ..fuse.element import Element, RoundSection, Section
from ..fuse.model import FuseModel

Floats = npt.NDArray[np.float64]

#: Standard deviations from one unit to the next [ln] where no band is published: thickness of the
#: strip or section of the wire, width at the notch, and conductances of gap, body and contact
#: together (own estimates; a study took .020, .030 and .080, and its notches counted a third).
ASSUMED = {"thickness": 0.025, "notch width": 0.016, "loss of heat": 0.1}
#: What the first two make in the current of a short pulse [ln]: for a model without a fit.
UNIT_SPREAD = 0.03
#: Points with both limits below which a band only scales the assumed spreads.
_ENOUGH = 4


@dataclass(frozen=True, slots=True)
class UnitSpread:
    """Standard deviations from one unit to the next.

    Attributes
    ----------
    sd : dict of str to float
        Of the logarithm of each quantity in ``ASSUMED`` [-].
    source : {"assumed", "band"}
        Where they come from.
    """

    sd: dict[str, float]
    source: Literal["assumed", "band"]

    def unit(self, model: FuseModel, scores: Floats) -> FuseModel:
        """A unit of the kind.

        Parameters
        ----------
        model : FuseModel
            The middle one.
        scores : (3,) array
            How many standard deviations it lies from it, in the order of ``sd``.
        """
        for (name, sd), score in zip(self.sd.items(), scores, strict=True):
            if score:
                model = _CHANGES[name](model, math.exp(sd * float(score)))
        return model

    def units(self, model: FuseModel) -> tuple[FuseModel, ...]:
        """Models one standard deviation from a model, in one quantity each."""
        return tuple(self.unit(model, scores) for scores in np.eye(len(self.sd)))


def unit_spread(sensitivities: Floats, half_widths: Floats) -> UnitSpread:
    """Spread of units from a published band.

    Parameters
    ----------
    sensitivities : (n, 3) array
        d ln current / d ln quantity at each point with both limits, at its time, in the order
        of ``ASSUMED``.
    half_widths : (n,) array
        Half the band's width in ln current there, taken as two standard deviations.

    Returns
    -------
    UnitSpread

    Notes
    -----
    ``sum_j (S_ij sigma_j)² = (w_i / 2)²`` by non-negative least squares in the variances; with
    fewer than four points, one common factor on the assumed spreads.
    """
    names = list(ASSUMED)
    assumed = np.array(list(ASSUMED.values())) ** 2
    if len(half_widths) == 0:
        return UnitSpread(dict(ASSUMED), "assumed")
    squares, wanted = sensitivities**2, (0.5 * half_widths) ** 2
    if len(half_widths) < _ENOUGH:
        expected = squares @ assumed
        variances = assumed * float(expected @ wanted) / float(expected @ expected)
    else:
        from scipy.optimize import nnls

        # relative weights: a band is as well known where it is narrow
        rows = squares * assumed / wanted[:, None]
        variances = assumed * nnls(rows, np.ones(len(wanted)))[0]
    found = zip(names, np.sqrt(variances).tolist(), strict=True)
    return UnitSpread(dict(found), "band")


def _thicker(model: FuseModel, factor: float) -> FuseModel:
    def one(part: Section | RoundSection) -> Section | RoundSection:
        if isinstance(part, RoundSection):
            return replace(part, diameter=part.diameter * math.sqrt(factor))
        return replace(part, thickness=part.thickness * factor)

    return _sections(model, one)


def _wider_notch(model: FuseModel, factor: float) -> FuseModel:
    """Every width less than the widest, moved by a factor."""
    strips = [p for p in model.element.sections if isinstance(p, Section)]
    widest = max((p.width for p in strips), default=math.inf)

    def moved(width: float | None) -> float | None:
        return width if width is None or width > 0.99 * widest else min(width * factor, widest)

    def one(part: Section | RoundSection) -> Section | RoundSection:
        if isinstance(part, RoundSection):
            return part
        width = moved(part.width)
        assert width is not None
        return replace(
            part,
            width=width,
            end_width=moved(part.end_width),
            middle_width=moved(part.middle_width),
        )

    return _sections(model, one)


def _sections(
    model: FuseModel, change: Callable[[Section | RoundSection], Section | RoundSection]
) -> FuseModel:
    element: Element = model.element
    sections = tuple(change(part) for part in element.sections)
    return replace(model, element=replace(element, sections=sections))


def _looser(model: FuseModel, factor: float) -> FuseModel:
    """Gap, body and both contacts conduct heat by a factor better."""
    body = model.body
    if body is not None:
        body = replace(
            body,
            conductance=body.conductance * factor,
            element_loss=body.element_loss * factor,
            filler=None
            if body.filler is None
            else replace(body.filler, conductivity=body.filler.conductivity * factor),
        )
    sides = []
    for side in (model.left, model.right):
        contact = side.contact
        if contact is not None:
            contact = replace(contact, heat_factor=contact.heat_factor * factor)
        sides.append(replace(side, contact=contact))
    return replace(model, body=body, left=sides[0], right=sides[1])


_CHANGES: dict[str, Callable[[FuseModel, float], FuseModel]] = {
    "thickness": _thicker,
    "notch width": _wider_notch,
    "loss of heat": _looser,
}
