"""Handbook laws for wires: Preece, Onderdonk and the adiabatic formulas of cable standards (SI).

They are yardsticks, not models: each says where it holds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from ..units import ZERO_CELSIUS_K

__all__ = [
    "CABLE_CONDUCTORS",
    "PREECE_CONSTANTS",
    "CableConductor",
    "adiabatic_k",
    "insulated_cable_action",
    "onderdonk_action",
    "preece_current",
    "preece_diameter",
]

_INCH = 0.0254
#: A circular mil [m2] (exact by definition).
_CIRCULAR_MIL = math.pi / 4.0 * (1e-3 * _INCH) ** 2

#: Preece's constants [A/m^1.5], in the table below per inch to the power 1.5. Ness Engineering,
#: "Fuse equations (Preece's law)", read; platinum, iron and lead from memory.
PREECE_CONSTANTS: Mapping[str, float] = MappingProxyType(
    {
        name: per_inch / _INCH**1.5
        for name, per_inch in {
            "copper": 10244.0,
            "aluminium": 7585.0,
            "platinum": 5172.0,
            "german silver": 5230.0,
            "platinoid": 4750.0,
            "iron": 3148.0,
            "tin": 1642.0,
            "tin-lead": 1318.0,
            "lead": 1379.0,
        }.items()
    }
)


def preece_current(diameter: float, constant: float) -> float:
    """Minimum fusing current of a bare wire by Preece's law [A].

    Parameters
    ----------
    diameter : float
        About 0.5 to 5 mm [m].
    constant : float
        From :data:`PREECE_CONSTANTS` [A/m^1.5].

    Returns
    -------
    float
        constant times diameter^1.5: long level wires in still air. Correlations of natural
        convection do not give this exponent; the law is good to some 40 %.

    Examples
    --------
    >>> round(preece_current(1e-3, PREECE_CONSTANTS["copper"]), 1)
    80.0
    """
    return constant * float(diameter**1.5)


def preece_diameter(current: float, constant: float) -> float:
    """Diameter of the wire that a current just fuses by Preece's law [m].

    Parameters
    ----------
    current : float
        [A].
    constant : float
        [A/m^1.5].

    Returns
    -------
    float

    Examples
    --------
    >>> round(1e3 * preece_diameter(80.02, PREECE_CONSTANTS["copper"]), 3)
    1.0
    """
    return float((current / constant) ** (2.0 / 3.0))


def onderdonk_action(start_k: float, end_k: float = 1083.0 + ZERO_CELSIUS_K) -> float:
    """Specific action of copper by Onderdonk's equation [A2 s/m4].

    Parameters
    ----------
    start_k : float
        Temperature at the start [K].
    end_k : float
        Temperature at the end; 1083 degC, his melting point, when left out [K].

    Returns
    -------
    float
        I^2 t = A^2 times this value, without any loss: below about ten seconds.

    Notes
    -----
    33 (I/A)^2 t = log10(1 + dT/(234 + T1)), A in circular mils, T1 in degC. Copies that
    subtract the ambient from 234 are misprints. The latent heat is not counted.

    References
    ----------
    .. [1] Handbooks, from memory; quoted by Brooks and Adam, Printed Circuit Design & Fab,
       September 2015.

    Examples
    --------
    >>> round(onderdonk_action(298.15) / 1e12)  # A2 s/mm4
    83359
    """
    place = 234.0 + start_k - ZERO_CELSIUS_K
    return math.log10(1.0 + (end_k - start_k) / place) / (33.0 * _CIRCULAR_MIL**2)


def insulated_cable_action(
    start_k: float, end_k: float, material: Literal["copper", "aluminium"] = "copper"
) -> float:
    """Specific action of an insulated conductor by the ICEA short-circuit formula [A2 s/m4].

    Parameters
    ----------
    start_k, end_k : float
        Conductor temperature before and after [K].
    material : {"copper", "aluminium"}

    Returns
    -------
    float

    Notes
    -----
    (I/A)^2 t = 0.0297 log10[(T2 + 234)/(T1 + 234)], A in circular mils, T in degC; aluminium
    0.0125 and 228.

    References
    ----------
    .. [1] ICEA P-32-382; the copper form read in a public copy, the aluminium form from memory.

    Examples
    --------
    >>> round(1e-6 * insulated_cable_action(348.15, 423.15) ** 0.5, 1)  # A s^0.5/mm2
    104.5
    """
    factor, zero = {"copper": (0.0297, 234.0), "aluminium": (0.0125, 228.0)}[material]
    ratio = (end_k - ZERO_CELSIUS_K + zero) / (start_k - ZERO_CELSIUS_K + zero)
    return factor * math.log10(ratio) / _CIRCULAR_MIL**2


@dataclass(frozen=True)
class CableConductor:
    """Constants of the adiabatic formula of IEC 60364-5-54, Annex A.

    Parameters
    ----------
    volumetric_heat : float
        Heat capacity per volume at 20 degC [J/K/m3].
    inferred_zero : float
        beta, the reciprocal of the temperature coefficient at 0 degC [K].
    resistivity_20 : float
        Resistivity at 20 degC [ohm m].
    """

    volumetric_heat: float
    inferred_zero: float
    resistivity_20: float


#: Conductors of cables: IEC 60364-5-54 Annex A / IEC 60949, from memory.
CABLE_CONDUCTORS: Mapping[str, CableConductor] = MappingProxyType(
    {
        "copper": CableConductor(3.45e6, 234.5, 17.241e-9),
        "aluminium": CableConductor(2.5e6, 228.0, 28.264e-9),
        "lead": CableConductor(1.45e6, 230.0, 214e-9),
        "steel": CableConductor(3.8e6, 202.0, 138e-9),
    }
)


def adiabatic_k(conductor: CableConductor, start_k: float, end_k: float) -> float:
    """Factor k of the adiabatic short-circuit formula S = sqrt(I^2 t)/k [A s^0.5/m2].

    Parameters
    ----------
    conductor : CableConductor
    start_k, end_k : float
        Conductor temperature before and after [K].

    Returns
    -------
    float
        Times 1e-6 for A s^0.5/mm2.

    Notes
    -----
    .. math:: k = \\sqrt{\\frac{Q_c(\\beta+20)}{\\rho_{20}}
              \\ln\\frac{\\beta+\\vartheta_f}{\\beta+\\vartheta_i}}

    Without loss: a short circuit of at most 5 s.

    Examples
    --------
    >>> round(1e-6 * adiabatic_k(CABLE_CONDUCTORS["copper"], 343.15, 433.15))
    115
    """
    beta = conductor.inferred_zero
    ratio = (beta + end_k - ZERO_CELSIUS_K) / (beta + start_k - ZERO_CELSIUS_K)
    scale = conductor.volumetric_heat * (beta + 20.0) / conductor.resistivity_20
    return math.sqrt(scale * math.log(ratio))
