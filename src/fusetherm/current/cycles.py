"""Arithmetic of cycles: times as cycle and offset, integrals over many cycles in closed form."""

from __future__ import annotations

import math

import numpy as np

from ..errors import InputError
from .blocks import Array
from .waveform import Waveform

_MOST_EDGES = 5_000_000


def repeat_integral(
    cycle: Waveform, count: int, a: float, b: float, power: int, period: float
) -> float:
    """Integral of I^power over a cycle repeated ``count`` times, whole cycles in closed form."""
    (i, from_), (j, to) = locate(a, period, count), locate(b, period, count)
    if i == j:
        return cycle._over(from_, to, power) if from_ < to else 0.0
    whole = cycle._over(0.0, None, power) if j > i + 1 else 0.0
    return math.fsum(
        [cycle._over(from_, None, power), (j - i - 1) * whole, cycle._over(0.0, to, power)]
    )


def locate(time: float, period: float, count: int) -> tuple[int, float]:
    """Cycle index and offset in it [s]; an offset that is only rounding snaps to the edge."""
    index = int(time // period)
    offset = math.fmod(time, period)
    slack = 4.0 * math.ulp(time)
    if offset <= slack or period - offset <= slack:
        index, offset = round(time / period), 0.0
    if index >= count:
        return count - 1, period
    return index, offset


def edges_of(one: Array, count: int) -> Array:
    """Edges or other points of a cycle, repeated; refused when there are too many to hold."""
    if (one.size - 1) * count > _MOST_EDGES:
        raise InputError(
            "too-many-edges",
            f"{count} cycles of {one.size - 1} pieces",
            expected=f"at most {_MOST_EDGES} pieces",
            mend="go through blocks(), which keeps a repeat as a repeat",
        )
    runs = (np.arange(count) * one[-1])[:, None] + one[1:]
    return np.concatenate([[0.0], runs.ravel()])
