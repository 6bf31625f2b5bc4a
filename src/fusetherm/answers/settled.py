"""A duty repeated until it settles, and the swings of one run through it from there."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..current.trains import cycle_at
from ..current.tree import Joined, Repeat
from ..current.waveform import Waveform
from ..fuse.model import FuseModel
from ..life.duty import Duty
from ..life.rainflow import Cycles, count_cycles, repeating
from ..life.swing_law import SwingLaw
from ..solver.run import AmbientLike, Run, State, simulate

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

#: How long the duty is repeated to find what it settles to [s], at least and at most [cycles].
SETTLING, FEWEST, MOST = 2e5, 64, 1_000_000
#: Most runs through a duty whose ambient changes, or that is long.
MOST_RUNS = 200
#: A duty has settled when a run through it changes no state by more than this [K].
SETTLED = 0.03
#: Swings below this do nothing [K].
SMALLEST_SWING = 1.0


@dataclass(frozen=True, slots=True)
class Settled:
    """One run through a duty once it repeats.

    Attributes
    ----------
    run : Run
        The run.
    cycles : Cycles
        Swings of the hot spot in a history without end; ``start`` and ``end`` are rows of the
        run's trace, and what was jumped over is in ``count``.
    opens : int or None
        Number of the run in which the element parts, from 1.
    melts : bool
        Whether it melts, in part or in whole.
    change : float
        Largest change of a state in the last run [K]; 0 where a cycle map was followed.
    """

    run: Run
    cycles: Cycles
    opens: int | None
    melts: bool
    change: float

    @classmethod
    def of(cls, model: FuseModel, duty: Duty, ambient_c: float, cells: int) -> Settled:
        """A duty on a model, at an ambient where it states none [degC].

        Short duties are repeated as one train, which leaps; long ones, and those whose ambient
        changes, are run through until nothing changes.
        """
        once, ambient = duty.waveform.repeated(1), duty.ambient(ambient_c)
        if isinstance(ambient, float) and FEWEST * once.duration <= SETTLING:
            return cls._by_train(model, once, ambient, cells)
        return cls._by_runs(model, once, ambient, cells)

    @classmethod
    def _by_train(cls, model: FuseModel, once: Waveform, ambient_c: float, cells: int) -> Settled:
        count = min(max(FEWEST, math.ceil(SETTLING / once.duration)), MOST)
        train = once.repeated(count)
        before = simulate(model, train, ambient_c=ambient_c, cells=cells)
        if before.opened:
            assert before.pre_arcing_time is not None
            place = cycle_at(train, before.pre_arcing_time)
            return cls(before, count_cycles([]), place[0] if place else 1, True, 0.0)
        end = _dissolved_in(model, once, ambient_c, cells, before, count)
        if end is not None:
            return cls(end[0], count_cycles([]), end[1], True, 0.0)
        run = simulate(model, once, ambient_c=ambient_c, cells=cells, start=before.final_state)
        melts = before.onset_time is not None or run.onset_time is not None
        return cls(run, swings(once, run), None, melts, 0.0)

    @classmethod
    def _by_runs(
        cls, model: FuseModel, once: Waveform, ambient: AmbientLike, cells: int
    ) -> Settled:
        most = min(max(math.ceil(SETTLING / once.duration), 3), MOST_RUNS)
        start: State | None = None
        melts, change = False, math.inf
        for number in range(1, most + 1):
            run = simulate(model, once, ambient_c=ambient, cells=cells, start=start)
            if run.opened:
                return cls(run, count_cycles([]), number, True, 0.0)
            melts = melts or run.onset_time is not None
            if start is not None:
                change = float(np.max(np.abs(run.final_state.u - start.u)))
            start = run.final_state
            if change <= SETTLED:
                break
        if isinstance(ambient, (int, float)):
            end = _dissolved_in(model, once, float(ambient), cells, run, number)
            if end is not None:
                return cls(end[0], count_cycles([]), end[1], True, 0.0)
        return cls(run, swings(once, run), None, melts, change)

    @property
    def swing(self) -> float:
        """Largest swing [K]."""
        return float(np.max(self.cycles.range, initial=0.0))

    @property
    def peak_c(self) -> float:
        """Peak temperature [degC]."""
        return self.run.peak_temperature_c

    @property
    def tops(self) -> Integers:
        """Row of the trace at which each swing has its upper end."""
        hot, cycles = self.run.element_temperature_c, self.cycles
        return np.where(hot[cycles.start] > hot[cycles.end], cycles.start, cycles.end)

    def ln_damage(self, pivot: float, exponents: Floats) -> Floats:
        """ln of sum n (dT/dT*)^c at some exponents c."""
        if self.melts:
            return np.zeros(exponents.size)
        laws = (SwingLaw(pivot_cycles=1.0, pivot_swing=pivot, exponent=c) for c in exponents)
        sums = [max(float(np.sum(law.damage(self.cycles))), 1e-300) for law in laws]
        return np.asarray(np.log(sums), dtype=np.float64)


def _dissolved_in(
    model: FuseModel, once: Waveform, ambient_c: float, cells: int, before: Run, done: int
) -> tuple[Run, int] | None:
    """The run, and the number of the cycle, in which a spot that dissolves opens the element.

    It never settles, so it is followed for as long as there are cycles.
    """
    if before.dissolved_share == 0.0 or done >= MOST:
        return None
    train = once.repeated(MOST - done)
    run = simulate(model, train, ambient_c=ambient_c, cells=cells, start=before.final_state)
    if not run.opened:
        return None
    assert run.pre_arcing_time is not None
    place = cycle_at(train, run.pre_arcing_time)
    return run, done + (place[0] if place else 1)


def swings(once: Waveform, run: Run) -> Cycles:
    """Swings of the hot spot in a run through a duty that repeats without end.

    Parameters
    ----------
    once : Waveform
        One run through the duty.
    run : Run
        Of it, from the state in which it repeats.

    Returns
    -------
    Cycles
        Swings above `SMALLEST_SWING`, full cycles.

    Notes
    -----
    Of a long repeat the trace holds the simulated cycles. Each is written down three times: the
    first and the last make the swings it has with what comes before and after, the middle one
    stands, with its weight, for the cycles jumped over, half of each gap.
    """
    time, hot = run.time, run.element_temperature_c
    inner = np.flatnonzero(time > 0.0)
    rows = [(np.flatnonzero(time <= 0.0), 1.0), *_written(once, time, inner, 0.0)]
    order = np.concatenate([part for part, _ in rows])
    weight = np.concatenate([np.full(part.size, by) for part, by in rows])
    found = repeating(hot[order])
    top = np.where(hot[order[found.start]] > hot[order[found.end]], found.start, found.end)
    weighted = Cycles(
        found.range, found.mean, found.count * weight[top], order[found.start], order[found.end]
    )
    return weighted.above(SMALLEST_SWING)


def _written(
    wave: Waveform, time: Floats, rows: Integers, start: float
) -> Iterator[tuple[Integers, float]]:
    """Rows of a trace in order, with what they count; ``rows`` are those after ``start``."""
    if rows.size == 0:
        return
    if isinstance(wave, Joined):
        ends = start + wave.starts[1:]
        ends[-1] = math.inf
        which = np.searchsorted(ends * (1.0 + 1e-12), time[rows], side="left")
        for i in np.unique(which).tolist():
            here = start + float(wave.starts[i])
            yield from _written(wave.pieces[i], time, rows[which == i], here)
    elif isinstance(wave, Repeat):
        since = (time[rows] - start) / wave.period
        slack = 1e-9 + 8.0 * np.finfo(float).eps * np.maximum(time[rows], 1.0) / wave.period
        number = np.clip(np.ceil(since - slack) - 1.0, 0.0, wave.count - 1.0).astype(np.int64)
        there = np.unique(number)
        gaps = np.diff(np.concatenate([[-1], there, [wave.count]])) - 1
        jumped = 0.5 * (gaps[:-1] + gaps[1:])
        jumped[0] += 0.5 * gaps[0]
        jumped[-1] += 0.5 * gaps[-1]
        for k, extra in zip(there.tolist(), jumped.tolist(), strict=True):
            one = list(_written(wave.cycle, time, rows[number == k], start + k * wave.period))
            yield from one
            if extra > 0.0:
                yield from ((part, by * (extra - 1.0)) for part, by in one)
                yield from one
    else:
        yield rows, 1.0
