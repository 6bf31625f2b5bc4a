"""What is known of a swing law: from pulse tests, or from a wide generic band alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from .scatter import Weibull

Floats = npt.NDArray[np.float64]

#: Exponents thought possible: fuse elements in the open literature lie about 4 to 9, plastic
#: strain of ductile metals gives about 2 (Coffin and Manson, both from memory); all alike.
EXPONENTS = (2.0, 9.0)
#: Pivot without tests: cycles at a swing [K], spread of its logarithm. A strip of some 30e-6/K
#: held at both ends strains by .3 % in 100 K, which the universal slopes of Manson give some
#: 5e4 cycles (from memory); a factor of ten either way is an own estimate.
GENERIC_CYCLES, GENERIC_SWING, GENERIC_SD = 5e4, 100.0, math.log(10.0)
#: Spread of ln life of one test about the law (own estimate).
TEST_SD = 0.5
#: Weibull shape from unit to unit (own estimate, to the wide side).
SHAPE = 2.0
#: Samples of what is known.
SAMPLES = 1000


@dataclass(frozen=True, slots=True)
class Knowledge:
    """Samples of laws that may hold, all equally likely.

    Attributes
    ----------
    exponent : (s,) array
        Exponent [-].
    ln_cycles : (s,) array
        ln of the cycles at the pivot swing.
    pivot_swing : float
        Pivot swing [K].
    tests : int
        Pulse tests behind it.
    scatter : Weibull
        Scatter from unit to unit.
    """

    exponent: Floats
    ln_cycles: Floats
    pivot_swing: float
    tests: int
    scatter: Weibull

    @property
    def median_exponent(self) -> float:
        """Median of the exponents [-]."""
        return float(np.median(self.exponent))

    @property
    def median_cycles(self) -> float:
        """Median of the cycles at the pivot swing [-]."""
        return math.exp(float(np.median(self.ln_cycles)))


def _normal(rng: np.random.Generator) -> Floats:
    """Standard normal samples in the middle of equal shares, shuffled: even, not random."""
    return normal_quantiles((rng.permutation(SAMPLES) + 0.5) / SAMPLES)


def normal_quantiles(shares: Floats) -> Floats:
    """Standard normal quantiles of shares [-]."""
    from scipy.special import ndtri

    return np.asarray(ndtri(shares), dtype=np.float64)


def knowledge(
    swings: npt.ArrayLike = (), cycles: npt.ArrayLike = (), *, seed: int = 0
) -> Knowledge:
    """Laws that pulse tests leave possible; without tests the generic band.

    Parameters
    ----------
    swings : (t,) array
        Temperature swing of each test [K].
    cycles : (t,) array
        Pulses borne in it [-].
    seed : int
        Of the random numbers.

    Returns
    -------
    Knowledge

    Notes
    -----
    Exponents are drawn evenly from `EXPONENTS` and kept with the likelihood of the tests about
    their best pivot, each with a spread `TEST_SD` of ln life.
    """
    swing, count = np.asarray(swings, dtype=np.float64), np.asarray(cycles, dtype=np.float64)
    if swing.shape != count.shape or np.any(~(swing > 0.0)) or np.any(~(count > 0.0)):
        raise InputError(
            "not-positive",
            "a swing or a count of the pulse tests is not above zero",
            expected="as many swings as counts, all above 0",
        )
    rng = np.random.default_rng(seed)
    scatter = Weibull(SHAPE)
    low, high = EXPONENTS
    if swing.size == 0:
        c = low + (high - low) * (rng.permutation(SAMPLES) + 0.5) / SAMPLES
        ln_n = math.log(GENERIC_CYCLES) + GENERIC_SD * _normal(rng)
        return Knowledge(c, ln_n, GENERIC_SWING, 0, scatter)
    pivot = math.exp(float(np.mean(np.log(swing))))
    trial = low + (high - low) * (np.arange(4096) + 0.5) / 4096
    about = np.log(count) + trial[:, None] * np.log(swing / pivot)
    best = about.mean(axis=1)
    misfit = np.sum((about - best[:, None]) ** 2, axis=1) / TEST_SD**2
    weight = np.exp(-0.5 * (misfit - misfit.min()))
    taken = rng.choice(trial.size, SAMPLES, p=weight / weight.sum())
    spread = TEST_SD / math.sqrt(swing.size) * _normal(rng)
    return Knowledge(trial[taken], best[taken] + spread, pivot, int(swing.size), scatter)
