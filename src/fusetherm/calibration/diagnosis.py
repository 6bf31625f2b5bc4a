"""What a fit knows and what it does not: each point left out, what is known together, what one
further datum would buy."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from ..fuse.model import FuseModel
from ..solver.steady import steady_of
from ..threads import each
from ..units import REFERENCE_AMBIENT_C
from ..written import measure, number, percent
from .band import Ask
from .observations import CURRENT_NOISE, FUSING_NOISE, STEADY_NOISE
from .residual import Bench

if TYPE_CHECKING:
    from .fit import Calibration

Floats = npt.NDArray[np.float64]

#: A combination is known when the data lessen its prior spread to less than this share.
_KNOWN = 0.4
#: Least singular value of the directions looked at, and how many quantities are named in one.
_SEEN, _NAMED = 2.0, 4
#: A quantity lies far from its centre beyond so many of its prior's standard deviations.
FAR = 2.0


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One observation predicted from all the others.

    Attributes
    ----------
    label : str
        See `Observation`.
    current : float or None
        Current of a point of the curve [A].
    relative : float
        ln(predicted / published) [-].
    in_spreads : float
        The same over the spread expected of it, that of the datum and that of the prediction.
    """

    label: str
    current: float | None
    relative: float
    in_spreads: float


@dataclass(frozen=True, slots=True)
class Combination:
    """A product of powers that the data know, better than any of its parts.

    Attributes
    ----------
    powers : tuple of (str, float)
        Fitted quantity and its power, the largest power 1.
    sd : float
        Standard deviation of its logarithm [-].
    """

    powers: tuple[tuple[str, float], ...]
    sd: float

    def __str__(self) -> str:
        return " × ".join(
            name if power == 1.0 else f"{name}^{number(power, 2)}" for name, power in self.powers
        )


@dataclass(frozen=True, slots=True)
class Worth:
    """What one further datum would do to the spread of an answer.

    Attributes
    ----------
    datum : str
        What would be measured, and how well.
    shrinkage : float
        Share of the spread of the answer (its part "fit") that would go [-].
    """

    datum: str
    shrinkage: float


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What a fit knows and what it does not.

    Attributes
    ----------
    left_out : tuple of LeftOut
        Each observation predicted from the others.
    known : tuple of Combination
        What the data know, best first.
    prior_dominated, far : tuple of str
        Quantities left to their priors; quantities the data pull far from their centres.
    culprit : LeftOut or None
        The observation least in keeping with the others, when it is beyond three spreads.
    """

    left_out: tuple[LeftOut, ...]
    known: tuple[Combination, ...]
    prior_dominated: tuple[str, ...]
    far: tuple[str, ...]
    culprit: LeftOut | None

    @property
    def rms_left_out(self) -> float:
        """Root mean square of the curve's points, each predicted from the others, in current."""
        found = [one.relative for one in self.left_out if one.current is not None]
        return math.sqrt(sum(x * x for x in found) / len(found)) if found else math.nan


#: Spreads beyond which an observation is named as out of keeping with the others.
_CULPRIT = 3.0


def diagnosis(fit: Calibration, prior_dominated: float) -> Diagnosis:
    """Diagnosis of a fit, from its Jacobian.

    Notes
    -----
    With J the Jacobian of the residuals in spreads and ``N = (J'J + 1)^-1``, the hat matrix is
    ``H = J N J'``. A point left out is predicted off by ``r / (1 - h)`` of its own spreads, and
    that has the standard deviation ``1 / sqrt(1 - h)`` (linear least squares with the priors as
    further data; D. M. Allen, Technometrics 16 (1974) 125, from memory).

    The right singular vectors of J are the combinations of scores the data know one apart from
    the other; with singular value s the posterior keeps ``1 / sqrt(1 + s²)`` of the prior spread.
    """
    jacobian, residuals = fit.jacobian, fit.residuals
    normal = np.linalg.inv(jacobian.T @ jacobian + np.eye(jacobian.shape[1]))
    hat = np.einsum("ij,jk,ik->i", jacobian, normal, jacobian)
    left_out = tuple(
        LeftOut(
            label=r.label,
            current=r.observed if r.kind == "time" else None,
            relative=r.relative / (1.0 - h),
            in_spreads=r.in_spreads / math.sqrt(1.0 - h),
        )
        for r, h in zip(residuals, hat.tolist(), strict=True)
        if not r.bound
    )
    worst = max(left_out, key=lambda one: abs(one.in_spreads), default=None)
    sd = np.sqrt(np.diag(fit.covariance))
    return Diagnosis(
        left_out=left_out,
        known=_known(fit, jacobian),
        prior_dominated=tuple(
            p.name for p, s in zip(fit.priors, sd, strict=True) if s > prior_dominated
        ),
        far=tuple(p.name for p, z in zip(fit.priors, fit.scores, strict=True) if abs(z) > FAR),
        culprit=worst if worst is not None and abs(worst.in_spreads) > _CULPRIT else None,
    )


def _known(fit: Calibration, jacobian: Floats) -> tuple[Combination, ...]:
    """Combinations of the singular directions, cut to what they are mostly made of.

    What is cut away costs precision: the spread given is that of the product as it is named.
    """
    _, singular, rows = np.linalg.svd(jacobian, full_matrices=False)
    prior = np.array([p.sd for p in fit.priors])
    found = []
    for s, row in zip(singular, rows, strict=True):
        if s < _SEEN:
            continue
        # a score is ln(value / centre) / sd: the combination is a product of powers
        powers = row / prior
        powers = powers / powers[int(np.argmax(np.abs(row)))]
        powers[np.abs(row) < np.sort(np.abs(row))[-_NAMED]] = 0.0
        powers = np.round(powers / np.max(np.abs(powers)), 2)
        weights = powers * prior
        sd = math.sqrt(float(weights @ fit.covariance @ weights))
        if sd > _KNOWN * float(np.linalg.norm(weights)):
            continue
        named = [
            (p.name if p.transform == "log" else f"odds of {p.name}", float(power))
            for p, power in zip(fit.priors, powers, strict=True)
            if power != 0.0
        ]
        named.sort(key=lambda pair: -abs(pair[1]))
        sign = 1.0 if named[0][1] > 0.0 else -1.0
        found.append(Combination(tuple((name, sign * power) for name, power in named), sd))
    return tuple(sorted(found, key=lambda one: one.sd))


def worth(
    fit: Calibration, ask: Ask, connection: Literal["test", "installed"] = "installed"
) -> tuple[Worth, ...]:
    """What each of a few further data would do to the spread of an answer, best first.

    Parameters
    ----------
    fit : Calibration
    ask : callable
        The question: a positive answer for a model.
    connection : {"test", "installed"}
        The connection the answer is for; data are measured in the test connection.

    Returns
    -------
    tuple of Worth

    Notes
    -----
    From the draws: with correlation r between ln answer and ln datum, and a noise of the datum
    of so many of its own spreads, the variance left is ``1 - r² v / (v + noise²)``. r² is
    lessened by what chance makes of so few draws, ``1 - (1 - r²)(n - 1) / (n - 2)``.
    """
    data = _data(fit)
    test = fit.models("test")
    answers = np.log(each(lambda i: ask(fit.models(connection)[i]), len(test)))
    found = []
    for label, noise, measured in data:
        values = np.log(each(lambda i: measured(test[i]), len(test)))  # noqa: B023
        kept = np.isfinite(values) & np.isfinite(answers)
        if kept.sum() < 8 or float(np.std(values[kept])) < 1e-9:
            continue
        n = int(kept.sum())
        r = float(np.corrcoef(values[kept], answers[kept])[0, 1])
        sure = max(0.0, 1.0 - (1.0 - r * r) * (n - 1) / (n - 2))
        spread = float(np.var(values[kept], ddof=1))
        left = math.sqrt(1.0 - sure * spread / (spread + noise**2))
        found.append(Worth(label, 1.0 - left))
    return tuple(sorted(found, key=lambda one: -one.shrinkage))


#: Questions a further datum may be asked about, by the name of the command's option.
QUESTIONS: dict[str, str] = {
    "fusing": "minimum fusing current",
    "load": "rise of the hottest point at the rated current",
    "inrush": "current that parts it in 10 ms",
}


def question(fit: Calibration, name: str) -> Ask:
    """One of `QUESTIONS`, to be asked of a model."""
    rated, cells = fit.definition.rated_current, fit.cells

    def fusing(model: FuseModel) -> float:
        return math.exp(Bench.of(model, REFERENCE_AMBIENT_C, cells).least)

    def hot_spot(model: FuseModel) -> float:
        bench = Bench.of(model, REFERENCE_AMBIENT_C, cells)
        steady = steady_of(bench.network, rated, bench.ambient.first_k)
        return math.inf if steady is None else steady.peak_temperature_c - steady.ambient_c

    def inrush(model: FuseModel) -> float:
        bench = Bench.of(model, REFERENCE_AMBIENT_C, cells)
        return math.exp(bench.current_at(0.01, math.log(10.0 * rated), None, 5e-3)[0])

    return {"fusing": fusing, "load": hot_spot, "inrush": inrush}[name]


def _data(fit: Calibration) -> list[tuple[str, float, Callable[[FuseModel], float]]]:
    """Data one could measure: in words, their noise [ln], and what a model gives."""
    definition, cells = fit.definition, fit.cells
    bench = Bench.of(fit.model, REFERENCE_AMBIENT_C, cells)
    least = math.exp(bench.least)
    load = min(definition.rated_current, 0.9 * least)

    def node(name: str) -> Callable[[FuseModel], float]:
        def rise(model: FuseModel) -> float:
            at = Bench.of(model, REFERENCE_AMBIENT_C, cells)
            steady = steady_of(at.network, load, at.ambient.first_k)
            if steady is None:
                return math.inf
            if name == "element":
                return steady.element_voltage
            hot = steady.node_temperature_c
            return max(v for n, v in hot.items() if n.startswith(name)) - steady.ambient_c

        return rise

    def fusing(model: FuseModel) -> float:
        return math.exp(Bench.of(model, REFERENCE_AMBIENT_C, cells).least)

    def parting(time: float, guess: float) -> Callable[[FuseModel], float]:
        def current(model: FuseModel) -> float:
            at = Bench.of(model, REFERENCE_AMBIENT_C, cells)
            return math.exp(at.current_at(time, math.log(guess), None, 5e-3)[0])

        return current

    near = 1.06 * least
    near_time = math.exp(bench.log_time(math.log(near), 1e6))
    at_load = f"at {measure(load, 'A')}"
    found = [
        (f"rise of a blade {at_load}, to {percent(STEADY_NOISE)}", STEADY_NOISE, node("blade")),
        (f"voltage drop {at_load}, to {percent(STEADY_NOISE)}", STEADY_NOISE, node("element")),
        (f"minimum fusing current, to {percent(FUSING_NOISE)}", FUSING_NOISE, fusing),
        (
            f"a point of the curve near {measure(near, 'A')}",
            CURRENT_NOISE,
            parting(near_time, near),
        ),
    ]
    if definition.cold_resistance is None:
        found.append(
            ("cold resistance, to 3 %", 0.03, lambda model: model.element.cold_resistance())
        )
    points = () if definition.curve is None else definition.curve.points
    shortest = min((p.time for p in points if p.time is not None), default=1.0)
    if shortest > 0.012:
        x, _ = bench.current_at(0.01, math.log(max(p.current for p in points)))
        found.append(("melting I²t at 10 ms, to 10 %", 0.05, parting(0.01, math.exp(x))))
    return found
