"""A duty once it repeats: swings with what was jumped over, by runs and by train."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import fusetherm as ft
from fusetherm.answers import settled as home
from fusetherm.answers.settled import Settled, swings
from fusetherm.fuse.element import Element, RoundSection, Spot
from fusetherm.fuse.model import Blade, Side
from fusetherm.life.swing_law import SwingLaw, miner_sum
from fusetherm.physics.dissolution import spot_law

WIRE = ft.FuseModel(ft.round_wire(ft.metal("silver"), 0.2e-3, 10e-3))
LAW = SwingLaw(pivot_cycles=1e6, pivot_swing=100.0, exponent=5.0)
#: A terminal that takes some runs to warm.
SLOW = Side(blade=Blade(heat_capacity=0.05, to_ambient=0.01))
PULSE = ft.Waveform(time=[0.0, 0.02, 0.02], current=[22.0, 22.0, 0.0])
LOW = ft.Waveform(time=[0.0, 0.3, 0.3], current=[12.0, 12.0, 0.0])


def duty(count: int, *, spacing: float = 0.5) -> ft.Duty:
    """A train of two-stepped pulses, a longer load, another train."""
    two = PULSE.then(LOW)
    return ft.Duty(
        name="d",
        events=(
            ft.DutyEvent(name="train", waveform=two, count=count, spacing=spacing),
            ft.DutyEvent(name="load", waveform=LOW.scaled(1.2), spacing=3.0),
            ft.DutyEvent(name="again", waveform=PULSE, count=2 * count, spacing=0.2),
        ),
        ambient_c=40.0,
    )


def test_jumped_cycles_count_as_if_simulated() -> None:
    plan = duty(200)
    found = Settled.of(WIRE, plan, 23.0, 64)
    assert found.run.jumped > 100
    question = found.run.question
    once = plan.waveform.repeated(1)
    full = ft.simulate(WIRE, once, ambient_c=40.0, cells=64, start=question.start, jump=False)
    assert full.jumped == 0
    plain = swings(once, full)
    assert found.cycles.total == pytest.approx(plain.total, rel=1e-9)
    assert miner_sum(LAW, found.cycles) == pytest.approx(miner_sum(LAW, plain), rel=2e-3)
    # the swings that join the trains are there once, whatever was jumped over
    assert found.swing == pytest.approx(float(plain.range.max()), rel=1e-3)
    largest = found.cycles.count[found.cycles.range > 0.999 * found.swing]
    assert np.sum(largest) == pytest.approx(
        np.sum(plain.count[plain.range > 0.999 * plain.range.max()]), rel=1e-6
    )


def test_a_million_cycles_cost_about_what_a_thousand_do() -> None:
    few, many = (Settled.of(WIRE, duty(n), 23.0, 64) for n in (1000, 1_000_000))
    assert many.run.steps < 3 * few.run.steps
    assert many.cycles.total > 900 * few.cycles.total
    assert miner_sum(LAW, many.cycles) == pytest.approx(1000 * miner_sum(LAW, few.cycles), rel=0.01)


def test_runs_and_train_settle_to_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = duty(3)
    slow = replace(WIRE, left=SLOW, right=SLOW)
    train = Settled.of(slow, plan, 23.0, 64)
    monkeypatch.setattr(home, "FEWEST", 10**9)
    runs = Settled.of(slow, plan, 23.0, 64)
    assert 0.0 < runs.change <= home.SETTLED
    assert runs.swing == pytest.approx(train.swing, abs=0.1)
    assert miner_sum(LAW, runs.cycles) == pytest.approx(miner_sum(LAW, train.cycles), rel=1e-3)


def test_swings_belong_to_the_event_of_their_peak() -> None:
    life = ft.endurance(WIRE, duty(100))
    assert [part.name for part in life.parts] == ["train", "load", "again"]
    assert [part.count for part in life.parts] == [100, 1, 200]
    assert sum(part.share for part in life.parts) == pytest.approx(1.0)
    train, load, again = life.parts
    assert load.share < min(train.share, again.share)
    assert life.ambient_c == 40.0
    assert sum(life.swing_shares) == pytest.approx(1.0)
    assert life.years is None


def test_an_ambient_that_changes_swings_the_fuse() -> None:
    load = ft.DutyEvent(name="a", waveform=LOW, spacing=1800.0, ambient_c=5.0)
    warm = ft.DutyEvent(name="b", waveform=LOW, spacing=1800.0, ambient_c=65.0)
    found = Settled.of(WIRE, ft.Duty(name="d", events=(load, warm)), 23.0, 64)
    alone = ft.simulate(WIRE, LOW, ambient_c=65.0, cells=64).peak_temperature_c
    assert found.peak_c == pytest.approx(alone, abs=0.2)
    assert found.swing == pytest.approx(alone - 5.0, abs=0.5)


def test_what_a_duty_states_is_not_stated_again() -> None:
    with pytest.raises(ft.InputError, match="stated-by-the-duty"):
        ft.endurance(WIRE, duty(3), period=100.0)
    with pytest.raises(ft.InputError, match="stated-by-the-duty"):
        ft.endurance(WIRE, duty(3), ambient_c=50.0)


def test_a_duty_that_melts_says_in_which_run() -> None:
    event = ft.DutyEvent(name="a", waveform=PULSE.scaled(3.0), count=100, spacing=60.0)
    hot = ft.endurance(WIRE, ft.Duty(name="d", events=(event,), ambient_c=20.0))
    assert hot.opens_in_cycle == 1
    assert hot.melts


def test_a_spot_that_dissolves_is_followed_to_its_end() -> None:
    copper = ft.metal("copper")
    parts = [RoundSection(x, 0.2e-3) for x in (6e-3, 2e-3, 6e-3)]
    wire = ft.FuseModel(Element(copper, parts, spot=Spot(1, spot_law(copper))))
    pulse = ft.Waveform(time=[0.0, 0.05, 0.05], current=[25.3, 25.3, 0.0])
    found = {}
    # the longer period repeats fewer times in the time a fuse needs to settle
    for period in (5.0, 1500.0):
        life = ft.endurance(wire, pulse, period=period)
        assert life.opens_in_cycle is not None
        assert "its spot had dissolved" in life.notes[-2].text
        found[period] = life.opens_in_cycle
    assert found[1500.0] > home.SETTLING / 1500.0
    assert found[1500.0] == pytest.approx(found[5.0], rel=0.02)
