"""A train of pulses simulated in full and jumped over: time and difference of the answers.

python benchmarks/repeats.py
"""

from __future__ import annotations

import time

import fusetherm as ft
from fusetherm.demo import definitions


def timed(model: ft.FuseModel, count: int, jump: bool, cells: int) -> tuple[float, ft.Run]:
    level = 1.1 * ft.minimum_fusing_current(model, ambient_c=60.0, cells=cells)
    pulse = ft.Waveform(time=[0.0, 1.0, 1.0], current=[level, level, 0.0])
    train = pulse.repeated(count, period=3.0)
    ft.simulate(model, train, ambient_c=60.0, cells=cells, jump=jump)
    best = float("inf")
    for _ in range(5):
        begin = time.perf_counter()
        run = ft.simulate(model, train, ambient_c=60.0, cells=cells, jump=jump)
        best = min(best, time.perf_counter() - begin)
    return best, run


def main() -> None:
    fit = ft.calibrate(ft.load_fuse(definitions()["inverter_feed_40A"]))
    model, cells = fit.model, fit.cells
    ten, _ = timed(model, 10, True, cells)
    full, whole = timed(model, 1000, False, cells)
    jumped, short = timed(model, 1000, True, cells)
    million, _ = timed(model, 10**6, True, cells)
    off = abs(short.peak_temperature_c - whole.peak_temperature_c)
    print(f"ten cycles {ten * 1e3:.3g} ms; a thousand in full {full * 1e3:.3g} ms,", end=" ")
    print(
        f"jumped {jumped * 1e3:.3g} ms, peaks {off:.1e} K apart; a million {million * 1e3:.3g} ms"
    )


if __name__ == "__main__":
    main()
