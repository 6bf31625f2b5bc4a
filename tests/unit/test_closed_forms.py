"""physics/closed_forms.py: lumps, ripple, radiation, pulse trains, two nodes, one index."""

from __future__ import annotations

import doctest
import math

import pytest
from scipy.integrate import solve_ivp

from fusetherm.physics import closed_forms, diffusion, fins, kohlrausch, wire_laws
from fusetherm.physics.closed_forms import (
    lumped_action,
    lumped_joule,
    lumped_joule_current,
    lumped_joule_time,
    lumped_ripple,
    lumped_step,
    pulse_train_peak,
    radiation_cooling_time,
    two_node_step,
    two_node_time_constants,
)
from fusetherm.physics.constants import STEFAN_BOLTZMANN

LUMP = (0.8, 0.05, 2e-3, 3.9e-3)  # J/K, W/K, ohm, 1/K
RUNAWAY = math.sqrt(0.05 / (2e-3 * 3.9e-3))


def test_docstring_examples() -> None:
    tried = doctest.testmod(closed_forms)
    assert tried.attempted > 0
    assert tried.failed == 0


def test_everything_is_offered_in_one_place() -> None:
    offered = set(closed_forms.__all__)
    for part in (diffusion, fins, kohlrausch, wire_laws):
        assert set(part.__all__) <= offered
    assert all(hasattr(closed_forms, name) for name in offered)


@pytest.mark.parametrize("current", [40.0, RUNAWAY, 100.0])
def test_lumped_time_undoes_the_rise(current: float) -> None:
    rise = lumped_joule(7.0, current, *LUMP)
    assert lumped_joule_time(rise, current, *LUMP) == pytest.approx(7.0, rel=1e-9)


def test_lumped_without_coefficient_is_the_step() -> None:
    plain = (0.8, 0.05, 2e-3, 0.0)
    assert lumped_joule(9.0, 40.0, *plain) == pytest.approx(lumped_step(9.0, 3.2, 0.8, 0.05))


def test_lumped_minimum_current_is_the_edge_of_never() -> None:
    edge = lumped_joule_current(400.0, *LUMP[1:])
    assert math.isinf(lumped_joule_time(400.0, 0.999 * edge, *LUMP))
    assert math.isfinite(lumped_joule_time(400.0, 1.001 * edge, *LUMP))
    assert math.isinf(lumped_joule_time(400.0, 0.0, *LUMP))


def test_great_currents_are_adiabatic() -> None:
    action = lumped_action(400.0, 0.8, 2e-3, 3.9e-3)
    assert lumped_joule_time(400.0, 1e5, *LUMP) * 1e10 == pytest.approx(action, rel=1e-4)
    cold = lumped_action(400.0, 0.8, 2e-3, 0.0)
    assert cold == pytest.approx(0.8 * 400.0 / 2e-3)
    assert action < cold


def test_ripple_is_the_forced_part_of_the_response() -> None:
    amplitude, phase = lumped_ripple(4.0, 0.1, 0.8, 0.05)
    swing = 2 * math.pi * 0.1
    for t in (0.0, 1.3, 7.7):
        rise = amplitude * math.cos(swing * t + phase)
        rate = -amplitude * swing * math.sin(swing * t + phase)
        assert 0.8 * rate + 0.05 * rise == pytest.approx(4.0 * math.cos(swing * t), abs=1e-12)


def test_radiation_cooling_against_an_integration() -> None:
    emissive, capacity, ambient = 1e-4, 0.02, 320.0
    time = radiation_cooling_time(1100.0, 350.0, ambient, capacity, emissive)
    cooled = solve_ivp(
        lambda t, y: -emissive * STEFAN_BOLTZMANN / capacity * (y**4 - ambient**4),
        (0.0, time),
        [1100.0],
        rtol=1e-10,
        atol=1e-8,
    )
    assert cooled.y[0, -1] == pytest.approx(350.0, abs=1e-5)


def test_pulse_train_climbs_to_its_steady_peak() -> None:
    peaks = [pulse_train_peak(16.0, 10.0, 3.0, 100.0, n) for n in (1, 2, 5, 200)]
    assert peaks == sorted(peaks)
    assert peaks[0] == pytest.approx(100.0 * (1.0 - math.exp(-3.0 / 16.0)))
    assert peaks[-1] == pytest.approx(pulse_train_peak(16.0, 10.0, 3.0, 100.0), rel=1e-12)
    assert pulse_train_peak(16.0, 3.0, 3.0, 100.0) == pytest.approx(100.0)  # never off


def test_two_nodes_against_an_integration() -> None:
    c1, c2, g12, g2 = 0.4, 2.0, 0.1, 0.05

    def field(t: float, y: list[float]) -> list[float]:
        flow = g12 * (y[0] - y[1])
        return [(3.0 - flow) / c1, (flow - g2 * y[1]) / c2]

    reached = solve_ivp(field, (0.0, 17.0), [0.0, 0.0], rtol=1e-11, atol=1e-11).y[:, -1]
    assert two_node_step(17.0, 3.0, c1, c2, g12, g2) == pytest.approx(tuple(reached), rel=1e-8)
    assert two_node_step(0.0, 3.0, c1, c2, g12, g2) == pytest.approx((0.0, 0.0), abs=1e-11)
    short, long = two_node_time_constants(c1, c2, g12, g2)
    assert short < long
    assert 1.0 / short + 1.0 / long == pytest.approx(g12 / c1 + (g12 + g2) / c2)
