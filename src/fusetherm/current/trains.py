"""Blocks of a waveform with its long repeats kept whole, for solvers that can jump over cycles."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from .blocks import Block
from .tree import Joined, Repeat
from .waveform import Waveform

#: Repeats of at least this many cycles are kept whole.
LONG_TRAIN = 64


@dataclass(frozen=True, eq=False)
class Train:
    """A cycle of several blocks, run through many times.

    Parameters
    ----------
    cycle : Waveform
        One cycle.
    repeats : int
        Number of cycles.
    start : float
        Time of the first cycle's first instant in the record [s].
    """

    cycle: Waveform
    repeats: int
    start: float = 0.0

    @property
    def period(self) -> float:
        """Time of one cycle [s]."""
        return self.cycle.duration


def trains(waveform: Waveform) -> Iterator[Block | Train]:
    """Blocks of a waveform in order; a long repeat of several blocks comes as one train.

    A long repeat whose cycle is one block stays that block, with its count of repeats.
    """
    if isinstance(waveform, Repeat) and waveform.count >= LONG_TRAIN:
        blocks = waveform.blocks()
        first = next(blocks)
        if first.repeats % waveform.count == 0:
            yield first
        else:
            yield Train(waveform.cycle, waveform.count)
    elif isinstance(waveform, Joined) and any(_long(piece) for piece in waveform.pieces):
        plain: list[Waveform] = []
        start = begin = 0.0
        for piece, at in zip(waveform.pieces, waveform.starts.tolist(), strict=False):
            if not _long(piece):
                begin = begin if plain else at
                plain.append(piece)
                continue
            yield from _moved(plain, begin)
            plain, start = [], at
            yield from (replace(item, start=start + item.start) for item in trains(piece))
        yield from _moved(plain, begin)
    else:
        yield from waveform.blocks()


def _moved(pieces: list[Waveform], start: float) -> Iterator[Block]:
    if pieces:
        for block in Joined(tuple(pieces)).blocks():
            yield replace(block, start=start + block.start)


def _long(wave: Waveform) -> bool:
    """Whether a long repeat lies inside."""
    if isinstance(wave, Repeat) and wave.count >= LONG_TRAIN:
        return True
    return any(_long(part) for part in wave.parts)


def cycle_at(waveform: Waveform, time: float) -> tuple[int, int] | None:
    """Number of the cycle (from 1) that runs at a time, and of all of them; None outside repeats.

    Parameters
    ----------
    waveform : Waveform
    time : float
        Time in the record [s].
    """
    if isinstance(waveform, Repeat):
        return waveform.locate(min(time, waveform.duration))[0] + 1, waveform.count
    if isinstance(waveform, Joined):
        for piece, begin in zip(waveform.pieces, waveform.starts.tolist(), strict=False):
            if begin <= time < begin + piece.duration:
                return cycle_at(piece, time - begin)
    return None
