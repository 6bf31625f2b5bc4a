"""Observed orders in mesh and time, balances, and the error estimate."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pytest

from fusetherm import Element, FuseModel, Metal, Run, Section, Waveform, metal, simulate
from fusetherm.current.shapes import chopped, half_sine
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side
from fusetherm.physics.tables import Table
from fusetherm.solver.steady import minimum_fusing_current

Floats = npt.NDArray[np.float64]

STRIP = (
    Section(4e-3, 3e-3, 0.3e-3),
    Section(2e-3, 1e-3, 0.3e-3),
    Section(4e-3, 3e-3, 0.3e-3),
)
ROUNDED = (STRIP[0], Section(2e-3, 3e-3, 0.3e-3, middle_width=1e-3), STRIP[2])
TERMINAL = Side(Blade(2.0, 0.15))


def feed(cable: float) -> Side:
    """Blade, contact, clip and cable of a 40 A fuse; the cable's section in mm²."""
    return Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(cable * 1e-6))


MODELS = {
    "stepped notch on terminals": FuseModel(
        Element(metal("zinc"), STRIP, spreading=False), Body(), TERMINAL, TERMINAL
    ),
    "rounded notch on terminals": FuseModel(
        Element(metal("zinc"), ROUNDED, spreading=False), Body(), TERMINAL, TERMINAL
    ),
    "stepped notch with clips and cables": FuseModel(
        Element(metal("zinc"), STRIP), Body(element_emissivity=0.1), feed(6.0), feed(6.0)
    ),
}


@lru_cache
def fusing_current(name: str) -> float:
    return minimum_fusing_current(MODELS[name], ambient_c=23.0, cells=512)


def constant(current: float, duration: float = 4000.0) -> Waveform:
    return Waveform(time=[0.0, duration], current=[current, current])


def orders(values: Floats) -> Floats:
    """Orders from differences of neighbours, each mesh twice as fine as the one before."""
    step = np.abs(np.diff(values))
    return np.log2(step[:-1] / step[1:])


# ---------------------------------------------------------------- mesh


@pytest.mark.parametrize("name", MODELS)
def test_fusing_current_in_the_mesh(name: str) -> None:
    values = [
        minimum_fusing_current(MODELS[name], ambient_c=23.0, cells=n) for n in (128, 256, 512, 1024)
    ]
    assert np.all(orders(np.array(values)) >= 1.9)


@pytest.mark.parametrize(
    ("name", "factor"), [(name, factor) for name in MODELS for factor in (1.03, 1.2)]
)
def test_onset_and_opening_in_the_mesh(name: str, factor: float) -> None:
    # order 2 down to 1.03 x the minimum fusing current; at 1.2 x the rounded notch opens while
    # its molten front is still fast, and the order of the opening drops to 1.7
    wave = constant(factor * fusing_current(name))
    onset, opening = [], []
    for cells in (64, 128, 256, 512):
        # the mesh leaves 3e-6 at last: the steps have to leave less
        run = simulate(
            MODELS[name], wave, ambient_c=23.0, cells=cells, integrator="rodas4", tolerance=1e-7
        )
        onset.append(run.onset_time)
        opening.append(run.pre_arcing_time)
    assert orders(np.array(onset, dtype=float))[-1] >= 1.9
    assert orders(np.array(opening, dtype=float))[-1] >= (1.9 if factor == 1.03 else 1.7)
    assert abs(opening[-1] / opening[-2] - 1.0) < 3e-4


@pytest.mark.parametrize("name", MODELS)
def test_error_estimate_at_1_2_times_the_fusing_current(name: str) -> None:
    run = simulate(MODELS[name], constant(1.2 * fusing_current(name)), ambient_c=23.0)
    estimate = run.error_estimate()
    assert estimate.pre_arcing_time is not None
    assert 0.0 < estimate.pre_arcing_time <= 2e-3


def test_error_estimate_covers_the_error() -> None:
    name = "stepped notch on terminals"
    wave = constant(1.2 * fusing_current(name))
    run = simulate(MODELS[name], wave, ambient_c=23.0)
    fine = simulate(MODELS[name], wave, ambient_c=23.0, cells=512, tolerance=1e-6)
    estimate = run.error_estimate()
    assert run.onset_time is not None
    assert fine.onset_time is not None
    error = abs(run.onset_time / fine.onset_time - 1.0)
    # order 2: the difference to the doubled mesh is three quarters of the error
    assert 0.7 * error < estimate.onset_time < 1.03 * error


# ---------------------------------------------------------------- balances


@pytest.mark.parametrize(
    "wave",
    [
        constant(52.0),
        constant(300.0),
        constant(30.0),
        half_sine(500.0, 20e-3),
        chopped(70.0, 0.5, 20e3, 50.0),
        Waveform(time=[0.0, 10.0, 10.0, 10.03, 10.03, 600.0], current=[25, 25, 125, 125, 25, 25]),
    ],
    ids=["near", "far", "below", "half sine", "chopped", "pulse on load"],
)
def test_heat_and_electrical_work_balance(wave: Waveform) -> None:
    run = simulate(MODELS["stepped notch with clips and cables"], wave, ambient_c=23.0)
    assert run.conservation <= 1e-9
    assert run.electrical_balance <= 1e-4
    end = run.duration
    # every segment of a block is exact; where a smooth one is cut by the opening, its parabola is
    exact = 1e-9 if run.opened else 1e-12
    assert run.i2t == pytest.approx(wave.i2t(0.0, end), rel=exact)


def test_conservation_while_cooling_under_a_moving_ambient() -> None:
    model = MODELS["stepped notch with clips and cables"]
    hot = simulate(model, constant(45.0, 600.0), ambient_c=23.0)
    run = simulate(
        model, constant(0.0, 3000.0), ambient_c=[(0.0, 23.0), (1000.0, 85.0), (2000.0, -20.0)],
        start=hot.final_state,
    )  # fmt: skip
    assert run.energy == 0.0
    assert run.conservation <= 1e-9
    assert run.node_temperature_c["body"][-1] == pytest.approx(-20.0, abs=1.0)


# ---------------------------------------------------------------- time

SMOOTH: Metal = replace(
    metal("zinc"),
    resistivity_table=Table((200.0, 1500.0), (3.7e-8, 3.58e-7), "smooth in the enthalpy"),
    conductivity_table=Table((200.0, 1500.0), (120.0, 67.0), "smooth in the enthalpy"),
    specific_heat_table=Table((293.15,), (390.0,), "smooth in the enthalpy"),
)
SMOOTH_FUSE = FuseModel(
    Element(SMOOTH, STRIP), Body(element_emissivity=0.3), feed(6.0), replace(feed(2.5))
)


def order_in_time(integrator: str, wave: Waveform, tolerances: Floats, cells: int = 32) -> float:
    """Slope of the error in the end state against the number of steps."""

    def ran(how: str, tolerance: float) -> Run:
        return simulate(
            SMOOTH_FUSE, wave, ambient_c=23.0, cells=cells, integrator=how, tolerance=tolerance
        )

    exact = ran("rodas4", 1e-12).final_state.u
    runs = [ran(integrator, t) for t in tolerances]
    error = [float(np.max(np.abs(r.final_state.u - exact))) for r in runs]
    steps = [r.steps for r in runs]
    return -float(np.polyfit(np.log(steps), np.log(error), 1)[0])


@pytest.mark.parametrize(
    ("integrator", "declared", "tightest", "cells"),
    [("rodas3", 3.0, -9.5, 32), ("rodas4", 4.0, -10.5, 8)],
)
def test_order_in_time_under_constant_current(
    integrator: str, declared: float, tightest: float, cells: int
) -> None:
    # radiation, rho(T) and k(T) in it; a metal whose laws are straight lines, for tables of
    # piecewise cubics carry no fourth order. On finer meshes the fast cells at the edges of the
    # notch leave rodas4 at 3.7 to 3.85, the order reduction of stiff systems (Hairer and Wanner,
    # IV.15, from memory; the figures are ours)
    tolerances = 10.0 ** np.arange(tightest + 2.0, tightest - 0.1, -0.5)
    observed = order_in_time(integrator, constant(100.0, 0.3), tolerances, cells)
    assert observed == pytest.approx(declared, abs=0.2)


def test_order_in_time_under_a_moving_current() -> None:
    ramp = Waveform(time=[0.0, 0.4], current=[20.0, 120.0])
    for wave in (ramp, half_sine(120.0, 0.5)):
        assert order_in_time("rodas3", wave, 10.0 ** np.arange(-5, -9.5, -0.5)) == pytest.approx(
            3.0, abs=0.15
        )


def test_error_follows_the_tolerance() -> None:
    wave = constant(90.0, 0.4)
    exact = simulate(SMOOTH_FUSE, wave, ambient_c=23.0, integrator="rodas4", tolerance=1e-11)
    for tolerance in (1e-3, 1e-4, 1e-5, 1e-6):
        run = simulate(SMOOTH_FUSE, wave, ambient_c=23.0, tolerance=tolerance)
        error = abs(run.peak_temperature_c - exact.peak_temperature_c)
        assert error < 300.0 * tolerance


# ---------------------------------------------------------------- what the cable does


def test_a_thinner_cable_lowers_the_fusing_current_and_leaves_short_times() -> None:
    def fuse(cable: float) -> FuseModel:
        element = Element(metal("zinc"), STRIP)
        return FuseModel(element, Body(), feed(cable), feed(cable))

    thick, thin = (minimum_fusing_current(fuse(a), ambient_c=23.0) for a in (10.0, 2.5))
    assert thin < 0.8 * thick
    times = [
        simulate(fuse(a), constant(100.0), ambient_c=23.0).pre_arcing_time for a in (10.0, 2.5)
    ]
    assert None not in times
    assert abs(times[1] / times[0] - 1.0) < 0.01


def test_200_currents_give_200_falling_times() -> None:
    name = "stepped notch with clips and cables"
    grid = np.linspace(1.05, 1.15, 200) * fusing_current(name)
    runs = [simulate(MODELS[name], constant(float(i)), ambient_c=23.0, cells=32) for i in grid]
    for times in ([r.pre_arcing_time for r in runs], [r.onset_time for r in runs]):
        assert None not in times
        fall = -np.diff(np.array(times, dtype=float))
        assert np.all(fall > 0.0)
        # no plateaus and no jumps either: neighbours differ smoothly
        assert np.all(np.abs(np.diff(fall)) < 0.2 * fall[:-1])
