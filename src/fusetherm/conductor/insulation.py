"""What insulations stand: a temperature for each length of time, with its source."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from types import MappingProxyType

from ..errors import InputError

_HOUR = 3600.0
#: Longest short circuit the adiabatic formula and its limits hold for [s], IEC 60364-4-43.
ADIABATIC_TIME = 5.0
_RUNGS = "ageing and overload tests of ISO 6722-1 and ISO 19642-1, from memory"


@dataclass(frozen=True, slots=True)
class Rung:
    """Highest temperature of the conductor in a span of time after the current began.

    Parameters
    ----------
    limit_c : float
        [degC].
    after, until : float
        The span [s].
    source : str
    """

    limit_c: float
    after: float
    until: float
    source: str


@dataclass(frozen=True, slots=True)
class Insulation:
    """Kind of insulation.

    Parameters
    ----------
    name : str
        Name of ours, such as ``"pvc-70"``, or the class of ISO 6722-1, ``"iso-class-b"``.
    class_c : float
        Temperature it stands for long: its class [degC].
    short_circuit_c : float
        Temperature at the end of a short circuit of at most 5 s [degC].
    source : str
        Where both come from.
    thermal_resistivity : float
        [K m/W].
    volumetric_heat : float
        Density times specific heat [J/m³/K].
    """

    name: str
    class_c: float
    short_circuit_c: float
    source: str
    thermal_resistivity: float = 5.0
    volumetric_heat: float = 1.7e6

    def __post_init__(self) -> None:
        if not self.short_circuit_c >= self.class_c:
            raise InputError(
                "insulation-limits",
                f"insulation {self.name}: short-circuit limit {self.short_circuit_c:.6g} °C, class "
                f"{self.class_c:.6g} °C",
                expected="a short-circuit limit not below the class",
            )

    @property
    def rungs(self) -> tuple[Rung, ...]:
        """Limits from the short circuit to the long run.

        Up to 5 s the short-circuit limit; to 6 h 50 K above the class, to 240 h 25 K above it,
        but never above the short-circuit limit; the class itself, which is stated for 3000 h,
        after that.
        """
        top = self.short_circuit_c
        return (
            Rung(top, 0.0, ADIABATIC_TIME, self.source),
            Rung(min(self.class_c + 50.0, top), ADIABATIC_TIME, 6.0 * _HOUR, _RUNGS),
            Rung(min(self.class_c + 25.0, top), 6.0 * _HOUR, 240.0 * _HOUR, _RUNGS),
            Rung(self.class_c, 240.0 * _HOUR, math.inf, self.source),
        )


_IEC = "IEC 60364-4-43, tables of k and of limits"
_ISO = "class: ISO 6722-1 and ISO 19642-1, 3000 h, from memory; short circuit: "
_PVC, _XLPE = "that of PVC in IEC 60364-4-43", "that of cross-linked polyethylene there"


def _kinds() -> dict[str, Insulation]:
    found = [
        Insulation("pvc-70", 70.0, 160.0, f"{_IEC}; from memory"),
        Insulation("pvc-90", 90.0, 160.0, f"{_IEC}; from memory"),
        Insulation("pvc-105", 105.0, 160.0, f"class: common practice on boats, no source; {_PVC}"),
        Insulation("xlpe-90", 90.0, 250.0, f"{_IEC}; from memory", 3.5, 2.4e6),
        Insulation("rubber-60", 60.0, 200.0, f"{_IEC}; from memory"),
    ]
    classes = zip("abcdefgh", (85, 100, 125, 150, 175, 200, 225, 250), strict=True)
    for letter, class_c in classes:
        if class_c <= 100:
            limit, why = 160.0, _PVC
        elif class_c <= 150:
            limit, why = 250.0, _XLPE
        else:
            limit, why = class_c + 50.0, "that of the overload test of 6 h, none being known"
        found.append(Insulation(f"iso-class-{letter}", float(class_c), limit, _ISO + why))
    return {one.name: one for one in found}


#: Kinds of insulation, by name, for sections up to 300 mm²: larger ones have 140 degC in PVC.
INSULATIONS: Mapping[str, Insulation] = MappingProxyType(_kinds())


def insulation(name: str) -> Insulation:
    """Insulation of a name.

    Parameters
    ----------
    name : str
        A key of :data:`INSULATIONS`.

    Returns
    -------
    Insulation

    Raises
    ------
    InputError
        ``insulation-unknown``, with the nearest name.

    Examples
    --------
    >>> insulation("pvc-70").short_circuit_c
    160.0
    """
    if name in INSULATIONS:
        return INSULATIONS[name]
    near = get_close_matches(name, INSULATIONS, 1, 0.5)
    raise InputError(
        "insulation-unknown",
        f"no insulation is called {name!r}",
        expected=", ".join(INSULATIONS),
        mend=f"did you mean {near[0]}?" if near else "choose one of these, or the nearest below",
    )
