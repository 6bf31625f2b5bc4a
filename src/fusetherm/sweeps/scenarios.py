"""Rows of a sweep as scenarios that run side by side; what rows share is made once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from ..current.ends import end_level
from ..current.shapes import constant
from ..current.trains import LONG_TRAIN, Train, trains
from ..current.waveform import Waveform
from ..fuse.model import FuseModel
from ..solver.batch import Scenario, fits_lanes
from ..solver.integrate import PERIODIC_BOUND, ConstantBlock, sensitivity
from ..solver.network import Network, build_network
from ..solver.pieces import Piece, piece_of
from ..solver.run import carries_for_ever, hold_time, start_state
from ..units import kelvin
from .plan import MIDDLE, Work

#: Networks, models and courses kept while a block is solved.
_KEPT = 256


@dataclass(frozen=True, eq=False, slots=True)
class Course:
    """A current as pieces, for every factor on it.

    Attributes
    ----------
    pieces : tuple of Piece
    span : float
        Time of the waveform itself [s].
    held : float
        Current held after it [A], 0 for none.
    swing : float
        Largest swing of the Joule integral within a cycle of a long repeat [A² s].
    """

    pieces: tuple[Piece, ...]
    span: float
    held: float
    swing: float


class Scenarios:
    """Makes scenarios of rows of one sweep.

    Parameters
    ----------
    work : Work
        The sweep.
    """

    def __init__(self, work: Work) -> None:
        self.work = work
        self._model: Any = lru_cache(maxsize=_KEPT)(self._unit)
        self._network: Any = lru_cache(maxsize=_KEPT)(self._build)
        self._start: Any = lru_cache(maxsize=_KEPT)(self._begin)
        self._carries: Any = lru_cache(maxsize=_KEPT)(self._for_ever)
        self._course: Any = lru_cache(maxsize=_KEPT)(self._pieces)
        self._tailed: Any = lru_cache(maxsize=_KEPT)(self._with_tail)

    def model(self, at: Mapping[str, Any]) -> FuseModel:
        """Model of a row."""
        model: FuseModel = self._model(at["fuse"], at["draw"], at["unit"])
        return model

    def waveform(self, at: Mapping[str, Any]) -> Waveform:
        """Current of a row."""
        if "current" in at:
            return constant(at["current"], at["duration"])
        wave = self.work.waveforms[at["waveform"]]
        return wave if at["factor"] == 1.0 else wave.scaled(at["factor"])

    def scenario(self, at: Mapping[str, Any]) -> Scenario | None:
        """A row as a scenario; None where it is to be simulated by itself.

        By itself goes an element in filler or under a spot, and a long repeat that is jumped over.
        """
        unit = (at["fuse"], at["draw"], at["unit"])
        network: Network = self._network(*unit, at["ambient_c"])
        if not fits_lanes(network):
            return None
        wave, factor = (None, at["current"]) if "current" in at else (at["waveform"], at["factor"])
        duration = at.get("duration")
        course: Course | None = self._course(wave, duration)
        if course is None:
            return None
        scale = float(factor) ** 2
        if course.swing > 0.0 and sensitivity(network) * course.swing * scale > PERIODIC_BOUND:
            return None
        until, pieces = course.span, course.pieces
        held = abs(course.held * factor) if self.work.after == "hold" else 0.0
        if held > 0.0:
            steady = self._carries(*unit, at["ambient_c"], held)
            until += hold_time(steady)
            pieces = self._tailed(wave, duration, steady)
        return Scenario(
            network, pieces, scale, self._start(*unit, at["ambient_c"], at["preload"]), until
        )

    def _unit(self, fuse: str, draw: int, unit: int) -> FuseModel:
        """Model of a unit: its scores come from the seed of the sweep and its number alone."""
        kind = self.work.fuses[fuse]
        model = kind.models[draw]
        if unit == MIDDLE:
            return model
        scores = np.random.default_rng([self.work.seed, unit]).standard_normal(len(kind.spread.sd))
        return kind.spread.unit(model, scores)

    def _build(self, fuse: str, draw: int, unit: int, ambient_c: float) -> Network:
        return build_network(
            self._model(fuse, draw, unit),
            ambient_k=kelvin(ambient_c, "ambient"),
            cells=self.work.fuses[fuse].cells,
        )

    def _begin(self, fuse: str, draw: int, unit: int, ambient_c: float, preload: float) -> Any:
        network = self._network(fuse, draw, unit, ambient_c)
        return start_state(network, preload or None, network.ambient_k)

    def _for_ever(self, fuse: str, draw: int, unit: int, ambient_c: float, held: float) -> bool:
        network = self._network(fuse, draw, unit, ambient_c)
        return carries_for_ever(network, held, network.ambient_k)

    def _pieces(self, wave: str | None, duration: float | None) -> Course | None:
        if wave is not None:
            current = self.work.waveforms[wave]
        else:
            assert duration is not None
            current = constant(1.0, duration)
        pieces = []
        for block in trains(current):
            if isinstance(block, Train):
                return None
            pieces.append(piece_of(block))
        return Course(
            tuple(pieces),
            float(current.duration),
            end_level(current).current,
            max((piece.swing for piece in pieces if piece.repeats >= LONG_TRAIN), default=0.0),
        )

    def _with_tail(self, wave: str | None, duration: float | None, steady: bool) -> tuple[Any, ...]:
        course: Course = self._course(wave, duration)
        tail = ConstantBlock(course.held**2, hold_time(steady), course.span)
        return (*course.pieces, piece_of(tail))
