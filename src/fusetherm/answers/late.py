"""The latest that a fuse opens: its own 99 % edge, and what the class it is sold under allows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..calibration.band import QUANTILE_90
from ..calibration.unit_spread import UNIT_SPREAD
from ..errors import InputError
from ..fuse.gates import GateTable
from ..written import number
from .curve import TimeCurrentCurve

Floats = npt.NDArray[np.float64]

#: One unit in a hundred lies beyond an edge: its standard normal quantile.
EDGE_QUANTILE = 2.3263478740408408
#: Below this time the arc is a part of the heat that counts [s] (common practice, no source).
ARC_COUNTS = 0.1


def late_factors(curve: TimeCurrentCurve) -> Floats:
    """Current of the late edge over that of the median, at each of a curve's currents [-].

    Of a bare model, which has no band, units differ by `UNIT_SPREAD` in current.
    """
    high = curve.band_high[0]
    bare = bool(np.all(high == 1.0))
    sd = np.full(high.shape, UNIT_SPREAD) if bare else np.log(high) / QUANTILE_90
    factors: Floats = np.exp(EDGE_QUANTILE * sd)
    return factors


@dataclass(frozen=True, slots=True)
class LateCurve:
    """Time by which 99 % of the units have parted, against constant current from cold.

    Attributes
    ----------
    current, time : (n,) array
        [A], [s]; rising and falling.
    least : float
        Current below which the latest of them may never part [A].
    """

    current: Floats
    time: Floats
    least: float

    @classmethod
    def of(cls, curve: TimeCurrentCurve) -> LateCurve:
        """The late edge of a curve at its first ambient."""
        there = np.isfinite(curve.pre_arcing_time[0])
        current = np.maximum.accumulate((curve.current * late_factors(curve))[there])
        time = np.minimum.accumulate(curve.pre_arcing_time[0][there])
        # of the points at one current, which a band that narrows makes, the latest stays
        _, first = np.unique(current, return_index=True)
        return cls(current[first], time[first], float(current[0]))

    def at(self, current: float) -> float:
        """Time at a current [s]; infinite where the latest unit may never part.

        Beyond the last point the Joule integral stays that of the last, which more current
        only lessens.
        """
        if current < self.least:
            return math.inf
        if current >= self.current[-1]:
            return float(self.time[-1] * (self.current[-1] / current) ** 2)
        return math.exp(
            float(np.interp(math.log(current), np.log(self.current), np.log(self.time)))
        )


@dataclass(frozen=True, slots=True)
class ClassCurve:
    """Time by which any fuse of a class has opened, whoever made it.

    Attributes
    ----------
    points : tuple of (float, float)
        Currents [A] and the longest times allowed there [s].
    names : tuple of str
        The tables.
    """

    points: tuple[tuple[float, float], ...]
    names: tuple[str, ...]

    @classmethod
    def of(
        cls, tables: tuple[GateTable, ...], rated_current: float, colder: float
    ) -> ClassCurve | None:
        """The gates of a fuse's tables, moved to a colder place.

        Parameters
        ----------
        tables : tuple of GateTable
        rated_current : float
            [A].
        colder : float
            Minimum fusing current of the fitted fuse at its ambient over that at 23 degC, at
            which gates are set; it is not taken below 1 [-].
        """
        points = tuple(
            (gate.multiple * rated_current * max(colder, 1.0), gate.max_time)
            for table in tables
            if table.applies(rated_current)
            for gate in table.gates
            if math.isfinite(gate.max_time)
        )
        used = tuple(table.name for table in tables if table.applies(rated_current))
        return cls(points, used) if points else None

    @property
    def least(self) -> float:
        """Current below which the class allows a fuse never to open [A]."""
        return min(current for current, _ in self.points)

    def at(self, current: float) -> float:
        """Longest time at a current [s].

        Notes
        -----
        At more current a fuse melts with less I²t (of each ampere squared second less is
        lost), so a limit ``t`` at ``I`` is one of ``t (I/I')²`` at any current I' above it.
        """
        return min(
            (time * (at / current) ** 2 for at, time in self.points if at <= current),
            default=math.inf,
        )


@dataclass(frozen=True, slots=True)
class Arc:
    """How the arc after the melting is counted where it matters.

    Parameters
    ----------
    operating_i2t : float, optional
        Largest published operating I²t [A²s].
    allowance : float, optional
        Operating over pre-arcing I²t, 1 or more [-].

    Raises
    ------
    InputError
        ``arcing-allowance``, ``not-positive``.
    """

    operating_i2t: float | None = None
    allowance: float | None = None

    def __post_init__(self) -> None:
        if self.allowance is not None and not 1.0 <= self.allowance < math.inf:
            raise InputError(
                "arcing-allowance",
                f"an allowance of {number(self.allowance)} for the arc",
                expected="operating over pre-arcing I²t, 1 or more",
            )
        if self.operating_i2t is not None and not 0.0 < self.operating_i2t < math.inf:
            raise InputError(
                "not-positive", f"operating_i2t is {self.operating_i2t}", expected="above zero"
            )

    @property
    def stated(self) -> bool:
        """Whether anything is known of it."""
        return self.operating_i2t is not None or self.allowance is not None

    def cleared(self, current: float, parted: float) -> float:
        """Time after which as much I²t has passed as until clearing [s].

        An operating I²t counts below `ARC_COUNTS`. An allowance counts there on the whole of
        the pre-arcing I²t, and above on that of `ARC_COUNTS`, so that nothing jumps.
        """
        if self.operating_i2t is not None and parted < ARC_COUNTS:
            return max(parted, self.operating_i2t / current**2)
        return parted + ((self.allowance or 1.0) - 1.0) * min(parted, ARC_COUNTS)
