"""The integrator against its peers, at equal error in the time to the onset of melting.

    python benchmarks/compare.py [--quick] [--only reference|full] [--write]

Every peer solves the same network with the same compiled right side in this one process, in
one thread; times are processor time of that thread. For each network, mesh and target every
variant of a peer is run from loose tolerances to tight ones until three in a row meet the target, a
quarter of a decade apart; the loosest of the three is its cheapest setting, and the variant that is
cheapest by it stands for the peer. Then all run in turns; the table has medians over ours. The
exact onset is rodas4's at 1e-9, and CVODE's or Radau's at 1e-11 is shown beside it.

With ``--write`` the tables go to docs/performance_table.txt and docs/growth_table.txt (see
`growth.py`), the figure to docs/_static.
"""

from __future__ import annotations

import os

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy: every solver in one thread

import argparse  # noqa: E402
import datetime  # noqa: E402
import math  # noqa: E402
import platform  # noqa: E402
import statistics  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402
from collections.abc import Iterator  # noqa: E402
from dataclasses import dataclass, field  # noqa: E402
from pathlib import Path  # noqa: E402

import growth  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402
from peers.solvers import (  # noqa: E402
    CVODE_COMPILED,
    CVODE_PYTHON,
    LSODA,
    NETWORKS,
    OURS,
    Case,
    Peer,
    Variant,
    peers,
    versions,
)

DOCS = Path(__file__).parents[1] / "docs"
CELLS, TARGETS = (16, 64, 256), (1e-4, 1e-5)
IN_A_ROW = 3
ROUNDS = 7
#: Processor time of one measurement, so that the clock does not matter [s].
LEAST = 5e-3
#: Parts of a variant in words; what a peer's name says already is left out.
WORDS = {
    "scale": "absolute {:g} K times that",
    "order": "order {}",
    "set_up_every": "factored every {} steps",
    "trtol": "trtol {}",
}
#: What is aimed at: peers, network cells, target, our speed over the fastest of them.
GOALS = (
    ("scipy's LSODA with Jacobian", LSODA, 64, 1e-4, 15.0),
    ("CVODE with Python callbacks", CVODE_PYTHON, 64, 1e-4, 10.0),
    ("CVODE with compiled callbacks", CVODE_COMPILED, 64, 1e-4, 1.0),
    ("CVODE with compiled callbacks, wished", CVODE_COMPILED, 64, 1e-4, 2.0),
    ("CVODE with Python callbacks", CVODE_PYTHON, 256, 1e-4, 5.0),
    ("CVODE with compiled callbacks", CVODE_COMPILED, 256, 1e-4, 1.5),
)


@dataclass
class Setting:
    """A peer at the cheapest setting that meets a target, and its times [s]."""

    peer: Peer
    variant: Variant
    tolerance: float
    error: float
    times: list[float] = field(default_factory=list)

    @property
    def median(self) -> float:
        return statistics.median(self.times)

    def said(self) -> str:
        """The setting in words."""
        words = [f"{self.tolerance:.1e}"]
        for name, value in self.variant.items():
            if name in WORDS:
                words.append(WORDS[name].format(value))
            elif name == "jacobian":
                words.append("differences" if value in ("none", False) else "Jacobian given")
            elif name == "bands" and value:
                words.append("band")
            elif name == "integrator" or value in ("gear", "trap"):
                words.append(value)
        return ", ".join(words)


def spent(case: Case, one: Setting, least: float) -> float:
    """Processor time of one run [s], over as many as take ``least``."""
    if one.peer.seconds is not None:
        return one.peer.seconds(case, one.tolerance, one.variant)
    count = 0
    begin = time.thread_time()
    while True:
        one.peer.run(case, one.tolerance, one.variant)
        count += 1
        used = time.thread_time() - begin
        if used >= least:
            return used / count


def error_of(case: Case, peer: Peer, variant: Variant, tolerance: float) -> float:
    """Relative error of the onset; infinite when it is missed."""
    error = abs(peer.run(case, tolerance, variant) / case.exact - 1.0)
    return error if math.isfinite(error) else math.inf


def cheapest(case: Case, peer: Peer, target: float) -> Setting | None:
    """The variant and tolerance that meet the target in the least time."""
    best, least = None, math.inf
    for variant in peer.variants:
        row: list[tuple[float, float]] = []
        for tolerance in peer.grid:
            error = error_of(case, peer, variant, tolerance)
            row = [*row, (tolerance, error)] if error <= target else []
            if len(row) == IN_A_ROW:
                break
        if len(row) < IN_A_ROW:
            continue
        one = Setting(peer, variant, *row[0])
        used = min(spent(case, one, 1e-3) for _ in range(3))
        if used < least:
            best, least = one, used
    return best


@dataclass(frozen=True)
class Duel:
    """All peers on one case at one target."""

    network: str
    cells: int
    target: float
    current: float
    onset: float
    apart: float  # of the exact onset from another solver's
    found: dict[str, Setting | None]

    def ratio(self, name: str) -> float:
        """Time of the fastest peer whose name starts so, over ours; nan without one."""
        ours = self.found[OURS]
        them = [s.median for n, s in self.found.items() if n.startswith(name) and s]
        return min(them) / ours.median if ours and them else math.nan


def duel(case: Case, network: str, cells: int, target: float, rounds: int) -> Duel:
    case.within(target)
    able = [peer for peer in peers() if not peer.missing and cells <= peer.most_cells]
    found = {peer.name: cheapest(case, peer, target) for peer in able}
    settings = [setting for setting in found.values() if setting]
    for turn in range(rounds):
        for setting in settings:
            if setting.peer.seconds is not None and turn >= 2:
                continue  # processes of their own take long
            setting.times.append(spent(case, setting, LEAST))
    return Duel(network, cells, target, case.current, case.exact, apart(case), found)


def apart(case: Case) -> float:
    """The exact onset against another solver's at a tight tolerance."""
    by_name = {peer.name: peer for peer in peers() if not peer.missing}
    compiled = [peer for name, peer in by_name.items() if name.startswith(CVODE_COMPILED)]
    peer = compiled[0] if compiled else by_name["Radau, Jacobian"]
    return error_of(case, peer, {**peer.variants[0]}, 1e-11 if compiled else 1e-10)


# ------------------------------------------------------------------ texts


def machine() -> list[str]:
    """Processor, cores, system and versions; nothing that names the machine."""
    processor = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        for line in info.read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                processor = line.partition(":")[2].strip()
                break
    cores = os.cpu_count()
    date = datetime.date.today().isoformat()
    load = f", load {os.getloadavg()[0]:.1f} at the start" if hasattr(os, "getloadavg") else ""
    programs = ", ".join(f"{name} {number}" for name, number in versions().items())
    return [
        f"{processor}, {cores} cores{load}; {platform.system()}, Python "
        f"{platform.python_version()}; {date}.",
        f"{programs}.",
    ]


def milliseconds(seconds: float) -> str:
    return f"{growth.two_digits(1e3 * seconds)} ms"


def head(columns: list[str]) -> list[str]:
    return ["| " + " | ".join(columns) + " |", "|---" * len(columns) + "|"]


def table(duels: list[Duel]) -> Iterator[str]:
    """One row a peer: ours in milliseconds, the others in multiples of it."""
    yield from head(["solver", *(f"{d.cells} cells, {d.target:.0e}" for d in duels)])
    for peer in peers():
        if peer.missing:
            continue
        row = [peer.name]
        for one in duels:
            setting, ours = one.found.get(peer.name), one.found[OURS]
            if peer.name not in one.found:
                row.append("not tried")
            elif setting is None:
                row.append("missed")
            elif peer.name == OURS or ours is None:
                row.append(f"**{milliseconds(setting.median)}**")
            else:
                row.append(growth.two_digits(setting.median / ours.median))
        yield "| " + " | ".join(row) + " |"


def settings_table(one: Duel) -> Iterator[str]:
    yield from head(["solver", "tolerance and variant", "error met", "time"])
    for name, setting in one.found.items():
        if setting is None:
            continue
        time_used = milliseconds(setting.median)
        yield f"| {name} | {setting.said()} | {setting.error:.1e} | {time_used} |"


def goals(duels: list[Duel]) -> Iterator[str]:
    networks = list(dict.fromkeys(one.network for one in duels))
    yield from head(["against", "cells", "aimed at", *networks])
    for text, name, cells, target, least in GOALS:
        row = []
        for network in networks:
            ratios = [
                one.ratio(name)
                for one in duels
                if (one.network, one.cells, one.target) == (network, cells, target)
            ]
            if not ratios or math.isnan(ratios[0]):
                row.append("not measured")
            else:
                held = "held" if ratios[0] >= least else "**missed**"
                row.append(f"{ratios[0]:.3g}, {held}")
        yield f"| {text} | {cells} | {least:g} | " + " | ".join(row) + " |"


def precision(case: Case, settings: list[Setting]) -> dict[str, list[tuple[float, float]]]:
    """Error and time of each peer at its chosen variant, against tolerance."""
    points: dict[str, list[tuple[float, float]]] = {}
    for setting in settings:
        line = []
        if setting.peer.seconds is not None:
            continue
        for tolerance in setting.peer.grid[::2]:
            case.within(3e-3)
            error = error_of(case, setting.peer, setting.variant, tolerance)
            if not math.isfinite(error):
                continue
            case.within(max(error, 1e-7))
            one = Setting(setting.peer, setting.variant, tolerance, error)
            used = min(spent(case, one, 1e-3) for _ in range(3))
            line.append((max(error, 1e-9), used))
        points[setting.peer.name] = line
    return points


def picture(points: dict[str, dict[str, list[tuple[float, float]]]]) -> Figure:
    """Time against error, one panel a network."""
    figure = Figure(figsize=(9.0, 5.2), layout="constrained", facecolor="white")
    panels = figure.subplots(1, len(points), squeeze=False, sharey=True)[0]
    for axes, (network, lines) in zip(panels, points.items(), strict=True):
        for i, (name, line) in enumerate(lines.items()):
            kept: list[tuple[float, float]] = []  # nothing as exact is faster
            for error, used in sorted(line):
                if not kept or used < kept[-1][1]:
                    kept.append((error, used))
            ours = name == OURS
            axes.loglog(
                [error for error, _ in kept], [1e3 * used for _, used in kept],
                marker="osv^D<>Pp*hX"[i % 12], ms=4, lw=2.4 if ours else 0.9,
                color="black" if ours else None, label=name, zorder=3 if ours else 2,
            )  # fmt: skip
        axes.set_title(f"{network}, 64 cells", fontsize=10)
        axes.set_xlabel("relative error of the onset time")
        axes.set_xlim(2e-3, 5e-9)
        axes.spines[["top", "right"]].set_visible(False)
    panels[0].set_ylabel("processor time [ms]")
    handles, labels = panels[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=8, frameon=False)
    return figure


# ------------------------------------------------------------------ the whole


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def measured(networks: list[str], quick: bool) -> tuple[list[Duel], dict[str, object]]:
    duels: list[Duel] = []
    points: dict[str, object] = {}
    for network in networks:
        for cells in (64,) if quick else CELLS:
            case = Case(network, cells)
            for target in TARGETS[:1] if quick else TARGETS:
                begin = time.perf_counter()
                one = duel(case, network, cells, target, 3 if quick else ROUNDS)
                duels.append(one)
                used = time.perf_counter() - begin
                say(f"{network}, {cells} cells, {target:g}: measured in {used:.0f} s")
                for line in settings_table(one):
                    say(f"    {line}")
                if cells == 64 and target == TARGETS[0] and not quick:
                    points[network] = precision(case, [s for s in one.found.values() if s])
    return duels, points


def report(duels: list[Duel], described: list[str]) -> Iterator[str]:
    yield from described
    yield ""
    for peer in peers():
        if peer.missing:
            yield f"Left out: {peer.name} ({peer.missing})."
            yield ""
    for network in dict.fromkeys(one.network for one in duels):
        here = [one for one in duels if one.network == network]
        first = here[0]
        onset = f"at {first.cells} cells the onset is at {first.current:.1f} A, {first.onset:.4g} s"
        worst = max(one.apart for one in here)
        yield f"### The {network} network"
        yield ""
        yield f"Time over ours ({onset}; the exact onset agrees with another solver's"
        yield f"within {worst:.0e}):"
        yield ""
        yield from table(here)
        yield ""
        chosen = [one for one in here if one.cells == 64 and one.target == TARGETS[0]]
        for one in chosen:
            yield f"Settings found at {one.cells} cells and {one.target:.0e}:"
            yield ""
            yield from settings_table(one)
            yield ""
    yield "### What was aimed at"
    yield ""
    yield "Our speed over that of the fastest peer of a kind, at an error of 1e-4:"
    yield ""
    yield from goals(duels)


def main() -> None:
    parser = argparse.ArgumentParser(description="The integrator against its peers.")
    parser.add_argument("--quick", action="store_true", help="64 cells and 1e-4 only")
    parser.add_argument("--only", choices=tuple(NETWORKS), help="one network")
    parser.add_argument("--write", action="store_true", help="write the numbers of the docs")
    chosen = parser.parse_args()
    described = machine()
    duels, points = measured([chosen.only] if chosen.only else list(NETWORKS), chosen.quick)
    text = "\n".join(report(duels, described)) + "\n"
    print(text)
    if chosen.write:
        (DOCS / "performance_table.txt").write_text(text, encoding="utf-8")
        if points:
            picture(points).savefig(DOCS / "_static" / "work_precision.png", dpi=130)
        growth.write(say)
    elif not chosen.quick:
        print("\n".join(growth.report(say)))


if __name__ == "__main__":
    main()
