"""The clock of a record: order, duplicates, gaps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..errors import Argument, FileError, InputError, Note
from ..written import counted, number, seconds
from .blocks import Array
from .clock import HALF_DAY
from .clock import written as clock_text
from .columns import Column
from .parsing import line_of
from .sniffing import Layout

#: A gap is longer than this many median intervals.
GAP = 5.0
_HOUR = 3600.0
_FEW = 8
#: What was done, by policy.
_BRIDGED = {"hold": "the last value held", "linear": "bridged by straight lines"}


def regular(layout: Layout, time: Array, column: Column) -> tuple[Array, tuple[Note, ...]]:
    """Times that increase, or the fault in them.

    Stamps printed with too few digits repeat; where all of them agree with even sampling
    within one printed step, even times take their place, with a note.
    """
    if time.size < 2:
        raise layout.fault(
            "one-sample", f"{time.size} row of numbers", line=layout.first_row, key=column.name,
            expected="at least two samples",
        )  # fmt: skip
    h = np.diff(time)
    if not (h <= 0.0).any():
        return time, ()
    if not h.any():
        raise layout.fault(
            "constant-time", f"all times are {number(time[0], 9)}",
            line=layout.first_row, key=column.name,
            expected="times that increase", mend="choose another column as time",
        )  # fmt: skip
    if (h < 0.0).any():
        raise _backwards(layout, time, h, column)
    even = np.linspace(time[0], time[-1], time.size)
    step = float(h[h > 0.0].min())
    same = h == 0.0
    if same.mean() >= 0.05 and float(np.abs(time - even).max()) <= 1.01 * step:
        text = (
            f"stamps repeat for want of digits ({counted(int(same.sum()), 'double')}); even "
            "sampling was assumed"
        )
        return even, (Note("stamps-rebuilt", text),)
    k = int(np.argmax(same))
    raise layout.fault(
        "duplicate-time", f"the time {number(time[k + 1], 9)} stands twice"
        f" ({counted(int(same.sum()), 'such row')})",
        line=line_of(layout, k + 1), key=column.name, expected="times that increase",
        mend="export with more digits, or remove the doubles",
    )  # fmt: skip


def _backwards(layout: Layout, time: Array, h: Array, column: Column) -> FileError:
    back = np.flatnonzero(h < 0.0)
    k = int(back[0])
    line = line_of(layout, k + 1)
    if column.clock:
        return _clock_back(layout, float(time[k]), float(time[k + 1]), line, column.name)
    reach = abs(float(time[k] - time[0]))
    if abs(float(time[k + 1] - time[0])) <= 0.01 * reach:
        return layout.fault(
            "time-restarts", f"the time starts again: {back.size + 1} segments in one file",
            line=line, key=column.name, expected="one record",
            mend="put each segment into a file of its own",
        )  # fmt: skip
    return layout.fault(
        "time-backwards",
        f"the time goes back from {number(time[k], 9)} to {number(time[k + 1], 9)}",
        line=line, key=column.name, expected="times that increase",
        mend="sort the rows, or look for a change of clock",
    )  # fmt: skip


def _clock_back(layout: Layout, last: float, then: float, line: int, key: str) -> FileError:
    """A clock that goes back: at midnight without a date, or set to another time."""
    found = f"the clock goes back from {clock_text(last)} to {clock_text(then)}"
    mend = "sort the rows, or put each record into a file of its own"
    if last - then > HALF_DAY:
        found += ": midnight, without a date"
        mend = "export date and time in one column, or seconds from the start"
    elif abs(last - then - _HOUR) < 0.1 * _HOUR:
        found += ", about an hour: a change of the clock"
        mend = "export universal time, or seconds from the start"
    return layout.fault(
        "time-backwards", found, line=line, key=key, expected="times that increase", mend=mend
    )


def without_gaps(
    time: Array, current: Array, policy: str, refuse: Callable[[int, str], FileError]
) -> tuple[Array, Array, tuple[Note, ...]]:
    """Times and currents with gaps treated as asked.

    Parameters
    ----------
    time, current : array
        Record [s, A].
    policy : str
        ``"refuse"``, ``"hold"`` (the last value until the next sample) or ``"linear"``.
    refuse : callable
        Makes the error for the gap after a sample.
    """
    h = np.diff(time)
    if h.size < _FEW:
        return time, current, ()
    median = float(np.median(h))
    wide = np.flatnonzero(h > GAP * median)
    if not wide.size:
        return time, current, ()
    lost = float(h[wide].sum())
    text = f"{counted(wide.size, 'gap')}, {seconds(lost)} in all, "
    if policy == "refuse":
        k = int(wide[0])
        raise refuse(k, f"a gap of {seconds(h[k])} where samples come every {seconds(median)}")
    if policy == "hold":
        time = np.insert(time, wide + 1, time[wide + 1])
        current = np.insert(current, wide + 1, current[wide])
        text += "the last value held"
    else:
        text += "bridged by straight lines"
    return time, current, (Note("gaps-bridged", text),)


def without_missing(
    time: Array, current: Array, policy: str, refuse: Callable[[int, str], FileError]
) -> tuple[Array, Array, tuple[Note, ...]]:
    """Times and currents with missing currents (NaN) treated as asked."""
    missing = np.isnan(current)
    if not missing.any():
        return time, current, ()
    if policy == "refuse":
        raise refuse(int(np.argmax(missing)), "the current is missing")
    kept = np.flatnonzero(~missing)
    if kept.size < 2:
        raise refuse(int(np.argmax(missing)), f"only {counted(kept.size, 'current')} to read")
    note = Note(
        "missing-values", f"{counted(int(missing.sum()), 'missing current')}: {_BRIDGED[policy]}"
    )
    if policy == "linear":
        return time[kept], current[kept], (note,)
    span = slice(int(kept[0]), None)
    last = np.maximum.accumulate(np.where(missing, -1, np.arange(current.size)))
    return time[span], current[last[span]], (note,)


def window(text: str | tuple[float, float] | None) -> tuple[float, float] | None:
    """Start and end of a stretch of time such as ``"0 s : 0.2 s"`` [s]."""
    from ..units import quantity

    if text is None:
        return None
    if isinstance(text, str):
        try:
            first, last = (quantity(end, "s") for end in text.split(":"))
        except ValueError as cause:  # not two, or not with units
            raise InputError(
                "window-unreadable",
                f"{text!r} is no stretch of time",
                expected="its start and its end, each with its unit",
                mend="give a stretch in which no current flows",
                arguments=(Argument("zero", "0 s : 0.2 s"),),
            ) from cause
    else:
        first, last = map(float, text)
    if not first < last:
        raise InputError(
            "window-reversed",
            f"{text!r} has no length",
            expected="a start before its end",
            mend="exchange them",
            arguments=(Argument("zero", "0 s : 0.2 s"),),
        )
    return first, last


def policy(value: str, name: str) -> str:
    """One of the policies for what is not there."""
    if value not in ("refuse", "hold", "linear"):
        raise InputError(
            "policy-unknown",
            f"{value!r} is no way to treat {'gaps' if name == 'gaps' else 'missing currents'}",
            expected="'refuse', 'hold' or 'linear'",
            mend="choose one of them",
            arguments=(Argument(name, "refuse"),),
        )
    return value
