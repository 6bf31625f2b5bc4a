"""Draws of a fit: other fuses that meet what is published as well, within its noise.

Randomised maximum a posteriori: what is published and the centres of the priors are moved by
their own spreads, the nuisances are drawn, and the quantities of the family are fitted anew.
For a linear model these draws are the posterior's; for ours they follow its bends.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import CalibrationError, SolveError
from ..threads import each
from .nuisances import SCORES
from .search import Problem, Settled

Floats = npt.NDArray[np.float64]

#: Draws of a calibration unless another number is asked for. Their spread is known to
#: 1 / sqrt(2 n), 13 %; a band widens by what that leaves open (Student's t).
DRAWS = 32
#: Steps of a draw's fit at most, and the gain in cost that counts as none: seven tenths of a
#: standard deviation of one number published; where the fit misses its numbers, of the noise that
#: has grown by as much.
_ROUNDS, _SETTLED = 10, 0.5
#: Shortest step that tells more of the Jacobian than the searches for currents blur: of its
#: longest component, in prior standard deviations.
_TELLING = 0.25
#: Last step of the searches for currents in a draw [ln A]: one run finds most of them, to a
#: tenth of the step.
_AGREEMENT = 5e-3


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of a calibration.

    Attributes
    ----------
    scores : (n, p) array
        Fitted quantities, in prior standard deviations from their centres.
    nuisances : (n, m) array
        Scores of the nuisances (`fusetherm.calibration.nuisances`).
    seed : int
        Of the random numbers.
    """

    scores: Floats
    nuisances: Floats
    seed: int

    @property
    def count(self) -> int:
        """Number of draws."""
        return len(self.scores)


def seed_of(inputs: dict[str, Any]) -> int:
    """Seed from the inputs of a fit, so that the same question has the same answer."""
    text = json.dumps(inputs, sort_keys=True)
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:4], "big")


@dataclass(frozen=True)
class Posterior:
    """Where a fit ended, from which draws are made when they are first asked for.

    Attributes
    ----------
    problem, mode : Problem, Settled
        The fit's.
    seed : int
        Of its draws.
    """

    problem: Problem
    mode: Settled
    seed: int

    @cached_property
    def draws(self) -> Draws:
        """`DRAWS` draws."""
        return drawn(self.problem, self.mode, DRAWS, self.seed)


def drawn(problem: Problem, mode: Settled, count: int, seed: int) -> Draws:
    """Draws about the mode of a problem.

    Parameters
    ----------
    problem : Problem
        With the weights of its mode.
    mode : Settled
        Its mode.
    count : int
        Number of draws.
    seed : int
        Of the random numbers; draw k depends on the seed and on k alone.

    Returns
    -------
    Draws
        Fewer than asked where a draw has no steady branch to fit on.

    Notes
    -----
    Gauss-Newton from the mode with its Jacobian, updated by Broyden's rule: a draw lies within a
    few spreads of it. A step that gains nothing is tried once more, damped.
    Where the mode misses what is published by more than its noise, the noise of the draws
    grows by as much (the ratio of Birge, Phys. Rev. 40 (1932) 207, from memory).
    """
    steering = problem.steering(mode.table, mode.fitted)
    prior = np.eye(len(mode.z))
    misfit = problem.off(mode.fitted) * problem.weights
    hat = steering @ np.linalg.solve(steering.T @ steering + prior, steering.T)
    known = len(misfit) - float(np.trace(hat))
    swell = max(1.0, math.sqrt(float(misfit @ misfit) / max(known, 1.0)))

    slight = _SETTLED * swell**2

    def one(k: int) -> tuple[Floats, Floats] | None:
        rng = np.random.default_rng([seed, k])
        centre, nuisance = rng.standard_normal(len(mode.z)), rng.standard_normal(SCORES)
        noise = swell * rng.standard_normal(len(misfit))
        noise[[bool(o.bound) for o in problem.observations]] = 0.0
        apart = replace(
            problem,
            guesses=mode.fitted.copy(),
            slopes=problem.slopes.copy(),
            nuisances=nuisance,
            threads=1,
            agreement=_AGREEMENT * swell,
        )
        z, table, fitted = mode.z, mode.table, mode.fitted
        best, least, damping, failed = (z, fitted), math.inf, 0.0, 0
        try:
            for tries in range(_ROUNDS + 1):
                if tries:
                    off = apart.off(fitted) * apart.weights - noise
                    cost = float(off @ off + (z - centre) @ (z - centre))
                    gained, failed = least - cost > slight, failed + 1
                    if gained:
                        damping, failed = 0.3 * damping, 0
                    else:
                        damping = max(10.0 * damping, 0.3)
                    if cost < least:
                        best, least = (z, fitted), cost
                    z, fitted = best
                    if failed == 2 or tries == _ROUNDS:
                        break
                off = apart.off(fitted) * apart.weights - noise
                steering = apart.steering(table, fitted)
                gradient = steering.T @ off + z - centre
                normal = steering.T @ steering + prior
                step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
                step *= min(1.0, 2.0 / float(np.max(np.abs(step)) + 1e-30))
                z = z + step
                if tries and -float(step @ gradient) < slight:
                    break
                expected = fitted + table @ step
                fitted = apart.fitted(z, expected)
                if float(np.max(np.abs(step))) > _TELLING:
                    table = table + np.outer(fitted - expected, step) / float(step @ step)
        except (CalibrationError, SolveError):
            return None
        return z, nuisance

    found = [draw for draw in each(one, count) if draw is not None]
    return Draws(
        np.array([z for z, _ in found]).reshape(-1, len(mode.z)),
        np.array([nuisance for _, nuisance in found]).reshape(-1, SCORES),
        seed,
    )
