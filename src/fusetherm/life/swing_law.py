"""How many cycles of a temperature swing an element bears, and the sum of what it has borne.

    N = N* (dT / dT*)^(-c) (f / f*)^m exp[B (1 / T_peak - 1 / T*)]

The last two factors, of hold and of peak, are options and stand at 1 unless asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from .rainflow import Cycles

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SwingLaw:
    """Cycles to failure against temperature swing.

    Parameters
    ----------
    pivot_cycles : float
        Cycles N* at the pivot swing [-].
    pivot_swing : float
        Pivot swing dT* [K].
    exponent : float
        Exponent c [-].
    peak_activation : float
        B, for the effect of the peak temperature [K]; 0 leaves it out.
    pivot_peak : float
        Peak temperature T* at which that effect is 1 [K].
    frequency_exponent : float
        m, for the effect of the time held: slow cycles hurt more [-]; 0 leaves it out.
    pivot_frequency : float
        Frequency f* at which that effect is 1 [1/s].
    """

    pivot_cycles: float
    pivot_swing: float
    exponent: float
    peak_activation: float = 0.0
    pivot_peak: float = 373.15
    frequency_exponent: float = 0.0
    pivot_frequency: float = 1.0

    def __post_init__(self) -> None:
        for name in ("pivot_cycles", "pivot_swing", "exponent", "pivot_peak", "pivot_frequency"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise InputError(
                    "not-positive",
                    f"{name.replace('_', ' ')} of the swing law is {value}",
                    expected="a number above 0",
                )

    def cycles(
        self,
        swing: npt.ArrayLike,
        *,
        peak_k: npt.ArrayLike | None = None,
        frequency: float | None = None,
    ) -> Floats:
        """Cycles to failure at a swing [-].

        Parameters
        ----------
        swing : array
            Temperature swing [K].
        peak_k : array, optional
            Peak temperature [K], for the effect of the peak.
        frequency : float, optional
            Cycles a second [1/s], for the effect of the time held.

        Returns
        -------
        array
            Infinite where the swing is 0.

        References
        ----------
        Form of all three factors: K. C. Norris and A. H. Landzberg, IBM J. Res. Dev. 13 (1969)
        266, from memory.

        Examples
        --------
        >>> float(SwingLaw(pivot_cycles=1000, pivot_swing=100, exponent=5).cycles(50))
        32000.0
        """
        with np.errstate(divide="ignore"):
            ratio = np.asarray(swing, dtype=np.float64) / self.pivot_swing
            n = self.pivot_cycles * ratio**-self.exponent
        if self.peak_activation != 0.0 and peak_k is not None:
            over = 1.0 / np.asarray(peak_k, dtype=np.float64) - 1.0 / self.pivot_peak
            n = n * np.exp(self.peak_activation * over)
        if self.frequency_exponent != 0.0 and frequency is not None:
            n = n * (frequency / self.pivot_frequency) ** self.frequency_exponent
        result: Floats = np.asarray(n, dtype=np.float64)
        return result

    def damage(self, cycles: Cycles, *, frequency: float | None = None) -> Floats:
        """Share of life each counted cycle of a history in kelvin takes, see `miner_sum` [-]."""
        n = self.cycles(cycles.range, peak_k=cycles.highest, frequency=frequency)
        shares: Floats = cycles.count / n
        return shares

    def with_exponent(self, exponent: float) -> SwingLaw:
        """The same law turned about its pivot."""
        return replace(self, exponent=exponent)


def miner_sum(law: SwingLaw, cycles: Cycles, *, frequency: float | None = None) -> float:
    """Sum of n_i / N_i over counted cycles [-]; life ends at 1.

    References
    ----------
    M. A. Miner, J. Appl. Mech. 12 (1945) A159, from memory. The order of cycles counts nothing
    in it, which is its known weakness.
    """
    return float(np.sum(law.damage(cycles, frequency=frequency)))


def equivalent_swing(cycles: Cycles, exponent: float, count: float) -> float:
    """Swing of ``count`` equal cycles that do the same damage [K]."""
    return float((np.sum(cycles.count * cycles.range**exponent) / count) ** (1.0 / exponent))
