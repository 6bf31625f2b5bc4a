"""What all curve models answer, and the points they are fitted to."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ...current.waveform import Waveform
from ...errors import CalibrationError, InputError
from ...fuse.consistency import MINIMUM_POINTS
from ...fuse.definition import Definition
from ...units import ZERO_CELSIUS_K, kelvin
from ...written import number
from ..observations import Observation, observations_of

Floats = npt.NDArray[np.float64]

#: Points nearer than this in ln current say nothing of the slope between them.
_APART = 0.05
#: Slope d ln t / d ln I of melting without loss; a curve is nowhere flatter.
_ADIABATIC_SLOPE = -2.0


@dataclass(frozen=True, slots=True)
class Quantity:
    """One fitted quantity of a curve model: its name, unit (SI) and value."""

    name: str
    unit: str
    value: float


class CurveModel(ABC):
    """Pre-arcing time against current, at any ambient, and what follows for a waveform.

    An ambient that is left out is that of the fitted curve.
    """

    name: str
    ambient_c: float

    @property
    @abstractmethod
    def quantities(self) -> tuple[Quantity, ...]:
        """Fitted quantities."""

    @property
    @abstractmethod
    def parameter_count(self) -> float:
        """Number of parameters the data determined [-]; no whole number beside priors."""

    @abstractmethod
    def minimum_fusing_current(self, ambient_c: float | None = None) -> float:
        """Current below which the element never parts [A]; 0 where the model has none."""

    @abstractmethod
    def current_at(self, time: float, ambient_c: float | None = None) -> float:
        """Constant current that parts the element at a time [A].

        Parameters
        ----------
        time : float
            Pre-arcing time [s].
        ambient_c : float, optional
            Ambient [degC].
        """

    @abstractmethod
    def time_at(self, current: float, ambient_c: float | None = None) -> float:
        """Pre-arcing time at a constant current [s]; inf where it never parts.

        Parameters
        ----------
        current : float
            [A].
        ambient_c : float, optional
            Ambient [degC].
        """

    @abstractmethod
    def current_factor(self, waveform: Waveform, ambient_c: float | None = None) -> float:
        """Factor on a waveform at which it just parts the element, from cold [-].

        Parameters
        ----------
        waveform : Waveform
            Current [A] against time [s]; zero after its end.
        ambient_c : float, optional
            Ambient [degC].
        """


@dataclass(frozen=True)
class CurvePoints:
    """Times of a definition with their spread in current: what every curve model is fitted to.

    Attributes
    ----------
    definition : Definition
        What is published, less all that is no time: drops, rises, limits, gates.
    observations : tuple of Observation
        One a point of the curve with a time, then one a melting I²t.
    """

    definition: Definition
    observations: tuple[Observation, ...]

    @classmethod
    def of(cls, definition: Definition) -> CurvePoints:
        """Points of a definition.

        Raises
        ------
        CalibrationError
            ``too-few-observations``.
        """
        curve = definition.curve
        if curve is not None:
            usable = tuple(
                p
                for p in curve.points
                if p.time is not None or (p.min_time is not None and p.max_time is not None)
            )
            curve = replace(curve, points=usable)
        bare = replace(
            definition,
            curve=curve,
            voltage_drops=(),
            terminal_rises=(),
            holds=(),
            gates=(),
            minimum_fusing=None,
            re_rating=None,
        )
        points = cls(bare, observations_of(bare))
        points.require(MINIMUM_POINTS)
        return points

    def require(self, least: int, what: str = "") -> None:
        """Refuse fewer points than a question needs."""
        if len(self) < least:
            raise CalibrationError(
                "too-few-observations",
                f"{self.definition.id}: times at {len(self)} currents{what}",
                expected=f"times at {least} currents or more",
                mend="add points of the published curve",
            )

    def __len__(self) -> int:
        return len(self.observations)

    @cached_property
    def log_current(self) -> Floats:
        """ln current [ln A], shape (n,)."""
        return np.log([o.current for o in self.observations])

    @cached_property
    def time(self) -> Floats:
        """Pre-arcing time [s], shape (n,)."""
        return np.array([o.value for o in self.observations], dtype=np.float64)

    @property
    def ambient_c(self) -> float:
        """Ambient of the curve [degC]."""
        return self.observations[0].ambient_c

    @cached_property
    def spread(self) -> Floats:
        """Standard deviation of ln current at the given time [-], shape (n,).

        The noise in time over the slope of the curve, beside the noise in current. The slope
        is taken between neighbours, so that it is the same for all models.
        """
        x, y = self.log_current, np.log(self.time)
        out = np.empty(len(x))
        for i, o in enumerate(self.observations):
            below, above = np.flatnonzero(x < x[i] - _APART), np.flatnonzero(x > x[i] + _APART)
            a = below[np.argmax(x[below])] if len(below) else i
            b = above[np.argmin(x[above])] if len(above) else i
            slope = (y[b] - y[a]) / (x[b] - x[a]) if a != b else _ADIABATIC_SLOPE
            out[i] = math.hypot(o.current_noise, o.noise / min(slope, _ADIABATIC_SLOPE))
        return out

    def without(self, left_out: set[int]) -> CurvePoints:
        """The points less some of them, by their places."""
        kept = [i for i in range(len(self)) if i not in left_out]
        curve = self.definition.curve
        count = 0 if curve is None else len(curve.points)
        if curve is not None:
            curve = replace(curve, points=tuple(curve.points[i] for i in kept if i < count))
        integrals = self.definition.melting_integrals
        bare = replace(
            self.definition,
            curve=curve,
            melting_integrals=tuple(integrals[i - count] for i in kept if i >= count),
        )
        return CurvePoints(bare, tuple(self.observations[i] for i in kept))


def rise_ratio(melting_c: float, ambient_c: float | None, reference_c: float) -> float:
    """Rise to the melting point from an ambient, over that from the ambient of the curve [-].

    Raises
    ------
    InputError
        ``ambient-above-melting``, or what `kelvin` raises.
    """
    if ambient_c is None:
        return 1.0
    if kelvin(ambient_c, "ambient") >= melting_c + ZERO_CELSIUS_K:
        raise InputError(
            "ambient-above-melting",
            f"ambient is {number(ambient_c, 6)} °C, and the element melts at "
            f"{number(melting_c, 4)} °C",
            expected="an ambient at which the element is solid",
            mend="check the ambient: degrees Celsius",
        )
    return (melting_c - ambient_c) / (melting_c - reference_c)


def corrected_information(chi_squared: float, count: float, points: int) -> float:
    """AICc for known spreads: chi² + 2k + 2k(k + 1)/(n - k - 1); inf without room for it.

    References
    ----------
    Hurvich and Tsai, Biometrika 76 (1989) 297 (from memory).
    """
    room = points - count - 1.0
    if room <= 0.0:
        return math.inf
    return chi_squared + 2.0 * count + 2.0 * count * (count + 1.0) / room
