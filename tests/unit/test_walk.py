"""Long repeats: jumped over and simulated in full, the answers are equal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fusetherm.current.blocks import Block
from fusetherm.current.sampled import constant
from fusetherm.current.trains import LONG_TRAIN, Train, cycle_at, trains
from fusetherm.current.waveform import Waveform
from fusetherm.fuse.element import Element, Section, Spot
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Filler, FuseModel, Side
from fusetherm.physics.dissolution import SPOTS
from fusetherm.physics.metals import metal
from fusetherm.solver.cycle_map import CycleMap, inverted, jacobian, product
from fusetherm.solver.integrate import Ambient, assembled, scratch_of
from fusetherm.solver.kernels.assemble import F0, OHMS, G
from fusetherm.solver.network import build_network
from fusetherm.solver.pieces import prepared
from fusetherm.solver.run import Run, simulate
from fusetherm.solver.steady import minimum_fusing_current
from fusetherm.solver.walk import Walk

_SIDE = Side(Blade(0.4, 0.01, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
FUSE = FuseModel(
    Element(
        metal("zinc"),
        (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4)),
    ),
    Body(element_emissivity=0.3, blade_conductance=0.02),
    _SIDE,
    _SIDE,
)
SPOTTED = FuseModel(
    Element(
        metal("silver"),
        (Section(4e-3, 1e-3, 1e-4), Section(2e-3, 1e-3, 1e-4), Section(4e-3, 1e-3, 1e-4)),
        spot=Spot(1, SPOTS["silver"]),
    ),
    Body(),
    _SIDE,
    _SIDE,
)
SANDED = replace(SPOTTED, body=Body(filler=Filler(bore=8e-3)))
SMALLEST = minimum_fusing_current(FUSE, ambient_c=60.0)


def pulses(share: float, on: float, period: float, count: int) -> Waveform:
    """Rectangles of a share of the minimum fusing current."""
    level = share * SMALLEST
    once = Waveform(time=[0.0, on, on], current=[level, level, 0.0])
    return once.repeated(count, period=period)


def both(wave: Waveform, model: FuseModel = FUSE, **asked: object) -> tuple[Run, Run]:
    asked = {"ambient_c": 60.0, "cells": 32} | asked
    return (
        simulate(model, wave, **asked),  # type: ignore[arg-type]
        simulate(model, wave, jump=False, **asked),  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("model", [FUSE, SPOTTED, SANDED], ids=["plain", "spot", "sand"])
def test_jacobian_against_differences(model: FuseModel) -> None:
    net = build_network(model, ambient_k=333.15, cells=8)
    z = scratch_of(net, 1)
    rng = np.random.default_rng(3)
    u = net.state(480.0) + rng.uniform(0.0, 90.0, net.size)

    def rate(x: np.ndarray) -> np.ndarray:
        assembled(net, np.ascontiguousarray(x[:-1]), float(x[-2]), z)
        made = 900.0 * float(z.work[0, OHMS].sum())
        return np.append(z.work[0, F0] + 900.0 * z.work[0, G], [0.0, made])

    x = np.append(u, [333.15, 0.0])
    ours = jacobian(net, z, u, 333.15, 900.0)
    for i in range(len(x)):
        step = np.zeros(len(x))
        step[i] = 1e-3
        column = (rate(x + step) - rate(x - step)) / 2e-3
        assert ours[:-1, i] == pytest.approx(
            column[:-1], rel=1e-4, abs=1e-6 * np.abs(ours[:-1]).max()
        )
        assert ours[-1, i] == pytest.approx(column[-1], rel=1e-4, abs=1e-6 * ours[-1].max())


def test_matrices_in_strips() -> None:
    rng = np.random.default_rng(0)
    a, b = rng.normal(size=(2, 150, 150))
    assert np.allclose(product(a, b), a @ b, atol=1e-12)
    dominant = 200.0 * np.eye(150) + a
    assert np.allclose(inverted(dominant) @ dominant, np.eye(150), atol=1e-12)


def test_powers_and_sums_of_a_map() -> None:
    matrix = np.array([[0.9, 0.05], [0.0, 0.5]])
    v = np.array([1.0, 2.0])
    of = CycleMap(matrix)
    x, total = v.copy(), np.zeros(2)
    for m in range(40):
        assert of.power(m, v) == pytest.approx(x, rel=1e-12)
        assert of.sum(m, v) == pytest.approx(total, rel=1e-12)
        total, x = total + x, matrix @ x


@pytest.mark.parametrize(
    ("share", "on", "period"),
    [(0.9, 1.0, 3.0), (1.2, 2.0, 20.0), (0.6, 0.2, 0.4), (1.0, 0.5, 0.6)],
)
def test_a_thousand_cycles_as_in_full(share: float, on: float, period: float) -> None:
    jumped, full = both(pulses(share, on, period, 1000))
    assert full.jumped == 0
    assert jumped.jumped > 850
    assert jumped.peak_temperature_c == pytest.approx(full.peak_temperature_c, abs=0.1)
    assert jumped.final_state.u == pytest.approx(full.final_state.u, abs=0.1)
    for name, peak in full.peak_node_temperature_c.items():
        assert jumped.peak_node_temperature_c[name] == pytest.approx(peak, abs=0.1)
    assert jumped.energy == pytest.approx(full.energy, rel=2e-5)
    assert jumped.i2t == pytest.approx(full.i2t, rel=1e-12)
    assert jumped.conservation < 1e-9
    assert jumped.electrical_balance < 2.0 * full.electrical_balance


def test_slow_drift_is_followed_and_not_frozen() -> None:
    # the cables follow in minutes, the train lasts ten: the end is no steady train yet
    jumped, full = both(pulses(1.0, 0.5, 0.75, 800))
    assert (
        full.node_temperature_c["cable_left"][-1]
        - full.node_temperature_c["cable_left"][len(full.time) // 2]
        > 0.5
    )
    assert jumped.jumped > 600
    for name, values in full.node_temperature_c.items():
        at = np.interp(full.time, jumped.time, jumped.node_temperature_c[name])
        simulated = np.isin(full.time, jumped.time)
        assert jumped.node_temperature_c[name][-1] == pytest.approx(values[-1], abs=0.05)
        assert at[simulated] == pytest.approx(values[simulated], abs=0.1)


@pytest.mark.parametrize(
    ("share", "on", "period"), [(1.25, 1.0, 1.3), (1.6, 1.0, 2.0), (1.12, 2.0, 2.2)]
)
def test_opening_at_a_late_repeat_gives_its_number_and_time(
    share: float, on: float, period: float
) -> None:
    wave = pulses(share, on, period, 100_000)
    jumped, full = both(wave)
    assert full.opened
    assert jumped.opened
    assert jumped.pre_arcing_time is not None
    assert full.pre_arcing_time is not None
    late, early = cycle_at(wave, jumped.pre_arcing_time), cycle_at(wave, full.pre_arcing_time)
    assert late == early
    assert jumped.pre_arcing_time == pytest.approx(full.pre_arcing_time, rel=1e-4)
    assert jumped.onset_time == pytest.approx(full.onset_time, rel=1e-4)
    note = next(note for note in jumped.notes if note.code == "opens-in-cycle")
    assert late is not None
    assert f"cycle {late[0]} of 100 000" in note.text


def test_ambient_that_moves_during_the_train() -> None:
    day = [(0.0, 20.0), (600.0, 20.0), (1800.0, 60.0), (2400.0, 30.0)]
    jumped, full = both(pulses(0.9, 1.0, 3.0, 1000), ambient_c=day)
    assert jumped.jumped > 700
    assert jumped.final_state.u == pytest.approx(full.final_state.u, abs=0.1)
    assert jumped.peak_temperature_c == pytest.approx(full.peak_temperature_c, abs=0.2)
    assert jumped.energy == pytest.approx(full.energy, rel=2e-5)


def test_a_spot_dissolves_from_cycle_to_cycle() -> None:
    # it reacts below the melting point, gains resistance, and parts in the end
    wave = Waveform(time=[0.0, 1.0, 1.0], current=[48.0, 48.0, 0.0]).repeated(4000, period=5.0)
    jumped, full = both(wave, SPOTTED, ambient_c=23.0)
    assert jumped.jumped > 50
    assert full.pre_arcing_time is not None
    assert full.pre_arcing_time > 500.0
    assert jumped.pre_arcing_time == pytest.approx(full.pre_arcing_time, rel=2e-3)


def test_trains_inside_a_train() -> None:
    # sixty points a pulse, so that an hour is too long for one table
    t = np.linspace(0.0, 1.0, 60)
    pulse = Waveform(time=t, current=1.3 * SMALLEST * np.sin(np.pi * t))
    hour = pulse.repeated(100, period=3.0).then(constant(0.0, 300.0))
    assert any(isinstance(item, Train) for item in trains(hour.repeated(70)))
    jumped, full = both(hour.repeated(70))
    assert jumped.jumped > 60
    assert jumped.steps < full.steps / 8
    assert jumped.peak_temperature_c == pytest.approx(full.peak_temperature_c, abs=0.1)
    assert jumped.final_state.u == pytest.approx(full.final_state.u, abs=0.1)
    assert jumped.energy == pytest.approx(full.energy, rel=1e-4)


def test_what_a_train_tells_the_one_around_it() -> None:
    # samples of the outer map cover the inner train, cycles leapt over included
    net = build_network(FUSE, ambient_k=333.15, cells=16)
    air = Ambient(np.zeros(1), np.array([333.15]))
    wave = pulses(0.9, 1.0, 3.0, 200)
    (item,) = trains(wave)
    walk = Walk(net, net.state(333.15), air, wave.duration, 1e-4, "rodas3", None)
    walk.samples = []
    walk.through(prepared(item, net, False), 0.0)
    assert walk.jumped > 150
    assert sum(s.duration for s in walk.samples) == pytest.approx(wave.duration)
    assert sum(s.action for s in walk.samples) == pytest.approx(wave.i2t())


def test_a_run_that_ends_inside_the_train() -> None:
    jumped, full = both(pulses(0.9, 1.0, 3.0, 1000), until=1000.5)
    assert jumped.duration == full.duration == pytest.approx(1000.5)
    assert jumped.final_state.u == pytest.approx(full.final_state.u, abs=0.1)


def test_a_million_cycles_take_few_steps() -> None:
    wave = pulses(0.9, 1.0, 3.0, 10**6)
    run = simulate(FUSE, wave, ambient_c=60.0, cells=32)
    ten = simulate(FUSE, pulses(0.9, 1.0, 3.0, 10), ambient_c=60.0, cells=32)
    assert run.steps < 4 * ten.steps
    assert run.jumped > 999_900
    assert len(run.time) < 4 * len(ten.time)


def test_blocks_of_trains_cover_the_record() -> None:
    cycle = pulses(1.0, 0.1, 0.2, 3000).then(constant(3.0, 5.0))
    wave = constant(1.0, 2.0).then(cycle.repeated(80)).then(constant(2.0, 7.0))
    items = list(trains(wave))
    assert [type(item) for item in items] == [Block, Train, Block]
    assert [item.start for item in items] == pytest.approx([0.0, 2.0, 2.0 + 80 * 605.0])
    short = cycle.repeated(LONG_TRAIN - 1)
    assert all(isinstance(item, Block) for item in trains(short))
    assert cycle_at(wave, 2.0 + 3.5 * 605.0) == (4, 80)
    assert cycle_at(wave, 1.0) is None
