"""`fusetherm curve`: time-current characteristics at any ambient."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..units import REFERENCE_AMBIENT_C
from ..written import measure, number, percent, seconds
from . import options
from .output import announce_compilation, draw, echo, echo_notes, echo_table, shown, tell
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.curve import TimeCurrentCurve


@click.command("curve", cls=Reported)
@click.argument("fuse", type=options.PATH)
@click.option("--ambient-c", type=float, multiple=True, metavar="C",
              help="Ambient in °C, once or several times.  [default: 23]")  # fmt: skip
@click.option("--current-a", type=float, multiple=True, metavar="A",
              help="Current in A, once or several times; else the whole curve.")  # fmt: skip
@click.option("--one-in", type=click.FloatRange(min=2.0), metavar="N",
              help="Also the current that parts no more than one unit in N by each time, with "
                   "95 % confidence.")  # fmt: skip
@options.connection("test")
@options.contact
@options.figure
@click.option("--csv", type=options.PATH, metavar="FILE", help="Write a table (CSV).")
@click.option(
    "--netcdf", type=options.PATH, metavar="FILE", help="Write a labelled data set (NetCDF)."
)
@options.replace
@options.as_json
def command(
    fuse: Path,
    ambient_c: tuple[float, ...],
    current_a: tuple[float, ...],
    one_in: float | None,
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    csv: Path | None,
    netcdf: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Time to part and to begin melting against constant current, from cold.

    FUSE is a definition (.toml) or a fit file (.json).
    """
    from ..files import check_output

    outputs = [path for path in (figure, csv, netcdf) if path is not None]
    options.check_figure(figure, replace=replace)
    for path in outputs:
        check_output(path, replace=replace)
    announce_compilation()
    from ..answers.curve import time_current_curve
    from ..calibration.stored import fit_or_definition

    fit = fit_or_definition(fuse, contact=contact)
    curve = time_current_curve(
        fit,
        ambient_c=ambient_c or (REFERENCE_AMBIENT_C,),
        currents=current_a or None,
        connection=connection,
    )
    if csv is not None:
        curve.to_csv(csv, replace=replace)
    if netcdf is not None:
        curve.write_netcdf(netcdf, replace=replace)

    def plot() -> Any:
        from ..show.plots import plot_curve

        return plot_curve(curve, fit.definition)

    draw(figure, replace, plot)
    tell(
        as_json, lambda: curve_data(curve, outputs, one_in),
        lambda: print_curve(curve, one_in, assumed=not ambient_c), outputs,
    )  # fmt: skip


def curve_data(
    curve: TimeCurrentCurve, outputs: list[Path], one_in: float | None
) -> dict[str, Any]:
    """The curve as plain data: flat lists for one ambient, a list of objects for several."""
    early = None if one_in is None else curve.early_current(one_in)
    ambients = [
        {
            "ambient_C": float(curve.ambient_c[i]),
            "current_A": curve.current,
            "pre_arcing_time_s": curve.pre_arcing_time[i],
            "onset_time_s": curve.onset_time[i],
            "minimum_fusing_current_A": [float(curve.minimum_fusing_current[i])],
            "band_low": curve.band_low[i],
            "band_high": curve.band_high[i],
            **({} if early is None else {"early_current_A": early[i]}),
        }
        for i in range(len(curve.ambient_c))
    ]
    return {
        "schema": "fusetherm/curve/1",
        "fuse": curve.name,
        "connection": curve.connection,
        "rated_current_A": curve.rated_current,
        "one_in": one_in,
        **(ambients[0] if len(ambients) == 1 else {"curves": ambients}),
        "notes": [{"code": n.code, "text": n.text} for n in curve.notes],
        "outputs": outputs,
    }


def print_curve(
    curve: TimeCurrentCurve, one_in: float | None = None, *, assumed: bool = False
) -> None:
    """Print one table: a row a current, two columns an ambient, or three with early units."""
    echo(f"{shown(curve.name)}, {curve.connection} connection, constant current from cold")
    if assumed:
        echo(f"no ambient was given; {measure(REFERENCE_AMBIENT_C, '°C')} assumed", "  ")
    early = None if one_in is None else curve.early_current(one_in)
    head = ["current (A)"]
    for ambient_c in curve.ambient_c:
        head += [f"parts, {measure(float(ambient_c), '°C', 6)}", "melting begins"]
        head += [] if early is None else ["early (A)"]
    rows = []
    for j, current in enumerate(curve.current):
        row = [number(current, 4)]
        for i in range(len(curve.ambient_c)):
            row += [_time(curve.pre_arcing_time[i, j]), _time(curve.onset_time[i, j])]
            if early is not None:
                parts = math.isfinite(curve.pre_arcing_time[i, j])
                row.append(number(early[i, j], 4) if parts else "-")
        rows.append(row)
    echo_table(head, rows)
    if one_in is not None:
        from ..calibration.band import CONFIDENCE

        echo(
            f"early: {percent(CONFIDENCE)} confident that this current parts no more than one unit "
            f"in {number(one_in, 6)} by the time beside it"
        )
    for ambient_c, least in zip(curve.ambient_c, curve.minimum_fusing_current, strict=True):
        echo(
            f"minimum fusing current at {measure(float(ambient_c), '°C', 6)}: "
            f"{measure(float(least), 'A')}"
        )
    if curve.band_high.max() > 1.0:
        narrow, wide = (percent(1.0 - low) for low in (curve.band_low.max(), curve.band_low.min()))
        echo(
            "90 % band of one unit, on the current: "
            + (
                f"{wide} either way"
                if narrow == wide
                else f"{narrow} to {wide} either way, from point to point (--csv has them all)"
            )
        )
    echo_notes(curve.notes)


def _time(value: float) -> str:
    return seconds(float(value)) if math.isfinite(value) else "-"
