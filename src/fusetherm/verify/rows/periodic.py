"""Pulse trains and alternating current on one heat capacity with loss."""

from __future__ import annotations

import math

import numpy as np

from ...current.shapes import alternating
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


def _ripple(frequency: float, capacity: float, cycles: int) -> Case:
    @case(
        f"periodic-ripple-{frequency:g}hz".replace(".", ""),
        f"4 W of alternating current at {frequency:g} Hz into {capacity:g} J/K: amplitude",
        unit="K",
        expected=7.91866737821208,
        relative=1e-5,
        source="(P/G) / sqrt(1 + (2 w C/G)²), evaluated with mpmath to 25 digits",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        model = lump(capacity=capacity, loss=0.05, ohms=1e-3)
        wave = alternating(math.sqrt(4.0 / 1e-3), frequency, (cycles + 1) / frequency)
        # at the phase of least and greatest rise, half a period of the power apart
        phase = math.atan(2.0 * math.pi * 2.0 * frequency * capacity / 0.05)

        def rise(angle: float) -> float:
            until = (cycles + angle / (4.0 * math.pi)) / frequency
            run = simulate(model, wave.cut(0.0, until), ambient_c=20.0, tolerance=1e-8)
            return float(run.node_temperature_c["blade_left"][-1]) - 20.0

        return 0.5 * abs(rise(phase + math.pi) - rise(phase))

    return measured


ROWS = (
    _train(1, 17.097088181959965),
    _train(2, 26.248500025751003),
    _train(40, 36.7886145698552),
    _ripple(0.05, 0.8, 20),
    _ripple(50.0, 0.8e-3, 40),
)
