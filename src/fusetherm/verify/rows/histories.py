"""What went before and what changes meanwhile: preload and a course of the ambient."""

from __future__ import annotations

from ...solver.run import simulate
from ..case import case
from ..models import constant, lump

_PAPER = "closed form evaluated with mpmath to 25 digits"


@case(
    "history-preload",
    "one heat capacity, steady at 40 A, then 80 A for 10 s: rise at the end",
    unit="K",
    expected=245.122627925107942,
    relative=1e-6,
    source=_PAPER,
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _preload() -> float:
    model = lump(capacity=0.8, loss=0.05, ohms=2e-3, slope=3.9e-3)
    run = simulate(model, constant(80.0, 10.0), start=40.0, ambient_c=20.0, tolerance=1e-8)
    return float(run.node_temperature_c["blade_left"][-1]) - 20.0


@case(
    "history-ambient-ramp",
    "one heat capacity without current, ambient rising .2 K/s for 60 s: its rise",
    unit="K",
    expected=8.87525678673922914,
    relative=1e-6,
    source=_PAPER,
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _ramp() -> float:
    model = lump(capacity=0.8, loss=0.05, ohms=2e-3, slope=3.9e-3)
    ambient = ((0.0, 20.0), (100.0, 40.0))
    run = simulate(model, constant(0.0, 60.0), ambient_c=ambient, tolerance=1e-8)
    return float(run.node_temperature_c["blade_left"][-1]) - 20.0


ROWS = (_preload, _ramp)
