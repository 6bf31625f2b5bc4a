"""Transients with a closed form, through the integrator."""

from __future__ import annotations

from ...solver.run import simulate
from ..case import case
from ..models import constant, lump


@case(
    "transient-lump-joule",
    "one heat capacity with rising resistance, 80 A for 10 s: rise at the end",
    unit="K",
    expected=159.92002666000133,
    relative=1e-6,
    source="closed form evaluated with mpmath to 25 digits",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _lump_joule() -> float:
    model = lump(capacity=0.8, loss=0.05, ohms=2e-3, slope=3.9e-3)
    run = simulate(model, constant(80.0, 10.0), ambient_c=20.0, tolerance=1e-8)
    return float(run.node_temperature_c["blade_left"][-1]) - 20.0


ROWS = (_lump_joule,)
