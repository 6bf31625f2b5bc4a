"""What a further datum buys of two answers far off the curve, on fuses made by another model.

    python benchmarks/datum_worth.py [truths]

The truths are those of `band_coverage.py`: ten points of the curve and the cold resistance are
published, no terminal's rise. Each is fitted; of its draws stand the spread of the ambient
coefficient of the minimum fusing current, ln of its ratio between 125 and -40 degC over 165 K, and
that of the current that parts it in 10 ms, what would be left of both with one datum more, and
the things taken for granted and the quantities they go with most (r² over all draws).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable

import numpy as np
from band_coverage import KINDS, published, truth_of

import fusetherm as ft
from fusetherm.calibration.nuisances import NUISANCES
from fusetherm.calibration.residual import Bench
from fusetherm.errors import FusethermError
from fusetherm.fuse.definition import loads
from fusetherm.fuse.model import FuseModel
from fusetherm.threads import each

Ask = Callable[[FuseModel], float]


def questions(fit: ft.Calibration, least: float) -> tuple[dict[str, Ask], dict[str, Ask]]:
    """The answers, and the data: each ln of a positive number. Data say their noise [ln]."""
    cells, load = fit.cells, 0.75 * least

    def fusing(model: FuseModel, ambient_c: float) -> float:
        return Bench.of(model, ambient_c, cells).least

    def parts_in(model: FuseModel, time: float, times_least: float) -> float:
        bench = Bench.of(model, 23.0, cells)
        return bench.current_at(time, math.log(times_least * least), None, 1e-3)[0]

    def rise(model: FuseModel) -> float:
        steady = ft.steady_state(model, load, cells=cells)
        if steady is None:
            return math.nan
        return math.log(max(v for n, v in steady.node_temperature_c.items() if "blade" in n) - 23.0)

    answers: dict[str, Ask] = {
        "ambient coefficient": lambda m: (fusing(m, 125.0) - fusing(m, -40.0)) / 165.0,
        "parts in 10 ms": lambda m: parts_in(m, 0.01, 20.0),
    }
    data: dict[str, Ask] = {
        "rise of a terminal, to 3 %|.03": rise,
        "minimum fusing current, to 1 %|.01": lambda m: fusing(m, 23.0),
        "its ratio at 85 °C, to 1 %|.01": lambda m: fusing(m, 85.0) - fusing(m, 23.0),
        "its ratio at 125 °C, to .3 %|.003": lambda m: fusing(m, 125.0) - fusing(m, 23.0),
        "a point at 30 ms, to 1.6 %|.016": lambda m: parts_in(m, 0.03, 12.0),
        "a point at 10 ms, to 1.6 %|.016": lambda m: parts_in(m, 0.01, 20.0),
        "cold resistance, to .5 %|.005": lambda m: math.log(m.element.cold_resistance()),
    }
    return answers, data


def left(answer: np.ndarray, datum: np.ndarray, noise: float) -> float:
    """Share of an answer's spread that a datum leaves [-]; as `fusetherm.calibration.worth`."""
    kept = np.isfinite(answer) & np.isfinite(datum)
    n, a, d = int(kept.sum()), answer[kept], datum[kept]
    r = float(np.corrcoef(a, d)[0, 1])
    sure = max(0.0, 1.0 - (1.0 - r * r) * (n - 1) / (n - 2))
    v = float(np.var(d, ddof=1))
    return math.sqrt(1.0 - sure * v / (v + noise**2))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 16
    for kind in KINDS:
        rows: list[dict[tuple[str, str], float]] = []
        pooled: dict[str, list[np.ndarray]] = {}
        for k in range(count // len(KINDS)):
            rng = np.random.default_rng([9, k])
            try:
                truth = truth_of(kind, rng)
                fit = ft.calibrate(loads(published(kind, truth, False, rng)))
                least = math.exp(Bench.of(fit.model, 23.0, fit.cells).least)
                answers, data = questions(fit, least)
                models = (fit.model, *fit.models("test"))
                row: dict[tuple[str, str], float] = {}
                seen = {d: np.array(each(lambda i: ask(models[i]), len(models)))[1:]  # noqa: B023
                        for d, ask in data.items()}  # fmt: skip
                for name, ask in answers.items():
                    found = np.array(each(lambda i: ask(models[i]), len(models)))  # noqa: B023
                    off = found - found[0]
                    row[name, "spread"] = float(np.sqrt(np.mean(off[1:] ** 2)))
                    scores = fit.draws.scores - fit.scores
                    causes = np.column_stack((fit.draws.nuisances[:, : len(NUISANCES)], scores))
                    found_here = np.column_stack((off[1:] / np.std(off[1:]), causes))
                    pooled.setdefault(name, []).append(found_here)
                    row[name, "off"] = float(found[0] - ask(truth))
                    for d, values in seen.items():
                        row[name, d] = left(found[1:], values, float(d.split("|")[1]))
                rows.append(row)
            except FusethermError as problem:
                print(f"{kind} {k}: {problem.code}")
        print(f"\n{kind}, {len(rows)} truths")
        for name in ("ambient coefficient", "parts in 10 ms"):
            unit = "%/K" if "coefficient" in name else "%"
            spread = 100 * np.median([r[name, "spread"] for r in rows])
            off = 100 * math.sqrt(np.mean([r[name, "off"] ** 2 for r in rows]))
            print(
                f"{name}: spread {spread:.2g} {unit}, rms off {off:.2g} {unit}; of it is left with"
            )
            for d in rows[0]:
                if d[0] == name and d[1] not in ("spread", "off"):
                    share = np.median([r[d] for r in rows])
                    print(f"  {d[1].split('|')[0]:<36}{100 * share:>4.0f} %")
            names = [*(n.name for n in NUISANCES), *(p.name for p in fit.priors)]
            together = np.corrcoef(np.vstack(pooled[name]).T)[0, 1:] ** 2
            first = np.argsort(-together)[:4]
            print("  goes with " + ", ".join(f"{names[i]} {together[i]:.2f}" for i in first))


if __name__ == "__main__":
    main()
