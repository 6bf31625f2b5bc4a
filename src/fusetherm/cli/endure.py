"""`fusetherm endure`: how long a fuse lasts when a capture or a duty is repeated."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..written import measure, number, percent, seconds
from . import options
from .output import (
    announce_compilation,
    draw,
    echo,
    echo_cautions,
    echo_notes,
    echo_table,
    shown,
    tell,
)
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.endurance import Endurance
    from ..current.waveform import Waveform
    from ..life.duty import Duty

#: Exit statuses: a duty that melts the element, and one whose life is not shown.
_OPENS, _NOT_SHOWN = 20, 4


@click.command("endure", cls=Reported)
@click.argument("capture", type=options.PATH, metavar="CAPTURE|DUTY")
@options.fuse
@click.option("--period-s", type=options.ABOVE_ZERO, metavar="S",
              help="From start to start, in s; the capture's length if not given.")  # fmt: skip
@click.option("--ambient-c", type=float, metavar="C",
              help="Ambient of the fuse in °C, where a duty states none; 23 is assumed, "
              "and said so.")  # fmt: skip
@click.option("--per-day", type=options.ABOVE_ZERO, metavar="N",
              help="Cycles a day, for years; told only with pulse tests.")  # fmt: skip
@click.option("--aged", is_flag=True,
              help="Of an aged fuse: element of 10 % more resistance, "
              "contacts doubled.")  # fmt: skip
@click.option("--find", type=click.Choice(["current", "spacing", "ambient", "duration"]),
              help="Find instead what bears --cycles: the highest current, the shortest time "
              "from start to start, the highest ambient, the longest duration.")  # fmt: skip
@click.option("--cycles", type=options.ABOVE_ZERO, metavar="N",
              help="Cycles to be borne, for --find.")  # fmt: skip
@click.option("--event", metavar="NAME", help="Event of a duty that --find varies; else all.")
@options.reading
@options.connection("installed")
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    capture: Path,
    fuse: Path,
    period_s: float | None,
    ambient_c: float | None,
    per_day: float | None,
    aged: bool,
    find: Literal["current", "spacing", "ambient", "duration"] | None,
    cycles: float | None,
    event: str | None,
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
    **reading: Any,
) -> None:
    """How many times the fuse bears a capture or a duty, repeated, before it wears out.

    A duty is a .toml file: the events of a day or a mission, with counts, spacing and ambient.

    Exit status: 0 a life is told, 20 the duty melts the element, 4 no life is shown, no value
    was found, or a record is clipped.
    """
    if (find is None) != (cycles is None):
        raise click.UsageError("--find and --cycles go together")
    if find is None and event is not None:
        raise click.UsageError("--event says what --find varies")
    if find is not None and (figure is not None or per_day is not None):
        raise click.UsageError("--find draws no figure and tells no years")
    options.check_figure(figure, replace=replace)
    duty = duty_of(capture, ambient_c, reading)
    announce_compilation()
    from ..answers.endurance import endurance
    from ..calibration.stored import fit_or_definition

    fit = fit_or_definition(fuse, contact=contact)
    assumed = ambient_c is None and not getattr(duty, "ambient_stated", False)
    if find is not None and cycles is not None:
        from ..answers.endurance_limits import endurance_limit
        from ..answers.record_remarks import clipped
        from .endure_limit import limit_data, print_limit

        limit = endurance_limit(
            fit, duty, find, cycles=cycles, event=event, period=period_s, ambient_c=ambient_c,
            connection=connection, aged=aged,
        )  # fmt: skip
        tell(
            as_json, lambda: limit_data(limit) | {"capture": capture},
            lambda: print_limit(limit, capture=str(capture), ambient_assumed=assumed),
        )  # fmt: skip
        none = math.isnan(limit.safe) or clipped(limit.notes)
        click.get_current_context().exit(_NOT_SHOWN if none else 0)
    answer = endurance(
        fit, duty, period=period_s, ambient_c=ambient_c, connection=connection,
        cycles_per_day=per_day, aged=aged,
    )  # fmt: skip

    def plot() -> Any:
        from ..show.plots_endurance import plot_endurance

        return plot_endurance(answer)

    draw(figure, replace, plot)
    more = {"capture": capture, "per_day": per_day, "figure": figure}
    tell(
        as_json, lambda: endurance_data(answer) | more,
        lambda: print_endurance(
            answer, capture=str(capture), ambient_assumed=assumed, per_day=per_day
        ),
        (figure,),
    )  # fmt: skip
    click.get_current_context().exit(_status(answer))


def duty_of(path: Path, ambient_c: float | None, reading: dict[str, Any]) -> Waveform | Duty:
    """A duty of a .toml file, else a capture."""
    if path.suffix.lower() != ".toml":
        return options.read(path, **reading)
    context = click.get_current_context()
    written = click.core.ParameterSource.COMMANDLINE
    words = [
        max(parameter.opts, key=len)
        for parameter in context.command.params
        if parameter.name in (*reading, "period_s")
        and context.get_parameter_source(parameter.name) is written
    ]
    if words:
        raise click.UsageError(
            f"{', '.join(words)}: for a capture; a duty says itself how its captures are read "
            "and when they come"
        )
    from ..life.duty_file import load_duty

    duty = load_duty(path)
    if ambient_c is not None and duty.ambient_stated:
        raise click.UsageError("--ambient-c: the duty states the ambient of every event")
    return duty


def _status(answer: Endurance) -> int:
    if answer.melts:
        return _OPENS
    from ..answers.record_remarks import clipped

    return _NOT_SHOWN if answer.spot_ages or clipped(answer.notes) else 0


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
        "melts": answer.melts,
        "spot_ages": answer.spot_ages,
        "aged": answer.aged,
        "steady_share": answer.steady_share,
        "rule_cycles": _told(answer.rule_cycles),
        "events": [
            {"time_s": e.time, "swing_K": e.swing, "peak_C": e.peak_c, "damage_share": e.share}
            for e in answer.events
        ],
        "parts": [
            {
                "name": p.name,
                "count": p.count,
                "ambient_C": p.ambient_c,
                "swing_K": p.swing,
                "peak_C": _told(p.peak_c),
                "damage_share": p.share,
            }
            for p in answer.parts
        ],
        "notes": [{"code": n.code, "text": n.text} for n in answer.notes],
        "cautions": CAUTIONS,
    }


def print_endurance(
    answer: Endurance, *, capture: str, ambient_assumed: bool, per_day: float | None = None
) -> None:
    """Print the answer: what the element goes through, then how often it bears it."""
    from ..answers.cautions import CAUTIONS

    assumed = " (assumed)" if ambient_assumed else ""
    old = ", aged" if answer.aged else ""
    up_to = "up to " if len({part.ambient_c for part in answer.parts}) > 1 else ""
    echo(
        f"{shown(answer.name)}{old}, {answer.connection} connection, {shown(capture)} every "
        f"{seconds(answer.period)} at {up_to}{measure(answer.ambient_c, '°C')}{assumed}"
    )
    if math.isnan(answer.cycles):
        echo_notes(answer.notes)
        echo_cautions(CAUTIONS)
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
        often = "one run after the other" if per_day is None else f"{number(per_day)} a day"
        echo(f"B10, {often}: {number(answer.years)} years")
    rule = f"{number(answer.rule_cycles)} cycles"
    if answer.rule_cycles == 0.0:
        rule = "none, for one pulse has all the I²t that melts it from cold"
    echo(f"by the bare rule of I²t shares: {rule}")
    if answer.parts:
        rows = [
            [
                shown(p.name), number(float(p.count)), number(p.ambient_c), number(p.swing),
                number(p.peak_c) if math.isfinite(p.peak_c) else "-", percent(p.share),
            ]
            for p in answer.parts
        ]  # fmt: skip
        echo_table(["event", "times", "at (°C)", "swing (K)", "peak (°C)", "share of damage"], rows)
    else:
        rows = [
            [seconds(e.time), number(e.swing), number(e.peak_c), percent(e.share)]
            for e in answer.events
        ]
        echo_table(["peak at", "swing (K)", "peak (°C)", "share of damage"], rows)
    echo_notes(answer.notes)
    echo_cautions(CAUTIONS)
