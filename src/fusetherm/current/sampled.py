"""Sampled waveforms: a current that is linear between breakpoints."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..errors import InputError
from ..units import magnitude, takes
from ..written import measure
from .blocks import Array, Block, linear_block
from .waveform import MAX_POINTS, Waveform, finite, positive

#: Current whose square, and that of its slopes, is still a float [A].
_MOST = 1e100


def frozen_array(values: ArrayLike, name: str, unit: str = "") -> Array:
    """A float64 array that nobody can write to; copied unless it already is one."""
    values = magnitude(values, unit, name) if unit else values
    if isinstance(values, np.ndarray) and values.dtype == np.float64 and values.ndim == 1:
        sole = values.base is None and values.flags.c_contiguous
        if sole and not values.flags.writeable:
            return values
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise InputError("not-numbers", f"{name}: {problem}", expected="numbers") from None
    if array.ndim != 1:
        raise InputError("not-one-row", f"{name} has shape {array.shape}", expected="a flat list")
    array.setflags(write=False)
    return array


@dataclass(frozen=True, eq=False, init=False)
class Sampled(Waveform):
    """A current linear between breakpoints [A]; a repeated time is a step.

    The currents given are kept as ``values``, since ``current(time)`` is the current at a time.

    Parameters
    ----------
    time : array, shape (n,)
        Breakpoints [s], or a quantity of time such as a TimedeltaIndex, n >= 2, from 0, not
        decreasing; a time may stand twice, not thrice.
    current : array, shape (n,)
        Current [A].

    Raises
    ------
    InputError
        When lengths differ, a value is not finite, or times do not start at 0 and increase.

    Notes
    -----
    Over a segment of length h from i0 to i1 the Joule integral is h (i0² + i0 i1 + i1²)/3.

    Examples
    --------
    >>> ramp = Sampled([0, 0.01], [20, 100])
    >>> ramp.charge()
    0.6
    """

    time: Array
    values: Array

    def __init__(self, time: ArrayLike, current: ArrayLike) -> None:
        object.__setattr__(self, "time", frozen_array(time, "time", "s"))
        object.__setattr__(self, "values", frozen_array(current, "current", "A"))
        self._check()

    def _check(self) -> None:
        time, current = self.time, self.values
        if time.size != current.size:
            raise InputError(
                "lengths-differ",
                f"{time.size} times and {current.size} currents",
                expected="one current for each time",
            )
        if time.size < 2:
            raise InputError("too-few-points", f"{time.size} points", expected="at least 2")
        for values, name in ((time, "time"), (current, "current")):
            if not np.isfinite(values).all():
                k = int(np.argmin(np.isfinite(values)))
                raise InputError(
                    "not-finite", f"{name}[{k}] is {values[k]}", expected="finite numbers"
                )
        if max(float(current.max()), -float(current.min())) > _MOST:
            raise InputError(
                "not-finite",
                f"a current of {measure(float(np.abs(current).max()), 'A')} cannot be squared",
                expected=f"currents of less than {measure(_MOST, 'A')}",
                mend="check the unit of the column and the ratio of the clamp",
            )
        if time[0] != 0.0:
            raise InputError(
                "time-not-from-zero",
                f"first time is {time[0]:g} s",
                expected="times from 0",
                mend=f"subtract {time[0]:g} from all times",
            )
        h = np.diff(time)
        if h.min() < 0.0:
            k = int(np.argmax(h < 0.0))
            raise InputError(
                "time-not-increasing",
                f"time[{k + 1}] = {time[k + 1]:g} s after time[{k}] = {time[k]:g} s",
                expected="times that do not go back",
            )
        if time[-1] == 0.0:
            raise InputError("not-positive", "all times are 0", expected="a duration above zero")
        standing = h == 0.0
        if (standing[1:] & standing[:-1]).any():
            k = int(np.argmax(standing[1:] & standing[:-1]))
            raise InputError(
                "time-thrice",
                f"time {time[k]:g} s stands three times",
                expected="a time at most twice: before and after a step",
            )

    def _like(self, time: Array, current: Array, factor: float = 1.0) -> Sampled:
        """A record of the same kind with other breakpoints."""
        return Sampled(time, current)

    @property
    def duration(self) -> float:
        """Time from the first to the last breakpoint [s]."""
        return float(self.time[-1])

    @property
    def edges(self) -> Array:
        """Breakpoints, each once [s]."""
        return np.unique(self.time)

    def _mesh(self) -> Array:
        return self.edges

    @property
    def _level(self) -> float | None:
        values = self.values
        if values.size <= 4 and (values == values[0]).all():
            return float(values[0])
        return None

    def _content(self) -> Iterator[bytes]:
        yield self.time.tobytes()
        yield self.values.tobytes()

    def _at(self, time: Array, left: bool) -> Array:
        side: Any = "left" if left else "right"
        k = np.searchsorted(self.time, time, side=side) - 1
        k = np.clip(k, 0, self.time.size - 2)
        first, last = self.values[k], self.values[k + 1]
        h = self.time[k + 1] - self.time[k]
        # Only a step at either end of the record leaves h = 0 here.
        step = h == 0.0
        share = np.where(step, 0.0 if left else 1.0, (time - self.time[k]) / np.where(step, 1.0, h))
        rise = last - first
        # From the nearer end, so that both ends and constants come out exactly.
        return np.where(share < 0.5, first + share * rise, last - (1.0 - share) * rise)

    def _between(self, a: float, b: float) -> tuple[Array, Array]:
        """Breakpoints of the stretch from a to b, steps at its two ends left off."""
        low = int(np.searchsorted(self.time, a, side="right"))
        high = int(np.searchsorted(self.time, b, side="left"))
        ends = self._at(np.array([a]), False), self._at(np.array([b]), True)
        time = np.concatenate([[a], self.time[low:high], [b]])
        return time, np.concatenate([ends[0], self.values[low:high], ends[1]])

    def _integral(self, a: float, b: float, power: int) -> float:
        whole = a == 0.0 and b == self.duration
        time, current = (self.time, self.values) if whole else self._between(a, b)
        sums = []
        for k in range(0, time.size - 1, 4 * MAX_POINTS):
            h = np.diff(time[k : k + 4 * MAX_POINTS + 1])
            i = current[k : k + 4 * MAX_POINTS + 1]
            first, last = i[:-1], i[1:]
            if power == 1:
                sums.append(float(np.sum(h * (first + last))) / 2.0)
            else:
                sums.append(float(np.sum(h * (first * (first + last) + last * last))) / 3.0)
        return math.fsum(sums)

    @property
    def extremes(self) -> tuple[float, float]:
        """Lowest and highest current, with sign [A]."""
        return float(self.values.min()), float(self.values.max())

    def scaled(self, factor: float) -> Sampled:
        """The same record with every current multiplied by ``factor``."""
        by = finite(factor, "factor", "A/A")
        return self._like(self.time, self.values * by, by)

    def _raised(self, current: float) -> Sampled:
        return self._like(self.time, self.values + current)

    def _snapped(self, time: float) -> float:
        """The breakpoint within rounding of a time, or the time itself [s]."""
        slack = 4.0 * math.ulp(self.duration)
        k = int(np.searchsorted(self.time, time - slack))
        near = k < self.time.size and self.time[k] <= time + slack
        return float(self.time[k]) if near else time

    def _cut(self, a: float, b: float) -> Sampled:
        a, b = self._snapped(a), self._snapped(b)
        time, current = self._between(a, b)
        return self._like(time - a, current)

    def blocks(self, max_points: int = MAX_POINTS) -> Iterator[Block]:
        """The square of the current as blocks of at most ``max_points`` segments."""
        time, current = self.time, self.values
        for k in range(0, time.size - 1, max_points):
            part = slice(k, k + max_points + 1)
            if time[part][-1] > time[k]:
                yield linear_block(time[part], current[part], float(time[k]))


@takes(current="A", duration="s")
def constant(current: float, duration: float) -> Sampled:
    """A constant current [A] for a duration [s].

    Examples
    --------
    >>> constant(100.0, 0.01).i2t()
    100.0
    """
    level = finite(current, "current")
    return Sampled([0.0, positive(duration, "duration")], [level, level])
