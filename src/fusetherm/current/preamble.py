"""The interval between samples as instruments state it above the numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from ..errors import Argument, InputError
from ..units import quantity, unit_scale
from .units_written import unit_kind

_INTERVAL = (
    r"sampl(?:e|ing)[ _]*(?:interval|period|time|step)|time[ _]*(?:step|interval|increment)"
    r"|time[ _]*per[ _]*sample|(?:x[ _]*)?incr(?:ement)?|delta[ _]*t|dt|Δt|horizontal[ _]*interval"
)
_RATE = r"sampl(?:e|ing)[ _]*(?:rate|freq(?:uency)?)|fs|samples[ _]*per[ _]*second"
_NUMBER = r"[0-9]+(?:[.,][0-9]*)?(?:[eE][-+]?[0-9]+)?"
_UNIT = r"[a-zA-Zµμ/1]+"
_STATED = re.compile(
    rf'[\s#%"]*(?:(?P<interval>{_INTERVAL})|(?P<rate>{_RATE}))(?![a-z])[\s_]*'
    rf'(?:[(\[{{]\s*(?P<head>{_UNIT})\s*[)\]}}])?[\s:=,;"]*'
    rf'(?P<number>{_NUMBER})[\s,;"(\[]*(?P<tail>{_UNIT})?[\s,;")\]]*',
    re.IGNORECASE,
)
#: A comma that may stand for decimals or for thousands: a factor of a thousand in every time.
_COMMA_UNCLEAR = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_PER_SECOND = re.compile(r"(?P<prefix>[kMG]?)(?:Sa?|samples)/s(?:ec)?", re.IGNORECASE)


@dataclass(frozen=True)
class Interval:
    """Time between two samples, as a file or the reader states it.

    Parameters
    ----------
    seconds : float
        The interval [s]; NaN where the statement has no unit or an unclear comma.
    number : float
        Number as written, an interval or a rate.
    figure : str
        The number in its own digits, with a decimal point; with a comma where nobody can say
        whether that stands for decimals or for thousands.
    rate : bool
        Whether a rate is stated.
    written : str
        The statement.
    line : int or None
        Its line; None where the reader gave it.
    """

    seconds: float
    number: float
    figure: str
    rate: bool
    written: str
    line: int | None


def states_interval(line: str) -> bool:
    """Whether a line states the interval or the rate of sampling.

    Examples
    --------
    >>> states_interval("Sample Interval,1e-05,s"), states_interval("Record Length,1000")
    (True, False)
    """
    return len(line) < 1000 and _STATED.fullmatch(line.strip()) is not None


def stated_interval(lines: Iterable[str]) -> Interval | None:
    """The first statement of an interval or a rate above the numbers, a clear one first."""
    found: Interval | None = None
    for k, line in enumerate(lines):
        match = _STATED.fullmatch(line.strip()) if len(line) < 1000 else None
        if match is None:
            continue
        figure = match["number"].replace(",", ".")
        number = float(figure)
        if not (math.isfinite(number) and number > 0.0):
            continue
        unit, rate = match["tail"] or match["head"] or "", match["rate"] is not None
        scale = _hertz(unit, match["rate"]) if rate else _second(unit)
        seconds = math.nan if scale is None else 1.0 / (number * scale) if rate else number * scale
        if scale is not None and not (math.isfinite(seconds) and seconds > 0.0):
            continue
        unclear = _COMMA_UNCLEAR.fullmatch(match["number"]) is not None
        if unclear:
            seconds, figure = math.nan, match["number"]
        stated = Interval(seconds, number, figure, rate, line.strip(), k + 1)
        if scale is not None and not unclear:
            return stated
        found = found or stated
    return found


def _second(unit: str) -> float | None:
    kind = unit_kind(unit) if unit else None
    return kind[1] if kind is not None and kind[0] == "s" else None


def _hertz(unit: str, name: str) -> float | None:
    if not unit:
        return 1.0 if "second" in name.lower() else None
    if match := _PER_SECOND.fullmatch(unit):
        return {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}[match["prefix"].lower()]
    return 1.0 if unit == "1/s" else unit_scale(unit, "Hz")


def given_interval(given: str | float | None) -> Interval | None:
    """The interval as the reader gives it: ``"10 µs"``, ``"100 kHz"`` or seconds."""
    if given is None:
        return None
    value = math.nan
    rate = False
    if isinstance(given, str):
        for unit in ("s", "Hz"):
            try:
                value, rate = quantity(given, unit), unit == "Hz"
                break
            except InputError:
                continue
    else:
        value = float(given)
    seconds = 1.0 / value if rate and value > 0.0 else value
    if not (math.isfinite(seconds) and seconds > 0.0):
        raise InputError(
            "interval-unreadable", f"{given!r} is no time between samples",
            expected="a time above zero, or a rate, with its unit",
            mend="write it out", arguments=(Argument("interval", "10 µs"),),
        )  # fmt: skip
    return Interval(seconds, value, str(value), rate, str(given), None)
