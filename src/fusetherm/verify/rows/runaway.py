"""Resistance that rises with temperature: closed forms up to and beyond the runaway current."""

from __future__ import annotations

import math

from ...fuse.model import FuseModel
from ...solver.run import simulate
from ...solver.steady import minimum_fusing_current, steady_state
from ..case import Case, case
from ..models import constant, held_strip, lump, number

_PAPER = "closed form evaluated with mpmath to 25 digits"


def _lump() -> FuseModel:
    """.8 J/K, .05 W/K and 2 mOhm rising .39 % a kelvin; its element melts at a rise of 400 K."""
    return lump(capacity=0.8, loss=0.05, ohms=2e-3, slope=0.0039, melts_k=293.15 + 400.0)


def _onset(name: str, current: float, expected: float) -> Case:
    @case(
        f"runaway-onset-{name}",
        f"one heat capacity with rising resistance at {current:.4g} A: time to a rise of 400 K",
        unit="s",
        expected=expected,
        relative=2e-6,
        source=_PAPER,
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        wave = constant(current, 2.0 * expected)
        return number(simulate(_lump(), wave, ambient_c=20.0, tolerance=1e-8, cells=8).onset_time)

    return measured


@case(
    "runaway-least-current",
    "the same: least current that brings it to 400 K",
    unit="A",
    expected=62.5,
    relative=1e-6,
    source="sqrt(G theta / (R (1 + alpha theta)))",
    origin="computed",
    calls="fusetherm.minimum_fusing_current",
    integrates=True,
)
def _least() -> float:
    return minimum_fusing_current(_lump(), ambient_c=20.0, cells=8)


@case(
    "runaway-action-limit",
    "the same at 20 kA: action to a rise of 400 K",
    unit="A2 s",
    expected=96411.0008709201,
    relative=2e-5,
    source=f"(C / (R alpha)) ln(1 + alpha theta); {_PAPER}; .002 % for what is lost meanwhile",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _action() -> float:
    current = 20e3
    run = simulate(_lump(), constant(current, 1e-3), ambient_c=20.0, tolerance=1e-8, cells=8)
    return current**2 * number(run.onset_time)


def _none(name: str, what: str, least: float, *currents: float) -> Case:
    listed = ", ".join(f"{i:g}" for i in currents)
    newton = "; a Newton solve that overlooks this ends at -1274 K" if name == "strip" else ""

    @case(
        f"runaway-no-steady-state-{name}",
        f"{what} at {listed} A: steady states found",
        unit="1",
        expected=0.0,
        absolute=0.5,
        source=f"none exists above {least:g} A{newton}",
        origin="computed",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        model = FuseModel(held_strip()) if name == "strip" else _lump()
        found = [steady_state(model, i, ambient_c=20.0) for i in currents]
        below = steady_state(model, 0.99 * least, ambient_c=20.0)
        return math.nan if below is None else float(sum(one is not None for one in found))

    return measured


ROWS = (
    _onset("near-the-least", 65.0, 77.17736273756138),
    _onset("at-the-critical", math.sqrt(0.05 / (2e-3 * 0.0039)), 24.96),
    _onset("above", 100.0, 12.705309178898448),
    _onset("far-above", 200.0, 2.556480990942602),
    _least,
    _action,
    _none("lump", "the same", 62.5, 62.6, 80.0, 200.0),
    _none("strip", "copper strip with a notch, ends held", 107.7577, 107.8, 150.0, 180.0, 1e4),
)
