"""Closed forms: lumped bodies, networks and pulse trains, and everything else in one place (SI).

End-cooled steady states, fins, diffusion and wire laws have files of their own and are
offered here too, so that this is the one place to look for an oracle. Rises are in kelvin
above ambient.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from .constants import STEFAN_BOLTZMANN
from .diffusion import neumann_lambda, semi_infinite_flux, slab_flux, stefan_lambda
from .fins import (
    Fin,
    FinState,
    fin_critical_current,
    fin_minimum_fusing_current,
    fin_steady,
    fin_time_to,
    fin_transient,
    long_wire_current,
)
from .kohlrausch import (
    Conductor,
    ambient_ratio_convective,
    ambient_ratio_end_cooled_wf,
    end_cooled_current,
    end_cooled_current_wf,
    end_cooled_resistance_ratio_wf,
    hot_spot_ceiling,
    kohlrausch_hot_spot,
    kohlrausch_voltage,
    kohlrausch_voltage_wf,
    minimum_fusing_current,
    sommerfeld_lorenz,
)
from .wire_laws import (
    CABLE_CONDUCTORS,
    PREECE_CONSTANTS,
    CableConductor,
    adiabatic_k,
    insulated_cable_action,
    onderdonk_action,
    preece_current,
    preece_diameter,
)

__all__ = [
    "CABLE_CONDUCTORS",
    "PREECE_CONSTANTS",
    "CableConductor",
    "Conductor",
    "Fin",
    "FinState",
    "adiabatic_k",
    "ambient_ratio_convective",
    "ambient_ratio_end_cooled_wf",
    "end_cooled_current",
    "end_cooled_current_wf",
    "end_cooled_resistance_ratio_wf",
    "fin_critical_current",
    "fin_minimum_fusing_current",
    "fin_steady",
    "fin_time_to",
    "fin_transient",
    "hot_spot_ceiling",
    "insulated_cable_action",
    "kohlrausch_hot_spot",
    "kohlrausch_voltage",
    "kohlrausch_voltage_wf",
    "long_wire_current",
    "lumped_action",
    "lumped_joule",
    "lumped_joule_current",
    "lumped_joule_time",
    "lumped_ripple",
    "lumped_step",
    "minimum_fusing_current",
    "neumann_lambda",
    "onderdonk_action",
    "preece_current",
    "preece_diameter",
    "pulse_train_peak",
    "radiation_cooling_time",
    "semi_infinite_flux",
    "slab_flux",
    "sommerfeld_lorenz",
    "stefan_lambda",
    "two_node_step",
    "two_node_time_constants",
]


def lumped_step(time: float, power: float, heat_capacity: float, conductance: float) -> float:
    """Rise of one heat capacity after a step of power [K].

    Parameters
    ----------
    time : float
        [s].
    power : float
        [W].
    heat_capacity : float
        [J/K].
    conductance : float
        To ambient [W/K].

    Returns
    -------
    float

    Examples
    --------
    >>> round(lumped_step(5.0, 4.0, 0.8, 0.05), 4)
    21.4707
    """
    return -power / conductance * math.expm1(-conductance * time / heat_capacity)


def lumped_joule(
    time: float,
    current: float,
    heat_capacity: float,
    conductance: float,
    resistance: float,
    temperature_coefficient: float,
) -> float:
    """Rise of one heat capacity after a step of current through R0 (1 + alpha theta) [K].

    Parameters
    ----------
    time : float
        [s].
    current : float
        [A].
    heat_capacity : float
        [J/K].
    conductance : float
        [W/K].
    resistance : float
        At ambient temperature [ohm].
    temperature_coefficient : float
        Referred to ambient [1/K].

    Returns
    -------
    float
        Above the runaway current it grows without bound.

    Examples
    --------
    >>> round(lumped_joule(10.0, 40.0, 0.8, 0.05, 2e-3, 3.9e-3), 4)
    31.9294
    """
    power = current**2 * resistance
    rate = (conductance - power * temperature_coefficient) / heat_capacity
    return power / heat_capacity * time * _over(math.expm1, -rate * time)


def lumped_joule_time(
    rise: float,
    current: float,
    heat_capacity: float,
    conductance: float,
    resistance: float,
    temperature_coefficient: float,
) -> float:
    """Time until that heat capacity has a rise [s]; parameters as in :func:`lumped_joule`.

    Returns
    -------
    float
        ``inf`` when the rise is never reached.

    Examples
    --------
    >>> round(lumped_joule_time(400.0, 100.0, 0.8, 0.05, 2e-3, 3.9e-3), 4)
    12.7053
    """
    power = current**2 * resistance
    if power == 0.0:
        return math.inf
    rate = (conductance - power * temperature_coefficient) / heat_capacity
    adiabatic = heat_capacity * rise / power  # with the cold resistance
    used = rate * adiabatic
    return adiabatic * _over(math.log1p, -used) if used < 1.0 else math.inf


def lumped_joule_current(
    rise: float, conductance: float, resistance: float, temperature_coefficient: float
) -> float:
    """Steady current at which that heat capacity has a rise [A].

    Parameters
    ----------
    rise : float
        [K].
    conductance : float
        [W/K].
    resistance : float
        At ambient temperature [ohm].
    temperature_coefficient : float
        [1/K].

    Returns
    -------
    float

    Examples
    --------
    >>> round(lumped_joule_current(400.0, 0.05, 2e-3, 3.9e-3), 9)
    62.5
    """
    return math.sqrt(conductance * rise / (resistance * (1.0 + temperature_coefficient * rise)))


def lumped_action(
    rise: float, heat_capacity: float, resistance: float, temperature_coefficient: float
) -> float:
    """Joule integral that heats R0 (1 + alpha theta) to a rise without loss [A2 s].

    Parameters
    ----------
    rise : float
        [K].
    heat_capacity : float
        [J/K].
    resistance : float
        At ambient temperature [ohm].
    temperature_coefficient : float
        [1/K].

    Returns
    -------
    float
        C ln(1 + alpha rise)/(alpha R0).

    Examples
    --------
    >>> round(lumped_action(400.0, 0.8, 2e-3, 3.9e-3))
    96411
    """
    return heat_capacity * rise / resistance * _over(math.log1p, temperature_coefficient * rise)


def lumped_ripple(
    power_amplitude: float, frequency: float, heat_capacity: float, conductance: float
) -> tuple[float, float]:
    """Amplitude [K] and phase [rad] of the rise under a sinusoidal part of the power.

    Parameters
    ----------
    power_amplitude : float
        [W].
    frequency : float
        Of the power, twice that of an alternating current [Hz].
    heat_capacity : float
        [J/K].
    conductance : float
        [W/K].

    Returns
    -------
    (float, float)
        The phase is negative: the rise lags.

    Examples
    --------
    >>> amplitude, phase = lumped_ripple(4.0, 0.1, 0.8, 0.05)
    >>> round(amplitude, 4), round(phase, 4)
    (7.9187, -1.4717)
    """
    swing = 2.0 * math.pi * frequency * heat_capacity
    return power_amplitude / math.hypot(conductance, swing), -math.atan2(swing, conductance)


def radiation_cooling_time(
    hot_k: float, cold_k: float, ambient_k: float, heat_capacity: float, emissive_area: float
) -> float:
    """Time a heat capacity needs to cool by radiation alone [s].

    Parameters
    ----------
    hot_k, cold_k, ambient_k : float
        From, to, and surroundings; ambient < cold < hot [K].
    heat_capacity : float
        [J/K].
    emissive_area : float
        Emissivity times area [m2].

    Returns
    -------
    float

    Examples
    --------
    >>> round(radiation_cooling_time(1200.0, 600.0, 300.0, 0.05, 0.8e-4), 4)
    15.3544
    """

    def primitive(temperature: float) -> float:
        x = temperature / ambient_k
        return 0.25 * math.log((x + 1.0) / (x - 1.0)) - 0.5 * math.atan(1.0 / x)

    scale = heat_capacity / (emissive_area * STEFAN_BOLTZMANN * ambient_k**3)
    return scale * (primitive(cold_k) - primitive(hot_k))


def pulse_train_peak(
    time_constant: float, period: float, on_time: float, full_rise: float, pulse: int | None = None
) -> float:
    """Peak rise of one heat capacity under a train of equal pulses of power [K].

    Parameters
    ----------
    time_constant, period, on_time : float
        [s].
    full_rise : float
        Steady rise if the pulse lasted for ever [K].
    pulse : int, optional
        Number of the pulse, from 1; the steady train when left out.

    Returns
    -------
    float

    Examples
    --------
    >>> round(pulse_train_peak(16.0, 10.0, 3.0, 100.0), 2)
    36.79
    """
    single = -full_rise * math.expm1(-on_time / time_constant)
    left_over = math.expm1(-period / time_constant)
    after = -1.0 if pulse is None else math.expm1(-pulse * period / time_constant)
    return single * after / left_over


def two_node_time_constants(
    capacity_1: float, capacity_2: float, between: float, to_ambient: float
) -> tuple[float, float]:
    """Time constants of two heat capacities in a row to ambient, the short one first [s].

    Parameters
    ----------
    capacity_1, capacity_2 : float
        [J/K].
    between, to_ambient : float
        Conductance from node 1 to 2 and from node 2 to ambient [W/K].

    Returns
    -------
    (float, float)

    Examples
    --------
    >>> [round(tau, 3) for tau in two_node_time_constants(0.02, 2.0, 0.1, 0.05)]
    [0.198, 40.402]
    """
    trace = between / capacity_1 + (between + to_ambient) / capacity_2
    product = between * to_ambient / (capacity_1 * capacity_2)
    fast = (trace + math.sqrt(trace**2 - 4.0 * product)) / 2.0
    return 1.0 / fast, fast / product


def two_node_step(
    time: float,
    power: float,
    capacity_1: float,
    capacity_2: float,
    between: float,
    to_ambient: float,
) -> tuple[float, float]:
    """Rises of both nodes after a step of power into node 1 [K].

    Parameters
    ----------
    time : float
        [s].
    power : float
        [W].
    capacity_1, capacity_2, between, to_ambient : float
        As in :func:`two_node_time_constants`.

    Returns
    -------
    (float, float)

    Examples
    --------
    >>> [round(v, 3) for v in two_node_step(0.1, 3.0, 0.02, 2.0, 0.1, 0.05)]
    [11.809, 0.032]
    """
    taus = np.array(two_node_time_constants(capacity_1, capacity_2, between, to_ambient))
    # A mode that decays with tau carries node 2 at (1 - C1/(G12 tau)) of node 1.
    modes = np.array([np.ones(2), 1.0 - capacity_1 / (between * taus)])
    steady: NDArray[np.float64] = power * np.array(
        [1.0 / between + 1.0 / to_ambient, 1.0 / to_ambient]
    )
    rise = steady + modes @ (np.linalg.solve(modes, -steady) * np.exp(-time / taus))
    return float(rise[0]), float(rise[1])


def _over(function: Callable[[float], float], x: float) -> float:
    """function(x) / x of a function with slope 1 at 0, there too [-]."""
    return function(x) / x if x != 0.0 else 1.0
