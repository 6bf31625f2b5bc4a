"""Rainflow counting by ASTM E1049, in one pass and in a memory that does not grow.

The counting rule is that of ASTM E1049-85, 5.4.4: of the last three turning points, a range
not smaller than the one before it closes that one as a full cycle, or as a half cycle where it
contains the first point of the history. What is left at the end counts as half cycles. That
convention is kept everywhere; a history that repeats has its own count, `repeating`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..compiled import kernel
from ..errors import InputError

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

# the counter's integers
DEPTH, SEEN, CLOSED, DIRECTION, LAST_INDEX, WHOLE_SIZE = range(6)
# columns of a counted cycle
RANGE, MEAN, COUNT, FROM, TO, COLUMNS = range(6)
#: Samples taken at a time: bounds the table of cycles one call fills.
_CHUNK = 1 << 16
#: Room for turning points that have not closed a cycle yet, at the start.
_ROOM = 256


@kernel
def turn(value: float, index: int, stack: Floats, whole: Integers, out: Floats) -> None:
    """Add a turning point and close the cycles it closes."""
    depth = whole[DEPTH]
    stack[depth, 0] = value
    stack[depth, 1] = float(index)
    depth += 1
    while depth >= 3:
        last = abs(stack[depth - 1, 0] - stack[depth - 2, 0])
        before = abs(stack[depth - 2, 0] - stack[depth - 3, 0])
        if last < before:
            break
        row = out[whole[CLOSED]]
        row[RANGE] = before
        row[MEAN] = 0.5 * stack[depth - 2, 0] + 0.5 * stack[depth - 3, 0]
        row[FROM] = stack[depth - 3, 1]
        row[TO] = stack[depth - 2, 1]
        whole[CLOSED] += 1
        if depth == 3:
            row[COUNT] = 0.5
            stack[0, 0] = stack[1, 0]
            stack[0, 1] = stack[1, 1]
            stack[1, 0] = stack[2, 0]
            stack[1, 1] = stack[2, 1]
            depth = 2
        else:
            row[COUNT] = 1.0
            stack[depth - 3, 0] = stack[depth - 1, 0]
            stack[depth - 3, 1] = stack[depth - 1, 1]
            depth -= 2
    whole[DEPTH] = depth


@kernel
def count_chunk(
    values: Floats, first: int, last: Floats, stack: Floats, whole: Integers, out: Floats
) -> int:
    """Count samples from `first` on; return where it stopped: at the end, or for want of room.

    Parameters
    ----------
    values : (m,) samples
    last : (1,) the sample before
    stack : (room, 2) turning points that are still open, and their index
    whole : (WHOLE_SIZE,) integers of the counter
    out : (rows, COLUMNS) cycles closed
    """
    for i in range(first, values.shape[0]):
        value = values[i]
        if whole[SEEN] == 0:
            turn(value, 0, stack, whole, out)
        elif value != last[0]:
            direction = 1 if value > last[0] else -1
            if whole[DIRECTION] == -direction:
                if whole[DEPTH] >= stack.shape[0]:
                    return i
                turn(last[0], whole[SEEN] - 1, stack, whole, out)
            whole[DIRECTION] = direction
        last[0] = value
        whole[SEEN] += 1
    return len(values)


@dataclass(frozen=True, slots=True)
class Cycles:
    """Cycles that were counted, in the order in which they closed.

    Attributes
    ----------
    range, mean : (m,) array
        Highest less lowest value, and their mean, in the unit of the history.
    count : (m,) array
        1 for a full cycle, .5 for a half cycle; a repeat multiplies it [-].
    start, end : (m,) array
        Index of the samples between which the range lies.
    """

    range: Floats
    mean: Floats
    count: Floats
    start: Integers
    end: Integers

    @property
    def highest(self) -> Floats:
        """Upper end of each range, in the unit of the history."""
        return self.mean + 0.5 * self.range

    @property
    def total(self) -> float:
        """Number of cycles, half ones counted half [-]."""
        return float(np.sum(self.count))

    def times(self, repeats: float) -> Cycles:
        """The same cycles counted ``repeats`` times."""
        return Cycles(self.range, self.mean, self.count * repeats, self.start, self.end)

    def above(self, least: float) -> Cycles:
        """Only the cycles whose range exceeds ``least``."""
        keep = self.range > least
        return Cycles(
            self.range[keep], self.mean[keep], self.count[keep], self.start[keep], self.end[keep]
        )

    def tally(self) -> dict[float, float]:
        """Number of cycles of each range, smallest first."""
        sizes, which = np.unique(self.range, return_inverse=True)
        return dict(zip(sizes.tolist(), np.bincount(which, self.count).tolist(), strict=True))


def _cycles(table: Floats) -> Cycles:
    return Cycles(
        range=table[:, RANGE].copy(),
        mean=table[:, MEAN].copy(),
        count=table[:, COUNT].copy(),
        start=table[:, FROM].astype(np.int64),
        end=table[:, TO].astype(np.int64),
    )


def joined(parts: list[Cycles]) -> Cycles:
    """Cycles of several counts in one."""
    return Cycles(
        range=np.concatenate([part.range for part in parts]),
        mean=np.concatenate([part.mean for part in parts]),
        count=np.concatenate([part.count for part in parts]),
        start=np.concatenate([part.start for part in parts]),
        end=np.concatenate([part.end for part in parts]),
    )


class Counter:
    """Rainflow counter for a history that comes in pieces; it holds open turning points only.

    Examples
    --------
    >>> counter = Counter()
    >>> counter.feed([0.0, 3.0, 1.0]).total
    0.0
    >>> counter.feed([2.0, 0.0]).tally()
    {1.0: 1.0, 3.0: 0.5}
    >>> counter.finish().tally()
    {3.0: 0.5}
    """

    def __init__(self) -> None:
        self._empty()

    def _empty(self) -> None:
        self._stack = np.zeros((_ROOM, 2))
        self._last = np.zeros(1)
        self._whole = np.zeros(WHOLE_SIZE, dtype=np.int64)

    @property
    def open_points(self) -> int:
        """Turning points held because their ranges are still open."""
        return int(self._whole[DEPTH])

    def feed(self, values: npt.ArrayLike) -> Cycles:
        """Cycles that close within the next samples.

        Parameters
        ----------
        values : (m,) array
            Samples of the history, any unit.

        Returns
        -------
        Cycles

        Raises
        ------
        InputError
            ``not-finite``.
        """
        history = np.ascontiguousarray(values, dtype=np.float64)
        if history.ndim != 1 or not np.isfinite(history).all():
            raise InputError(
                "not-finite",
                "the history to count holds a value that is no number, or is no series",
                expected="one series of finite values",
            )
        parts = []
        for begin in range(0, history.size, _CHUNK):
            # a copy, since a read-only array is another type to the compiler
            parts.append(self._counted(history[begin : begin + _CHUNK].copy()))
        return joined(parts) if parts else _cycles(np.empty((0, COLUMNS)))

    def _counted(self, values: Floats) -> Cycles:
        # every sample adds at most one turning point; a full cycle uses up two, a half one
        table = np.empty((values.size + self.open_points + 2, COLUMNS))
        self._whole[CLOSED] = 0
        at = 0
        while True:
            at = int(count_chunk(values, at, self._last, self._stack, self._whole, table))
            if at == values.size:
                return _cycles(table[: self._whole[CLOSED]])
            self._stack = np.concatenate([self._stack, np.zeros_like(self._stack)])

    def finish(self) -> Cycles:
        """What is left open, as half cycles; the counter is empty afterwards.

        Returns
        -------
        Cycles
        """
        whole = self._whole
        if whole[SEEN] < 2:
            self._empty()
            return _cycles(np.empty((0, COLUMNS)))
        table = np.empty((self.open_points + 2, COLUMNS))
        whole[CLOSED] = 0
        if whole[DEPTH] >= self._stack.shape[0]:
            self._stack = np.concatenate([self._stack, np.zeros_like(self._stack)])
        if whole[DIRECTION] != 0:
            turn(float(self._last[0]), int(whole[SEEN] - 1), self._stack, whole, table)
        closed, depth = int(whole[CLOSED]), int(whole[DEPTH])
        points = self._stack[:depth]
        rest = np.empty((max(depth - 1, 0), COLUMNS))
        rest[:, RANGE] = np.abs(np.diff(points[:, 0]))
        rest[:, MEAN] = 0.5 * points[1:, 0] + 0.5 * points[:-1, 0]
        rest[:, COUNT] = 0.5
        rest[:, FROM], rest[:, TO] = points[:-1, 1], points[1:, 1]
        found = np.concatenate([table[:closed], rest])
        self._empty()
        return _cycles(found)


def count_cycles(values: npt.ArrayLike) -> Cycles:
    """Cycles of a history by ASTM E1049, 5.4.4, what is left counted as half cycles.

    Parameters
    ----------
    values : (m,) array
        The history, any unit; turning points are found in it.

    Returns
    -------
    Cycles

    Raises
    ------
    InputError
        ``not-finite``.

    References
    ----------
    ASTM E1049-85, Standard practices for cycle counting in fatigue analysis, 5.4.4.

    Examples
    --------
    >>> count_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2]).tally()
    {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}
    """
    counter = Counter()
    closed = counter.feed(values)
    return joined([closed, counter.finish()])


def repeating(values: npt.ArrayLike) -> Cycles:
    """Cycles of one run through a history that repeats without end: full cycles only.

    The history is turned so that it begins and ends at its highest value (ASTM E1049, 5.4.5,
    from memory). Half cycles of a single run would otherwise be counted again each time.

    Parameters
    ----------
    values : (m,) array
        One period; its end joins its start. Index of a sample is that in ``values``.

    Returns
    -------
    Cycles
        `count` is 1 for each.
    """
    history = np.ascontiguousarray(values, dtype=np.float64)
    if history.size < 2:
        return count_cycles(history)
    top = int(np.argmax(history))
    turned = np.concatenate([history[top:], history[: top + 1]])
    found = count_cycles(turned)
    # with start and end at the highest value the half cycles come in pairs of one range
    half = found.count < 1.0
    pairs = np.where(half, 0.5, 1.0)
    return Cycles(
        found.range,
        found.mean,
        pairs,
        (found.start + top) % history.size,
        (found.end + top) % history.size,
    )
