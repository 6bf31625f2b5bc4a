"""States that belong to one cell of the element each: shells of filler, dissolved shares."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..fuse.element import Element, Mesh
from ..fuse.model import Body
from .kernels.layout import (
    ACTIVATION,
    GAIN,
    INVERSE_CAPACITY,
    RATE,
    REACTION_ONSET,
    SPOT_SCALE,
    TO_PREVIOUS,
    TO_SHARED,
)

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

#: Thickness of the outermost shell over that of the innermost: with eight shells the rise of a
#: wire of .5 mm in a bore of 10 mm is within 2 % of the exact field from 1 ms to 3 s.
_OUTERMOST_OVER_INNERMOST = 61.0


def shells_of(
    body: Body | None, mesh: Mesh, start: int, first: int
) -> tuple[Integers, dict[int, Floats]]:
    """Shells of filler around every cell, and their rows in order of shells within cells.

    Shells grow from a cylinder of the cell's perimeter to the bore. A shell's mean temperature
    lies, on a logarithmic profile, at ``ln r = [r² ln r] / [r²] - 1/2`` (differences over the
    shell); between these radii run the conductances ``2 pi k L / ln(outer / inner)``.
    """
    filler = None if body is None else body.filler
    if filler is None:
        return np.zeros((0, 1), dtype=np.int64), {}
    count = filler.shells
    inner = mesh.side / (2.0 * np.pi * mesh.length)
    if not 0.5 * filler.bore > 1.05 * inner.max():
        raise InputError(
            "bore-too-narrow",
            f"a bore of {1e3 * filler.bore:.3g} mm around an element as wide as a cylinder of "
            f"{2e3 * inner.max():.3g} mm",
            expected="room for the filler",
        )
    growth = _OUTERMOST_OVER_INNERMOST ** (1.0 / (count - 1))
    share = (growth ** np.arange(count + 1) - 1.0) / (growth**count - 1.0)
    edges = inner[:, None] + (0.5 * filler.bore - inner)[:, None] * share
    squares, logs = edges**2, np.log(edges)
    moment = np.diff(squares * logs, axis=1) / np.diff(squares, axis=1)
    centres = np.exp(moment - 0.5)
    knots = np.column_stack((inner, centres, edges[:, -1]))
    along = 2.0 * np.pi * filler.conductivity * mesh.length[:, None]
    conductance = along / np.log(knots[:, 1:] / knots[:, :-1])
    area = np.pi * np.diff(edges**2, axis=1)
    to_shared = np.zeros_like(area)
    to_shared[:, -1] = conductance[:, -1]
    cells = len(mesh.length)
    numbers = start + np.arange(cells * count).reshape(cells, count)
    rows = {
        INVERSE_CAPACITY: 1.0 / (filler.heat * area * mesh.length[:, None]).ravel(),
        TO_PREVIOUS: conductance[:, :-1].ravel(),
        TO_SHARED: to_shared.ravel(),
    }
    return np.column_stack((first + np.arange(cells), numbers)), rows


def spots_of(
    element: Element, mesh: Mesh, start: int, first: int
) -> tuple[Integers, dict[int, Floats]]:
    """Dissolved share of every cell under a spot, and its rows."""
    if element.spot is None:
        return np.zeros((0, 2), dtype=np.int64), {}
    cells = np.flatnonzero(mesh.section == element.spot.section)
    law = element.spot.dissolution
    each = np.ones(len(cells))
    rows = {
        RATE: law.rate_600 * SPOT_SCALE * each,
        ACTIVATION: law.activation_k * each,
        REACTION_ONSET: law.onset_k * each,
        GAIN: (law.resistivity_ratio - 1.0) / SPOT_SCALE * each,
    }
    return np.column_stack((first + cells, start + np.arange(len(cells)))), rows
