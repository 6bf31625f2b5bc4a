"""A current told apart into the load that flows most of the time and the pulses above it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from .blocks import Array
from .sampled import Sampled
from .waveform import Waveform, finite

Index = npt.NDArray[np.intp]

#: Excess over the load from which a stretch is a pulse, over the largest; and the largest
#: excess, over the load, from which there are pulses at all (own choice).
_CLEAR, _ABOVE = 0.1, 0.1
#: Straight pieces between two points of the mesh of a current that is not sampled.
_PIECES = 4
#: Share of a piece by which its ends are looked at within it.
_WITHIN = 1e-6
#: Straight pieces of such a current at most: some 300 MB and five seconds.
_MOST = 2_000_000


@dataclass(frozen=True, slots=True)
class Pulse:
    """A stretch in which more than the load flows.

    Attributes
    ----------
    start, end : float
        When [s].
    peak : float
        Largest current in it, with its sign [A].
    heat : float
        What it adds to the Joule integral of the load by itself [A² s].
    """

    start: float
    end: float
    peak: float
    heat: float

    @property
    def duration(self) -> float:
        """Length [s]."""
        return self.end - self.start


@dataclass(frozen=True, eq=False)
class Parts:
    """Load and pulses of a current; together they are the current itself.

    Attributes
    ----------
    load : float
        Level that belongs to the load, without sign [A].
    pulses : tuple of Pulse
        In order of time.
    """

    load: float
    pulses: tuple[Pulse, ...]
    _time: Array = field(repr=False)
    _steady: Array = field(repr=False)
    _excess: Array = field(repr=False)
    _owner: Array = field(repr=False)

    def wave(self, *, load: bool = True, pulses: Collection[int] = ()) -> Sampled:
        """The current of some parts only.

        Parameters
        ----------
        load : bool
            Whether the load flows.
        pulses : collection of int
            Numbers of the pulses that are on.
        """
        current = self._steady.copy() if load else np.zeros_like(self._steady)
        on = np.isin(self._owner, list(pulses))
        current[on] += self._excess[on]
        return Sampled(self._time, current)


def parted(waveform: Waveform, load: float | None = None) -> Parts:
    """Tell the load of a current from its pulses.

    Parameters
    ----------
    waveform : Waveform
    load : float, optional
        Level of the load [A]; by default the magnitude that is passed half of the time.

    Returns
    -------
    Parts

    Raises
    ------
    InputError
        ``current-too-fine`` when a drawn current takes more than 2 million straight pieces.

    Notes
    -----
    What lies between minus and plus the level belongs to the load. A pulse is a stretch beyond
    it whose greatest excess is a tenth of the largest at least; smaller ones, noise among them,
    stay with the load. Where nothing exceeds the load by a tenth of it, there is no pulse.

    Examples
    --------
    >>> square = Waveform(time=[0, 1, 1, 1.02, 1.02, 3], current=[25, 25, 125, 125, 25, 25])
    >>> parts = parted(square)
    >>> parts.load, [(p.start, p.end, p.peak) for p in parts.pulses]
    (25.0, [(1.0, 1.02, 125.0)])
    >>> round(parts.wave(load=False, pulses=[0]).i2t(), 6)
    200.0
    """
    record = waveform if isinstance(waveform, Sampled) else _sampled(waveform)
    level = _median(record) if load is None else abs(finite(load, "load"))
    time, current = np.asarray(record.time), np.asarray(record.values)
    for at in {level, -level}:
        time, current = _crossed(time, current, at)
    steady = np.clip(current, -level, level)
    excess = current - steady
    size = np.abs(excess)
    owner = np.full(time.size, -1)
    pulses: tuple[Pulse, ...] = ()
    largest = float(size.max())
    if largest > _ABOVE * level:
        edges = np.flatnonzero(np.diff(size > 0.0, prepend=False, append=False))
        first, end = edges[::2], edges[1::2]
        clear = _over(np.maximum, size, first, end) >= _CLEAR * largest
        first, end = first[clear], end[clear]
        number = np.cumsum(np.bincount(first, minlength=time.size)) - 1
        inside = np.cumsum(np.bincount(first, minlength=time.size + 1)
                           - np.bincount(end, minlength=time.size + 1))[:-1] > 0  # fmt: skip
        owner[inside] = number[inside]
        pulses = _pulses(time, current, steady, first, end)
    stays = owner < 0
    steady[stays], excess[stays] = current[stays], 0.0
    return Parts(level, pulses, time, steady, excess, owner)


def _pulses(
    time: Array, current: Array, steady: Array, first: Index, end: Index
) -> tuple[Pulse, ...]:
    """Pulses between the breakpoints beside them; all at once, for there may be 100,000."""
    h = np.diff(time)
    whole, below = (h * (x[:-1] ** 2 + x[:-1] * x[1:] + x[1:] ** 2) for x in (current, steady))
    start, stop = np.maximum(first - 1, 0), np.minimum(end, time.size - 1)
    heat = _over(np.add, (whole - below) / 3.0, start, stop)
    high, low = _over(np.maximum, current, first, end), _over(np.minimum, current, first, end)
    peak = np.where(high >= -low, high, low)
    rows = (time[start], time[stop], peak, heat)
    return tuple(Pulse(*row) for row in zip(*(r.tolist() for r in rows), strict=True))


def _over(fold: np.ufunc, values: Array, first: Index, end: Index) -> Array:
    """A fold of the values from each first up to before each end; the stretches do not overlap."""
    if first.size == 0:
        return np.empty(0)
    walls = np.stack((first, end), axis=1).ravel()
    folded: Array = fold.reduceat(np.append(values, 0.0), walls)[::2]
    return folded


def _median(record: Sampled) -> float:
    """Magnitude that is passed half of the time [A]."""
    h = np.diff(record.time)
    size = 0.5 * np.abs(record.values[:-1] + record.values[1:])
    order = np.argsort(size)
    passed = np.cumsum(h[order])
    return float(size[order][np.searchsorted(passed, 0.5 * passed[-1])])


def _crossed(time: Array, current: Array, level: float) -> tuple[Array, Array]:
    """The record with breakpoints where it crosses a level."""
    off = current - level
    at = np.flatnonzero((off[:-1] * off[1:] < 0.0) & (time[1:] > time[:-1]))
    when = time[at] + off[at] / (off[at] - off[at + 1]) * (time[at + 1] - time[at])
    inside = (when > time[at]) & (when < time[at + 1])
    at, when = at[inside] + 1, when[inside]
    return np.insert(time, at, when), np.insert(current, at, level)


def _sampled(waveform: Waveform) -> Sampled:
    """A drawn current as straight pieces, between the points at which its heat is taken."""
    try:
        edges = waveform._mesh()
    except InputError as cause:  # more than could be held
        raise _too_fine(cause.found) from cause
    if _PIECES * (edges.size - 1) > _MOST:
        raise _too_fine(f"a drawn current of {_PIECES * (edges.size - 1):,} straight pieces")
    share = np.linspace(0.0, 1.0, _PIECES + 1)
    time = edges[:-1, None] + np.diff(edges)[:, None] * share
    time[:, -1] = edges[1:]
    # Just within: at an edge far along a repeat, rounding decides on which side of a step it is.
    within = edges[:-1, None] + np.diff(edges)[:, None] * np.clip(share, _WITHIN, 1.0 - _WITHIN)
    current = waveform._at(within.ravel(), False).reshape(time.shape)
    return Sampled(time.ravel(), current.ravel())


def _too_fine(found: str) -> InputError:
    return InputError(
        "current-too-fine",
        found,
        expected=f"at most {_MOST:,} pieces to tell its load from its pulses",
        mend="take a shorter stretch, waveform.cut(from, to): the last cycles before the fuse "
        "opens, and the load before them as load_before",
    )


def held(waveform: Waveform, current: float, until: float) -> Waveform:
    """A waveform up to an instant; beyond its end a current is held.

    Parameters
    ----------
    waveform : Waveform
    current : float
        After its end [A].
    until : float
        Instant at which it ends [s], above 0.
    """
    if until <= waveform.duration:
        return waveform.cut(0.0, until)
    record = waveform if isinstance(waveform, Sampled) else _sampled(waveform)
    time, values = record.time, record.values
    if values[-1] != current:
        if time[-2] == time[-1]:  # a time stands at most twice
            time, values = time[:-1], values[:-1]
        time, values = np.append(time, time[-1]), np.append(values, current)
    return Sampled(np.append(time, until), np.append(values, current))
