"""Blocks and trains of a waveform as the compiled integrator goes through them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..current.blocks import segment_integrals
from ..current.trains import LONG_TRAIN, Train, trains
from .integrate import PERIODIC_BOUND, Block, ConstantBlock, sensitivity
from .kernels.layout import ABOUT, AREA, BEGIN, BLOCK_COLUMNS, HALF, S0, S1, S2
from .network import Network

Floats = npt.NDArray[np.float64]

#: Parts of a block at whose ends its cycle is linearised.
_STOPS = 12


@dataclass(frozen=True, eq=False)
class Piece:
    """A block as the kernels take it, with its place in the cycle or the record.

    Parameters
    ----------
    table : (m + 1, BLOCK_COLUMNS) array
        One run through it, by segments.
    whole0, whole1 : float
        Moments of I² over that run [A² s, A² s²].
    repeats : int
        Number of runs.
    start : float
        First instant, from the start of the cycle or of the record [s].
    """

    table: Floats
    whole0: float
    whole1: float
    repeats: int
    start: float

    @property
    def period(self) -> float:
        """Time of one run through the table [s]."""
        return float(self.table[-1, BEGIN])

    @property
    def duration(self) -> float:
        """Time of all runs [s]."""
        return self.repeats * self.period

    @property
    def action(self) -> float:
        """Joule integral of all runs [A² s]."""
        return self.repeats * self.whole0

    @property
    def running(self) -> Floats:
        """Joule integral up to each point of the table [A² s]."""
        return np.concatenate([[0.0], np.cumsum(self.table[:-1, AREA])])

    @property
    def swing(self) -> float:
        """Swing of the Joule integral about its mean within one run [A² s]."""
        about = self.running - self.whole0 / self.period * self.table[:, BEGIN]
        return float(about.max() - about.min())

    @property
    def stops(self) -> list[float]:
        """Times to linearise at [s]: equal parts of time and Joule integral together."""
        if self.repeats > 1:
            return [0.25 * i * self.duration for i in range(1, 4)]
        time, running = self.table[:, BEGIN], np.maximum.accumulate(self.running)
        whole = time / time[-1] + running / max(running[-1], 1e-300)
        goals = np.arange(1, _STOPS) / _STOPS * whole[-1]
        stops = np.unique(np.interp(goals, whole, time))
        keep = (stops > 1e-9 * time[-1]) & (stops < (1.0 - 1e-9) * time[-1])
        return [float(stop) for stop in stops[keep]]


@dataclass(frozen=True, eq=False)
class Cycles:
    """A cycle of pieces, run through many times.

    Parameters
    ----------
    pieces : tuple of Piece or Cycles
        One cycle.
    period : float
        Its time [s].
    repeats : int
        Number of cycles.
    start : float
        First instant, from the start of the outer cycle or of the record [s].
    """

    pieces: tuple[Piece | Cycles, ...]
    period: float
    repeats: int
    start: float

    @property
    def action(self) -> float:
        """Joule integral of all cycles [A² s]."""
        return self.repeats * sum(piece.action for piece in self.pieces)


def table_of(block: Block) -> tuple[Floats, float, float]:
    """A block as the kernels take it, (m + 1, BLOCK_COLUMNS), and M0 and M1 of one period."""
    table = np.zeros((2 if isinstance(block, ConstantBlock) else len(block.time), BLOCK_COLUMNS))
    if len(table) == 2:  # most often; numbers are quicker than arrays of one
        if isinstance(block, ConstantBlock):
            t, end, s0, s1, s2 = 0.0, block.duration, block.squared, 0.0, 0.0
        else:
            t, end = block.time.tolist()
            s0, s1, s2 = (float(s[0]) for s in (block.s0, block.s1, block.s2))
        area, about, half = segment_integrals(end - t, s0, s1, s2)
        table[0] = t, s0, s1, s2, area, about, half
        table[1, BEGIN] = end
        return table, area, t * area + about
    table[:, BEGIN] = block.time
    inner = table[:-1]
    inner[:, S0], inner[:, S1], inner[:, S2] = block.s0, block.s1, block.s2
    inner[:, AREA], inner[:, ABOUT], inner[:, HALF] = segment_integrals(
        np.diff(block.time), block.s0, block.s1, block.s2
    )
    whole1 = float((inner[:, BEGIN] * inner[:, AREA] + inner[:, ABOUT]).sum())
    return table, float(inner[:, AREA].sum()), whole1


def piece_of(block: Block) -> Piece:
    """A block as the kernels take it."""
    table, whole0, whole1 = table_of(block)
    return Piece(table, whole0, whole1, int(block.repeats), float(block.start))


def prepared(item: Block | Train, network: Network, whole: bool) -> Piece | Cycles:
    """A block or a train as pieces; a repeat becomes cycles where a jump can serve.

    Parameters
    ----------
    item : Block or Train
    network : Network
        Whose element says what a swing of the Joule integral does.
    whole : bool
        Leave every block a block.
    """
    if isinstance(item, Train):
        inner = tuple(prepared(part, network, whole) for part in trains(item.cycle))
        return Cycles(inner, item.period, item.repeats, item.start)
    piece = piece_of(item)
    if whole or piece.repeats < LONG_TRAIN:
        return piece
    if sensitivity(network) * piece.swing <= PERIODIC_BOUND:
        return piece
    once = replace(piece, repeats=1, start=0.0)
    return Cycles((once,), piece.period, piece.repeats, piece.start)
