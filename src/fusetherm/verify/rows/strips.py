"""Notched strips with side loss and terminals against finite elements."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from ...answers.curve import time_current_curve
from ...fuse.model import Blade, FuseModel, Side, Surroundings
from ...solver.run import Run, simulate
from ...solver.steady import SteadyState, minimum_fusing_current
from ..case import Case, case
from ..models import constant, held_strip, notched_strip, number, plain_metal, settled

_ELEMENTS = (
    "scikit-fem 12.0.2, quadratic elements, and scipy's Radau; 48 and 96 elements agree to 5 digits"
)
_CELLS = 256


def _held() -> FuseModel:
    """Copper: 10 mm by 2 mm by .1 mm, notched to .5 mm, 50 W/(m² K), ends held at 20 °C."""
    return FuseModel(held_strip(), surroundings=Surroundings(film_coefficient=50.0))


def _copper() -> FuseModel:
    """The same on terminals of 2 J/K and .05 W/K."""
    end = Side(Blade(heat_capacity=2.0, to_ambient=0.05))
    return replace(_held(), left=end, right=end)


def _zinc() -> FuseModel:
    """Zinc: 12 mm by 3 mm by .3 mm, notched to 1 mm, on terminals of 3 J/K and .08 W/K."""
    zinc = plain_metal(
        "zinc",
        density=7134.0,
        specific_heat=390.0,
        resistivity=5.9e-8,
        slope=0.0042,
        conductivity=116.0,
        conductivity_slope=-0.04,
        melts_k=692.677,
    )
    strip = notched_strip(zinc, length=12e-3, width=3e-3, middle=1e-3, notch=4e-3, thickness=0.3e-3)
    end = Side(Blade(heat_capacity=3.0, to_ambient=0.08))
    return FuseModel(strip, None, end, end, Surroundings(film_coefficient=30.0))


_STRIPS = {"copper": _copper, "zinc": _zinc, "copper-held": _held}


@lru_cache
def _least(name: str) -> float:
    return minimum_fusing_current(_STRIPS[name](), ambient_c=20.0, cells=_CELLS)


def _fusing(name: str, expected: float) -> Case:
    @case(
        f"strip-minimum-current-{name}",
        f"notched {name} strip on terminals: minimum fusing current",
        unit="A",
        expected=expected,
        relative=3e-5,
        source=_ELEMENTS,
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        return _least(name)

    return measured


def _terminal(name: str, expected: float) -> Case:
    @case(
        f"strip-terminal-{name}",
        f"notched {name} strip at its minimum fusing current: temperature of the terminals",
        unit="K",
        expected=expected,
        relative=1e-4,
        source=_ELEMENTS,
        origin="computed",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        current = _least(name) * (1.0 - 1e-9)
        steady = settled(_STRIPS[name](), current, ambient_c=20.0, cells=_CELLS)
        return steady.node_temperature_c["blade_left"] + 273.15

    return measured


def _at(name: str, current: float) -> SteadyState:
    return settled(_STRIPS[name](), current, ambient_c=20.0, cells=_CELLS)


def _steady(name: str, current: float, what: str, unit: str, expected: float) -> Case:
    @case(
        f"strip-steady-{name}-{what.split()[0]}",
        f"notched {name.replace('-', ' strip, ')} at {current:g} A: steady {what}",
        unit=unit,
        expected=expected,
        relative=1e-4 if name == "copper-held" else 3e-5,
        source=_ELEMENTS,
        origin="computed",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        steady = _at(name, current)
        if unit == "V":
            return steady.element_voltage
        return steady.peak_temperature_c + 273.15

    return measured


@case(
    "strip-side-loss",
    "notched copper on terminals at 60 A: heat that leaves by its sides",
    unit="W",
    expected=0.21935864,
    relative=3e-4,
    source=_ELEMENTS,
    origin="computed",
    calls="fusetherm.steady_state",
    integrates=True,
)
def _side_loss() -> float:
    # what is made less what the terminals lose
    steady = _at("copper", 60.0)
    lost = 0.05 * sum(t - 20.0 for t in steady.node_temperature_c.values())
    return 60.0 * steady.element_voltage - lost


@lru_cache
def _step(time: float) -> Run:
    wave = constant(60.0, time)
    return simulate(_copper(), wave, ambient_c=20.0, cells=_CELLS, tolerance=1e-5)


def _rising(time: float, what: str, expected: float) -> Case:
    @case(
        f"strip-step-{what}-{1e3 * time:g}ms",
        f"notched copper on terminals, {time:g} s after 60 A begins: temperature of the {what}",
        unit="K",
        expected=expected,
        relative=3e-5,
        source=_ELEMENTS,
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        run = _step(time)
        trace = run.element_temperature_c
        if what == "terminal":
            trace = run.node_temperature_c["blade_left"]
        return float(trace[-1]) + 273.15

    return measured


def _onset(name: str, current: float, expected: float) -> Case:
    where = "ends held" if name == "copper-held" else "on terminals"

    @case(
        f"strip-onset-{name}-{current:g}a",
        f"notched {name.split('-')[0]} strip, {where}, at {current:g} A: onset of melting",
        unit="s",
        expected=expected,
        relative=3e-4,
        source=f"{_ELEMENTS}; .03 % for 256 cells",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        wave = constant(current, 2.0 * expected)
        return number(simulate(_STRIPS[name](), wave, ambient_c=20.0, cells=_CELLS).onset_time)

    return measured


def _curve(current: float, expected: float) -> Case:
    @case(
        f"strip-curve-zinc-{current:g}a",
        f"curve of the notched zinc strip on terminals at {current:g} A: onset of melting",
        unit="s",
        expected=expected,
        relative=4e-3,
        source=f"{_ELEMENTS}; .4 % for the curve's 64 cells",
        origin="computed",
        calls="fusetherm.time_current_curve",
        integrates=True,
    )
    def measured() -> float:
        curve = time_current_curve(_zinc(), ambient_c=20.0, currents=[current])
        return float(curve.onset_time[0, 0])

    return measured


ROWS = (
    _fusing("copper", 88.13238),
    _fusing("zinc", 82.8239),
    _terminal("copper", 609.8872),
    _terminal("zinc", 382.6946),
    _steady("copper-held", 100.0, "temperature of the middle", "K", 824.47917),
    _steady("copper-held", 100.0, "drop", "V", 0.241377218),
    _steady("copper", 60.0, "temperature of the middle", "K", 451.69139),
    _steady("copper", 60.0, "drop", "V", 0.091685228),
    _side_loss,
    _rising(0.01, "middle", 307.1463),
    _rising(1.0, "middle", 382.4637),
    _rising(1.0, "terminal", 294.158),
    _rising(200.0, "middle", 450.6456),
    _rising(200.0, "terminal", 345.1872),
    _onset("copper-held", 130.0, 0.1923596),
    _onset("copper-held", 600.0, 0.001011918),
    _onset("zinc", 91.0, 17.4547),
    _onset("zinc", 496.0, 0.00536932),
    _curve(91.0, 17.4547),
    _curve(165.0, 0.133941),
)
