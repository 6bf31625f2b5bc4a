"""Steady states of a conductor cooled only at its ends, whatever its shape (SI, kelvin).

Without side loss heat and current follow the same paths, so that temperature is a function of
potential alone (Kohlrausch, 1900): the voltage fixes the hot spot, the shape only the current.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

import numpy as np

from ..errors import InputError
from .constants import SOMMERFELD_LORENZ
from .metals import Metal
from .tables import Array, quadrature

__all__ = [
    "Conductor",
    "ambient_ratio_convective",
    "ambient_ratio_end_cooled_wf",
    "end_cooled_current",
    "end_cooled_current_wf",
    "end_cooled_resistance_ratio_wf",
    "hot_spot_ceiling",
    "kohlrausch_hot_spot",
    "kohlrausch_voltage",
    "kohlrausch_voltage_wf",
    "minimum_fusing_current",
    "sommerfeld_lorenz",
]

Ends = float | tuple[float, float]


class Conductor(Protocol):
    """Anything with a thermal conductivity [W/m/K] and a resistivity [ohm m] of arrays."""

    def conductivity(self, temperature_k: Array, /) -> Array:
        """Thermal conductivity [W/m/K]."""

    def resistivity(self, temperature_k: Array, /) -> Array:
        """Electrical resistivity [ohm m]."""


def sommerfeld_lorenz() -> float:
    """Lorenz number of the free-electron metal [W ohm/K2].

    Examples
    --------
    >>> round(1e8 * sommerfeld_lorenz(), 6)
    2.443005
    """
    return SOMMERFELD_LORENZ


def kohlrausch_voltage(conductor: Conductor, hot_k: float, end_k: Ends) -> float:
    """Voltage across an end-cooled conductor whose hottest point has a given temperature [V].

    Parameters
    ----------
    conductor : Metal or Conductor
    hot_k : float
        Temperature of the hottest point [K].
    end_k : float or (float, float)
        Temperature of both ends, or of the left and the right one, at most ``hot_k`` [K].

    Returns
    -------
    float

    Notes
    -----
    Each side drops :math:`\\sqrt{2\\int_{T_e}^{T_m} k\\rho\\,dT}`, whatever its shape.

    References
    ----------
    .. [1] F. Kohlrausch, Ann. Phys. 306 (1900) 132; R. Holm, Electric Contacts, section 14.

    Examples
    --------
    >>> from fusetherm.physics.metals import metal
    >>> copper = metal("copper")
    >>> round(kohlrausch_voltage(copper, copper.solidus_k, 293.15), 2)
    0.41
    """
    return math.fsum(
        math.sqrt(2.0 * quadrature(_product(conductor), end, hot_k, _breaks(conductor)))
        for end in _pair(end_k, hot_k)
    )


def kohlrausch_voltage_wf(hot_k: float, end_k: Ends) -> float:
    """The same for a metal that obeys Wiedemann-Franz, sum of sqrt(L (Tm^2 - Te^2)) [V].

    Parameters
    ----------
    hot_k : float
        [K].
    end_k : float or (float, float)
        [K].

    Returns
    -------
    float

    Examples
    --------
    >>> round(kohlrausch_voltage_wf(1234.93, 293.15), 4)
    0.375
    """
    squares = (hot_k**2 - end**2 for end in _pair(end_k, hot_k))
    return math.fsum(math.sqrt(SOMMERFELD_LORENZ * s) for s in squares)


def kohlrausch_hot_spot(voltage: float, end_k: Ends) -> float:
    """Hottest temperature a voltage allows in a Wiedemann-Franz metal without side loss [K].

    Parameters
    ----------
    voltage : float
        [V].
    end_k : float or (float, float)
        [K].

    Returns
    -------
    float
        sqrt(Te^2 + U^2/4L) between equal ends; the hotter end when the voltage is too small
        to lift the inside above it.

    Examples
    --------
    >>> round(kohlrausch_hot_spot(0.1, 293.15), 1)
    433.9
    """
    left, right = end_k if isinstance(end_k, tuple) else (end_k, end_k)
    total = abs(voltage) / math.sqrt(SOMMERFELD_LORENZ)
    if total**2 <= abs(left**2 - right**2):
        return max(left, right)
    part = (total + (right**2 - left**2) / total) / 2.0
    return math.hypot(left, part)


def hot_spot_ceiling(metal: Metal, voltage: float, end_k: Ends) -> float:
    """Hottest temperature a voltage allows in a metal, whatever its shape [K].

    Parameters
    ----------
    metal : Metal
    voltage : float
        Between the ends [V].
    end_k : float or (float, float)
        Temperatures of the ends [K].

    Returns
    -------
    float
        Steady hot spot without side loss, by the metal's own tables; heat given off at the
        side only lowers it. ``inf`` when the voltage suffices to melt the metal.

    Examples
    --------
    >>> from fusetherm.physics.metals import metal
    >>> round(hot_spot_ceiling(metal("zinc"), 0.1, 293.15), -1)
    440.0
    """
    from scipy.optimize import brentq

    coldest_hot = max(end_k) if isinstance(end_k, tuple) else end_k
    target = abs(voltage)
    if target <= kohlrausch_voltage(metal, coldest_hot, end_k):
        return coldest_hot
    if target >= kohlrausch_voltage(metal, metal.solidus_k, end_k):
        return math.inf

    def surplus(hot: float) -> float:
        return kohlrausch_voltage(metal, hot, end_k) - target

    return float(brentq(surplus, coldest_hot, metal.solidus_k, xtol=1e-9))


def end_cooled_current(
    conductor: Conductor, hot_k: float, end_k: Ends, shape_integral: float
) -> float:
    """Steady current of an end-cooled strip whose hottest point has a given temperature [A].

    Parameters
    ----------
    conductor : Metal or Conductor
    hot_k : float
        [K].
    end_k : float or (float, float)
        Below ``hot_k`` [K].
    shape_integral : float
        Integral of dx/A between the ends, any shape A(x) [1/m].

    Returns
    -------
    float

    Notes
    -----
    .. math:: I \\int\\frac{dx}{A} = \\sum_\\mathrm{ends} \\int_{T_e}^{T_m}
              \\frac{k\\,dT}{\\varphi(T)}, \\qquad
              \\varphi(T)^2 = 2\\int_T^{T_m} k\\rho\\,dT'

    The root at the hot spot is removed by :math:`T = T_m - s^2`.

    Examples
    --------
    >>> from fusetherm.physics.metals import metal
    >>> bar = 10e-3 / 0.1e-6  # 10 mm of 0.1 mm2
    >>> round(end_cooled_current(metal("copper"), 1357.77, 293.15, bar), 0)
    61.0
    """
    product = _product(conductor)
    node, weight = np.polynomial.legendre.leggauss(4)

    def field(end: float) -> float:
        knots = [hot_k, end, *(b for b in _breaks(conductor) if end < b < hot_k)]

        def integrand(s: Array) -> Array:
            here = hot_k - s**2
            grid = np.unique(np.concatenate([here, knots]))
            half = np.diff(grid)[:, None] / 2.0
            inside = grid[:-1, None] + half * (1.0 + node)
            pieces = (weight * half * product(inside.ravel()).reshape(inside.shape)).sum(axis=1)
            above = np.append(np.cumsum(pieces[::-1])[::-1], 0.0)
            potential = np.sqrt(2.0 * above[np.searchsorted(grid, here)])
            return np.asarray(2.0 * s * conductor.conductivity(here) / potential)

        roots = [math.sqrt(hot_k - b) for b in knots]
        return quadrature(integrand, 0.0, math.sqrt(hot_k - end), roots)

    return math.fsum(field(end) for end in _pair(end_k, hot_k)) / shape_integral


def minimum_fusing_current(metal: Metal, end_k: Ends, shape_integral: float) -> float:
    """Minimum fusing current of an end-cooled strip without side loss [A].

    Parameters
    ----------
    metal : Metal
    end_k : float or (float, float)
        Temperatures of the ends, as they are at that current [K].
    shape_integral : float
        Integral of dx/A between the ends [1/m].

    Returns
    -------
    float
        The current that brings the hottest point just to the solidus.

    Notes
    -----
    Where the resistivity rises faster than by Wiedemann and Franz, the steady current has its
    largest before: for copper at 1266 K, .11 % above the value at melting (ends at 20 degC).
    The solver's minimum fusing current is that largest.

    Examples
    --------
    >>> from fusetherm.physics.metals import metal
    >>> round(minimum_fusing_current(metal("zinc"), 293.15, 12e-3 / 0.9e-6), 0)
    117.0
    """
    return end_cooled_current(metal, metal.solidus_k, end_k, shape_integral)


def end_cooled_current_wf(
    hot_k: float, end_k: float, shape_integral: float, resistivity_slope: float
) -> float:
    """The same for a Wiedemann-Franz metal with rho proportional to T, equal ends [A].

    Parameters
    ----------
    hot_k, end_k : float
        [K].
    shape_integral : float
        Integral of dx/A, the length over the cross-section of a uniform wire [1/m].
    resistivity_slope : float
        rho/T [ohm m/K].

    Returns
    -------
    float
        2 sqrt(L) acos(Te/Tm) / (slope times shape integral).

    Examples
    --------
    >>> round(end_cooled_current_wf(1357.77, 293.15, 1e5, 1.725e-8 / 300.0), 2)
    73.57
    """
    angle = math.acos(end_k / hot_k)
    return 2.0 * math.sqrt(SOMMERFELD_LORENZ) * angle / (resistivity_slope * shape_integral)


def end_cooled_resistance_ratio_wf(hot_k: float, end_k: float) -> float:
    """Hot over cold resistance of that wire, tan(u)/u with cos u = Te/Tm [-].

    Examples
    --------
    >>> round(end_cooled_resistance_ratio_wf(600.0, 293.15), 4)
    1.6842
    """
    angle = math.acos(end_k / hot_k)
    return math.tan(angle) / angle if angle > 0.0 else 1.0


def ambient_ratio_convective(ambient_k: float, melting_k: float, reference_k: float) -> float:
    """Ratio of minimum fusing currents at two ambients, fixed film coefficient [-].

    Parameters
    ----------
    ambient_k, melting_k, reference_k : float
        New ambient, melting point and ambient of the reference [K].

    Returns
    -------
    float
        sqrt((Tm - Ta)/(Tm - Tref)), one end of the bracket of real fuses.

    Examples
    --------
    >>> round(ambient_ratio_convective(358.15, 692.677, 296.15), 4)
    0.9185
    """
    return math.sqrt((melting_k - ambient_k) / (melting_k - reference_k))


def ambient_ratio_end_cooled_wf(ambient_k: float, melting_k: float, reference_k: float) -> float:
    """Ratio of minimum fusing currents at two ambients, end-cooled Wiedemann-Franz metal [-].

    Parameters
    ----------
    ambient_k, melting_k, reference_k : float
        New ambient, melting point and ambient of the reference [K].

    Returns
    -------
    float
        acos(Ta/Tm)/acos(Tref/Tm), the other end of the bracket.

    Examples
    --------
    >>> round(ambient_ratio_end_cooled_wf(358.15, 692.677, 296.15), 4)
    0.91
    """
    return math.acos(ambient_k / melting_k) / math.acos(reference_k / melting_k)


def _pair(end_k: Ends, hot_k: float) -> tuple[float, float]:
    ends = end_k if isinstance(end_k, tuple) else (end_k, end_k)
    if max(ends) > hot_k:
        raise InputError(
            "end-hotter-than-hot-spot",
            f"an end at {max(ends):g} K with a hot spot of {hot_k:g} K",
            expected="ends no hotter than the hot spot",
        )
    return ends


def _product(conductor: Conductor) -> Callable[[Array], Array]:
    def product(temperature: Array) -> Array:
        return conductor.conductivity(temperature) * conductor.resistivity(temperature)

    return product


def _breaks(conductor: Conductor) -> tuple[float, ...]:
    return conductor.table_temperatures_k if isinstance(conductor, Metal) else ()
