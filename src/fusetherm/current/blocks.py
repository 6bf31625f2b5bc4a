"""Blocks: the square of a current as tables of quadratics, the form in which solvers read it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Number = TypeVar("Number", float, Array)

#: Tables shorter than this are always expanded inside a repeat, to keep it a single block.
_SHORT_TABLE = 4096
#: Largest ratio of a segment's end time to its length when tables are joined: keeps the
#: rounding of its length below 1e-9 of it.
_TIME_RATIO = 4e6


@lru_cache(maxsize=4)
def gauss_legendre(order: int = 8) -> tuple[Array, Array]:
    """Nodes and weights of Gauss-Legendre quadrature on [0, 1]."""
    nodes, weights = np.polynomial.legendre.leggauss(order)
    return 0.5 * (nodes + 1.0), 0.5 * weights


def segment_integrals(
    h: Number, s0: Number, s1: Number, s2: Number
) -> tuple[Number, Number, Number]:
    """Integrals over segments of length h [s] on which I² = s0 + s1 tau + s2 tau².

    Returns
    -------
    tuple
        Of I² [A2 s], of tau I² [A2 s2], and of I² over the first half [A2 s]; numbers or arrays,
        as given.
    """
    m = 0.5 * h
    return (
        h * (s0 + h * (s1 / 2.0 + h * s2 / 3.0)),
        h * h * (s0 / 2.0 + h * (s1 / 3.0 + h * s2 / 4.0)),
        m * (s0 + m * (s1 / 2.0 + m * s2 / 3.0)),
    )


@dataclass(frozen=True, eq=False)
class Block:
    """A table of I² [A2] as a piecewise quadratic, run through once or many times.

    Parameters
    ----------
    time : float64[m + 1]
        Breakpoints on the block's own clock [s], from 0, strictly increasing. A step of
        the current is a jump between the end of one segment and the start of the next.
    s0, s1, s2 : float64[m]
        I² = s0 + s1 tau + s2 tau² on segment j, tau = t - time[j] [A2, A2/s, A2/s2].
    repeats : int
        How many times the table is run through (>= 1).
    start : float
        Time of the block's first instant in the record [s].

    Notes
    -----
    Exact for a current that is linear between breakpoints. For smooth shapes each
    quadratic has the exact end values and the exact integral; between them it is within
    1e-6 of the peak of I², and may dip below zero by that much beside a zero crossing.
    """

    time: Array
    s0: Array
    s1: Array
    s2: Array
    repeats: int = 1
    start: float = 0.0

    def __post_init__(self) -> None:
        for array in (self.time, self.s0, self.s1, self.s2):
            array.setflags(write=False)

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)
        self.__post_init__()

    @property
    def period(self) -> float:
        """Time of one run through the table [s]."""
        return float(self.time[-1])

    @property
    def duration(self) -> float:
        """Time of all runs through the table [s]."""
        return self.period * self.repeats

    @property
    def end(self) -> float:
        """Time of the block's last instant in the record [s]."""
        return self.start + self.duration

    @property
    def segment_i2t(self) -> Array:
        """Integral of I² over each segment [A2 s], shape (m,)."""
        area, _, _ = segment_integrals(np.diff(self.time), self.s0, self.s1, self.s2)
        return area

    @property
    def i2t(self) -> float:
        """Integral of I² over all runs through the table [A2 s]."""
        return float(np.sum(self.segment_i2t)) * self.repeats

    def square(self, time: Array) -> Array:
        """I² at times of the block's own clock within one period [A2].

        Parameters
        ----------
        time : array
            Times [s], 0 to period. At a step the value after it is returned.

        Returns
        -------
        array
            I² [A2], same shape.
        """
        at = np.asarray(time, dtype=np.float64)
        j = np.clip(np.searchsorted(self.time, at, side="right") - 1, 0, self.s0.size - 1)
        tau = at - self.time[j]
        value: Array = self.s0[j] + tau * (self.s1[j] + tau * self.s2[j])
        return value


def linear_block(time: Array, current: Array, start: float) -> Block:
    """Block of a current linear between breakpoints; zero-length segments are steps."""
    h = np.diff(time)
    keep = h > 0.0
    first, slope = current[:-1], np.diff(current)
    if not keep.all():
        first, slope, h = first[keep], slope[keep], h[keep]
        time = np.append(time[:-1][keep], time[-1])
    slope /= h
    return Block(time - time[0], first * first, 2.0 * first * slope, slope * slope, 1, start)


def smooth_block(
    current: Callable[[Array, bool], Array], edges: Array, offset: float, start: float
) -> Block:
    """Block of a current smooth between edges, each segment with its exact integral.

    Parameters
    ----------
    current : callable
        ``current(time, left)``: the current [A], its limit from the left or the right.
    edges : array
        Breakpoints on the clock of ``current`` [s].
    offset : float
        Time on that clock at which the block begins [s].
    start : float
        Time of the block's first instant in the record [s].

    Notes
    -----
    With a = s1 h and b = s2 h², the end values and the mean fix a + b = D and
    a/2 + b/3 = M, where D and M are end value and mean less the first value.
    """
    h = np.diff(edges)
    nodes, weights = gauss_legendre()
    inside = current((edges[:-1, None] + h[:, None] * nodes).ravel(), False).reshape(h.size, -1)
    s0 = current(edges[:-1], False) ** 2
    rise = current(edges[1:], True) ** 2 - s0
    mean = (inside * inside) @ weights - s0
    s1 = (6.0 * mean - 2.0 * rise) / h
    s2 = (3.0 * rise - 6.0 * mean) / (h * h)
    return Block(edges - offset, s0, s1, s2, 1, start)


def expanded(blocks: list[Block], repeats: int = 1) -> Block:
    """One block that runs through several contiguous ones, itself repeated."""
    origin = blocks[0].start
    times = [np.zeros(1)]
    tables: list[list[Array]] = [[], [], []]
    for block in blocks:
        n = block.repeats
        runs = (np.arange(n) * block.period)[:, None] + block.time[1:]
        times.append((block.start - origin) + runs.ravel())
        for table, s in zip(tables, (block.s0, block.s1, block.s2), strict=True):
            table.append(np.tile(s, n))
    s0, s1, s2 = (np.concatenate(table) for table in tables)
    return Block(np.concatenate(times), s0, s1, s2, repeats, origin)


def coalesced(blocks: Iterator[Block], max_points: int) -> Iterator[Block]:
    """The same blocks with neighbours that are run through once joined into longer tables."""
    held: list[Block] = []
    points = 0
    for block in blocks:
        fits = block.repeats == 1 and points + block.s0.size <= max_points
        if fits and held:
            end = (block.start - held[0].start) + block.period
            fits = end <= _TIME_RATIO * float(np.diff(block.time).min())
        if held and not fits:
            yield expanded(held)
            held, points = [], 0
        if block.repeats == 1:
            held.append(block)
            points += block.s0.size
        else:
            yield block
    if held:
        yield held[0] if len(held) == 1 else expanded(held)


def repeated(
    cycle: Callable[[], Iterator[Block]], period: float, count: int, max_points: int
) -> Iterator[Block]:
    """Blocks of a cycle run through ``count`` times, as one block wherever that is sound.

    A cycle of one block stays one block. A cycle of several is expanded into one table
    when that is short, or no longer than the stream of blocks it replaces; otherwise the
    cycles follow each other lazily.
    """
    head: list[Block] = []
    points = 0
    for block in cycle():
        head.append(block)
        points += block.s0.size * block.repeats
        if points > max_points and len(head) > 1:
            break
    else:
        if len(head) == 1:
            yield replace(head[0], repeats=head[0].repeats * count)
            return
        if count == 1:
            yield from head
            return
        if points <= min(max_points, max(_SHORT_TABLE, len(head) * count)):
            yield expanded(head, count)
            return
    for index in range(count):
        for block in cycle():
            yield replace(block, start=index * period + block.start)


class Span(NamedTuple):
    """A stretch of time: start [s] and duration [s]."""

    start: float
    duration: float

    @property
    def end(self) -> float:
        """End of the stretch [s]."""
        return self.start + self.duration


def _stretches_above(block: Block, level: float) -> tuple[Array, Array]:
    """Starts and ends [s, block's clock] of the stretches where I² >= level, in one period."""
    h = np.diff(block.time)
    c = block.s0 - level
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(block.s1 * block.s1 - 4.0 * block.s2 * c)
        q = -0.5 * (block.s1 + np.copysign(root, block.s1))
        cuts = np.stack([np.zeros_like(h), q / block.s2, c / q, h])
    cuts = np.sort(np.clip(np.where(np.isfinite(cuts), cuts, 0.0), 0.0, h), axis=0)
    tau = 0.5 * (cuts[1:] + cuts[:-1])
    # Equality counts as above; the allowance keeps a flat top at the level from flickering.
    above = block.s0 + tau * (block.s1 + tau * block.s2) >= level * (1.0 - 1e-12)
    longer = cuts[1:] > cuts[:-1]
    starts = (block.time[:-1] + cuts[:-1]).T[longer.T]
    ends = (block.time[:-1] + cuts[1:]).T[longer.T]
    flag = above.T[longer.T].astype(np.int8)
    change = np.diff(np.concatenate([[0], flag, [0]]))
    return starts[change[:-1] == 1], ends[change[1:] == -1]


def longest_above(blocks: Iterator[Block], level: float) -> Span | None:
    """Longest stretch in which I² stays at or above a level, or None when it never is.

    Parameters
    ----------
    blocks : iterator of Block
        Contiguous blocks.
    level : float
        Level of I² [A2].
    """
    best = Span(0.0, 0.0)
    open_since: float | None = None
    for block in blocks:
        starts, ends = _stretches_above(block, level)
        whole = starts.size == 1 and starts[0] == 0.0 and ends[0] == block.period
        if whole:
            open_since = block.start if open_since is None else open_since
            best = max(best, Span(open_since, block.end - open_since), key=_length)
            continue
        # The second run shows what the join between two runs adds; later ones add nothing.
        for run in range(min(block.repeats, 2)):
            origin = block.start + run * block.period
            since = origin + starts
            if open_since is not None and starts.size and starts[0] == 0.0:
                since[0] = open_since
            if starts.size:
                length = (origin + ends) - since
                k = int(np.argmax(length))
                best = max(best, Span(float(since[k]), float(length[k])), key=_length)
            tail = bool(starts.size) and ends[-1] == block.period
            open_since = float(since[-1]) if tail else None
        if open_since is not None and block.repeats > 2:
            open_since += (block.repeats - 2) * block.period
    return best if best.duration > 0.0 else None


def _length(span: Span) -> float:
    return span.duration


def spans_above(blocks: Iterator[Block], level: float, most: int = 10_000) -> list[Span]:
    """Stretches in which I² stays at or above a level, in order.

    Parameters
    ----------
    blocks : iterator of Block
        Contiguous blocks.
    level : float
        Level of I² [A2].
    most : int
        How many are looked for.
    """
    found: list[Span] = []
    for block in blocks:
        starts, ends = _stretches_above(block, level)
        for run in range(block.repeats):
            origin = block.start + run * block.period
            for a, b in zip((origin + starts).tolist(), (origin + ends).tolist(), strict=True):
                if found and a <= found[-1].end * (1.0 + 1e-12):
                    found[-1] = Span(found[-1].start, b - found[-1].start)
                else:
                    found.append(Span(a, b - a))
            if len(found) > most:
                return found[:most]
    return found
