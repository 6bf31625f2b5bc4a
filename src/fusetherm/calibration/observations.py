"""Everything published that the fit can compare with: each a number with its own noise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ..fuse.consistency import ARCING_TIME
from ..fuse.definition import Definition
from ..fuse.gates import gate_table
from ..fuse.published import Curve, CurvePoint
from ..units import REFERENCE_AMBIENT_C
from ..written import measure, number, percent, seconds

Kind = Literal["time", "fusing", "rerating", "drop", "rise"]
Bound = Literal["", "least", "most"]

#: Noise of a tabulated point of a curve: its current [ln], and its time, which takes up the
#: scatter of the units it is the mean of [ln] (own estimates).
CURRENT_NOISE = 0.005
TIME_NOISE = 0.03
#: How finely a point is read off paper [m]; a half of it either way, evenly, has the standard
#: deviation of the click over the square root of 12. On a decade of 50 mm a click of .5 mm is
#: 2.3 %, and .66 % the standard deviation (common practice, no source).
CLICK = 0.5e-3
#: Spread of a stated drop or terminal rise [relative], of a melting I²t in its time [ln], of a
#: minimum fusing current and of a re-rated fusing current [ln] (own estimates).
STEADY_NOISE = 0.05
INTEGRAL_NOISE = 0.1
FUSING_NOISE = 0.02
#: How far a mean curve may stand outside a limit at one standard deviation [ln current]: limits
#: are those of a standard for every unit, and their current is set, not read (own estimate).
LIMIT_NOISE = 0.01
#: Operating times that contain arcing get a wide spread in time [ln].
ARCING_NOISE = 0.5

#: Unit a number of each kind is shown in, and the factor to it.
SHOWN_UNITS: dict[str, tuple[str, float]] = {
    "time": ("A", 1.0),
    "fusing": ("A", 1.0),
    "rerating": ("", 1.0),
    "drop": ("mV", 1e3),
    "rise": ("K", 1.0),
}


@dataclass(frozen=True, slots=True)
class Observation:
    """One published number.

    Attributes
    ----------
    kind : {"time", "fusing", "rerating", "drop", "rise"}
        Time to part at a current, minimum fusing current, its ratio to that at 23 degC,
        voltage drop or terminal rise in steady state.
    label : str
        For the reader.
    current : float
        Current [A].
    value : float
        Time [s], current [A], ratio [-], drop [V] or rise [K].
    noise : float
        Standard deviation: of ln time for "time", relative for the others; of ln current for a
        bound on a time.
    ambient_c : float
        Ambient [degC].
    where : str
        Nodes a drop or rise is measured between or on.
    bound : {"", "least", "most"}
        A limit: what the model gives in the place of the published number (for a time, the
        current that parts it then) is no less, or no more.
    current_noise : float
        Standard deviation of ln current of a point of a curve [-].
    """

    kind: Kind
    label: str
    current: float
    value: float
    noise: float
    ambient_c: float
    where: str = ""
    bound: Bound = ""
    current_noise: float = CURRENT_NOISE

    @property
    def published(self) -> float:
        """What a model's number is compared with: a current for a time, else the value."""
        return self.current if self.kind == "time" else self.value

    def off(self, log_value: float) -> float:
        """ln of a model's number over what is published; 0 for a limit that is kept."""
        off = log_value - math.log(self.published)
        if (self.bound == "least" and off > 0.0) or (self.bound == "most" and off < 0.0):
            return 0.0
        return off

    def broken(self, value: float) -> bool:
        """Whether a model's number lies beyond the limit."""
        return bool(self.bound) and self.off(math.log(value)) != 0.0


def observations_of(definition: Definition) -> tuple[Observation, ...]:
    """Observations of a definition: everything published that a model can be held to.

    A point with both limits and no mean is read at the geometric mean of its times, with a
    quarter of the logarithm of their ratio as spread (limits taken as two standard
    deviations). A point with one limit, a hold, the gates of a standard, a stated maximum and
    a re-rating of continuous currents are limits: they cost nothing while they are kept.
    """
    ambient_c = REFERENCE_AMBIENT_C if definition.curve is None else definition.curve.ambient_c
    return (
        *([] if definition.curve is None else _points(definition.curve)),
        *_integrals(definition, ambient_c),
        *_fusing(definition),
        *_steady(definition, ambient_c),
        *_holds(definition),
        *_gates(definition),
    )


def curve_times(definition: Definition) -> tuple[Observation, ...]:
    """Times at which a current is published to part the fuse: no limit is one, a mean is."""
    return tuple(o for o in observations_of(definition) if o.kind == "time" and not o.bound)


def _points(curve: Curve) -> list[Observation]:
    current_noise = math.hypot(CURRENT_NOISE, read_noise(curve.current_decade))
    found: list[Observation] = []
    for point in curve.points:
        noise = math.hypot(TIME_NOISE, read_noise(curve.time_decade))
        time = point.time
        if point.min_time is not None and point.max_time is not None:
            noise = max(noise, 0.25 * math.log(point.max_time / point.min_time))
            time = math.sqrt(point.min_time * point.max_time) if time is None else time
        if time is None:
            found.append(_one_limit(point, curve.ambient_c))
            continue
        if curve.time_kind == "operating" and time < ARCING_TIME:
            noise = ARCING_NOISE
        label = f"{number(point.current, 6)} A, {seconds(time)}"
        found.append(
            Observation(
                "time",
                label,
                point.current,
                time,
                noise,
                curve.ambient_c,
                current_noise=current_noise,
            )
        )
    return found


def read_noise(decade: float | None) -> float:
    """Standard deviation of a value read off a logarithmic scale, by its decade [m] [ln]."""
    return 0.0 if decade is None else math.log(10.0) * CLICK / (math.sqrt(12.0) * decade)


def _limit(label: str, current: float, time: float, bound: Bound, ambient_c: float) -> Observation:
    """A limit on the time at a current, as one on the current that parts the element then."""
    return Observation("time", label, current, time, LIMIT_NOISE, ambient_c, "", bound)


def _one_limit(point: CurvePoint, ambient_c: float) -> Observation:
    shown = f"{number(point.current, 6)} A, no"
    if point.min_time is not None:
        label = f"{shown} sooner than {seconds(point.min_time)}"
        return _limit(label, point.current, point.min_time, "least", ambient_c)
    assert point.max_time is not None
    label = f"{shown} later than {seconds(point.max_time)}"
    return _limit(label, point.current, point.max_time, "most", ambient_c)


def _integrals(definition: Definition, ambient_c: float) -> list[Observation]:
    found = []
    for melting in definition.melting_integrals:
        label = f"melting I²t {number(melting.i2t, 6)} A²s at {seconds(melting.duration)}"
        noise = INTEGRAL_NOISE if melting.tolerance is None else 0.5 * melting.tolerance
        current = math.sqrt(melting.i2t / melting.duration)
        found.append(Observation("time", label, current, melting.duration, noise, ambient_c))
    return found


def _fusing(definition: Definition) -> list[Observation]:
    found: list[Observation] = []
    least = definition.minimum_fusing
    if least is not None:
        label = f"minimum fusing current {measure(least.current, 'A')}"
        noise = FUSING_NOISE if least.tolerance is None else 0.5 * least.tolerance
        found.append(
            Observation("fusing", label, least.current, least.current, noise, least.ambient_c)
        )
    table = definition.re_rating
    for point in () if table is None else table.points:
        if abs(point.ambient_c - REFERENCE_AMBIENT_C) < 5.0:
            continue  # one by definition
        label = f"re-rating {percent(point.factor)} at {number(point.ambient_c)} °C"
        bound: Bound = ""
        if table is not None and table.criterion != "fusing":
            # a continuous current may not come nearer to the fusing current as it warms; in
            # the cold a published factor is often held down for other reasons
            if point.ambient_c < REFERENCE_AMBIENT_C:
                continue
            bound = "least"
        current = point.factor * definition.rated_current
        found.append(
            Observation(
                "rerating",
                label,
                current,
                point.factor,
                FUSING_NOISE,
                point.ambient_c,
                "",
                bound,
            )
        )
    return found


def _steady(definition: Definition, ambient_c: float) -> list[Observation]:
    found = []
    for drop in definition.voltage_drops:
        label = f"drop {number(1e3 * drop.voltage, 6)} mV at {number(drop.current, 6)} A"
        noise = STEADY_NOISE if drop.tolerance is None else 0.5 * drop.tolerance
        bound: Bound = "most" if drop.stated_as == "maximum" else ""
        found.append(
            Observation(
                "drop",
                label + (" or less" if bound else ""),
                drop.current,
                drop.voltage,
                noise,
                drop.ambient_c,
                drop.measured_at,
                bound,
            )
        )
    for rise in definition.terminal_rises:
        label = f"terminal rise {number(rise.rise, 6)} K at {number(rise.current, 6)} A"
        noise = STEADY_NOISE if rise.tolerance is None else 0.5 * rise.tolerance
        bound = "most" if rise.stated_as == "maximum" else ""
        found.append(
            Observation(
                "rise",
                label + (" or less" if bound else ""),
                rise.current,
                rise.rise,
                noise,
                ambient_c,
                rise.measured_at,
                bound,
            )
        )
    return found


def _holds(definition: Definition) -> list[Observation]:
    return [
        _limit(
            f"{number(hold.current, 6)} A held for {seconds(hold.time)}",
            hold.current,
            hold.time,
            "least",
            hold.ambient_c,
        )
        for hold in definition.holds
    ]


def _gates(definition: Definition) -> list[Observation]:
    found = []
    for name in definition.gates:
        table = gate_table(name)
        for gate in table.gates:
            current = gate.multiple * definition.rated_current
            at = f"{table.name} at {number(gate.multiple, 6)} times the rating: no"
            if gate.min_time > 0.0:
                label = f"{at} sooner than {seconds(gate.min_time)}"
                found.append(_limit(label, current, gate.min_time, "least", REFERENCE_AMBIENT_C))
            if gate.max_time < math.inf:
                label = f"{at} later than {seconds(gate.max_time)}"
                found.append(_limit(label, current, gate.max_time, "most", REFERENCE_AMBIENT_C))
    return found
