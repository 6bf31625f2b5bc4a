"""`fusetherm warm`: compile everything now."""

from __future__ import annotations

import time

import click

from ..written import seconds
from . import options
from .output import announce_compilation, echo, echo_json


@click.command("warm")
@options.as_json
def command(as_json: bool) -> None:
    """Compile everything now, so that no later command has to wait."""
    from ..compiled import cache_folder

    announce_compilation()
    begin = time.perf_counter()
    exercise()
    spent = time.perf_counter() - begin
    folder = cache_folder()
    if as_json:
        cached = None if folder is None else str(folder)
        echo_json({"schema": "fusetherm/warm/1", "seconds": spent, "cache": cached})
        return
    echo(f"ready after {seconds(spent)}")
    if folder is None:
        echo("no place to keep compiled code was found: each start compiles anew")
    else:
        echo(f"compiled code is kept in {folder}")


def exercise() -> None:
    """Run every kernel once on a small model: transient, melting, steady state, start."""
    from ..current.waveform import Waveform
    from ..fuse.element import round_wire
    from ..fuse.model import FuseModel
    from ..physics.metals import metal
    from ..solver.run import simulate
    from ..solver.steady import minimum_fusing_current, steady_state

    model = FuseModel(element=round_wire(metal("copper"), 1e-4, 0.02), name="warm")
    least = minimum_fusing_current(model, ambient_c=23.0)
    steady_state(model, 0.5 * least, ambient_c=23.0)
    pulse = Waveform(time=[0.0, 0.5, 0.5, 60.0], current=[least, least, 4 * least, 4 * least])
    for integrator in ("rodas3", "rodas4"):
        simulate(model, pulse, start=0.3 * least, integrator=integrator)
    simulate(model, pulse.scaled(0.1).repeated(1000, period=100.0))
