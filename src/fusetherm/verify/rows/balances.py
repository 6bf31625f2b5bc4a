"""What must balance: heat made, lost and stored, electrical work, and pulses in long records."""

from __future__ import annotations

import math
from functools import lru_cache

from ...current.shapes import chopped
from ...current.waveform import Waveform
from ...fuse.element import Element, Section
from ...fuse.model import Blade, Body, Cable, Clip, Contact, FuseModel, Side
from ...physics.metals import metal
from ...solver.run import Run, simulate
from ..case import Case, case
from ..models import constant, insulated_wire, lump, straight_copper


@lru_cache
def _whole() -> FuseModel:
    """Zinc strip with a bridge, body, contacts, clips and cables of two sections."""
    sections = (
        Section(4e-3, 3e-3, 0.3e-3),
        Section(2e-3, 1e-3, 0.3e-3),
        Section(4e-3, 3e-3, 0.3e-3),
    )

    def side(section: float) -> Side:
        return Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(section, cells=4))

    element = Element(metal("zinc"), sections)
    return FuseModel(element, Body(element_emissivity=0.1), side(6e-6), side(2.5e-6))


def _opens() -> Waveform:
    return constant(100.0, 30.0)


def _pulse_and_load() -> Waveform:
    return Waveform(
        time=[0.0, 100.0, 100.0, 100.05, 100.05, 600.0],
        current=[30.0, 30.0, 160.0, 160.0, 30.0, 30.0],
    )


def _pulsed() -> Waveform:
    return chopped(120.0, 0.1, 1e3, 20.0)


_WAVES = {"opens": _opens, "pulse-and-load": _pulse_and_load, "chopped": _pulsed}


@lru_cache
def _run(name: str) -> Run:
    return simulate(_whole(), _WAVES[name](), ambient_c=23.0)


def _conserved(name: str, what: str) -> Case:
    @case(
        f"balance-heat-{name}",
        f"a whole fuse, {what}: heat made less lost less stored, over heat made",
        unit="1",
        expected=0.0,
        absolute=1e-9,
        source="first law",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        return _run(name).conservation

    return measured


def _electrical(name: str, what: str) -> Case:
    @case(
        f"balance-work-{name}",
        f"a whole fuse, {what}: electrical work less heat lost and stored, over work",
        unit="1",
        expected=0.0,
        absolute=1e-4,
        source="first law; the tolerance of the run",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        return _run(name).electrical_balance

    return measured


@case(
    "balance-stored-heat",
    "copper wire of constant heat without loss, 10 mm of 1 mm², 2 kA for 10 ms: heat made",
    unit="J",
    expected=10.4084348175689594,
    relative=1e-6,
    source="(d c A l / alpha) (exp(rho0 alpha J² t / (d c)) - 1), mpmath, 25 digits",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _stored() -> float:
    copper = straight_copper()
    run = simulate(
        insulated_wire(copper, 1e-6),
        constant(2000.0, 0.01),
        ambient_c=20.0,
        tolerance=1e-7,
        cells=8,
    )
    return run.energy


def _pulse(name: str, length: float, rise: float) -> Case:
    @case(
        f"balance-pulse-in-{name}",
        f"200 A for 20 ms in the middle of 25 A for {length:g} s: peak rise of .02 J/K",
        unit="K",
        expected=rise,
        relative=2e-4,
        source="closed form of load and pulse with rising resistance, mpmath; tolerance 1e-4",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        middle = 0.5 * length
        record = Waveform(
            time=[0.0, middle, middle, middle + 0.02, middle + 0.02, length],
            current=[25.0, 25.0, 200.0, 200.0, 25.0, 25.0],
        )
        model = lump(capacity=0.02, loss=0.05, ohms=2e-3, slope=0.0039)
        run = simulate(model, record, ambient_c=20.0)
        if not math.isclose(run.i2t, record.i2t(), rel_tol=1e-10):
            return math.nan
        return run.peak_node_temperature_c["blade_left"] - 20.0

    return measured


ROWS = (
    _conserved("opens", "opened by 100 A"),
    _conserved("pulse-and-load", "160 A for 50 ms on 30 A"),
    _conserved("chopped", "120 A a tenth of the time"),
    _electrical("opens", "opened by 100 A"),
    _electrical("pulse-and-load", "160 A for 50 ms on 30 A"),
    _electrical("chopped", "120 A a tenth of the time"),
    _stored,
    _pulse("100s", 100.0, 127.456451402227964),
    _pulse("100h", 360e3, 127.456451402227964),
)
