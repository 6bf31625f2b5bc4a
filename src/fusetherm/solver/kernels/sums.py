"""Sums and extremes over nodes, in four parts, so that no addition waits for the one before."""

from __future__ import annotations

from ...compiled import kernel
from .layout import Floats


@kernel
def summed(x: Floats, first: int, stop: int) -> float:
    """Sum of ``x[first:stop]``."""
    a = 0.0
    b = 0.0
    c = 0.0
    d = 0.0
    whole = stop - (stop - first) % 4
    for i in range(first, whole, 4):
        a += x[i]
        b += x[i + 1]
        c += x[i + 2]
        d += x[i + 3]
    for i in range(whole, stop):
        a += x[i]
    return float((a + b) + (c + d))


@kernel
def dot(x: Floats, y: Floats, count: int) -> float:
    """Sum of the products of the first numbers."""
    a = 0.0
    b = 0.0
    c = 0.0
    d = 0.0
    whole = count - count % 4
    for i in range(0, whole, 4):
        a += x[i] * y[i]
        b += x[i + 1] * y[i + 1]
        c += x[i + 2] * y[i + 2]
        d += x[i + 3] * y[i + 3]
    for i in range(whole, count):
        a += x[i] * y[i]
    return float((a + b) + (c + d))


@kernel
def largest(x: Floats, first: int, stop: int) -> float:
    """Largest of ``x[first:stop]``, which has numbers only."""
    a = x[first]
    b = a
    c = a
    d = a
    whole = stop - (stop - first) % 4
    for i in range(first, whole, 4):
        a = x[i] if x[i] > a else a
        b = x[i + 1] if x[i + 1] > b else b
        c = x[i + 2] if x[i + 2] > c else c
        d = x[i + 3] if x[i + 3] > d else d
    for i in range(whole, stop):
        a = x[i] if x[i] > a else a
    a = a if a > b else b
    c = c if c > d else d
    return float(a if a > c else c)
