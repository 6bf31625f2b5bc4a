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
    from ..solver.warming import exercise, exercise_lanes

    announce_compilation(lanes=True)
    begin = time.perf_counter()
    exercise_lanes()  # first: meanwhile another process compiles what a single run needs
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
