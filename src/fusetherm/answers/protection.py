"""The answer on a conductor: gaps, the far end, the verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..conductor.wire import Wire
from ..errors import Note
from ..written import apart, measure, seconds
from .cautions import CAUTIONS, CONDUCTOR_CAUTIONS
from .curve import TimeCurrentCurve
from .fault import FaultCourse

Floats = npt.NDArray[np.float64]
ProtectionName = Literal["protected", "not_protected", "not_shown"]
SCHEMA = "fusetherm/protect/1"
EXIT_STATUS: dict[str, int] = {"protected": 0, "not_protected": 20, "not_shown": 4}


@dataclass(frozen=True, slots=True)
class Gap:
    """Currents that damage the conductor before they are interrupted.

    Attributes
    ----------
    low, high : float
        Ends of the range [A].
    worst : float
        Current at which the fuse is latest, against the damage [A].
    damaged, cleared : float
        When the conductor is damaged and when the current ends there [s].
    """

    low: float
    high: float
    worst: float
    damaged: float
    cleared: float

    def to_json(self) -> dict[str, float]:
        """Plain data."""
        return {"from_A": self.low, "to_A": self.high, "worst_A": self.worst,
                "damaged_s": self.damaged, "cleared_s": self.cleared}  # fmt: skip

    def __str__(self) -> str:
        low, high = apart(self.low, self.high, 1)
        ends = f"ends after {seconds(self.cleared)}"
        if math.isinf(self.cleared):
            ends = "may flow for ever"
        return (
            f"{low} to {high} A: {measure(self.worst, 'A')} damages the conductor after "
            f"{seconds(self.damaged)} and {ends}"
        )


@dataclass(frozen=True, slots=True)
class FarEnd:
    """A dead short at the far end, on the weakest source.

    Attributes
    ----------
    current : float
        [A].
    cleared, cleared_class, damaged : float
        When the fitted fuse's late edge and the class end it, and when it damages the wire [s].
    """

    current: float
    cleared: float
    cleared_class: float | None
    damaged: float


@dataclass(frozen=True)
class Protection:
    """Answer to "does this fuse protect this conductor?".

    Attributes
    ----------
    verdict : {"protected", "not_protected", "not_shown"}
        Of the later of the fitted fuse and its class.
    fitted_verdict, class_verdict : str
        Each by itself.
    reasons : tuple of str
        Why, the deciding one first.
    current : (n,) array
        [A].
    damage_time, fuse_time, class_time : (n,) array
        Damage of the conductor, clearing by the fuse's late edge and by its class [s].
    gaps, class_gaps : tuple of Gap
    conductor_limit : float
        Current the conductor carries for ever [A].
    start_c : float
        Conductor before the fault [degC].
    far_end : FarEnd or None
    fault : FaultCourse or None
    """

    verdict: ProtectionName
    fitted_verdict: ProtectionName
    class_verdict: ProtectionName
    reasons: tuple[str, ...]
    name: str
    rated_current: float
    wire: Wire = field(repr=False)
    fuse_ambient_c: float
    wire_ambient_c: float
    load: float
    start_c: float
    conductor_limit: float
    late_least: float
    class_least: float | None
    class_names: tuple[str, ...]
    prospective: float | None
    current: Floats = field(repr=False)
    damage_time: Floats = field(repr=False)
    fuse_time: Floats = field(repr=False)
    class_time: Floats = field(repr=False)
    gaps: tuple[Gap, ...]
    class_gaps: tuple[Gap, ...]
    far_end: FarEnd | None
    fault: FaultCourse | None
    median: TimeCurrentCurve = field(repr=False)
    notes: tuple[Note, ...]
    cautions: tuple[str, ...] = CAUTIONS + CONDUCTOR_CAUTIONS

    @property
    def exit_status(self) -> int:
        """0 protected, 20 not protected, 4 not shown."""
        return EXIT_STATUS[self.verdict]

    def plot(self, ax: Any = None) -> Any:
        """Figure of damage curve and fuse on log-log paper."""
        from importlib import import_module

        return import_module("fusetherm.show.plots_conductor").plot_protection(self, ax=ax)

    def to_json(self) -> dict[str, Any]:
        """The answer as plain data; absent is None, never is None too."""
        wire, far, fault = self.wire, self.far_end, self.fault
        return {
            "schema": SCHEMA,
            "fuse": self.name,
            "verdict": self.verdict,
            "fitted_verdict": self.fitted_verdict,
            "class_verdict": self.class_verdict,
            "reasons": list(self.reasons),
            "rated_current_A": self.rated_current,
            "conductor_limit_A": self.conductor_limit,
            "section_mm2": 1e6 * wire.section,
            "conductor": {
                "material": wire.material, "make": wire.make, "insulation": wire.insulation.name,
                "class_C": wire.insulation.class_c,
                "short_circuit_C": wire.insulation.short_circuit_c, "bundle": wire.bundle,
                "length_m": wire.length, "k_As05_per_mm2": 1e-6 * wire.k(self.start_c),
                "withstand_A2s": wire.withstand(self.start_c),
            },
            "fuse_ambient_C": self.fuse_ambient_c,
            "wire_ambient_C": self.wire_ambient_c,
            "load_A": self.load,
            "start_C": self.start_c,
            "opens_from_A": self.late_least,
            "class_opens_from_A": self.class_least,
            "gates": list(self.class_names),
            "prospective_current_A": self.prospective,
            "current_A": self.current,
            "damage_time_s": self.damage_time,
            "fuse_time_s": self.fuse_time,
            "class_time_s": self.class_time,
            "gaps": [gap.to_json() for gap in self.gaps],
            "class_gaps": [gap.to_json() for gap in self.class_gaps],
            "far_end": None if far is None else {
                "current_A": far.current, "cleared_s": far.cleared,
                "cleared_class_s": far.cleared_class, "damaged_s": far.damaged,
            },
            "fault": None if fault is None else fault.to_json(),
            "notes": [{"code": n.code, "text": n.text} for n in self.notes],
            "cautions": list(self.cautions),
        }  # fmt: skip
