"""`fusetherm selectivity`: of fuses in series, does the one nearest to the fault open alone."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..units import REFERENCE_AMBIENT_C
from ..written import measure
from . import options
from .output import (
    announce_compilation,
    draw,
    echo,
    echo_cautions,
    echo_notes,
    echo_verdict,
    shown,
    tell,
)
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.selectivity import Selectivity


@click.command("selectivity", cls=Reported)
@click.argument("fuses", type=options.PATH, nargs=-1, required=True)
@click.option("--prospective-a", type=options.ABOVE_ZERO, required=True,
              metavar="A", help="Largest fault current, in A.")  # fmt: skip
@click.option("--hottest-c", type=float, metavar="C",
              help="Hottest air at an upstream fuse in °C; 23 is assumed.")  # fmt: skip
@click.option("--coldest-c", type=float, metavar="C",
              help="Coldest air at a downstream fuse in °C; 23 is assumed.")  # fmt: skip
@click.option("--load-a", type=click.FloatRange(min=0.0), default=0.0, metavar="A",
              help="Steady current of the upstream fuse before the fault, in A.")  # fmt: skip
@click.option("--arcing-allowance", type=click.FloatRange(min=1.0), metavar="FACTOR",
              help="Operating over pre-arcing I²t of the downstream fuse.")  # fmt: skip
@click.option("--capture", type=options.PATH, metavar="FILE",
              help="A fault as measured, judged besides (CSV).")  # fmt: skip
@options.reading
@options.connection("installed")
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    fuses: tuple[Path, ...],
    prospective_a: float,
    hottest_c: float | None,
    coldest_c: float | None,
    load_a: float,
    arcing_allowance: float | None,
    capture: Path | None,
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
    **reading: Any,
) -> None:
    """Of fuses in series, from the source to the fault, does the last one open alone?

    FUSES are definitions (.toml) or fit files (.json), two or more; each is judged against
    the next. Exit status: 0 selective, 20 not selective, 4 not shown.
    """
    if len(fuses) < 2:
        raise click.UsageError("give two fuses or more, from the source to the fault")
    if figure is not None and len(fuses) > 2:
        raise click.UsageError("a figure shows two fuses")
    options.check_figure(figure, replace=replace)
    record = None if capture is None else options.read(capture, **reading)
    announce_compilation()
    from ..answers.cautions import CAUTIONS
    from ..answers.selectivity import selectivity
    from ..calibration.stored import fit_or_definition

    fits = [fit_or_definition(path, contact=contact) for path in fuses]
    pairs = [
        selectivity(
            first,
            second,
            prospective=prospective_a,
            upstream_ambient_c=REFERENCE_AMBIENT_C if hottest_c is None else hottest_c,
            downstream_ambient_c=REFERENCE_AMBIENT_C if coldest_c is None else coldest_c,
            load=load_a,
            arcing_allowance=arcing_allowance,
            waveform=record,
            connection=connection,
        )
        for first, second in pairwise(fits)
    ]

    def plot() -> Any:
        from ..show.plots_selectivity import plot_selectivity

        return plot_selectivity(pairs[0])

    if len(pairs) == 1:
        draw(figure, replace, plot)
    statuses = {pair.exit_status for pair in pairs}
    status = next(s for s in (20, 4, 0) if s in statuses)
    verdict = {20: "not_selective", 4: "not_shown", 0: "selective"}[status]

    def words() -> None:
        for pair in pairs:
            print_pair(pair)
        assumed = [
            name for name, t in (("hottest", hottest_c), ("coldest", coldest_c)) if t is None
        ]
        if assumed:
            echo(f"{measure(REFERENCE_AMBIENT_C, '°C')} assumed: {' and '.join(assumed)} air", "  ")
        echo_cautions(CAUTIONS)

    tell(
        as_json,
        lambda: {
            "schema": "fusetherm/selectivity/1", "verdict": verdict,
            "pairs": [pair_data(pair) for pair in pairs], "figure": figure, "cautions": CAUTIONS,
        },
        words, (figure,),
    )  # fmt: skip
    click.get_current_context().exit(status)


def pair_data(pair: Selectivity) -> dict[str, Any]:
    """One pair as plain data."""
    return {
        "upstream": pair.upstream,
        "downstream": pair.downstream,
        "verdict": pair.verdict,
        "capture": pair.capture,
        "reasons": pair.reasons,
        "ranges": [
            {"current_A_low": s.low, "current_A_high": s.high, "state": s.state}
            for s in pair.stretches
        ],
        "current_A": pair.current,
        "downstream_pre_arcing_time_s": pair.downstream_middle,
        "downstream_pre_arcing_time_s_high": pair.downstream_late,
        "upstream_onset_time_s_low": pair.upstream_early,
        "upstream_pre_arcing_time_s": pair.upstream_middle,
        "states": pair.states,
        **pair.question,
        "notes": [{"code": n.code, "text": n.text} for n in pair.notes],
    }


def print_pair(pair: Selectivity) -> None:
    """Print the verdict on one pair and its reasons."""
    echo_verdict(pair.verdict, f"{shown(pair.downstream)} below {shown(pair.upstream)}")
    for reason in pair.reasons:
        echo(reason, "  ")
    echo_notes(pair.notes)
