"""`fusetherm endure`: how long a fuse lasts when a capture is repeated."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..written import measure, number, percent, seconds
from . import options
from .output import announce_compilation, echo, echo_json, echo_notes, echo_table, shown

if TYPE_CHECKING:
    from ..answers.endurance import Endurance

#: Exit status of a duty that melts the element.
_OPENS = 20


@click.command("endure")
@click.argument("capture", type=options.PATH)
@click.option("--fuse", type=options.PATH, required=True, metavar="FILE",
              help="Definition (.toml) or fit file (.json).")  # fmt: skip
@click.option("--period-s", type=click.FloatRange(min=0.0, min_open=True), metavar="S",
              help="From start to start, in s; the capture's length if not given.")  # fmt: skip
@click.option("--ambient-c", type=float, metavar="C",
              help="Ambient of the fuse in °C; 23 is assumed, and said so.")  # fmt: skip
@click.option("--per-day", type=click.FloatRange(min=0.0, min_open=True), metavar="N",
              help="Cycles a day, for years; told only with pulse tests.")  # fmt: skip
@options.reading
@options.connection("installed")
@options.contact
@options.as_json
def command(
    capture: Path,
    fuse: Path,
    period_s: float | None,
    ambient_c: float | None,
    per_day: float | None,
    connection: Literal["installed", "test"],
    contact: str,
    as_json: bool,
    **reading: Any,
) -> None:
    """How many times the fuse bears the current of CAPTURE, repeated, before it wears out.

    Exit status: 0 a life is told, 20 the duty melts the element.
    """
    record = options.read(capture, **reading)
    announce_compilation()
    from ..answers.endurance import endurance
    from ..calibration.stored import fit_or_definition
    from ..units import REFERENCE_AMBIENT_C

    fit = fit_or_definition(fuse, contact=contact)
    answer = endurance(
        fit,
        record,
        period=period_s,
        ambient_c=REFERENCE_AMBIENT_C if ambient_c is None else ambient_c,
        connection=connection,
        cycles_per_day=per_day,
    )
    if as_json:
        echo_json(endurance_data(answer) | {"capture": record.path, "per_day": per_day})
    else:
        print_endurance(answer, capture=record.path, ambient_assumed=ambient_c is None)
    click.get_current_context().exit(_OPENS if math.isnan(answer.cycles) else 0)


def _told(value: float) -> float | None:
    return value if math.isfinite(value) else None


def endurance_data(answer: Endurance) -> dict[str, Any]:
    """The answer as plain data."""
    from ..answers.cautions import CAUTIONS

    return {
        "schema": "fusetherm/endure/1",
        "fuse": answer.name,
        "connection": answer.connection,
        "ambient_C": answer.ambient_c,
        "period_s": answer.period,
        "pulse_tests": answer.tests,
        "exponent": answer.exponent,
        "cycles": _told(answer.cycles),
        "cycles_low": _told(answer.cycles_low),
        "cycles_high": _told(answer.cycles_high),
        "b1_cycles": _told(answer.b1),
        "b1_cycles_low": _told(answer.b1_low),
        "b10_cycles": _told(answer.b10),
        "b10_cycles_low": _told(answer.b10_low),
        "years": answer.years,
        "swing_K": answer.swing,
        "peak_temperature_C": answer.peak_c,
        "opens_in_cycle": answer.opens_in_cycle,
        "steady_share": answer.steady_share,
        "rule_cycles": _told(answer.rule_cycles),
        "events": [
            {"time_s": e.time, "swing_K": e.swing, "peak_C": e.peak_c, "damage_share": e.share}
            for e in answer.events
        ],
        "notes": [{"code": n.code, "text": n.text} for n in answer.notes],
        "cautions": CAUTIONS,
    }


def print_endurance(answer: Endurance, *, capture: str, ambient_assumed: bool) -> None:
    """Print the answer: what the element goes through, then how often it bears it."""
    from ..answers.cautions import CAUTIONS

    assumed = " (assumed)" if ambient_assumed else ""
    echo(
        f"{shown(answer.name)}, {answer.connection} connection, {shown(capture)} every "
        f"{seconds(answer.period)} at {measure(answer.ambient_c, '°C')}{assumed}"
    )
    if math.isnan(answer.cycles):
        echo_notes(answer.notes)
        echo(" ".join(CAUTIONS))
        return
    echo(
        f"hot spot: swing {measure(answer.swing, 'K')}, peak {measure(answer.peak_c, '°C')} once "
        f"the duty repeats; RMS current {percent(answer.steady_share)} of what melts in the end"
    )
    echo(
        f"cycles to failure: {number(answer.cycles)}, 90 % between {number(answer.cycles_low)} "
        f"and {number(answer.cycles_high)}"
    )
    rows = [
        ["B1 (1 % failed)", number(answer.b1), number(answer.b1_low)],
        ["B10 (10 % failed)", number(answer.b10), number(answer.b10_low)],
    ]
    echo_table(["", "cycles", "with 95 % confidence"], rows)
    if answer.years is not None:
        echo(f"B10 at the stated cycles a day: {number(answer.years)} years")
    echo(f"by the bare rule of I²t shares: {number(answer.rule_cycles)} cycles")
    rows = [
        [seconds(e.time), number(e.swing), number(e.peak_c), percent(e.share)]
        for e in answer.events
    ]
    echo_table(["peak at", "swing (K)", "peak (°C)", "share of damage"], rows)
    echo_notes(answer.notes)
    echo(" ".join(CAUTIONS))
