"""The circuit a fuse protects: what the source can drive through which length of wire."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..errors import InputError
from .wire import Wire

if TYPE_CHECKING:
    from ..solver.driven import Drive


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """Source at both extremes, and the loop to the far end.

    Parameters
    ----------
    strongest_voltage, strongest_resistance : float
        Of the strongest source: full, cold, with every battery that may be in parallel, down
        to the fuse's terminals [V], [ohm].
    weakest_voltage, weakest_resistance : float
        Of the weakest: nearly empty, warm or old [V], [ohm].
    length : float
        From the fuse to the far end, one way [m].
    return_resistance : float, optional
        Of the way back [ohm]; by default a wire like the one that goes out.

    Notes
    -----
    The strongest source decides what the fuse must break, the weakest, at the far end, whether
    it opens at all.
    """

    strongest_voltage: float
    strongest_resistance: float
    weakest_voltage: float
    weakest_resistance: float
    length: float
    return_resistance: float | None = None

    def __post_init__(self) -> None:
        positive = ("strongest_voltage", "strongest_resistance", "weakest_voltage", "length")
        for name in positive:
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise InputError(
                    "not-positive", f"Circuit: {name} is {value}", expected="above zero"
                )
        for name in ("weakest_resistance", "return_resistance"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value >= 0.0):
                raise InputError("negative", f"Circuit: {name} is {value}", expected="zero or more")
        if self.weakest_resistance < self.strongest_resistance or (
            self.weakest_voltage > self.strongest_voltage
        ):
            raise InputError(
                "source-extremes",
                "the weakest source is stronger than the strongest",
                expected="less or equal voltage, more or equal resistance",
                mend="exchange them, or check the units: volts and ohms",
            )

    @property
    def prospective_current(self) -> float:
        """Short circuit of the strongest source right behind the fuse [A]."""
        return self.strongest_voltage / self.strongest_resistance

    def loop_resistance(self, wire: Wire, temperature_c: float) -> float:
        """Out and back, the wire at a temperature [ohm]."""
        out = self.length * wire.resistance(temperature_c)
        return out + (out if self.return_resistance is None else self.return_resistance)

    def far_end_current(self, wire: Wire, temperature_c: float, fuse_resistance: float) -> float:
        """Short circuit of the weakest source at the far end [A].

        Parameters
        ----------
        wire : Wire
        temperature_c : float
            Of the wire [degC].
        fuse_resistance : float
            Of fuse and contacts [ohm].

        Returns
        -------
        float

        Examples
        --------
        >>> from fusetherm.conductor.insulation import insulation
        >>> wire = Wire(section=2.5e-6, insulation=insulation("pvc-70"), bundle=1)
        >>> boat = Circuit(
        ...     strongest_voltage=13.0, strongest_resistance=0.01, weakest_voltage=10.5,
        ...     weakest_resistance=0.05, length=8.0,
        ... )
        >>> round(boat.far_end_current(wire, 20.0, 0.002), 1)
        58.4
        """
        loop = self.loop_resistance(wire, temperature_c)
        return self.weakest_voltage / (self.weakest_resistance + fuse_resistance + loop)

    def far_end_drive(self, wire: Wire, temperature_c: float, inductance: float = 0.0) -> Drive:
        """The weakest source on a short at the far end, for `simulate_driven`.

        Parameters
        ----------
        wire : Wire
        temperature_c : float
            Of the wire [degC].
        inductance : float
            Of the loop [H].
        """
        from ..solver.driven import Drive

        return Drive(
            voltage=self.weakest_voltage,
            resistance=self.weakest_resistance + self.loop_resistance(wire, temperature_c),
            inductance=inductance,
        )
