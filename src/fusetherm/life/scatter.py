"""Scatter of life from unit to unit: Weibull about a median."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..errors import InputError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Weibull:
    """Life of units about their median, ``F(n) = 1 - exp[-ln 2 (n / median)^shape]``.

    Parameters
    ----------
    shape : float
        Weibull shape [-]; the larger, the less the scatter.
    """

    shape: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.shape) and self.shape > 0.0):
            raise InputError(
                "not-positive",
                f"shape of the scatter of life is {self.shape}",
                expected="a number above 0",
            )

    def factor(self, failed: npt.ArrayLike) -> Floats:
        """Life over median life by which a share of units has failed [-].

        Parameters
        ----------
        failed : array
            Share of units, between 0 and 1 [-]; .01 for B1, .1 for B10.

        Examples
        --------
        >>> round(float(Weibull(2.0).factor(0.1)), 4)
        0.3899
        """
        p = np.asarray(failed, dtype=np.float64)
        result: Floats = (-np.log1p(-p) / math.log(2.0)) ** (1.0 / self.shape)
        return result

    def failed(self, factor: npt.ArrayLike) -> Floats:
        """Share of units that has failed at a life over the median life [-]."""
        x = np.asarray(factor, dtype=np.float64)
        result: Floats = -np.expm1(-math.log(2.0) * x**self.shape)
        return result
