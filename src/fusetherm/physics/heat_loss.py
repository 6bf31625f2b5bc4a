"""Heat leaving a surface: still air, the gas inside a body, radiation (SI, kelvin).

Inside a small body the gas hardly moves (Rayleigh numbers of some tens to hundreds): its gap is
pure conduction plus radiation. Natural convection belongs outside bodies and to bare wires.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .constants import STANDARD_GRAVITY, STEFAN_BOLTZMANN

__all__ = [
    "STEFAN_BOLTZMANN",
    "Air",
    "air",
    "cylinder_film_coefficient",
    "effective_emissivity",
    "gap_conductance_concentric",
    "gap_conductance_strip_in_bore",
    "grey_radiation",
    "nusselt_horizontal_cylinder_churchill_chu",
    "nusselt_horizontal_cylinder_morgan",
    "nusselt_horizontal_plate_mcadams",
    "nusselt_vertical_plate_churchill_chu",
    "plate_film_coefficient",
    "radiation_coefficient",
    "rayleigh",
]

Value = float | NDArray[np.float64]

# Dry air at 101325 Pa: temperature [K], conductivity [W/m/K], viscosity [Pa s], density [kg/m3],
# specific heat [J/kg/K]. Read from CoolProp 8.0.0 (Lemmon & Jacobsen, Int. J. Thermophys. 25
# (2004) 21, for the first two; Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000) 331).
_AIR = np.array(
    [
        [200.0, 0.01850, 1.33335e-05, 1.76917, 1006.80],
        [250.0, 0.02256, 1.60381e-05, 1.41331, 1005.54],
        [300.0, 0.02638, 1.85373e-05, 1.17700, 1006.37],
        [350.0, 0.03000, 2.08671e-05, 1.00853, 1009.21],
        [400.0, 0.03345, 2.30554e-05, 0.88231, 1014.14],
        [500.0, 0.03994, 2.70901e-05, 0.70574, 1029.87],
        [600.0, 0.04601, 3.07687e-05, 0.58810, 1051.20],
        [700.0, 0.05176, 3.41757e-05, 0.50408, 1074.97],
        [800.0, 0.05725, 3.73700e-05, 0.44108, 1098.69],
        [1000.0, 0.06768, 4.32798e-05, 0.35288, 1141.00],
        [1200.0, 0.07758, 4.87282e-05, 0.29408, 1174.49],
        [1400.0, 0.08711, 5.38540e-05, 0.25207, 1200.33],
    ]
)
_LOG_AIR = np.log(_AIR)


@dataclass(frozen=True)
class Air:
    """Properties of dry air at 101325 Pa.

    Parameters
    ----------
    conductivity : float or ndarray
        Thermal conductivity k [W/m/K].
    kinematic_viscosity : float or ndarray
        nu [m2/s].
    thermal_diffusivity : float or ndarray
        alpha [m2/s].
    prandtl : float or ndarray
        nu / alpha [-].
    expansion : float or ndarray
        Volume expansion beta of the ideal gas, 1/T [1/K].
    """

    conductivity: Value
    kinematic_viscosity: Value
    thermal_diffusivity: Value
    prandtl: Value
    expansion: Value


def air(film_k: Value) -> Air:
    """Properties of dry air at a film temperature.

    Parameters
    ----------
    film_k : float or ndarray
        Mean of surface and ambient temperature, 200 to 1400 K; beyond, the end value holds [K].

    Returns
    -------
    Air

    Notes
    -----
    Powers of the temperature between tabulated points, within 0.3 % of their source; the
    expansion is that of the ideal gas, within 1 %.

    Examples
    --------
    >>> round(air(300.0).conductivity, 5)
    0.02638
    """
    place = np.log(np.asarray(film_k, dtype=np.float64))
    k, mu, density, heat = (np.exp(np.interp(place, _LOG_AIR[:, 0], c)) for c in _LOG_AIR.T[1:])
    nu, alpha = mu / density, k / (density * heat)
    beta = 1.0 / np.asarray(film_k, dtype=np.float64)
    return Air(*(_plain(v) for v in (k, nu, alpha, nu / alpha, beta)))


def rayleigh(
    size: Value,
    difference: Value,
    kinematic_viscosity: Value,
    thermal_diffusivity: Value,
    expansion: Value,
) -> Value:
    """Rayleigh number ``g beta |dT| size^3 / (nu alpha)`` [-].

    Parameters
    ----------
    size : float or ndarray
        Diameter of a cylinder, height of a vertical plate, area over perimeter of a level one [m].
    difference : float or ndarray
        Surface less ambient temperature; the sign is dropped [K].
    kinematic_viscosity, thermal_diffusivity : float or ndarray
        At the film temperature [m2/s].
    expansion : float or ndarray
        [1/K].

    Returns
    -------
    float or ndarray

    Examples
    --------
    >>> round(rayleigh(0.1, 142.0, 22.8e-6, 32.8e-6, 2.725e-3) / 1e6, 2)
    5.07
    """
    buoyancy: Value = STANDARD_GRAVITY * expansion * _plain(np.abs(difference))
    return buoyancy * size**3 / (kinematic_viscosity * thermal_diffusivity)


def nusselt_horizontal_cylinder_churchill_chu(rayleigh: Value, prandtl: Value) -> Value:
    """Nusselt number of a horizontal cylinder in still fluid [-].

    Parameters
    ----------
    rayleigh : float or ndarray
        With the diameter, up to 1e12 [-].
    prandtl : float or ndarray
        [-].

    Returns
    -------
    float or ndarray

    Notes
    -----
    .. math:: Nu = \\left(0.60 + \\frac{0.387\\,Ra^{1/6}}
              {[1 + (0.559/Pr)^{9/16}]^{8/27}}\\right)^2

    References
    ----------
    .. [1] S. W. Churchill and H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1049.

    Examples
    --------
    >>> round(nusselt_horizontal_cylinder_churchill_chu(1e4, 0.7), 4)
    4.3664
    """
    return _churchill_chu(rayleigh, prandtl, 0.60, 0.559)


def nusselt_horizontal_cylinder_morgan(rayleigh: Value) -> Value:
    """Nusselt number of a horizontal cylinder in still air by Morgan's ranges [-].

    Parameters
    ----------
    rayleigh : float or ndarray
        With the diameter, 1e-10 to 1e12 [-].

    Returns
    -------
    float or ndarray
        For a second opinion: on thin wires it differs from Churchill and Chu by up to 25 %.

    References
    ----------
    .. [1] V. T. Morgan, Adv. Heat Transfer 11 (1975) 199; constants as in Incropera & DeWitt,
       Table 9.1, from memory.

    Examples
    --------
    >>> round(nusselt_horizontal_cylinder_morgan(1e4 - 1.0), 1)
    4.8
    """
    given = np.asarray(rayleigh, dtype=np.float64)
    place = np.searchsorted([1e-2, 1e2, 1e4, 1e7], given, side="right")
    factor = np.array([0.675, 1.02, 0.850, 0.480, 0.125])[place]
    power = np.array([0.058, 0.148, 0.188, 0.250, 1.0 / 3.0])[place]
    return _plain(factor * given**power)


def nusselt_vertical_plate_churchill_chu(rayleigh: Value, prandtl: Value) -> Value:
    """Nusselt number of a vertical plate in still fluid [-].

    Parameters
    ----------
    rayleigh : float or ndarray
        With the height, up to 1e12 [-].
    prandtl : float or ndarray
        [-].

    Returns
    -------
    float or ndarray

    Notes
    -----
    .. math:: Nu = \\left(0.825 + \\frac{0.387\\,Ra^{1/6}}
              {[1 + (0.492/Pr)^{9/16}]^{8/27}}\\right)^2

    References
    ----------
    .. [1] S. W. Churchill and H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1323.

    Examples
    --------
    >>> round(nusselt_vertical_plate_churchill_chu(1e4, 0.7), 4)
    5.4253
    """
    return _churchill_chu(rayleigh, prandtl, 0.825, 0.492)


def nusselt_horizontal_plate_mcadams(rayleigh: Value, facing: Literal["up", "down"]) -> Value:
    """Nusselt number of a level plate in still fluid [-].

    Parameters
    ----------
    rayleigh : float or ndarray
        With area over perimeter; 1e4 to 1e11 up, 1e5 to 1e10 down [-].
    facing : {"up", "down"}
        Side of a hot plate; a cold plate's upper side behaves as a hot plate's lower one.

    Returns
    -------
    float or ndarray

    Notes
    -----
    Up: 0.54 Ra^(1/4) to Ra = 1e7, 0.15 Ra^(1/3) above. Down: 0.27 Ra^(1/4).

    References
    ----------
    .. [1] W. H. McAdams, Heat Transmission, 3rd edition, McGraw-Hill 1954, chapter 7.

    Examples
    --------
    >>> round(nusselt_horizontal_plate_mcadams(1e6, "down"), 3)
    8.538
    """
    given = np.asarray(rayleigh, dtype=np.float64)
    if facing == "down":
        return _plain(0.27 * given**0.25)
    return _plain(np.where(given <= 1e7, 0.54 * given**0.25, 0.15 * given ** (1.0 / 3.0)))


def cylinder_film_coefficient(diameter: Value, surface_k: Value, ambient_k: Value) -> Value:
    """Film coefficient of a horizontal cylinder in still air [W/m2/K].

    Parameters
    ----------
    diameter : float or ndarray
        [m].
    surface_k, ambient_k : float or ndarray
        [K].

    Returns
    -------
    float or ndarray
        Natural convection alone (Churchill and Chu), properties at the film temperature.

    Examples
    --------
    >>> round(cylinder_film_coefficient(0.5e-3, 400.0, 300.0), 1)
    47.8
    """
    gas = air((surface_k + ambient_k) / 2.0)
    ra = _rayleigh_in(gas, diameter, surface_k - ambient_k)
    return nusselt_horizontal_cylinder_churchill_chu(ra, gas.prandtl) * gas.conductivity / diameter


def plate_film_coefficient(
    size: float,
    surface_k: float,
    ambient_k: float,
    position: Literal["vertical", "up", "down"] = "vertical",
) -> float:
    """Film coefficient of one side of a plate in still air [W/m2/K].

    Parameters
    ----------
    size : float
        Height of a vertical plate; area over perimeter of a level one [m].
    surface_k, ambient_k : float
        [K].
    position : {"vertical", "up", "down"}
        A vertical side, or the upper or lower side of a level plate.

    Returns
    -------
    float
        Natural convection alone. Small level plates lie below the correlation's range.

    Examples
    --------
    >>> hot, room = 350.0, 296.0
    >>> plate_film_coefficient(0.02, hot, room, "up") > plate_film_coefficient(
    ...     0.02, hot, room, "down")
    True
    """
    gas = air((surface_k + ambient_k) / 2.0)
    ra = _rayleigh_in(gas, size, surface_k - ambient_k)
    if position == "vertical":
        nusselt = nusselt_vertical_plate_churchill_chu(ra, gas.prandtl)
    else:
        like_hot_upper_side = (position == "up") == (surface_k >= ambient_k)
        nusselt = nusselt_horizontal_plate_mcadams(ra, "up" if like_hot_upper_side else "down")
    return float(nusselt * gas.conductivity / size)


def grey_radiation(surface_k: Value, ambient_k: Value, emissivity: Value) -> Value:
    """Net radiation of a small grey surface in large surroundings [W/m2].

    Parameters
    ----------
    surface_k, ambient_k : float or ndarray
        [K].
    emissivity : float or ndarray
        [-].

    Returns
    -------
    float or ndarray
        eps sigma (T^4 - T_ambient^4), negative when the surroundings are hotter.

    Examples
    --------
    >>> round(grey_radiation(400.0, 300.0, 1.0), 1)
    992.3
    """
    return emissivity * STEFAN_BOLTZMANN * (surface_k**4 - ambient_k**4)


def radiation_coefficient(surface_k: Value, ambient_k: Value, emissivity: Value) -> Value:
    """Film coefficient that stands for radiation, eps sigma (T^2 + Ta^2)(T + Ta) [W/m2/K].

    Parameters
    ----------
    surface_k, ambient_k : float or ndarray
        [K].
    emissivity : float or ndarray
        [-].

    Returns
    -------
    float or ndarray
        Grey radiation divided by the temperature difference; finite when that is zero.

    Examples
    --------
    >>> round(radiation_coefficient(300.0, 300.0, 0.9), 2)
    5.51
    """
    both = (surface_k**2 + ambient_k**2) * (surface_k + ambient_k)
    return emissivity * STEFAN_BOLTZMANN * both


def effective_emissivity(inner: Value, outer: Value, area_ratio: Value = 0.0) -> Value:
    """Emissivity of an inner surface as its enclosure makes it [-].

    Parameters
    ----------
    inner, outer : float or ndarray
        Emissivities of the element and of the bore around it [-].
    area_ratio : float or ndarray
        Inner over outer area, 0 for a large enclosure, 1 for parallel plates [-].

    Returns
    -------
    float or ndarray
        1 / (1/inner + area_ratio (1/outer - 1)), grey diffuse surfaces.

    Examples
    --------
    >>> effective_emissivity(0.25, 0.9)
    0.25
    """
    return 1.0 / (1.0 / inner + area_ratio * (1.0 / outer - 1.0))


def gap_conductance_concentric(
    inner: Value, outer: Value, length: Value, gas_conductivity: Value
) -> Value:
    """Conductance of a gas gap between concentric cylinders [W/K].

    Parameters
    ----------
    inner, outer : float or ndarray
        Diameters, inner < outer [m].
    length : float or ndarray
        [m].
    gas_conductivity : float or ndarray
        At the mean temperature of the gap [W/m/K].

    Returns
    -------
    float or ndarray
        2 pi k length / ln(outer/inner): the gas at rest, the ends left out.

    Examples
    --------
    >>> round(gap_conductance_concentric(0.2e-3, 4e-3, 1.0, 0.0399), 4)
    0.0837
    """
    return 2.0 * np.pi * gas_conductivity * length / _plain(np.log(np.divide(outer, inner)))


def gap_conductance_strip_in_bore(
    width: Value, thickness: Value, bore: Value, gas_conductivity: Value
) -> Value:
    """Conductance per length of the gas between a flat strip and a round bore around it [W/m/K].

    Parameters
    ----------
    width, thickness : float or ndarray
        Of the strip, in the middle of the bore [m].
    bore : float or ndarray
        Diameter of the bore, or of a circle of the same perimeter for another section [m].
    gas_conductivity : float or ndarray
        At the mean temperature of the gap [W/m/K].

    Returns
    -------
    float or ndarray
        Both sides of the strip together.

    Notes
    -----
    With :math:`x = (w+t)/D`,

    .. math:: G' = \\frac{2\\pi k}{\\ln(2/x) - x^4/8 - 13 x^8/512}

    The first term says that a strip conducts as a round wire of half its width and thickness
    together; the others are the wall's, from the expansion of the exact conformal map of a thin
    strip in a circle (Groetzsch's ring): within 0.1 % to x = 0.7, 2 % to 0.85. Gas at rest,
    which holds while the Rayleigh number of the gap stays below about 1000.

    Examples
    --------
    >>> round(gap_conductance_strip_in_bore(3e-3, 0.3e-3, 6e-3, 0.0334), 3)
    0.164
    """
    x = (width + thickness) / bore
    resistance = _plain(np.log(np.divide(2.0, x))) - x**4 / 8.0 - 13.0 * x**8 / 512.0
    return 2.0 * np.pi * gas_conductivity / resistance


def _churchill_chu(rayleigh: Value, prandtl: Value, still: float, lag: float) -> Value:
    """Their form for any body: sqrt(Nu) of gas at rest, and where the Prandtl number bends it."""
    bracket = (1.0 + (lag / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return (still + 0.387 * rayleigh ** (1.0 / 6.0) / bracket) ** 2


def _rayleigh_in(gas: Air, size: Value, difference: Value) -> Value:
    return rayleigh(
        size, difference, gas.kinematic_viscosity, gas.thermal_diffusivity, gas.expansion
    )


def _plain(values: NDArray[np.float64]) -> Value:
    return float(values) if np.ndim(values) == 0 else values
