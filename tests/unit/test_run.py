"""`simulate`: starts, ends, ambient, results and notes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fusetherm import (
    Element,
    FuseModel,
    InputError,
    Section,
    Waveform,
    metal,
    minimum_fusing_current,
    simulate,
    steady_state,
)
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side
from fusetherm.solver.batch import Scenario, run_lanes
from fusetherm.solver.integrate import Ambient, integrate
from fusetherm.solver.kernels import advance as loop
from fusetherm.solver.network import build_network
from fusetherm.solver.pieces import piece_of
from fusetherm.solver.run import State

_SIDE = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6, cells=4))
FUSE = FuseModel(
    Element(
        metal("zinc"),
        (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4)),
    ),
    Body(),
    _SIDE,
    _SIDE,
    name="feed",
)
TOP = minimum_fusing_current(FUSE, ambient_c=23.0)
MELTS_C = metal("zinc").solidus_k - 273.15


def constant(current: float, duration: float) -> Waveform:
    return Waveform(time=[0.0, duration], current=[current] * 2)


def codes(run: object) -> set[str]:
    return {note.code for note in run.notes}  # type: ignore[attr-defined]


def test_a_run_that_opens() -> None:
    run = simulate(FUSE, constant(100.0, 60.0), ambient_c=23.0)
    assert run.opened
    assert 0.0 < run.onset_time < run.pre_arcing_time < 60.0
    assert run.duration == run.pre_arcing_time == run.time[-1]
    assert run.peak_temperature_c >= MELTS_C
    assert run.melting_share > 0.99
    assert run.i2t == pytest.approx(1e4 * run.pre_arcing_time, rel=1e-12)
    assert run.name == "feed"
    assert run.current == pytest.approx(100.0, rel=1e-6)
    assert run.element_voltage[-1] > run.element_voltage[0] > 0.0
    assert "partly-melted" not in codes(run)


def test_a_run_that_does_not() -> None:
    run = simulate(FUSE, constant(30.0, 20.0), ambient_c=23.0)
    assert (run.opened, run.onset_time, run.pre_arcing_time) == (False, None, None)
    assert run.duration == 20.0
    assert run.peak_time == 20.0
    assert run.peak_position == pytest.approx(5e-3, abs=1e-5)
    assert 0.0 < run.melting_share < 0.5
    assert len(run.position) == len(run.peak_profile_c) == 64
    assert max(run.peak_profile_c) == pytest.approx(run.peak_temperature_c, abs=0.5)
    assert set(run.node_temperature_c) == set(run.peak_node_temperature_c)
    assert run.peak_node_temperature_c["body"] == max(run.node_temperature_c["body"])


def test_a_run_that_melts_and_does_not_part_says_so() -> None:
    opening = simulate(FUSE, constant(100.0, 60.0), ambient_c=23.0)
    between = 0.5 * (opening.onset_time + opening.pre_arcing_time)
    run = simulate(FUSE, constant(100.0, between), ambient_c=23.0, until=between + 1.0)
    assert run.onset_time == pytest.approx(opening.onset_time, rel=1e-6)
    assert not run.opened
    assert "partly-melted" in codes(run)


@pytest.mark.parametrize("integrator", ["rodas3", "rodas4", "LSODA"])
@pytest.mark.parametrize("current", [1.1 * TOP, 100.0, 400.0])
def test_a_run_to_the_onset_ends_there(integrator: str, current: float) -> None:
    wave = constant(current, 600.0)
    whole = simulate(FUSE, wave, ambient_c=23.0, integrator=integrator, tolerance=1e-5)
    run = simulate(FUSE, wave, ambient_c=23.0, integrator=integrator, tolerance=1e-5, to="onset")
    assert run.onset_time == pytest.approx(whole.onset_time, rel=1e-9)
    # the last step may end behind the onset by a thousandth of itself
    assert run.duration == pytest.approx(run.onset_time, rel=1e-4)
    assert (run.opened, run.pre_arcing_time) == (False, None)
    assert run.onset_share == pytest.approx(1.0, abs=1e-4)
    assert run.peak_temperature_c == pytest.approx(MELTS_C, abs=0.05)
    assert run.i2t == pytest.approx(current**2 * run.duration, rel=1e-9)
    assert run.conservation < 1e-9
    assert run.final_state.melted
    assert codes(run) == {"ended-at-onset"}
    assert run.steps < 0.5 * whole.steps
    # from there it goes on to the same opening
    rest = simulate(FUSE, wave, ambient_c=23.0, start=run.final_state, tolerance=1e-5)
    assert run.duration + rest.pre_arcing_time == pytest.approx(whole.pre_arcing_time, rel=1e-3)


def test_a_run_to_an_onset_that_never_comes() -> None:
    run = simulate(FUSE, constant(30.0, 20.0), ambient_c=23.0, to="onset")
    plain = simulate(FUSE, constant(30.0, 20.0), ambient_c=23.0)
    assert run.duration == 20.0
    assert np.array_equal(run.time, plain.time)
    assert codes(run) == set()
    pulses = constant(60.0, 0.5).repeated(500, period=1.0)
    melts = simulate(FUSE, pulses, ambient_c=23.0, to="onset")
    assert melts.onset_time == simulate(FUSE, pulses, ambient_c=23.0).onset_time


def test_a_run_to_the_onset_needs_a_solid_start() -> None:
    wave = constant(100.0, 60.0)
    molten = simulate(FUSE, wave, ambient_c=23.0, to="onset").final_state
    with pytest.raises(InputError, match="start-molten"):
        simulate(FUSE, wave, ambient_c=23.0, start=molten, to="onset")


def test_a_start_that_melts_goes_on_melting() -> None:
    # the hottest point between cells has melted, the cells have not: no step may pass for solid
    wave = constant(100.0, 60.0)
    for tolerance in (1e-2, 1e-3):
        first = simulate(FUSE, wave, ambient_c=23.0, cells=13, tolerance=1e-6, to="onset")
        run = simulate(
            FUSE, wave, ambient_c=23.0, cells=13, tolerance=tolerance, start=first.final_state
        )
        fine = simulate(
            FUSE, wave, ambient_c=23.0, cells=13, tolerance=1e-7, start=first.final_state
        )
        assert run.pre_arcing_time == pytest.approx(fine.pre_arcing_time, rel=20 * tolerance)


def test_an_onset_late_in_a_long_record_is_not_stepped_over_as_solid() -> None:
    # ten digits behind the start of the block a step cannot be cut at the onset any more
    late = Waveform(time=[0.0, 1e6, 1e6, 1e6 + 0.2], current=[0.0, 0.0, 1000.0, 1000.0])
    soon = simulate(FUSE, constant(1000.0, 0.2), ambient_c=23.0, cells=12, tolerance=1e-6)
    run = simulate(FUSE, late, ambient_c=23.0, cells=12)
    assert run.pre_arcing_time - 1e6 == pytest.approx(soon.pre_arcing_time, rel=1e-3)
    assert run.onset_time - 1e6 == pytest.approx(soon.onset_time, rel=1e-3)


@pytest.mark.parametrize("tolerance", [1e-2, 1e-3, 1e-4])
@pytest.mark.parametrize("rest", [10.0, 1e4])
def test_no_step_damps_a_metal_that_runs_away(rest: float, tolerance: float) -> None:
    # after a rest steps are long; within one a current can grow by orders what an L-stable method
    # with that step damps away, with a small error: such steps fail
    network = build_network(FUSE, ambient_k=296.15, cells=10)
    scenarios, opens = [], []
    for current in np.geomspace(110.0, 1e5, 13).tolist():
        wave = Waveform(time=[0.0, rest, rest, rest + 0.5], current=[0.0, 0.0, current, current])
        run = simulate(FUSE, wave, ambient_c=23.0, cells=10, tolerance=tolerance)
        opens.append(run.opened)
        pieces = tuple(piece_of(block) for block in wave.blocks())
        scenarios.append(Scenario(network, pieces, 1.0, network.state(296.15), rest + 0.5))
    assert all(opens)
    done = run_lanes(scenarios, tolerance=tolerance)
    assert set(done.outcome.tolist()) == {loop.PARTS}


@pytest.mark.parametrize(("begin", "current"), [(1e4, 1183.0), (1e5, 1000.0), (1e7, 700.0)])
def test_a_run_to_an_onset_late_in_a_long_record_ends_there(begin: float, current: float) -> None:
    wave = Waveform(time=[0.0, begin, begin, begin + 0.5], current=[0.0, 0.0, current, current])
    for tolerance in (1e-2, 1e-3, 1e-4):
        run = simulate(FUSE, wave, ambient_c=23.0, cells=10, tolerance=tolerance, to="onset")
        assert run.onset_time - run.duration == pytest.approx(0.0, abs=2e-10 * begin + 1e-5)
        whole = simulate(FUSE, wave, ambient_c=23.0, cells=10, tolerance=tolerance)
        assert run.onset_time == pytest.approx(whole.onset_time, abs=1e-9 * begin)


@pytest.mark.parametrize("integrator", ["rodas3", "LSODA"])
def test_a_molten_start_melts_at_once(integrator: str) -> None:
    wave = constant(100.0, 2.0)
    molten = simulate(FUSE, wave, ambient_c=23.0, cells=10, to="onset").final_state
    run = simulate(FUSE, wave, ambient_c=23.0, cells=10, start=molten, integrator=integrator)
    assert run.onset_time == pytest.approx(0.0, abs=1e-9)
    assert run.opened


@pytest.mark.parametrize("integrator", ["rodas3", "LSODA"])
def test_no_current_is_no_run(integrator: str) -> None:
    network = build_network(FUSE, ambient_k=296.15, cells=10)
    cold, still = network.state(296.15), Ambient(np.array([0.0]), np.array([296.15]))
    with pytest.raises(InputError, match="waveform-without-duration"):
        integrate(network, iter(()), cold, still, until=1.0, tolerance=1e-4, integrator=integrator)


@pytest.mark.parametrize("share", [0.995, 1.0005, 1.002, 1.005, 1.02])
def test_a_peak_between_steps_that_melts_is_an_onset(share: float) -> None:
    time = np.linspace(0.0, 0.02, 41)
    wave = Waveform(time=time, current=347.0 * share * np.sin(np.pi * time / 0.02))
    run = simulate(FUSE, wave, ambient_c=23.0, cells=10)
    fine = simulate(FUSE, wave, ambient_c=23.0, cells=10, tolerance=1e-7, integrator="rodas4")
    assert (run.onset_share > 1.0 + 1e-3) <= (run.onset_time is not None)
    if abs(fine.onset_share - 1.0) > 2e-3:
        assert (run.onset_time is None) == (fine.onset_time is None)


def test_the_trace_begins_with_the_current_at_its_start() -> None:
    ramp = Waveform(time=[0.0, 1.0], current=[2.0, 20.0])
    for integrator in ("rodas3", "LSODA"):
        run = simulate(FUSE, ramp, ambient_c=23.0, cells=10, integrator=integrator)
        assert run.current[0] == pytest.approx(2.0)
        assert np.all(np.diff(run.current) > 0.0)


def test_the_peak_of_noise_is_found_between_steps() -> None:
    # noise on a load near melting: its peak by steps so short that nothing is averaged away
    noise = np.random.default_rng(4).normal(0.0, 0.05, 4001)
    time = np.linspace(0.0, 4.0, 4001)
    level = np.where(time < 3.0, 0.95 * TOP, 0.2 * TOP)
    wave = Waveform(time=time, current=level * (1.0 + noise))
    fine = simulate(FUSE, wave, ambient_c=23.0, tolerance=1e-7)
    run = simulate(FUSE, wave, ambient_c=23.0)
    assert fine.steps > 4000 > 8 * run.steps
    assert run.peak_temperature_c == pytest.approx(fine.peak_temperature_c, abs=0.06)
    ends = float(run.element_temperature_c.max())
    assert ends < run.peak_temperature_c


@pytest.mark.parametrize("current", [1.1 * TOP, 100.0, 400.0])
def test_few_steps_fail_at_the_onset(current: float) -> None:
    # nothing bends within a step until the onset is found on it: one step is taken back
    run = simulate(FUSE, constant(current, 600.0), ambient_c=23.0, to="onset")
    assert run.rejected <= 4
    assert run.steps <= 50


def test_start_from_a_steady_current_adds_nothing_to_the_waveform() -> None:
    run = simulate(FUSE, constant(0.0, 1.0), ambient_c=23.0, start=30.0)
    steady = steady_state(FUSE, 30.0, ambient_c=23.0)
    assert run.element_temperature_c[0] == pytest.approx(steady.peak_temperature_c, abs=1e-6)
    assert run.energy == 0.0
    assert run.element_temperature_c[-1] < run.element_temperature_c[0]
    with pytest.raises(InputError, match="no steady state"):
        simulate(FUSE, constant(0.0, 1.0), ambient_c=23.0, start=1.1 * TOP)


def test_start_from_a_state_of_the_same_network_only() -> None:
    first = simulate(FUSE, constant(60.0, 2.0), ambient_c=23.0)
    whole = simulate(FUSE, constant(60.0, 4.0), ambient_c=23.0)
    second = simulate(FUSE, constant(60.0, 2.0), ambient_c=23.0, start=first.final_state)
    assert second.peak_temperature_c == pytest.approx(whole.peak_temperature_c, abs=0.05)
    with pytest.raises(InputError, match="the network"):
        simulate(FUSE, constant(1.0, 1.0), ambient_c=23.0, start=first.final_state, cells=32)
    with pytest.raises(InputError):
        simulate(FUSE, constant(1.0, 1.0), ambient_c=23.0, start=State(np.zeros(3), 64))


def test_after_the_waveform() -> None:
    wave = constant(1.3 * TOP, 0.1)
    zero = simulate(FUSE, wave, ambient_c=23.0)
    assert (zero.duration, zero.opened) == (0.1, False)
    longer = simulate(FUSE, wave, ambient_c=23.0, until=5.0)
    assert longer.duration == 5.0
    assert longer.current[-1] == 0.0
    held = simulate(FUSE, wave, ambient_c=23.0, after="hold")
    assert held.opened
    rest = simulate(FUSE, constant(0.9 * TOP, 0.1), ambient_c=23.0, after="hold")
    assert not rest.opened
    assert "steady-state-exists" in codes(rest)


def test_until_cuts_the_waveform() -> None:
    run = simulate(FUSE, constant(30.0, 100.0), ambient_c=23.0, until=3.0)
    assert run.duration == 3.0
    assert run.i2t == pytest.approx(2700.0, rel=1e-12)


def test_ambient_that_moves() -> None:
    run = simulate(FUSE, constant(0.0, 4e4), ambient_c=[(0.0, 20.0), (1e4, 60.0)])
    assert run.ambient_c == pytest.approx(20.0)
    assert run.element_temperature_c[-1] == pytest.approx(60.0, abs=0.5)
    for bad in ([], [(0.0, 20.0), (0.0, 30.0)], [(5.0, 20.0), (1.0, 30.0)]):
        with pytest.raises(InputError, match="ambient"):
            simulate(FUSE, constant(1.0, 1.0), ambient_c=bad)


def test_error_estimate_counts_what_happened_twice() -> None:
    opens = simulate(FUSE, constant(100.0, 60.0), ambient_c=23.0).error_estimate()
    assert 0.0 < opens.onset_time < 2e-3
    assert 0.0 < opens.pre_arcing_time < 2e-3
    stays = simulate(FUSE, constant(30.0, 20.0), ambient_c=23.0).error_estimate()
    assert (stays.onset_time, stays.pre_arcing_time) == (None, None)
    assert 0.0 <= stays.peak_temperature < 0.5


def test_dataset_has_traces_and_nodes() -> None:
    run = simulate(FUSE, constant(30.0, 20.0), ambient_c=23.0)
    data = run.to_xarray()
    assert data["element_temperature_c"].dims == ("time",)
    assert data["element_temperature_c"].attrs["units"] == "degC"
    assert data["blade_left_temperature_c"].attrs["long_name"] == "temperature of blade left"
    assert float(data["blade_left_temperature_c"][-1]) == run.node_temperature_c["blade_left"][-1]


@pytest.mark.parametrize("until", [0.0, -1.0, math.nan, math.inf])
def test_refuses_an_end_that_is_none(until: float) -> None:
    with pytest.raises(InputError, match="until"):
        simulate(FUSE, constant(1.0, 1.0), ambient_c=23.0, until=until)


def test_refuses_unknown_words() -> None:
    with pytest.raises(InputError, match="after"):
        simulate(FUSE, constant(1.0, 1.0), ambient_c=23.0, after="keep")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="to is 'melt'"):
        simulate(FUSE, constant(1.0, 1.0), ambient_c=23.0, to="melt")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="integrator"):
        simulate(FUSE, constant(1.0, 1.0), ambient_c=23.0, integrator="euler")
