"""A given fault current, followed through the conductor until the latest fuse parts."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from ..conductor.damage import hottest_through
from ..conductor.wire import Wire
from ..current.waveform import Waveform
from ..fuse.model import FuseModel
from ..solver.run import simulate
from ..written import apart, seconds

Floats = npt.NDArray[np.float64]
#: Pieces a course of current is cut into, each with its own I²t.
PIECES = 800


@dataclass(frozen=True, slots=True)
class FaultCourse:
    """What a fault does to the conductor.

    Attributes
    ----------
    parted : float or None
        When the latest fuse parts [s]; None when it does not by the end of the record.
    peak_c : float
        Hottest conductor until then [degC].
    damaged : float or None
        When it passes the limit of the moment first [s].
    """

    parted: float | None
    peak_c: float
    damaged: float | None
    time: Floats = field(repr=False)
    conductor_c: Floats = field(repr=False)
    limit_c: float = math.inf

    @property
    def damages(self) -> list[str]:
        """The reason it gives, if any."""
        if self.damaged is None:
            return []
        hot, limit = apart(self.peak_c, self.limit_c)
        return [
            f"the fault given heats the conductor past its limit of {limit} °C after "
            f"{seconds(self.damaged)}, to {hot} °C until the fuse parts ({seconds(self.parted)})"
        ]

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {"parted_s": self.parted, "peak_C": self.peak_c, "damaged_s": self.damaged}


def fault_course(
    model: FuseModel,
    wire: Wire,
    fault: Waveform,
    *,
    late_factor: float,
    fuse_ambient_c: float,
    wire_ambient_c: float,
    start_c: float,
    cells: int,
) -> FaultCourse:
    """Follow a fault through wire and fuse.

    Parameters
    ----------
    model : FuseModel
    wire : Wire
    fault : Waveform
        [A].
    late_factor : float
        Current of the latest of 100 units over that of the median, `late_factors` [-].
    fuse_ambient_c, wire_ambient_c, start_c : float
        Fuse, wire, and conductor before [degC].
    cells : int

    Notes
    -----
    The latest of 100 units is the fitted one under a current that is less by that factor. The
    conductor's limit falls with the time since the fault began.
    """
    run = simulate(model, fault.scaled(1.0 / late_factor), ambient_c=fuse_ambient_c, cells=cells)
    parted = run.pre_arcing_time
    end = min(fault.duration, math.inf if parted is None else parted)
    edges = np.linspace(0.0, end, PIECES + 1)
    rms = np.sqrt([
        fault.i2t(a, b) / (b - a)
        for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    ])  # fmt: skip

    def current(time: float) -> float:
        return float(rms[min(int(time / end * PIECES), PIECES - 1)])

    time, hot = hottest_through(
        wire, current, end, ambient_c=wire_ambient_c, start_c=start_c, max_step=end / PIECES
    )
    limits = np.array([_limit(wire, t) for t in time.tolist()])
    over = np.flatnonzero(hot > limits + 1e-6)
    first = int(over[0]) if len(over) else None
    return FaultCourse(
        parted=parted,
        peak_c=float(hot.max()),
        damaged=None if first is None else float(time[first]),
        time=time,
        conductor_c=hot,
        limit_c=math.inf if first is None else float(limits[first]),
    )


def _limit(wire: Wire, time: float) -> float:
    """Limit of the insulation at a time since the fault began [degC]."""
    return next(rung.limit_c for rung in wire.insulation.rungs if time < rung.until)
