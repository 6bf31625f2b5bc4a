"""Pulse trains on one heat capacity with loss."""

from __future__ import annotations

import math

import numpy as np

from ...current.waveform import Waveform
from ...solver.run import simulate
from ..case import Case, case
from ..models import lump


def _train(pulses: int, rise: float) -> Case:
    @case(
        f"periodic-pulse-{pulses}",
        f"5 W for 3 s in every 10 s into .8 J/K and .05 W/K: peak rise in pulse {pulses}",
        unit="K",
        expected=rise,
        relative=1e-6,
        source="geometric series of exponentials, evaluated with mpmath to 25 digits",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        on = math.sqrt(5.0 / 1e-3)
        wave = Waveform(time=[0.0, 3.0, 3.0, 10.0], current=[on, on, 0.0, 0.0]).repeated(pulses)
        model = lump(capacity=0.8, loss=0.05, ohms=1e-3)
        run = simulate(model, wave, ambient_c=20.0, tolerance=1e-8, integrator="rodas4")
        last = run.time >= (pulses - 1) * 10.0
        return float(np.max(run.node_temperature_c["blade_left"][last])) - 20.0

    return measured


ROWS = (
    _train(1, 17.097088181959965),
    _train(2, 26.248500025751003),
    _train(40, 36.7886145698552),
)
