"""Endurance asked the other way: the values found bear the cycles asked for."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import fusetherm as ft
from fusetherm.answers.endurance_limits import Varied
from fusetherm.cli.endure_limit import limit_data
from fusetherm.cli.main import program
from fusetherm.current.shapes import exponential_decay
from fusetherm.demo import definitions

WIRE = ft.FuseModel(ft.round_wire(ft.metal("silver"), 0.2e-3, 10e-3))
PULSE = ft.Waveform(time=[0.0, 0.02, 0.02], current=[25.0, 25.0, 0.0])


def life(found: Any, value: float, period: float) -> ft.Endurance:
    """The wire's life at a value, with the random numbers of the search."""
    more: dict[str, Any] = {"seed": found.base.made_with["seed"]}
    if found.varied == "current":
        return ft.endurance(WIRE, PULSE.scaled(value / 25.0), period=period, **more)
    if found.varied == "ambient":
        return ft.endurance(WIRE, PULSE, period=period, ambient_c=value, **more)
    longer = ft.Waveform(time=[0.0, value, value], current=[25.0, 25.0, 0.0])
    return ft.endurance(WIRE, longer, period=period, **more)


@pytest.mark.parametrize(
    ("varied", "period", "cycles"),
    [("current", 5.0, 3e4), ("duration", 5.0, 3e4), ("ambient", 5.0, 6.5e4)],
)
def test_the_value_found_bears_the_cycles(varied: Varied, period: float, cycles: float) -> None:
    found = ft.endurance_limit(WIRE, PULSE, varied, cycles=cycles, period=period)
    assert found.asked == pytest.approx(
        {"current": 25.0, "duration": 0.02, "ambient": 23.0}[varied]
    )
    assert life(found, found.value, period).cycles == pytest.approx(cycles, rel=0.02)
    for value, quantile in (
        (found.safe, "b10_low"),
        (found.value_low, "cycles_low"),
    ):
        if math.isfinite(value):
            at = life(found, value, period)
            assert getattr(at, quantile) == pytest.approx(cycles, rel=0.02)
    assert found.value_low < found.value or math.isnan(found.value_low)
    assert found.notes[-1].code == "wear-only" or found.notes[-1].code.startswith("limit-by")


def test_what_no_value_and_what_every_value_bears() -> None:
    # a pulse that leaves no heat behind lasts no longer for coming later
    few = ft.endurance_limit(WIRE, PULSE, "spacing", cycles=1e12, period=5.0)
    assert math.isnan(few.value)
    data = limit_data(few)
    assert data["spacing_s"] is None
    assert data["state"]["spacing_s"] == "none"
    weak = ft.endurance_limit(WIRE, PULSE.scaled(0.1), "spacing", cycles=10.0, period=5.0)
    assert weak.value == pytest.approx(0.02)
    assert weak.safe == pytest.approx(0.02)


def test_the_shortest_spacing_may_end_at_melting() -> None:
    # the swing of one pulse is smaller on a warm wire: what ends the spacing is melting
    found = ft.endurance_limit(WIRE, PULSE, "spacing", cycles=3e4, period=5.0)
    at, closer = (ft.endurance(WIRE, PULSE, period=factor * found.value) for factor in (1.0, 0.98))
    assert at.cycles > 3e4
    assert closer.melts
    # more than a long spacing bears is borne by a shorter one, and yet not told
    longest = ft.endurance(WIRE, PULSE, period=5.0)
    nearer = ft.endurance(WIRE, PULSE, period=0.04)
    between = math.sqrt(longest.cycles * nearer.cycles)
    assert longest.cycles < between < nearer.cycles
    assert math.isnan(ft.endurance_limit(WIRE, PULSE, "spacing", cycles=between, period=0.04).value)


def test_the_shortest_spacing_of_close_pairs() -> None:
    # two pulses of one event that come closer ride on one another
    event = ft.DutyEvent(name="pair", waveform=PULSE, count=2, spacing=0.5)
    duty = ft.Duty(name="d", events=(event,), period=10.0, ambient_c=23.0)
    apart = ft.endurance(WIRE, duty)
    found = ft.endurance_limit(WIRE, duty, "spacing", cycles=0.5 * apart.cycles)
    event = replace(event, spacing=found.value)
    at = ft.endurance(WIRE, replace(duty, events=(event,)), seed=found.base.made_with["seed"])
    assert at.cycles == pytest.approx(0.5 * apart.cycles, rel=0.02)
    assert 0.02 < found.value < 0.5
    assert found.value_low < found.value


def test_melting_ends_the_range() -> None:
    found = ft.endurance_limit(WIRE, PULSE, "current", cycles=1.5, period=5.0)
    assert math.isfinite(found.value)
    assert "limit-by-melting" in [note.code for note in found.notes]
    at = life(found, 1.05 * found.value_high, 5.0)
    assert at.melts or at.cycles_high < 1.5


def test_one_event_of_a_duty_is_varied_alone() -> None:
    low = ft.DutyEvent(name="low", waveform=PULSE.scaled(0.5), spacing=5.0)
    high = ft.DutyEvent(name="high", waveform=PULSE, spacing=5.0)
    duty = ft.Duty(name="d", events=(low, high), ambient_c=40.0)
    one = ft.endurance_limit(WIRE, duty, "current", cycles=2e4, event="high")
    both = ft.endurance_limit(WIRE, duty, "current", cycles=2e4)
    assert one.event == "high"
    assert one.asked == both.asked == pytest.approx(25.0)
    # the low one does little: with it raised alike the high one has to give way a little
    assert both.value < one.value < 1.02 * both.value
    with pytest.raises(ft.InputError, match="event-unknown"):
        ft.endurance_limit(WIRE, duty, "current", cycles=2e4, event="hihg")


def test_a_spacing_stays_within_the_period_of_its_duty() -> None:
    event = ft.DutyEvent(name="a", waveform=PULSE, count=3, spacing=0.1)
    duty = ft.Duty(name="d", events=(event,), period=0.6)
    found = ft.endurance_limit(WIRE, duty, "spacing", cycles=1e12)
    assert math.isnan(found.value)


def test_what_cannot_be_varied_is_refused() -> None:
    decay = exponential_decay(20.0, 0.01)
    with pytest.raises(ft.InputError, match="shape-not-stretched"):
        ft.endurance_limit(WIRE, decay, "duration", cycles=1e4, period=5.0)
    with pytest.raises(ft.InputError, match="not-positive"):
        ft.endurance_limit(WIRE, PULSE, "current", cycles=0.0)


def test_command_finds(tmp_path: Path) -> None:
    fuse, duty = definitions()["windlass_150A"], tmp_path / "day.toml"
    duty.write_text(
        'schema_version = 1\nid = "day"\nperiod_s = 86400\nambient_C = 35\nsource = "invented"\n'
        '[[event]]\nname = "haul"\nshape = "rectangle"\ncurrent_A = 300\nduration_s = 1\n'
    )
    asked = ["endure", str(duty), "--fuse", str(fuse)]
    done = CliRunner().invoke(program, [*asked, "--find", "current", "--cycles", "1e4", "--json"])
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout, parse_constant=pytest.fail)
    assert data["schema"] == "fusetherm/endure-limit/1"
    assert data["current_A_safe"] < data["current_A_low"] < data["current_A"]
    assert set(data["state"].values()) == {"found"}
    for words in (["--find", "current"], ["--cycles", "9"], ["--event", "haul"]):
        assert CliRunner().invoke(program, [*asked, *words]).exit_code == 2
