"""Fits of exact synthetic data: truths of families, ten points each, and what comes back."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

import numpy as np

from ...calibration.build import model_of_parameters, values_of
from ...calibration.fit import Calibration, calibrate
from ...calibration.residual import Bench
from ...fuse.definition import Definition
from ...fuse.family import load_family
from ...fuse.published import Curve, CurvePoint
from ..case import Case, case

#: Family -> rated current [A], size, cells.
_FUSES = {
    "zinc-strip": (40.0, "high-current-blade", 64),
    "tin-spot-wire": (2.0, "5x20", 64),
    "wire-in-sand": (2.0, "5x20", 32),
}
#: Where the truths lie: half a prior deviation from the centres, drawn with this seed.
_SEED, _AWAY = 1, 0.5


@lru_cache
def _truth(name: str) -> tuple[dict[str, float], Bench, Definition]:
    rating, size, cells = _FUSES[name]
    family = load_family(name)
    bare = Definition(id=name, family=name, size=size, rated_current=rating, source="computed")
    scores = _AWAY * np.random.default_rng(_SEED).standard_normal(len(family.parameters))
    values = values_of(family.priors(bare), scores)
    bench = Bench.of(model_of_parameters(bare, family, values), 23.0, cells)
    points = tuple(
        CurvePoint(current=float(i), time=math.exp(bench.log_time(math.log(i), 1e6)))
        for i in math.exp(bench.least) * np.geomspace(1.06, 8.0, 10)
    )
    curve = Curve(time_kind="pre-arcing", ambient_c=23.0, source="computed", points=points)
    return values, bench, replace(bare, curve=curve)


@lru_cache
def _fit(name: str) -> Calibration:
    return calibrate(_truth(name)[2], cells=_FUSES[name][2])


def _held_out(name: str) -> float:
    """Root mean square error of the current that parts it at five times off the points [%]."""
    truth = _truth(name)[1]
    bench = Bench.of(_fit(name).model, 23.0, _FUSES[name][2])
    off = []
    for x in truth.least + np.log(np.geomspace(1.1, 7.0, 5)):
        time = math.exp(truth.log_time(float(x), 1e6))
        off.append(bench.current_at(time, float(x))[0] - float(x))
    return 100.0 * float(np.sqrt(np.mean(np.square(off))))


def _least(name: str) -> float:
    bench = Bench.of(_fit(name).model, 23.0, _FUSES[name][2])
    return math.exp(bench.least - _truth(name)[1].least)


def _resistance(name: str) -> float:
    fitted = {p.name: p.value for p in _fit(name).parameters}
    key = "half_element_resistance"
    return fitted[key] / _truth(name)[0][key]


def _row(
    name: str,
    quantity: str,
    about: str,
    measure: Callable[[str], float],
    unit: str,
    expected: float | tuple[float, float],
    absolute: float | None,
) -> Case:
    @case(
        f"recovered-{name}-{quantity}",
        f"{name}, ten exact points of a synthetic truth: {about}",
        unit=unit,
        expected=expected,
        absolute=absolute,
        source="the truth the points were made with",
        origin="computed",
        calls="fusetherm.calibrate",
        integrates=True,
    )
    def measured() -> float:
        return measure(name)

    return measured


ROWS = tuple(
    row
    for name in _FUSES
    for row in (
        _row(name, "current", "current at five other times, rms error", _held_out, "%",
             (-math.inf, 0.7), None),
        _row(name, "least", "minimum fusing current over the true", _least, "1", 1.0,
             0.03 if "sand" in name else 0.01),
        _row(name, "resistance", "cold resistance over the true", _resistance, "1", 1.0, 0.1),
    )
)  # fmt: skip
