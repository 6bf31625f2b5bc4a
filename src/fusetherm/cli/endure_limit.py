"""`fusetherm endure --find`: what a duty may be for so many cycles, as text and as data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ..written import measure, number
from .output import echo, echo_cautions, echo_notes, echo_table, shown

if TYPE_CHECKING:
    from ..answers.endurance_limits import EnduranceLimit

#: What is looked for, in words.
_SOUGHT = {
    "current": "highest peak current",
    "spacing": "shortest time from start to start",
    "ambient": "highest ambient",
    "duration": "longest duration",
}
#: Ends of the keys of the data, by what is varied.
_UNITS = {"current": "A", "spacing": "s", "ambient": "C", "duration": "s"}


def limit_data(answer: EnduranceLimit) -> dict[str, Any]:
    """The answer as plain data; a value is null where none or every one does it, see ``state``."""
    from ..answers.cautions import CAUTIONS

    key = f"{answer.varied}_{_UNITS[answer.varied]}"
    values = {
        key: answer.value,
        f"{key}_low": answer.value_low,
        f"{key}_high": answer.value_high,
        f"{key}_safe": answer.safe,
    }
    return {
        "schema": "fusetherm/endure-limit/1",
        "fuse": answer.name,
        "connection": answer.base.connection,
        "varied": answer.varied,
        "event": answer.event or None,
        "cycles": answer.cycles,
        f"{key}_asked": answer.asked,
        **{name: value if math.isfinite(value) else None for name, value in values.items()},
        "state": {name: _state(value) for name, value in values.items()},
        "aged": answer.base.aged,
        "pulse_tests": answer.base.tests,
        "notes": [{"code": n.code, "text": n.text} for n in answer.notes],
        "cautions": CAUTIONS,
    }


def _state(value: float) -> str:
    return "none" if math.isnan(value) else "any" if math.isinf(value) else "found"


def print_limit(answer: EnduranceLimit, *, capture: str, ambient_assumed: bool) -> None:
    """Print the answer: median, band, and the value to build with."""
    from ..answers.cautions import CAUTIONS

    unit = "°C" if answer.varied == "ambient" else answer.unit

    def told(value: float) -> str:
        return {"none": "none", "any": "any"}.get(_state(value)) or measure(value, unit)

    old = ", aged" if answer.base.aged else ""
    which = f" of event {shown(answer.event)}" if answer.event else ""
    echo(
        f"{shown(answer.name)}{old}, {answer.base.connection} connection, {shown(capture)}: "
        f"{_SOUGHT[answer.varied]}{which} for {number(answer.cycles)} cycles "
        f"(now {told(answer.asked)})"
    )
    rows = [
        ["median life", told(answer.value)],
        ["90 % of what may hold", f"{told(answer.value_low)} to {told(answer.value_high)}"],
        ["9 of 10 units, 95 % confident", told(answer.safe)],
    ]
    echo_table(["", answer.varied], rows)
    if any(_state(v) != "found" for v in (answer.value, answer.value_low, answer.value_high)):
        echo("none: no value bears so many cycles; any: all that were looked at do")
    if ambient_assumed and answer.varied != "ambient":
        echo(f"ambient of {measure(answer.base.ambient_c, '°C')} assumed")
    echo_notes(answer.notes)
    echo_cautions(CAUTIONS)
