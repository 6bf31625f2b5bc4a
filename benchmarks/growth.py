"""How the time grows: with cells, samples, cycles and scenarios; a long noisy trace; start-up.

Part of `compare.py`; alone it prints its own part:

    python benchmarks/growth.py [--write]

Times are processor time of the one thread, and of sweeps on every core wall time. Exponents
are slopes of straight lines through the logarithms of size and time.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit
from peers.callbacks import Callbacks, rate, top
from peers.solvers import AMBIENT_C, AMBIENT_K, NETWORKS, Case

import fusetherm as ft
from fusetherm.solver.kernels.advance import temperature_at
from fusetherm.solver.network import build_network

Floats = npt.NDArray[np.float64]
DOCS = Path(__file__).parents[1] / "docs"
ROUNDS = 5
COLD_ROUNDS = 2  # of what compiles
SAMPLES, SPACING = 100_000, 1e-3
#: Standard deviations of a sample over the highest load.
NOISES = (0.0, 0.003, 0.01, 0.03)


def least(
    run: Callable[[], object],
    rounds: int = ROUNDS,
    clock: Callable[[], float] = time.thread_time,
) -> float:
    """Least time of a few rounds [s], after one that warms up."""
    run()
    best = float("inf")
    for _ in range(rounds):
        begin = clock()
        run()
        best = min(best, clock() - begin)
    return best


def exponent(sizes: Sequence[float], times: Sequence[float]) -> float:
    """Slope of log time against log size, by least squares."""
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0])


# ------------------------------------------------------------------ a long noisy trace


def noisy(samples: int, level: float, noise: float = 0.01, seed: int = 1) -> Any:
    """A load that jumps every few seconds, with noise on each sample.

    Parameters
    ----------
    samples : int
        Number, `SPACING` apart.
    level : float
        Highest load [A].
    noise : float
        Standard deviation of a sample over the highest load.
    seed : int
    """
    random = np.random.default_rng(seed)
    steps = random.uniform(0.2, 1.0, 1 + samples // 3000)
    load = np.repeat(steps, 3000)[:samples] + noise * random.standard_normal(samples)
    return ft.Waveform(time=SPACING * np.arange(samples), current=level * load)


@njit
def _classical(state, current, spacing, parts, where, squared, out):  # type: ignore[no-untyped-def]
    """Runge and Kutta's explicit method of order 4, several steps to each sample.

    ``out[j]`` is u at the hottest point after step j; ``squared`` is where the right side finds I².
    """
    size = state.shape[0]
    k1, k2, k3, k4 = np.empty(size), np.empty(size), np.empty(size), np.empty(size)
    trial = np.empty(size)
    h = spacing / parts
    at = 0
    for j in range(current.shape[0] - 1):
        slope = (current[j + 1] - current[j]) / spacing
        for p in range(parts):
            start = current[j] + slope * p * h
            squared[0] = start**2
            rate(state, k1, where)
            for i in range(size):
                trial[i] = state[i] + 0.5 * h * k1[i]
            squared[0] = (start + 0.5 * slope * h) ** 2
            rate(trial, k2, where)
            for i in range(size):
                trial[i] = state[i] + 0.5 * h * k2[i]
            rate(trial, k3, where)
            for i in range(size):
                trial[i] = state[i] + h * k3[i]
            squared[0] = (start + slope * h) ** 2
            rate(trial, k4, where)
            for i in range(size):
                state[i] += h / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i])
            at += 1
            out[at] = top(state, where)


def by_samples(model: ft.FuseModel, wave: Any, cells: int, parts: int) -> Floats:
    """Hottest point [degC] at every step of the explicit method, each sample resolved."""
    net = build_network(model, ambient_k=AMBIENT_K, cells=cells)
    callbacks = Callbacks(net, 0.0)
    state, current = net.state(AMBIENT_K), np.array(wave.values)
    out = np.empty(1 + parts * (len(current) - 1))
    out[0] = top(state, callbacks.data)
    _classical(state, current, SPACING, parts, callbacks.data, callbacks.numbers, out)
    if not np.isfinite(out[-1]):
        raise RuntimeError("the explicit steps are too long to be stable")
    return np.array([temperature_at(u, 0, net.arrays) for u in out]) - ft.units.ZERO_CELSIUS_K


def noisy_trace(say: Callable[[str], None], parts: int = 24) -> Iterator[str]:
    model, cells = NETWORKS["reference"], 64
    level = 0.95 * ft.minimum_fusing_current(model, ambient_c=AMBIENT_C, cells=cells)
    yield "| noise | peak | steps | time | worst step off | peak off | |"
    yield "|---|---|---|---|---|---|---|"
    for noise in NOISES:
        wave = noisy(SAMPLES, level, noise)

        def simulated(wave: Any = wave) -> ft.Run:
            return ft.simulate(model, wave, ambient_c=AMBIENT_C, cells=cells)

        used, run = least(simulated), simulated()
        fine = by_samples(model, wave, cells, parts)
        reference = np.interp(run.time, np.linspace(0.0, wave.duration, len(fine)), fine)
        along = float(np.max(np.abs(run.element_temperature_c - reference)))
        peak = abs(run.peak_temperature_c - float(fine.max()))
        held = "held" if used <= 20e-3 and max(along, peak) <= 0.1 else "**missed**"
        line = (
            f"| {100 * noise:g} % | {run.peak_temperature_c:.1f} °C | {run.steps} | "
            f"{1e3 * used:.3g} ms | {along:.3f} K | {peak:.3f} K | {held} |"
        )
        say(line)
        yield line
    some = noisy(SAMPLES // 10, level, NOISES[-1])
    fine, coarse = (by_samples(model, some, cells, p) for p in (2 * parts, parts))
    yield ""
    yield f"The reference takes {parts} explicit steps of order 4 to each sample; twice as many"
    yield f"move it by {np.max(np.abs(fine[::2] - coarse)):.0e} K."


# ------------------------------------------------------------------ growth


def with_cells() -> Iterator[tuple[str, Sequence[float], list[float]]]:
    sizes = (16, 32, 64, 128, 256, 512)
    for network in NETWORKS:
        cases = [Case(network, n) for n in sizes]
        times = [least(lambda case=case: case.ours(1e-4, {"integrator": "rodas3"}), 9)
                 for case in cases]  # fmt: skip
        yield f"cells, {network} network, to the onset", sizes, times


def with_samples() -> Iterator[tuple[str, Sequence[float], list[float]]]:
    model = NETWORKS["reference"]
    level = 0.95 * ft.minimum_fusing_current(model, ambient_c=AMBIENT_C, cells=64)
    sizes = (1_000, 10_000, 100_000, 1_000_000)
    waves = [noisy(n, level) for n in sizes]
    times = [
        least(lambda wave=wave: ft.simulate(model, wave, ambient_c=AMBIENT_C, cells=64), 3)
        for wave in waves
    ]
    yield "samples of a noisy trace, 1 ms apart", sizes, times


def with_cycles() -> Iterator[tuple[str, Sequence[float], list[float]]]:
    model = NETWORKS["full"]
    level = 1.1 * ft.minimum_fusing_current(model, ambient_c=AMBIENT_C, cells=64)
    pulse = ft.Waveform(time=[0.0, 1.0, 1.0], current=[level, level, 0.0])
    for text, jump, sizes in (
        ("cycles of a pulse train, each simulated", False, (10, 100, 1000)),
        ("cycles of a pulse train, jumped over", True, (100, 1000, 10_000, 100_000, 1_000_000)),
    ):
        times = []
        for count in sizes:
            train = pulse.repeated(count, period=3.0)
            times.append(
                least(
                    lambda train=train, jump=jump: ft.simulate(
                        model, train, ambient_c=AMBIENT_C, cells=64, jump=jump
                    ),
                    3,
                )
            )
        yield text, sizes, times


def with_scenarios() -> Iterator[tuple[str, Sequence[float], list[float]]]:
    model = NETWORKS["reference"]
    top = ft.minimum_fusing_current(model, ambient_c=AMBIENT_C)
    sizes = (64, 256, 1024)
    for text, workers, clock in (
        ("in this process", 0, time.thread_time),
        ("on every core", None, time.perf_counter),
    ):

        def swept(count: int, workers: int | None = workers) -> None:
            ft.sweep(
                model, currents=np.linspace(1.2, 4.0, count) * top, durations=30.0,
                ambients_c=AMBIENT_C, workers=workers,
            )  # fmt: skip

        times = [least(lambda n=n: swept(n), 1, clock) for n in sizes]
        yield f"scenarios of a sweep, constant currents, {text}", sizes, times


def two_digits(value: float) -> str:
    """A number to two digits, without an exponent."""
    return f"{float(f'{value:.2g}'):.7g}"


def readable(seconds: float) -> str:
    return f"{two_digits(1e3 * seconds)} ms" if seconds < 1.0 else f"{two_digits(seconds)} s"


def growth(say: Callable[[str], None]) -> Iterator[str]:
    yield "| with | sizes | times | exponent |"
    yield "|---|---|---|---|"
    for part in (with_cells, with_samples, with_cycles, with_scenarios):
        for text, sizes, times in part():
            say(f"{text}: {[readable(t) for t in times]}")
            of = ", ".join(f"{n:,}".replace(",", " ") for n in sizes)
            shown = ", ".join(readable(t) for t in times)
            yield f"| {text} | {of} | {shown} | {exponent(sizes, times):.2f} |"


# ------------------------------------------------------------------ start-up


def of_children() -> float:
    """Processor time of all processes that were started and have ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def start_up() -> Iterator[str]:
    """Import, help, and the first result cold and cached, each in a process of its own.

    With bytecode kept, as installers leave it.
    """
    first = (
        "import fusetherm as ft; from fusetherm.fuse.model import *; "
        "e = ft.round_wire(ft.metal('copper'), 3e-4, 2e-2); "
        "ft.simulate(FuseModel(e, Body()), ft.Waveform(time=[0, 1], current=[40, 40]))"
    )
    with tempfile.TemporaryDirectory() as folder:
        kernels = Path(folder, "kernels")
        installed = {
            **os.environ,
            "FUSETHERM_CACHE": str(kernels),
            "PYTHONPYCACHEPREFIX": str(Path(folder, "bytecode")),
        }
        installed.pop("PYTHONDONTWRITEBYTECODE", None)
        programs = [
            ("Python alone", ["-c", "pass"], False),
            ("`import fusetherm`", ["-c", "import fusetherm"], False),
            ("`fusetherm --help`", ["-m", "fusetherm", "--help"], False),
            ("every kernel compiled, by `fusetherm warm`", ["-m", "fusetherm", "warm"], True),
            ("first result, kernels compiled", ["-c", first], True),
            ("first result, kernels kept", ["-c", first], False),
        ]
        yield "| a whole process | processor time | by the clock |"
        yield "|---|---|---|"
        for name, arguments, cold in programs:
            taken = []
            for _ in range(COLD_ROUNDS if cold else ROUNDS):
                if cold:
                    shutil.rmtree(kernels, ignore_errors=True)
                begin, clock = of_children(), time.perf_counter()
                subprocess.run(
                    [sys.executable, *arguments], env=installed, capture_output=True, check=True
                )
                taken.append((of_children() - begin, time.perf_counter() - clock))
            used, waited = (min(t) for t in zip(*taken, strict=True))
            yield f"| {name} | {readable(used)} | {readable(waited)} |"


def report(say: Callable[[str], None]) -> Iterator[str]:
    """Growth, the noisy trace and start-up, as Markdown."""
    yield from growth(say)
    yield ""
    yield f"A trace of {SAMPLES // 1000} 000 samples, 1 ms apart, of a load that jumps every 3 s,"
    yield "with noise on each sample of so much of its top. Aimed at: 20 ms, and .1 K at every step"
    yield "and at the peak."
    yield ""
    yield from noisy_trace(say)
    yield ""
    yield from start_up()


def write(say: Callable[[str], None]) -> None:
    """Write docs/growth_table.txt."""
    text = "\n".join(report(say)) + "\n"
    (DOCS / "growth_table.txt").write_text(text, encoding="utf-8")


def main() -> None:
    def say(text: str) -> None:
        print(text, file=sys.stderr, flush=True)

    if "--write" in sys.argv[1:]:
        write(say)
    else:
        print("\n".join(report(say)))


if __name__ == "__main__":
    main()
