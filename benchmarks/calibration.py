"""How often a fit finds its mode from one start, how near, and what it costs.

    python benchmarks/calibration.py [truths]

Truths are fuses of the family itself, their scores drawn from its priors; ten points of the exact
curve from 1.05 to 9 times the minimum fusing current, or six from 1.25. Each is fitted from the
centres of the priors, as `calibrate` does, and with a start drawn at random, 1.5 spreads wide, that
the search weighs against the centres. A fit is a success when it has settled, with a cost within
1 of the better of both.
"""

from __future__ import annotations

import math
import sys
import time
from itertools import pairwise

import numpy as np

from fusetherm.calibration.build import model_of_parameters, values_of
from fusetherm.calibration.observations import observations_of
from fusetherm.calibration.residual import Bench
from fusetherm.calibration.search import Problem, Settled, settle
from fusetherm.errors import FusethermError
from fusetherm.fuse.definition import loads
from fusetherm.fuse.family import family_of

HEAD = """
schema_version = 1
id = "truth"
family = "zinc-strip"
size = "high-current-blade"
rated_current_A = 40
source = "made for a study"
[test_connection]
cable_section_mm2 = 6
cable_length_m = 1
source = "made for a study"
[curve]
time_kind = "pre-arcing"
ambient_C = 23
source = "made for a study"
"""


def text(points: list[tuple[float, float]]) -> str:
    rows = (f"[[curve.point]]\ncurrent_A = {i:.8g}\ntime_s = {t:.8g}\n" for i, t in points)
    return HEAD + "".join(rows)


def cost(problem: Problem, mode: Settled) -> float:
    residual = problem.residual(mode.fitted, mode.z)
    return float(residual @ residual)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    stub = loads(text([(54.0, 300.0), (60.0, 90.0), (80.0, 20.0), (100.0, 9.0)]))
    family = family_of(stub)
    priors = family.priors(stub)
    for points, lowest in ((10, 1.05), (6, 1.25)):
        good, bad_good, seconds, held, least_off, left_out = 0, 0, [], [], [], 0
        for k in range(count):
            rng = np.random.default_rng([5, k])
            try:
                z = rng.standard_normal(len(priors))
                truth = Bench.of(model_of_parameters(stub, family, values_of(priors, z)), 23.0, 64)
                currents = math.exp(truth.least) * np.geomspace(lowest, 9.0, points)
                curve = [(float(i), math.exp(truth.log_time(math.log(i), 1e6))) for i in currents]
                definition = loads(text(curve))
                observations = observations_of(definition)
                problem = Problem.of(definition, family, priors, observations, 64)
                begun = time.perf_counter()
                mode = settle(problem)
                seconds.append(time.perf_counter() - begun)
                other = Problem.of(definition, family, priors, observations, 64)
                try:
                    far = settle(other, 1.5 * rng.standard_normal(len(priors)))
                    far_cost = cost(other, far) if far.done else math.inf
                except FusethermError:
                    far_cost = math.inf
            except FusethermError:
                left_out += 1
                continue
            best = min(cost(problem, mode), far_cost)
            good += mode.done and cost(problem, mode) < best + 1.0
            bad_good += far_cost < best + 1.0
            bench = Bench.of(problem.model(mode.z), 23.0, 64)
            least_off.append(bench.least - truth.least)
            for (i, t), (_, u) in pairwise(curve):
                between, start = math.sqrt(t * u), math.log(i)
                held.append(
                    bench.current_at(between, start)[0] - truth.current_at(between, start)[0]
                )
        fits = count - left_out
        own, far_own = 100 * good / fits, 100 * bad_good / fits
        off, least = (100 * np.sqrt(np.mean(np.square(found))) for found in (held, least_off))
        print(f"{points} points from {lowest} x: {fits} truths ({left_out} left out)")
        print(f"  success from the centres {own:.1f} %, from random starts {far_own:.1f} %")
        print(f"  held-out current {off:.2f} % rms, minimum fusing current {least:.2f} % rms")
        print(f"  {np.median(seconds):.2f} s a fit (median)")


if __name__ == "__main__":
    main()
