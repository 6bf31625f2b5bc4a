"""`fusetherm fit`: a definition in, a fit file out."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from . import options
from .output import announce_compilation, echo, echo_json, printable, shown


@click.command("fit")
@click.argument("fuse", type=options.PATH)
@click.option("-o", "--output", type=options.PATH, metavar="FILE", help="Fit file to write.")
@options.contact
@options.replace
@options.as_json
def command(
    fuse: Path, output: Path | None, contact: Literal["new", "worn"], replace: bool, as_json: bool
) -> None:
    """Fit the model to what the definition FUSE (.toml) publishes, and report.

    The fit file takes the place of the definition in every other command.
    """
    from ..files import check_output
    from ..fuse.definition import load_fuse

    definition = load_fuse(fuse)
    if output is not None:
        check_output(output, replace=replace)
    announce_compilation()
    from ..calibration.fit import calibrate
    from ..calibration.report import report_data
    from ..calibration.stored import save_fit

    fit = calibrate(definition, contact=contact)
    if output is not None:
        save_fit(fit, output, replace=replace)
    if as_json:
        echo_json({**report_data(fit), "output": output})
        return
    for line in printable(fit.report()).split("\n"):
        if "  " in line:  # a row of a table
            click.echo(line)
        else:
            echo(line)
    if output is not None:
        echo(f"written to {shown(output)}")
