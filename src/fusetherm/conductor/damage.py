"""How long a wire stands a current: its heating against the limits of its insulation."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..written import measure
from .insulation import ADIABATIC_TIME
from .wire import (
    CELLS,
    Thermal,
    Wire,
    continuous_current,
    steady_current,
    steady_temperature,
    thermal,
)

Floats = npt.NDArray[np.float64]

#: A wire is followed for as long as its last limit is of interest [s]: 300 h.
LONGEST = 300.0 * 3600.0
_TOLERANCE = 1e-7


@dataclass(frozen=True, slots=True)
class DamageCurve:
    """Time until a wire is damaged against constant current, from a temperature of its own.

    Attributes
    ----------
    current : (n,) array
        [A].
    time : (n,) array
        [s]; infinite where the current is carried for ever.
    rung : tuple of int
        Which limit of the insulation decides, 0 the short circuit; -1 where none does.
    start_c : float
        Temperature of the conductor before [degC].
    ambient_c : float
        [degC].
    continuous : float
        Current carried for ever [A].
    """

    current: Floats
    time: Floats
    rung: tuple[int, ...]
    start_c: float
    ambient_c: float
    continuous: float


def start_temperature(wire: Wire, load: float, ambient_c: float) -> float:
    """Temperature of a conductor at the load before, its class at most [degC].

    Parameters
    ----------
    wire : Wire
    load : float
        Steady current before [A].
    ambient_c : float
        [degC].
    """
    if load < 0.0 or not math.isfinite(load):
        raise InputError(
            "negative", f"a load before of {measure(load, 'A')}", expected="zero or more"
        )
    return min(steady_temperature(wire, load, ambient_c), wire.insulation.class_c)


def heating(
    wire: Wire,
    current: float | Callable[[float], float],
    *,
    ambient_c: float,
    start_c: float | None = None,
    levels: Sequence[float] = (),
    until: float = LONGEST,
    max_step: float = math.inf,
) -> tuple[Any, tuple[float, ...]]:
    """Follow a wire through time from the steady state of a temperature.

    Parameters
    ----------
    wire : Wire
    current : float or callable
        Constant, or current against time [A].
    ambient_c : float
        [degC].
    start_c : float, optional
        Temperature of the conductor before [degC]; ambient by default.
    levels : sequence of float
        Rising temperatures [degC]; the run ends at the last.
    until, max_step : float
        End and largest step [s].

    Returns
    -------
    solution
        Of `scipy.integrate.solve_ivp`; the first row is the hottest conductor [degC].
    times : tuple of float
        When each level is reached first [s]; infinite where it is not.
    """
    from scipy.integrate import solve_ivp

    numbers = thermal(wire, ambient_c)
    state = _start(wire, numbers, start_c)
    cells = len(state) // 2
    constant = None if callable(current) else float(current) ** 2

    def rate(time: float, y: Floats) -> Floats:
        squared = constant if constant is not None else float(current(time)) ** 2  # type: ignore[operator]
        metal, wall = y[0::2], y[1::2]
        through = (metal - wall) / numbers.radial
        out = np.empty_like(y)
        out[0::2] = (
            squared * numbers.resistance(metal) - through + _along(numbers, metal)
        ) / numbers.metal_heat
        out[1::2] = (through - numbers.surface_loss(wall)) / numbers.wall_heat
        return out

    events = [_event(level) for level in levels]
    if events:
        events[-1].terminal = True  # type: ignore[attr-defined]
    band = {"lband": 2, "uband": 2} if cells > 1 else {}
    solution = solve_ivp(
        rate, (0.0, until), state, method="LSODA", events=events or None,
        rtol=_TOLERANCE, atol=1e-6, max_step=max_step, **band,
    )  # fmt: skip
    times = []
    for n, level in enumerate(levels):
        found = solution.t_events[n]
        reached = 0.0 if state[0] >= level else math.inf
        times.append(float(found[0]) if len(found) else reached)
    return solution, tuple(times)


def _event(level: float) -> Callable[[float, Floats], float]:
    def above(_: float, y: Floats) -> float:
        return float(y[0]) - level

    return above


def _start(wire: Wire, numbers: Thermal, start_c: float | None) -> Floats:
    """Conductor and surface of each cell in turn, at a steady state [degC]."""
    cells = 1 if math.isinf(numbers.half_length) else CELLS
    hot = numbers.ambient_c if start_c is None else start_c
    if hot <= numbers.ambient_c:
        return np.full(2 * cells, hot)
    if cells == 1:
        return np.array([hot, numbers.metal_loss(hot)[1]])
    squared = steady_current(wire, hot, numbers.ambient_c) ** 2
    step, flow, here = numbers.half_length / CELLS, 0.0, hot
    out = []
    for cell in range(CELLS):
        loss, surface = numbers.metal_loss(here)
        out += [here, surface]
        width = step if cell else 0.5 * step
        flow += width * (squared * numbers.resistance(here) - loss)
        here -= flow * step / numbers.axial
    return np.array(out)


def _along(numbers: Thermal, metal: Floats) -> Any:
    """Heat conducted along the wire into each cell, per length [W/m]."""
    if len(metal) == 1:
        return 0.0
    step = numbers.half_length / CELLS
    beyond = np.append(metal[1:], numbers.ambient_c)
    flow = numbers.axial * (metal - beyond) / step
    into = -flow
    into[1:] += flow[:-1]
    into[0] *= 2.0  # the cell in the middle is half a cell
    return into / step


def damage_curve(
    wire: Wire,
    currents: Sequence[float] | Floats,
    *,
    ambient_c: float,
    load: float = 0.0,
) -> DamageCurve:
    """Time until a wire is damaged at each of some constant currents.

    Parameters
    ----------
    wire : Wire
    currents : sequence of float
        [A].
    ambient_c : float
        Of the wire [degC].
    load : float
        Steady current before [A].

    Returns
    -------
    DamageCurve

    Notes
    -----
    Each limit of the insulation holds in a span of time (`Insulation.rungs`). A current
    damages the wire at the first moment its temperature is above the limit of that moment;
    since temperatures rise and limits fall that is the least, over the limits, of the later of
    when it is reached and when its span begins.

    The shortest times are adiabatic, ``I² t = k² S²``. A conductor of the largest resistance
    that IEC 60228 allows gets there up to 15 % sooner than that, and the sooner counts.

    Examples
    --------
    >>> from fusetherm.conductor.insulation import insulation
    >>> wire = Wire(section=2.5e-6, insulation=insulation("pvc-70"), bundle=1)
    >>> found = damage_curve(wire, [20.0, 1000.0], ambient_c=30.0, load=20.0)
    >>> bool(np.isinf(found.time[0])), bool(found.time[1] < 0.1)
    (True, True)
    """
    carried = continuous_current(wire, ambient_c)
    start_c = start_temperature(wire, load, ambient_c)
    rungs = wire.insulation.rungs
    # rising, each once: several limits may be one temperature
    levels = sorted({rung.limit_c for rung in rungs})
    withstand = wire.withstand(start_c)
    grid = np.asarray(currents, dtype=float)
    times, which = np.full(grid.shape, math.inf), []
    for n, current in enumerate(grid.tolist()):
        if current <= carried * (1.0 + 1e-9):
            which.append(-1)
            continue
        _, reached = heating(
            wire, current, ambient_c=ambient_c, start_c=start_c - 1e-9, levels=levels
        )
        at = dict(zip(levels, reached, strict=True))
        ends = [max(at[rung.limit_c], rung.after) for rung in rungs]
        adiabatic = withstand / current**2
        if adiabatic <= ADIABATIC_TIME:
            ends[0] = min(ends[0], adiabatic)
        first = int(np.argmin(ends))
        times[n] = ends[first]
        which.append(first if math.isfinite(ends[first]) else -1)
    return DamageCurve(grid, times, tuple(which), start_c, ambient_c, carried)


def hottest_through(
    wire: Wire,
    current: Callable[[float], float],
    duration: float,
    *,
    ambient_c: float,
    start_c: float,
    max_step: float,
) -> tuple[Floats, Floats]:
    """Time [s] and temperature [degC] of the hottest conductor under a course of current."""
    solution, _ = heating(
        wire, current, ambient_c=ambient_c, start_c=start_c, until=duration, max_step=max_step
    )
    return np.asarray(solution.t), np.asarray(solution.y[0])
