"""A wire heated by its current, cooled along its side and at its ends (SI, rises in kelvin)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import SolveError

__all__ = [
    "Fin",
    "FinState",
    "fin_critical_current",
    "fin_minimum_fusing_current",
    "fin_steady",
    "fin_time_to",
    "fin_transient",
    "long_wire_current",
]

_TERMS = 4000  # of the series; the remainder falls with the third power: below 1e-10


@dataclass(frozen=True)
class Fin:
    """Uniform wire or strip, both ends held at ambient.

    Parameters
    ----------
    area, perimeter : float
        Of the cross-section [m2], [m].
    half_length : float
        From the middle to an end [m].
    conductivity : float
        Thermal conductivity [W/m/K].
    resistivity : float
        At ambient temperature [ohm m].
    temperature_coefficient : float
        Of the resistivity, referred to ambient [1/K].
    film_coefficient : float
        Along the side, zero for none [W/m2/K].
    """

    area: float
    perimeter: float
    half_length: float
    conductivity: float
    resistivity: float
    temperature_coefficient: float = 0.0
    film_coefficient: float = 0.0

    def exponent_squared(self, current: float) -> float:
        """m^2 of theta'' = m^2 theta - s: side loss less the gain by R(T) [1/m2]."""
        loss = self.film_coefficient * self.perimeter
        gain = current**2 * self.resistivity * self.temperature_coefficient / self.area
        return (loss - gain) / (self.conductivity * self.area)

    def heat(self, current: float) -> float:
        """s, the Joule heat at ambient temperature over the conductivity [K/m2]."""
        return current**2 * self.resistivity / (self.area**2 * self.conductivity)


@dataclass(frozen=True)
class FinState:
    """Steady state of a fin.

    Parameters
    ----------
    exponent_squared : float
        m^2; negative: the trigonometric branch [1/m2].
    centre, mean : float
        Rise above ambient in the middle, and its mean along the wire [K].
    voltage : float
        Between the ends [V].
    """

    exponent_squared: float
    centre: float
    mean: float
    voltage: float


def fin_critical_current(fin: Fin) -> float:
    """Current above which a fin has no steady state [A].

    Parameters
    ----------
    fin : Fin

    Returns
    -------
    float
        Where m^2 = -(pi/2l)^2; ``inf`` without temperature coefficient.

    Examples
    --------
    >>> math.isinf(fin_critical_current(Fin(1e-7, 1e-3, 5e-3, 400.0, 1.7e-8)))
    True
    """
    gain = fin.resistivity * fin.temperature_coefficient
    if gain <= 0.0:
        return math.inf
    ends = fin.conductivity * fin.area**2 * (math.pi / (2.0 * fin.half_length)) ** 2
    return math.sqrt((fin.film_coefficient * fin.perimeter * fin.area + ends) / gain)


def fin_steady(fin: Fin, current: float) -> FinState:
    """Steady rise and voltage of a fin.

    Parameters
    ----------
    fin : Fin
    current : float
        [A].

    Returns
    -------
    FinState

    Raises
    ------
    SolveError
        When there is no steady state at that current.

    Notes
    -----
    With :math:`\\theta'' = m^2\\theta - s`: centre :math:`(s/m^2)(1 - 1/\\cosh ml)`, mean
    :math:`(s/m^2)(1 - \\tanh(ml)/ml)`; cos and tan for :math:`m^2 < 0`, as long as
    :math:`|m|l < \\pi/2`.

    Examples
    --------
    >>> wire = Fin(1.96e-7, 1.57e-3, 20e-3, 385.0, 1.72e-8, 3.9e-3, 30.0)
    >>> fin_steady(wire, 15.0).exponent_squared < 0.0
    True
    """
    if abs(current) >= fin_critical_current(fin):
        raise SolveError(
            "no-steady-state",
            f"no steady state at {current:g} A",
            expected=f"a current below {fin_critical_current(fin):.4g} A",
            mend="the wire heats until it melts; ask for a time instead",
        )
    m2 = fin.exponent_squared(current)
    scale = fin.heat(current) * fin.half_length**2
    centre, mean = (scale * f for f in _steady_shape(m2 * fin.half_length**2))
    length = 2.0 * fin.half_length
    hot = 1.0 + fin.temperature_coefficient * mean
    return FinState(m2, centre, mean, current * fin.resistivity * length * hot / fin.area)


def fin_minimum_fusing_current(fin: Fin, rise: float) -> float:
    """Steady current that brings the middle of a fin to a rise [A].

    Parameters
    ----------
    fin : Fin
    rise : float
        Melting point less ambient [K].

    Returns
    -------
    float

    Examples
    --------
    >>> wire = Fin(1.96e-7, 1.57e-3, 20e-3, 385.0, 1.72e-8, 3.9e-3, 30.0)
    >>> round(fin_minimum_fusing_current(wire, 1060.0), 0)
    34.0
    """
    from scipy.optimize import brentq

    def surplus(current: float) -> float:
        return fin_steady(fin, current).centre - rise

    high = fin_critical_current(fin)
    if math.isinf(high):  # then the rise goes with the square of the current
        return math.sqrt(rise / fin_steady(fin, 1.0).centre)
    return float(brentq(surplus, 0.0, high * (1.0 - 1e-13), xtol=1e-13 * high, rtol=1e-14))


def long_wire_current(fin: Fin, rise: float) -> float:
    """Steady current of a very long wire at a rise, its ends without effect [A].

    Parameters
    ----------
    fin : Fin
        Its half length is not used.
    rise : float
        [K].

    Returns
    -------
    float
        sqrt(h P A rise / (rho (1 + alpha rise))).

    Examples
    --------
    >>> wire = Fin(1.96e-7, 1.57e-3, 1.0, 385.0, 1.72e-8, 3.9e-3, 30.0)
    >>> round(long_wire_current(wire, 1060.0), 1)
    10.5
    """
    loss = fin.film_coefficient * fin.perimeter * rise
    hot = fin.resistivity * (1.0 + fin.temperature_coefficient * rise)
    return math.sqrt(loss * fin.area / hot)


def fin_transient(
    fin: Fin, current: float, time: float, volumetric_heat: float
) -> tuple[float, float]:
    """Rise in the middle and mean rise after a step of current [K].

    Parameters
    ----------
    fin : Fin
        At ambient temperature before the step.
    current : float
        From time zero on, also above the critical current [A].
    time : float
        [s].
    volumetric_heat : float
        Density times specific heat [J/K/m3].

    Returns
    -------
    (float, float)

    Notes
    -----
    Cosine series with :math:`\\beta_n = (n-\\tfrac12)\\pi/l`; each term grows or settles at the
    rate :math:`a(\\beta_n^2 + m^2)`.

    Examples
    --------
    >>> slab = Fin(1.0, 0.0, 1.0, 1.0, 1.0)
    >>> [round(v, 4) for v in fin_transient(slab, 1.0, 0.1, 1.0)]
    [0.0989, 0.0762]
    """
    n = np.arange(_TERMS)
    beta_l = (n + 0.5) * np.pi
    sign = 1.0 - 2.0 * (n % 2)
    rate = (beta_l / fin.half_length) ** 2 + fin.exponent_squared(current)
    reach = fin.conductivity / volumetric_heat * time
    near_zero = np.abs(rate * reach) < 1e-12
    growth = np.where(near_zero, reach, -np.expm1(-rate * reach) / np.where(near_zero, 1.0, rate))
    term = fin.heat(current) * 2.0 / beta_l * growth
    return float(np.sum(sign * term)), float(np.sum(term / beta_l))


def fin_time_to(fin: Fin, current: float, rise: float, volumetric_heat: float) -> float:
    """Time from a step of current until the middle of a fin has a rise [s].

    Parameters
    ----------
    fin : Fin
    current : float
        [A].
    rise : float
        [K].
    volumetric_heat : float
        [J/K/m3].

    Returns
    -------
    float
        ``inf`` when the rise is never reached.

    Examples
    --------
    >>> wire = Fin(1.96e-7, 1.57e-3, 20e-3, 385.0, 1.72e-8, 3.9e-3, 30.0)
    >>> math.isinf(fin_time_to(wire, 30.0, 1060.0, 3.45e6))
    True
    """
    from scipy.optimize import brentq

    if abs(current) < fin_critical_current(fin) and fin_steady(fin, current).centre <= rise:
        return math.inf
    diffusivity = fin.conductivity / volumetric_heat
    high = rise / (fin.heat(current) * diffusivity)

    def surplus(time: float) -> float:
        return fin_transient(fin, current, time, volumetric_heat)[0] - rise

    while surplus(high) < 0.0:
        high *= 2.0
    return float(brentq(surplus, 0.0, high, xtol=1e-14 * high, rtol=1e-13))


def _steady_shape(z: float) -> tuple[float, float]:
    """Centre and mean of the solution of y'' = z y - 1 on (0, 1), y'(0) = y(1) = 0."""
    if abs(z) < 1e-4:  # Taylor: the quotients below lose their digits
        return 0.5 - 5.0 * z / 24.0 + 61.0 * z**2 / 720.0, (
            1.0 / 3.0 - 2.0 * z / 15.0 + 17.0 * z**2 / 315.0
        )
    root = math.sqrt(abs(z))
    if z > 0.0:
        inverse = 1.0 / math.cosh(root) if root < 700.0 else 0.0
        return (1.0 - inverse) / z, (1.0 - math.tanh(root) / root) / z
    return (1.0 - 1.0 / math.cos(root)) / z, (1.0 - math.tan(root) / root) / z
