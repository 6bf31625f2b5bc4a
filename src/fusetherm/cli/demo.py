"""`fusetherm demo`: the whole path on shipped data, explained step by step."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..errors import WriteError
from ..written import counted, measure, number, percent
from . import options
from .output import announce_compilation, echo, echo_json, echo_table, shown

if TYPE_CHECKING:
    from ..answers.carry import Verdict
    from ..current.capture import Capture
    from ..demo import Scenario

MAIN = "inverter_switch_on"
AMBIENTS_C = (-40.0, 23.0, 85.0)
_FOLDER = Path("fusetherm-demo")


@click.command("demo")
@click.option("--out", type=options.PATH, default=_FOLDER, show_default=True, metavar="FOLDER",
              help="Where the two figures, or the files, go.")  # fmt: skip
@click.option("--files", is_flag=True,
              help="Only put the boat's captures, fuses, duties and plans there.")  # fmt: skip
@options.replace
@options.as_json
def command(out: Path, files: bool, replace: bool, as_json: bool) -> None:
    """Run the whole path on the shipped workboat: capture, fuse, fit, verdict, figures."""
    if files:
        _copy(out, replace, as_json)
        return
    from ..demo import SCENARIOS, scenario
    from ..files import check_output
    from ..fuse.definition import load_fuse

    case = scenario(MAIN)
    # The default folder is the demo's own; elsewhere nothing is replaced unasked.
    replace = replace or out == _FOLDER
    figures = [_folder(out) / f"{case.name}.png", out / f"{case.fuse}.png"]
    for path in figures:
        check_output(path, replace=replace)

    def step(text: str) -> None:
        if not as_json:
            echo(text, hang="   ")

    step(f"A small workboat. {case.story} Does the fuse carry it?\n")
    definition = load_fuse(case.fuse_path)
    points = 0 if definition.curve is None else len(definition.curve.points)
    step(
        f"1. The fuse: {case.fuse}, {measure(definition.rated_current, 'A')}, "
        f"{counted(points, 'published point')}."
    )
    record = _capture(case)
    window = case.zero.replace(" : ", " to ")
    step(
        f"2. The capture: {counted(record.record.samples, 'sample')}, clamp of {case.clamp}; "
        f"offset of {measure(record.record.offset_removed, 'A')} removed (mean of {window}), "
        f"noise {measure(record.noise_sd, 'A')}, peak {measure(record.peak, 'A')}, "
        f"I²t {measure(record.i2t(), 'A²s')}."
    )
    announce_compilation()
    from ..answers.curve import time_current_curve
    from ..calibration.stored import cached_fit
    from ..show.plots import plot_capture, plot_curve, save_figure

    fit = cached_fit(definition)
    step(f"3. The fit meets the published curve to {percent(fit.rms_current)} in current.")
    verdict = _verdict(case)
    step("4. The verdict, in the words of `fusetherm carry`:\n")
    if not as_json:
        from .verdict import print_verdict

        print_verdict(verdict, capture=case.name)
    curve = time_current_curve(fit, ambient_c=AMBIENTS_C)
    save_figure(plot_capture(verdict), figures[0], replace)
    save_figure(plot_curve(curve, definition, verdict), figures[1], replace)
    step(
        f"\n5. The figures: {shown(figures[0])}, the current with the element's temperature "
        f"under it; {shown(figures[1])}, the time-current curve with this event on it."
    )
    step("6. The rest of the boat, each capture against its own fuse:\n")
    others = [(other, _verdict(other)) for other in SCENARIOS if other.name != MAIN]
    if as_json:
        from .carry import verdict_data

        cases = {c.name: verdict_data(v) for c, v in ((case, verdict), *others)}
        echo_json({"schema": "fusetherm/demo/1", "cases": cases, "figures": figures})
        return
    echo_table(
        ["capture", "fuse", "ambient", "verdict", "margin in current"],
        [
            (c.name, c.fuse, measure(c.ambient_c, "°C"), v.verdict.replace("_", " "),
             "-" if v.margin is None else f"{number(v.margin.current_factor)} times")
            for c, v in others
        ],
    )  # fmt: skip
    echo("\nTry your own: `fusetherm inspect CAPTURE`, then `fusetherm carry --help`.")


def _capture(case: Scenario) -> Capture:
    from ..current.capture import read_capture

    return read_capture(
        case.capture_path, clamp=case.clamp, zero=case.zero, gain_tolerance=case.gain_tolerance
    )


def _verdict(case: Scenario) -> Verdict:
    from ..answers.carry import carry
    from ..calibration.stored import cached_fit
    from ..fuse.definition import load_fuse

    return carry(
        cached_fit(load_fuse(case.fuse_path)), _capture(case), ambient_c=case.ambient_c
    )  # fmt: skip


def _copy(out: Path, replace: bool, as_json: bool) -> None:
    """Put the boat's files into a folder, in folders that keep their paths to each other."""
    from .. import demo
    from ..files import check_output, write_atomic

    kinds = (demo.boxes(), demo.captures(), demo.duties(), demo.definitions())
    sources = [path for kind in kinds for path in kind.values()]
    targets = [_folder(out / path.parent.name) / path.name for path in sources]
    for path in targets:
        check_output(path, replace=replace)
    for source, path in zip(sources, targets, strict=True):
        write_atomic(path, source.read_bytes(), replace)
    if as_json:
        echo_json({"schema": "fusetherm/demo-files/1", "files": targets})
        return
    for path in targets:
        echo(shown(path))


def _folder(out: Path) -> Path:
    """The folder for the figures, made when missing."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise WriteError(
            "write-failed", f"the folder {out} could not be made: {cause}",
            mend="choose another with --out",
        ) from cause  # fmt: skip
    return out
