"""Specific action to the melting point through the integrator, whatever the waveform."""

from __future__ import annotations

from collections.abc import Callable

from ...answers.selectivity import selectivity
from ...current.shapes import exponential_decay, half_sine, triangle
from ...current.waveform import Waveform
from ...fuse.element import round_wire
from ...fuse.model import FuseModel
from ...physics.metals import Metal, metal
from ...solver.run import simulate
from ..case import Case, case
from ..models import constant, insulated_wire, number, straight_copper

_AREA = 0.05e-6  # [m²]
_MM4 = 1e-12  # from A2 s/m4 to A2 s/mm4
_SOURCE = (
    "computed apart: specific heat from JANAF through thermo 0.6.1, resistivity and latent heat "
    "from CRC and Matula"
)


def _action(of: Metal, wave: Waveform, start_c: float) -> float:
    """Joule integral up to the onset over the square of the section [A2 s/mm4]."""
    run = simulate(insulated_wire(of, _AREA), wave, ambient_c=start_c, tolerance=1e-7, cells=8)
    return wave.i2t(0.0, number(run.onset_time)) / _AREA**2 * _MM4


def _solid(name: str, expected: float) -> Case:
    @case(
        f"action-onset-{name}",
        f"{name} wire without loss, 200 A from 25 °C: action to the onset of melting",
        unit="A2 s/mm4",
        expected=expected,
        relative=0.05,
        source=_SOURCE,
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        return _action(metal(name), constant(200.0, 1.0), 25.0)

    return measured


def _plateau(name: str, expected: float) -> Case:
    @case(
        f"action-plateau-{name}",
        f"{name} wire without loss, 200 A: action from the onset of melting to parting",
        unit="A2 s/mm4",
        expected=expected,
        relative=0.08,
        source=_SOURCE,
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        wire = insulated_wire(metal(name), _AREA)
        run = simulate(wire, constant(200.0, 1.0), ambient_c=25.0, tolerance=1e-6, cells=8)
        span = number(run.pre_arcing_time) - number(run.onset_time)
        return 200.0**2 * span / _AREA**2 * _MM4

    return measured


def _any(name: str, what: str, wave: Callable[[], Waveform]) -> Case:
    @case(
        f"action-plain-copper-{name}",
        f"copper of constant heat from 20 to 1083 °C without loss under {what}: action",
        unit="A2 s/mm4",
        expected=84242.71936937718,
        relative=1e-6,
        source="(d c / (rho0 alpha)) ln(1 + alpha dT), mpmath, 25 digits",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        copper = straight_copper(melts_k=1083.0 + 273.15)
        return _action(copper, wave(), 20.0)

    return measured


def _chopped() -> Waveform:
    return Waveform(time=[0.0, 1e-4, 1e-4, 2e-4], current=[300.0, 300.0, 0.0, 0.0]).repeated(400)


@case(
    "action-two-wires-in-series",
    "two copper wires in series on 2 kA, one twice as thick: ratio of their pre-arcing times",
    unit="1",
    expected=16.0,
    relative=0.02,
    source="without loss I²t goes with the square of the section, by hand",
    origin="computed",
    calls="fusetherm.selectivity",
    integrates=True,
)
def _in_series() -> float:
    thick, thin = (FuseModel(round_wire(metal("copper"), d, 20e-3)) for d in (0.4e-3, 0.2e-3))
    found = selectivity(thick, thin, prospective=2000.0)
    return float(found.upstream_middle[-1] / found.downstream_middle[-1])


ROWS = (
    _in_series,
    _solid("copper", 90040.8),
    _solid("aluminium", 31077.8),
    _solid("zinc", 14685.0 - 3077.3),
    _solid("lead", 1429.1),
    _plateau("copper", 12499.1),
    _plateau("aluminium", 6556.6),
    _plateau("zinc", 3077.3),
    _any("square", "200 A", lambda: constant(200.0, 1.0)),
    _any("half-sine", "a half sine of 400 A", lambda: half_sine(400.0, 10e-3)),
    _any("decay", "500 A falling with 5 ms", lambda: exponential_decay(500.0, 5e-3)),
    _any("triangle", "a triangle of 600 A", lambda: triangle(600.0, 8e-3, 2e-3)),
    _any("chopped", "300 A half of the time", _chopped),
    _any("fault", "2 kA", lambda: constant(2000.0, 1.0)),
)
