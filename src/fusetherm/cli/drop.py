"""`fusetherm drop`: the current from the millivolts across a fuse, and back."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..units import REFERENCE_AMBIENT_C
from ..written import measure, number, percent
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
    from ..answers.drop import DropTable

_PLACES = {
    "blades": "between the blades (or end caps)",
    "clips": "between the clips, contacts included",
    "element": "on the element alone",
}


@click.command("drop", cls=Reported)
@click.argument("fuse", type=options.PATH)
@click.option("--drop-mv", type=float, multiple=True, metavar="MV",
              help="Reading of the meter in mV, once or several times.")  # fmt: skip
@click.option("--current-a", type=float, multiple=True, metavar="A",
              help="Current in A instead, once or several times; else a whole table.")  # fmt: skip
@options.ambient
@click.option("--measured-at", type=click.Choice(list(_PLACES)), default="blades",
              show_default=True, help="Where the tips of the meter touch.")  # fmt: skip
@click.option("--meter-mv", type=click.FloatRange(min=0.0), default=0.0, metavar="MV",
              help="How far the meter may be off, one standard deviation in mV.")  # fmt: skip
@options.connection("installed")
@options.contact
@options.figure
@click.option("--csv", type=options.PATH, metavar="FILE", help="Write the table (CSV).")
@options.replace
@options.as_json
def command(
    fuse: Path,
    drop_mv: tuple[float, ...],
    current_a: tuple[float, ...],
    ambient_c: float | None,
    measured_at: Literal["blades", "clips", "element"],
    meter_mv: float,
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    csv: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Current from the millivolts across a fuse, or the millivolts of a current.

    FUSE is a definition (.toml) or a fit file (.json). Without a reading or a current it
    prints a table to keep in the fuse box.
    """
    from ..files import check_output

    if drop_mv and current_a:
        raise click.UsageError("give --drop-mv or --current-a, not both")
    options.check_figure(figure, replace=replace)
    if csv is not None:
        check_output(csv, replace=replace)
    announce_compilation()
    from ..answers.drop import drop
    from ..calibration.stored import fit_or_definition

    table = drop(
        fit_or_definition(fuse, contact=contact),
        voltages=[1e-3 * v for v in drop_mv] or None,
        currents=current_a or None,
        ambient_c=REFERENCE_AMBIENT_C if ambient_c is None else ambient_c,
        measured_at=measured_at,
        meter_sd=1e-3 * meter_mv,
        connection=connection,
    )
    if csv is not None:
        table.to_csv(csv, replace=replace)

    def plot() -> Any:
        from ..show.plots import plot_drop

        return plot_drop(table)

    draw(figure, replace, plot)
    outputs = [path for path in (figure, csv) if path is not None]
    tell(
        as_json, lambda: drop_data(table) | {"outputs": outputs},
        lambda: print_drop(table, assumed=ambient_c is None), outputs,
    )  # fmt: skip


def drop_data(table: DropTable) -> dict[str, Any]:
    """The table as plain data."""
    from ..answers.cautions import CAUTIONS

    rows = table.rows()
    return {
        "schema": "fusetherm/drop/1",
        "fuse": table.name,
        "connection": table.connection,
        "ambient_C": table.ambient_c,
        "measured_at": table.measured_at,
        **{key: [row[key] for row in rows] for key in rows[0]},
        "melting_drop_mV": 1e3 * table.melting_voltage,
        "wait_s": table.wait,
        "level": table.level,
        "sources": [{"name": name, "share": share} for name, share in table.sources],
        "notes": [{"code": n.code, "text": n.text} for n in table.notes],
        "cautions": CAUTIONS,
    }


def print_drop(table: DropTable, *, assumed: bool = False) -> None:
    """Print the table, for the fuse box."""
    from ..answers.cautions import CAUTIONS

    rated = "" if table.rated_current is None else f", rated {measure(table.rated_current, 'A')}"
    echo(
        f"{shown(table.name)}{rated}, {measure(table.ambient_c, '°C')}, {table.connection} "
        f"connection: drop {_PLACES[table.measured_at]}, steady current"
    )
    if assumed:
        echo(f"no ambient was given; {measure(table.ambient_c, '°C')} assumed", "  ")
    rows = [
        [
            number(1e3 * float(table.voltage[i])),
            number(float(table.current[i])),
            f"{number(float(table.current_low[i]))} to {number(float(table.current_high[i]))}",
            f"{number(1e3 * float(table.voltage_low[i]))} to "
            f"{number(1e3 * float(table.voltage_high[i]))}",
            number(1e3 * float(table.cold_voltage[i])),
            f"{table.hot_spot_c[i]:.0f}",
            f"{table.ceiling_c[i]:.0f}" if math.isfinite(table.ceiling_c[i]) else "melts",
        ]
        for i in range(len(table.current))
    ]
    echo_table(
        ["mV", "A", "90 % of A at this mV", "90 % of mV at this A", "cold mV", "hot spot °C",
         "at most °C"],
        rows,
    )  # fmt: skip
    echo("at most: what these millivolts allow any element of this metal (Kohlrausch)", "  ")
    echo(f"above {measure(1e3 * table.melting_voltage, 'mV')} the element melts in the end", "  ")
    if table.contact_share.max() > 0.0:
        echo(f"contacts make {percent(float(table.contact_share.max()))} of it at most", "  ")
    if table.sources:
        shares = ", ".join(f"{name} {percent(share)}" for name, share in table.sources)
        echo(f"the band of the current comes from: {shares}", "  ")
    echo_notes(table.notes)
    echo_cautions(CAUTIONS)
