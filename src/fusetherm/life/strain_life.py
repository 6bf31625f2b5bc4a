"""Strain-life formulas of general low-cycle fatigue, for the order of magnitude only."""

from __future__ import annotations

import math
from collections.abc import Callable

from ..errors import InputError


def universal_slopes(cycles: float, strength_over_modulus: float, ductility: float) -> float:
    """Strain range that a metal bears for a number of cycles [-].

    ``3.5 (S_u / E) N^-.12 + D^.6 N^-.6``

    Parameters
    ----------
    cycles : float
        N [-].
    strength_over_modulus : float
        Ultimate strength over Young's modulus [-].
    ductility : float
        D = ln[1 / (1 - reduction of area)] [-].

    References
    ----------
    S. S. Manson, Exp. Mech. 5 (1965) 193, from memory.
    """
    return float(3.5 * strength_over_modulus * cycles**-0.12 + ductility**0.6 * cycles**-0.6)


def copper_strain(cycles: float, strength_over_modulus: float, ductility: float) -> float:
    """Strain range that plated copper bears for a number of cycles [-].

    Parameters
    ----------
    cycles, strength_over_modulus, ductility : float
        As for `universal_slopes`; .3 and 40/12000 for plated copper.

    References
    ----------
    IPC-TR-579 (formula after Engelmaier), from memory.
    """
    power = 0.1785 * math.log10(1e5 / cycles)
    elastic = 0.9 * strength_over_modulus * (math.exp(ductility) / 0.36) ** power
    return float(cycles**-0.6 * ductility**0.75 + elastic)


def cycles_at_strain(strain: Callable[[float], float], strain_range: float) -> float:
    """Cycles at which a falling strain-life curve reaches a strain range, by bisection [-].

    Parameters
    ----------
    strain : callable
        Strain range against cycles, falling.
    strain_range : float
        Strain range looked for [-].

    Examples
    --------
    >>> round(cycles_at_strain(lambda n: copper_strain(n, 40 / 12000, 0.3), 0.01), 3)
    1360.668
    """
    low, high = math.log(1e-3), math.log(1e18)
    if not strain(math.exp(low)) > strain_range > strain(math.exp(high)):
        raise InputError(
            "strain-out-of-range",
            f"a strain range of {strain_range} lies outside the strain-life curve",
            expected="a strain range that the curve reaches between 1e-3 and 1e18 cycles",
        )
    for _ in range(200):
        middle = 0.5 * (low + high)
        if strain(math.exp(middle)) > strain_range:
            low = middle
        else:
            high = middle
    return math.exp(0.5 * (low + high))
