"""Wires, lumps, pulse trains and the adiabatic limit against closed forms.

Source of every number unless said otherwise: closed form evaluated apart from this package
with mpmath at 25 to 30 digits.

A lump is a blade whose element weighs nothing, resists nothing and follows it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fusetherm import Element, FuseModel, Metal, Run, Waveform, metal, round_wire, simulate
from fusetherm.current.shapes import alternating, half_sine
from fusetherm.fuse.element import RoundSection
from fusetherm.fuse.model import Blade, Clip, Contact, Side, Surroundings
from fusetherm.physics.constants import SOMMERFELD_LORENZ
from fusetherm.physics.tables import Table
from fusetherm.solver.network import build_network
from fusetherm.solver.run import State
from fusetherm.solver.steady import minimum_fusing_current, steady_state

ZERO = 273.15
AMBIENT_C = 20.0
AMBIENT_K = AMBIENT_C + ZERO


def straight(start: float, slope: float = 0.0) -> Table:
    """Property that is a straight line about 293.15 K."""
    ends = (200.0, 3000.0)
    return Table(ends, tuple(start + slope * (t - 293.15) for t in ends), "of the reference")


def constant(current: float, duration: float) -> Waveform:
    return Waveform(time=[0.0, duration], current=[current, current])


# ---------------------------------------------------------------- lumps

_NOTHING: Metal = replace(
    metal("copper"),
    density=1e-3,
    resistivity_table=straight(1e-16),
    conductivity_table=straight(400.0),
    specific_heat_table=straight(385.0),
)


def lump(
    *, capacity: float, loss: float, ohms: float, slope: float = 0.0, melts_k: float = 1357.77
) -> FuseModel:
    element = Element(
        replace(_NOTHING, solidus_k=melts_k, liquidus_k=melts_k), (RoundSection(1e-3, 1e-3),)
    )
    blade = Blade(capacity, loss, ohms, slope)
    return FuseModel(element, None, Side(blade), Side(Blade(heat_capacity=1e-9)))


def ran(model: FuseModel, waveform: Waveform, tolerance: float = 1e-8) -> Run:
    return simulate(
        model, waveform, ambient_c=AMBIENT_C, integrator="rodas4", tolerance=tolerance, cells=8
    )


def rise(run: Run, node: str = "blade_left") -> float:
    return float(run.node_temperature_c[node][-1]) - AMBIENT_C


@pytest.mark.parametrize(
    ("time", "expected"),
    [(1.0, 4.846954974921937), (5.0, 21.470749684268657), (40.0, 73.4332001100881)],
)
def test_lump_under_constant_power(time: float, expected: float) -> None:
    model = lump(capacity=0.8, loss=0.05, ohms=1e-3)
    current = math.sqrt(4.0 / 1e-3)  # 4 W
    assert rise(ran(model, constant(current, time))) == pytest.approx(expected, rel=1e-6)


LUMP_OF_COPPER = {"capacity": 0.8, "loss": 0.05, "ohms": 2e-3, "slope": 0.0039}


@pytest.mark.parametrize(
    ("current", "expected"),
    [(40.0, 31.929417214813583), (80.0, 159.92002666000133), (100.0, 299.33396328089805)],
)
def test_lump_with_rising_resistance(current: float, expected: float) -> None:
    run = ran(lump(**LUMP_OF_COPPER), constant(current, 10.0))
    assert rise(run) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("current", "time"),
    [
        (65.0, 77.17736273756138),
        (math.sqrt(0.05 / (2e-3 * 0.0039)), 24.95999999889017),  # the runaway current itself
        (100.0, 12.705309178898448),
        (200.0, 2.556480990942602),
    ],
)
def test_time_to_400_k_of_the_lump_as_an_onset(current: float, time: float) -> None:
    model = lump(**LUMP_OF_COPPER, melts_k=AMBIENT_K + 400.0)
    run = ran(model, constant(current, 2.0 * time))
    assert run.onset_time == pytest.approx(time, rel=2e-6)


def test_least_current_that_brings_the_lump_to_400_k() -> None:
    model = lump(**LUMP_OF_COPPER, melts_k=AMBIENT_K + 400.0)
    found = minimum_fusing_current(model, ambient_c=AMBIENT_C, cells=8)
    assert found == pytest.approx(62.5, rel=1e-6)
    assert steady_state(model, 62.6, ambient_c=AMBIENT_C, cells=8) is None


@pytest.mark.parametrize(
    ("time", "expected"), [(5e-3, 62.29163735875304), (10e-3, 136.69291128618082)]
)
def test_lump_with_rising_resistance_under_a_half_sine(time: float, expected: float) -> None:
    model = lump(capacity=0.008, loss=0.05, ohms=2e-3, slope=0.0039)
    run = ran(model, half_sine(300.0, 10e-3).cut(0.0, time))
    assert rise(run) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(("frequency", "capacity", "cycles"), [(0.05, 0.8, 20), (50.0, 0.8e-3, 40)])
def test_amplitude_under_alternating_current(
    frequency: float, capacity: float, cycles: int
) -> None:
    # 4 (1 - cos wt) W with w twice that of the current, into .05 W/K: amplitude 7.91866737821208 K,
    # phase -1.471651 rad; a thousandth of the capacity at a thousand times the frequency is alike
    model = lump(capacity=capacity, loss=0.05, ohms=1e-3)
    wave = alternating(math.sqrt(4.0 / 1e-3), frequency, (cycles + 1) / frequency)
    low, high = (
        rise(ran(model, wave.cut(0.0, (cycles + phase / (4.0 * math.pi)) / frequency)))
        for phase in (1.471651, 1.471651 + math.pi)
    )
    assert 0.5 * (high - low) == pytest.approx(7.91866737821208, rel=1e-5)
    assert 0.5 * (high + low) == pytest.approx(80.0, rel=1e-5)


def test_pulse_train() -> None:
    # tau 16 s, period 10 s, on 3 s, full-on rise 100 K: 5 W into .8 J/K and .05 W/K
    model = lump(capacity=0.8, loss=0.05, ohms=1e-3)
    on = math.sqrt(5.0 / 1e-3)
    cycle = Waveform(time=[0.0, 3.0, 3.0, 10.0], current=[on, on, 0.0, 0.0])
    for pulses, expected in (
        (1, 17.097088181959965),
        (2, 26.248500025751003),
        (40, 36.7886145698552),
    ):
        wave = cycle if pulses == 1 else cycle.repeated(pulses)
        run = ran(model, wave)
        last = run.time >= (pulses - 1) * 10.0
        peak = float(np.max(run.node_temperature_c["blade_left"][last])) - AMBIENT_C
        assert peak == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("time", "first", "second"),
    [
        (0.1, 11.808969185830255, 0.0318826539289086),
        (10.0, 42.6906669416833, 12.924860025318068),
        (60.0, 76.276018354889, 46.34395551175515),
        (4000.0, 90.0, 60.0),
    ],
)
def test_two_lumps_in_a_row(time: float, first: float, second: float) -> None:
    # C1 .02, C2 2 J/K, .1 W/K between them, .05 W/K to ambient, 3 W into the first
    ohms = 1e-12
    contact = Contact(ohms, 0.1 * ohms / (SOMMERFELD_LORENZ * 320.0))
    left = Side(Blade(0.02, 0.0, 3e-3, 0.0), contact, Clip(2.0, 0.05))
    element = Element(_NOTHING, (RoundSection(1e-3, 1e-3),))
    model = FuseModel(element, None, left, Side(Blade(heat_capacity=1e-9)))
    run = ran(model, constant(math.sqrt(3.0 / 3e-3), time))
    assert rise(run, "blade_left") == pytest.approx(first, rel=2e-6)
    assert rise(run, "clip_left") == pytest.approx(second, rel=2e-6)


@pytest.mark.parametrize(
    ("end_k", "time"), [(600.0, 15.354411509458771), (400.0, 65.11666990510449)]
)
def test_cooling_by_radiation_alone(end_k: float, time: float) -> None:
    # .05 J/K, emissivity times area .8e-4 m2, from 1200 K in 300 K; sigma CODATA 2018
    diameter, length = 1e-3, 0.8e-4 / (math.pi * 1e-3)
    volume = math.pi * diameter**2 / 4.0 * length
    of = replace(_NOTHING, density=0.05 / (385.0 * volume))
    ends = Side(Blade(heat_capacity=1e-9))
    model = FuseModel(
        round_wire(of, diameter, length), None, ends, ends, Surroundings(emissivity=1.0)
    )
    network = build_network(model, ambient_k=300.0, cells=8)
    run = simulate(
        model, constant(0.0, time), ambient_c=300.0 - ZERO, start=State(network.state(1200.0), 8),
        integrator="rodas4", tolerance=1e-8, cells=8,
    )  # fmt: skip
    assert run.element_temperature_c[-1] + ZERO == pytest.approx(end_k, rel=2e-6)
    # nothing is made: the imbalance is measured against the stored heat alone
    assert run.conservation < 1e-9


# ---------------------------------------------------------------- the round wire

WIRE_METAL: Metal = replace(
    metal("copper"),
    density=8960.0,
    solidus_k=AMBIENT_K + 1060.0,
    liquidus_k=AMBIENT_K + 1060.0,
    resistivity_table=straight(1.72e-8, 1.72e-8 * 0.0039),
    conductivity_table=straight(385.0),
    specific_heat_table=straight(385.0),
)


def wire(half_length: float = 20e-3, film: float = 30.0) -> FuseModel:
    element = round_wire(WIRE_METAL, 0.5e-3, 2.0 * half_length)
    return FuseModel(element, surroundings=Surroundings(film_coefficient=film))


@pytest.mark.parametrize(
    ("current", "centre", "mean", "voltage"),
    [
        (15.0, 55.79935925183979, 37.10144223718628, 0.0601644332655981),
        (20.0, 115.36625983976987, 76.29313886667694, 0.090930668474743),
    ],
)
def test_steady_wire(current: float, centre: float, mean: float, voltage: float) -> None:
    steady = steady_state(wire(), current, ambient_c=AMBIENT_C)
    assert steady is not None
    assert steady.peak_temperature_c - AMBIENT_C == pytest.approx(centre, rel=1e-3)
    assert np.mean(steady.temperature_c) - AMBIENT_C == pytest.approx(mean, rel=1e-3)
    assert steady.element_voltage == pytest.approx(voltage, rel=1e-3)


@pytest.mark.parametrize(
    ("half_length", "current"),
    [(10e-3, 65.48164774526494), (20e-3, 33.931776260930285), (80e-3, 13.094893657856462)],
)
def test_minimum_fusing_current_of_the_wire(half_length: float, current: float) -> None:
    found = minimum_fusing_current(wire(half_length), ambient_c=AMBIENT_C)
    assert found == pytest.approx(current, rel=1e-3)


def test_very_long_wire_needs_the_current_of_the_infinite_one() -> None:
    # the ends still count for exp(-m l); at 1 m they are gone
    found = minimum_fusing_current(wire(1.0), ambient_c=AMBIENT_C, cells=256)
    assert found == pytest.approx(10.538924369748312, rel=1e-3)


@pytest.mark.parametrize(
    ("current", "time", "centre", "mean"),
    [
        (100.0, 0.01, 13.260081395026292, 12.730568081078973),
        (15.0, 0.1, 2.916316002470843, 2.5497159056535716),
        (15.0, 1.0, 25.62996843711179, 17.891383864013466),
        (15.0, 3.0, 47.48570296282011, 31.808804268791143),
        (20.0, 1.0, 47.48513873374915, 33.07152814828608),
        (20.0, 3.0, 93.04928290276372, 62.08571009011393),
        (30.0, 0.2, 24.176835202140662, 19.864634566838234),
        (30.0, 0.5, 62.02866037439147, 45.79354759829733),
    ],
)
def test_transient_of_the_wire(current: float, time: float, centre: float, mean: float) -> None:
    # twice the default cells: at 10 ms the ends reach 1 mm in, two cells of 64
    run = simulate(wire(), constant(current, time), ambient_c=AMBIENT_C, cells=128)
    assert run.element_temperature_c[-1] - AMBIENT_C == pytest.approx(centre, rel=1e-3)
    # it only rises, so the profile at its peak is that at the end
    assert np.mean(run.peak_profile_c) - AMBIENT_C == pytest.approx(mean, rel=1e-3)


@pytest.mark.parametrize(
    ("current", "time"),
    [(40.0, 3.7154727076653304), (50.0, 1.6765018120432769), (200.0, 0.08122501795486613)],
)
def test_melting_of_the_wire(current: float, time: float) -> None:
    run = simulate(wire(), constant(current, 2.0 * time), ambient_c=AMBIENT_C)
    assert run.onset_time == pytest.approx(time, rel=1e-3)


def test_no_melting_just_below_the_minimum_fusing_current() -> None:
    run = simulate(wire(), constant(33.8, 600.0), ambient_c=AMBIENT_C)
    assert run.onset_time is None
    assert run.peak_temperature_c < 1080.0


def test_wire_without_side_loss_and_slope() -> None:
    of = replace(WIRE_METAL, resistivity_table=straight(1.72e-8))
    model = FuseModel(round_wire(of, 0.5e-3, 40e-3))
    steady = steady_state(model, 10.0, ambient_c=AMBIENT_C, cells=64)
    assert steady is not None
    assert steady.peak_temperature_c - AMBIENT_C == pytest.approx(
        23.175970691633335 * (1.0 + 1.0 / 64**2), rel=1e-6
    )  # a uniform source lifts every centre by the parabola's error in an end cell, 1 / n²
    ratio = (np.mean(steady.temperature_c) - AMBIENT_C) / (steady.peak_temperature_c - AMBIENT_C)
    assert ratio == pytest.approx(2.0 / 3.0, rel=1e-3)
