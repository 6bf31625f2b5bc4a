"""Tin spots: a drop of low-melting alloy that dissolves the metal under it once it is molten.

    dx/dt = k600 exp[-(E/R) (1/T - 1/600 K)]    above the onset of the reaction, else 0

x is the share of the cross-section dissolved; the strip parts where x reaches 1. On the way the
alloy, which conducts worse, takes the place of the strip: its resistance rises by
``1 + (ratio - 1) x``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import InputError
from .metals import Metal


@dataclass(frozen=True, slots=True)
class Dissolution:
    """How a spot dissolves the metal under it.

    Parameters
    ----------
    onset_k : float
        Temperature at which the reaction begins, the eutectic of spot and element [K].
    rate_600 : float
        Share of the cross-section dissolved per second at 600 K [1/s].
    activation_k : float
        Activation energy over the gas constant, E/R [K].
    resistivity_ratio : float
        Resistivity of the alloy formed over that of the element [-].
    source : str
        Where the onset comes from.
    """

    onset_k: float
    rate_600: float = 0.05
    activation_k: float = 4500.0
    resistivity_ratio: float = 9.0
    source: str = ""

    def __post_init__(self) -> None:
        for name in ("onset_k", "rate_600", "activation_k", "resistivity_ratio"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise InputError(
                    "not-positive", f"Dissolution: {name} is {value}", expected="above zero"
                )

    def rate(self, temperature_k: float) -> float:
        """Share dissolved per second at a temperature [1/s].

        Examples
        --------
        >>> SPOTS["silver"].rate(600.0), SPOTS["silver"].rate(490.0)
        (0.05, 0.0)
        """
        if temperature_k < self.onset_k:
            return 0.0
        return self.rate_600 * math.exp(-self.activation_k * (1.0 / temperature_k - 1.0 / 600.0))

    def time(self, temperature_k: float) -> float:
        """Time to dissolve the whole cross-section at a constant temperature [s]."""
        rate = self.rate(temperature_k)
        return math.inf if rate == 0.0 else 1.0 / rate


#: Spots of tin, by the metal under them: eutectic temperatures of the binary systems.
SPOTS = {
    "silver": Dissolution(494.0, source="Sn-Ag eutectic 221 degC, from memory"),
    "copper": Dissolution(500.0, source="Sn-Cu eutectic 227 degC, from memory"),
    "zinc": Dissolution(472.0, source="Sn-Zn eutectic 199 degC, from memory"),
}

#: A spot must begin to dissolve this far below the melting point of the metal under it [K], or
#: melting comes first (own choice).
_ROOM = 100.0


def spot_law(
    metal: Metal,
    onset_k: float | None = None,
    *,
    rate_600: float = 0.05,
    activation_k: float = 4500.0,
    resistivity_ratio: float = 9.0,
) -> Dissolution:
    """Law of a spot of tin on a metal.

    Parameters
    ----------
    metal : Metal
        Metal under the spot.
    onset_k : float, optional
        Eutectic of spot and metal [K]; that of ``SPOTS`` when left out.
    rate_600, activation_k, resistivity_ratio : float
        As of `Dissolution`.

    Returns
    -------
    Dissolution

    Raises
    ------
    InputError
        ``spot-on-metal`` for a metal of which no eutectic with tin is known here, or that
        melts hardly above it.

    Examples
    --------
    >>> from fusetherm.physics.metals import metal
    >>> spot_law(metal("copper")).onset_k
    500.0
    """
    known = SPOTS.get(metal.name)
    if onset_k is None and known is None:
        raise InputError(
            "spot-on-metal",
            f"a spot of tin on {metal.name}: where tin begins to dissolve it is not known here",
            expected=f"an element of {', '.join(SPOTS)}, or the onset of the reaction",
            mend="state onset_C, the eutectic of spot and element; tin does not wet aluminium",
        )
    onset = known.onset_k if onset_k is None and known is not None else onset_k
    assert onset is not None
    if metal.solidus_k < onset + _ROOM:
        raise InputError(
            "spot-on-metal",
            f"a spot on {metal.name} that begins to dissolve it at {onset - 273.15:.4g} degC, "
            f"while {metal.name} melts at {metal.solidus_k - 273.15:.4g} degC",
            expected=f"a metal that melts {_ROOM:g} K or more above the onset",
            mend="leave the spot out: the element melts by itself",
        )
    source = "stated" if onset_k is not None or known is None else known.source
    return Dissolution(onset, rate_600, activation_k, resistivity_ratio, source)
