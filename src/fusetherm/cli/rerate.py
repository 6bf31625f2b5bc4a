"""`fusetherm rerate`: what a fuse carries for ever, against ambient."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..written import measure, number, seconds
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
    from ..answers.rerating import ReRated


@click.command("rerate", cls=Reported)
@click.argument("fuse", type=options.PATH)
@click.option("--ambient-c", type=float, multiple=True, metavar="C",
              help="Ambient in °C, once or several times.  [default: -40 to 125]")  # fmt: skip
@options.connection("installed")
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    fuse: Path,
    ambient_c: tuple[float, ...],
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Continuous current against the ambient of the air at the fuse (re-rating, derating).

    FUSE is a definition (.toml) or a fit file (.json). Three criteria, of which the lowest
    governs; published points win.
    """
    options.check_figure(figure, replace=replace)
    announce_compilation()
    from ..answers.rerating import AMBIENTS_C, rerate
    from ..calibration.stored import fit_or_definition

    fit = fit_or_definition(fuse, contact=contact)
    answer = rerate(fit, ambient_c=ambient_c or AMBIENTS_C, connection=connection)

    def plot() -> Any:
        from ..show.plots import plot_rerating

        return plot_rerating(answer)

    draw(figure, replace, plot)
    tell(
        as_json, lambda: rerating_data(answer) | {"figure": figure},
        lambda: print_rerating(answer), (figure,),
    )  # fmt: skip


def rerating_data(answer: ReRated) -> dict[str, Any]:
    """The answer as plain data."""
    from ..answers.cautions import CAUTIONS

    low, high = answer.practice
    return {
        "schema": "fusetherm/rerate/1",
        "fuse": answer.name,
        "connection": answer.connection,
        "rated_current_A": answer.rated_current,
        "ambient_C": answer.ambient_c,
        "continuous_current_A": answer.continuous_current,
        "continuous_current_A_low": answer.continuous_low,
        "continuous_current_A_high": answer.continuous_high,
        "governs": answer.governs,
        "practice_load_low_A": low,
        "practice_load_high_A": high,
        "hot_spot_current_A": answer.hot_spot_current,
        "fusing_share_current_A": answer.fusing_share_current,
        "limit_current_A": answer.limit_current,
        "published_current_A": answer.published_current,
        "minimum_fusing_current_A": answer.minimum_fusing_current,
        "minimum_fusing_current_A_low": answer.minimum_fusing_low,
        "minimum_fusing_current_A_high": answer.minimum_fusing_high,
        "overload_A": answer.current,
        "pre_arcing_time_s": answer.pre_arcing_time,
        "level": answer.level,
        "notes": [{"code": n.code, "text": n.text} for n in answer.notes],
        "cautions": CAUTIONS,
    }


def print_rerating(answer: ReRated) -> None:
    """Print the answer: loads first, then what melts, kept apart."""
    from ..answers.cautions import CAUTIONS
    from ..answers.rerating import CRITERIA, PUBLISHED

    echo(
        f"{shown(answer.name)}, rated {measure(answer.rated_current, 'A')}, {answer.connection} "
        "connection: continuous current against the air at the fuse"
    )
    letters = dict(zip((*CRITERIA, PUBLISHED), "abcp", strict=True))
    low, high = answer.practice
    rows = [
        [
            number(float(t), 4),
            number(float(answer.continuous_current[i])),
            letters[answer.governs[i]],
            f"{number(float(answer.continuous_low[i]))} to "
            f"{number(float(answer.continuous_high[i]))}",
            f"{number(float(low[i]))} to {number(float(high[i]))}",
            *(
                number(float(x[i])) if math.isfinite(x[i]) else "-"
                for x in (
                    answer.hot_spot_current, answer.fusing_share_current, answer.limit_current,
                    answer.published_current,
                )
            ),
        ]
        for i, t in enumerate(answer.ambient_c)
    ]  # fmt: skip
    head = ["°C", "carries (A)", "by", "90 % band", "70-80 % of it", "a", "b", "c", "p"]
    echo_table(head, rows)
    for criterion, letter in letters.items():
        echo(f"{letter}: {criterion}", "  ")
    echo("melts in the end above this current (no load), and parts from cold within:")
    rows = [
        [
            number(float(t), 4),
            number(float(answer.minimum_fusing_current[i])),
            *(seconds(float(v)) for v in answer.pre_arcing_time[i]),
        ]
        for i, t in enumerate(answer.ambient_c)
    ]
    echo_table(["°C", "melts (A)", *(f"{number(float(c))} A" for c in answer.current)], rows)
    echo_notes(answer.notes)
    echo_cautions(CAUTIONS)
