"""The holder: its time constant against simulated step responses, windows, what is missing."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fusetherm.answers.holder import (
    Check,
    Site,
    lasting_current,
    terminal_time_constant,
    unlimited,
)
from fusetherm.current.sampled import constant
from fusetherm.fuse.element import Element, Section
from fusetherm.fuse.model import HELD, Blade, Body, Cable, Clip, Contact, FuseModel, Side
from fusetherm.physics.metals import metal
from fusetherm.solver.run import simulate
from fusetherm.solver.steady import minimum_fusing_current, steady_state

# the terminal's time constant ------------------------------------------------------------------


def response(model: Any, current: float) -> tuple[Any, Any]:
    """Time, and how much of the blade's steady rise is still to come."""
    steady = steady_state(model, current, ambient_c=23.0)
    assert steady is not None
    last = steady.node_temperature_c["blade_left"]
    run = simulate(model, constant(current, 2e4), ambient_c=23.0, tolerance=1e-5)
    return run.time, (last - run.node_temperature_c["blade_left"]) / (last - 23.0)


@pytest.mark.parametrize("section_mm2", [1.0, 6.0, 50.0])
def test_time_constant_against_the_step_response(published: Any, section_mm2: float) -> None:
    """Mean response within 1.5, late exponential within 2.5: the cable's own comes last.

    Where the cable is thin the element's heat dominates and the end may come a little sooner.
    """
    sides = [
        replace(side, cable=Cable(section_mm2 * 1e-6, length=1.0))
        for side in (published.truth.left, published.truth.right)
    ]
    model = replace(published.truth, left=sides[0], right=sides[1])
    constant_s = terminal_time_constant(model)
    time, left = response(model, 0.4 * minimum_fusing_current(model))
    mean = float(np.trapezoid(np.maximum(left, 0.0), time))
    assert 0.98 < mean / constant_s < 1.5  # the cable's cells draw up to 1 % too little
    late = (left < 0.1) & (left > 0.01)
    slow = -1.0 / float(np.polyfit(time[late], np.log(left[late]), 1)[0])
    assert 0.9 < slow / constant_s < 2.5
    # by one constant, more than half of the steady rise has been made
    assert 0.5 < 1.0 - float(np.interp(constant_s, time, left)) < 0.75


def test_time_constant_is_exact_where_the_network_is_linear() -> None:
    """Heat set free in the blade alone: area over its step response, node by node."""
    cable = Cable(2.5e-6, length=0.6)
    side = Side(Blade(0.3, to_ambient=0.002), Contact(2e-3), Clip(0.8, 0.004), cable)
    model = FuseModel(Element(metal("zinc"), [Section(1e-2, 2e-3, 2e-4)]), left=side, right=side)
    n = 1000
    dx = cable.length / n
    conduct, loss = 391.0 * cable.section / dx, cable.loss_per_length * dx
    matrix = np.zeros((n + 2, n + 2))
    matrix[0, 0] += 0.002
    matrix[1, 1] += 0.004
    for i in range(n):
        matrix[i + 2, i + 2] += loss
    through = [side.contact.conductance, 2.0 * conduct, *[conduct] * (n - 1)]  # type: ignore[union-attr]
    for i, g in enumerate(through):
        matrix[i : i + 2, i : i + 2] += g * np.array([[1.0, -1.0], [-1.0, 1.0]])
    heat = np.array([0.3, 0.8, *[cable.heat_capacity_per_length * dx] * n])
    rise = np.linalg.solve(matrix, np.eye(n + 2)[0])
    area = float(rise @ (heat * rise)) / rise[0]
    assert terminal_time_constant(model) == pytest.approx(area, rel=1e-4)


def test_time_constant_of_parts_alone() -> None:
    element = Element(metal("zinc"), [Section(1e-2, 2e-3, 2e-4)])
    assert terminal_time_constant(FuseModel(element)) == 0.0
    bodied = FuseModel(element, body=Body(0.5, 0.01))
    assert terminal_time_constant(bodied) == pytest.approx(50.0)
    blade = Side(Blade(0.4, to_ambient=0.02))
    assert terminal_time_constant(FuseModel(element, left=blade, right=HELD)) == pytest.approx(20.0)
    lumped = Side(Blade(0.4), Contact(1e-9), Clip(1.0, 0.01))  # a contact that is none
    assert terminal_time_constant(FuseModel(element, left=blade, right=lumped)) == pytest.approx(
        140.0, rel=1e-6
    )


# limits ----------------------------------------------------------------------------------------


def test_unlimited_parts_are_named_with_their_keys() -> None:
    checks = tuple(Check(part, 30.0, None) for part in ("blade", "clip", "cable"))
    note = unlimited(checks, "definition")
    assert note is not None
    assert note.code == "limits-missing"
    for word in ("blade, clip, cable insulation", "blade_C, clip_C, cable_insulation_C"):
        assert word in note.text
    assert unlimited((Check("blade", 30.0, 90.0),), "definition") is None
    assert unlimited((), "definition") is None


# loads that last ---------------------------------------------------------------------------------


def test_lasting_current_finds_the_heaviest_window() -> None:
    wave = constant(1.0, 1000.0).then(constant(20.0, 100.0)).then(constant(1.0, 1000.0))
    assert lasting_current(wave, 60.0) == pytest.approx(20.0)
    # a window longer than the load sees a quarter more of the rest at most
    spread = math.sqrt((100.0 * 400.0 + 100.0) / 200.0)
    assert lasting_current(wave, 200.0) == pytest.approx(spread, rel=1e-6)
    assert lasting_current(wave, 2101.0) == 0.0
    assert lasting_current(wave, 2100.0) == pytest.approx(wave.rms)
    assert lasting_current(wave, 0.0) == 0.0


def test_lasting_current_of_pulses_is_their_mean_heat() -> None:
    train = constant(10.0, 1.0).then(constant(0.0, 3.0)).repeated(1000)
    assert lasting_current(train, 400.0) == pytest.approx(5.0, rel=1e-6)


def test_lasting_current_of_every_window_of_a_ragged_record() -> None:
    rng = np.random.default_rng(3)
    wave = constant(0.1, 1.0)
    for current, seconds in zip(20.0 * rng.random(60), 5.0 + 50.0 * rng.random(60), strict=True):
        wave = wave.then(constant(float(current), float(seconds)))
    window = 80.0
    count = math.ceil(4 * (wave.duration - window) / window)
    found = [wave.i2t(a, a + window) for a in np.linspace(0.0, wave.duration - window, count + 1)]
    assert lasting_current(wave, window) == pytest.approx(math.sqrt(max(found) / window), rel=1e-9)


def test_ten_minutes_a_day_are_found_in_a_year() -> None:
    day = constant(5.0, 30_000.0).then(constant(33.0, 600.0)).then(constant(5.0, 55_800.0))
    assert lasting_current(day.repeated(365), 120.0) == pytest.approx(33.0)


# sites -------------------------------------------------------------------------------------------


def test_a_site_carries_up_to_the_minimum_fusing_current(published: Any) -> None:
    site = Site(published.truth, 85.0, 64)
    least = minimum_fusing_current(published.truth, ambient_c=85.0)
    assert site.carries(0.0)
    assert site.carries(0.999 * least)
    assert not site.carries(1.001 * least)
    assert Site(replace(published.truth, rated_current=None), 85.0, 64).continuous_limit is None
