"""`fusetherm carry`: does this fuse carry this capture?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..errors import Argument, Note
from ..written import measure, number, seconds
from . import options
from .output import announce_compilation, draw, tell
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.carry import Verdict
    from ..calibration.fit import Calibration
    from ..current.waveform import Waveform
    from ..solver.run import State

#: Share of the rated current at the start of a record above which a cold start is remarked on.
_LOADED = 0.05


@click.command("carry", cls=Reported)
@click.argument("capture", type=options.PATH)
@options.fuse
@options.ambient
@options.reading
@options.preload
@click.option("--preload-s", type=options.ABOVE_ZERO, metavar="S",
              help="How long it flowed, in s; for ever if not given.")  # fmt: skip
@options.after
@options.connection("installed")
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    capture: Path,
    fuse: Path,
    ambient_c: float | None,
    preload_a: float | None,
    preload_s: float | None,
    after: Literal["zero", "hold"],
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
    **reading: Any,
) -> None:
    """Does the fuse carry the current of CAPTURE, and how near does it come to melting?

    Exit status: 0 carries, 10 marginal, 20 opens, 4 not shown.
    """
    if preload_s is not None and preload_a is None:
        raise click.UsageError("--preload-s says how long; --preload-a must say what current.")
    options.check_figure(figure, replace=replace)
    record = options.read(capture, **reading)
    announce_compilation()
    from ..answers.carry import carry
    from ..calibration.stored import fit_or_definition
    from .verdict import print_verdict

    fit = fit_or_definition(fuse, contact=contact)
    verdict = carry(
        fit,
        record,
        ambient_c=ambient_c,
        start=_start(fit, preload_a, preload_s, ambient_c, connection),
        load_before=preload_a,
        after=after,
        connection=connection,
    )

    def plot() -> Any:
        from ..show.plots import plot_capture

        return plot_capture(verdict)

    draw(figure, replace, plot)
    remarks = () if preload_a is not None else loaded_start(record, verdict.rated_current)
    preheating = "from ambient, no load before"
    if preload_a:
        since = "for ever" if preload_s is None else f"for {seconds(preload_s)}"
        preheating = f"after a steady {measure(preload_a, 'A')} {since}"
    tell(
        as_json,
        lambda: verdict_data(verdict, remarks) | {
            "capture": record.path, "capture_sha256": record.sha256, "preload_A": preload_a,
            "preload_s": preload_s, "after": after, "figure": figure,
        },
        lambda: print_verdict(
            verdict, capture=record.path, remarks=remarks, preheating=preheating,
            ambient_assumed=ambient_c is None,
        ),
        (figure,),
    )  # fmt: skip
    click.get_current_context().exit(verdict.exit_status)


def verdict_data(verdict: Verdict, remarks: tuple[Note, ...] = ()) -> dict[str, Any]:
    """The verdict as plain data, with the remarks of the command among its notes."""
    data = verdict.to_json()
    data["notes"] = [*data["notes"], *({"code": n.code, "text": n.text} for n in remarks)]
    return data


def loaded_start(record: Waveform, rated_current: float | None) -> tuple[Note, ...]:
    """Remark on a record that begins under load while the fuse is taken as cold."""
    from ..current.ends import start_level

    begin = abs(start_level(record).current)
    if begin <= _LOADED * (rated_current or record.peak):
        return ()
    text = (
        f"the record begins at {measure(begin, 'A')} and the fuse was taken as unloaded before it; "
        "if that load had been on before, say so"
    )
    return (Note("starts-loaded", text, (Argument("preload_a", number(begin)),)),)


def _start(
    fit: Calibration,
    preload_a: float | None,
    preload_s: float | None,
    ambient_c: float | None,
    connection: Literal["installed", "test"],
) -> State | float | None:
    """What the fuse carried before: a steady current, or the state after some time of it."""
    if not preload_a:
        return None
    from ..answers.subject import cells_of, model_of, refuse_molten
    from ..errors import InputError
    from ..units import REFERENCE_AMBIENT_C

    model, cells = model_of(fit, connection), cells_of(fit)
    ambient_c = REFERENCE_AMBIENT_C if ambient_c is None else ambient_c
    refuse_molten(model, ambient_c)
    if preload_s is None:
        from ..solver.steady import minimum_fusing_current

        most = minimum_fusing_current(model, ambient_c=ambient_c, cells=cells)
        if preload_a > most:
            raise InputError(
                "preload-melts",
                f"the preload of {measure(preload_a, 'A')} for ever melts the element: the most it "
                f"carries at this ambient is {measure(most, 'A')}",
                expected="a load the fuse carries",
                mend="give a smaller one, or how long it flowed",
                arguments=(Argument("preload_s"),),
            )
        return preload_a
    from ..current.sampled import constant
    from ..solver.run import simulate

    run = simulate(model, constant(preload_a, preload_s), ambient_c=ambient_c, cells=cells)
    if run.onset_time is not None:
        raise InputError(
            "preload-melts",
            f"the preload of {measure(preload_a, 'A')} melts the element after "
            f"{seconds(run.onset_time)}",
            expected="a load the fuse carries",
        )
    return run.final_state
