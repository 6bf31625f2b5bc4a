"""Blocks and trains of a waveform as the compiled integrator goes through them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..current.trains import LONG_TRAIN, Train, trains
from .integrate import PERIODIC_BOUND, Block, arrays_of, joule_integrals, sensitivity
from .kernels.layout import BlockArrays
from .network import Network

Floats = npt.NDArray[np.float64]

#: Parts of a block at whose ends its cycle is linearised.
_STOPS = 12


@dataclass(frozen=True, eq=False)
class Piece:
    """A block as the kernels take it, with its place in the cycle or the record.

    Parameters
    ----------
    arrays : BlockArrays
        One run through its table.
    whole0, whole1 : float
        Moments of I² over that run [A² s, A² s²].
    repeats : int
        Number of runs.
    start : float
        First instant, from the start of the cycle or of the record [s].
    """

    arrays: BlockArrays
    whole0: float
    whole1: float
    repeats: int
    start: float

    @property
    def period(self) -> float:
        """Time of one run through the table [s]."""
        return float(self.arrays.time[-1])

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
        return np.concatenate([[0.0], np.cumsum(joule_integrals(self.arrays))])

    @property
    def swing(self) -> float:
        """Swing of the Joule integral about its mean within one run [A² s]."""
        about = self.running - self.whole0 / self.period * self.arrays.time
        return float(about.max() - about.min())

    @property
    def stops(self) -> list[float]:
        """Times to linearise at [s]: equal parts of time and Joule integral together."""
        if self.repeats > 1:
            return [0.25 * i * self.duration for i in range(1, 4)]
        time, running = self.arrays.time, np.maximum.accumulate(self.running)
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


def piece_of(block: Block) -> Piece:
    """A block as the kernels take it."""
    arrays, whole0, whole1 = arrays_of(block)
    return Piece(arrays, whole0, whole1, int(block.repeats), float(block.start))


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
