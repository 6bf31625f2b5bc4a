"""The residual of one model against one observation, in current wherever a time is known.

The logarithm of the current that parts the element at the published time, less that of the
published current: it is always finite, where the logarithm of a time is not (a current just
below the minimum fusing current never parts anything).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ..errors import CalibrationError
from ..fuse.model import FuseModel
from ..solver.integrate import Ambient, ConstantBlock, integrate
from ..solver.network import Network, build_network
from ..solver.steady import branch_of, steady_of
from ..units import REFERENCE_AMBIENT_C
from ..written import seconds
from .observations import Observation

Floats = npt.NDArray[np.float64]

#: Tolerance of the runs of a fit, the default of predictions: ten times looser, noise in the
#: differences kept the fit from settling.
FIT_TOLERANCE = 1e-4
#: Agreement asked of ln I [-].
CURRENT_AGREEMENT = 2e-4
#: A run is followed this many times the published time before it counts as not parting.
_PATIENCE = 6.0


@dataclass(frozen=True)
class Bench:
    """A network at one ambient, ready for currents.

    Attributes
    ----------
    network : Network
    ambient : Ambient
    """

    network: Network
    ambient: Ambient

    @classmethod
    def of(cls, model: FuseModel, ambient_c: float, cells: int) -> Bench:
        """Network of a model at an ambient [degC]."""
        ambient_k = ambient_c + 273.15
        network = build_network(model, ambient_k=ambient_k, cells=cells)
        return cls(network, Ambient(np.array([0.0]), np.array([ambient_k])))

    @cached_property
    def least(self) -> float:
        """ln of the minimum fusing current [ln A]."""
        return 0.5 * math.log(branch_of(self.network, self.ambient.first_k).largest)

    @cached_property
    def cold(self) -> Floats:
        """State at ambient."""
        return self.network.state(self.ambient.first_k)

    def log_time(self, log_current: float, until: float) -> float:
        """ln of the time to part at a constant current; inf when it does not by `until`."""
        squared = math.exp(2.0 * log_current)
        solution = integrate(
            self.network,
            iter((ConstantBlock(squared, until, 0.0),)),
            self.cold,
            self.ambient,
            until=until,
            tolerance=FIT_TOLERANCE,
            integrator="rodas3",
        )
        time = solution.parted_time
        return math.inf if time is None else math.log(time)

    def slope(self, log_current: float) -> float:
        """d ln t / d ln I of a single time constant with this minimum fusing current."""
        r2 = min(math.exp(2.0 * (self.least - log_current)), 0.9999)
        if r2 < 1e-6:
            return -2.0
        return -2.0 * r2 / ((1.0 - r2) * -math.log1p(-r2))

    def current_at(
        self,
        time: float,
        guess: float,
        slope_there: float | None = None,
        agreement: float = CURRENT_AGREEMENT,
    ) -> tuple[float, float]:
        """ln of the current that parts the element at a time [s], and d ln t / d ln I there.

        Parameters
        ----------
        time : float
            Pre-arcing time [s].
        guess : float
            ln of a current to start from [ln A].
        slope_there : float, optional
            d ln t / d ln I near the guess, where it is known.
        agreement : float
            Last step of the search at most [ln A].
        """
        target = math.log(time)
        low, high = self.least, math.inf
        x = max(guess, self.least + 1e-3)
        slope = self.slope(x)
        known: tuple[float, float] | None = None
        for _ in range(40):
            y = self.log_time(x, _PATIENCE * time) - target
            if math.isinf(y):
                low = max(low, x)
                x = x + max(0.02, 0.1 * (x - self.least)) if math.isinf(high) else 0.5 * (x + high)
                continue
            if known is not None and abs(x - known[0]) > 1e-6:
                secant = (y - known[1]) / (x - known[0])
                slope = secant if secant < -0.5 else self.slope(x)
            else:
                slope = self.slope(x) if slope_there is None else slope_there
            known = (x, y)
            if y > 0.0:
                low = max(low, x)
            else:
                high = min(high, x)
            step = -y / slope
            if abs(step) < agreement:
                return x + step, slope
            step = max(-0.5, min(0.5, step))
            following = x + step
            if not low < following < high:
                following = 0.5 * (low + high) if math.isfinite(high) else low + 0.02
            if high - low < CURRENT_AGREEMENT:
                return 0.5 * (low + high), slope
            x = following
        raise CalibrationError(
            "current-not-found",
            f"no current was found that parts the element at {seconds(time)}",
            expected="a curve point within the reach of the model",
            mend="check the point's time and current",
        )


def ambients_of(observation: Observation) -> tuple[float, ...]:
    """Ambients of the benches an observation is compared at [degC]."""
    if observation.kind == "rerating":
        return (observation.ambient_c, REFERENCE_AMBIENT_C)
    return (observation.ambient_c,)


def keeps(benches: dict[float, Bench], observation: Observation) -> bool:
    """Whether a model keeps a limit; quicker than the number it is compared by."""
    if observation.kind != "time":
        return not observation.broken(direct_value(benches, observation))
    bench, x = benches[observation.ambient_c], math.log(observation.current)
    if x <= bench.least:
        return observation.bound == "least"
    early = bench.log_time(x, 1.01 * observation.value) < math.log(observation.value)
    return early == (observation.bound == "most")


def direct_value(benches: dict[float, Bench], observation: Observation) -> float:
    """What a model gives for anything but a time: fusing current, ratio, drop or rise."""
    bench = benches[observation.ambient_c]
    if observation.kind == "fusing":
        return math.exp(bench.least)
    if observation.kind == "rerating":
        return math.exp(bench.least - benches[REFERENCE_AMBIENT_C].least)
    return steady_value(bench, observation)


def steady_value(bench: Bench, observation: Observation) -> float:
    """Drop [V] or rise [K] of a model at a steady current; inf when there is no steady state."""
    steady = steady_of(bench.network, observation.current, bench.ambient.first_k)
    if steady is None:
        return math.inf
    model = bench.network.model
    if observation.kind == "rise":
        names = ("blade_left", "blade_right")
        if observation.where == "clip":
            names = ("clip_left", "clip_right")
        hot = max(steady.node_temperature_c[n] for n in names if n in steady.node_temperature_c)
        return hot - steady.ambient_c
    drop = steady.element_voltage
    if observation.where == "clips":
        contacts = [s.contact.resistance for s in (model.left, model.right) if s.contact]
        drop += observation.current * sum(contacts)
    return drop


def spread(observation: Observation, slope: float) -> float:
    """Standard deviation of an observation in ln current, or relative for the others [-]."""
    if observation.kind != "time" or observation.bound:
        return observation.noise
    return math.hypot(observation.current_noise, observation.noise / slope)
