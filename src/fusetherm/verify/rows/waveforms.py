"""Waveforms through the integrator: their action, as the rise of a heat capacity without loss."""

from __future__ import annotations

from collections.abc import Callable

from ...current import shapes
from ...current.waveform import Waveform
from ...solver.run import simulate
from ..case import Case, case
from ..models import lump

_OHMS, _CAPACITY = 2e-3, 0.8  # [ohm], [J/K]


def _action(name: str, what: str, wave: Callable[[], Waveform], action: float, law: str) -> Case:
    @case(
        f"waveform-action-{name}",
        f"{what}: action, from the rise of a lump without loss",
        unit="A2 s",
        expected=action,
        relative=1e-6,
        source=f"{law}, evaluated by hand and by quadrature",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        model = lump(capacity=_CAPACITY, loss=0.0, ohms=_OHMS)
        run = simulate(model, wave(), ambient_c=20.0, tolerance=1e-8)
        return (float(run.node_temperature_c["blade_left"][-1]) - 20.0) * _CAPACITY / _OHMS

    return measured


def _ramp() -> Waveform:
    return Waveform(time=[0, 0.01], current=[20, 100])


def _train() -> Waveform:
    return Waveform(time=[0, 0.02, 0.02, 1], current=[125, 125, 0, 0]).repeated(1000)


ROWS = (
    _action("square", "100 A for 10 ms", lambda: shapes.rectangular_pulse(100.0, 0.01), 100.0,
            "I² T"),
    _action("half-sine", "half sine of 100 A, 10 ms", lambda: shapes.half_sine(100.0, 0.01), 50.0,
            "I² T/2"),
    _action("exponential", "100 A falling with 20 ms, cut at 10 ms",
            lambda: shapes.exponential_decay(100.0, 0.02, 0.01), 63.212055882855765,
            "I² tau/2 (1 - exp(-2 T/tau))"),
    _action("ramp", "ramp from 20 to 100 A in 10 ms", _ramp, 41.33333333333333,
            "(a² + a b + b²) T/3"),
    _action("damped-sine", "500 Hz, 100 A, decaying with 2 ms",
            lambda: shapes.damped_oscillation(100.0, 500.0, 2e-3), 4.876477384840713,
            "I² (td/4) (w td)²/(1 + (w td)²)"),
    _action("lamp", "lamp of 5 A, ten times that when cold, 10 ms, for 100 ms",
            lambda: shapes.lamp_inrush(5.0, 10.0, 0.01, 0.1), 17.12479567944689,
            "I² of I0 (1 + (k - 1) exp(-t/tau))"),
    _action("gaussian", "gaussian pulse of 100 A, sigma 2 ms",
            lambda: shapes.gaussian_pulse(100.0, 2e-3), 35.449077018110316, "I² sigma sqrt(pi)"),
    _action("alternating", "100 A rms at 50 Hz for .2 s",
            lambda: shapes.alternating(100.0, 50.0, 0.2), 2000.0, "I² t, whole cycles"),
    _action("chopped", "100 A chopped to .3 at 20 kHz for 1 s",
            lambda: shapes.chopped(100.0, 0.3, 20e3, 1.0), 3000.0, "I² D t"),
    _action("train", "a thousand pulses of 125 A for 20 ms, one a second", _train, 312500.0,
            "n I² T"),
)  # fmt: skip
