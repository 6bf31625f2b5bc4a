"""Times written as people read a clock: ``12:30:05.25``, ``2024-05-01 12:30:05``."""

from __future__ import annotations

import re
from datetime import date
from typing import NamedTuple

_DATE = (
    r"(?P<date>(?P<y>[0-9]{4})[-/.](?P<m>[0-9]{1,2})[-/.](?P<d>[0-9]{1,2})"
    r"|(?P<d2>[0-9]{1,2})\.(?P<m2>[0-9]{1,2})\.(?P<y2>[0-9]{4}|[0-9]{2})"
    r"|(?P<a>[0-9]{1,2})/(?P<b>[0-9]{1,2})/(?P<y3>[0-9]{4}|[0-9]{2}))(?: ?T ?| {1,3})"
)
_TIME = (
    r"(?P<hour>[0-9]{1,4}):(?P<minute>[0-5][0-9]):(?P<second>[0-5][0-9])"
    r"(?:[.,:](?P<part>[0-9]{1,12}))?(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_ZONE = r"(?: ?(?:Z|UTC|(?P<sign>[-+])(?P<zh>[0-9]{2}):?(?P<zm>[0-9]{2})))?"
_CLOCK = re.compile(f"(?:{_DATE})?{_TIME}{_ZONE}")

#: Seconds of half a day: a clock that goes back by more has passed midnight.
HALF_DAY = 43_200.0


def is_clock(text: str) -> bool:
    """Whether a text is a time of the clock, with its seconds, with or without a date.

    Examples
    --------
    >>> is_clock("12:30:05.25"), is_clock("1.5.2024 12:30:05"), is_clock("12:30")
    (True, True, False)
    """
    return _CLOCK.fullmatch(text) is not None


class DateUnclearError(ValueError):
    """A date of which nobody can say what is day and what is month."""


class Clock:
    """Times of the clock as seconds from midnight of the first day, one after another.

    Examples
    --------
    >>> clock = Clock()
    >>> clock.seconds("2024-05-01 23:59:59.5"), clock.seconds("2024-05-02 00:00:00")
    (86399.5, 86400.0)
    """

    def __init__(self) -> None:
        self._first: _Day | None = None
        self._day_first: bool | None = None

    def seconds(self, text: str) -> float | None:
        """Seconds from midnight of the first day [s]; None for a text that is no such time.

        Raises
        ------
        DateUnclearError
            Where the date changes and day and month cannot be told apart.
        """
        match = _CLOCK.fullmatch(text)
        if match is None:
            return None
        part = match.groupdict()
        hour = int(part["hour"])
        if part["half"]:
            if not 1 <= hour <= 12:
                return None
            hour = hour % 12 + (12 if part["half"] in "pP" else 0)
        value = 3600.0 * hour + 60.0 * int(part["minute"]) + int(part["second"])
        if part["part"]:
            value += float(f"0.{part['part']}")
        if part["sign"]:
            ahead = 3600.0 * int(part["zh"]) + 60.0 * int(part["zm"])
            value += -ahead if part["sign"] == "+" else ahead
        if not part["date"]:
            return value
        day = self._days(part)
        return None if day is None else value + 86_400.0 * day

    def _days(self, part: dict[str, str | None]) -> int | None:
        """Days since the first date; None for a date that is not in the calendar."""
        if part["a"] is None:
            year, month, day = (int(part[k] or part[f"{k}2"] or 0) for k in ("y", "m", "d"))
            found = _Day(day, month, year, slashed=False)
        else:
            day, month, year = (int(part[k] or 0) for k in ("a", "b", "y3"))
            found = _Day(day, month, year, slashed=True)
            if max(day, month) > 12:
                self._day_first = day > 12
        if self._first is None:
            self._first = found
        if found == self._first:
            return 0
        if found.slashed and self._day_first is None:
            raise DateUnclearError(part["date"])
        then, now = (each.date(bool(self._day_first)) for each in (self._first, found))
        return None if then is None or now is None else (now - then).days


class _Day(NamedTuple):
    """A date as written; with slashes day and month may stand the other way round."""

    day: int
    month: int
    year: int
    slashed: bool

    def date(self, day_first: bool) -> date | None:
        """The day of the calendar; None when it has no such day."""
        turned = self.slashed and not day_first
        day, month = (self.month, self.day) if turned else (self.day, self.month)
        try:
            return date(self.year + 2000 if self.year < 100 else self.year, month, day)
        except ValueError:
            return None


def written(seconds: float) -> str:
    """A time of the clock as text.

    Examples
    --------
    >>> written(86399.5), written(90000.0)
    ('23:59:59.5', '25:00:00')
    """
    whole = int(seconds // 1)
    rest = f"{seconds - whole:.6f}"[1:].rstrip("0").rstrip(".")
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}{rest}"
