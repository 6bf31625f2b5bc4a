"""Which columns of a measured file are time and current, and in what unit."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from ..errors import Argument, InputError, Note
from ..units import quantity
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
        Place in the row, from 0.
    name : str
        As written, with its unit; ``column 0`` and so on in a file without names.
    unit : str
        Unit as written.
    scale : float
        Factor to seconds or amperes.
    """

    index: int
    name: str
    unit: str
    scale: float


@dataclass(frozen=True)
class _Head:
    index: int
    name: str
    bare: str
    unit: str

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
) -> tuple[Column, Column, float | None, tuple[Note, ...]]:
    """Columns of time and current, the clamp's ratio [V/A] if it was used, and notes.

    Raises
    ------
    FileError
        ``no-header``, ``no-unit``, ``unit-contradicts``, ``no-such-column``,
        ``duplicate-column``, ``several-currents``, ``volts-without-ratio``, ...
    """
    stated = None if clamp is None else clamp_ratio(clamp)
    heads = _heads(layout)
    if not layout.names and (time is None or current is None):
        raise layout.fault(
            "no-header", "the columns have no names", line=layout.first_row,
            expected="a line of names above the numbers",
            mend="name them by place from 0, and say their units",
            arguments=(Argument("time", 0), Argument("current", 1), Argument("time_unit", "s"),
                       Argument("current_unit", "A")),
        )  # fmt: skip
    when = _named(layout, heads, time) if time is not None else _time(layout, heads, time_unit)
    others = [head for head in heads if head.index != when.index]
    if current is not None:
        flow = _named(layout, heads, current)
        if flow.index == when.index:
            raise layout.fault(
                "same-column", f"{flow.name!r} is asked for as time and as current",
                line=layout.header_row, key=flow.name, expected="two columns",
            )  # fmt: skip
    else:
        flow = _current(layout, others, clamp, current_unit)
    if flow.averaged:
        raise layout.fault(
            "averaged-record", f"{flow.name!r} holds averages, not samples",
            line=layout.header_row, key=flow.name,
            expected="a column of instantaneous currents",
            mend="export the samples themselves: an average hides every pulse shorter than the "
            "time it is taken over",
        )  # fmt: skip
    t_unit, t_kind, t_scale = _unit(layout, when, time_unit, "time_unit", "time", "s")
    i_unit, i_kind, i_scale = _unit(layout, flow, current_unit, "current_unit", "current", "A or V")
    if t_kind != "s":
        raise layout.fault(
            "unit-contradicts", f"the time column is in {t_unit}", line=layout.header_row,
            key=when.name, expected="s, ms, µs, min or h", mend="name the time column",
            arguments=(Argument("time"),),
        )  # fmt: skip
    ratio: float | None = None
    notes: tuple[Note, ...] = ()
    if i_kind == "V":
        if stated is None:
            raise layout.fault(
                "volts-without-ratio", f"the current column is in {i_unit}",
                line=layout.header_row, key=flow.name, expected="amperes, or the clamp's ratio",
                mend="give the ratio of the clamp or shunt, for example 10 mV for 1 A",
                arguments=(Argument("clamp", "10 mV/A"),),
            )  # fmt: skip
        ratio = stated
        i_scale /= ratio
    elif i_kind == "A" and stated is not None:
        text = f"the column {flow.name!r} is in {i_unit} already; the clamp ratio was not applied"
        notes = (Note("scaling-already-applied", text),)
    elif i_kind != "A":
        raise layout.fault(
            "unit-contradicts", f"the current column is in {i_unit}", line=layout.header_row,
            key=flow.name, expected="A, mA, kA, or V and mV with a clamp ratio",
            mend="name the current column", arguments=(Argument("current"),),
        )  # fmt: skip
    return (
        Column(when.index, when.name, t_unit, t_scale),
        Column(flow.index, flow.name, i_unit, i_scale),
        ratio,
        notes,
    )


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
        heads.append(_Head(index, name, bare, row or unit))
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


def _time(layout: Layout, heads: list[_Head], unit: str | None) -> _Head:
    """The time column: the one in a unit of time, or named so."""
    found = [head for head in heads if head.kind == "s"]
    if len(found) > 1:
        found = [head for head in found if _TIME_NAME.fullmatch(head.bare)] or found
    if not found:
        found = [head for head in heads if _TIME_NAME.fullmatch(head.bare)]
    if not found and unit is not None and heads[0].kind == "":
        found = heads[:1]
    if len(found) == 1:
        return found[0]
    if not found and _COUNT_NAME.fullmatch(heads[0].bare):
        raise layout.fault(
            "sample-numbers", f"{heads[0].name!r} counts samples", line=layout.header_row,
            key=heads[0].name, expected="a column of times with its unit",
            mend="export the record with times",
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
