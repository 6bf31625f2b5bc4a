"""`fusetherm sweep`: the simulations of a plan, in a folder that survives a crash."""

from __future__ import annotations

import math
import time
from pathlib import Path

import click

from ..written import number, seconds
from . import options
from .output import announce_compilation, echo, echo_json, echo_table, shown

#: Seconds between two lines of progress.
_EVERY = 2.0


class _Told:
    """Progress on the error stream, now and then."""

    def __init__(self) -> None:
        self._last = -math.inf

    def __call__(self, done: int, total: int, left: float | None) -> None:
        now = time.monotonic()
        if done < total and now - self._last < _EVERY:
            return
        self._last = now
        rest = "" if left is None or done == total else f", about {seconds(left)} left"
        click.echo(f"{done:,} of {total:,} rows{rest}", err=True)


def _stopping() -> None:
    click.echo("stopping once the shards begun are finished; Ctrl-C again stops at once", err=True)


@click.command("sweep")
@click.argument("plan", type=options.PATH)
@click.option("--out", type=options.PATH, required=True, metavar="FOLDER",
              help="Folder of the sweep; the same command goes on in it.")  # fmt: skip
@click.option("--workers", type=click.IntRange(min=0), metavar="N",
              help="Processes; by default one for each core we may use.")  # fmt: skip
@click.option("--scheduler", metavar="ADDRESS",
              help="Address of a dask scheduler, to work on its machines.")  # fmt: skip
@click.option("--most-rows", type=click.IntRange(min=1), metavar="N",
              help="Rows above which the sweep is refused (1,000,000).")  # fmt: skip
@click.option("--time-limit-s", type=options.ABOVE_ZERO, metavar="S",
              help="Begin no shard after that; the same command goes on.")  # fmt: skip
@click.option("--block-rows", type=click.IntRange(min=1), metavar="N",
              help="Rows of a shard.")  # fmt: skip
@options.replace
@options.as_json
def command(
    plan: Path,
    out: Path,
    workers: int | None,
    scheduler: str | None,
    most_rows: int | None,
    time_limit_s: float | None,
    block_rows: int | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Run the simulations of PLAN (.toml) and keep them in a folder.

    Whatever ends it, the same command goes on. Ctrl-C once finishes the shards begun. Exit
    status: 0 every row was computed, 5 some failed or are missing.
    """
    from ..sweeps.plan_file import load_plan

    arguments = load_plan(plan)
    announce_compilation(lanes=True)
    from ..sweeps.run import MERGED, MOST_ROWS, sweep

    try:
        found = sweep(
            **arguments, out=out, workers=workers, client=scheduler, replace=replace,
            most_rows=most_rows or MOST_ROWS, time_limit=time_limit_s, block_rows=block_rows,
            progress=_Told(), interrupted=_stopping,
        )  # fmt: skip
    except KeyboardInterrupt:
        from ..sweeps.store import shards_of

        done, every = shards_of(out)
        kept = (
            f"{done:,} of {every:,} shards are finished and kept in {shown(out)}; " if every else ""
        )
        click.echo(f"{kept}the same command goes on from there", err=True)
        raise
    from ..sweeps.rows import STATUSES
    from .main import SOLVER

    counts = {name: int((found.status == i).sum()) for i, name in enumerate(STATUSES)}
    failures = list(zip(
        *(found[name].values.tolist() for name in ("failed_row", "failure_code", "failure_text")),
        strict=True,
    ))  # fmt: skip
    merged = out / MERGED
    status = SOLVER if counts["failed"] or counts["missing"] else 0
    if as_json:
        echo_json({
            "schema": "fusetherm/sweep/1", "folder": str(out), "rows": sum(counts.values()),
            "counts": counts, "file": str(merged) if merged.is_file() else None,
            "failures": [{"row": row, "code": code, "text": text} for row, code, text in failures],
        })  # fmt: skip
        click.get_current_context().exit(status)
    echo_table(["status", "rows"], [[name, f"{n:,}"] for name, n in counts.items() if n])
    for row, code, text in failures[:5]:
        echo(f"row {row} failed: {shown(text)} [{code}]", "  ")
    if len(failures) > 5:
        echo(f"and {number(len(failures) - 5)} more; the result has them all", "  ")
    if merged.is_file():
        echo(f"written: {shown(merged)}")
    else:
        echo(f"shards in {shown(out)}; open_sweep opens them")
    click.get_current_context().exit(status)
