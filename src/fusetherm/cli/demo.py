"""`fusetherm demo`: the whole path on shipped data, explained step by step."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import WriteError
from . import options
from .output import announce_compilation, echo, echo_json, shown

FUSE, CAPTURE = "inverter_feed_40A", "inverter_switch_on"
CLAMP, ZERO, AMBIENT_C = "10 mV/A", "0 s : 0.2 s", 85.0
AMBIENTS_C = (-40.0, 23.0, 85.0)
_FOLDER = Path("fusetherm-demo")


@click.command("demo")
@click.option("--out", type=options.PATH, default=_FOLDER, show_default=True, metavar="FOLDER",
              help="Where the two figures go.")  # fmt: skip
@options.replace
@options.as_json
def command(out: Path, replace: bool, as_json: bool) -> None:
    """Run the whole path on the shipped workboat: capture, fuse, fit, verdict, figures."""
    from .. import demo
    from ..current.capture import read_capture
    from ..files import check_output
    from ..fuse.definition import load_fuse

    # The default folder is the demo's own; elsewhere nothing is replaced unasked.
    replace = replace or out == _FOLDER
    figures = [_folder(out) / f"{CAPTURE}.png", out / f"{FUSE}.png"]
    for path in figures:
        check_output(path, replace=replace)

    def step(text: str) -> None:
        if not as_json:
            echo(text)

    step("A workboat's 24 V inverter is switched on behind a 40 A fuse in a hot engine room.")
    definition = load_fuse(demo.definitions()[FUSE])
    points = 0 if definition.curve is None else len(definition.curve.points)
    step(f"1. The fuse: {FUSE}, {definition.rated_current:g} A, {points} published curve points.")
    record = read_capture(demo.captures()[CAPTURE], clamp=CLAMP, zero=ZERO)
    step(
        f"2. The capture: {CAPTURE}, {record.record.samples:,} samples of a clamp of {CLAMP}; "
        f"offset of {record.record.offset_removed:.2g} A removed (mean of {ZERO}), noise "
        f"{record.noise_sd:.2g} A, peak {record.peak:.0f} A, I²t {record.i2t():.0f} A²s."
    )
    announce_compilation()
    from ..answers.carry import carry
    from ..answers.curve import time_current_curve
    from ..calibration.stored import cached_fit
    from ..show.plots import plot_capture, plot_curve, save_figure

    fit = cached_fit(definition)
    step(
        f"3. The fit: the model meets the published curve to {100 * fit.rms_current:.2g} % in "
        "current."
    )
    verdict = carry(fit, record, ambient_c=AMBIENT_C)
    step(f"4. The verdict at {AMBIENT_C:g} °C, in the words of `fusetherm carry`:\n")
    if not as_json:
        from .verdict import print_verdict

        print_verdict(verdict, capture=CAPTURE)
    curve = time_current_curve(fit, ambient_c=AMBIENTS_C)
    save_figure(plot_capture(verdict), figures[0], replace)
    save_figure(plot_curve(curve, definition, verdict), figures[1], replace)
    if as_json:
        from .carry import verdict_data

        echo_json(verdict_data(verdict) | {"schema": "fusetherm/demo/1", "figures": figures})
        return
    echo(
        f"\n5. The figures: {shown(figures[0])} (current, and the element's temperature under "
        f"it) and {shown(figures[1])} (the time-current curve, with this event on it)."
    )
    echo("Try your own: `fusetherm inspect CAPTURE`, then `fusetherm carry --help`.")


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
