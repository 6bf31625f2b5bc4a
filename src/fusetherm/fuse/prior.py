"""Prior of one fitted quantity, and the names and units of all of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

from ..physics.tables import Value, like

#: Names of the fitted quantities. "half" is the half of a symmetric whole, from the middle
#: of the element to one terminal; blade and contact are those of one side.
ParameterName = Literal[
    "half_element_resistance",
    "half_element_length",
    "notch_area_ratio",
    "notch_length_fraction",
    "lateral_loss",
    "blade_heat_capacity",
    "cable_film_coefficient",
    "half_body_heat_capacity",
    "half_body_conductance",
    "contact_resistance",
    "contact_heat_share",
    "spot_half_length",
    "spot_rate",
    "spot_activation",
    "spot_resistivity_ratio",
    "filler_conductivity",
    "filler_heat_capacity",
]

#: Unit of each fitted quantity.
PARAMETER_UNITS: Mapping[str, str] = MappingProxyType(
    dict(
        zip(
            get_args(ParameterName),
            (
                *("ohm", "m", "1", "1", "W/(m K)", "J/K", "W/(m2 K)", "J/K", "W/K", "ohm", "1"),
                *("m", "1/s", "K", "1"),
                *("W/(m K)", "J/(m3 K)"),
            ),
            strict=True,
        )
    )
)

#: Quantities of families with a spot and with a filler, and those any family may do without:
#: of a notch, and of the gap a filler takes the place of.
SPOT_QUANTITIES = ("spot_half_length", "spot_rate", "spot_activation", "spot_resistivity_ratio")
FILLER_QUANTITIES = ("filler_conductivity", "filler_heat_capacity")
NOTCH_QUANTITIES = ("notch_area_ratio", "notch_length_fraction")
GAP_QUANTITIES = ("lateral_loss",)


def quantities(*, spot: bool, filler: bool, notch: bool) -> tuple[str, ...]:
    """Names of the quantities a family has, in their order.

    Examples
    --------
    >>> len(quantities(spot=False, filler=False, notch=True))
    11
    """
    left_out: tuple[str, ...] = GAP_QUANTITIES if filler else FILLER_QUANTITIES
    left_out += () if spot else SPOT_QUANTITIES
    left_out += () if notch else NOTCH_QUANTITIES
    return tuple(name for name in PARAMETER_UNITS if name not in left_out)


@dataclass(frozen=True, slots=True)
class Prior:
    """Prior of one fitted quantity: a normal law of its score.

    Parameters
    ----------
    name : str
        One of the names of ``PARAMETER_UNITS``.
    centre : float
        Median, in the unit.
    sd : float
        Standard deviation of the transformed value.
    unit : str
        Unit in SI.
    transform : {"log", "logit"}
        What is normal: ln(value - lower), or ln(value / (1 - value)).
    reason : str
        Why the centre and the spread are what they are.
    lower : float
        Lowest value possible (log only).

    Examples
    --------
    >>> prior = Prior("lateral_loss", 0.16, 0.5, "W/(m K)", "log", "bore and size")
    >>> round(prior.value(1.0), 4), round(prior.score(0.16), 4)
    (0.2638, 0.0)
    """

    name: str
    centre: float
    sd: float
    unit: str
    transform: Literal["log", "logit"]
    reason: str
    lower: float = 0.0

    def value(self, score: Value) -> Value:
        """Value, in the unit, at a number of standard deviations from the centre."""
        moved = np.asarray(score, dtype=float) * self.sd
        if self.transform == "log":
            result = self.lower + (self.centre - self.lower) * np.exp(moved)
        else:
            result = 1.0 / (1.0 + (1.0 / self.centre - 1.0) * np.exp(-moved))
        return like(score, result)

    def score(self, value: Value) -> Value:
        """Number of standard deviations from the centre at a value; inverse of ``value``."""
        given = np.asarray(value, dtype=float)
        if self.transform == "log":
            moved = np.log((given - self.lower) / (self.centre - self.lower))
        else:
            moved = np.log(given / (1.0 - given) * (1.0 / self.centre - 1.0))
        return like(value, moved / self.sd)
