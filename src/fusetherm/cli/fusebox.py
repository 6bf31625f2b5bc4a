"""`fusetherm fusebox`: fuses that share the air of a box."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from ..written import measure, number, percent, seconds
from . import options
from .output import (
    announce_compilation,
    draw,
    echo,
    echo_cautions,
    echo_notes,
    echo_pairs,
    echo_verdict,
    shown,
    tell,
)
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.fusebox import FuseBox


@click.command("fusebox", cls=Reported)
@click.argument("plan", type=options.PATH)
@click.option("--duration-s", type=options.ABOVE_ZERO, metavar="S",
              help="Time to follow from cold, in s; else that of the plan.")  # fmt: skip
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    plan: Path,
    duration_s: float | None,
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """How warm does the box of PLAN get, who heats it, and does each fuse carry its load there?

    PLAN is a TOML file: the box, and for each way its fuse and its current or capture.
    Exit status of the worst way: 0 carries, 10 marginal, 20 opens, 4 not shown.
    """
    options.check_figure(figure, replace=replace)
    from ..answers.box.plan import load_box

    read = load_box(plan)
    announce_compilation()
    from ..answers.fusebox import fusebox
    from ..calibration.stored import fit_or_definition

    ways = read.ways(lambda path: fit_or_definition(path, contact=contact))
    answer = fusebox(read.box(), ways, duration=duration_s or read.box_data.duration)

    def plot() -> Any:
        from ..show.plots_fusebox import plot_fusebox

        return plot_fusebox(answer)

    draw(figure, replace, plot)
    tell(
        as_json, lambda: box_data(answer) | {"plan": plan, "figure": figure},
        lambda: print_box(answer), (figure,),
    )  # fmt: skip
    click.get_current_context().exit(answer.exit_status)


def _plain(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def box_data(answer: FuseBox) -> dict[str, Any]:
    """The answer as plain data; absent is None."""
    from ..answers.fusebox import SCHEMA

    ways = []
    for i, verdict in enumerate(answer.verdicts):
        near = verdict.margin
        ways.append({
            "name": str(answer.way[i]),
            "fuse": verdict.run.name,
            "verdict": verdict.verdict,
            "reasons": list(verdict.reasons),
            "rated_current_A": verdict.rated_current,
            "lasting_current_A": float(answer.lasting_current[i]),
            "settled_air_C": float(answer.settled_air_c[i]),
            "highest_air_C": float(answer.highest_air_c[i]),
            "above_outside_K": float(answer.above_outside[i]),
            "settled_hot_spot_C": float(answer.settled_hot_spot_c[i]),
            "settled_hot_spot_C_low": float(answer.settled_hot_spot_low_c[i]),
            "settled_hot_spot_C_high": float(answer.settled_hot_spot_high_c[i]),
            "highest_hot_spot_C": _plain(float(np.nanmax(answer.hot_spot_c[i]))),
            "onset_time_s": _plain(float(answer.onset_time[i])),
            "pre_arcing_time_s": _plain(float(answer.pre_arcing_time[i])),
            "settled_heat_W": float(answer.settled_heat[i]),
            "heat_by_cables_W": float(answer.heat_by_cables[i]),
            "share": float(answer.share[i]),
            "cooler_without_K": float(answer.cooler_without[i]),
            "margin_current": None if near is None else near.current_factor,
            "margin_current_low": None if near is None else near.current_low,
            "margin_current_high": None if near is None else near.current_high,
            "margin_threshold": verdict.needed,
            "notes": [{"code": n.code, "text": n.text} for n in verdict.notes],
        })  # fmt: skip
    return {
        "schema": SCHEMA,
        "verdict": answer.verdict,
        "outside_C": answer.outside_c,
        "settled_box_air_C": answer.settled_box_air_c,
        "heat_elsewhere_W": answer.heat_elsewhere,
        "cooler_without_heat_K": answer.cooler_without_heat,
        "chief_heater": answer.chief_heater,
        "ways": ways,
        "group_count": answer.group_count,
        "group_factor": [_plain(x) for x in answer.group_factor],
        "governing": answer.governing or None,
        "neighbour_load": answer.neighbour_load,
        "neighbour_factor": [_plain(x) for x in answer.neighbour_factor],
        "time_s": answer.time,
        "box_air_C": answer.box_air_c,
        "air_C": answer.air_c,
        "hot_spot_C": [[_plain(x) for x in row] for row in answer.hot_spot_c],
        "level": answer.level,
        "imbalance": answer.imbalance,
        "settled_imbalance": answer.settled_imbalance,
        "iterations": answer.iterations,
        "notes": [{"code": n.code, "text": n.text} for n in answer.notes],
        "configuration": answer.question,
        "cautions": list(answer.cautions),
    }


def print_box(answer: FuseBox) -> None:
    """Print each way with its verdict, then the box, its heaters and the cautions."""
    for i, verdict in enumerate(answer.verdicts):
        name, fuse = shown(str(answer.way[i])), shown(verdict.run.name)
        echo_verdict(verdict.verdict, f"{name}, {fuse}", verdict.reasons)
        low, high = answer.settled_hot_spot_low_c[i], answer.settled_hot_spot_high_c[i]
        band = "" if high <= low else f" ({number(low)} to {number(high)})"
        echo(
            f"settled at {measure(float(answer.lasting_current[i]), 'A')}: air "
            f"{measure(float(answer.settled_air_c[i]), '°C')}, hot spot "
            f"{measure(float(answer.settled_hot_spot_c[i]), '°C')}{band}; "
            f"{_heat(float(answer.settled_heat[i]), float(answer.heat_by_cables[i]))}",
            "  ",
        )
        peak = float(np.nanmax(answer.hot_spot_c[i]))
        if peak > float(answer.settled_hot_spot_c[i]) + 0.5:
            echo(f"over time the hot spot reaches {measure(peak, '°C')}", "  ")
        if np.isfinite(answer.onset_time[i]):
            echo(f"begins to melt after {seconds(float(answer.onset_time[i]))}", "  ")
    click.echo()
    worst = int(np.argmax(answer.above_outside))
    echo_pairs((
        ("outside", measure(answer.outside_c, "°C")),
        ("air of the box", f"{measure(answer.settled_box_air_c, '°C')} settled"),
        ("air at a fuse", f"{measure(float(answer.above_outside[worst]), 'K')} above the outside "
                          f"at most, at {shown(str(answer.way[worst]))}"),
        ("chief heater", _heater(answer)),
        ("heat from elsewhere", _elsewhere(answer)),
        ("grouping", _grouping(answer)),
        ("followed", f"{seconds(float(answer.time[-1]))} from cold; heat given, stored and passed "
                     f"on differ by {percent(answer.imbalance)}"),
    ))  # fmt: skip
    every = (*answer.notes, *(n for v in answer.verdicts for n in v.notes))
    notes = dict.fromkeys(n for n in every if n.code != "steady-state-exists")
    if notes:
        click.echo()
    echo_notes(tuple(notes))
    click.echo()
    echo_cautions(answer.cautions)


def _heat(to_box: float, by_cables: float) -> str:
    """Where the heat of a fuse goes, in words that need no sign."""
    box = "gives the box" if to_box >= 0.0 else "takes from the box"
    cables = "its cables lead out" if by_cables >= 0.0 else "its cables bring in"
    return f"{box} {measure(abs(to_box), 'W')}, {cables} {measure(abs(by_cables), 'W')}"


def _elsewhere(answer: FuseBox) -> str:
    if answer.heat_elsewhere == 0.0:
        return ""
    return (
        f"{measure(answer.heat_elsewhere, 'W')} at most: without it the box is "
        f"{measure(answer.cooler_without_heat, 'K')} cooler"
    )


def _heater(answer: FuseBox) -> str:
    chief = answer.chief_heater
    if chief is None:
        return "none"
    i = int(np.argmax(answer.cooler_without))
    return (
        f"{shown(chief)}: without its load the box is "
        f"{measure(float(answer.cooler_without[i]), 'K')} cooler"
    )


def _grouping(answer: FuseBox) -> str:
    if not np.isfinite(answer.group_factor).any():
        return ""
    n = int(answer.group_count[-1])
    return (
        f"{number(float(answer.group_factor[-1]))} of the continuous current of one alone with "
        f"all {n} loaded alike"
        if n > 1
        else "one way alone"
    )
