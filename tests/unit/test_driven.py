"""A source drives the current: the closed form of a cold loop, a coupled system of a lump."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fusetherm.conductor.circuit import Circuit
from fusetherm.conductor.insulation import insulation
from fusetherm.conductor.wire import Wire
from fusetherm.errors import InputError
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.metals import metal
from fusetherm.solver.driven import Drive, simulate_driven

COPPER = metal("copper")
DIAMETER, LENGTH = 2e-4, 0.1
WIRE = FuseModel(element=round_wire(COPPER, DIAMETER, LENGTH), name="a wire")
AREA = 0.25 * math.pi * DIAMETER**2


def test_a_cold_loop_follows_the_closed_form() -> None:
    # textbook: i = V/R [1 - exp(-t R/L)]; a volt warms the wire by a few millikelvin
    drive = Drive(voltage=0.5, resistance=1.0, inductance=1e-3)
    run = simulate_driven(WIRE, drive, 5e-3, ambient_c=20.0)
    whole = 1.0 + WIRE.element.cold_resistance()
    at = np.linspace(0.0, 5e-3, 101)
    exact = 0.5 / whole * (1.0 - np.exp(-at * whole / 1e-3))
    found = run.question.waveform.current(at)
    assert np.abs(found - exact).max() < 3e-4 * exact.max()


@pytest.mark.parametrize("inductance", [0.0, 5e-6])
def test_a_hot_fuse_in_the_loop_against_the_coupled_system(inductance: float) -> None:
    # half a millisecond: the held ends reach .25 mm of 100 mm, so the wire is one lump; the
    # coupled system of current and temperature goes to scipy's Radau
    drive = Drive(voltage=30.0, resistance=0.05, inductance=inductance)
    span, start = 5e-4, 293.15

    def ohms(kelvin: float) -> float:
        return float(COPPER.resistivity(kelvin)) * LENGTH / AREA

    def rates(_: float, y: np.ndarray) -> list[float]:
        hot = float(y[1])
        amps = float(y[0]) if inductance else 30.0 / (0.05 + ohms(hot))
        heat = COPPER.density * float(COPPER.specific_heat(hot)) * AREA * LENGTH
        fall = (30.0 - (0.05 + ohms(hot)) * amps) / inductance if inductance else 0.0
        return [fall, amps**2 * ohms(hot) / heat]

    exact = solve_ivp(rates, (0.0, span), [0.0, start], method="Radau", rtol=1e-8, atol=1e-8,
                      dense_output=True)  # fmt: skip
    run = simulate_driven(WIRE, drive, span, ambient_c=20.0)
    final = float(exact.y[1, -1])
    assert final > start + 150.0  # the fuse is hot, and most of the loop
    assert run.peak_temperature_c + 273.15 == pytest.approx(final, abs=0.01 * (final - start))
    amps = exact.y[0, -1] if inductance else 30.0 / (0.05 + ohms(final))
    assert run.question.waveform.current(np.array([span]))[0] == pytest.approx(amps, rel=5e-3)


def test_a_motor_that_starts_takes_less_and_less() -> None:
    drive = Drive(voltage=12.0, resistance=2.0, back_emf=((0.0, 0.0), (0.5, 10.0)))
    run = simulate_driven(WIRE, drive, 1.0)
    early, late = run.question.waveform.current(np.array([0.0, 1.0]))
    assert early == pytest.approx(12.0 / (2.0 + WIRE.element.cold_resistance()), rel=0.01)
    assert late == pytest.approx(2.0 / (2.0 + WIRE.element.cold_resistance()), rel=0.01)


def test_a_short_at_the_far_end_begins_at_its_current() -> None:
    wire = Wire(section=2.5e-6, insulation=insulation("pvc-70"), bundle=1)
    boat = Circuit(strongest_voltage=13.0, strongest_resistance=0.01, weakest_voltage=10.5,
                   weakest_resistance=0.05, length=8.0)  # fmt: skip
    cold = WIRE.element.cold_resistance()
    run = simulate_driven(WIRE, boat.far_end_drive(wire, 20.0), 1e-4, ambient_c=20.0)
    first = float(run.question.waveform.current(np.array([0.0]))[0])
    assert first == pytest.approx(boat.far_end_current(wire, 20.0, cold), rel=1e-3)


def test_a_softer_source_drives_less_heat() -> None:
    hard, soft = (
        simulate_driven(WIRE, Drive(voltage=12.0, resistance=r), 5e-3) for r in (1.0, 1.5)
    )
    assert hard.peak_temperature_c > soft.peak_temperature_c


@pytest.mark.parametrize(
    ("more", "code"),
    [({"voltage": 0.0}, "not-positive"), ({"inductance": -1.0}, "not-positive"),
     ({"back_emf": ((1.0, 0.0), (0.5, 1.0))}, "time-not-increasing"),
     ({"back_emf": ((math.nan, 0.0),)}, "not-finite"),
     ({"back_emf": ((0.0, math.inf),)}, "not-finite")],
)  # fmt: skip
def test_what_is_no_source_is_refused(more: dict[str, object], code: str) -> None:
    with pytest.raises(InputError) as refusal:
        Drive(**({"voltage": 12.0, "resistance": 1.0} | more))  # type: ignore[arg-type]
    assert refusal.value.code == code
