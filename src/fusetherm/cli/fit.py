"""`fusetherm fit`: a definition in, a fit file out."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import click

from ..written import percent
from . import options
from .output import announce_compilation, echo, echo_json, printable, shown


@click.command("fit")
@click.argument("fuse", type=options.PATH)
@click.option("-o", "--output", type=options.PATH, metavar="FILE", help="Fit file to write.")
@click.option(
    "--figure", type=options.PATH, metavar="FILE", help="Draw how it fits (.png, .svg, .pdf)."
)
@click.option(
    "--worth",
    type=click.Choice(["fusing", "load", "inrush"]),
    help="Say what one further datum would do to the band of this.",
)
@click.option(
    "--family", metavar="FILE", help="Family file (.toml), or name of a family, to use instead."
)
@options.contact
@options.replace
@options.as_json
def command(
    fuse: Path,
    output: Path | None,
    figure: Path | None,
    worth: str | None,
    family: str | None,
    contact: Literal["new", "worn"],
    replace: bool,
    as_json: bool,
) -> None:
    """Fit the model to what the definition FUSE (.toml) publishes, and report.

    The fit file takes the place of the definition in every other command.
    """
    from ..files import check_output
    from ..fuse.definition import load_fuse
    from ..fuse.family import load_family

    definition = load_fuse(fuse)
    priors = None if family is None else load_family(family)
    for path in (output, figure):
        if path is not None:
            check_output(path, replace=replace)
    announce_compilation()
    from ..calibration.diagnosis import QUESTIONS, question
    from ..calibration.fit import calibrate
    from ..calibration.report import report_data
    from ..calibration.stored import save_fit

    fit = calibrate(definition, family=priors, contact=contact)
    if output is not None:
        save_fit(fit, output, replace=replace)
    if figure is not None:
        from ..show.plots import save_figure
        from ..show.plots_fit import plot_fit

        save_figure(plot_fit(fit), figure, replace)
    bought = () if worth is None else fit.worth(question(fit, worth))
    if as_json:
        data: dict[str, Any] = {"output": output, "figure": figure}
        if worth is not None:
            rows = [{"datum": one.datum, "shrinkage": one.shrinkage} for one in bought]
            data["worth"] = {"question": QUESTIONS[worth], "data": rows}
        echo_json({**report_data(fit), **data})
        return
    for line in printable(fit.report()).split("\n"):
        if "  " in line:  # a row of a table
            click.echo(line)
        else:
            echo(line)
    if worth is not None:
        echo(
            f"what one further datum would do to the fit's part of the band of the "
            f"{QUESTIONS[worth]}, installed:"
        )
        for one in bought:
            click.echo(f"  {percent(one.shrinkage):>6} less  {printable(one.datum)}")
    for path in (output, figure):
        if path is not None:
            echo(f"written to {shown(path)}")
