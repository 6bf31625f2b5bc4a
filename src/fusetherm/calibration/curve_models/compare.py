"""Fit curve models by name, and compare them by what they say of points left out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ...errors import InputError
from ...fuse.consistency import MINIMUM_POINTS
from ...fuse.definition import Definition
from ...fuse.family import element_metal, family_of
from ...labelled import described
from ...units import ZERO_CELSIUS_K
from ...written import number, percent, seconds
from .base import CurveModel, CurvePoints, Floats, corrected_information
from .lumped import chosen_ladder, constant_action, ladder, power_law
from .network import network
from .three_lumps import three_lumps

if TYPE_CHECKING:
    from ...labelled import Dataset

#: Names of the curve models, from the simplest to the network.
CURVE_MODELS = (
    "constant_i2t",
    "power_law",
    "one_time_constant",
    "exponentials",
    "three_lumps",
    "network",
)
#: What they are called in print.
TITLES = {
    "constant_i2t": "constant I²t",
    "power_law": "power law",
    "one_time_constant": "one time constant",
    "exponentials": "several exponentials",
    "three_lumps": "three lumps",
    "network": "network",
}


def fit_curve_model(name: str, definition: Definition) -> CurveModel:
    """Fit one curve model to the times of a definition.

    Parameters
    ----------
    name : str
        ``"constant_i2t"``, ``"power_law"``, ``"one_time_constant"``, ``"exponentials"``,
        ``"three_lumps"`` or ``"network"``.
    definition : Definition
        What is published. Points of the curve with a time and melting I²t are used; drops,
        rises, limits and gates are not, so that all models have the same data. `calibrate` uses
        them.

    Returns
    -------
    CurveModel

    Raises
    ------
    InputError
        ``unknown-curve-model``.
    CalibrationError
        ``too-few-observations``.

    Notes
    -----
    Residuals are in ln current at the published time, over the noise of the observation:
    in time over the slope of the curve, beside that in current.

    Examples
    --------
    >>> import fusetherm as ft
    >>> fuse = ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"])
    >>> one = ft.fit_curve_model("one_time_constant", fuse)
    >>> [q.name for q in one.quantities][:1]
    ['minimum_fusing_current']
    """
    return _fitted(_known(name), CurvePoints.of(definition))


def _known(name: str) -> str:
    if name in CURVE_MODELS:
        return name
    raise InputError(
        "unknown-curve-model",
        f"there is no curve model {name!r}",
        expected=", ".join(CURVE_MODELS),
        mend="choose one",
    )


def _fitted(name: str, points: CurvePoints) -> CurveModel:
    if name == "network":
        return network(points)
    if name == "power_law":
        return power_law(points)
    metal = element_metal(points.definition, family_of(points.definition))
    melting_c = metal.solidus_k - ZERO_CELSIUS_K
    if name == "constant_i2t":
        return constant_action(points, melting_c)
    if name == "one_time_constant":
        return ladder(points, melting_c, 1, name)
    if name == "exponentials":
        return chosen_ladder(points, melting_c)
    return three_lumps(points, metal)


@dataclass(frozen=True, kw_only=True)
class CurveComparison:
    """Curve models side by side, fitted to the same points and held to those left out.

    Off means ln(model / published) of the current at the published time.
    """

    name: str
    model: tuple[str, ...] = field(metadata=described("curve model", "", ("model",)))
    current: Floats = field(metadata=described("published current", "A", ("point",)))
    time: Floats = field(metadata=described("published pre-arcing time", "s", ("point",)))
    spread: Floats = field(
        metadata=described("standard deviation of ln current at the given time", "1", ("point",))
    )
    parameter_count: Floats = field(
        metadata=described("number of parameters the data determined", "1", ("model",))
    )
    fitted_off: Floats = field(metadata=described("off at points fitted", "1", ("model", "point")))
    held_out_off: Floats = field(
        metadata=described("off at points left out", "1", ("model", "point"))
    )
    aicc: Floats = field(
        metadata=described("information criterion, corrected for few points", "1", ("model",))
    )
    minimum_fusing_current: Floats = field(
        metadata=described("minimum fusing current", "A", ("model",))
    )
    folds: int
    models: tuple[CurveModel, ...] = field(repr=False)

    @property
    def fitted_rms(self) -> Floats:
        """Root mean square off at points fitted [-], one a model."""
        return np.asarray(np.sqrt(np.mean(self.fitted_off**2, axis=1)), dtype=np.float64)

    @property
    def held_out_rms(self) -> Floats:
        """Root mean square off at points left out [-], one a model."""
        return np.asarray(np.sqrt(np.mean(self.held_out_off**2, axis=1)), dtype=np.float64)

    @property
    def best(self) -> str:
        """Model with the least error at points left out."""
        return self.model[int(np.argmin(self.held_out_rms))]

    def rows(self) -> list[dict[str, Any]]:
        """One dict a model; None for an AICc that has no room for the parameters."""
        return [
            {
                "model": name,
                "parameters": float(self.parameter_count[i]),
                "fitted_rms": float(self.fitted_rms[i]),
                "held_out_rms": float(self.held_out_rms[i]),
                "held_out_worst": float(np.max(np.abs(self.held_out_off[i]))),
                "aicc": float(self.aicc[i]) if math.isfinite(self.aicc[i]) else None,
                "minimum_fusing_current_A": float(self.minimum_fusing_current[i]),
            }
            for i, name in enumerate(self.model)
        ]

    def to_xarray(self) -> Dataset:
        """Dataset with dimensions model and point."""
        from ...labelled import to_dataset

        return to_dataset(self)

    def plot(self, axes: Any = None) -> Any:
        """Figure of the curves above and what they say of points left out below."""
        from importlib import import_module

        # the floor of figures lies below this one, so it is asked for by name
        return import_module("fusetherm.show.plots").plot_comparison(self, axes=axes)

    def __str__(self) -> str:
        how = "one left out at a time" if self.folds == len(self.time) else f"{self.folds} folds"
        head = f"{'model':<24}{'parameters':>11}{'fitted':>10}{'left out':>10}{'worst':>10}"
        lines = [f"{self.name}: {len(self.time)} points, {how}", "", f"{head}{'AICc':>9}"]
        for row in self.rows():
            aicc = "none" if row["aicc"] is None else number(row["aicc"])
            lines.append(
                f"{TITLES[row['model']]:<24}{number(row['parameters'], 2):>11}"
                f"{percent(row['fitted_rms']):>10}{percent(row['held_out_rms']):>10}"
                f"{percent(row['held_out_worst']):>10}{aicc:>9}"
            )
        i = int(np.argmin(self.held_out_rms))
        worst = int(np.argmax(np.abs(self.held_out_off[i])))
        lines += [
            "",
            "errors are shares of the current at the published time, rms and worst",
            f"least error at points left out: {TITLES[self.best]}, worst at "
            f"{number(float(self.current[worst]), 4)} A, {seconds(float(self.time[worst]))}",
            "a curve met is no evidence for what lies off it: other ambients, pulses, long times",
        ]
        return "\n".join(lines)


def compare_curve_models(
    definition: Definition,
    *,
    names: Sequence[str] = CURVE_MODELS,
    folds: int | None = None,
) -> CurveComparison:
    """Fit curve models to the same points and hold each to points left out.

    Parameters
    ----------
    definition : Definition
        What is published; see `fit_curve_model` for what of it is used.
    names : sequence of str
        Models, by default all.
    folds : int, optional
        Number of parts the points are left out in, interleaved by current; by default each
        point by itself.

    Returns
    -------
    CurveComparison

    Raises
    ------
    InputError
        ``unknown-curve-model``, ``folds-out-of-range``.
    CalibrationError
        ``too-few-observations`` when less than four points would be left.

    Notes
    -----
    Every model is fitted again without each part, also the number of its exponentials. AICc
    takes the spreads of the points as known and the same for all models; where a model has
    priors, its number of parameters is ``trace(J (J'J + 1)^-1 J')``, that which the data
    determined.
    """
    points = CurvePoints.of(definition)
    names = tuple(_known(name) for name in names)
    if not names:
        _known("")
    n = len(points)
    folds = n if folds is None else folds
    if not 2 <= folds <= n:
        raise InputError(
            "folds-out-of-range",
            f"{folds} parts of {n} points",
            expected=f"2 to {n} parts",
            mend="leave it out: each point by itself",
        )
    order = np.argsort(points.log_current)
    parts = [set(order[i::folds].tolist()) for i in range(folds)]
    trained = [points.without(part) for part in parts]
    for rest in trained:
        rest.require(MINIMUM_POINTS, " when some are left out")
    models = tuple(_fitted(name, points) for name in names)
    fitted, held_out = np.empty((len(names), n)), np.empty((len(names), n))
    for i, (name, model) in enumerate(zip(names, models, strict=True)):
        fitted[i] = [_off(model, points, j) for j in range(n)]
        for part, rest in zip(parts, trained, strict=True):
            other = _fitted(name, rest)
            for j in part:
                held_out[i, j] = _off(other, points, j)
    counts = np.array([m.parameter_count for m in models])
    chi = np.sum((fitted / points.spread) ** 2, axis=1)
    return CurveComparison(
        name=definition.id,
        model=names,
        current=np.exp(points.log_current),
        time=points.time,
        spread=points.spread,
        parameter_count=counts,
        fitted_off=fitted,
        held_out_off=held_out,
        aicc=np.array(
            [corrected_information(float(c), float(k), n) for c, k in zip(chi, counts, strict=True)]
        ),
        minimum_fusing_current=np.array([m.minimum_fusing_current() for m in models]),
        folds=folds,
        models=models,
    )


def _off(model: CurveModel, points: CurvePoints, j: int) -> float:
    return math.log(model.current_at(float(points.time[j]))) - float(points.log_current[j])
