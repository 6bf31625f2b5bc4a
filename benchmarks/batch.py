"""Simulations a second, side by side in lanes and one by one, on one core and on every core.

    python benchmarks/batch.py [--runs N] [--write]

Constant currents of 1.2 to 4 times the minimum fusing current, drawn evenly, 64 cells, tolerance
1e-3: each run ends at the onset of melting, or goes on to the parting, which is ten times as many
steps, since the front melts cell after cell. One by one is the same stepping loop for one run,
without the Python around it. Times are processor time of a thread, the least of some rounds in
turns; for all cores the clock, with a block of runs for each core. With ``--write`` the table goes
to docs/batch_table.txt.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np
from compare import machine
from growth import least
from peers.solvers import NETWORKS

import fusetherm as ft
from fusetherm.packed import LANES
from fusetherm.solver.batch import Scenario, run_lanes
from fusetherm.solver.integrate import Ambient, ConstantBlock
from fusetherm.solver.kernels import advance as loop
from fusetherm.solver.network import build_network
from fusetherm.solver.pieces import piece_of
from fusetherm.solver.walk import Walk
from fusetherm.threads import cores, each

AMBIENT_C, AMBIENT_K, CELLS, TOLERANCE = 23.0, 296.15, 64, 1e-3
ROUNDS = 5
LONGEST = 1e4  # [s]


def alone(scenario: Scenario, to_onset: bool) -> float:
    """Processor time of the stepping loop for one run by itself [s]."""
    ambient = Ambient(np.array([0.0]), np.array([AMBIENT_K]))
    walk = Walk(
        scenario.network, scenario.start, ambient, scenario.until, TOLERANCE, "rodas3", None,
        peaks=True, to_onset=to_onset,
    )  # fmt: skip
    piece = piece_of(ConstantBlock(scenario.squared_scale, scenario.until, 0.0))
    begin = time.thread_time()
    walk.through(piece, 0.0)
    return time.thread_time() - begin


def together(scenarios: list[Scenario], to_onset: bool) -> None:
    """All runs in lanes, in this thread."""
    run_lanes(scenarios, tolerance=TOLERANCE, to_onset=to_onset)


def on_all_cores(scenarios: list[Scenario], to_onset: bool) -> None:
    """The same, a block for each core."""
    each(lambda k: together(scenarios[k :: cores()], to_onset), cores())


def runs_of(name: str, runs: int) -> list[Scenario]:
    """Runs of a network under currents drawn at random."""
    model = NETWORKS[name]
    top = ft.minimum_fusing_current(model, ambient_c=AMBIENT_C, cells=CELLS)
    network = build_network(model, ambient_k=AMBIENT_K, cells=CELLS)
    cold = network.state(AMBIENT_K)
    squares = (np.random.default_rng(1).uniform(1.2, 4.0, runs) * top) ** 2
    course = (piece_of(ConstantBlock(1.0, LONGEST, 0.0)),)
    return [Scenario(network, course, s, cold, LONGEST) for s in squares.tolist()]


def rows(runs: int) -> Iterator[str]:
    """The table, line by line."""
    columns = (
        "network, up to the", "one by one, a core", "in lanes, a core",
        f"in lanes, {cores()} cores", "steps tried", "ns a cell and step",
    )  # fmt: skip
    yield "| " + " | ".join(columns) + " |"
    yield "|---" * len(columns) + "|"
    for name in NETWORKS:
        scenarios = runs_of(name, runs)
        few = scenarios[:: max(1, runs // 64)]
        for to_onset in (True, False):
            single = min(sum(alone(one, to_onset) for one in few) / len(few) for _ in range(ROUNDS))
            counts = run_lanes(scenarios, tolerance=TOLERANCE, to_onset=to_onset).counts
            tried = float((counts[:, loop.STEPS] + counts[:, loop.REJECTED]).mean())
            lanes = least(partial(together, scenarios, to_onset), ROUNDS, time.thread_time)
            whole = least(partial(on_all_cores, scenarios, to_onset), ROUNDS, time.perf_counter)
            cells = scenarios[0].network.size
            goal = "onset" if to_onset else "parting"
            yield (
                f"| {name}, {goal} | {1.0 / single:,.0f} | {runs / lanes:,.0f} |"
                f" {runs / whole:,.0f} | {tried:.0f} | {1e9 * lanes / runs / tried / cells:.0f} |"
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=2048)
    parser.add_argument("--write", action="store_true")
    arguments = parser.parse_args()
    lines = [f"Runs a second, {LANES} lanes.", *machine(), "", *rows(arguments.runs)]
    sys.stdout.write("\n".join(lines) + "\n")
    if arguments.write:
        place = Path(__file__).parents[1] / "docs" / "batch_table.txt"
        place.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
