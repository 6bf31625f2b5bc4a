"""Waveforms: a current against time, with exact integrals of I and I²."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from typing import Any, NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike

from ..errors import InputError, Note
from ..units import magnitude, takes
from .blocks import Array, Block, Span, gauss_legendre, longest_above, smooth_block

#: Segments in a block unless told otherwise.
MAX_POINTS = 65536


def finite(value: float, name: str, unit: str = "A") -> float:
    """The value as a float; refuses NaN and infinities."""
    number = float(value)
    if not math.isfinite(number):
        raise InputError("not-finite", f"{name} is {number}", expected=f"a finite number in {unit}")
    return number


def positive(value: float, name: str, unit: str = "s") -> float:
    """The value as a float; refuses what is not finite and above zero."""
    number = finite(value, name, unit)
    if number <= 0.0:
        raise InputError(
            "not-positive", f"{name} is {number:g} {unit}", expected="a value above zero"
        )
    return number


class Stretch(NamedTuple):
    """A waveform without repeats inside, run through ``repeats`` times."""

    wave: Waveform
    repeats: int


class Waveform:
    """A current against time, from 0 to its duration; zero outside.

    ``Waveform(time=[...], current=[...])`` gives a record that is linear between
    breakpoints; a repeated time is a step. Shapes come from `fusetherm.current.shapes`,
    measured records from `read_capture`; ``then``, ``repeated`` and ``+`` combine them.

    Parameters
    ----------
    time : array, shape (n,)
        Breakpoints [s], from 0, not decreasing; a Series, a DataArray, a TimedeltaIndex or a
        quantity of time will do.
    current : array, shape (n,)
        Current [A], of either sign, or a quantity of current.

    Examples
    --------
    >>> square = Waveform(time=[0, 0, 0.02, 0.02], current=[0, 125, 125, 0])
    >>> round(square.i2t(), 9)
    312.5
    >>> square.repeated(1000, period=90.0).duration
    90000.0
    """

    def __new__(cls, *args: Any, **kwargs: Any) -> Self:
        if cls is Waveform:
            from .sampled import Sampled

            return object.__new__(Sampled)  # type: ignore[return-value]
        return object.__new__(cls)

    def __setstate__(self, state: dict[str, Any]) -> None:
        for value in state.values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)
        self.__dict__.update(state)

    # What every kind of waveform supplies -------------------------------------------------

    @property
    def duration(self) -> float:
        """Time from the first to the last instant [s]."""
        raise NotImplementedError

    @property
    def parts(self) -> tuple[Waveform, ...]:
        """The waveforms this one is made of; none for a leaf."""
        return ()

    def scaled(self, factor: float) -> Waveform:
        """The same waveform with every current multiplied by ``factor``."""
        raise NotImplementedError

    def _at(self, time: Array, left: bool) -> Array:
        """Current within the record [A]; at a step its limit from the left or the right."""
        raise NotImplementedError

    def _integral(self, a: float, b: float, power: int) -> float:
        """Integral of I^power from a to b, 0 <= a < b <= duration."""
        return quadrature(self, a, b, power)

    def _mesh(self) -> Array:
        """Breakpoints between which I² is well described by a quadratic [s]."""
        raise NotImplementedError

    def _cut(self, a: float, b: float) -> Waveform:
        """The stretch from a to b, 0 <= a < b <= duration."""
        raise NotImplementedError

    def _raised(self, current: float) -> Waveform:
        """The waveform with a constant current added from start to end."""
        raise NotImplementedError

    def _content(self) -> Iterator[bytes]:
        """What the fingerprint is made of."""
        raise NotImplementedError

    @property
    def edges(self) -> Array:
        """Times at which the current or its slope jumps, with both ends [s].

        Raises
        ------
        InputError
            When a repeat makes more than 5 million of them; `blocks` has no such limit.
        """
        raise NotImplementedError

    @property
    def _flat(self) -> bool:
        """Whether there is no repeat inside."""
        return all(part._flat for part in self.parts)

    @property
    def _level(self) -> float | None:
        """The current [A] if it is one constant from start to end, otherwise None."""
        return None

    def _stretches(self) -> Iterator[Stretch]:
        """The record as contiguous stretches without repeats inside."""
        yield Stretch(self, 1)

    # What all of them share ---------------------------------------------------------------

    def current(self, time: ArrayLike) -> Array:
        """Current at given times [A].

        Parameters
        ----------
        time : array
            Times [s], any shape.

        Returns
        -------
        array
            Current [A], same shape; zero outside the record. At a step, the value after it.
        """
        at = np.asarray(magnitude(time, "s", "time"), dtype=np.float64)
        if np.isnan(at).any():
            raise InputError("not-finite", "a time is NaN", expected="times in seconds")
        inside = (at >= 0.0) & (at <= self.duration)
        values = self._at(np.where(inside, at, 0.0).ravel(), False).reshape(at.shape)
        return np.where(inside, values, 0.0)

    @takes(a="s", b="s")
    def charge(self, a: float = 0.0, b: float | None = None) -> float:
        """Integral of I from a to b [A s], by default over the whole record."""
        return self._over(a, b, 1)

    @takes(a="s", b="s")
    def i2t(self, a: float = 0.0, b: float | None = None) -> float:
        """Joule integral of I² from a to b [A2 s], by default over the whole record.

        Parameters
        ----------
        a, b : float, optional
            Limits [s]; what lies outside the record counts nothing.

        Returns
        -------
        float
            Joule integral [A2 s], exact to rounding.

        Examples
        --------
        >>> Waveform(time=[0, 0.01], current=[20, 100]).i2t()
        41.33333333333333
        """
        return self._over(a, b, 2)

    def _over(self, a: float, b: float | None, power: int) -> float:
        end = self.duration if b is None else b
        if math.isnan(a) or math.isnan(end):
            raise InputError("not-finite", "a limit is NaN", expected="times in seconds")
        if end < a:
            raise InputError(
                "interval-reversed", f"interval from {a:g} s to {end:g} s", expected="from <= to"
            )
        first, last = max(a, 0.0), min(end, self.duration)
        return self._integral(first, last, power) if first < last else 0.0

    @property
    def extremes(self) -> tuple[float, float]:
        """Lowest and highest current, with sign [A]."""
        low, high = math.inf, -math.inf
        for wave, _ in self._stretches():
            a, b = extremes_on_mesh(wave) if wave is self else wave.extremes
            low, high = min(low, a), max(high, b)
        return low, high

    @property
    def peak(self) -> float:
        """Greatest magnitude of the current, without sign [A]; `extremes` has the signs."""
        low, high = self.extremes
        return max(abs(low), abs(high))

    @property
    def rms(self) -> float:
        """Root of the mean of I² over the whole record [A]."""
        return math.sqrt(self.i2t() / self.duration)

    @property
    def notes(self) -> tuple[Note, ...]:
        """Remarks on the record and on every record inside it."""
        return tuple(dict.fromkeys(note for part in self.parts for note in part.notes))

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the content, in hexadecimal: equal for equal waveforms."""
        digest = hashlib.sha256(type(self).__name__.encode())
        for piece in self._content():
            digest.update(piece)
        for part in self.parts:
            digest.update(part.fingerprint.encode())
        return digest.hexdigest()

    @takes(other="A")
    def plus(self, other: Waveform | float) -> Waveform:
        """Sum with another waveform, or with a constant current over the whole record.

        Parameters
        ----------
        other : Waveform or float
            Waveform that starts at the same instant, or a current [A]. The shorter of
            two waveforms counts as zero after its end.
        """
        from .tree import Sum

        if not isinstance(other, Waveform):
            return self._raised(finite(other, "current"))
        if other._level is not None and other.duration == self.duration:
            return self._raised(other._level)
        if self._level is not None and other.duration == self.duration:
            return other._raised(self._level)
        return Sum((self, other))

    __add__ = plus
    __radd__ = plus

    def then(self, other: Waveform) -> Waveform:
        """This waveform followed at once by another."""
        from .tree import Joined

        return Joined((self, other))

    @takes(a="s", b="s")
    def cut(self, a: float = 0.0, b: float | None = None) -> Waveform:
        """The stretch from a to b, moved to start at 0.

        Parameters
        ----------
        a, b : float, optional
            Limits [s], 0 <= a < b <= duration.
        """
        end = self.duration if b is None else finite(b, "end of the cut", "s")
        if not 0.0 <= a < end <= self.duration:
            raise InputError(
                "cut-outside",
                f"cut from {a:g} s to {end:g} s of a record of {self.duration:g} s",
                expected="0 <= from < to <= duration",
            )
        return self if a == 0.0 and end == self.duration else self._cut(a, end)

    @takes(period="s", rest="s")
    def repeated(self, count: int, period: float | None = None, rest: float = 0.0) -> Waveform:
        """This waveform repeated at a fixed period.

        Parameters
        ----------
        count : int
            Number of cycles (>= 1).
        period : float, optional
            Time from start to start [s], not shorter than the waveform (the default).
        rest : float
            Current from the end of the waveform to the end of the period [A].

        Returns
        -------
        Waveform
            Duration ``count * period``; no array grows with ``count``.

        Examples
        --------
        >>> Waveform(time=[0, 2], current=[50, 50]).repeated(10**6, period=90.0).i2t()
        5000000000.0
        """
        from .sampled import constant
        from .tree import Repeat

        own = self.duration
        whole = own if period is None else positive(period, "period")
        if whole < own * (1.0 - 1e-12):
            raise InputError(
                "period-too-short",
                f"period of {whole:g} s for a waveform of {own:g} s",
                expected="a period not shorter than the waveform",
                mend="cut the waveform, or lengthen the period",
            )
        if whole <= own * (1.0 + 1e-12):
            return Repeat(self, count)
        gap = whole - own
        # The sum of the two must round to the very period that was asked for.
        for trial in (gap, math.nextafter(gap, math.inf), math.nextafter(gap, 0.0)):
            if own + trial == whole:
                gap = trial
                break
        return Repeat(self.then(constant(rest, gap)), count)

    def after_load(self, current: float, seconds: float, *, load_stays: bool = False) -> Waveform:
        """This waveform after a steady load.

        Parameters
        ----------
        current : float
            Steady current before the event [A].
        seconds : float
            How long it flows before the event [s].
        load_stays : bool
            Whether it goes on under the event. Leave it out for a capture that was taken
            with the load on, for it already contains it.

        Examples
        --------
        >>> event = Waveform(time=[0, 0.02], current=[125, 125])
        >>> event.after_load(25.0, seconds=3600, load_stays=True).peak
        150.0
        """
        from .sampled import constant

        load = constant(current, seconds)
        return load.then(self.plus(current) if load_stays else self)

    def time_to_i2t(self, i2t: float) -> float | None:
        """Time at which the Joule integral from the start reaches a value [s].

        Parameters
        ----------
        i2t : float
            Joule integral [A2 s], not negative.

        Returns
        -------
        float or None
            Time [s]; None when the whole record delivers less.
        """
        goal = finite(i2t, "Joule integral", "A2 s")
        if goal < 0.0:
            raise InputError("not-positive", f"Joule integral is {goal:g} A2 s", expected=">= 0")
        if goal == 0.0:
            return 0.0
        done = 0.0
        for block in self.blocks():
            total = block.i2t
            if done + total < goal * (1.0 - 1e-15):
                done += total
                continue
            cycle = total / block.repeats
            index = min(int((goal - done) / cycle), block.repeats - 1) if cycle else 0
            start = block.start + index * block.period
            run = np.concatenate([[0.0], np.cumsum(block.segment_i2t)])
            left = goal - done - index * cycle
            j = int(np.clip(np.searchsorted(run, left) - 1, 0, block.s0.size - 1))
            low = start + float(block.time[j])
            high = min(start + float(block.time[j + 1]), self.duration)
            return low + _time_within(self.cut(low, high), left - float(run[j]))
        return None

    def longest_pulse(self, threshold: float) -> Span | None:
        """Longest stretch in which the magnitude of the current stays at or above a threshold.

        Parameters
        ----------
        threshold : float
            Current [A], above zero.

        Returns
        -------
        Span or None
            Start and duration [s]; None when the current never reaches the threshold.
        """
        return longest_above(self.blocks(), positive(threshold, "threshold", "A") ** 2)

    def blocks(self, max_points: int = MAX_POINTS) -> Iterator[Block]:
        """The square of the current as contiguous blocks, from start to end.

        Parameters
        ----------
        max_points : int
            Most segments in one block.

        Yields
        ------
        Block
            Tables of I², with a count of repeats; made one at a time.
        """
        edges = self._mesh()
        for k in range(0, edges.size - 1, max_points):
            part = edges[k : k + max_points + 1]
            yield smooth_block(self._at, part, float(part[0]), float(part[0]))


def _time_within(piece: Waveform, i2t: float) -> float:
    """Time at which the Joule integral of a short piece reaches a value [s], by bisection."""
    low, high = 0.0, piece.duration
    while low < (middle := 0.5 * (low + high)) < high:
        if piece._over(0.0, middle, 2) < i2t:
            low = middle
        else:
            high = middle
    return high


def quadrature(wave: Waveform, a: float, b: float, power: int) -> float:
    """Integral of I^power by Gauss-Legendre on the pieces of the mesh."""
    mesh = wave._mesh()
    edges = np.concatenate([[a], mesh[(mesh > a) & (mesh < b)], [b]])
    nodes, weights = gauss_legendre()
    total = []
    for k in range(0, edges.size - 1, MAX_POINTS):
        part = edges[k : k + MAX_POINTS + 1]
        h = np.diff(part)
        at = (part[:-1, None] + h[:, None] * nodes).ravel()
        values = wave._at(at, False).reshape(h.size, -1)
        total.append(float(np.sum(h * (values**power @ weights))))
    return math.fsum(total)


def extremes_on_mesh(wave: Waveform) -> tuple[float, float]:
    """Lowest and highest current [A] of a waveform that is smooth between its mesh points."""
    edges = wave._mesh()
    values = np.stack([wave._at(edges[:-1], False), wave._at(edges[1:], True)])
    found = []
    for sign in (-1.0, 1.0):
        ranked = (sign * values).max(axis=0)
        best = float(ranked.max())
        k = int(ranked.argmax())
        # A crest lies beside the best point of the mesh: zoom in, one segment at a time.
        for j in range(max(k - 1, 0), min(k + 2, edges.size - 1)):
            low, high = float(edges[j]), float(edges[j + 1])
            for _ in range(4):
                at = np.linspace(low, high, 65)[1:-1]
                trial = sign * wave._at(at, False)
                m = int(trial.argmax())
                best = max(best, float(trial[m]))
                step = (high - low) / 64.0
                low, high = max(low, at[m] - step), min(high, at[m] + step)
        found.append(sign * best)
    return found[0], found[1]
