"""The compiled integrator's way through the blocks of a waveform, long repeats jumped over.

A repeat of many cycles is followed by its cycle map: some cycles are simulated, the linearised
map says what the following ones add, and after each leap one cycle is simulated again. What it
says against what was predicted corrects the leap, and sets the length of the next one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..current.trains import LONG_TRAIN, Train
from .cycle_map import CycleMap, Sample, cycle_map
from .integrate import (
    STEP_BUDGET,
    TRACE_ROWS,
    Ambient,
    Block,
    Progress,
    Solution,
    fresh_clock,
    raise_nothing,
    raise_stalled,
    scratch_of,
    setting_of,
    solution_of,
)
from .kernels import advance as loop
from .methods import METHODS
from .network import Network
from .pieces import Cycles, Piece, prepared

Floats = npt.NDArray[np.float64]

#: Cycles simulated before the first leap, and the shortest and first leap [cycles].
FIRST_CYCLES, SHORTEST_LEAP, FIRST_LEAP = 4, 3, 8
#: Longest a leap may grow over the one before.
GROWTH = 8.0
#: Error of a leap allowed, over the tolerance of a step [K]: .03 K at the usual 1e-4.
LEAP_ERROR = 300.0
#: Part of a leap's correction taken for its error.
UNCERTAIN = 0.25
#: Beyond this number of states (sand) only longer trains are jumped over.
_STATES = 150


@dataclass
class _Snapshot:
    u: Floats
    clock: Floats
    count: npt.NDArray[np.int64]
    peak_state: Floats
    rows: int
    samples: int
    jumped: int


class Walk:
    """One run on its way: state, clock and trace, moved on through piece after piece."""

    def __init__(
        self,
        network: Network,
        start: Floats,
        ambient: Ambient,
        until: float,
        tolerance: float,
        integrator: str,
        progress: Progress | None,
        peaks: bool = False,
        to_onset: bool = False,
    ) -> None:
        self.network, self.ambient, self.until = network, ambient, until
        self.progress = progress
        self.method = METHODS[integrator]
        self.setting = setting_of(network, tolerance, to_onset)
        self.z = scratch_of(network, len(self.method.alpha))
        self.u = np.array(start, dtype=np.float64)
        self.peak_state = self.u.copy()
        self.clock = fresh_clock(ambient)
        self.count = np.zeros(loop.COUNT_SIZE, dtype=np.int64)
        self.names = tuple(network.nodes)
        self.watched = np.array([network.nodes[name] for name in self.names], dtype=np.int64)
        self.trace = np.empty((TRACE_ROWS, loop.ROW_FIXED + len(self.watched)))
        self.rows: list[Floats] = []
        self.leap_error = LEAP_ERROR * tolerance
        self.samples: list[Sample] | None = None
        self.jumped = 0
        self.peaks = peaks
        self.leaping = 0  # leaps under way: until they end the trace stays as it is

    # one piece after another --------------------------------------------------------------

    def through(self, item: Piece | Cycles, origin: float) -> int:
        """Go through an item that starts ``origin`` after its own start; return the outcome."""
        if isinstance(item, Cycles):
            return _Leaps(self, item, origin + item.start).through()
        return self._block(item, origin + item.start)

    def once(self, cycles: Cycles, origin: float) -> int:
        """Go through one cycle that starts at a time [s]."""
        for item in cycles.pieces:
            if origin + item.start >= self.until:
                break
            outcome = self.through(item, origin)
            if outcome != loop.BLOCK_DONE:
                return outcome
        return loop.BLOCK_DONE

    def _block(self, piece: Piece, start: float) -> int:
        end = min(start + piece.duration, self.until)
        whole = end == start + piece.duration
        clock, count = self.clock, self.count
        clock[loop.OFFSET], count[loop.CYCLE] = 0.0, 0
        stops = [piece.duration if whole else end - start]
        if self.samples is not None:
            stops = [*(s for s in piece.stops if s < stops[0]), *stops]
        outcome, done = loop.BLOCK_DONE, 0.0
        for stop in stops:
            action = clock[loop.ACTION]
            for piece_end, ambient_k, rate in self.ambient.pieces(start + done, start + stop):
                if ambient_k != clock[loop.AMBIENT] or rate != clock[loop.AMBIENT_RATE]:
                    clock[loop.AMBIENT], clock[loop.AMBIENT_RATE] = ambient_k, rate
                    count[loop.FRESH] = 0
                last = piece_end == start + stop
                outcome = self._advance(piece, start, stop if last else piece_end - start)
                if outcome != loop.BLOCK_DONE:
                    return outcome
            if self.samples is not None:
                self.samples.append(
                    Sample(
                        stop - done,
                        clock[loop.ACTION] - action,
                        self.u.copy(),
                        clock[loop.AMBIENT],
                    )
                )
            done = stop
        return outcome

    def _advance(self, piece: Piece, start: float, to: float) -> int:
        while True:
            outcome = int(loop.advance(
                piece.table, piece.repeats, start, piece.whole0, piece.whole1, to, self.u,
                self.clock, self.count, self.trace, self.watched, self.network.arrays,
                self.setting, self.method, self.z, self.peak_state, STEP_BUDGET,
            ))  # fmt: skip
            if outcome == loop.TRACE_FULL:
                self.flush()
            elif outcome != loop.BUDGET:
                return outcome
            if self.progress is not None:
                reached = self.count[loop.CYCLE] * piece.period + self.clock[loop.OFFSET]
                self.progress(float(start + reached))

    def flush(self) -> None:
        """Move the rows of the trace out of the kernels' buffer."""
        self.rows.append(self.trace[: self.count[loop.ROWS_WRITTEN]].copy())
        self.count[loop.ROWS_WRITTEN] = 0
        if self.peaks and not self.leaping:
            self.rows = [extreme_rows(np.concatenate(self.rows))]

    # what leaps need ----------------------------------------------------------------------

    def extended(self) -> Floats:
        """State, ambient [K] and heat made so far [J], as a cycle map takes them."""
        return np.append(self.u, self.clock[[loop.AMBIENT, loop.JOULE]])

    def place(self, x: Floats) -> None:
        """Set state, ambient and heat made."""
        self.u[:], self.clock[[loop.AMBIENT, loop.JOULE]] = x[:-2], x[-2:]
        self.count[loop.FRESH] = 0

    def events(self) -> tuple[bool, bool, bool]:
        """Which of onset, bridge and parting have happened."""
        at = self.clock[[loop.ONSET_TIME, loop.BRIDGE_TIME, loop.PARTED_TIME]]
        onset, bridge, parted = (~np.isnan(at)).tolist()
        return onset, bridge, parted

    def snapshot(self) -> _Snapshot:
        """All that moves, to come back to."""
        self.flush()
        return _Snapshot(
            self.u.copy(), self.clock.copy(), self.count.copy(), self.peak_state.copy(),
            len(self.rows), len(self.samples or ()), self.jumped,
        )  # fmt: skip

    def restore(self, kept: _Snapshot) -> None:
        """Come back to a snapshot; work done since still counts."""
        steps, rejected = self.count[loop.STEPS], self.count[loop.REJECTED]
        self.u[:], self.clock[:], self.count[:] = kept.u, kept.clock, kept.count
        self.peak_state[:] = kept.peak_state
        self.count[loop.STEPS], self.count[loop.REJECTED] = steps, rejected
        self.count[loop.FRESH] = 0
        self.jumped = kept.jumped
        del self.rows[kept.rows :]
        if self.samples is not None:
            del self.samples[kept.samples :]

    def forget(self, kept: _Snapshot) -> None:
        """Drop trace and peaks since a snapshot, and nothing else."""
        peaks = [loop.PEAK_U, loop.PEAK_T, loop.PEAK_TIME, loop.PEAK_X]
        self.clock[peaks] = kept.clock[peaks]
        self.peak_state[:] = kept.peak_state
        self.count[loop.ROWS_WRITTEN] = 0
        del self.rows[kept.rows :]


class _Leaps:
    """The cycles of one repeat, some simulated, the others jumped over."""

    def __init__(self, walk: Walk, cycles: Cycles, start: float) -> None:
        self.walk, self.cycles, self.start = walk, cycles, start
        self.heat = walk.network.heat_capacity  # [J/K]
        self.map: CycleMap | None = None
        self.mapped_at = -1
        self.change = np.zeros(walk.network.size + 2)  # of the last cycle
        self.action = cycles.action / cycles.repeats  # of one cycle [A² s]
        self.done = 0
        self.rough = False  # whether the last leap ended too far off to show its cycle
        self.meets: int | None = None  # a cycle in which something happened after a leap

    def through(self) -> int:
        """All cycles, up to the end of the run; return the outcome."""
        walk, cycles = self.walk, self.cycles
        if not cycles.period > 0.0:
            return loop.BLOCK_DONE
        # cycles that begin before the run ends
        count = min(cycles.repeats, math.ceil((walk.until - self.start) / cycles.period))
        # a map of many states costs as much as many cycles: its price grows faster than theirs
        fewest = LONG_TRAIN * max(1.0, walk.network.size / _STATES) ** 2
        leap, real = FIRST_LEAP, 0
        while self.done < count:
            if self.meets is not None and self.done > self.meets:
                self.meets, leap = None, FIRST_LEAP
            if self._rate() != walk.clock[loop.AMBIENT_RATE]:
                real = min(real, FIRST_CYCLES - 1)  # its last change foretells nothing
            m = min(leap, self._room(count))
            worth = real >= FIRST_CYCLES and m >= SHORTEST_LEAP and count >= fewest
            if worth and not walk.events()[1]:
                if self.map is not None:
                    walk.leaping += 1
                    factor = self._leap(m)
                    walk.leaping -= 1
                    if walk.peaks:
                        walk.flush()
                    if factor >= 1.0:
                        leap = int(max(leap, m * factor))
                        real -= int(self.rough)
                    elif m * factor >= SHORTEST_LEAP:
                        leap = int(m * factor)
                    else:
                        real, leap = 0, FIRST_LEAP
                    continue
                outcome = self._cycle(observed=True)
            else:
                outcome = self._cycle(observed=False)
            real += 1
            if outcome != loop.BLOCK_DONE:
                return outcome
        return loop.BLOCK_DONE

    def _room(self, count: int) -> int:
        """Most cycles to leap over: two of the train are kept, and an ambient's bends."""
        room = count - self.done - 2
        if self.meets is not None:
            room = min(room, (self.meets - self.done) // 2 - 1)
        knots, now = self.walk.ambient.time, self._time(self.done)
        later = knots[knots > now * (1.0 + 1e-12)]
        if later.size:
            room = min(room, int((later[0] - now) / self.cycles.period) - 1)
        return room

    def _rate(self) -> float:
        """Rate of the ambient at the start of the next cycle [K/s]."""
        now = self._time(self.done)
        return next(self.walk.ambient.pieces(now, now + self.cycles.period))[2]

    def _time(self, n: int) -> float:
        return self.start + n * self.cycles.period

    def _cycle(self, *, observed: bool) -> int:
        """Simulate one cycle; note what it changes."""
        walk = self.walk
        before = walk.extended()
        outer = walk.samples
        walk.samples = [] if observed else None
        outcome = walk.once(self.cycles, self._time(self.done))
        samples, walk.samples = walk.samples, outer
        if outer is not None and outcome == loop.BLOCK_DONE:
            outer.append(self._sample(1))
        self.change = walk.extended() - before
        if outcome == loop.BLOCK_DONE:
            self.done += 1
            if samples:
                first = Sample(0.0, 0.0, before[:-2], float(before[-2]))
                self.map = cycle_map(walk.network, walk.z, first, samples)
                self.mapped_at = self.done
                walk.count[loop.FRESH] = 0
        return outcome

    def _sample(self, cycles: int) -> Sample:
        """What a train inside another says of some of its cycles to the outer one."""
        clock, u = self.walk.clock, self.walk.u.copy()
        length = cycles * self.cycles.period
        return Sample(length, cycles * self.action, u, float(clock[loop.AMBIENT]))

    def _leap(self, m: int) -> float:
        """Leap over ``m`` cycles and simulate one; return the factor on the next leap.

        Below 1 the leap was not taken, and all stands as before it.
        """
        walk = self.walk
        kept, done, change = walk.snapshot(), self.done, self.change
        assert self.map is not None

        def back(factor: float) -> float:
            walk.restore(kept)
            self.done, self.change = done, change
            return factor

        ahead = self.map.power(1, change)
        state = walk.extended()
        guess = state + self.map.sum(m, ahead)
        if not np.all(np.isfinite(guess)) or guess[:-2].min() < 50.0 * (walk.u.min() > 50.0):
            return back(0.25)
        events = walk.events()
        walk.place(guess)
        self.done = done + m
        outcome = self._cycle(observed=False)
        if walk.events() != events or outcome != loop.BLOCK_DONE:
            self.meets = done + m + 1
            return back(0.25)
        expected = self.map.power(m, ahead)
        defect = self.change - expected
        # heat never settles: what is left of the change is asked of the other states
        left = _largest(expected[:-1]) / max(_largest(ahead[:-1]), 1e-300)
        weight = 1.0 - 0.5 * min(left, 1.0)
        correction = weight * self.map.sum(m, defect)
        size = _largest(correction[:-2])
        error = UNCERTAIN * size
        crest = _crest(m, ahead[:-2], self.change[:-2])
        if error <= walk.leap_error < crest and m > SHORTEST_LEAP:
            return back(0.5)
        if error > walk.leap_error:
            if self.mapped_at < done:
                self.map = None
            factor = max(0.1, 0.8 * math.sqrt(walk.leap_error / error))
            return back(min(factor, 0.7))
        self.rough = size > walk.leap_error
        if self.rough:
            walk.forget(kept)
        late = self.map.power(1, correction)
        walk.place(walk.extended() + late)
        self._account(m, guess - state + late, kept)
        self.change = self.change + late - correction
        if walk.samples is not None:
            over = replace(self._sample(m), state=(guess + correction)[:-2])
            walk.samples.insert(kept.samples, over)
        walk.jumped += m
        return min(GROWTH, 0.8 * math.sqrt(walk.leap_error / max(error, 1e-9))) if error else GROWTH

    def _account(self, m: int, moved: Floats, kept: _Snapshot) -> None:
        """Balances over ``m`` cycles leapt over, which ``moved`` the extended state.

        Electrical work is to heat as in the cycle simulated since; heat lost is what is left.
        """
        clock = self.walk.clock
        heat, made = moved[-1], self.change[-1]
        if made > 0.0:
            clock[loop.ELECTRIC] += heat * (clock[loop.ELECTRIC] - kept.clock[loop.ELECTRIC]) / made
        clock[loop.LOST] += heat - float(np.dot(self.heat, moved[:-2]))
        clock[loop.ACTION] += m * self.action


def _crest(m: int, before: Floats, after: Floats) -> float:
    """How far a state that rises before a leap and falls after it rose in between [K].

    Its change a cycle is taken to fall in proportion to the cycles.
    """
    up, down = np.maximum(before, 0.0), np.maximum(-after, 0.0)
    both = (up > 0.0) & (down > 0.0)
    return float(np.max(0.5 * m * up[both] ** 2 / (up[both] + down[both]), initial=0.0))


def _largest(x: Floats) -> float:
    return float(np.max(np.abs(x)))


def _joined(rows: list[Floats]) -> Floats:
    return rows[0] if len(rows) == 1 else np.concatenate(rows)


def extreme_rows(rows: Floats) -> Floats:
    """First and last row of a trace, and those in which a column is greatest, in order."""
    keep = np.unique([0, *np.argmax(rows[:, loop.ROW_PEAK :], axis=0), len(rows) - 1])
    kept: Floats = rows[keep]
    return kept


def walked(
    network: Network,
    blocks: Iterator[Block | Train],
    start: Floats,
    ambient: Ambient,
    until: float,
    tolerance: float,
    integrator: str,
    progress: Progress | None,
    jump: bool,
    peaks: bool = False,
    to_onset: bool = False,
) -> Solution:
    """Integrate a network through blocks and trains with the compiled integrator."""
    walk = Walk(network, start, ambient, until, tolerance, integrator, progress, peaks, to_onset)
    outcome = loop.BLOCK_DONE
    for item in blocks:
        if outcome != loop.BLOCK_DONE or item.start >= until:
            break
        outcome = walk.through(prepared(item, network, not jump), 0.0)
    if not walk.count[loop.BEGUN]:
        raise_nothing()
    walk.flush()
    solution = solution_of(
        network, walk.clock, walk.count, _joined(walk.rows), walk.names, walk.u,
        walk.peak_state, start, walk.jumped,
    )  # fmt: skip
    if outcome in (loop.STALLED, loop.NOT_FINITE):
        raise_stalled(network, solution, walk.u, outcome)
    return solution
