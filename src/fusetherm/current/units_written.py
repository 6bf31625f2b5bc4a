"""Units as people write them in the heads of columns: ``Time (s)``, ``t [ms]``, ``ch1_mV``."""

from __future__ import annotations

import re

from ..units import unit_scale

_WORDS = {
    "sec": ("s", 1.0), "secs": ("s", 1.0), "second": ("s", 1.0), "seconds": ("s", 1.0),
    "msec": ("s", 1e-3), "usec": ("s", 1e-6), "µsec": ("s", 1e-6), "min": ("s", 60.0),
    "minutes": ("s", 60.0), "h": ("s", 3600.0), "hours": ("s", 3600.0),
    "amp": ("A", 1.0), "amps": ("A", 1.0), "ampere": ("A", 1.0), "amperes": ("A", 1.0),
    "volt": ("V", 1.0), "volts": ("V", 1.0),
}  # fmt: skip
_BRACKETS = re.compile(r"(.*?)\s*[(\[{<]\s*([^()\[\]{}<>]+?)\s*[)\]}>]")
_TAILS = (re.compile(r"(.+?)\s*/\s*(\S+)"), re.compile(r"(.+)_(\S+)"), re.compile(r"(.+) in (\S+)"))


def unit_kind(written: str) -> tuple[str, float] | None:
    """Kind (``"s"``, ``"A"`` or ``"V"``) and factor to SI of a written unit.

    Examples
    --------
    >>> unit_kind("mA")
    ('A', 0.001)
    >>> unit_kind("kg") is None
    True
    """
    text = written.strip()
    if text.lower() in _WORDS:
        return _WORDS[text.lower()]
    for kind in ("s", "A", "V"):
        scale = unit_scale(text, kind)
        if scale is not None:
            return kind, scale
    return None


def name_and_unit(head: str) -> tuple[str, str]:
    """Bare name and unit of the head of a column; the unit is empty when none is written.

    Examples
    --------
    >>> name_and_unit("Time (s)"), name_and_unit("ch1_mV"), name_and_unit("Channel A")
    (('Time', 's'), ('ch1', 'mV'), ('Channel A', ''))
    """
    text = head.strip()
    if match := _BRACKETS.fullmatch(text):
        return match[1], match[2]
    for tail in _TAILS:
        match = tail.fullmatch(text)
        if match and unit_kind(match[2]):
            return match[1].strip(), match[2]
    return text, ""


def has_only_units(fields: tuple[str, ...]) -> bool:
    """Whether a row holds units and nothing else, in brackets or not."""
    bare = [field.strip("()[]{} ") for field in fields]
    return any(map(unit_kind, bare)) and all(not text or unit_kind(text) for text in bare)
