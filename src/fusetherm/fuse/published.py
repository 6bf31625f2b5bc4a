"""What is published about a fuse, table by table: numbers measured on it, and limits it keeps."""

# ruff: noqa: RUF009  (keyed makes a dataclass field)
from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from ..units import REFERENCE_AMBIENT_C, ZERO_CELSIUS_K
from .records import keyed

_COLD = -ZERO_CELSIUS_K
_SOURCE = "Where the values of this table come from."

#: Where a resistance or voltage drop is measured: on the element alone, between the blades
#: (or end caps), or between the clips, contacts included.
MeasuredAt = Literal["element", "blades", "clips"]


def _tolerance() -> Any:
    return keyed(
        "tolerance_percent",
        "Spread of the value about the mean unit [percent either way].",
        above=0.0,
        most=100.0,
        default=None,
    )


def _stated_as() -> Any:
    return keyed(
        "stated_as",
        "A mean of units (typical, the default), or a limit no unit exceeds (maximum).",
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdResistance:
    """Resistance of the unloaded fuse, with where it is measured."""

    resistance: float = keyed("cold_resistance_mohm", "Cold resistance [mohm].", above=0.0)
    tolerance: float | None = keyed(
        "cold_resistance_tolerance_percent",
        "Tolerance of units about it [percent either way].",
        above=0.0,
        most=100.0,
        default=None,
    )
    measured_at: MeasuredAt = keyed("measured_at", "Between which points it is measured.")
    temperature_c: float = keyed(
        "temperature_C", "Temperature of the measurement [degC].", above=_COLD, default=20.0
    )
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltageDrop:
    """Voltage across the fuse at a current carried until it is steady."""

    voltage: float = keyed("voltage_drop_mV", "Voltage drop [mV].", above=0.0)
    current: float = keyed("current_A", "Current of the measurement [A].", above=0.0)
    measured_at: MeasuredAt = keyed("measured_at", "Between which points it is measured.")
    ambient_c: float = keyed(
        "ambient_C", "Ambient [degC].", above=_COLD, default=REFERENCE_AMBIENT_C
    )
    stated_as: Literal["typical", "maximum"] | None = _stated_as()
    tolerance: float | None = _tolerance()
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeltingIntegral:
    """Joule integral up to melting for a short, nearly adiabatic pulse."""

    i2t: float = keyed("melting_i2t_A2s", "Melting I²t [A²s].", above=0.0)
    duration: float = keyed("duration_s", "Duration of the pulse it holds for [s].", above=0.0)
    tolerance: float | None = _tolerance()
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseTest:
    """Short pulses borne by a cold fuse, each a share of the melting I²t."""

    share: float = keyed(
        "share_of_melting_i2t_percent", "I²t of a pulse over the melting I²t [percent].",
        above=0.0, most=100.0,
    )  # fmt: skip
    pulses: float = keyed("pulses", "Number of pulses borne, taken as the median life.", least=1.0)
    duration: float | None = keyed(
        "duration_s", "Duration of a pulse [s]; that of the melting I²t if absent.",
        above=0.0, default=None,
    )  # fmt: skip
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalRise:
    """Temperature rise of the terminals at a current carried until it is steady."""

    rise: float = keyed("terminal_rise_K", "Rise over the ambient [K].", above=0.0)
    current: float = keyed("current_A", "Current of the measurement [A].", above=0.0)
    measured_at: Literal["blade", "clip"] = keyed(
        "measured_at", "On the blade of the fuse or on the clip that holds it.", default="blade"
    )
    stated_as: Literal["typical", "maximum"] | None = _stated_as()
    tolerance: float | None = _tolerance()
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastCurrent:
    """Minimum fusing current: the least that opens the fuse, however long it flows."""

    current: float = keyed("current_A", "Current [A].", above=0.0)
    tolerance: float | None = _tolerance()
    ambient_c: float = keyed(
        "ambient_C", "Ambient [degC].", above=_COLD, default=REFERENCE_AMBIENT_C
    )
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A current that is said to be carried for a time without opening."""

    current: float = keyed("current_A", "Current [A].", above=0.0)
    time: float = keyed("time_s", "Time it is carried [s].", above=0.0)
    ambient_c: float = keyed(
        "ambient_C", "Ambient [degC].", above=_COLD, default=REFERENCE_AMBIENT_C
    )
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """One point of a time-current characteristic: a mean time, limits, or both."""

    current: float = keyed("current_A", "Current [A].", above=0.0)
    time: float | None = keyed("time_s", "Mean time [s].", above=0.0, default=None)
    min_time: float | None = keyed("min_time_s", "Shortest time [s].", above=0.0, default=None)
    max_time: float | None = keyed("max_time_s", "Longest time [s].", above=0.0, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Time-current characteristic with the conditions it was measured under."""

    time_kind: Literal["pre-arcing", "operating"] = keyed(
        "time_kind", "Until the element parts (pre-arcing), or with the arc (operating)."
    )
    ambient_c: float = keyed("ambient_C", "Ambient of the tests [degC].", above=_COLD)
    current_decade: float | None = keyed(
        "current_decade_mm",
        "Length of a decade of current on the paper the points were read from [mm].",
        above=0.0,
        default=None,
    )
    time_decade: float | None = keyed(
        "time_decade_mm",
        "Length of a decade of time on the paper the points were read from [mm].",
        above=0.0,
        default=None,
    )
    source: str = keyed("source", _SOURCE)
    points: tuple[CurvePoint, ...] = keyed("point", "Points, in any order.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReRatingPoint:
    """Published re-rating at one ambient."""

    ambient_c: float = keyed("ambient_C", "Ambient [degC].", above=_COLD)
    factor: float = keyed("factor", "Current allowed over the rated current.", above=0.0, most=3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReRating:
    """Published re-rating with the ambient."""

    criterion: Literal["continuous", "fusing"] | None = keyed(
        "criterion",
        "What the factor is a ratio of: continuous currents (the default), fusing currents.",
        default=None,
    )
    source: str = keyed("source", _SOURCE)
    points: tuple[ReRatingPoint, ...] = keyed("point", "Points, in any order.")
