"""Numbers of the table as a person reads them, the same on the screen and on a page."""

from __future__ import annotations

import math

from .. import written
from .case import Case, Row

__all__ = ["error_text", "expected_text", "number", "source_text", "tolerance_text", "unit_text"]

_UNITS = {"1": "", "degC": "°C", "A2 s": "A²s", "A2 s/mm4": "A²s/mm⁴", "W/m2/K": "W/m²/K",
          "ohm": "Ω", "ohm m": "Ω m", "A2 s/m4": "A²s/m⁴", "mm2": "mm²"}  # fmt: skip
_ORIGINS = {"read": "read", "computed": "computed apart", "memory": "from memory"}
#: Words in a source that say already how it was come by.
_SAID = {
    "read": ("read",),
    "computed": ("computed", "evaluated", "mpmath"),
    "memory": ("from memory",),
}


def number(value: float, digits: int = 6) -> str:
    """A number in six digits; a dash where there is none.

    Examples
    --------
    >>> number(107.75764961), number(2.5e-9), number(math.nan)
    ('107.758', '2.5·10⁻⁹', '-')
    """
    return "-" if math.isnan(value) else written.number(value, digits)


def unit_text(unit: str) -> str:
    """A unit with its powers set high; empty for a plain number."""
    return _UNITS.get(unit, unit)


def expected_text(case: Case) -> str:
    """Expected value, or the band."""
    if not isinstance(case.expected, tuple):
        return number(case.expected)
    low, high = case.expected
    if math.isinf(high):
        return f"> {number(low)}"
    return f"< {number(high)}" if math.isinf(low) else f"{number(low)} to {number(high)}"


def error_text(row: Row) -> str:
    """Error of a row: in per cent when the case is relative, else in its unit."""
    if row.failure:
        return "raised"
    if isinstance(row.case.expected, tuple) and row.passed:
        return "inside"
    return _share(row.error, row.case, sign="+")


def tolerance_text(case: Case) -> str:
    """Largest error, in the same terms; empty for a band."""
    return "" if isinstance(case.expected, tuple) else _share(case.tolerance, case)


def source_text(case: Case) -> str:
    """Source, with how the value was come by unless that says it already."""
    said = any(word in case.source for word in _SAID[case.origin])
    return case.source if said else f"{case.source} ({_ORIGINS[case.origin]})"


def _share(value: float, case: Case, sign: str = "") -> str:
    lead = sign if value > 0.0 else ""
    if case.relative:
        return f"{lead}{number(100.0 * value, 2)} %"
    return f"{lead}{number(value, 2)} {unit_text(case.unit)}".rstrip()
