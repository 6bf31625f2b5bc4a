"""The shipped table: the rows of every topic, in the order they are printed."""

from __future__ import annotations

from .case import Case
from .rows import gates, histories, metals, notches, terminals, transients

__all__ = ["CASES"]

#: Every case of the table.
CASES: tuple[Case, ...] = (
    *metals.ROWS,
    *notches.ROWS,
    *transients.ROWS,
    *histories.ROWS,
    *terminals.ROWS,
    *gates.ROWS,
)
