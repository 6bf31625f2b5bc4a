"""The thermal network of `calibrate` as a curve model."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from ...current.waveform import Waveform
from ...solver.run import simulate
from ..fit import Calibration, calibrate
from ..observations import curve_times
from ..residual import Bench
from .base import CurveModel, CurvePoints, Quantity, rise_ratio

#: A time nothing parts after [s].
_NEVER = 1e5
#: Agreement asked of the ln of a factor.
_AGREEMENT = 5e-4


@dataclass(frozen=True)
class NetworkCurve(CurveModel):
    """The 1-D network with body, blades, contacts and cables, in its test connection.

    Parameters
    ----------
    calibration : Calibration
        What `calibrate` gave.
    ambient_c : float
        Ambient of the curve [degC].
    """

    calibration: Calibration = field(repr=False)
    ambient_c: float = 23.0
    name = "network"

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Fitted quantities."""
        return tuple(Quantity(p.name, p.unit, p.value) for p in self.calibration.parameters)

    @property
    def parameter_count(self) -> float:
        """Number of parameters the data determined beside the family's priors [-]."""
        covariance = self.calibration.covariance
        return float(len(covariance) - np.trace(covariance))

    def _bench(self, ambient_c: float | None) -> Bench:
        fit = self.calibration
        at = self.ambient_c if ambient_c is None else ambient_c
        melting_c = fit.model.element.metal.solidus_k - 273.15
        rise_ratio(melting_c, at, self.ambient_c)
        return Bench.of(fit.model, at, fit.cells)

    def minimum_fusing_current(self, ambient_c: float | None = None) -> float:
        """Current below which the element never parts [A]."""
        return math.exp(self._bench(ambient_c).least)

    def current_at(self, time: float, ambient_c: float | None = None) -> float:
        """Constant current that parts the element at a time [A]."""
        bench = self._bench(ambient_c)
        # from the current of the point nearest in time
        known = curve_times(self.calibration.definition)
        near = min(known, key=lambda o: abs(math.log(o.value / time)))
        guess = max(math.log(near.current), bench.least + 1e-3)
        return math.exp(bench.current_at(time, guess)[0])

    def time_at(self, current: float, ambient_c: float | None = None) -> float:
        """Pre-arcing time at a constant current [s]; inf where it never parts."""
        return math.exp(self._bench(ambient_c).log_time(math.log(current), _NEVER))

    def current_factor(self, waveform: Waveform, ambient_c: float | None = None) -> float:
        """Factor on a waveform at which it just parts the element, from cold [-]."""
        if waveform.i2t() <= 0.0:
            return math.inf
        fit = self.calibration
        at = self.ambient_c if ambient_c is None else ambient_c
        model = fit.model

        def parts(log_factor: float) -> bool:
            wave = waveform.scaled(math.exp(log_factor))
            return simulate(model, wave, ambient_c=at, cells=fit.cells).opened

        low = high = 0.0
        if parts(0.0):
            while parts(low):
                low, high = low - 0.5, low
        else:
            while not parts(high):
                low, high = high, high + 0.5
        while high - low > _AGREEMENT:
            middle = 0.5 * (low + high)
            low, high = (low, middle) if parts(middle) else (middle, high)
        return math.exp(0.5 * (low + high))


def network(points: CurvePoints) -> NetworkCurve:
    """The network through points, with the priors of the definition's family."""
    return NetworkCurve(calibrate(points.definition), points.ambient_c)
