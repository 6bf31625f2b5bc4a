"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from ..current.capture import Capture, read_capture

Command = TypeVar("Command", bound=Callable[..., Any])

PATH = click.Path(path_type=Path)

#: A quantity of which nothing is no value.
ABOVE_ZERO = click.FloatRange(min=0.0, min_open=True)

as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
replace = click.option("--replace", is_flag=True, help="Replace files that exist.")
figure = click.option(
    "--figure", type=PATH, metavar="FILE", help="Write a figure (.png, .svg or .pdf)."
)
fuse = click.option(
    "--fuse", type=PATH, required=True, metavar="FILE",
    help="Definition (.toml) or fit file (.json).",
)  # fmt: skip
ambient = click.option(
    "--ambient-c", type=float, metavar="C",
    help="Ambient of the fuse in °C; 23 is assumed, and said so.",
)  # fmt: skip
preload = click.option(
    "--preload-a", type=click.FloatRange(min=0.0), metavar="A",
    help="Steady current before the capture, in A; adds nothing to it.",
)  # fmt: skip
after = click.option(
    "--after", type=click.Choice(["zero", "hold"]), default="zero", show_default=True,
    help="Current after the record: none, or that of its end held.",
)  # fmt: skip
contact = click.option(
    "--contact", type=click.Choice(["new", "worn"]), default="new", show_default=True,
    help="State of the installed contacts where the definition states none for them.",
)  # fmt: skip


def check_figure(path: Path | None, *, replace: bool) -> None:
    """Refuse a figure that cannot be written, before any long work."""
    if path is not None:
        from ..files import check_output
        from ..show.series import figure_ending

        figure_ending(path)
        check_output(path, replace=replace)


def connection(default: str) -> Callable[[Command], Command]:
    """Option for the connection a fuse is asked in."""
    return click.option(
        "--connection", type=click.Choice(["installed", "test"]), default=default,
        show_default=True, help="Cables and contacts: as installed, or as the curve was tested.",
    )  # fmt: skip


def circuit(command: Command) -> Command:
    """Options that say what drives a fault through how much wire; `circuit_of` takes them."""
    for option in reversed((
        click.option("--strongest-v", type=ABOVE_ZERO, metavar="V",
                     help="Voltage of the strongest source, in V."),
        click.option("--strongest-mohm", type=ABOVE_ZERO, metavar="MOHM",
                     help="Its resistance up to the fuse, in mΩ."),
        click.option("--weakest-v", type=ABOVE_ZERO, metavar="V",
                     help="Voltage of the weakest source, in V."),
        click.option("--weakest-mohm", type=click.FloatRange(min=0.0), metavar="MOHM",
                     help="Its resistance up to the fuse, in mΩ."),
        click.option("--length-m", type=ABOVE_ZERO, metavar="M",
                     help="From the fuse to the far end, one way, in m."),
        click.option("--return-mohm", type=click.FloatRange(min=0.0), metavar="MOHM",
                     help="Resistance of the way back, in mΩ; else a wire like the other."),
    )):  # fmt: skip
        command = option(command)
    return command


def reading(command: Command) -> Command:
    """Options that say how a capture is to be read; `read` takes them."""
    for option in reversed((
        click.option("--clamp", metavar="RATIO", help='Ratio of clamp or shunt, as "10 mV/A".'),
        click.option("--zero", metavar="SPAN",
                     help='Stretch without current, as "0 s : 0.2 s"; its mean is taken off.'),
        click.option("--column", "current", metavar="NAME",
                     help="Current column, by name or place from 0."),
        click.option("--time-column", "time", metavar="NAME",
                     help="Time column, by name or place from 0."),
        click.option("--unit", "current_unit", metavar="UNIT",
                     help="Unit of the current column, if not written."),
        click.option("--time-unit", metavar="UNIT", help="Unit of the times, if not written."),
        click.option("--interval", metavar="TIME",
                     help='Time between samples if the file has no times, as "10 µs".'),
        click.option("--gaps", type=click.Choice(["refuse", "hold", "linear"]), default="refuse",
                     show_default=True,
                     help="Gaps in time: refused, last value held, or straight lines."),
        click.option("--missing", type=click.Choice(["refuse", "hold", "linear"]),
                     default="refuse", show_default=True, help="Missing currents: the same."),
        click.option("--gain-tolerance", metavar="PERCENT", type=click.FloatRange(min=0.0),
                     default=0.0,
                     help="How far the ratio may be off, one standard deviation in %."),
        click.option("--bandwidth-hz", metavar="HZ",
                     type=ABOVE_ZERO,
                     help="Bandwidth of the clamp in Hz; edges it cannot follow are remarked."),
        click.option("--ac-clamp", is_flag=True,
                     help="The clamp measures alternating current only."),
        click.option("--flat-top-is-real", is_flag=True,
                     help="Take flat tops for real, not for clipping."),
    )):  # fmt: skip
        command = option(command)
    return command


def read(
    path: Path,
    *,
    clamp: str | None,
    zero: str | None,
    current: str | None,
    time: str | None,
    current_unit: str | None,
    time_unit: str | None,
    interval: str | None,
    gaps: str,
    missing: str,
    gain_tolerance: float,
    bandwidth_hz: float | None,
    ac_clamp: bool,
    flat_top_is_real: bool,
) -> Capture:
    """Capture of a file, read as the options of `reading` say."""
    return read_capture(
        path,
        clamp=clamp,
        zero=zero,
        time=_key(time),
        current=_key(current),
        time_unit=time_unit,
        interval=interval,
        current_unit=current_unit,
        gaps=gaps,
        missing=missing,
        gain_tolerance=gain_tolerance / 100.0,
        bandwidth_hz=bandwidth_hz,
        ac_clamp=ac_clamp,
        flat_top_is_real=flat_top_is_real,
    )


def _key(text: str | None) -> str | int | None:
    """A column by its place when the text is a whole number, else by its name."""
    return int(text) if text is not None and text.isdecimal() else text
