"""A fuse in a circuit: the source drives the current, and the hot fuse resists it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..current.sampled import Sampled
from ..current.waveform import finite
from ..errors import InputError, SolveError
from ..fuse.model import FuseModel
from ..units import REFERENCE_AMBIENT_C, takes
from .run import Run, simulate

Floats = npt.NDArray[np.float64]

#: Largest change of the current from one round to the next, over its peak, at which it is
#: settled, and the most rounds.
SETTLED, ROUNDS = 1e-4, 60
#: Instants of the current over the whole record, and over the rise of an inductive loop.
_EVEN, _RISE = 2000, 600


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """A voltage behind resistance and inductance; a motor answers with a voltage of its own.

    Parameters
    ----------
    voltage : float
        Of source or battery at no load [V].
    resistance : float
        Of the whole loop without the fuse: inside the battery, cables, winding [ohm].
    inductance : float
        Of the loop [H].
    back_emf : tuple of (float, float)
        Times [s] and voltages [V] of a motor as it starts, straight between, constant outside;
        empty for none.

    Notes
    -----
    ``L di/dt = V - e(t) - [R + R_fuse(t)] i``, from no current.
    """

    voltage: float
    resistance: float
    inductance: float = 0.0
    back_emf: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        for name, least in (("voltage", False), ("resistance", False), ("inductance", True)):
            value = getattr(self, name)
            if not (math.isfinite(value) and (value > 0.0 or (least and value == 0.0))):
                raise InputError("not-positive", f"Drive: {name} is {value}", expected="above zero")
        for at, volts in self.back_emf:
            finite(at, "time of the back-EMF", "s")
            finite(volts, "back-EMF", "V")
        times = [t for t, _ in self.back_emf]
        if any(b <= a for a, b in itertools.pairwise(times)):
            raise InputError(
                "time-not-increasing", "the times of the back-EMF do not increase",
                expected="times in order",
            )  # fmt: skip

    def opposed(self, time: Floats) -> Floats:
        """Voltage of the source less that of the motor [V]."""
        if not self.back_emf:
            return np.full_like(time, self.voltage)
        at, volts = np.array(self.back_emf, dtype=np.float64).T
        return self.voltage - np.asarray(np.interp(time, at, volts), dtype=np.float64)

    def instants(self, duration: float) -> Floats:
        """Instants at which the current is worked out [s]."""
        constant = self.inductance / self.resistance
        rise = np.linspace(0.0, min(12.0 * constant, duration), _RISE)
        bends = [t for t, _ in self.back_emf if 0.0 < t < duration]
        return np.unique(np.concatenate((np.linspace(0.0, duration, _EVEN), rise, bends)))

    def current(self, time: Floats, fuse: Floats) -> Floats:
        """Current at instants [A], for the fuse's resistance at them [ohm].

        Exact where resistance and voltages are constant between two instants; else their means
        are taken there, an error of the second order in the distance.
        """
        volts, ohms = self.opposed(time), self.resistance + fuse
        if self.inductance == 0.0:
            return volts / ohms
        found = np.zeros_like(time)
        v, r = 0.5 * (volts[1:] + volts[:-1]), 0.5 * (ohms[1:] + ohms[:-1])
        kept = np.exp(-np.diff(time) * r / self.inductance)
        for k in range(time.size - 1):
            final = v[k] / r[k]
            found[k + 1] = final + (found[k] - final) * kept[k]
        return found


@takes(duration="s", ambient_c="degC")
def simulate_driven(
    model: FuseModel,
    drive: Drive,
    duration: float,
    *,
    ambient_c: float = REFERENCE_AMBIENT_C,
    cells: int | None = None,
) -> Run:
    """A run in which a source drives the current through the loop and the hot fuse.

    Parameters
    ----------
    model : FuseModel
    drive : Drive
    duration : float
        [s].
    ambient_c : float
        [degC].
    cells : int, optional
        Cells of the element.

    Returns
    -------
    Run
        Its question holds the current that was found; after parting it means nothing.

    Raises
    ------
    SolveError
        ``drive-not-settled``.

    Notes
    -----
    Current and temperatures are found in turns: the current from the resistance of the run
    before, cold at first, then a run with that current, until the current changes by less than
    `SETTLED` of its peak up to the end or the parting. Round n is right up to order n in the
    heating; each round shrinks the error by the share of the fuse in the loop. Blades and
    contacts count with their resistance at 20 degC.
    """
    time = drive.instants(duration)
    outer = model.cold_resistance() - model.element.cold_resistance()
    outer += sum(s.contact.resistance for s in (model.left, model.right) if s.contact is not None)
    cold = model.element.cold_resistance()
    current = drive.current(time, np.full_like(time, outer + cold))
    run: Run | None = None
    for _ in range(ROUNDS):
        run = simulate(model, Sampled(time, current), ambient_c=ambient_c, cells=cells)
        flows = run.current > 1e-6 * np.abs(current).max()
        ohms = run.element_voltage[flows] / run.current[flows]
        fuse = outer + np.interp(time, run.time[flows], ohms) if len(ohms) else outer + cold
        following = drive.current(time, np.broadcast_to(fuse, time.shape).astype(np.float64))
        here = time <= run.duration
        change = np.abs(following - current)[here].max() / max(np.abs(current).max(), 1e-300)
        if change < SETTLED:
            return run
        current = following
    raise SolveError(
        "drive-not-settled",
        f"the current still changes by {change:.2g} of its peak after {ROUNDS} rounds",
        run=run,
        expected="a fuse that is a part of the loop's resistance",
        mend="check resistance and voltage of the source",
    )
