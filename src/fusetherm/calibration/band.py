"""The spread of an answer, for now a fixed and documented one.

Draws from the posterior will replace it. Until then every answer in current carries a
log-normal spread put together from the parts below; each is printed with its share.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ..fuse.definition import Definition

#: Standard normal quantile of a two-sided 90 % band.
QUANTILE_90 = 1.6448536269514722
#: Name of the spread from one unit to the next, the only source that is no want of knowledge.
UNIT = "unit to unit"
#: Unit-to-unit spread of the current that parts an element [ln] (common practice, no source).
UNIT_SPREAD = 0.03
#: What is not known of the model off the published curve [ln] (own estimate: held-out
#: currents of a study were within 1 %, minimum fusing currents within 2 %).
MODEL_SPREAD = 0.03
#: Added when no test connection is stated [ln]: cable of 4 to 10 mm² moved the minimum
#: fusing current of one element from 45 to 58 A.
CONNECTION_SPREAD = 0.08
#: Added when the installed connection is not stated [ln], for the same reason.
INSTALLED_SPREAD = 0.05


@dataclass(frozen=True, slots=True)
class Band:
    """Spread of an answer in current.

    Attributes
    ----------
    sd : float
        Standard deviation of ln current [-].
    level : float
        Two-sided level of `low` and `high` [-].
    shares : tuple of (str, float)
        Share of each source in the variance [-].
    """

    sd: float
    level: float
    shares: tuple[tuple[str, float], ...]

    @property
    def low(self) -> float:
        """Factor on the median at the lower edge [-]."""
        return math.exp(-QUANTILE_90 * self.sd)

    @property
    def high(self) -> float:
        """Factor on the median at the upper edge [-]."""
        return math.exp(QUANTILE_90 * self.sd)

    @property
    def unit_sd(self) -> float:
        """Standard deviation of ln current from one unit to the next [-]."""
        return self.sd * math.sqrt(dict(self.shares).get(UNIT, 0.0))

    @property
    def known_sd(self) -> float:
        """Standard deviation of ln current that more knowledge would lessen [-]."""
        return self.sd * math.sqrt(sum(share for name, share in self.shares if name != UNIT))

    def widened(self, source: str, sd: float) -> Band:
        """The band with one more independent source [ln]."""
        if sd <= 0.0:
            return self
        parts = [(name, share * self.sd**2) for name, share in self.shares]
        return _band([*parts, (source, sd**2)], self.level)


def _band(variances: list[tuple[str, float]], level: float) -> Band:
    whole = sum(v for _, v in variances)
    shares = tuple((name, v / whole) for name, v in variances)
    return Band(math.sqrt(whole), level, shares)


def band_of(
    definition: Definition,
    rms_current: float,
    connection: Literal["test", "installed"] = "installed",
) -> Band:
    """Fixed band of a fitted fuse in one of its connections."""
    parts = [(UNIT, UNIT_SPREAD**2), ("model", MODEL_SPREAD**2)]
    if math.isfinite(rms_current) and rms_current > 0.0:
        parts.append(("misfit of the curve", rms_current**2))
    if definition.test_connection is None:
        parts.append(("test connection not stated", CONNECTION_SPREAD**2))
    if connection == "installed" and definition.installed_connection is None:
        parts.append(("installed connection not stated", INSTALLED_SPREAD**2))
    return _band(parts, 0.9)
