"""The search for the posterior mode: residuals, their Jacobian, Levenberg-Marquardt."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..errors import CalibrationError, SolveError
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
#: A Jacobian taken this far away and updated since is as good as one taken here: of the longest
#: component of the step, in prior standard deviations.
_NEAR = 0.5
#: Descents beyond the first at most, and the spread of their starts about the centres.
MORE_STARTS, _NEAR_CENTRES = 2, 0.7
#: Standard deviations of its chi square that a cost may lie above its expectation, and the
#: share of a cost within which two ends are the same; a cost so many times above that is the
#: data's.
_PLAUSIBLE, _ALIKE, _HOPELESS = 2.0, 0.05, 5.0


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
        return self.benches_of(self.model(z), every)

    def benches_of(self, model: FuseModel, every: bool = False) -> dict[float, Bench]:
        """The same of a model."""
        wanted = zip(self.observations, self.watched, strict=True)
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

    def cost(self, fitted: Floats, z: Floats) -> float:
        """Sum of the squares of the residuals."""
        residual = self.residual(fitted, z)
        return float(residual @ residual)

    @property
    def plausible(self) -> float:
        """Cost above which an end is not believed at first."""
        count = sum(not o.bound for o in self.observations)
        return count + _PLAUSIBLE * math.sqrt(2.0 * count)

    def again(self) -> Problem:
        """The same problem before its first step, with the limits it watches."""
        fresh = Problem.of(self.definition, self.family, self.priors, self.observations, self.cells)
        fresh.watched |= self.watched
        return fresh

    def take(self, other: Problem) -> None:
        """Go on where another search of the same problem ended."""
        self.guesses, self.slopes, self.weights = other.guesses, other.slopes, other.weights
        self.watched, self.last = other.watched, other.last

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
        log_times = self.curve_here(z, fitted)
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
            wanted = ~slight[:, j]
            table[wanted, j] = self.changes(self.model(moved), fitted, log_times, wanted) / step

        each(column, len(z), self.threads)
        self.last = table.copy()
        return table

    def curve_here(self, z: Floats, fitted: Floats) -> Floats:
        """ln of the times at the fitted currents; renews the slopes there, and the weights."""
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
        return log_times

    def changes(self, model: FuseModel, fitted: Floats, log_times: Floats, wanted: Flags) -> Floats:
        """What another model near by adds to the fitted values that are wanted and watched."""
        benches = self.benches_of(model)
        found = np.zeros(len(self.observations))
        for i, o in enumerate(self.observations):
            if not (wanted[i] and self.watched[i]):
                continue
            if o.kind != "time":
                value = direct_value(benches, o)
                found[i] = math.log(value) - fitted[i] if value < math.inf else 0.0
                continue
            bench = benches[o.ambient_c]
            log_time = bench.log_time(float(fitted[i]), 6.0 * o.value)
            if math.isinf(log_time):
                found[i] = bench.current_at(o.value, float(fitted[i]) + 0.01)[0] - fitted[i]
            else:
                found[i] = -(log_time - float(log_times[i])) / self.slopes[i]
        return found[wanted]


def settle(problem: Problem, start: Floats | None = None) -> Settled:
    """The mode of a problem: a descent, and others where its end is not plausible.

    Parameters
    ----------
    problem : Problem
        Ends with the currents and weights of the mode.
    start : (p,) array, optional
        Scores to begin from; by default the centres of the priors, which also take the place of
        a start that meets the data worse than they do.

    Returns
    -------
    Settled

    Notes
    -----
    The cost of a mode is about a chi square of as many degrees of freedom as there are numbers
    published. Beyond `_PLAUSIBLE` standard deviations above that, the descent is taken to have
    ended in a mode of its own, or at a bend of the curve: it is repeated from the centres and
    from starts drawn from the priors. Two that end alike are believed, and so is a cost of more
    than `_HOPELESS` times that: no start meets numbers that contradict each other.
    """
    centres = np.zeros(len(problem.priors))
    starts = [centres] if start is None else _better_first(problem, start, centres)
    rng = np.random.default_rng(len(centres))
    starts += [_NEAR_CENTRES * rng.standard_normal(len(centres)) for _ in range(MORE_STARTS)]
    best: Problem = problem
    mode, least = None, math.inf
    for z in starts[: 1 + MORE_STARTS]:
        trial = problem.again()
        try:
            found = _descent(trial, z)
        except (CalibrationError, SolveError):
            if mode is None and z is starts[MORE_STARTS]:
                raise
            continue
        cost = trial.cost(found.fitted, found.z)
        alike = abs(cost - least) < _ALIKE * least
        if mode is None or cost < least:
            best, mode, least = trial, found, cost
        if alike or not problem.plausible < least < _HOPELESS * problem.plausible:
            break
    assert mode is not None
    problem.take(best)
    return mode


def _better_first(problem: Problem, start: Floats, centres: Floats) -> list[Floats]:
    """A start and the centres, those first that meet the data better."""
    costs = []
    for z in (start, centres):
        trial = problem.again()
        try:
            costs.append(trial.cost(trial.fitted(z), z))
        except (CalibrationError, SolveError):
            costs.append(math.inf)
    return [start, centres] if costs[0] < costs[1] else [centres, start]


def _descent(problem: Problem, z: Floats) -> Settled:
    """Levenberg-Marquardt with Broyden updates from given scores.

    A step that fails is tried again shorter until what it promises is slight: failing costs
    little beside a new Jacobian. Where a bridge begins to part before a molten length does, the
    curve has a bend against the lengths of the element; a mode on such a bend never fulfils what
    its slope promises, so two gains in a row that are slight, from a fresh Jacobian, end the
    search as well. A mode that breaks a limit is no mode: the search goes on with that limit
    watched. Steps are shortened in all scores alike (Levenberg): those the data do not know are
    the first to stay. Where the numbers contradict each other, three failures in a row are enough.
    """
    fitted = problem.fitted(z)
    table, fresh, near, damping, poor = problem.jacobian(z, fitted), True, True, 0.0, 0
    stale, failed, hopeless = False, 0, _HOPELESS * problem.plausible
    for _ in range(ROUNDS):
        residual = problem.residual(fitted, z)
        cost = float(residual @ residual)
        slight = _SETTLED * (1.0 + cost)
        scaled = problem.steering(table, fitted)
        normal = scaled.T @ scaled + np.eye(len(z))
        gradient = scaled.T @ residual[: len(fitted)] + z
        step = -np.linalg.solve(normal + damping * np.eye(len(z)), gradient)
        step *= min(1.0, 2.0 / float(np.max(np.abs(step)) + 1e-30))
        promised = -float(step @ (2.0 * gradient + normal @ step))
        if near and (promised < slight or poor == 2 or (failed == 3 and cost > hopeless)):
            if not problem.watch(z):
                return Settled(z, fitted, table, True)
            fitted, problem.last, poor, failed = problem.fitted(z), None, 0, 0
            table, fresh, near = problem.jacobian(z, fitted), True, True
            continue
        if not fresh and (stale or promised < slight):
            table, fresh, near = problem.jacobian(z, fitted), True, True
            continue
        saved = problem.guesses.copy(), problem.slopes.copy()
        tried = problem.fitted(z + step, fitted + table @ step)
        gain = cost - problem.cost(tried, z + step)
        if gain > 0.0:
            if fresh:
                poor = poor + 1 if gain < slight else 0
            table = table + np.outer(tried - fitted - table @ step, step) / float(step @ step)
            z, fitted = z + step, tried
            near, fresh = fresh and float(np.max(np.abs(step))) < _NEAR, False
            stale = gain < 10.0 * slight
            damping, failed = (0.3 * damping if damping > 0.03 else 0.0), 0
            continue
        problem.guesses, problem.slopes = saved
        if fresh:
            damping, failed = max(10.0 * damping, 1.0), failed + 1
        else:
            table, fresh, near = problem.jacobian(z, fitted), True, True
    problem.watch(z)
    fitted = problem.fitted(z)
    return Settled(z, fitted, problem.jacobian(z, fitted), False)
