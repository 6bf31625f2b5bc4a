"""Everything published that the fit can compare with: each a number with its own noise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ..fuse.definition import Definition
from ..written import number, seconds

#: Reading off log-log paper: a click of .5 mm on a decade of 50 mm is 2.3 % in current and
#: in time; the scatter of the printed mean adds to the time [ln].
CURRENT_NOISE = 0.005
TIME_NOISE = 0.03
#: Spread of a stated drop or terminal rise [relative] (own estimate).
STEADY_NOISE = 0.05
#: Operating times contain arcing, which matters below this time [s] (DC, common practice, no
#: source); such points get a wide spread in time [ln].
ARCING_TIME = 0.02
ARCING_NOISE = 0.5


@dataclass(frozen=True, slots=True)
class Observation:
    """One published number.

    Attributes
    ----------
    kind : {"time", "drop", "rise"}
        Time to part at a current, voltage drop or terminal rise in steady state.
    label : str
        For the reader.
    current : float
        Current [A].
    value : float
        Time [s], drop [V] or rise [K].
    noise : float
        Standard deviation: of ln time for "time", relative for the others.
    ambient_c : float
        Ambient [degC].
    where : str
        Nodes a drop or rise is measured between or on.
    """

    kind: Literal["time", "drop", "rise"]
    label: str
    current: float
    value: float
    noise: float
    ambient_c: float
    where: str = ""


def observations_of(definition: Definition) -> tuple[Observation, ...]:
    """Observations of a definition: curve points, melting I²t, drops, terminal rises.

    A point with limits only is read at the geometric mean of its times, with a quarter of
    the logarithm of their ratio as spread (limits taken as two standard deviations).
    """
    found: list[Observation] = []
    curve = definition.curve
    if curve is not None:
        for point in curve.points:
            noise = TIME_NOISE
            time = point.time
            if point.min_time is not None and point.max_time is not None:
                noise = max(noise, 0.25 * math.log(point.max_time / point.min_time))
                time = math.sqrt(point.min_time * point.max_time) if time is None else time
            if time is None:
                continue
            if curve.time_kind == "operating" and time < ARCING_TIME:
                noise = ARCING_NOISE
            label = f"{number(point.current, 6)} A, {seconds(time)}"
            found.append(Observation("time", label, point.current, time, noise, curve.ambient_c))
    ambient_c = 23.0 if curve is None else curve.ambient_c
    for melting in definition.melting_integrals:
        current = math.sqrt(melting.i2t / melting.duration)
        label = f"melting I²t {number(melting.i2t, 6)} A²s at {seconds(melting.duration)}"
        found.append(Observation("time", label, current, melting.duration, 0.1, ambient_c))
    for drop in definition.voltage_drops:
        label = f"drop {number(1e3 * drop.voltage, 6)} mV at {number(drop.current, 6)} A"
        found.append(
            Observation(
                "drop",
                label,
                drop.current,
                drop.voltage,
                STEADY_NOISE,
                drop.ambient_c,
                drop.measured_at,
            )
        )
    for rise in definition.terminal_rises:
        label = f"terminal rise {number(rise.rise, 6)} K at {number(rise.current, 6)} A"
        found.append(
            Observation(
                "rise", label, rise.current, rise.rise, STEADY_NOISE, ambient_c, rise.measured_at
            )
        )
    return tuple(found)
