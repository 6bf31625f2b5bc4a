"""Transients with a closed form, through the integrator."""

from __future__ import annotations

import math

from ...current.shapes import half_sine
from ...fuse.element import round_wire
from ...fuse.model import Blade, FuseModel, Side, Surroundings
from ...solver.network import build_network
from ...solver.run import State, simulate
from ..case import Case, case
from ..models import constant, lump, plain_metal


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


def _step(time: float, expected: float) -> Case:
    @case(
        f"transient-lump-step-{time:g}s",
        f"one heat capacity of .8 J/K, 4 W and .05 W/K for {time:g} s: rise",
        unit="K",
        expected=expected,
        relative=1e-6,
        source="(P/G) (1 - exp(-G t/C)), evaluated with mpmath to 25 digits",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        model = lump(capacity=0.8, loss=0.05, ohms=1e-3)
        wave = constant(math.sqrt(4.0 / 1e-3), time)
        run = simulate(model, wave, ambient_c=20.0, tolerance=1e-8)
        return float(run.node_temperature_c["blade_left"][-1]) - 20.0

    return measured


def _half_sine(time: float, expected: float) -> Case:
    @case(
        f"transient-lump-half-sine-{1e3 * time:g}ms",
        f"8 mJ/K with rising resistance under a half sine of 300 A, 10 ms: rise at {time:g} s",
        unit="K",
        expected=expected,
        relative=1e-6,
        source="closed form evaluated with mpmath to 25 digits",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        model = lump(capacity=0.008, loss=0.05, ohms=2e-3, slope=0.0039)
        wave = half_sine(300.0, 10e-3).cut(0.0, time)
        run = simulate(model, wave, ambient_c=20.0, tolerance=1e-9)
        return float(run.node_temperature_c["blade_left"][-1]) - 20.0

    return measured


def _radiation(end_k: float, time: float) -> Case:
    @case(
        f"transient-radiation-{end_k:g}k",
        f".05 J/K that only radiates, .8 cm² black, from 1200 K in 300 K: after {time:.2f} s",
        unit="K",
        expected=end_k,
        relative=1e-6,
        source="closed form of cooling by T⁴, sigma of CODATA 2018, mpmath, 25 digits",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        diameter, length = 1e-3, 0.8e-4 / (math.pi * 1e-3)
        volume = 0.25 * math.pi * diameter**2 * length
        of = plain_metal(
            density=0.05 / (385.0 * volume),
            specific_heat=385.0,
            resistivity=1e-16,
            conductivity=400.0,
        )
        ends, around = Side(Blade(heat_capacity=1e-9)), Surroundings(emissivity=1.0)
        model = FuseModel(round_wire(of, diameter, length), None, ends, ends, around)
        hot = build_network(model, ambient_k=300.0, cells=8).state(1200.0)
        run = simulate(
            model, constant(0.0, time), ambient_c=26.85, start=State(hot, 8), tolerance=1e-8,
            cells=8,
        )  # fmt: skip
        return float(run.element_temperature_c[-1]) + 273.15

    return measured


ROWS = (
    _step(5.0, 21.470749684268657),
    _step(40.0, 73.4332001100881),
    _lump_joule,
    _half_sine(5e-3, 62.29163735875304),
    _half_sine(10e-3, 136.69291128618082),
    _radiation(600.0, 15.354411509458771),
    _radiation(400.0, 65.11666990510449),
)
