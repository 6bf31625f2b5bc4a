"""Time to count the cycles of a random walk beside the rainflow package, equal damage checked.

python benchmarks/rainflow_count.py [samples]
"""

from __future__ import annotations

import sys
import time

import numpy as np
import rainflow

from fusetherm.life.rainflow import count_cycles
from fusetherm.life.swing_law import SwingLaw, miner_sum


def main(samples: int) -> None:
    walk = np.cumsum(np.random.default_rng(0).normal(size=samples))
    law = SwingLaw(pivot_cycles=1e6, pivot_swing=100.0, exponent=5.0)
    count_cycles(walk[:1000])
    ours = []
    for _ in range(5):
        begin = time.perf_counter()
        cycles = count_cycles(walk)
        ours.append(time.perf_counter() - begin)
    begin = time.perf_counter()
    theirs = list(rainflow.extract_cycles(walk))
    package = time.perf_counter() - begin
    damage = sum(row[2] / float(law.cycles(row[0])) for row in theirs)
    difference = abs(miner_sum(law, cycles) - damage) / damage
    print(f"{samples} samples: {min(ours) * 1e3:.3g} ms, package {package * 1e3:.3g} ms, ", end="")
    print(f"ratio {package / min(ours):.0f}; damage differs by {difference:.1e}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
