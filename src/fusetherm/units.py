"""Units at the border: kelvin and degrees Celsius, and texts such as ``"10 mV/A"``.

Inside fusetherm everything is SI without prefix; temperatures of the public face are
degrees Celsius and say so in their names (``ambient_c``).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from inspect import signature
from typing import Any, ParamSpec, TypeVar

from .errors import InputError, Note

P = ParamSpec("P")
R = TypeVar("R")

#: 0 degC in kelvin (exact, SI Brochure, 9th edition, section 2.3.1).
ZERO_CELSIUS_K = 273.15

#: Reference ambient of the standards' tests [degC] (ISO 8820-1, 23 +/- 5 degC; from memory).
REFERENCE_AMBIENT_C = 23.0

_PREFIX = {"": 1.0, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}
_UNITS = ("V/A", "A", "V", "s", "ohm", "Ω", "Hz", "m", "W", "J")


def magnitude(value: Any, unit: str, name: str) -> Any:
    """Plain value in a unit of a quantity that carries one of its own; anything else as it is.

    Parameters
    ----------
    value : object
        A quantity has ``to(unit)`` and ``magnitude``, as those of pint, which is not imported
        here. Of a list or tuple each entry is looked at; ``datetime.timedelta`` and arrays of
        ``timedelta64`` count as quantities of time.
    unit : str
        ``"A"``, ``"s"``, ``"degC"``, ...; a temperature in kelvin is taken to degC.
    name : str
        What it is, for the message.

    Raises
    ------
    InputError
        ``wrong-dimension`` when the quantity is of another kind, a difference of temperatures
        where a temperature is asked for among them.

    Examples
    --------
    >>> magnitude(25.0, "A", "current")
    25.0
    >>> import datetime
    >>> magnitude(datetime.timedelta(minutes=1), "s", "duration")
    60.0
    """
    if isinstance(value, (float, int)):
        return value
    if isinstance(value, (list, tuple)):
        return [magnitude(one, unit, name) for one in value]
    kind = getattr(getattr(value, "dtype", None), "kind", "")
    own = hasattr(value, "to") and hasattr(value, "magnitude")
    if not own and kind not in ("M", "m") and not isinstance(value, (timedelta, str)):
        return value  # before the message below, which writes the value out
    shown = repr(value) if isinstance(value, str) else str(value)
    problem = InputError(
        "wrong-dimension",
        f"{name} is {shown:.60}",
        expected=f"a quantity that can be told in {unit}, or a plain number in {unit}",
    )
    if kind == "M":
        problem.mend = "subtract the first time from all"
        raise problem
    if not own:
        if unit != "s" or isinstance(value, str):
            raise problem
        import numpy as np

        # arrays of numpy before 2.4 know no second but their own
        second = timedelta(seconds=1) if isinstance(value, timedelta) else np.timedelta64(1, "s")
        seconds = value / second
        return seconds if isinstance(seconds, float) else getattr(seconds, "values", seconds)
    try:
        return value.to(unit).magnitude
    except (TypeError, ValueError, AttributeError) as error:
        raise problem from error


def takes(**units: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Let arguments of a public function be quantities with units of their own.

    Parameters
    ----------
    units : str
        Unit of each parameter that may be one; see `magnitude`.

    Examples
    --------
    >>> @takes(current="A")
    ... def square(current):
    ...     return current * current
    >>> square(3.0)
    9.0
    """

    def dressed(function: Callable[P, R]) -> Callable[P, R]:
        names = tuple(signature(function).parameters)
        assert set(units) <= set(names), "a unit of a parameter that is none"

        @wraps(function)
        def plain(*args: P.args, **kwargs: P.kwargs) -> R:
            given: list[Any] = list(args)
            for i, name in enumerate(names[: len(given)]):
                if name in units:
                    given[i] = magnitude(given[i], units[name], name)
            named: Any = {
                name: magnitude(value, units[name], name) if name in units else value
                for name, value in kwargs.items()
            }
            return function(*given, **named)

        return plain

    return dressed


def kelvin(temperature_c: float, name: str = "temperature") -> float:
    """Temperature [K] of a temperature in degC; refuses values below absolute zero.

    Parameters
    ----------
    temperature_c : float
        Temperature [degC].
    name : str
        What it is, for the message.

    Returns
    -------
    float
        Temperature [K].

    Raises
    ------
    InputError
        When the value is not finite or lies below -273.15 degC.

    Examples
    --------
    >>> kelvin(23.0)
    296.15
    """
    value = float(temperature_c)
    if not math.isfinite(value):
        raise InputError(
            "temperature-not-finite",
            f"{name} is {value}",
            expected="a finite temperature in degrees Celsius",
        )
    if value < -ZERO_CELSIUS_K:
        raise InputError(
            "below-absolute-zero",
            f"{name} is {value:g} °C, below absolute zero",
            expected="degrees Celsius above -273.15",
            mend="check the sign and the unit",
        )
    return value + ZERO_CELSIUS_K


def celsius(temperature_k: float) -> float:
    """Temperature [degC] of a temperature in kelvin."""
    return temperature_k - ZERO_CELSIUS_K


def ambient_notes(ambient_c: float) -> tuple[Note, ...]:
    """Notes on an ambient that looks like a slip of unit (above 200 degC)."""
    hint = kelvin_hint(ambient_c)
    if not hint:
        return ()
    text = f"an ambient of {ambient_c:g} °C is unusually hot: {hint}"
    return (Note("ambient-looks-like-kelvin", text),)


def kelvin_hint(ambient_c: float) -> str:
    """What to give instead of an ambient that looks like kelvin; empty up to 200 degC.

    Examples
    --------
    >>> kelvin_hint(296)
    '296 looks like kelvin; in degrees Celsius that is 22.85'
    """
    if ambient_c <= 200.0:
        return ""
    return (
        f"{ambient_c:g} looks like kelvin; in degrees Celsius that is "
        f"{ambient_c - ZERO_CELSIUS_K:.6g}"
    )


def quantity(text: str, unit: str) -> float:
    """Value in SI of a text with a unit, for example ``quantity("10 mV/A", "V/A")``.

    Parameters
    ----------
    text : str
        Number and unit; SI prefixes n, u (µ), m, k, M are understood. A ratio such as
        ``mV/A`` may carry a prefix on both sides.
    unit : str
        The unit expected, without prefix: ``"A"``, ``"s"``, ``"V/A"``, ...

    Returns
    -------
    float
        Value in that unit.

    Raises
    ------
    InputError
        When the number or the unit is missing or another unit is given.

    Examples
    --------
    >>> quantity("10 mV/A", "V/A")
    0.01
    >>> quantity("25 ms", "s")
    0.025
    """
    match = re.fullmatch(r"\s*([-+]?[0-9.]+(?:[eE][-+]?\d+)?)\s*(\S+)\s*", text)
    problem = InputError(
        "quantity-unreadable",
        f"{text!r} is not a quantity in {unit}",
        expected=f"a number and its unit, such as '1 {unit}'",
        mend="write the unit out; no unit is assumed",
    )
    if match is None:
        raise problem
    try:
        number = float(match.group(1))
    except ValueError:
        raise problem from None
    scale = unit_scale(match.group(2), unit)
    if scale is None:
        raise problem
    return number * scale


def unit_scale(written: str, unit: str) -> float | None:
    """Factor from a written unit (with SI prefix) to ``unit``, or None when it is another unit.

    Examples
    --------
    >>> unit_scale("mA", "A")
    0.001
    >>> unit_scale("V", "A") is None
    True
    """
    if unit not in _UNITS:
        raise ValueError(f"unit {unit!r} is not known here")
    if "/" in unit:
        if "/" not in written:
            return None
        above, below = written.split("/", 1)
        unit_above, unit_below = unit.split("/", 1)
        top, bottom = unit_scale(above, unit_above), unit_scale(below, unit_below)
        return None if top is None or bottom is None else top / bottom
    if not written.endswith(unit):
        return None
    return _PREFIX.get(written[: len(written) - len(unit)])
