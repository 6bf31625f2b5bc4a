"""The shipped table: the rows of every topic, in the order they are printed."""

from __future__ import annotations

from .case import Case
from .rows import (
    gates,
    histories,
    melting,
    metals,
    notches,
    periodic,
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
    *notches.ROWS,
    *melting.ROWS,
    *transients.ROWS,
    *waveforms.ROWS,
    *periodic.ROWS,
    *histories.ROWS,
    *terminals.ROWS,
    *gates.ROWS,
)
