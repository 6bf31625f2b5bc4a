"""`fusetherm drive`: does this fuse carry what a source drives through it?"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import click

from ..written import measure, number, seconds
from . import options
from .output import announce_compilation, draw, tell
from .reported import Reported


@click.command("drive", cls=Reported)
@click.argument("fuse", type=options.PATH)
@click.option("--volts", required=True, type=options.ABOVE_ZERO, metavar="V",
              help="Voltage of the source or battery at no load, in V.")  # fmt: skip
@click.option("--mohm", required=True, type=options.ABOVE_ZERO, metavar="MOHM",
              help="Resistance of the whole loop without the fuse, in mΩ.")  # fmt: skip
@click.option("--uh", type=click.FloatRange(min=0.0), default=0.0, metavar="UH",
              help="Inductance of the loop, in µH.")  # fmt: skip
@click.option("--motor-v", type=click.FloatRange(min=0.0), metavar="V",
              help="Voltage a motor answers with once it runs, in V.")  # fmt: skip
@click.option("--motor-s", type=options.ABOVE_ZERO, metavar="S",
              help="Time in which it comes up to that, evenly, in s.")  # fmt: skip
@click.option("--duration-s", required=True, type=options.ABOVE_ZERO, metavar="S",
              help="How long it is followed, in s.")  # fmt: skip
@options.ambient
@options.after
@options.connection("installed")
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    fuse: Path,
    volts: float,
    mohm: float,
    uh: float,
    motor_v: float | None,
    motor_s: float | None,
    duration_s: float,
    ambient_c: float | None,
    after: Literal["zero", "hold"],
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Does the fuse carry what a source drives through it, its own hot resistance in the loop?

    FUSE is a definition (.toml) or a fit file (.json). The source begins at no current. Exit
    status: 0 carries, 10 marginal, 20 opens, 4 not shown.
    """
    if (motor_v is None) != (motor_s is None):
        raise click.UsageError("--motor-v and --motor-s go together: a voltage, and its time.")
    options.check_figure(figure, replace=replace)
    announce_compilation()
    from ..answers.carry import carry
    from ..answers.subject import cells_of, model_of
    from ..calibration.stored import fit_or_definition
    from ..solver.driven import Drive, simulate_driven
    from ..units import REFERENCE_AMBIENT_C
    from .carry import verdict_data
    from .verdict import print_verdict

    fit = fit_or_definition(fuse, contact=contact)
    motor = () if motor_v is None or motor_s is None else ((0.0, 0.0), (motor_s, motor_v))
    source = Drive(voltage=volts, resistance=1e-3 * mohm, inductance=1e-6 * uh, back_emf=motor)
    run = simulate_driven(
        model_of(fit, connection),
        source,
        duration_s,
        ambient_c=REFERENCE_AMBIENT_C if ambient_c is None else ambient_c,
        cells=cells_of(fit),
    )
    current = run.question.waveform
    verdict = carry(fit, current, ambient_c=ambient_c, after=after, connection=connection)

    def plot() -> Any:
        from ..show.plots import plot_capture

        return plot_capture(verdict)

    draw(figure, replace, plot)
    loop = f"{measure(volts, 'V')} behind {number(mohm)} mΩ"
    if uh:
        loop += f" and {number(uh)} µH"
    if motor:
        loop += f", a motor up to {measure(motor[1][1], 'V')} in {seconds(motor[1][0])}"
    tell(
        as_json,
        lambda: verdict_data(verdict) | {
            "schema": "fusetherm/drive/1", "voltage_V": volts, "resistance_mohm": mohm,
            "inductance_uH": uh, "motor_V": motor_v, "motor_s": motor_s,
            "duration_s": duration_s, "after": after, "peak_current_A": current.peak,
            "figure": figure,
        },
        lambda: print_verdict(
            verdict, capture=f"{loop}: up to {measure(current.peak, 'A')}",
            ambient_assumed=ambient_c is None,
        ),
        (figure,),
    )  # fmt: skip
    click.get_current_context().exit(verdict.exit_status)
