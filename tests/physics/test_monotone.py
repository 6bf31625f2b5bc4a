"""Monotone on fine grids: more current, heat or time never melts later, and no two times alike.

A solver that reports the ends of its steps gives plateaus of equal times; one whose step
control jumps gives saw teeth. Neither shows on a coarse grid.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

import fusetherm as ft
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side
from fusetherm.solver.integrate import Ambient, ConstantBlock, integrate
from fusetherm.solver.network import Network, build_network

Floats = npt.NDArray[np.float64]
POINTS, CELLS, AMBIENT_C = 2000, 32, 23.0

_SIDE = Side(Blade(0.4, 0.01), Contact(0.3e-3), Clip(), Cable(6e-6))
_SECTIONS = (
    ft.Section(6e-3, 3e-3, 3e-4),
    ft.Section(2e-3, 1e-3, 3e-4),
    ft.Section(6e-3, 3e-3, 3e-4),
)
MODEL = ft.FuseModel(ft.Element(ft.metal("zinc"), _SECTIONS), Body(), _SIDE, _SIDE)


@pytest.fixture(scope="module")
def least() -> float:
    return ft.minimum_fusing_current(MODEL, ambient_c=AMBIENT_C, cells=CELLS)


def network_at(ambient_c: float) -> Network:
    return build_network(MODEL, ambient_k=ambient_c + 273.15, cells=CELLS)


def times(network: Network, current: float, start: Floats | None = None) -> tuple[float, float]:
    """Onset and pre-arcing time at a constant current [s]."""
    ambient = Ambient(np.array([0.0]), np.array([network.ambient_k]))
    solution = integrate(
        network,
        iter((ConstantBlock(current**2, 1e5, 0.0),)),
        network.state(network.ambient_k) if start is None else start,
        ambient,
        until=1e5,
        tolerance=1e-4,
        integrator="rodas3",
    )
    assert solution.onset_time is not None
    assert solution.parted_time is not None
    return solution.onset_time, solution.parted_time


def assert_falling(table: Floats) -> None:
    for column in table.T:
        assert np.diff(column).max() < 0.0


@pytest.mark.parametrize(("low", "high"), [(1.02, 30.0), (1.2, 1.24), (4.0, 4.2)])
def test_more_current_opens_sooner(least: float, low: float, high: float) -> None:
    network = network_at(AMBIENT_C)
    currents = least * np.geomspace(low, high, POINTS)
    assert_falling(np.array([times(network, float(i)) for i in currents]))


@pytest.mark.parametrize("factor", [1.3, 4.0])
def test_a_warmer_ambient_opens_sooner(least: float, factor: float) -> None:
    ambients = np.linspace(-40.0, 125.0, POINTS)
    assert_falling(np.array([times(network_at(float(a)), factor * least) for a in ambients]))


@pytest.mark.parametrize("factor", [1.3, 4.0])
def test_more_load_before_opens_sooner(least: float, factor: float) -> None:
    network = network_at(AMBIENT_C)
    loads = least * np.linspace(5e-3, 0.95, POINTS)
    starts = [ft.steady_state(MODEL, float(i), ambient_c=AMBIENT_C, cells=CELLS) for i in loads]
    table = [times(network, factor * least, s.state) for s in starts if s is not None]
    assert len(table) == len(loads)
    assert_falling(np.array(table))


@pytest.mark.parametrize("factor", [1.3, 4.0])
def test_a_longer_pulse_comes_nearer(least: float, factor: float) -> None:
    whole, _ = times(network_at(AMBIENT_C), factor * least)
    current = [factor * least] * 2
    shares = [
        ft.simulate(MODEL, ft.Waveform(time=[0.0, t], current=current), cells=CELLS).onset_share
        for t in np.linspace(0.01, 1.0, POINTS) * whole
    ]
    assert np.diff(shares).min() > 0.0
