"""What a record shows of its own quality: noise, offset, clipping, resolution, completeness."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..errors import Argument, Note
from ..written import counted, measure
from .blocks import Array

_FEW = 16
#: Samples in a row at the very extreme that make a flat top.
_FLAT = 4
#: Quanta by which a rounded crest can at most fall within the length of its own flat top.
_CREST = 10.0


class Noise(NamedTuple):
    """Standard deviation [A] of the noise, its correlation from sample to sample, its mean [A]."""

    sd: float
    correlation: float
    mean: float
    samples: int
    source: str


#: Offset taken off by a zero window that is remarked, as a share of the peak.
_LARGE_OFFSET = 0.05

#: Change of the resting level from start to end that is remarked, as a share of the peak, and
#: the most at which an end still counts as rest.
_DRIFT, _REST = 5e-3, 0.03
#: Rise of a first-order low-pass from 10 to 90 % times its bandwidth: ln(9)/(2 pi).
_RISE = math.log(9.0) / (2.0 * math.pi)
#: Rises of the clamp alone within which an edge of the record is called the clamp's: at two of
#: them the true edge is already steeper by 15 % (the squares of rise times add, nearly).
_RISES = 2.0
#: What makes a current alternating: its mean as a share of its RMS, its lesser peak as a share
#: of the greater, its changes of sign.
_MEAN, _LESSER, _CHANGES = 0.1, 0.3, 4
#: Samples looked at in one piece.
_PIECE = 1 << 20

NO_NOISE = Noise(0.0, 1.0, 0.0, 0, "not known")


def noise_in(values: Array, source: str) -> Noise:
    """Noise of samples [A] of a steady current; a slow drift is taken out."""
    n = values.size
    if n < 2:
        return NO_NOISE._replace(mean=float(values.mean()) if n else 0.0, samples=n)
    mean = float(values.mean())
    x = np.linspace(-1.0, 1.0, n)
    rest = values - mean - x * float(x @ values) / float(x @ x)
    power = float(rest @ rest)
    if power <= (1e-12 * max(abs(mean), 1e-300)) ** 2 * n:
        return Noise(0.0, 1.0, mean, n, source)
    correlation = float(rest[1:] @ rest[:-1]) / power
    sd = math.sqrt(power / max(n - 2, 1))
    return Noise(sd, min(max(correlation, 0.0), 1.0), mean, n, source)


def quiet_start(current: Array, peak: float) -> Noise:
    """Noise of the start of a record, as long as that is quiet."""
    n = min(max(current.size // 20, _FEW), 10_000)
    if current.size < 2 * _FEW or peak == 0.0:
        return NO_NOISE
    found = noise_in(current[:n], "quiet start")
    spread = float(np.ptp(current[:n]))
    return found if spread <= max(8.0 * found.sd, 0.02 * peak) and spread < 0.2 * peak else NO_NOISE


def flat_tops(current: Array) -> int:
    """Samples in flat tops that look clipped; 0 when there are none.

    Notes
    -----
    A top is flat when at least 4 samples in a row are the very extreme of the record. It
    looks clipped when the record moves elsewhere from sample to sample: a record of steps
    or plateaus stands still at any level, and proves nothing. A parabola whose crest is
    rounded to one quantum over n samples falls by at most 8 quanta in the n samples beside
    it (and the rounding); what falls by more was cut off.
    """
    peak = max(abs(float(current.min())), abs(float(current.max())))
    if current.size < 2 * _FLAT or peak == 0.0:
        return 0
    step = np.abs(np.diff(current))
    moving = step > 1e-9 * peak
    if not moving.any():
        return 0
    quantum = float(step[moving].min())
    clipped = 0
    for extreme in (float(current.max()), float(current.min())):
        if abs(extreme) < 0.2 * peak:
            continue
        at = current == extreme
        if np.count_nonzero(at) < _FLAT:
            continue
        edges = np.flatnonzero(np.diff(np.concatenate([[0], at.view(np.int8), [0]])))
        starts, ends = edges[::2], edges[1::2]
        long = ends - starts >= _FLAT
        if not long.any():
            continue
        loud = ~at & (np.abs(current) > 0.2 * peak)
        # Watch the loud part of the record; without one, all that is not at the extreme.
        watched = loud[1:] & loud[:-1] if loud.sum() >= 8 else ~(at[1:] | at[:-1])
        if not watched.any() or (watched & ~moving).sum() > 0.5 * watched.sum():
            continue
        for a, b in zip(starts[long].tolist(), ends[long].tolist(), strict=True):
            before = abs(extreme - float(current[max(2 * a - b, 0)]))
            after = abs(extreme - float(current[min(2 * b - a, current.size) - 1]))
            if max(before, after) > _CREST * quantum:
                clipped += b - a
    return clipped


def quantum(current: Array, peak: float) -> float | None:
    """Least step between neighbouring samples [A]; None where the record hardly moves."""
    step = np.abs(np.diff(current))
    moving = step > 1e-9 * peak
    return float(step[moving].min()) if moving.sum() >= _FEW else None


def _drift(current: Array, peak: float) -> tuple[float, float] | None:
    """Levels [A] at which a record rests at its two ends, when they clearly differ."""
    begin, end = quiet_start(current, peak), quiet_start(current[::-1], peak)
    if not (begin.samples and end.samples) or max(abs(begin.mean), abs(end.mean)) > _REST * peak:
        return None
    # Samples of correlated noise count for less: n (1 - r)/(1 + r) of them are independent.
    error = math.hypot(*(
        x.sd * math.sqrt((1.0 + x.correlation) / max(1.0 - x.correlation, 1e-3) / x.samples)
        for x in (begin, end)
    ))  # fmt: skip
    if abs(end.mean - begin.mean) <= max(4.0 * error, _DRIFT * peak):
        return None
    return begin.mean, end.mean


def clamp_remarks(
    time: Array, current: Array, *, bandwidth_hz: float | None, ac_clamp: bool
) -> list[Note]:
    """Notes on what the clamp could not follow.

    Parameters
    ----------
    time, current : array
        Record [s, A].
    bandwidth_hz : float or None
        Bandwidth of the clamp [Hz].
    ac_clamp : bool
        Whether it passes alternating current only.

    Notes
    -----
    A first-order low-pass of bandwidth B makes of any step an edge of ln(9)/(2 pi B) = .35/B
    from 10 to 90 %.
    """
    notes = []
    if ac_clamp:
        text = (
            "the clamp passes alternating current only: a steady part of the current is not in "
            "the record, and heats the fuse all the same"
        )
        notes.append(Note("ac-clamp", text))
    if bandwidth_hz is None:
        return notes
    window = _RISES * _RISE / bandwidth_hz
    span = float(current.max()) - float(current.min())
    if span > 0.0 and window >= float(np.median(np.diff(time))):
        largest = 0.0
        for first in range(0, time.size, _PIECE):
            part = slice(first, first + _PIECE)
            later = np.interp(time[part] + window, time, current)
            largest = max(largest, float(np.abs(later - current[part]).max()))
        if largest > 0.8 * span:
            text = (
                f"an edge of the record takes less than {measure(window, 's')}, about what a clamp "
                f"of {measure(bandwidth_hz, 'Hz')} makes of any step: the true edge may be "
                "steeper and a short peak higher; record with a faster clamp or a shunt"
            )
            notes.append(Note("bandwidth-too-low", text))
    return notes


def alternates(time: Array, current: Array) -> bool:
    """Whether a current looks alternating: both signs alike, again and again, mean near zero."""
    low, high = float(current.min()), float(current.max())
    peak = max(-low, high)
    if peak <= 0.0 or min(-low, high) < _LESSER * peak:
        return False
    h = np.diff(time)
    span = float(time[-1] - time[0])
    mean = 0.5 * float(h @ (current[1:] + current[:-1])) / span
    square = 0.5 * float(h @ (current[1:] ** 2 + current[:-1] ** 2)) / span
    if abs(mean) > _MEAN * math.sqrt(square):
        return False
    signs = np.sign(current[np.abs(current) > 0.1 * peak])
    return int(np.count_nonzero(np.diff(signs))) >= _CHANGES


def remarks(current: Array, noise: Noise, *, zeroed: bool, flat_top_is_real: bool) -> list[Note]:
    """Notes on a record that can be read but may mislead."""
    notes = []
    low, high = float(current.min()), float(current.max())
    peak = max(abs(low), abs(high))
    if peak == 0.0:
        return [Note("all-zeros", "the current is zero throughout")]
    clipped = 0 if flat_top_is_real else flat_tops(current)
    if clipped:
        text = (
            f"{clipped:,} samples stand flat at the extreme of the record: it looks clipped, and "
            "the true current may be higher; record again with a larger range"
        )
        notes.append(Note("clipped-record", text))
    error = 4.0 * noise.sd / math.sqrt(max(noise.samples, 1))
    if not zeroed and noise.samples and max(error, 1e-3 * peak) < abs(noise.mean) < 0.03 * peak:
        text = (
            f"the record starts at {measure(noise.mean, 'A')}; if that is the clamp's offset, "
            "name a stretch without current"
        )
        notes.append(Note("zero-offset", text, (Argument("zero", "0 s : 0.2 s"),)))
    drift = _drift(current, peak)
    if drift is not None:
        text = (
            f"the record rests at {measure(drift[0], 'A')} at its start and at "
            f"{measure(drift[1], 'A')} at its end: unless a load stayed on, the clamp's zero "
            "drifts; let the clamp warm up, zero it and record again"
        )
        notes.append(Note("offset-drift", text))
    if zeroed and abs(noise.mean) > _LARGE_OFFSET * peak:
        text = (
            f"the zero window took {measure(noise.mean, 'A')} off the record: if a load was on in "
            "it, the true current is higher than what was read; name a stretch without current"
        )
        notes.append(Note("zero-window-loaded", text))
    if abs(low) > 2.0 * max(high, 0.0) and float(current.mean()) < 0.0:
        notes.append(Note("reversed-clamp", "the current is negative: the clamp may be reversed"))
    level = float(np.median(np.abs(current)))
    few = min(_FEW, max(current.size // 20, 1))
    ends = (("starts", current[:few]), ("ends", current[-few:]))
    for where, end in ends if current.size >= _FEW else ():
        height = abs(float(np.median(end)))
        if height > 0.5 * peak and level < 0.5 * height:
            text = (
                f"the record {where} inside a pulse, at {measure(height, 'A')}: a part of it is "
                "missing"
            )
            notes.append(Note("cut-off-pulse", text))
    least = quantum(current, peak)
    if least is not None and least > 0.05 * peak:
        text = f"the current comes in steps of {measure(least, 'A')}, over 5 % of its peak"
        notes.append(Note("coarse-quantisation", text))
    edges = int((np.abs(np.diff(current)) > 0.5 * (high - low)).sum())
    if edges and current.size > _FEW:
        text = (
            f"{counted(edges, 'edge')} of a single interval: between samples the current is "
            "not known, "
            "and a peak may have been missed; sample faster"
        )
        notes.append(Note("sampling-too-slow", text))
    return notes
