"""`fusetherm explain`: why did this fuse open?"""

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
    echo_pairs,
    echo_table,
    echo_verdict,
    shown,
    tell,
)
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.appearance import AppearanceName
    from ..answers.explain import Explanation
    from ..answers.worn import ContactScenario

_RULE = (
    "The rise is no sum of its parts: each has the mean of what it adds, over all orders of "
    "adding them (Shapley). Alone and last say how far an order matters."
)


@click.command("explain", cls=Reported)
@click.argument("capture", type=options.PATH)
@options.fuse
@click.option("--ambient-c", type=float, required=True, metavar="C",
              help="Air at the fuse in °C.")  # fmt: skip
@click.option("--outdoor-c", type=float, metavar="C",
              help="Air outdoors in °C: the rest is the box.")  # fmt: skip
@options.reading
@click.option("--load-a", type=click.FloatRange(min=0.0), metavar="A",
              help="Steady load in the capture, in A; what lies above is pulses.")  # fmt: skip
@options.preload
@options.after
@click.option("--left-mohm", type=options.ABOVE_ZERO, metavar="MOHM",
              help="Resistance of the contact on the left, in mΩ.")  # fmt: skip
@click.option("--right-mohm", type=options.ABOVE_ZERO, metavar="MOHM",
              help="Resistance of the contact on the right, in mΩ.")  # fmt: skip
@click.option("--appearance",
              type=click.Choice(["clean_gap", "blackened", "one_side", "unmelted_break"]),
              help="What the opened fuse looks like: a short clean gap; strip gone and body "
                   "blackened; one blade discoloured or plastic melted; a break at an unmelted "
                   "bridge.")  # fmt: skip
@options.connection("installed")
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    capture: Path,
    fuse: Path,
    ambient_c: float,
    outdoor_c: float | None,
    load_a: float | None,
    preload_a: float | None,
    after: Literal["zero", "hold"],
    left_mohm: float | None,
    right_mohm: float | None,
    appearance: AppearanceName | None,
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
    **reading: Any,
) -> None:
    """Why did the fuse open: what took it to where it melts, part by part?

    Exit status: that of the verdict, 20 opens, 0 carries, 10 marginal, 4 not shown.
    """
    options.check_figure(figure, replace=replace)
    record = options.read(capture, **reading)
    announce_compilation()
    from ..answers.explain import explain
    from ..calibration.stored import fit_or_definition

    contacts = None
    if left_mohm is not None or right_mohm is not None:
        left, right = (None if r is None else 1e-3 * r for r in (left_mohm, right_mohm))
        contacts = (left, right)
    found = explain(
        fit_or_definition(fuse, contact=contact),
        record,
        ambient_c=ambient_c,
        outdoor_c=outdoor_c,
        load=load_a,
        load_before=preload_a,
        after=after,
        contacts=contacts,
        appearance=appearance,
        connection=connection,
    )

    def plot() -> Any:
        from ..show.plots_explain import plot_explanation

        return plot_explanation(found)

    draw(figure, replace, plot)
    tell(
        as_json,
        lambda: found.to_json() | {
            "capture": record.path, "capture_sha256": record.sha256, "after": after,
            "figure": figure,
        },
        lambda: print_explanation(found, capture=record.path), (figure,),
    )  # fmt: skip
    click.get_current_context().exit(found.exit_status)


def print_explanation(found: Explanation, *, capture: str) -> None:
    """Print an explanation: the verdict, the shares, the contacts, the appearance, the caution."""
    verdict = found.verdict
    run = verdict.run
    echo_verdict(verdict.verdict, f"{shown(run.name)}, {shown(capture)}", verdict.reasons)
    click.echo()
    what = "begins to melt" if run.onset_time is not None else "is hottest"
    echo(
        f"It {what} at {seconds(found.time)}, {number(found.temperature_c, 4)} °C, "
        f"{measure(found.rise, 'K')} over 23 °C:", "  "
    )  # fmt: skip
    echo_table(
        ["share", "rise", "alone", "last", "of"],
        [
            [
                percent(_clear(one.rise, found.rise) / found.rise) if found.rise else "-",
                measure(_clear(one.rise, found.rise), "K"),
                measure(_clear(one.alone, found.rise), "K"),
                measure(_clear(one.last, found.rise), "K"),
                one.name,
            ]
            for one in found.causes
        ],
    )
    echo(_RULE, "  ", "")
    if found.contacts:
        click.echo()
        asked = "" if found.contacts_asked else " (not in the question)"
        echo(f"Worn contacts{asked} against new ones, each by itself:", "  ")
        echo_table(
            ["contacts", "hot spot", "blade", "melts", "parts", "least to melt"],
            [_contact_row(one) for one in found.contacts],
        )
    click.echo()
    seen = found.appearance
    echo_pairs((
        ("melt", "" if found.melt is None else str(found.melt)),
        ("looks like", "" if seen is None else
                       f"{seen.seen}, read as {seen.read_as} (common practice): the prediction "
                       f"{'agrees' if seen.agrees else 'DOES NOT AGREE'}; {seen.reason}"),
        ("conditions", f"{measure(run.ambient_c, '°C', 6)} at the fuse, {verdict.connection} "
                       "connection, new fuse"),
    ))  # fmt: skip
    if found.notes:
        click.echo()
    echo_notes(found.notes)
    click.echo()
    echo_cautions(found.cautions)


def _clear(rise: float, whole: float) -> float:
    """A part of a rise [K], nothing below a ten-thousandth of it: that is the solver's."""
    return 0.0 if abs(rise) < 1e-4 * abs(whole) else rise


def _contact_row(one: ContactScenario) -> list[str]:
    left, right = (number(1e3 * ohms) for ohms in (one.resistance_left, one.resistance_right))
    if one.side == "none":
        name = f"new, {left} and {right} mΩ"
    elif one.side == "both":
        name = f"both worn, {left} and {right} mΩ"
    elif one.effect == "both":
        name = f"{one.side} worn, {left if one.side == 'left' else right} mΩ"
    else:
        name = f"{one.side}, only {one.effect}"

    def added(kelvins: float) -> str:
        return "-" if one.side == "none" or math.isnan(kelvins) else f"{number(kelvins)} K more"

    return [
        name,
        added(one.hot_spot),
        added(one.terminal),
        seconds(one.onset_time),
        seconds(one.pre_arcing_time),
        measure(one.least, "A"),
    ]
