"""Steady states and the branch to the melting point."""

from __future__ import annotations

import numpy as np
import pytest

from fusetherm import Element, FuseModel, InputError, Section, SolveError, metal, round_wire
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side, Surroundings
from fusetherm.solver.network import build_network
from fusetherm.solver.steady import branch_of, cells_for, minimum_fusing_current, steady_state

_SIDE = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
FUSE = FuseModel(
    Element(
        metal("zinc"),
        (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4)),
    ),
    Body(),
    _SIDE,
    _SIDE,
)


def test_steady_state_of_a_whole_fuse() -> None:
    steady = steady_state(FUSE, 30.0, ambient_c=23.0)
    assert steady is not None
    assert (steady.current, steady.ambient_c) == (30.0, pytest.approx(23.0))
    t = steady.node_temperature_c
    assert steady.peak_temperature_c > t["blade_left"] > t["clip_left"] > t["cable_left"] > 23.0
    assert t["blade_left"] == pytest.approx(t["blade_right"], abs=1e-6)
    assert steady.peak_position == pytest.approx(5e-3, abs=1e-6)
    assert np.max(steady.temperature_c) <= steady.peak_temperature_c
    assert 30.0 * FUSE.element.cold_resistance() < steady.element_voltage


def test_sign_of_the_current_does_not_matter() -> None:
    plus, minus = (steady_state(FUSE, i, ambient_c=23.0) for i in (30.0, -30.0))
    assert plus is not None
    assert minus is not None
    assert minus.peak_temperature_c == plus.peak_temperature_c
    assert minus.element_voltage == plus.element_voltage


def test_without_current_all_is_at_ambient() -> None:
    steady = steady_state(FUSE, 0.0, ambient_c=40.0)
    assert steady is not None
    assert steady.temperature_c == pytest.approx(40.0, abs=1e-8)
    assert steady.element_voltage == 0.0


def test_just_below_and_above_the_minimum_fusing_current() -> None:
    current = minimum_fusing_current(FUSE, ambient_c=23.0)
    below = steady_state(FUSE, current * (1.0 - 1e-6), ambient_c=23.0)
    assert below is not None
    assert below.peak_temperature_c == pytest.approx(metal("zinc").solidus_k - 273.15, abs=0.05)
    assert steady_state(FUSE, current * (1.0 + 1e-6), ambient_c=23.0) is None


def test_runaway_below_the_melting_point_has_a_largest_current() -> None:
    # k falls and rho rises so steeply that the branch turns back before it melts: a long wire
    # in air whose resistance doubles faster than its loss
    wire = FuseModel(
        round_wire(metal("nickel"), 0.5e-3, 0.5), surroundings=Surroundings(film_coefficient=10.0)
    )
    network = build_network(wire, ambient_k=296.15, cells=64)
    branch = branch_of(network, 296.15)
    top = branch.largest
    assert top >= branch.squares.max() * (1.0 - 1e-9)
    if np.argmax(branch.squares) < len(branch.squares) - 1:
        assert top <= branch.squares.max() * 1.05
    assert np.all(np.diff(branch.targets) > 0.0)
    assert steady_state(wire, 1.001 * top**0.5, ambient_c=23.0) is None
    assert steady_state(wire, 0.99 * top**0.5, ambient_c=23.0) is not None


def test_ambient_and_losses_move_the_fusing_current_the_right_way() -> None:
    currents = [minimum_fusing_current(FUSE, ambient_c=c) for c in (-40.0, 23.0, 85.0)]
    assert currents == sorted(currents, reverse=True)


def test_refuses_a_current_that_is_no_number() -> None:
    for bad in (float("nan"), float("inf")):
        with pytest.raises(InputError, match="current"):
            steady_state(FUSE, bad, ambient_c=23.0)


def test_no_branch_where_nothing_carries_heat_away() -> None:
    ends = Side(Blade(0.1, 0.0))
    closed = FuseModel(round_wire(metal("copper"), 0.3e-3, 20e-3), None, ends, ends)
    with pytest.raises(SolveError, match="conductance"):
        minimum_fusing_current(closed, ambient_c=23.0)


def test_cells_are_doubled_where_the_mesh_would_tell() -> None:
    zinc = metal("zinc")

    def strip(notch: float) -> FuseModel:
        rest = Section(0.5 * (16e-3 - notch), 3e-3, 3e-4)
        element = Element(zinc, (rest, Section(notch, 1e-3, 3e-4), rest))
        blade = Side(Blade(0.4, 0.03))
        return FuseModel(element, Body(), blade, blade)

    assert cells_for(strip(2e-3)) == 64
    wire = FuseModel(round_wire(metal("copper"), 0.3e-3, 20e-3))
    wanted = cells_for(wire)
    assert wanted > 64
    fine = minimum_fusing_current(wire, cells=1024)
    assert minimum_fusing_current(wire) == pytest.approx(fine, rel=1.5e-4)
    assert minimum_fusing_current(wire, cells=64) != pytest.approx(fine, rel=1e-4)


def test_cells_of_a_model_without_a_steady_branch_are_the_usual() -> None:
    alone = Side(Blade(0.4))
    model = FuseModel(round_wire(metal("copper"), 0.3e-3, 20e-3), left=alone, right=alone)
    assert cells_for(model) == 64
