"""How curve models extrapolate: other ambients and a pulse on a load, on fuses of known truth.

    python benchmarks/curve_models.py --truths 12 --seed 1 > docs/curve_models_table.txt

The truths are those of `band_coverage.py`: fuses of another structure than any model here. Each is
fitted by each model to the same ten points of the curve at 23 °C with their noise. Then the
current is asked for at three times between the points, at four ambients; the ratio of that at the
hottest to that at the coldest, which says how a model extrapolates apart from how it meets the
curve; and for a wave of 300 s of load with a pulse of three times the load at its end, the factor
at which it just parts. It is a study: half a minute for each truth and processor, apart from the
tests.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np

import fusetherm as ft
from fusetherm.calibration.curve_models.compare import CURVE_MODELS, TITLES
from fusetherm.calibration.residual import Bench
from fusetherm.errors import FusethermError
from fusetherm.fuse.definition import loads

HERE = Path(__file__).parent
TRUTHS = runpy.run_path(str(HERE / "band_coverage.py"))
CELLS, KINDS = TRUTHS["CELLS"], TRUTHS["KINDS"]
#: The first is that of the curve [degC].
AMBIENTS = (23.0, -40.0, 85.0, 125.0)
LOAD_TIME, PULSE = 300.0, 3.0
COLUMNS = (
    *(f"{a:.0f} °C".replace("-", "−") for a in AMBIENTS),
    "125 °C over −40 °C",
    "pulse on load",
)

Offs = dict[str, list[list[float]]]


def one(job: tuple[int, int]) -> tuple[str, Offs | str]:
    """Off in ln current by model and column for one truth, or why there is none."""
    seed, k = job
    rng = np.random.default_rng([seed, k])
    kind = KINDS[k % len(KINDS)]
    try:
        truth = TRUTHS["truth_of"](kind, rng)
        definition = loads(TRUTHS["published"](kind, truth, False, rng))
        # times alone, so that the network is told no more than the others
        definition = replace(definition, cold_resistance=None)
        assert definition.curve is not None
        points = sorted(definition.curve.points, key=lambda p: p.current)
        asked = []
        for i in (0, 4, 8):
            a, b = points[i].time, points[i + 1].time
            assert a is not None
            assert b is not None
            asked.append((math.sqrt(a * b), math.log(points[i].current)))
        true: list[list[float]] = []
        for ambient_c in AMBIENTS:
            bench = Bench.of(truth, ambient_c, CELLS)
            true.append([bench.current_at(t, max(x, bench.least + 1e-3))[0] for t, x in asked])
        end = LOAD_TIME + asked[1][0]
        wave = ft.Waveform(time=[0.0, LOAD_TIME, LOAD_TIME, end], current=[1.0, 1.0, PULSE, PULSE])
        true.append(ratio(true))
        true.append([onset(truth, wave, math.log(points[0].current))])
        found: Offs = {}
        for name in CURVE_MODELS:
            model = ft.fit_curve_model(name, definition)
            said = [[math.log(model.current_at(t, a)) for t, _ in asked] for a in AMBIENTS]
            said.append(ratio(said))
            said.append([math.log(model.current_factor(wave))])
            found[name] = [
                [x - y for x, y in zip(s, t, strict=True)] for s, t in zip(said, true, strict=True)
            ]
        return kind, found
    except FusethermError as problem:
        return kind, problem.code


def ratio(logs: list[list[float]]) -> list[float]:
    """ln of the current at the hottest ambient over that at the coldest, one a time."""
    return [hot - cold for hot, cold in zip(logs[3], logs[1], strict=True)]


def onset(truth: ft.FuseModel, wave: ft.Waveform, guess: float) -> float:
    """ln of the factor at which a wave just parts the truth."""
    low, high = guess - 3.0, guess + 1.5
    while high - low > 5e-4:
        middle = 0.5 * (low + high)
        parts = ft.simulate(truth, wave.scaled(math.exp(middle)), cells=CELLS).opened
        low, high = (low, middle) if parts else (middle, high)
    return 0.5 * (low + high)


def main() -> None:
    """Print one table a kind of fuse."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--truths", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    arguments = parser.parse_args()
    jobs = [(arguments.seed, k) for k in range(arguments.truths)]
    with multiprocessing.get_context("spawn").Pool(arguments.processes) as pool:
        results = pool.map(one, jobs, chunksize=1)
    kept = [(kind, found) for kind, found in results if not isinstance(found, str)]
    print(f"{len(kept)} of {len(jobs)} truths, seed {arguments.seed}")
    print("rms of ln(model / truth) of the current")
    for reason in sorted({f"{kind}, {f}" for kind, f in results if isinstance(f, str)}):
        print(f"\nleft out: {reason}")
    for kind in KINDS:
        some = [found for k, found in kept if k == kind]
        if not some:
            continue
        print(f"\n**{kind}**, {len(some)} truths\n")
        print(f"| model | {' | '.join(COLUMNS)} |\n|---|{'---:|' * len(COLUMNS)}")
        for name in CURVE_MODELS:
            rms = [
                math.sqrt(np.mean(np.square([found[name][j] for found in some])))
                for j in range(len(COLUMNS))
            ]
            print(f"| {TITLES[name]} | " + " | ".join(f"{100 * r:.1f} %" for r in rms) + " |")


if __name__ == "__main__":
    main()
