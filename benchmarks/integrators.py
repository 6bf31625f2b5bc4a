"""The compiled integrator against scipy's, at equal error in melting time, ratios in one run.

    python benchmarks/integrators.py [--quick]

Networks: "reference" is a zinc strip of 10 mm with a notch of one third of the section, two
terminals and a body; "full" adds clips, contacts, cables of eight cells and radiation. Each
integrator is run at a row of tolerances against an exact onset (rodas4 at 1e-9) and appears
with the cheapest setting that meets the target. Times are medians, alternating in one process;
compilation is apart, in the start-up table.

"plain" hands the compiled right side, Jacobian and onset event to `solve_ivp` with nothing
else; "by the package" is `integrate(..., integrator="LSODA")`, which also keeps the trace,
the quadratures and the events. scipy calls back into Python for each evaluation, so this is
mostly the price of those calls.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from fusetherm import Element, FuseModel, Section, metal, minimum_fusing_current
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side
from fusetherm.solver.integrate import ERROR_SCALE, Ambient, ConstantBlock, integrate, scratch_of
from fusetherm.solver.kernels.assemble import DG, DIAGONAL, F0, LOWER, UPPER, G, assemble
from fusetherm.solver.kernels.events import onset_excess
from fusetherm.solver.network import build_network

AMBIENT_C = 23.0
AMBIENT_K = AMBIENT_C + 273.15
STRIP = (
    Section(4e-3, 3e-3, 0.3e-3),
    Section(2e-3, 1e-3, 0.3e-3),
    Section(4e-3, 3e-3, 0.3e-3),
)
_TERMINAL = Side(Blade(2.0, 0.15))
_FEED = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
NETWORKS = {
    "reference": FuseModel(
        Element(metal("zinc"), STRIP, spreading=False), Body(), _TERMINAL, _TERMINAL
    ),
    "full": FuseModel(Element(metal("zinc"), STRIP), Body(element_emissivity=0.1), _FEED, _FEED),
}
ROUNDS = 5


class Case:
    """One network, mesh and constant current, and every way to its onset of melting."""

    def __init__(self, network: str, cells: int, factor: float = 1.2) -> None:
        self.model, self.cells = NETWORKS[network], cells
        top = minimum_fusing_current(self.model, ambient_c=AMBIENT_C, cells=cells)
        self.current = factor * top
        self.net = build_network(self.model, ambient_k=AMBIENT_K, cells=cells)
        self.cold = self.net.state(AMBIENT_K)
        self.ambient = Ambient(np.array([0.0]), np.array([AMBIENT_K]))
        self.span = 1e4
        self.exact = self.by_package("rodas4", 1e-9)
        self.span = 1.001 * self.exact  # every one stops at the onset or just behind it

    def by_package(self, integrator: str, tolerance: float) -> float:
        """The package's integrator on the network at hand."""
        block = ConstantBlock(self.current**2, self.span, 0.0)
        solution = integrate(
            self.net, iter((block,)), self.cold, self.ambient, until=self.span,
            tolerance=tolerance, integrator=integrator,
        )  # fmt: skip
        return float("nan") if solution.onset_time is None else solution.onset_time

    def plain(self, method: str, tolerance: float, jacobian: bool) -> float:
        """scipy alone on the compiled right side: no trace, no quadrature, one event."""
        net = self.net
        z, s = scratch_of(net, 1), self.current**2
        work, total = z.work[0], net.size
        n = total - net.shared
        i = np.arange(n)

        def fill(y: Any, slope: bool) -> None:
            assemble(
                y, AMBIENT_K, net.arrays, work, z.border[0], z.border[1], z.square[0], float(slope)
            )

        def rate(t: float, y: Any) -> Any:
            fill(y, False)
            return work[F0] + s * work[G]

        def slopes(t: float, y: Any) -> Any:
            fill(y, True)
            out = np.zeros((total, total))
            out[i, i] = work[DIAGONAL, :n]
            out[i[1:], i[:-1]], out[i[:-1], i[1:]] = work[LOWER, 1:n], work[UPPER, : n - 1]
            out[:n, n:], out[n:, :n], out[n:, n:] = z.border[0].T, z.border[1], z.square[0]
            out[np.arange(total), np.arange(total)] += s * work[DG]
            return out

        def onset(t: float, y: Any) -> float:
            return onset_excess(y, net.first, net.last, net.arrays)

        onset.terminal = True  # type: ignore[attr-defined]
        sol = solve_ivp(
            rate, (0.0, self.span), self.cold, method=method, rtol=tolerance,
            atol=tolerance * ERROR_SCALE, events=onset, jac=slopes if jacobian else None,
        )  # fmt: skip
        return float(sol.t_events[0][0]) if len(sol.t_events[0]) else float("nan")

    def cheapest(self, run: Callable[[float], float], target: float) -> float | None:
        """Largest tolerance at which it and the next tighter one meet the target."""
        grid = [10.0 ** (-k / 2) for k in range(4, 20)]
        met = [abs(run(t) / self.exact - 1.0) <= target for t in grid]
        for k in range(len(grid) - 1):
            if met[k] and met[k + 1]:
                return grid[k]
        return None


def compare(network: str, cells: int, target: float, rounds: int) -> None:
    case = Case(network, cells)
    ways: dict[str, Callable[[float], float]] = {
        "rodas3": lambda t: case.by_package("rodas3", t),
        "rodas4": lambda t: case.by_package("rodas4", t),
        "LSODA plain, jac": lambda t: case.plain("LSODA", t, True),
        "LSODA plain, FD": lambda t: case.plain("LSODA", t, False),
        "BDF plain, jac": lambda t: case.plain("BDF", t, True),
        "LSODA by the package": lambda t: case.by_package("LSODA", t),
    }
    settings = {name: case.cheapest(run, target) for name, run in ways.items()}
    times: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, run in ways.items():
            tolerance = settings[name]
            if tolerance is None:
                continue
            repeat = 20 if name.startswith("rodas") else 1
            begin = time.perf_counter()
            for _ in range(repeat):
                run(tolerance)
            times[name].append((time.perf_counter() - begin) / repeat)
    ours = min(statistics.median(times[n]) for n in ("rodas3", "rodas4") if times[n])
    print(f"\n{network}, n = {cells}, error in the onset <= {target:g}, {case.current:.1f} A")
    for name in ways:
        if not times[name]:
            print(f"  {name:22s} misses the target")
            continue
        median = statistics.median(times[name])
        setting = f"tol {settings[name]:7.1e}"
        print(f"  {name:22s} {setting}  {1e3 * median:9.3f} ms  {median / ours:7.1f} x")


def start_up() -> None:
    """Import, help, and the first result cold and cached, each in a process of its own."""
    first = (
        "import fusetherm as ft; from fusetherm.fuse.model import *; "
        "e = ft.round_wire(ft.metal('copper'), 3e-4, 2e-2); "
        "ft.simulate(FuseModel(e, Body()), ft.Waveform(time=[0, 1], current=[40, 40]))"
    )
    with tempfile.TemporaryDirectory() as folder:
        cold = {**os.environ, "FUSETHERM_CACHE": folder}
        programs = [
            ("python alone", ["-c", "pass"], None, ROUNDS),
            ("import fusetherm", ["-c", "import fusetherm"], None, ROUNDS),
            ("fusetherm --help", ["-m", "fusetherm", "--help"], None, ROUNDS),
            ("first result, cold", ["-c", first], cold, 1),
            ("first result, cached", ["-c", first], cold, ROUNDS),
        ]
        print("\nstart-up, whole process")
        for name, arguments, environment, rounds in programs:
            taken = []
            for _ in range(rounds):
                begin = time.perf_counter()
                done = subprocess.run(
                    [sys.executable, *arguments], env=environment, capture_output=True, check=False
                )
                taken.append(time.perf_counter() - begin)
            failed = "" if done.returncode == 0 else "  (failed)"
            print(f"  {name:22s} {statistics.median(taken):7.3f} s{failed}")


def main() -> None:
    quick = "--quick" in sys.argv
    rounds = 2 if quick else ROUNDS
    for network in NETWORKS:
        for cells in (64,) if quick else (16, 64, 256):
            for target in (1e-4,) if quick or cells == 256 else (1e-4, 1e-5):
                compare(network, cells, target, rounds)
    start_up()


if __name__ == "__main__":
    main()
