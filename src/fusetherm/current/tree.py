"""Waveforms made of waveforms: one after another, one many times, several at once."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial, reduce

import numpy as np

from ..errors import InputError
from .blocks import Array, Block, coalesced, repeated
from .cycles import edges_of, locate, repeat_integral
from .sampled import constant
from .waveform import (
    MAX_POINTS,
    Stretch,
    Waveform,
    finite,
    quadrature,
)

#: Share of a cycle that counts as rounding when two waveforms are laid over each other.
_SLIVER = 1e-12
#: Share of the shorter piece within which two times are taken for one.
_TOGETHER = 1e-10


@dataclass(frozen=True, eq=False)
class Joined(Waveform):
    """Waveforms one after another.

    Parameters
    ----------
    pieces : tuple of Waveform
        At least one; pieces that are themselves joined are taken apart.
    """

    pieces: tuple[Waveform, ...]

    def __post_init__(self) -> None:
        flat: list[Waveform] = []
        for piece in self.pieces:
            flat.extend(piece.pieces if isinstance(piece, Joined) else (piece,))
        if not flat:
            raise InputError("too-few-points", "no waveform to join", expected="at least one")
        object.__setattr__(self, "pieces", tuple(flat))
        object.__setattr__(self, "_starts", np.cumsum([0.0] + [p.duration for p in flat]))

    @property
    def parts(self) -> tuple[Waveform, ...]:
        """The waveforms in their order."""
        return self.pieces

    @property
    def starts(self) -> Array:
        """Start of each piece, and the end of the last [s]."""
        starts: Array = self._starts  # type: ignore[attr-defined]
        return starts

    @property
    def duration(self) -> float:
        """Sum of the durations [s]."""
        return float(self.starts[-1])

    def _placed(self) -> Iterator[tuple[float, Waveform]]:
        return zip(self.starts[:-1].tolist(), self.pieces, strict=True)

    @property
    def edges(self) -> Array:
        """Edges of all pieces [s]."""
        inner = [start + piece.edges[1:] for start, piece in self._placed()]
        return np.concatenate([[0.0], *inner])

    def _mesh(self) -> Array:
        inner = [start + piece._mesh()[1:] for start, piece in self._placed()]
        return np.concatenate([[0.0], *inner])

    def _content(self) -> Iterator[bytes]:
        return iter(())

    def _at(self, time: Array, left: bool) -> Array:
        k = np.searchsorted(self.starts, time, side="left" if left else "right") - 1
        k = np.clip(k, 0, len(self.pieces) - 1)
        values = np.empty_like(time)
        for j in np.unique(k):
            here = k == j
            piece = self.pieces[j]
            values[here] = piece._at(np.clip(time[here] - self.starts[j], 0, piece.duration), left)
        return values

    def _integral(self, a: float, b: float, power: int) -> float:
        low = max(int(np.searchsorted(self.starts, a, side="right")) - 1, 0)
        high = int(np.searchsorted(self.starts, b, side="left"))
        return math.fsum(
            self.pieces[j]._over(a - float(self.starts[j]), b - float(self.starts[j]), power)
            for j in range(low, min(high, len(self.pieces)))
        )

    @property
    def extremes(self) -> tuple[float, float]:
        """Lowest and highest current, with sign [A]."""
        lows, highs = zip(*(piece.extremes for piece in self.pieces), strict=True)
        return min(lows), max(highs)

    def scaled(self, factor: float) -> Joined:
        """Every piece with its currents multiplied by ``factor``."""
        return Joined(tuple(piece.scaled(factor) for piece in self.pieces))

    def _raised(self, current: float) -> Joined:
        return Joined(tuple(piece._raised(current) for piece in self.pieces))

    def _cut(self, a: float, b: float) -> Waveform:
        kept = []
        for start, piece in self._placed():
            low, high = max(a - start, 0.0), min(b - start, piece.duration)
            if high - low > _SLIVER * piece.duration:
                kept.append(piece.cut(low, high))
        return _row(kept) if kept else _instant(self, a, b)

    def _stretches(self) -> Iterator[Stretch]:
        for piece in self.pieces:
            yield from piece._stretches()

    def _own_blocks(self, max_points: int) -> Iterator[Block]:
        for start, piece in self._placed():
            for block in piece.blocks(max_points):
                yield replace(block, start=start + block.start)

    def blocks(self, max_points: int = MAX_POINTS) -> Iterator[Block]:
        """Blocks of the pieces in order, short neighbours joined."""
        return coalesced(self._own_blocks(max_points), max_points)


def _row(pieces: list[Waveform]) -> Waveform:
    """One piece as it is, several joined."""
    return pieces[0] if len(pieces) == 1 else Joined(tuple(pieces))


def _instant(wave: Waveform, a: float, b: float) -> Waveform:
    """A stretch so short that it lies within the rounding of an edge."""
    return constant(float(wave._at(np.array([a]), False)[0]), b - a)


@dataclass(frozen=True, eq=False)
class Repeat(Waveform):
    """A waveform repeated at its own duration; no array grows with the count.

    `Waveform.repeated` makes one with a period and a rest.

    Parameters
    ----------
    cycle : Waveform
        One cycle, rest included.
    count : int
        Number of cycles (>= 1).
    """

    cycle: Waveform
    count: int

    def __post_init__(self) -> None:
        if self.count != int(self.count) or self.count < 1:
            raise InputError(
                "count-not-positive", f"{self.count} cycles", expected="a whole number, 1 or more"
            )
        object.__setattr__(self, "count", int(self.count))

    @property
    def parts(self) -> tuple[Waveform, ...]:
        """The cycle."""
        return (self.cycle,)

    @property
    def period(self) -> float:
        """Time from start to start [s]."""
        return self.cycle.duration

    @property
    def duration(self) -> float:
        """Count times period [s]."""
        return self.count * self.period

    @property
    def edges(self) -> Array:
        """Edges of all cycles [s]; refused beyond 5 million."""
        return edges_of(self.cycle.edges, self.count)

    def _mesh(self) -> Array:
        return edges_of(self.cycle._mesh(), self.count)

    @property
    def _flat(self) -> bool:
        return False

    @property
    def _level(self) -> float | None:
        return self.cycle._level

    def _content(self) -> Iterator[bytes]:
        yield str(self.count).encode()

    def locate(self, time: float) -> tuple[int, float]:
        """Cycle (from 0) and time in it [s]: the pair in which nothing is lost to rounding."""
        return locate(time, self.period, self.count)

    def _at(self, time: Array, left: bool) -> Array:
        period = self.period
        offset = np.fmod(time, period)
        slack = 4.0 * np.spacing(time)
        offset = np.where((offset <= slack) | (period - offset <= slack), 0.0, offset)
        end = time >= self.duration - slack
        wrap = (offset == 0.0) & ((time > slack) if left else end)
        return self.cycle._at(np.where(wrap, period, offset), left)

    def _integral(self, a: float, b: float, power: int) -> float:
        return repeat_integral(self.cycle, self.count, a, b, power, self.period)

    @property
    def extremes(self) -> tuple[float, float]:
        """Lowest and highest current, with sign [A]."""
        return self.cycle.extremes

    def scaled(self, factor: float) -> Repeat:
        """Every cycle with its currents multiplied by ``factor``."""
        return Repeat(self.cycle.scaled(factor), self.count)

    def _raised(self, current: float) -> Repeat:
        return Repeat(self.cycle._raised(current), self.count)

    def _cut(self, a: float, b: float) -> Waveform:
        (i, from_), (j, to) = self.locate(a), self.locate(b)
        sliver = _SLIVER * self.period
        if self.period - from_ <= sliver:
            i, from_ = i + 1, 0.0
        if self.period - to <= sliver:
            j, to = j + 1, 0.0
        if i == j and from_ < to:
            return self.cycle.cut(from_, to)
        pieces: list[Waveform] = []
        if from_ > 0.0:
            pieces.append(self.cycle.cut(from_))
            i += 1
        if j > i:
            pieces.append(Repeat(self.cycle, j - i))
        if to > sliver:
            pieces.append(self.cycle.cut(0.0, to))
        return _row(pieces) if pieces else _instant(self, a, b)

    def _stretches(self) -> Iterator[Stretch]:
        inner = self.cycle._stretches()
        first, second = next(inner), next(inner, None)
        if second is None:
            yield Stretch(first.wave, first.repeats * self.count)
        elif self.cycle._flat:
            yield Stretch(self.cycle, self.count)
        else:
            for _ in range(self.count):
                yield from self.cycle._stretches()

    def blocks(self, max_points: int = MAX_POINTS) -> Iterator[Block]:
        """Blocks of the cycle, as one repeated block wherever its table is short enough."""
        return repeated(partial(self.cycle.blocks, max_points), self.period, self.count, max_points)


@dataclass(frozen=True, eq=False)
class Sum(Waveform):
    """Waveforms that flow at once, from the same instant; each is zero after its end.

    Parameters
    ----------
    terms : tuple of Waveform
        At least one.
    span : float, optional
        Common duration [s] of terms whose own durations differ from it by rounding only.

    Notes
    -----
    The square of a sum is integrated by Gauss-Legendre quadrature of 8 points on pieces
    that are smooth for all terms. Where one term is constant the repeats of another stay
    repeats; where two repeats of different periods meet, the pieces are made one by one.
    """

    terms: tuple[Waveform, ...]
    span: float | None = None

    def __post_init__(self) -> None:
        flat: list[Waveform] = []
        for term in self.terms:
            # A term shorter than its own sum must not be taken for one of the common span.
            plain = isinstance(term, Sum) and term.span is None and self.span is None
            flat.extend(term.parts if plain else (term,))
        if not flat:
            raise InputError("too-few-points", "no waveform to add", expected="at least one")
        object.__setattr__(self, "terms", tuple(flat))

    @property
    def parts(self) -> tuple[Waveform, ...]:
        """The terms."""
        return self.terms

    @property
    def duration(self) -> float:
        """Longest duration among the terms [s]."""
        return self.span or max(term.duration for term in self.terms)

    @property
    def edges(self) -> Array:
        """Edges of all terms [s]."""
        return self._merged([term.edges for term in self.terms])

    def _mesh(self) -> Array:
        return self._merged([term._mesh() for term in self.terms])

    def _merged(self, edges: list[Array]) -> Array:
        """Union of the terms' times; times that differ by rounding only are one time."""
        end = self.duration
        slack = _TOGETHER * self.span if self.span else 16.0 * math.ulp(end)
        merged = np.unique(np.concatenate(edges))
        merged = merged[merged < end - slack]
        return np.append(merged[np.diff(merged, prepend=-math.inf) > slack], end)

    def _content(self) -> Iterator[bytes]:
        return iter(())

    def _at(self, time: Array, left: bool) -> Array:
        values = np.zeros_like(time)
        for term in self.terms:
            end = term.duration
            if self.span or end == self.duration:
                values += term._at(np.minimum(time, end), left)
                continue
            inside = time <= end if left else time < end
            values[inside] += term._at(time[inside], left)
        return values

    def _integral(self, a: float, b: float, power: int) -> float:
        if power == 1:
            return math.fsum(term._over(a, b, 1) for term in self.terms)
        if self._flat:
            return quadrature(self, a, b, 2)
        sums, start = [], 0.0
        for wave, repeats in self._stretches():
            period = wave.duration
            end = start + repeats * period
            if end > a:
                low, high = max(a - start, 0.0), min(b, end) - start
                sums.append(repeat_integral(wave, repeats, low, high, 2, period))
            if end >= b:
                break
            start = end
        return math.fsum(sums)

    def scaled(self, factor: float) -> Sum:
        """Every term with its currents multiplied by ``factor``."""
        by = finite(factor, "factor", "A/A")
        return Sum(tuple(term.scaled(by) for term in self.terms), self.span)

    def _raised(self, current: float) -> Sum:
        return Sum((*self.terms, constant(current, self.duration)), self.span)

    def _cut(self, a: float, b: float) -> Waveform:
        kept: list[Waveform] = []
        for term in self.terms:
            if a < term.duration:
                kept.append(term.cut(a, min(b, term.duration)))
        if self.span:
            return Sum(tuple(kept), b - a)
        if max(term.duration for term in kept) < b - a:
            kept.append(constant(0.0, b - a))
        return Sum(tuple(kept))

    def _stretches(self) -> Iterator[Stretch]:
        if self._flat:
            return iter((Stretch(self, 1),))
        return reduce(_overlaid, (term._stretches() for term in self.terms))

    def _own_blocks(self, max_points: int) -> Iterator[Block]:
        start = 0.0
        for wave, repeats in self._stretches():
            period = wave.duration
            for block in repeated(partial(wave.blocks, max_points), period, repeats, max_points):
                yield replace(block, start=start + block.start)
            start += repeats * period

    def blocks(self, max_points: int = MAX_POINTS) -> Iterator[Block]:
        """Blocks of the sum, made one at a time, short neighbours joined."""
        if self._flat:
            return super().blocks(max_points)
        return coalesced(self._own_blocks(max_points), max_points)


class _Cursor:
    """A place in a stream of stretches; a constant counts as one long cycle."""

    def __init__(self, stream: Iterator[Stretch]) -> None:
        self.stream = stream
        self.live = True
        self._load()

    def _load(self) -> None:
        stretch = next(self.stream, None)
        self.offset = 0.0
        if stretch is None:
            self.live = False
            return
        self.wave, self.repeats = stretch
        self.level = self.wave._level
        if self.level is not None:
            self.wave = constant(self.level, self.wave.duration * self.repeats)
            self.repeats = 1
        self.period = self.wave.duration

    @property
    def left(self) -> float:
        """Time to the end of the present cycle [s]."""
        return self.period - self.offset

    def whole(self, within: float) -> int:
        """Number of whole cycles from here that fit into a time."""
        if self.offset > 0.0:
            return 0
        return min(self.repeats, int(within / self.period + _SLIVER))

    def step(self, length: float) -> Waveform:
        """The next ``length`` seconds of the present cycle; moves on."""
        end = self.offset + length
        if self.period - end <= _SLIVER * self.period:
            end = self.period
        piece = self.wave.cut(self.offset, end)
        self.offset = end
        if end == self.period:
            self.skip(1)
        return piece

    def skip(self, cycles: int) -> None:
        """Leaves whole cycles behind."""
        self.offset = 0.0
        self.repeats -= cycles
        if self.repeats == 0:
            self._load()

    def rest(self) -> Iterator[Stretch]:
        """What has not been passed yet."""
        while self.live and self.offset > 0.0:
            yield Stretch(self.step(self.left), 1)
        while self.live:
            yield Stretch(self.wave, self.repeats)
            self._load()


def _laid_over(first: Waveform, second: Waveform, length: float) -> Waveform:
    """Sum of two waveforms of one duration, be it for rounding."""
    if first._level is not None:
        return second._raised(first._level)
    if second._level is not None:
        return first._raised(second._level)
    return Sum((first, second), length)


def _overlaid(first: Iterator[Stretch], second: Iterator[Stretch]) -> Iterator[Stretch]:
    """Sum of two streams of stretches, lazily; repeats survive where the other is constant."""
    a, b = _Cursor(first), _Cursor(second)
    while a.live and b.live:
        if a.level is not None and (n := b.whole(a.left)):
            yield Stretch(b.wave._raised(a.level), n)
            a.step(n * b.period)
            b.skip(n)
        elif b.level is not None and (n := a.whole(b.left)):
            yield Stretch(a.wave._raised(b.level), n)
            b.step(n * a.period)
            a.skip(n)
        elif a.offset == b.offset == 0.0 and abs(a.period - b.period) <= _SLIVER * a.period:
            n = min(a.repeats, b.repeats)
            yield Stretch(_laid_over(a.wave, b.wave, a.period), n)
            a.skip(n)
            b.skip(n)
        else:
            length = min(a.left, b.left)
            if abs(a.left - b.left) <= _TOGETHER * min(a.period, b.period):
                yield Stretch(_laid_over(a.step(a.left), b.step(b.left), length), 1)
            else:
                yield Stretch(_laid_over(a.step(length), b.step(length), length), 1)
    yield from a.rest()
    yield from b.rest()
