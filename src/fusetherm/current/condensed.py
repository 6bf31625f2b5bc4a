"""A long record condensed for questions asked of it again and again, with a stated bound.

A solver sees only I². Over a piece of the record I² is replaced by the straight line with the
same ``M0 = int I² dt`` and ``M1 = int t I² dt``; what is neglected is
``W(t) = int (I² - line) dt``, zero at both ends of the piece. A node that warms by g kelvins
per A² s is never off by more than ``g |W|``, and only inside the piece. Pieces are halved until
the swing of W in each lies within the bound; a piece of one segment is kept as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from .blocks import Array, Block, segment_integrals
from .waveform import MAX_POINTS, Waveform, finite, positive, quadrature

Indices = NDArray[np.int64]

#: Segments in the longest piece tried.
_LONGEST = 1024


@dataclass(frozen=True, eq=False)
class Condensed(Waveform):
    """The square of a current [A²] as straight or quadratic pieces; made by `condensed`.

    The sign of the current is lost, so nothing can be added to it.

    Parameters
    ----------
    time : (m + 1,) array
        Ends of the pieces [s], from 0.
    squares : (3, m) array
        I² = s0 + s1 tau + s2 tau² on piece j, tau = t - time[j] [A2, A2/s, A2/s2].
    """

    time: Array
    squares: Array

    def __post_init__(self) -> None:
        self.time.setflags(write=False)
        self.squares.setflags(write=False)

    @property
    def duration(self) -> float:
        """Time from the first to the last instant [s]."""
        return float(self.time[-1])

    def scaled(self, factor: float) -> Condensed:
        """The same record with every current multiplied by ``factor``."""
        return Condensed(self.time, self.squares * finite(factor, "factor", "A/A") ** 2)

    def stretched(self, factor: float) -> Condensed:
        """The same record on a time scale multiplied by ``factor``."""
        by = positive(factor, "factor", "s/s")
        slower = np.array([[1.0], [1.0 / by], [1.0 / by**2]])
        return Condensed(self.time * by, self.squares * slower)

    def _at(self, time: Array, left: bool) -> Array:
        k = np.searchsorted(self.time, time, side="left" if left else "right") - 1
        k = np.clip(k, 0, self.squares.shape[1] - 1)
        tau = time - self.time[k]
        s0, s1, s2 = self.squares[:, k]
        current: Array = np.sqrt(np.maximum(s0 + tau * (s1 + tau * s2), 0.0))
        return current

    def _integral(self, a: float, b: float, power: int) -> float:
        if power != 2 or a > 0.0 or b < self.duration:
            return quadrature(self, a, b, power)
        h = np.diff(self.time)
        s0, s1, s2 = self.squares
        return float(np.sum(h * (s0 + h * (s1 / 2.0 + h * s2 / 3.0))))

    def _mesh(self) -> Array:
        return self.time

    def _cut(self, a: float, b: float) -> Waveform:
        raise _sign_lost()

    def _raised(self, current: float) -> Waveform:
        raise _sign_lost()

    def _content(self) -> Iterator[bytes]:
        yield self.time.tobytes()
        yield self.squares.tobytes()

    def blocks(self, max_points: int = MAX_POINTS) -> Iterator[Block]:
        """The square of the current as blocks of at most ``max_points`` pieces."""
        for k in range(0, self.squares.shape[1], max_points):
            time = self.time[k : k + max_points + 1]
            s0, s1, s2 = self.squares[:, k : k + max_points]
            yield Block(time - time[0], s0, s1, s2, 1, float(time[0]))


def _sign_lost() -> InputError:
    return InputError(
        "sign-lost",
        "a condensed record knows the square of its current alone",
        expected="the record itself, for cutting and for adding a current",
    )


def condensed(waveform: Waveform, bound: float) -> Condensed:
    """Condense a record of single blocks so that each piece's swing of W is within a bound.

    Parameters
    ----------
    waveform : Waveform
        Without repeats, such as a capture.
    bound : float
        Largest swing of W in a piece [A2 s], above 0.

    Returns
    -------
    Condensed

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0.0, 1.0, 20_001)
    >>> noisy = Waveform(time=t, current=30.0 + np.random.default_rng(1).normal(0.0, 0.5, t.size))
    >>> short = condensed(noisy, bound=0.05)
    >>> short.squares.shape[1] < 100, abs(short.i2t() / noisy.i2t() - 1.0) < 1e-12
    (True, True)
    """
    limit = positive(bound, "bound", "A2 s")
    ends, tables = [np.zeros(1)], []
    for block in waveform.blocks():
        if block.repeats > 1:
            raise InputError(
                "repeats-not-condensed",
                "the waveform holds repeated blocks, which are short already",
                expected="a record of samples",
            )
        last, table = _pieces(block, limit)
        ends.append(block.start + block.time[last])
        tables.append(table)
    return Condensed(np.concatenate(ends), np.concatenate(tables, axis=1))


def _pieces(block: Block, bound: float) -> tuple[Indices, Array]:
    """Last breakpoints of the pieces of a block, and their squares (3, pieces)."""
    h = np.diff(block.time)
    m = h.size
    each, about, first_half = segment_integrals(h, block.s0, block.s1, block.s2)
    area = np.concatenate([[0.0], np.cumsum(each)])
    first_moment = np.concatenate([[0.0], np.cumsum(block.time[:-1] * each + about)])
    middle = area[:-1] + first_half

    first = np.arange(0, m, _LONGEST)
    count = np.minimum(_LONGEST, m - first)
    done: list[tuple[Indices, Indices, Array]] = []
    while first.size:
        last = first + count
        length = block.time[last] - block.time[first]
        m0 = area[last] - area[first]
        m1 = first_moment[last] - first_moment[first] - block.time[first] * m0
        slope = 12.0 * (m1 / length - 0.5 * m0) / length**2
        start = m0 / length - 0.5 * slope * length
        # W at the end and in the middle of every segment of these pieces
        offsets = np.concatenate([[0], np.cumsum(count)[:-1]])
        inside = np.arange(count.sum()) - np.repeat(offsets - first, count)
        origin, level, tilt = (
            np.repeat(values, count) for values in (block.time[first], start, slope)
        )
        base = np.repeat(area[first], count)
        swing = np.zeros(first.size)
        for at, integral in ((0.5, middle[inside]), (1.0, area[inside + 1])):
            x = block.time[inside] - origin + at * h[inside]
            w = integral - base - x * (level + 0.5 * tilt * x)
            swing += np.maximum.reduceat(w, offsets) - np.minimum.reduceat(w, offsets)
        good = (swing <= bound) | (count == 1)
        squares = np.stack([start, slope, np.zeros_like(start)])
        single = count == 1
        here = first[single]
        squares[:, single] = block.s0[here], block.s1[here], block.s2[here]
        done.append((first[good], last[good], squares[:, good]))
        first, count = first[~good], count[~good]
        left = count // 2
        first = np.stack([first, first + left], axis=1).ravel()
        count = np.stack([left, count - left], axis=1).ravel()
    order = np.argsort(np.concatenate([d[0] for d in done]))
    last = np.concatenate([d[1] for d in done])[order]
    return last, np.concatenate([d[2] for d in done], axis=1)[:, order]
