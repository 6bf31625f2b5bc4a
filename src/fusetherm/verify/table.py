"""The shipped table: the rows of every topic, in the order they are printed."""

from __future__ import annotations

from .case import Case
from .rows import (
    actions,
    ambient,
    balances,
    diffusion,
    endurance,
    families,
    fins,
    gates,
    histories,
    kohlrausch,
    lengths,
    measured,
    melting,
    melting_fronts,
    metals,
    notches,
    orders,
    periodic,
    properties,
    recovered,
    runaway,
    spots,
    strips,
    terminals,
    transients,
    waveforms,
    wire_laws,
    wires,
)

__all__ = ["CASES"]

#: Every case of the table.
CASES: tuple[Case, ...] = (
    *metals.ROWS,
    *properties.ROWS,
    *actions.ROWS,
    *wires.ROWS,
    *wire_laws.ROWS,
    *fins.ROWS,
    *kohlrausch.ROWS,
    *lengths.ROWS,
    *notches.ROWS,
    *strips.ROWS,
    *ambient.ROWS,
    *melting.ROWS,
    *melting_fronts.ROWS,
    *diffusion.ROWS,
    *transients.ROWS,
    *runaway.ROWS,
    *waveforms.ROWS,
    *periodic.ROWS,
    *endurance.ROWS,
    *histories.ROWS,
    *terminals.ROWS,
    *balances.ROWS,
    *orders.ROWS,
    *spots.ROWS,
    *gates.ROWS,
    *families.ROWS,
    *recovered.ROWS,
    *measured.ROWS,
)
