"""The level of a current at the two ends of a record: what goes on after it, what flowed before."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .blocks import Array
from .capture import Capture
from .tree import Joined, Repeat, Sum
from .waveform import Waveform

#: Stretch at the end of a measured record that is looked at, as a share of it and in samples.
_SHARE, _SAMPLES = 0.05, 16
#: A record of fewer samples is taken for a drawn one: its first and last value count.
_FEW = 2 * _SAMPLES
#: Fewest samples of a level, and the least change of level that is clear: in standard
#: deviations within the levels on its two sides, and as a share of the peak. The crest of a
#: half-wave rectified sine stands 1.8 standard deviations above its mean, and is no level.
_LEAST, _CLEAR, _SHARE_OF_PEAK = 4, 3.0, 0.02
#: A level within this many standard deviations of the noise is none.
_NOISE = 2.0


class Level(NamedTuple):
    """A current with its sign [A], and the stretch it was taken over [s]; 0 for one instant."""

    current: float
    duration: float


def end_level(waveform: Waveform) -> Level:
    """Current that goes on when the end of a waveform is held.

    Parameters
    ----------
    waveform : Waveform
        Drawn or measured current.

    Returns
    -------
    Level
        For a drawn current its last value. For a measured one the root mean square, since
        heat counts, over the last 5 % of the record, 16 samples at least, and no more than
        what follows the last clear change of level; zero where that is within the noise.

    Examples
    --------
    >>> end_level(Waveform(time=[0, 1, 1, 2], current=[90, 90, 25, 25]))
    Level(current=25.0, duration=0.0)
    """
    if isinstance(waveform, Joined):
        return end_level(waveform.pieces[-1])
    if isinstance(waveform, Repeat):
        return end_level(waveform.cycle)
    if isinstance(waveform, Sum):
        lasting = [t for t in waveform.terms if t.duration >= waveform.duration * (1.0 - 1e-9)]
        levels = [end_level(term) for term in lasting]
        return Level(sum(x.current for x in levels), max(x.duration for x in levels))
    last = float(waveform.current(np.array([waveform.duration]))[0])
    if not isinstance(waveform, Capture) or waveform.time.size < _FEW:
        return Level(last, 0.0)
    time, values = waveform.time, waveform.values
    first = _window(time)
    first += _last_change(values[first:], waveform.peak)
    span = float(time[-1] - time[first])
    if span == 0.0:
        return Level(last, 0.0)
    rms = math.sqrt(max(waveform.i2t(float(time[first]), waveform.duration), 0.0) / span)
    if rms <= _NOISE * waveform.noise_sd:
        return Level(0.0, span)
    return Level(math.copysign(rms, float(values[first:].mean())), span)


def start_level(waveform: Waveform) -> Level:
    """Current that already flows when a waveform begins.

    For a drawn current its first value. For a measured one the mean over the same stretch
    as in `end_level`, from the start, or the value at its first instant of the straight line
    through it where that is less: a ramp from zero starts at zero.
    """
    if isinstance(waveform, Joined):
        return start_level(waveform.pieces[0])
    first = float(waveform.current(np.array([0.0]))[0])
    if not isinstance(waveform, Capture) or waveform.time.size < _FEW:
        return Level(first, 0.0)
    time, values = -waveform.time[::-1], waveform.values[::-1]
    begin = _window(time)
    begin += _last_change(values[begin:], waveform.peak)
    at, level = time[begin:], values[begin:]
    mean = float(level.mean())
    lever = at - at.mean()
    power = float(lever @ lever)
    slope = float(lever @ level) / power if power > 0.0 else 0.0
    line = mean - slope * float(at.mean())
    found = min(mean, line, key=abs)
    if abs(found) <= _NOISE * waveform.noise_sd:
        found = 0.0
    return Level(found, float(at[-1] - at[0]))


def _window(time: Array) -> int:
    """First sample of the last stretch."""
    begin = time[-1] - _SHARE * (time[-1] - time[0])
    return min(int(np.searchsorted(time, begin)), time.size - _SAMPLES)


def _last_change(values: Array, peak: float) -> int:
    """First sample after the last clear change of level; 0 when there is none.

    Notes
    -----
    The two levels are those of the split with the least squares about their means. The later
    part is split again as long as the change is clear.
    """
    begin = 0
    while values.size - begin >= 2 * _LEAST:
        part = values[begin:] - values[begin:].mean()
        n = part.size
        k = np.arange(_LEAST, n - _LEAST + 1)
        total = np.cumsum(part)[k - 1]
        split = int(k[np.argmax(total * total * (1.0 / k + 1.0 / (n - k)))])
        before, after = part[:split], part[split:]
        change = abs(float(after.mean() - before.mean()))
        spread = max(float(before.std()), float(after.std()))
        if change <= max(_CLEAR * spread, _SHARE_OF_PEAK * peak):
            break
        begin += split
    return begin
