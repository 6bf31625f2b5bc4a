"""The band of an answer: where one unit lies, from draws of the fit and from unit to unit.

A band belongs to a question. The question is asked of the fitted model, of each draw and of
the model of a unit that is thicker, wider at the notch or looser in its heat by one standard
deviation; what the answers differ by makes the band, and the parts keep their names.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from ..fuse.model import FuseModel
from ..threads import each

Floats = npt.NDArray[np.float64]
Ask = Callable[[FuseModel], float]

#: Standard normal quantile of a two-sided 90 % band.
QUANTILE_90 = 1.6448536269514722
#: Two-sided level of a band.
LEVEL = 0.9
#: One-sided confidence in what is not known, where a share of the units is told by itself.
CONFIDENCE = 0.95
#: Names of the sources: from one unit to the next, which more knowledge does not lessen, and
#: what the data leave open of the median unit.
UNIT, FIT = "unit to unit", "fit"


@dataclass(frozen=True, slots=True)
class Band:
    """Spread of a positive answer, log-normal.

    Attributes
    ----------
    sd : float
        Standard deviation of the logarithm [-].
    level : float
        Two-sided level of `low` and `high` [-].
    shares : tuple of (str, float)
        Share of each source in the variance [-].
    """

    sd: float
    level: float
    shares: tuple[tuple[str, float], ...]

    @property
    def low(self) -> float:
        """Factor on the median at the lower edge [-]."""
        return math.exp(-QUANTILE_90 * self.sd)

    @property
    def high(self) -> float:
        """Factor on the median at the upper edge [-]."""
        return math.exp(QUANTILE_90 * self.sd)

    @property
    def unit_sd(self) -> float:
        """Standard deviation of the logarithm from one unit to the next [-]."""
        return self.sd * math.sqrt(dict(self.shares).get(UNIT, 0.0))

    @property
    def known_sd(self) -> float:
        """Standard deviation of the logarithm that more knowledge would lessen [-]."""
        return self.sd * math.sqrt(sum(share for name, share in self.shares if name != UNIT))

    def widened(self, source: str, sd: float) -> Band:
        """The band with one more independent source [ln]."""
        if sd <= 0.0:
            return self
        parts = [(name, share * self.sd**2) for name, share in self.shares]
        return band_of([*parts, (source, sd**2)])


def band_of(variances: Sequence[tuple[str, float]]) -> Band:
    """Band of independent sources, each with its variance of the logarithm."""
    whole = sum(v for _, v in variances)
    if whole == 0.0:
        return Band(0.0, LEVEL, ())
    shares = tuple((name, v / whole) for name, v in variances if v > 0.0)
    return Band(math.sqrt(whole), LEVEL, shares)


def one_in_factor(
    unit_sd: Floats | float, known_sd: Floats | float, one_in: float, confidence: float
) -> Floats:
    """Factor between the median and what no more than one unit in so many lies beyond [-].

    Parameters
    ----------
    unit_sd, known_sd : float or array
        Standard deviations of the logarithm: of units, and of what is not known of their median.
    one_in : float
        Units of which no more than one may lie beyond.
    confidence : float
        Probability with which that is said [-].

    Notes
    -----
    ``exp(z(1 - 1/N) s + z(C) k)``: the population at its quantile, knowledge at its confidence.
    """
    normal = NormalDist()
    rare, sure = normal.inv_cdf(1.0 - 1.0 / one_in), normal.inv_cdf(confidence)
    return np.exp(rare * np.asarray(unit_sd) + sure * np.asarray(known_sd))


def swelling(count: int) -> float:
    """Factor on a standard deviation known from so many draws only, about a known centre [-].

    The 95 % quantile of Student's t over that of the normal law: with it a band of few draws
    holds as often as it says.
    """
    return student_quantile(0.5 * (1.0 + LEVEL), count) / QUANTILE_90


def student_quantile(share: float, freedom: int) -> float:
    """Quantile above the median of Student's t with a whole number of degrees of freedom [-].

    Parameters
    ----------
    share : float
        Probability below it, from .5 to less than 1.
    freedom : int
        Degrees of freedom, from 1.

    Notes
    -----
    The probability is a finite sum of powers of ``cos(theta)``, ``theta = atan(t / sqrt(n))``
    [1]_ (from memory), and rises with theta. Scipy's function takes longer to load than a short
    command to run.

    References
    ----------
    .. [1] M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.

    Examples
    --------
    >>> round(student_quantile(0.975, 10), 4)
    2.2281
    """
    low, high = 0.0, 0.5 * math.pi
    while low < (middle := 0.5 * (low + high)) < high:
        if _within(middle, freedom) < 2.0 * share - 1.0:
            low = middle
        else:
            high = middle
    return math.sqrt(freedom) * math.tan(high)


def _within(theta: float, freedom: int) -> float:
    """Probability that ``|t|`` is less than ``sqrt(n) tan(theta)``."""
    odd = freedom % 2
    square = math.cos(theta) ** 2
    term = math.cos(theta) if odd else 1.0
    total = term if freedom > 1 else 0.0
    for k in range(2 + odd, freedom - 1, 2):
        term *= square * (k - 1) / k
        total += term
    inside = math.sin(theta) * total
    return 2.0 / math.pi * (theta + inside) if odd else inside


def asked(
    ask: Ask, model: FuseModel, draws: Sequence[FuseModel], units: Sequence[FuseModel]
) -> Band:
    """Band of a question's answer.

    Parameters
    ----------
    ask : callable
        Gives a positive, finite answer for a model.
    model : FuseModel
        The fitted model.
    draws : sequence of FuseModel
        Draws of the fit.
    units : sequence of FuseModel
        Units that differ from it by one standard deviation in one respect each.

    Returns
    -------
    Band
        Sources `FIT` and `UNIT`.

    Notes
    -----
    Of the draws counts the mean square of ``ln(answer / that of the fitted model)``, so that
    draws which do not centre on it widen the band; of the units the sum of squares.
    """
    models = (model, *draws, *units)
    answers = np.log(each(lambda i: ask(models[i]), len(models)))
    off = answers[1:] - answers[0]
    return spread_of(off[: len(draws)], off[len(draws) :])


def spread_of(draws: Floats, units: Floats) -> Band:
    """Band of ln ratios of answers: of draws to the fitted model, and of units to it."""
    fit = 0.0 if draws.size == 0 else float(np.mean(draws**2)) * swelling(draws.size) ** 2
    return band_of([(UNIT, float(np.sum(units**2))), (FIT, fit)])
