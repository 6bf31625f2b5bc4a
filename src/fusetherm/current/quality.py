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
    step = np.abs(np.diff(current))
    moving = step > 1e-9 * peak
    if moving.any() and moving.sum() >= _FEW:
        quantum = float(step[moving].min())
        if quantum > 0.05 * peak:
            text = f"the current comes in steps of {measure(quantum, 'A')}, over 5 % of its peak"
            notes.append(Note("coarse-quantisation", text))
    edges = int((step > 0.5 * (high - low)).sum())
    if edges and current.size > _FEW:
        text = (
            f"{counted(edges, 'edge')} of a single interval: between samples the current is "
            "not known, "
            "and a peak may have been missed; sample faster"
        )
        notes.append(Note("sampling-too-slow", text))
    return notes
