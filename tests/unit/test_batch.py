"""Runs side by side: each is the run that `simulate` makes, whatever runs beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from fusetherm.current.sampled import constant
from fusetherm.current.shapes import chopped, exponential_decay
from fusetherm.current.waveform import Waveform
from fusetherm.fuse.element import Element, Section, Spot, round_wire
from fusetherm.fuse.model import (
    Blade,
    Body,
    Cable,
    Clip,
    Contact,
    Filler,
    FuseModel,
    Side,
    Surroundings,
)
from fusetherm.packed import LANES
from fusetherm.physics.dissolution import SPOTS
from fusetherm.physics.metals import metal
from fusetherm.solver import batch
from fusetherm.solver.batch import SOUND, Scenario, fits_lanes, results_of, run_lanes, structure
from fusetherm.solver.kernels import advance as loop
from fusetherm.solver.network import build_network
from fusetherm.solver.pieces import piece_of
from fusetherm.solver.run import simulate, start_state
from fusetherm.solver.steady import minimum_fusing_current

CELLS = 24
STRIP = (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4))
SIDE = Side(Blade(0.4, 0.01, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
MODELS = {
    "strip with cables": FuseModel(
        Element(metal("zinc"), STRIP), Body(element_emissivity=0.3), SIDE, SIDE
    ),
    "bare strip": FuseModel(Element(metal("copper"), STRIP)),
    "wire in still air": FuseModel(
        round_wire(metal("silver"), 2e-4, 2e-2),
        surroundings=Surroundings(emissivity=0.1, natural_convection=True),
    ),
    "hot air at one side": FuseModel(
        Element(metal("zinc"), STRIP), Body(), SIDE,
        replace(SIDE, cable=Cable(2.5e-6, air_c=70.0, inside=0.3)),
    ),
}  # fmt: skip

Together = dict[str, tuple[list[Scenario], list[Waveform], float]]


def noisy(current: float) -> Waveform:
    time = np.linspace(0.0, 2.0, 400)
    level = np.where(time < 1.2, current, 0.4 * current)
    return Waveform(time=time, current=level * (1.0 + 0.05 * np.sin(977.0 * time)))


def falling(current: float) -> Waveform:
    """Noise on a load that falls, coarse enough that steps are as short as its samples."""
    noise = np.random.default_rng(8).normal(0.0, 0.15, 150)
    level = np.where(np.arange(150) < 80, current, 0.3 * current)
    return Waveform(time=2e-3 * np.arange(150), current=level * (1.0 + noise))


COURSES: dict[str, Callable[[float], Waveform]] = {
    "held": lambda i: constant(1.6 * i, 600.0),
    "just carried": lambda i: constant(0.99 * i, 600.0),
    "pulses": lambda i: Waveform(time=[0, 0.2, 0.2], current=[2.2 * i, 2.2 * i, 0.0]).repeated(
        9, period=1.0
    ),
    "chopped": lambda i: chopped(2.5 * i, 0.5, 20e3, 3.0),
    "decaying": lambda i: exponential_decay(6.0 * i, 0.3),
    "samples": lambda i: noisy(1.8 * i),
    "noise that falls": lambda i: falling(0.9 * i),
    "late": lambda i: Waveform(time=[0, 1e6, 1e6, 1e6 + 9], current=[0, 0, 2 * i, 2 * i]),
}


@pytest.fixture(scope="module")
def together() -> Together:
    """Per model: scenarios of every course at two ambients, warm and from cold."""
    made = {}
    for name, model in MODELS.items():
        top = minimum_fusing_current(model, ambient_c=40.0, cells=CELLS)
        network = build_network(model, ambient_k=313.15, cells=CELLS)
        scenarios, waves = [], []
        for begin in (None, 0.7 * top):
            start = start_state(network, begin, 313.15)
            for course in COURSES.values():
                wave = course(top)
                pieces = tuple(piece_of(block) for block in wave.blocks())
                scenarios.append(Scenario(network, pieces, 1.0, start, float(wave.duration)))
                waves.append(wave)
        made[name] = scenarios, waves, top
    return made


@pytest.mark.parametrize("name", MODELS)
def test_each_is_the_run_of_simulate(name: str, together: Together) -> None:
    scenarios, waves, top = together[name]
    done = run_lanes(scenarios, tolerance=1e-4)
    found = results_of(scenarios, done)
    opened = 0
    for i, wave in enumerate(waves):
        alone = simulate(
            MODELS[name], wave, ambient_c=40.0, cells=CELLS,
            start=None if i < len(COURSES) else 0.7 * top, jump=False,
        )  # fmt: skip
        assert done.outcome[i] in SOUND
        assert (done.outcome[i] == loop.PARTS) == alone.opened
        opened += alone.opened
        # the same steps but for rounding; steps over a chopped current end anywhere in its period,
        # which rounding decides: up to 1 K, half of PERIODIC_BOUND, of some 400 K to melting
        averaged = list(COURSES)[i % len(COURSES)] == "chopped"
        near, kelvins = (2.5e-3, 1.0) if averaged else (1e-7, 1e-3)
        for key in ("onset_time", "pre_arcing_time"):
            expected = getattr(alone, key)
            if expected is None:
                assert np.isnan(found[key][i])
            else:
                assert found[key][i] == pytest.approx(expected, rel=near)
        assert found["peak_temperature_c"][i] == pytest.approx(
            alone.peak_temperature_c, abs=kelvins
        )
        for key in ("i2t", "energy", "duration", "melting_share", "onset_share"):
            assert found[key][i] == pytest.approx(getattr(alone, key), rel=10.0 * near)
        assert found["conservation"][i] < 1e-9
    assert 2 <= opened < len(waves)


@pytest.mark.parametrize("name", ["strip with cables", "bare strip"])
def test_runs_to_the_onset_end_there(name: str, together: Together) -> None:
    scenarios, waves, _ = together[name]
    found = results_of(scenarios, run_lanes(scenarios, tolerance=1e-4))
    ended = run_lanes(scenarios, tolerance=1e-4, to_onset=True)
    short = results_of(scenarios, ended)
    melts = ~np.isnan(found["onset_time"])
    assert 2 <= melts.sum() < len(waves)
    assert np.array_equal(short["onset_time"], found["onset_time"], equal_nan=True)
    assert np.array_equal(ended.outcome == loop.MELTS, melts)
    assert np.isnan(short["pre_arcing_time"]).all()
    assert short["duration"][melts] == pytest.approx(short["onset_time"][melts], rel=1e-4)
    for i in np.flatnonzero(melts)[:2]:
        alone = simulate(MODELS[name], waves[i], ambient_c=40.0, cells=CELLS, jump=False,
                         to="onset")  # fmt: skip
        assert short["energy"][i] == pytest.approx(alone.energy, rel=1e-6)


def test_neighbours_change_no_bit(
    together: Together,
) -> None:
    scenarios = together["strip with cables"][0]
    whole = run_lanes(scenarios, tolerance=1e-3)
    order = np.random.default_rng(5).permutation(len(scenarios))
    mixed = run_lanes([scenarios[i] for i in order], tolerance=1e-3)
    assert np.array_equal(mixed.clock, whole.clock[order], equal_nan=True)
    assert np.array_equal(mixed.state, whole.state[order])
    for i in (0, 3, 11):
        alone = run_lanes([scenarios[i]], tolerance=1e-3)
        assert np.array_equal(alone.clock[0], whole.clock[i], equal_nan=True)
        assert np.array_equal(alone.counts[0], whole.counts[i])
    assert len(scenarios) > LANES


def test_networks_of_one_structure_run_side_by_side() -> None:
    model = MODELS["strip with cables"]
    thin = replace(
        model, element=Element(metal("zinc"), tuple(replace(s, thickness=2e-4) for s in STRIP))
    )
    pieces = tuple(piece_of(block) for block in constant(1.0, 30.0).blocks())
    scenarios = []
    for k in range(12):
        network = build_network(thin if k % 2 else model, ambient_k=250.0 + 9.0 * k, cells=CELLS)
        scenarios.append(
            Scenario(network, pieces, (90.0 + k) ** 2, network.state(250.0 + 9.0 * k), 30.0)
        )
    assert len({structure(s.network) for s in scenarios}) == 1
    found = results_of(scenarios, run_lanes(scenarios, tolerance=1e-4))
    for k in (0, 5, 11):
        alone = simulate(
            thin if k % 2 else model, constant(90.0 + k, 30.0),
            ambient_c=250.0 + 9.0 * k - 273.15, cells=CELLS,
        )  # fmt: skip
        assert found["pre_arcing_time"][k] == pytest.approx(alone.pre_arcing_time, rel=1e-6)


def test_structures_tell_networks_apart() -> None:
    networks = [build_network(model, ambient_k=300.0, cells=CELLS) for model in MODELS.values()]
    networks.append(build_network(MODELS["bare strip"], ambient_k=300.0, cells=CELLS + 8))
    assert len({structure(network) for network in networks}) == len(networks)
    spotted = Element(metal("silver"), STRIP, spot=Spot(1, SPOTS["silver"]))
    for model in (
        FuseModel(spotted, Body()),
        FuseModel(Element(metal("silver"), STRIP), Body(filler=Filler(bore=8e-3))),
    ):
        assert not fits_lanes(build_network(model, ambient_k=300.0, cells=CELLS))


def test_a_run_that_fails_leaves_its_lane_to_others(
    together: Together,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    scenarios = together["bare strip"][0]
    broken = replace_start(scenarios[0], np.full_like(scenarios[0].start, np.nan))
    mixed = [broken] * LANES + scenarios
    done = run_lanes(mixed, tolerance=1e-3)
    assert set(done.outcome[:LANES]) == {loop.NOT_FINITE}
    whole = run_lanes(scenarios, tolerance=1e-3)
    assert np.array_equal(done.clock[LANES:], whole.clock, equal_nan=True)
    assert batch.SOUND == (loop.BLOCK_DONE, loop.PARTS, loop.MELTS)


def replace_start(scenario: Scenario, start: np.ndarray) -> Scenario:
    return Scenario(
        scenario.network, scenario.pieces, scenario.squared_scale, start, scenario.until
    )
