"""Numbers out of a measured file: a fast pass, and a slow one that says what is wrong."""

from __future__ import annotations

import math
import re
from array import array
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from ..errors import FileError, Note
from ..written import counted
from .blocks import Array
from .clock import Clock, DateUnclearError
from .columns import Column
from .sniffing import MISSING, NUMBER, NUMBER_COMMA, OVER_RANGE, THOUSANDS, Layout

#: Magnitude from which a number is an instrument's mark for "over range".
OVER = 9e36


class Table(NamedTuple):
    """Time and current as written, before any scaling; a missing current is NaN."""

    time: Array
    current: Array
    notes: tuple[Note, ...]


def read_table(layout: Layout, time: Column, current: Column) -> Table:
    """Two columns of a file; the slow pass comes in where the fast one cannot go on."""
    fast = _fast(layout, time, current)
    if fast is None:
        return _slow(layout, time, current)
    return fast


def _lines(layout: Layout) -> Iterator[str]:
    """Lines from the first row on, with decimal points and blanks for other separators."""
    comma = layout.decimal == ","
    for _, line in layout.lines():
        yield line.replace(",", ".") if comma else line


def _fast(layout: Layout, time: Column, current: Column) -> Table | None:
    """Both columns through numpy's reader, or None when anything is out of the ordinary."""
    both = (time.index, current.index)
    if time.clock or time.index < 0:
        return None
    plain = layout.decimal == "." and not layout.compressed
    whole = layout.fields == 2 and set(both) == {0, 1}
    try:
        table = np.loadtxt(
            layout.path if plain else _lines(layout),
            delimiter=None if layout.delimiter == " " else layout.delimiter,
            skiprows=layout.first_row - 1 if plain else 0,
            comments=None,
            quotechar='"' if layout.quoted else None,
            usecols=None if whole else both,
            ndmin=2,
            encoding=layout.encoding,
        )
    except (ValueError, UnicodeError):
        return None
    if table.shape[1] != 2:
        return None  # rows that all have another number of fields than the first
    if not whole and not _is_even(layout, len(table)):
        return None
    order = both if whole else (0, 1)
    columns = [np.ascontiguousarray(table[:, k]) for k in order]
    if not np.isfinite(columns[0]).all() or max(map(_reach, columns)) > OVER:
        return None
    if np.isnan(columns[1]).any():
        return None
    return Table(columns[0], columns[1], ())


def _reach(values: Array) -> float:
    """Greatest magnitude, NaN left out."""
    return max(float(np.nanmax(values)), -float(np.nanmin(values))) if values.size else 0.0


def _is_even(layout: Layout, rows: int) -> bool:
    """Whether the separators of the file are as many as full rows need."""
    if layout.delimiter == " " or layout.quoted:
        return layout.delimiter == " "
    if layout.compressed or layout.encoding == "utf-16":
        return all(line.count(layout.delimiter) == layout.fields - 1
                   for _, line in layout.lines() if line.strip())  # fmt: skip
    mark, found = layout.delimiter.encode(), 0
    with Path(layout.path).open("rb") as stream:
        while chunk := stream.read(1 << 20):
            found += chunk.count(mark)
    with layout.open() as text:
        for _, line in zip(range(layout.first_row - 1), text, strict=False):
            found -= line.count(layout.delimiter)
    return found == rows * (layout.fields - 1)


class _Reader:
    """The slow pass: one row at a time, each cell looked at."""

    def __init__(self, layout: Layout, time: Column, current: Column) -> None:
        self.layout, self.columns = layout, (time, current)
        self.time, self.current = array("d"), array("d")
        self.comments = self.minus = self.blank = 0
        self.cut = ""
        self.clock = Clock()

    def run(self) -> Table:
        ended, text = True, ""
        for number, line in self.layout.lines():
            ended = line.endswith("\n")
            text = line.strip("\r\n")
            if not text.strip():
                self.blank = self.blank or number
                continue
            if text.lstrip().startswith("#"):
                self.comments += 1
                continue
            try:
                self.row(number, text)
            except FileError as fault:
                # Only the very last line can lack its end: the record stopped there.
                if ended or fault.code != "short-row":
                    raise
                self.cut = text
        if not ended and self.current and math.isnan(self.current[-1]):
            self.cut = text
            self.time.pop()
            self.current.pop()
        return Table(np.array(self.time), np.array(self.current), self.notes())

    def row(self, number: int, text: str) -> None:
        """Take one row in, or say what is wrong with it."""
        fields = self.layout.split(text)
        width = self.layout.fields
        if len(fields) != width:
            if self.layout.delimiter == "," and len(fields) == 2 * width:
                raise self.fault(
                    "decimal-comma-ambiguous", number, f"{len(fields)} fields: {text.strip()!r}",
                    "a comma either between columns or as decimal mark", "use ';' between columns",
                )  # fmt: skip
            short = len(fields) < width
            raise self.fault(
                "short-row" if short else "long-row", number, f"{len(fields)} fields",
                f"{width} fields, as in line {self.layout.first_row}",
                "mend the line, or remove it",
            )  # fmt: skip
        if self.layout.names and tuple(fields) == self.layout.names:
            raise self.fault(
                "repeated-header", number, "the header stands here again", "one record",
                "split the file: it looks like several records joined",
            )  # fmt: skip
        when = self.instant(number, fields)
        flow = self.cell(number, self.columns[1], fields[self.columns[1].index])
        if math.isnan(when):
            raise self.fault(
                "missing-time", number, "the time is missing", "a time in every row",
                "mend the line, or remove it", self.columns[0].name,
            )  # fmt: skip
        self.time.append(when)
        self.current.append(flow)

    def instant(self, number: int, fields: list[str]) -> float:
        """Time of a row, as written; the place of a sample where the file has no times."""
        column = self.columns[0]
        if column.index < 0:
            if self.blank and self.time:
                raise self.fault(
                    "missing-value", self.blank, "an empty line between samples",
                    "a sample in every line, since they are counted", "mend the file",
                )  # fmt: skip
            return float(len(self.time))
        text = fields[column.index]
        if not column.clock or text.lower() in MISSING:
            return self.cell(number, column, text)
        try:
            found = self.clock.seconds(text)
        except DateUnclearError:
            raise self.fault(
                "date-unclear", number, f"the date changes in {text!r}, and day and month may "
                "stand either way round", "dates that can be told apart",
                "export dates as year-month-day", column.name,
            ) from None  # fmt: skip
        if found is None:
            raise self.fault(
                "text-cell", number, f"{text!r} is no time of the clock",
                "times such as 12:30:05.25, with or without a date",
                "mend the cell, or remove the line", column.name,
            )  # fmt: skip
        return found

    def cell(self, number: int, column: Column, text: str) -> float:
        """Value of one cell; NaN when it is missing."""
        lower = text.lower()
        if lower in MISSING:
            return math.nan
        if "\u2212" in text:
            self.minus += 1
            text = text.replace("\u2212", "-")
        shape = NUMBER_COMMA if self.layout.decimal == "," else NUMBER
        if shape.fullmatch(text):
            value = float(text.replace(",", "."))
            if abs(value) <= OVER:
                return value
            lower = "inf"
        if lower in OVER_RANGE or set(text) == {"*"}:
            raise self.fault(
                "over-range", number, f"{text!r} marks a value beyond the instrument's range",
                "a finite number", "record again with a larger range", column.name,
            )  # fmt: skip
        if THOUSANDS.fullmatch(text):
            raise self.fault(
                "thousands-separator", number, f"{text!r} has a mark for thousands",
                "one decimal mark", "export without thousands separators", column.name,
            )  # fmt: skip
        if NUMBER_COMMA.fullmatch(text) or NUMBER.fullmatch(text):
            raise self.fault(
                "mixed-decimals", number, f"{text!r} has another decimal mark than the rest",
                f"{self.layout.decimal!r} as decimal mark", "export with one mark", column.name,
            )  # fmt: skip
        raise self.fault(
            "text-cell", number, f"{text!r} is no number", "a number in plain digits",
            _cure(text), column.name,
        )  # fmt: skip

    def fault(
        self, code: str, line: int, found: str, expected: str, mend: str, key: str = ""
    ) -> FileError:
        return FileError(
            code, found, path=self.layout.path, line=line, key=key, expected=expected, mend=mend
        )

    def notes(self) -> tuple[Note, ...]:
        """Remarks on what was put up with."""
        notes = []
        if self.comments:
            notes.append(
                Note("comment-lines", f"left out: {counted(self.comments, 'line')} with # in front")
            )
        if self.minus:
            notes.append(
                Note(
                    "unicode-minus",
                    f"{counted(self.minus, 'number')} with a typographic minus sign, understood",
                )
            )
        if self.cut:
            notes.append(
                Note(
                    "last-line-cut", f"the last line is cut off and was left out: {self.cut[:80]!r}"
                )
            )
        return tuple(notes)


def _cure(text: str) -> str:
    """What to do about a cell that is no number, by what it looks like."""
    if re.fullmatch(r"[-+]?0[xX][0-9a-fA-F.]+(?:[pP][-+]?[0-9]+)?", text):
        return "export decimal numbers, not hexadecimal ones"
    if re.fullmatch(r"[-+]?[0-9][0-9_.]*[0-9]", text):
        return "export without underscores between the digits"
    if any(c.isdigit() and not c.isascii() for c in text):
        return "export with the plain digits 0 to 9"
    if re.fullmatch(r"[-+]?[0-9.,]+(?:[eE][-+]?[0-9]+)? ?[nuµμmkM]?[AVs]", text):
        return "write the unit into the header and leave the bare number in the cell"
    return "mend the cell, or remove the line"


def _slow(layout: Layout, time: Column, current: Column) -> Table:
    try:
        return _Reader(layout, time, current).run()
    except FileError as fault:
        if fault.code != "mixed-decimals" or layout.decimal_shown or layout.delimiter == ",":
            raise
        # The head of the file showed whole numbers only: try the other mark.
        other = "," if layout.decimal == "." else "."
        return _Reader(replace(layout, decimal=other, decimal_shown=True), time, current).run()


def line_of(layout: Layout, row: int) -> int:
    """Line of a row of numbers, both from the first; rows are counted from 0."""
    count = -1
    for number, line in layout.lines():
        if line.strip() and not line.lstrip().startswith("#"):
            count += 1
            if count == row:
                return number
    return layout.first_row + row
