"""The search for the posterior mode: residuals, their Jacobian, Levenberg-Marquardt."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..fuse.definition import Definition
from ..fuse.family import Family
from ..fuse.model import FuseModel
from ..fuse.prior import Prior
from ..threads import each
from .build import model_of_parameters, values_of
from .nuisances import altered
from .observations import Observation
from .residual import CURRENT_AGREEMENT, Bench, ambients_of, direct_value, keeps, spread

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: Step of the fitted quantities for differences [ln or logit].
_DIFFERENCE = 0.04
#: Step of ln I for the slope of the curve: a share of the distance from the minimum fusing
#: current, where the curve bends, between the least and the most. Times scatter by some 4e-4 at
#: the tolerance of a fit, which on a step of 2e-3 is a fifth of the slope of a large current.
_SLOPE_SHARE, _SLOPE_LEAST, _SLOPE_MOST = 0.04, 2e-3, 0.02
#: Entries of the weighted Jacobian below this are not differenced anew: against the prior's 1
#: they add less than its square, .25 %, to what is known of a quantity.
_SLIGHT = 0.05
#: Most steps tried.
ROUNDS = 30
#: A fit has settled when a step promises less than this share of its cost.
_SETTLED = 2e-2


@dataclass(frozen=True, slots=True)
class Settled:
    """Where a search ended.

    Attributes
    ----------
    z : (p,) array
        Scores.
    fitted : (n,) array
        `Problem.fitted` there.
    table : (n, p) array
        `Problem.jacobian` there.
    done : bool
        Whether it had settled when it stopped.
    """

    z: Floats
    fitted: Floats
    table: Floats
    done: bool


@dataclass(slots=True)
class Problem:
    """Residuals of a definition under its priors, with the solved currents kept warm.

    The weights follow the slopes of the model's curve, at each new Jacobian only: between
    two of them a cost is comparable with another. Limits are looked at only once they have
    been found broken (`watched`): until then they cost nothing, also in time.
    """

    definition: Definition
    family: Family
    priors: tuple[Prior, ...]
    observations: tuple[Observation, ...]
    cells: int
    guesses: Floats
    slopes: Floats
    weights: Floats
    watched: Flags
    last: Floats | None = None
    nuisances: Floats | None = None
    threads: int | None = None
    agreement: float = CURRENT_AGREEMENT

    @classmethod
    def of(
        cls,
        definition: Definition,
        family: Family,
        priors: tuple[Prior, ...],
        observations: tuple[Observation, ...],
        cells: int,
    ) -> Problem:
        """Problem before its first step."""
        return cls(
            definition,
            family,
            priors,
            observations,
            cells,
            np.array([math.log(o.current) for o in observations]),
            np.full(len(observations), -2.0),
            np.ones(len(observations)),
            np.array([not o.bound for o in observations], dtype=bool),
        )

    def model(self, z: Floats) -> FuseModel:
        """Model at scores z."""
        model = model_of_parameters(self.definition, self.family, values_of(self.priors, z))
        if self.nuisances is None:
            return model
        return altered(model, self.nuisances, self.definition, "test")

    def benches(self, z: Floats, every: bool = False) -> dict[float, Bench]:
        """Networks at the ambients of what is watched, or of every observation."""
        model, wanted = self.model(z), zip(self.observations, self.watched, strict=True)
        ambients = {a for o, seen in wanted if seen or every for a in ambients_of(o)}
        return {a: Bench.of(model, a, self.cells) for a in sorted(ambients)}

    def watch(self, z: Floats) -> bool:
        """Watch the limits a model breaks from now on; whether there are new ones."""
        found = np.zeros(len(self.observations), dtype=bool)
        if np.all(self.watched):
            return False
        benches = self.benches(z, every=True)

        def one(i: int) -> None:
            found[i] = not self.watched[i] and not keeps(benches, self.observations[i])

        each(one, len(self.observations), self.threads)
        self.watched |= found
        return bool(found.any())

    def fitted(self, z: Floats, expected: Floats | None = None) -> Floats:
        """ln of the fitted current of each time, ln of the fitted value of the others.

        `expected` are values to start the search for currents from. What is not watched is
        given its published value.
        """
        benches = self.benches(z)
        out = self.published()

        def one(i: int) -> None:
            o = self.observations[i]
            if not self.watched[i]:
                return
            if o.kind == "time":
                bench = benches[o.ambient_c]
                if expected is None:
                    x, slope = bench.current_at(o.value, float(self.guesses[i]))
                else:
                    x, slope = bench.current_at(
                        o.value, float(expected[i]), float(self.slopes[i]), self.agreement
                    )
                out[i] = x
                self.guesses[i], self.slopes[i] = x, slope
            else:
                value = direct_value(benches, o)
                # no steady state: a drop and a rise far above what was published
                out[i] = math.log(value) if math.isfinite(value) else math.log(o.value) + 2.0

        each(one, len(self.observations), self.threads)
        return out

    def published(self) -> Floats:
        """ln of the published currents, drops and rises."""
        return np.log([o.published for o in self.observations])

    def off(self, fitted: Floats) -> Floats:
        """ln of fitted over published; 0 for a limit that is kept."""
        return np.array([o.off(float(x)) for o, x in zip(self.observations, fitted, strict=True)])

    def residual(self, fitted: Floats, z: Floats) -> Floats:
        """Residuals over their spreads, data first, then priors."""
        return np.concatenate((self.off(fitted) * self.weights, z))

    def steering(self, table: Floats, fitted: Floats) -> Floats:
        """Jacobian of the weighted residuals: limits that are kept do not steer."""
        idle = np.array([bool(o.bound) for o in self.observations]) & (self.off(fitted) == 0.0)
        scaled = table * self.weights[:, None]
        scaled[idle] = 0.0
        return scaled

    def jacobian(self, z: Floats, fitted: Floats) -> Floats:
        """d fitted / d z by differences of the time at the solved current; renews the weights.

        Implicit function theorem: d ln I / dz = -(d ln t / dz) / (d ln t / d ln I).
        """
        table = np.empty((len(self.observations), len(z)))
        here = self.benches(z)
        log_times = np.log([o.value for o in self.observations])

        def row(i: int) -> None:
            o = self.observations[i]
            if o.kind == "time" and self.watched[i]:
                bench, x = here[o.ambient_c], float(fitted[i])
                step = _SLOPE_SHARE * (x - bench.least)
                step = min(max(step, _SLOPE_LEAST), _SLOPE_MOST)
                low = bench.log_time(x, 6.0 * o.value)
                high = bench.log_time(x + step, 6.0 * o.value)
                if math.isfinite(low) and high < low:
                    log_times[i], self.slopes[i] = low, (high - low) / step
            self.weights[i] = 1.0 / spread(o, float(self.slopes[i]))

        each(row, len(self.observations), self.threads)
        # an entry that was slight stays what it was: it cannot steer a step
        slight = np.zeros(table.shape, dtype=bool)
        if self.last is not None:
            slight = np.abs(self.last * self.weights[:, None]) < _SLIGHT
            table[slight] = self.last[slight]

        def column(j: int) -> None:
            if np.all(slight[:, j]):
                return
            step = _DIFFERENCE / self.priors[j].sd
            moved = z.copy()
            moved[j] += step
            benches = self.benches(moved)
            for i, o in enumerate(self.observations):
                if slight[i, j]:
                    continue
                if not self.watched[i]:
                    table[i, j] = 0.0
                    continue
                if o.kind != "time":
                    value = direct_value(benches, o)
                    table[i, j] = (math.log(value) - fitted[i]) / step if value < math.inf else 0.0
                    continue
                bench = benches[o.ambient_c]
                log_time = bench.log_time(float(fitted[i]), 6.0 * o.value)
                if math.isinf(log_time):
                    x, _ = bench.current_at(o.value, float(fitted[i]) + 0.01)
                    table[i, j] = (x - fitted[i]) / step
                else:
                    change = log_time - float(log_times[i])
                    table[i, j] = -change / self.slopes[i] / step

        each(column, len(z), self.threads)
        self.last = table.copy()
        return table


def settle(problem: Problem, start: Floats | None = None) -> Settled:
    """Levenberg-Marquardt with Broyden updates from the centres, or from given scores.

    Where a bridge begins to part before a molten length does, the curve has a bend against
    the lengths of the element; a mode on such a bend never fulfils what its slope promises,
    so two poor steps in a row from a fresh Jacobian end the search as well. A mode that
    breaks a limit is no mode: the search goes on with that limit watched.
    """
    z = np.zeros(len(problem.priors)) if start is None else start
    fitted = problem.fitted(z)
    table, fresh, damping, poor = problem.jacobian(z, fitted), True, 0.0, 0
    for _ in range(ROUNDS):
        residual = problem.residual(fitted, z)
        cost = float(residual @ residual)
        scaled = problem.steering(table, fitted)
        normal = scaled.T @ scaled + np.eye(len(z))
        gradient = scaled.T @ residual[: len(fitted)] + z
        promised = float(gradient @ np.linalg.solve(normal, gradient))
        if fresh and (promised < _SETTLED * (1.0 + cost) or poor == 2):
            if not problem.watch(z):
                return Settled(z, fitted, table, True)
            fitted, problem.last, poor = problem.fitted(z), None, 0
            table = problem.jacobian(z, fitted)
            continue
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
        step *= min(1.0, 2.0 / float(np.max(np.abs(step)) + 1e-30))
        saved = problem.guesses.copy(), problem.slopes.copy()
        tried = problem.fitted(z + step, fitted + table @ step)
        new = problem.residual(tried, z + step)
        gain = cost - float(new @ new)
        if fresh:
            poor = poor + 1 if gain < _SETTLED * (1.0 + cost) else 0
        if gain > 0.0:
            table = table + np.outer(tried - fitted - table @ step, step) / float(step @ step)
            z, fitted, fresh = z + step, tried, False
            damping = 0.3 * damping if damping > 1e-3 else 0.0
            if gain < 10.0 * _SETTLED * (1.0 + cost):
                table, fresh = problem.jacobian(z, fitted), True
            continue
        problem.guesses, problem.slopes = saved
        if fresh:
            damping = max(10.0 * damping, 0.1)
        else:
            table, fresh = problem.jacobian(z, fitted), True
    problem.watch(z)
    fitted = problem.fitted(z)
    return Settled(z, fitted, problem.jacobian(z, fitted), False)
