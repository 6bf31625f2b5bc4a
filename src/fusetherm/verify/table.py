"""The shipped table: the rows of every topic, in the order they are printed."""

from __future__ import annotations

from .case import Case
from .rows import (
    diffusion,
    fins,
    gates,
    histories,
    kohlrausch,
    melting,
    melting_fronts,
    metals,
    notches,
    periodic,
    runaway,
    terminals,
    transients,
    waveforms,
    wires,
)

__all__ = ["CASES"]

#: Every case of the table.
CASES: tuple[Case, ...] = (
    *metals.ROWS,
    *wires.ROWS,
    *fins.ROWS,
    *kohlrausch.ROWS,
    *notches.ROWS,
    *melting.ROWS,
    *melting_fronts.ROWS,
    *diffusion.ROWS,
    *transients.ROWS,
    *runaway.ROWS,
    *waveforms.ROWS,
    *periodic.ROWS,
    *histories.ROWS,
    *terminals.ROWS,
    *gates.ROWS,
)
