"""Numbers as people write them: three digits that count, a unit with its prefix, no exponents.

Everything that is printed for people, in messages, remarks, tables and figures, passes here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from html import escape

#: Digits that count.
DIGITS = 3
_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"))
#: Magnitudes between which a unit goes without prefix, and the prefixes it takes.
_BARE = {
    "s": (1.0, math.inf, "mµn"),
    "A": (0.01, 1e4, "kmµ"),
    "V": (0.1, 1e4, "kmµ"),
    "Hz": (1.0, 1e3, "kMG"),
    "m": (0.1, math.inf, "mµ"),
    "Ω": (0.1, 1e3, "kMmµ"),
}
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")


def number(value: float, digits: int = DIGITS) -> str:
    """A number to so many significant digits, without an exponent where it can be read.

    Parameters
    ----------
    value : float
        Any number.
    digits : int
        Significant digits.

    Examples
    --------
    >>> number(110.2), number(24_410.6), number(0.00042), number(6.667e7), number(5.7)
    ('110', '24400', '0.00042', '6.67·10⁷', '5.7')
    """
    if not math.isfinite(value):
        return (
            "not a number" if math.isnan(value) else "no limit" if value > 0 else "no lower limit"
        )
    mantissa, _, power = f"{value:.{digits - 1}e}".partition("e")
    exponent = int(power)
    if float(mantissa) == 0.0:
        return "0"
    if -5 < exponent < 6:
        text = f"{float(f'{value:.{digits - 1}e}'):.{max(digits - 1 - exponent, 0)}f}"
    else:
        text = mantissa
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text if -5 < exponent < 6 else f"{text}·10{str(exponent).translate(_RAISED)}"


def measure(value: float, unit: str, digits: int = DIGITS) -> str:
    """A value with its unit, prefixed where that reads better.

    Parameters
    ----------
    value : float
        In the unit, without prefix.
    unit : str
        ``"A"``, ``"s"``, ``"V"``, ``"Hz"``, ``"m"`` and ``"Ω"`` take prefixes; others stay.
    digits : int
        Significant digits.

    Examples
    --------
    >>> measure(0.000226, "s"), measure(0.0082, "A"), measure(125.4, "A"), measure(2e4, "Hz")
    ('226 µs', '8.2 mA', '125 A', '20 kHz')
    """
    low, high, prefixes = _BARE.get(unit, (0.0, math.inf, ""))
    size = abs(float(f"{value:.{digits - 1}e}")) if math.isfinite(value) else 0.0
    if size and not low <= size < high:
        taken = [(scale, prefix) for scale, prefix in _PREFIXES if prefix and prefix in prefixes]
        # The largest that fits, or the smallest there is.
        fits = [one for one in taken if size >= one[0] * (1.0 - 1e-12)] or taken[-1:]
        scale, prefix = fits[0]
        return f"{number(value / scale, digits)} {prefix}{unit}"
    return f"{number(value, digits)} {unit}"


def seconds(value: float | None) -> str:
    """A time [s] as a person says it.

    Examples
    --------
    >>> seconds(0.0123), seconds(8.4), seconds(5400.0), seconds(None)
    ('12.3 ms', '8.4 s', '1.5 h', 'never')
    """
    if value is None or not math.isfinite(value):
        return "never"
    rounded = abs(float(f"{value:.{DIGITS - 1}e}"))
    for least, unit, size in ((86400.0, "d", 86400.0), (3600.0, "h", 3600.0), (300.0, "min", 60.0)):
        if rounded >= least:
            return f"{number(value / size)} {unit}"
    return measure(value, "s")


def percent(share: float, digits: int = 2) -> str:
    """A share in per cent.

    Examples
    --------
    >>> percent(1.1), percent(0.00864)
    ('110 %', '0.86 %')
    """
    return f"{number(100.0 * share, max(digits, 3) if abs(share) >= 0.995 else digits)} %"


def apart(value: float, limit: float, decimals: int = 0) -> tuple[str, str]:
    """Two numbers to so many decimals, or to more where they would look equal and are not.

    Examples
    --------
    >>> apart(125.04, 125.0), apart(131.2, 125.0)
    (('125.04', '125.00'), ('131', '125'))
    """
    for places in range(decimals, decimals + 4):
        texts = f"{value:.{places}f}", f"{limit:.{places}f}"
        if texts[0] != texts[1] or value == limit:
            return texts
    return texts


def html_table(title: str, pairs: Iterable[tuple[str, str]]) -> str:
    """A title and pairs of name and value as a small HTML table; all text is escaped.

    Examples
    --------
    >>> html_table("<b>", [("rated current", "40 A"), ("empty", "")])
    '<table><caption>&lt;b&gt;</caption><tr><th>rated current</th><td>40 A</td></tr></table>'
    """
    rows = (
        f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>"
        for name, value in pairs
        if value
    )
    return f"<table><caption>{escape(title)}</caption>{''.join(rows)}</table>"


def counted(count: int, noun: str) -> str:
    """A number of things.

    Examples
    --------
    >>> counted(1, "edge"), counted(12_000, "sample")
    ('1 edge', '12,000 samples')
    """
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"
