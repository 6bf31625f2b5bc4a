"""Which columns of a measured file are time and current, and in what unit."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from ..errors import Argument, InputError, Note
from ..units import quantity
from ..written import measure
from .preamble import Interval, given_interval
from .sniffing import Layout
from .units_written import name_and_unit, unit_kind

_TIME_NAME = re.compile(r"(?:t|time|times|x|zeit|temps|tiempo)\b.*", re.IGNORECASE)
_COUNT_NAME = re.compile(r"(?:sample|samples|index|n|no|nr|point|row)\b.*", re.IGNORECASE)
#: Names of averages, as in I_rms, Irms, "RMS current", avg; and their units, as in Arms.
_AVERAGED = re.compile(
    r"(?<![a-z])(?:[iu]?_?t?rms|(?:i_?)?(?:avg|average|averaged|mean))(?![a-z])", re.IGNORECASE
)
_AVERAGED_UNIT = re.compile(r"rms|avg|mean", re.IGNORECASE)

Key = str | int | None


@dataclass(frozen=True)
class Column:
    """A column and how its numbers become SI.

    Parameters
    ----------
    index : int
        Place in the row, from 0; -1 where the file has no times and samples are counted.
    name : str
        As written, with its unit; ``column 0`` and so on in a file without names.
    unit : str
        Unit as written.
    scale : float
        Factor to seconds or amperes.
    clock : bool
        Whether its cells are times of the clock, with or without a date.
    """

    index: int
    name: str
    unit: str
    scale: float
    clock: bool = False


@dataclass(frozen=True)
class _Head:
    index: int
    name: str
    bare: str
    unit: str
    clock: bool = False

    @property
    def averaged(self) -> bool:
        """Whether name or unit say that the column holds averages."""
        return bool(_AVERAGED.search(self.bare) or _AVERAGED_UNIT.search(self.unit))

    @property
    def kind(self) -> str:
        """``"s"``, ``"A"``, ``"V"``, or empty when the unit is absent or of another kind."""
        found = unit_kind(self.unit) if self.unit else None
        return found[0] if found else ""


def choose(
    layout: Layout,
    *,
    time: Key = None,
    current: Key = None,
    time_unit: str | None = None,
    current_unit: str | None = None,
    clamp: str | None = None,
    interval: str | float | None = None,
) -> tuple[Column, Column, float | None, tuple[Note, ...]]:
    """Columns of time and current, the clamp's ratio [V/A] if it was used, and notes.

    Raises
    ------
    FileError
        ``no-header``, ``no-unit``, ``unit-contradicts``, ``no-such-column``,
        ``duplicate-column``, ``several-currents``, ``volts-without-ratio``, ...
    """
    ratio = None if clamp is None else clamp_ratio(clamp)
    given = given_interval(interval)
    heads = _heads(layout)
    if len(heads) == 1 and not layout.names and current is None:
        current = 0
    timed = len(heads) > 1 and given is None
    if not layout.names and (current is None or (time is None and timed)):
        raise layout.fault(
            "no-header", "the columns have no names", line=layout.first_row,
            expected="a line of names above the numbers",
            mend="name them by place from 0, and say their units",
            arguments=(Argument("time", 0), Argument("current", 1), Argument("time_unit", "s"),
                       Argument("current_unit", "A")),
        )  # fmt: skip
    head = (
        _named(layout, heads, time)
        if time is not None
        else _time(layout, heads, time_unit, given or layout.interval)
    )
    when, time_notes = _time_column(layout, head, given, time_unit)
    others = [each for each in heads if each.index != when.index]
    if current is not None:
        flow = _named(layout, heads, current)
        if flow.index == when.index:
            raise layout.fault(
                "same-column", f"{flow.name!r} is asked for as time and as current",
                line=layout.header_row, key=flow.name, expected="two columns",
                mend="name another column for one of them",
            )  # fmt: skip
    else:
        flow = _current(layout, others, clamp, current_unit)
    column, used, notes = _current_column(layout, flow, current_unit, ratio)
    return when, column, used, (*time_notes, *notes)


def _time_column(
    layout: Layout, head: _Head | None, given: Interval | None, unit: str | None
) -> tuple[Column, tuple[Note, ...]]:
    """Column of times; or of sample numbers, or none at all, with the interval between them."""
    if given is not None and head is not None and (head.kind == "s" or head.clock):
        raise layout.fault(
            "interval-beside-times", f"{head.name!r} holds times, and an interval was given too",
            line=layout.header_row, key=head.name, expected="one of both",
            mend="leave the interval out",
        )  # fmt: skip
    step = given or layout.interval
    if step is not None and (head is None or given is not None or _counts(head)):
        return _counted(layout, head, step, unit)
    assert head is not None
    if head.clock:
        if unit is not None:
            raise layout.fault(
                "unit-contradicts", f"{head.name!r} holds times of the clock, {unit} was given",
                line=layout.first_row, key=head.name, expected="no unit for a clock",
                mend="leave the unit out",
            )  # fmt: skip
        return Column(head.index, head.name, "time of day", 1.0, clock=True), ()
    written, kind, scale = _unit(layout, head, unit, "time_unit", "time", "s")
    if kind != "s":
        raise layout.fault(
            "unit-contradicts", f"the time column is in {written}", line=layout.header_row,
            key=head.name, expected="s, ms, µs, min or h", mend="name the time column",
            arguments=(Argument("time"),),
        )  # fmt: skip
    return Column(head.index, head.name, written, scale), ()


def _counted(
    layout: Layout, head: _Head | None, step: Interval, unit: str | None
) -> tuple[Column, tuple[Note, ...]]:
    """Times from the number of each sample and the interval between two."""
    seconds = step.seconds
    if "," in step.figure:
        raise layout.fault(
            "decimal-comma-ambiguous",
            f"the comma of {step.figure} in {step.written!r} may stand for decimals or for "
            "thousands", line=step.line, expected="an interval that can be read in one way",
            mend="give the interval", arguments=(Argument("interval", "10 µs"),),
        )  # fmt: skip
    if math.isnan(seconds):
        kind = unit_kind(unit) if unit is not None else None
        if kind is None or kind[0] != "s" or step.rate:
            size = f"{step.figure} {'Hz' if step.rate else 's'}"
            raise layout.fault(
                "no-unit", f"{step.written!r} has no unit", line=step.line,
                expected="an interval between samples, or a rate, with its unit",
                mend="no unit is assumed; give the interval",
                arguments=(Argument("interval", size),),
            )  # fmt: skip
        seconds = step.number * kind[1]
    if step.line is None:
        notes: tuple[Note, ...] = ()
    else:
        text = (
            f"the file has no times: its samples were counted, {measure(seconds, 's', 6)} apart, "
            f"as line {step.line} says ({step.written!r})"
        )
        notes = (Note("samples-counted", text),)
    index, name = (-1, "sample number") if head is None else (head.index, head.name)
    return Column(index, name, "samples", seconds), notes


def _current_column(
    layout: Layout, flow: _Head, unit: str | None, ratio: float | None
) -> tuple[Column, float | None, tuple[Note, ...]]:
    """Column of currents, the clamp's ratio [V/A] if it is used, and notes."""
    if flow.averaged:
        raise layout.fault(
            "averaged-record", f"{flow.name!r} holds averages, not samples",
            line=layout.header_row, key=flow.name,
            expected="a column of instantaneous currents",
            mend="export the samples themselves: an average hides every pulse shorter than the "
            "time it is taken over",
        )  # fmt: skip
    written, kind, scale = _unit(layout, flow, unit, "current_unit", "current", "A or V")
    if kind == "V":
        if ratio is None:
            raise layout.fault(
                "volts-without-ratio", f"the current column is in {written}",
                line=layout.header_row, key=flow.name, expected="amperes, or the clamp's ratio",
                mend="give the ratio of the clamp or shunt, for example 10 mV for 1 A",
                arguments=(Argument("clamp", "10 mV/A"),),
            )  # fmt: skip
        return Column(flow.index, flow.name, written, scale / ratio), ratio, ()
    if kind != "A":
        raise layout.fault(
            "unit-contradicts", f"the current column is in {written}", line=layout.header_row,
            key=flow.name, expected="A, mA, kA, or V and mV with a clamp ratio",
            mend="name the current column", arguments=(Argument("current"),),
        )  # fmt: skip
    notes: tuple[Note, ...] = ()
    if ratio is not None:
        text = f"the column {flow.name!r} is in {written} already; the clamp ratio was not applied"
        notes = (Note("scaling-already-applied", text),)
    return Column(flow.index, flow.name, written, scale), None, notes


def clamp_ratio(clamp: str) -> float:
    """Ratio of a clamp or shunt [V/A], finite and not zero."""
    example = (Argument("clamp", "10 mV/A"),)
    try:
        ratio = quantity(clamp, "V/A")
    except InputError:
        ratio = math.nan
    if not math.isfinite(ratio):
        raise InputError(
            "clamp-unreadable", f"{clamp!r} is no ratio of a clamp or shunt",
            expected="volts for each ampere, with both units",
            mend="write the ratio out", arguments=example,
        )  # fmt: skip
    if ratio == 0.0:
        raise InputError(
            "clamp-zero", f"the clamp ratio {clamp!r} is zero",
            expected="volts for each ampere", mend="write the ratio out", arguments=example,
        )  # fmt: skip
    return ratio


def _heads(layout: Layout) -> list[_Head]:
    heads = []
    for index in range(layout.fields):
        name = layout.names[index] if layout.names else f"column {index}"
        bare, unit = name_and_unit(name) if layout.names else (name, "")
        row = layout.units[index].strip("()[]{} ") if layout.units else ""
        if row and unit and unit_kind(row) != unit_kind(unit):
            raise layout.fault(
                "unit-contradicts", f"{name!r} stands above the unit {row!r}",
                line=layout.unit_row, key=name, expected="one unit",
            )  # fmt: skip
        heads.append(_Head(index, name, bare, row or unit, index in layout.clocks))
    return heads


def _listed(heads: list[_Head]) -> str:
    return ", ".join(repr(head.name) for head in heads if head.name)


def _named(layout: Layout, heads: list[_Head], key: str | int) -> _Head:
    """The column asked for by name or by place."""
    if isinstance(key, int):
        if 0 <= key < len(heads):
            return heads[key]
        found: list[_Head] = []
    else:
        wanted = key.strip().lower()
        found = [h for h in heads if wanted in (h.name.lower(), h.bare.lower())]
    if len(found) == 1:
        return found[0]
    code = "duplicate-column" if found else "no-such-column"
    count = f"{len(found)} columns are" if found else "no column is"
    called = f"{count} named {key!r}" if isinstance(key, str) else f"no column has place {key}"
    raise layout.fault(
        code, called, line=layout.header_row, key=str(key),
        expected=f"one of {_listed(heads)}", mend="use one of these, or its place from 0",
    )  # fmt: skip


def _counts(head: _Head) -> bool:
    """Whether a column counts samples, by its name."""
    return not head.unit and bool(_COUNT_NAME.fullmatch(head.bare))


def _time(
    layout: Layout, heads: list[_Head], unit: str | None, step: Interval | None
) -> _Head | None:
    """The time column: in a unit of time, of the clock, or named so; None when samples count."""
    found = [head for head in heads if head.kind == "s"]
    if len(found) > 1:
        found = [head for head in found if _TIME_NAME.fullmatch(head.bare)] or found
    if not found:
        found = [head for head in heads if head.clock]
    if not found and (step is not None or len(heads) > 1):
        found = [head for head in heads if _TIME_NAME.fullmatch(head.bare) and not head.kind]
    counts = len(heads) > 1 and _counts(heads[0])
    if not found and step is not None and (unit is None or len(heads) == 1 or counts):
        return heads[0] if counts else None
    if not found and unit is not None and heads[0].kind == "" and len(heads) > 1:
        found = heads[:1]
    if len(found) == 1:
        return found[0]
    apart = (Argument("interval", "10 µs"),)
    if not found and counts:
        raise layout.fault(
            "sample-numbers", f"{heads[0].name!r} counts samples", line=layout.header_row,
            key=heads[0].name, expected="a column of times with its unit",
            mend="export the record with times, or say how far apart its samples are",
            arguments=apart,
        )  # fmt: skip
    if not found and len(heads) == 1:
        raise layout.fault(
            "no-time-column", "one column of numbers, and no times",
            line=layout.header_row or layout.first_row, expected="a column of times",
            mend="export the record with times, or say how far apart its samples are",
            arguments=apart,
        )  # fmt: skip
    raise layout.fault(
        "several-times" if found else "no-time-column",
        f"{len(found) or 'no'} columns look like time: {_listed(found or heads)}",
        line=layout.header_row, expected="one column of times",
        mend="name it, and its unit when none is written",
        arguments=(Argument("time"), Argument("time_unit", "s")),
    )  # fmt: skip


def _current(layout: Layout, heads: list[_Head], clamp: str | None, unit: str | None) -> _Head:
    """The current column: the one in amperes, or in volts with a clamp ratio."""
    amperes = [head for head in heads if head.kind == "A"]
    volts = [head for head in heads if head.kind == "V"]
    # With a ratio a column in volts may be meant, beside one in amperes: then ask.
    found = amperes + volts if clamp is not None else amperes or volts
    if not found:
        found = [head for head in heads if not head.unit]
    # Averages can never be read: they are no choice beside samples.
    found = [head for head in found if not head.averaged] or found[:1]
    if len(found) == 1:
        return found[0]
    if not found:
        found = [head for head in heads if _AVERAGED_UNIT.search(head.unit)][:1]
        if found:
            return found[0]
    if not found:
        raise layout.fault(
            "no-current-column", f"no column is in amperes or volts: {_listed(heads)}",
            line=layout.header_row, expected="a column of currents with its unit",
            mend="name it, and its unit when none is written",
            arguments=(Argument("current"), Argument("current_unit", "A")),
        )  # fmt: skip
    raise layout.fault(
        "several-currents", f"{len(found)} columns could be the current: {_listed(found)}",
        line=layout.header_row, expected="one", mend="choose the one to read",
        arguments=tuple(Argument("current", head.name) for head in found),
    )  # fmt: skip


def _unit(
    layout: Layout, head: _Head, given: str | None, argument: str, what: str, expected: str
) -> tuple[str, str, float]:
    """Unit as written or given, its kind, and its factor to SI."""
    if given is not None:
        stated = unit_kind(given)
        if stated is None:
            raise InputError(
                "unit-unknown",
                f"the unit {given!r} given for the {what} column is not known",
                expected=f"a unit such as {expected}",
                mend="give a known one",
                arguments=(Argument(argument, expected.split()[0]),),
            )
        if head.unit and unit_kind(head.unit) != stated:
            raise layout.fault(
                "unit-contradicts", f"{head.name!r} is in {head.unit}, {given} was given for it",
                line=layout.header_row, key=head.name, expected="one unit",
                mend="correct the file, or leave the unit out",
                arguments=(Argument(argument, given),),
            )  # fmt: skip
        return given, *stated
    if not head.unit:
        raise layout.fault(
            "no-unit", f"the column {head.name!r} has no unit",
            line=layout.header_row or layout.first_row, key=head.name,
            expected=f"a unit such as {expected}, as in '{head.bare} ({expected[0]})'",
            mend="no unit is assumed; write it into the header, or give it",
            arguments=(Argument(argument, expected.split()[0]),),
        )  # fmt: skip
    found = unit_kind(head.unit)
    if found is None:
        return head.unit, "", 1.0
    return head.unit, *found
