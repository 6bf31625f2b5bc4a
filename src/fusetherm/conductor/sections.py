"""Sections of conductors, in mm² and by gauge, and their resistance (SI)."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

import numpy as np

from ..errors import InputError
from ..physics.wire_laws import CABLE_CONDUCTORS
from ..written import number

Material = Literal["copper", "aluminium"]
#: How the conductor is made up, by the classes of IEC 60228: solid or stranded, flexible.
Make = Literal["rigid", "flexible", "tinned"]

# Largest resistance at 20 degC [ohm/km] by section [mm2], IEC 60228. Copper of .5, .75, 1.5,
# 2.5, 6, 10, 25, 35, 70 and 95 mm2 read in mycableengineering.com (IEC 60228 DC resistance) and
# etechnik-synergie.com; the other sections and aluminium from memory.
_SIZES = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0,
          150.0, 185.0, 240.0, 300.0)  # fmt: skip
_RIGID = (36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15, 0.727, 0.524, 0.387, 0.268, 0.193,
          0.153, 0.124, 0.0991, 0.0754, 0.0601)  # fmt: skip
_FLEXIBLE = (39.0, 26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21, 0.780, 0.554, 0.386, 0.272,
             0.206, 0.161, 0.129, 0.106, 0.0801, 0.0641)  # fmt: skip
_TINNED = (40.1, 26.7, 20.0, 13.7, 8.21, 5.09, 3.39, 1.95, 1.24, 0.795, 0.565, 0.393, 0.277,
           0.210, 0.164, 0.132, 0.108, 0.0817, 0.0654)  # fmt: skip
_ALUMINIUM = (3.08, 1.91, 1.20, 0.868, 0.641, 0.443, 0.320, 0.253, 0.206, 0.164, 0.125, 0.100)
#: Smaller ones, flexible only; etechnik-synergie.com (VDE 0295), read.
_SMALL = {0.14: 134.0, 0.22: 96.0, 0.25: 76.0, 0.34: 53.0}

#: Material and make -> section [mm²] -> largest resistance at 20 degC [ohm/km].
IEC_60228: Mapping[tuple[str, str], Mapping[float, float]] = MappingProxyType(
    {
        ("copper", "rigid"): MappingProxyType(dict(zip(_SIZES, _RIGID, strict=True))),
        ("copper", "flexible"): MappingProxyType(
            _SMALL | dict(zip(_SIZES, _FLEXIBLE, strict=True))
        ),
        ("copper", "tinned"): MappingProxyType(dict(zip(_SIZES, _TINNED, strict=True))),
        ("aluminium", "rigid"): MappingProxyType(dict(zip(_SIZES[7:], _ALUMINIUM, strict=True))),
    }
)
#: What stranding adds to the resistance of a gauge's own section (ASTM B8, from memory).
_LAY = 1.02
#: Sections that are hardly made and stand for a gauge [mm²].
_ONLY_GAUGES = (14.0, 18.0, 22.0, 24.0, 26.0, 28.0, 30.0)
_GAUGES = {"0": 0, "00": -1, "000": -2, "0000": -3, "1/0": 0, "2/0": -1, "3/0": -2, "4/0": -3}


def gauge_diameter(gauge: int) -> float:
    """Diameter of a solid wire of an American wire gauge [m].

    Parameters
    ----------
    gauge : int
        Number of the gauge; 0, -1, -2, -3 for 1/0 to 4/0.

    Returns
    -------
    float

    Notes
    -----
    ``0.127 mm * 92^((36 - n)/39)``, ASTM B258.

    Examples
    --------
    >>> round(1e3 * gauge_diameter(14), 4)
    1.6277
    """
    return 0.127e-3 * float(92.0 ** ((36.0 - gauge) / 39.0))


def gauge_section(gauge: int) -> float:
    """Section of an American wire gauge [m²].

    Parameters
    ----------
    gauge : int
        As for `gauge_diameter`.

    Returns
    -------
    float

    Examples
    --------
    >>> round(1e6 * gauge_section(10), 3)
    5.261
    """
    return 0.25 * math.pi * gauge_diameter(gauge) ** 2


def read_section(text: str) -> tuple[float, int | None]:
    """Section [m²] of a text with its unit, and its gauge when it was given by gauge.

    Parameters
    ----------
    text : str
        Such as ``"2.5 mm²"``, ``"2.5 mm2"`` or ``"AWG 14"``, ``"AWG 2/0"``.

    Returns
    -------
    section : float
        [m²].
    gauge : int or None

    Raises
    ------
    InputError
        ``section-unreadable`` without a unit or number; ``section-or-gauge`` for a section
        that is hardly made but is a gauge, such as 14 mm², and for a gauge that is none.

    Examples
    --------
    >>> read_section("2.5 mm2")
    (2.5e-06, None)
    >>> read_section("AWG 14")[1]
    14
    """
    written = text.strip()
    gauge = re.fullmatch(r"(?i)awg\s*([\d./]+)|([\d./]+)\s*awg", written)
    if gauge is not None:
        return _gauge(gauge.group(1) or gauge.group(2), written)
    area = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(?:mm2|mm²|mm\^2)", written)
    if area is None:
        raise InputError(
            "section-unreadable",
            f"{text!r} is not a section",
            expected="a number with its unit, such as '2.5 mm2' or 'AWG 14'",
            mend="write the unit out: a bare number may be either",
        )
    value = float(area.group(1))
    if value in _ONLY_GAUGES:
        raise InputError(
            "section-or-gauge",
            f"{number(value)} mm² is hardly made, and there is a gauge of that number, of "
            f"{number(1e6 * gauge_section(int(value)))} mm²",
            expected="a section in mm², or 'AWG' and a number",
            mend=f"write 'AWG {number(value)}' if that is meant, else the true section",
        )
    return refuse_section(value * 1e-6), None


def _gauge(digits: str, written: str) -> tuple[float, int]:
    if digits in _GAUGES:
        number_of = _GAUGES[digits]
    elif digits.isdigit() and 1 <= int(digits) <= 40:
        number_of = int(digits)
    else:
        raise InputError(
            "section-or-gauge",
            f"{written!r} is no gauge",
            expected="AWG and a whole number up to 40, or 1/0 to 4/0",
            mend="write 'mm2' after it if it is a section",
        )
    return gauge_section(number_of), number_of


def refuse_section(section: float) -> float:
    """A section in m², refused where it can be none.

    Raises
    ------
    InputError
        ``section-outside`` outside .01 to 300 mm².
    """
    if not 1e-8 <= section <= 300.1e-6:
        raise InputError(
            "section-outside",
            f"a section of {section * 1e6:.6f} mm²",
            expected=".01 to 300 mm²; PVC above has a lower short-circuit limit",
            mend="check the unit: in Python a section is in m², 2.5e-6 for 2.5 mm²",
        )
    return section


def conductor_resistance(
    section: float,
    material: Material = "copper",
    make: Make = "flexible",
    *,
    gauge: int | None = None,
) -> float:
    """Largest resistance per length of a conductor at 20 degC [ohm/m].

    Parameters
    ----------
    section : float
        [m²].
    material : {"copper", "aluminium"}
    make : {"rigid", "flexible", "tinned"}
        Classes 1 and 2, class 5 plain, class 5 tinned of IEC 60228; aluminium is rigid.
    gauge : int, optional
        Given for a section by gauge: its resistance follows from its own section, and 2 %
        for the lay of the strands.

    Returns
    -------
    float

    Raises
    ------
    InputError
        ``conductor-make`` for aluminium that is not rigid.

    Notes
    -----
    Between the sections of the standard the product of resistance and section is a straight
    line in the logarithm of the section; beyond them it is that of the last. Wires as they are
    sold lie up to 5 % below.

    Examples
    --------
    >>> round(1e3 * conductor_resistance(2.5e-6), 2)
    7.98
    """
    if (material, make) not in IEC_60228:
        raise InputError(
            "conductor-make",
            f"a {make} conductor of {material}",
            expected=", ".join(f"{made} {of}" for of, made in IEC_60228),
            mend="aluminium is rigid in IEC 60228",
        )
    if gauge is not None:
        return _LAY * CABLE_CONDUCTORS[material].resistivity_20 / section
    table = IEC_60228[material, make]
    sizes = np.array(list(table)) * 1e-6
    products = np.array(list(table.values())) * 1e-3 * sizes
    return float(np.interp(math.log(section), np.log(sizes), products)) / section
