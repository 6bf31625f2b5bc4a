"""Hottest point, molten length, bridges and event times."""

from __future__ import annotations

import numpy as np
import pytest

from fusetherm import Element, FuseModel, Section, Waveform, metal, simulate
from fusetherm.solver.integrate import setting_of
from fusetherm.solver.kernels.events import (
    BRIDGED,
    ONSET,
    PARTED,
    between,
    bridged,
    event_share,
    event_value,
    events_inside,
    hot_spot,
    hottest,
    liquid_in_front,
    molten_length,
    onset_excess,
    parted,
)
from fusetherm.solver.kernels.layout import POSITION, U_BOILING, U_LIQUIDUS, U_SOLIDUS
from fusetherm.solver.network import Network, build_network

UNEVEN = np.array([0.0, 1.0, 2.5, 3.0, 5.0])


@pytest.fixture(scope="module")
def net() -> Network:
    sections = (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4))
    model = FuseModel(Element(metal("zinc"), sections, break_length=1e-3))
    return build_network(model, ambient_k=296.15, cells=16)


def test_hottest_is_the_vertex_of_a_parabola() -> None:
    u = 10.0 - 2.0 * (UNEVEN - 2.2) ** 2
    cell, top, place = hottest(u, 0, 4, UNEVEN)
    assert (cell, top, place) == (2, pytest.approx(10.0), pytest.approx(2.2))


def test_hottest_at_an_end_and_on_a_plateau() -> None:
    assert hottest(UNEVEN.copy(), 0, 4, UNEVEN) == (4, 5.0, 5.0)
    assert hottest(np.full(5, 3.0), 0, 4, UNEVEN)[1] == 3.0


def test_hottest_stays_among_the_element() -> None:
    u = np.array([99.0, 1.0, 2.0, 1.5, 99.0])
    assert hottest(u, 1, 3, UNEVEN)[0] == 2


def test_molten_length_is_that_of_the_liquid(net: Network) -> None:
    scalars, span = net.metal.scalars, (net.first, net.last)
    solid, liquid = scalars[U_SOLIDUS], scalars[U_LIQUIDUS]
    cells = net.first + np.flatnonzero(net.mesh.section == 1)
    lengths = net.mesh.length[cells - net.first]
    u = net.state(296.15)
    assert molten_length(u, *span, int(cells[2]), net.arrays) == 0.0
    u[:] = solid
    u[cells[1:4]] = liquid + 1.0
    whole = lengths[1:4].sum()
    assert molten_length(u, *span, int(cells[2]), net.arrays) == pytest.approx(whole, rel=1e-9)
    # beside metal at the melting point, a cell half way through the latent heat is half liquid
    u[cells[4]] = 0.5 * (solid + liquid)
    assert molten_length(u, *span, int(cells[2]), net.arrays) == pytest.approx(
        whole + 0.5 * lengths[4], rel=1e-9
    )
    u[:] = liquid + 1.0
    assert molten_length(u, *span, int(cells[2]), net.arrays) == pytest.approx(10e-3, rel=1e-9)


def test_molten_length_does_not_jump_when_a_cell_fills(net: Network) -> None:
    """Mush nearly liquid ahead of the front, whose own mean says that some of it is liquid."""
    scalars, span = net.metal.scalars, (net.first, net.last)
    solid, liquid = scalars[U_SOLIDUS], scalars[U_LIQUIDUS]
    cells = net.first + np.flatnonzero(net.mesh.section == 1)
    u = np.full_like(net.state(296.15), solid)
    u[cells[1:4]] = liquid + 1.0
    u[cells[5]] = 0.5 * (solid + liquid)
    found = []
    for off in (-1e-7, 1e-7):
        u[cells[4]] = liquid + off
        found.append(molten_length(u, *span, int(cells[2]), net.arrays))
    lengths = net.mesh.length[cells - net.first]
    assert found[0] == pytest.approx(found[1], rel=1e-6)
    assert found[1] == pytest.approx(lengths[1:5].sum() + 0.5 * lengths[5], rel=1e-6)


def test_onset_and_parting(net: Network) -> None:
    scalars = net.metal.scalars
    span = (net.first, net.last)
    u = net.state(296.15)
    assert onset_excess(u, *span, net.arrays) < 0.0
    assert parted(u, *span, net.arrays, 1e-3) == pytest.approx(-1.0)
    u[:] = scalars[U_SOLIDUS]
    assert onset_excess(u, *span, net.arrays) == pytest.approx(0.0)
    u[:] = scalars[U_LIQUIDUS] + 1.0
    assert parted(u, *span, net.arrays, 1e-3) > 0.0
    assert parted(u, *span, net.arrays, 1.0) < 0.0
    u[:] = scalars[U_BOILING] + 1.0
    assert parted(u, *span, net.arrays, 1.0) > 0.0


def test_bridge_is_molten_from_edge_to_edge(net: Network) -> None:
    scalars = net.metal.scalars
    narrow = net.first + np.flatnonzero(net.mesh.section == 1)
    u = net.state(296.15)
    u[narrow] = scalars[U_LIQUIDUS] + 5.0
    assert bridged(u, net.first, net.last, net.arrays, 1) == pytest.approx(5.0)
    u[narrow[0]] -= 3.0  # falling towards the edge: half a cell further on it is frozen
    assert bridged(u, net.first, net.last, net.arrays, 1) == pytest.approx(0.5)
    u[narrow[0]] -= 1.0
    assert bridged(u, net.first, net.last, net.arrays, 1) < 0.0
    assert bridged(u, net.first, net.last, net.arrays, 0) < -1e29


def test_event_share_finds_a_cubic_crossing(net: Network) -> None:
    cold, hot = net.state(296.15), net.state(296.15)
    rise = net.metal.scalars[U_SOLIDUS] - cold[net.first]
    hot += 2.0 * rise
    rate, none = np.full_like(cold, 2.0 * rise), np.zeros_like(cold)
    out = np.zeros_like(cold)
    both = (net.arrays, setting_of(net, 1e-4))
    share = event_share(ONSET, 1.0, cold, rate, hot, rate, *both, out)
    assert share == pytest.approx(0.5, abs=1e-12)
    # a rate of zero at both ends: smoothstep, still half way by symmetry; an early start is not
    assert event_share(ONSET, 1.0, cold, none, hot, none, *both, out) == pytest.approx(0.5)
    early = event_share(ONSET, 1.0, cold, 2.0 * rate, hot, none, *both, out)
    between(early, 1.0, cold, 2.0 * rate, hot, none, out)
    assert early < 0.4
    assert event_value(ONSET, out, *both) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("peaks", [False, True])
def test_no_step_is_cut_where_the_state_cannot_follow(peaks: bool, net: Network) -> None:
    # .5 mK/s and a last digit below the melting point, late in a short period: a step cut at the
    # crossing changed no digit of the state, and the run stood still
    dt, rate = 5e-10, 5e-4
    before = np.full(net.size, np.nextafter(net.metal.scalars[U_SOLIDUS], 0.0))
    after = before if peaks else np.nextafter(before, np.inf)
    rising, ending = np.full(net.size, rate), np.full(net.size, -rate if peaks else rate)
    out, times = np.zeros(net.size), np.full(3, np.nan)
    bent, _, share = events_inside(
        dt, 288.0, 0.01, before, rising, after, ending, net.arrays, setting_of(net, 1e-4), 1.0,
        times, out,
    )  # fmt: skip
    assert (bent, share) == (not peaks, 1.0)
    assert np.isnan(times[0]) == peaks
    if not peaks:
        assert times[0] == pytest.approx(288.0, abs=dt)


def test_a_state_that_cools_first_is_cut_at_its_crossing(net: Network) -> None:
    # it begins as near to the melting point, and comes back to it much later
    solidus = net.metal.scalars[U_SOLIDUS]
    before, after = np.full(net.size, solidus - 5e-10), np.full(net.size, solidus + 20.0)
    cooling, ending = np.full(net.size, -0.5), np.full(net.size, 1.0)
    out, times = np.zeros(net.size), np.full(3, np.nan)
    bent, _, share = events_inside(
        60.0, 0.0, 0.01, before, cooling, after, ending, net.arrays, setting_of(net, 1e-4), 1.0,
        times, out,
    )  # fmt: skip
    assert bent
    assert 0.1 < share < 0.999
    assert np.isnan(times[0])


def test_events_are_told_apart(net: Network) -> None:
    u = net.state(296.15)
    values = [
        event_value(e, u, net.arrays, setting_of(net, 1e-4)) for e in (ONSET, PARTED, BRIDGED)
    ]
    assert values[0] == onset_excess(u, net.first, net.last, net.arrays)
    assert values[1] == parted(u, net.first, net.last, net.arrays, 1e-3)
    assert values[2] == bridged(u, net.first, net.last, net.arrays, 1)
    assert max(values) < 0.0


def test_no_parabola_across_latent_heat(net: Network) -> None:
    solid, liquid = net.metal.scalars[U_SOLIDUS], net.metal.scalars[U_LIQUIDUS]
    u = np.full(net.size, solid - 50.0)
    cell = (net.first + net.last) // 2
    u[cell] = liquid + 30.0
    assert hottest(u, net.first, net.last, net.arrays.node[POSITION])[1] >= u[cell]
    assert hot_spot(u, net.first, net.last, net.arrays)[:2] == (cell, u[cell])
    u[cell - 1 : cell + 2] = liquid + np.array([20.0, 30.0, 25.0])  # all liquid: the vertex
    assert hot_spot(u, net.first, net.last, net.arrays)[1] > u[cell]


def test_trace_does_not_fall_while_the_current_holds() -> None:
    sections = (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4))
    model = FuseModel(Element(metal("zinc"), sections, break_length=1.9e-3))
    run = simulate(model, Waveform(time=[0, 10], current=[130, 130]), cells=24)
    assert run.pre_arcing_time is not None
    assert np.diff(run.element_temperature_c).min() > -0.5


@pytest.mark.parametrize("rise", [0.0, 1e5])
def test_a_mush_that_is_liquid_leaves_no_front(rise: float) -> None:
    """The limit of a mush that comes up to the liquid, not a jump to nothing."""
    short, length = 1e-3, 1e-4
    nearly = liquid_in_front(900.0, 1000.0 - short, rise, 1000.0, length)
    assert 0.0 <= nearly <= length
    assert liquid_in_front(1000.0, 1000.0 - short, rise, 1000.0, length) == pytest.approx(length)
    assert liquid_in_front(1000.0, 1000.0, rise, 1000.0, length) == length
