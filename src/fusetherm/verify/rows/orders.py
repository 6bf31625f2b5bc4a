"""Observed orders of accuracy, one row for each law and for mesh and step."""

from __future__ import annotations

import re

from ..case import Case, case
from ..manufactured import LAWS, Law
from ..orders import KINDS, THEORY, Kind, observe

_WHAT: dict[Kind, str] = {
    "mesh": "error against the cell",
    "rodas3": "error against the step of RODAS3",
    "rodas4": "error against the step of RODAS4",
}


def _row(law: Law, kind: Kind) -> Case:
    plain = re.sub("[^a-z0-9]+", "-", law.name.lower())

    @case(
        f"order-{kind}-{plain}",
        f"{law.name}: order of the {_WHAT[kind]}",
        unit="1",
        expected=THEORY[kind],
        absolute=0.1,
        source="order on paper; manufactured solution",
        origin="computed",
        calls="fusetherm.verify.orders.observe",
        integrates=True,
    )
    def row() -> float:
        return observe(law, kind).observed

    return row


ROWS = tuple(_row(law, kind) for kind in KINDS for law in LAWS)
