"""Diffusion of heat into half-spaces and slabs, and melting fronts (SI, rises in kelvin)."""

from __future__ import annotations

import math

import numpy as np

__all__ = ["neumann_lambda", "semi_infinite_flux", "slab_flux", "stefan_lambda"]


def semi_infinite_flux(
    depth: float, time: float, flux: float, conductivity: float, diffusivity: float
) -> float:
    """Rise in a half-space under a constant flux at its surface [K].

    Parameters
    ----------
    depth : float
        [m].
    time : float
        [s].
    flux : float
        [W/m2].
    conductivity : float
        [W/m/K].
    diffusivity : float
        [m2/s].

    Returns
    -------
    float

    References
    ----------
    .. [1] H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., section 2.9.

    Examples
    --------
    >>> round(semi_infinite_flux(0.0, 1e-3, 1e7, 385.0, 1.11e-4), 3)
    9.765
    """
    reach = 2.0 * math.sqrt(diffusivity * time)
    x = depth / reach
    return (
        flux
        / conductivity
        * (reach / math.sqrt(math.pi) * math.exp(-(x**2)) - depth * math.erfc(x))
    )


def slab_flux(place: float, fourier: float) -> float:
    """Rise in a slab heated by a flux on one face, insulated on the other, theta k/(q l) [-].

    Parameters
    ----------
    place : float
        Distance from the insulated face over the thickness, 0 to 1 [-].
    fourier : float
        Diffusivity times time over thickness squared [-].

    Returns
    -------
    float

    References
    ----------
    .. [1] H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., section 3.8.

    Examples
    --------
    >>> round(slab_flux(1.0, 0.2), 4)
    0.5052
    """
    n = np.arange(1, 2001)
    terms = (-1.0) ** n / n**2 * np.exp(-(n**2) * math.pi**2 * fourier) * np.cos(n * np.pi * place)
    return fourier + (3.0 * place**2 - 1.0) / 6.0 - 2.0 / math.pi**2 * float(terms.sum())


def stefan_lambda(stefan: float) -> float:
    """Root of the one-phase Stefan problem, sqrt(pi) x exp(x^2) erf(x) = St [-].

    Parameters
    ----------
    stefan : float
        Specific heat times excess temperature over latent heat [-].

    Returns
    -------
    float
        The front stands at 2 lambda sqrt(a t).

    Examples
    --------
    >>> round(stefan_lambda(1.0), 4)
    0.6201
    """
    return neumann_lambda(stefan, 0.0)


def neumann_lambda(stefan_liquid: float, stefan_solid: float) -> float:
    """Root of the two-phase problem with equal properties in both phases [-].

    Parameters
    ----------
    stefan_liquid, stefan_solid : float
        Of the hot wall above and of the far solid below the melting point [-].

    Returns
    -------
    float

    Notes
    -----
    .. math:: \\sqrt\\pi\\,x\\,e^{x^2} = St_l/\\mathrm{erf}\\,x - St_s/\\mathrm{erfc}\\,x

    References
    ----------
    .. [1] H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., section 11.2.

    Examples
    --------
    >>> round(neumann_lambda(1.0, 2.0), 4)
    0.27
    """
    from scipy.optimize import brentq

    def surplus(x: float) -> float:
        front = math.sqrt(math.pi) * x * math.exp(x**2)
        return front + stefan_solid / math.erfc(x) - stefan_liquid / math.erf(x)

    return float(brentq(surplus, 1e-12, 5.0, xtol=1e-15, rtol=1e-14))
