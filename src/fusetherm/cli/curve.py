"""`fusetherm curve`: time-current characteristics at any ambient."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..units import REFERENCE_AMBIENT_C
from ..written import measure, number, percent, seconds
from . import options
from .output import announce_compilation, echo, echo_json, echo_notes, echo_table, shown

if TYPE_CHECKING:
    from ..answers.curve import TimeCurrentCurve


@click.command("curve")
@click.argument("fuse", type=options.PATH)
@click.option("--ambient-c", type=float, multiple=True, metavar="C",
              help="Ambient in °C, once or several times.  [default: 23]")  # fmt: skip
@click.option("--current-a", type=float, multiple=True, metavar="A",
              help="Current in A, once or several times; else the whole curve.")  # fmt: skip
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
    if figure is not None:
        from ..show.plots import plot_curve, save_figure

        save_figure(plot_curve(curve, fit.definition), figure, replace)
    if as_json:
        echo_json(curve_data(curve, outputs))
        return
    print_curve(curve, assumed=not ambient_c)
    for path in outputs:
        echo(f"written to {shown(path)}")


def curve_data(curve: TimeCurrentCurve, outputs: list[Path]) -> dict[str, Any]:
    """The curve as plain data: flat lists for one ambient, a list of objects for several."""
    ambients = [
        {
            "ambient_C": float(curve.ambient_c[i]),
            "current_A": curve.current,
            "pre_arcing_time_s": curve.pre_arcing_time[i],
            "onset_time_s": curve.onset_time[i],
            "minimum_fusing_current_A": [float(curve.minimum_fusing_current[i])],
            "band_low": curve.band_low[i],
            "band_high": curve.band_high[i],
        }
        for i in range(len(curve.ambient_c))
    ]
    return {
        "schema": "fusetherm/curve/1",
        "fuse": curve.name,
        "connection": curve.connection,
        "rated_current_A": curve.rated_current,
        **(ambients[0] if len(ambients) == 1 else {"curves": ambients}),
        "notes": [{"code": n.code, "text": n.text} for n in curve.notes],
        "outputs": outputs,
    }


def print_curve(curve: TimeCurrentCurve, *, assumed: bool = False) -> None:
    """Print one table: a row a current, two columns an ambient."""
    echo(f"{shown(curve.name)}, {curve.connection} connection, constant current from cold")
    if assumed:
        echo(f"no ambient was given; {measure(REFERENCE_AMBIENT_C, '°C')} assumed", "  ")
    head = ["current (A)"]
    for ambient_c in curve.ambient_c:
        head += [f"parts, {measure(float(ambient_c), '°C', 6)}", "melting begins"]
    rows = []
    for j, current in enumerate(curve.current):
        row = [number(current, 4)]
        for i in range(len(curve.ambient_c)):
            row += [_time(curve.pre_arcing_time[i, j]), _time(curve.onset_time[i, j])]
        rows.append(row)
    echo_table(head, rows)
    for ambient_c, least in zip(curve.ambient_c, curve.minimum_fusing_current, strict=True):
        echo(
            f"minimum fusing current at {measure(float(ambient_c), '°C', 6)}: "
            f"{measure(float(least), 'A')}"
        )
    if curve.band_high.max() > 1.0:
        narrow, wide = (percent(1.0 - low) for low in (curve.band_low.max(), curve.band_low.min()))
        echo(
            f"90 % band of one unit, on the current: {narrow} to {wide} "
            "either way, from point to point (--csv has them all)"
        )
    echo_notes(curve.notes)


def _time(value: float) -> str:
    return seconds(float(value)) if math.isfinite(value) else "-"
