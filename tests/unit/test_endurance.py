"""Endurance: what is known of a law, lives of a duty, the bare rule beside them."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm.answers.endurance import endurance
from fusetherm.cli.endure import endurance_data, print_endurance
from fusetherm.cli.main import program
from fusetherm.current.blocks import spans_above
from fusetherm.current.waveform import Waveform
from fusetherm.demo import definitions, duties
from fusetherm.errors import InputError
from fusetherm.fuse.element import Element, RoundSection, Spot, round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.fuse.published import PulseTest
from fusetherm.life.aged import aged as aged_model
from fusetherm.life.duty import Duty, DutyEvent
from fusetherm.life.knowledge import EXPONENTS, knowledge
from fusetherm.physics.dissolution import spot_law
from fusetherm.physics.metals import metal
from fusetherm.show.plots_endurance import plot_endurance
from fusetherm.solver.run import simulate

if TYPE_CHECKING:
    from conftest import Published

    from fusetherm.calibration.fit import Calibration

WIRE = FuseModel(round_wire(metal("silver"), 0.2e-3, 10e-3))
PULSE = Waveform(time=[0.0, 0.02, 0.02], current=[25.0, 25.0, 0.0])


def test_two_tests_fix_exponent_and_pivot() -> None:
    known = knowledge([100.0, 300.0], [3.0**6 * 1e3, 1e3])
    assert known.median_exponent == pytest.approx(6.0, abs=0.2)
    assert known.pivot_swing == pytest.approx(math.sqrt(3e4))
    assert known.median_cycles == pytest.approx(3.0**3 * 1e3, rel=0.1)
    assert np.std(known.exponent) < 1.0


def test_one_test_leaves_the_exponent_open() -> None:
    known = knowledge([200.0], [1e4])
    assert known.pivot_swing == pytest.approx(200.0)
    assert known.median_cycles == pytest.approx(1e4, rel=0.1)
    assert np.quantile(known.exponent, [0.02, 0.98]) == pytest.approx(EXPONENTS, abs=0.4)


def test_no_test_leaves_a_wide_band() -> None:
    known = knowledge()
    assert known.tests == 0
    assert np.std(known.ln_cycles) == pytest.approx(math.log(10.0), rel=0.1)
    with pytest.raises(InputError):
        knowledge([0.0], [1.0])


def test_a_pulse_alone() -> None:
    life = endurance(WIRE, PULSE, period=5.0)
    alone = simulate(WIRE, PULSE)
    assert life.swing == pytest.approx(alone.peak_temperature_c - 23.0, rel=1e-3)
    assert life.peak_c == pytest.approx(alone.peak_temperature_c, abs=0.1)
    assert life.cycles_low < life.b10 < life.cycles < life.cycles_high
    assert life.b1_low < life.b1 < life.b10
    assert [e.share for e in life.events] == pytest.approx([1.0])
    assert life.events[0].time == pytest.approx(0.02)
    assert life.years is None
    codes = [note.code for note in life.notes]
    assert "no-pulse-tests" in codes
    assert "rule-unsafe" not in codes
    # from cold and alone the rule and the law mean the same
    assert life.rule_cycles == pytest.approx(life.cycles, rel=0.5)


def test_the_same_question_has_the_same_answer() -> None:
    a, b = (endurance(WIRE, PULSE, period=5.0) for _ in range(2))
    assert (a.cycles, a.b1, a.cycles_low) == (b.cycles, b.b1, b.cycles_low)


def test_close_pairs_cost_more_than_the_rule_says() -> None:
    pair = PULSE.then(Waveform(time=[0.0, 0.003], current=[0.0, 0.0])).then(PULSE)
    single = endurance(WIRE, PULSE, period=5.0)
    found = endurance(WIRE, pair, period=5.0)
    assert found.cycles < single.cycles / 8
    assert found.rule_cycles == pytest.approx(single.rule_cycles / 2, rel=1e-6)
    assert "rule-unsafe" in [note.code for note in found.notes]
    # the second pulse rides on the first: its peak takes nearly all
    assert found.events[0].time == pytest.approx(0.043, abs=1e-4)
    assert found.events[0].share > 0.9


def test_a_duty_that_melts_gives_its_cycle() -> None:
    hot = endurance(WIRE, PULSE.scaled(1.35), period=0.05)
    assert hot.opens_in_cycle is not None
    assert hot.opens_in_cycle > 1
    assert math.isnan(hot.cycles)
    assert "duty-melts" in [note.code for note in hot.notes]


def test_no_current_is_refused() -> None:
    with pytest.raises(InputError, match="no current"):
        endurance(WIRE, PULSE.scaled(0.0))


def test_pulses_are_found() -> None:
    train = PULSE.repeated(3, period=1.0)
    spans = spans_above(train.blocks(), 1.0)
    assert [(s.start, s.duration) for s in spans] == [
        (pytest.approx(float(k)), pytest.approx(0.02)) for k in range(3)
    ]
    assert len(spans_above(train.blocks(), 1.0, most=2)) == 2


def test_pulse_tests_of_a_definition(fitted: Calibration, published: Published) -> None:
    haul = Waveform(time=[0.0, 0.5, 0.5], current=[70.0, 70.0, 0.0])
    loose = endurance(fitted, haul, period=60.0)
    tests = tuple(
        PulseTest(share=share, pulses=pulses, duration=0.01, source="invented")
        for share, pulses in ((0.2, 1e5), (0.4, 2e3), (0.7, 100.0))
    )
    known = replace(fitted, definition=replace(published.definition, pulse_tests=tests))
    life = endurance(known, haul, period=60.0, cycles_per_day=10.0)
    assert life.tests == 3
    assert life.years == pytest.approx(life.b10 / 10.0 / 365.25)
    width = math.log(life.cycles_high / life.cycles_low)
    assert width < math.log(loose.cycles_high / loose.cycles_low)
    assert loose.years is None


def test_answer_as_text_and_data(capsys: pytest.CaptureFixture[str]) -> None:
    life = endurance(WIRE, PULSE, period=5.0)
    print_endurance(life, capture="pulse.csv", ambient_assumed=True)
    text = capsys.readouterr().out
    assert "(assumed)" in text
    assert "B10" in text
    data = endurance_data(life)
    assert data["schema"] == "fusetherm/endure/1"
    assert data["cycles"] == life.cycles
    print_endurance(replace(life, rule_cycles=0.0), capture="pulse.csv", ambient_assumed=True)
    assert "shares: none, for one pulse has all the I²t" in capsys.readouterr().out
    hot = endurance_data(endurance(WIRE, PULSE.scaled(3.0), period=5.0))
    assert hot["cycles"] is None
    assert hot["opens_in_cycle"] == 1
    json.dumps([{k: v for k, v in d.items() if k != "notes"} for d in (data, hot)])


def test_an_aged_fuse_lasts_less(fitted: Calibration) -> None:
    haul = Waveform(time=[0.0, 0.5, 0.5], current=[70.0, 70.0, 0.0])
    new, old = (endurance(fitted, haul, period=60.0, aged=aged) for aged in (False, True))
    assert old.cycles < 0.9 * new.cycles
    assert old.swing > 1.05 * new.swing
    assert old.peak_c > new.peak_c
    assert (old.aged, new.aged) == (True, False)
    texts = [life.notes[-1].text for life in (new, old)]
    assert texts[0].startswith("a new fuse;")
    assert texts[1].startswith("an aged fuse, a scenario")


def test_aged_contacts_are_doubled(fitted: Calibration) -> None:
    model = fitted.connected("installed")
    old = aged_model(model)
    assert old.element.cold_resistance() == pytest.approx(1.1 * model.element.cold_resistance())
    for new, worn in ((model.left, old.left), (model.right, old.right)):
        assert new.contact is not None
        assert worn.contact is not None
        assert worn.contact.resistance == pytest.approx(2.0 * new.contact.resistance)
        assert worn.contact.conductance == pytest.approx(0.5 * new.contact.conductance)


def test_a_hot_tin_spot_has_no_life_shown() -> None:
    copper = metal("copper")
    spotted = Element(
        copper,
        [RoundSection(6e-3, 0.2e-3), RoundSection(2e-3, 0.2e-3), RoundSection(6e-3, 0.2e-3)],
        spot=Spot(1, spot_law(copper)),
    )
    wire = FuseModel(spotted)
    warm, hot = (
        endurance(wire, Waveform(time=[0, 20.0, 20.0], current=[i, i, 0.0]), period=40.0)
        for i in (3.0, 9.0)
    )
    assert warm.peak_c < 120.0 < hot.peak_c
    assert math.isfinite(warm.cycles)
    assert not warm.spot_ages
    assert math.isnan(hot.cycles)
    assert hot.spot_ages
    assert not hot.melts
    assert "spot-ages" in [note.code for note in hot.notes]
    assert hot.notes[-1].code == "ageing-not-modelled"


def test_years_of_a_duty_need_pulse_tests(
    fitted: Calibration, published: Published, capsys: pytest.CaptureFixture[str]
) -> None:
    haul = Waveform(time=[0.0, 0.5, 0.5], current=[70.0, 70.0, 0.0])
    event = DutyEvent(name="haul", waveform=haul, count=6, spacing=60.0)
    day = Duty(name="day", events=(event,), period=86400.0, ambient_c=40.0)
    assert endurance(fitted, day).years is None
    tests = (PulseTest(share=0.2, pulses=1e5, duration=0.01, source="invented"),)
    known = replace(fitted, definition=replace(published.definition, pulse_tests=tests))
    life = endurance(known, day)
    assert life.years == pytest.approx(life.b10 / 365.25)
    rarely = endurance(known, day, cycles_per_day=0.5)
    assert rarely.years == pytest.approx(life.b10 / 182.625)
    print_endurance(life, capture="day.toml", ambient_assumed=False)
    print_endurance(rarely, capture="day.toml", ambient_assumed=False, per_day=0.5)
    text = capsys.readouterr().out
    assert "B10, one run after the other: " in text
    assert "B10, 0.5 a day: " in text


def test_command_takes_a_duty_and_draws(tmp_path: Path) -> None:
    duty, fuse = duties()["windlass_day"], definitions()["windlass_150A"]
    figure = tmp_path / "day.png"
    asked = ["endure", str(duty), "--fuse", str(fuse), "--figure", str(figure)]
    done = CliRunner().invoke(program, asked)
    assert done.exit_code == 0, done.output
    assert "haul" in done.stdout
    assert "(assumed)" not in done.stdout
    assert figure.stat().st_size > 20_000
    done = CliRunner().invoke(program, [*asked, "--replace", "--aged", "--json"])
    data = json.loads(done.stdout, parse_constant=pytest.fail)
    assert data["aged"]
    assert [part["name"] for part in data["parts"]] == ["haul"]
    assert data["parts"][0]["damage_share"] == pytest.approx(1.0)
    for words in (["--clamp", "1 mV/A"], ["--period-s", "9"], ["--ambient-c", "9"]):
        refused = CliRunner().invoke(program, [*asked[:4], *words])
        assert refused.exit_code == 2
        assert words[0] in refused.stderr
    wrong = CliRunner().invoke(program, ["endure", str(fuse), "--fuse", str(fuse)])
    assert wrong.exit_code == 3
    assert "not-a-duty" in wrong.stderr


def test_figure_of_lives_and_of_none() -> None:
    life = endurance(WIRE, PULSE, period=5.0)
    upper, middle, lower, damage = plot_endurance(life).axes
    heights = [[bar.get_height() for bar in ax.patches] for ax in (upper, damage)]  # type: ignore[attr-defined]
    assert [sum(bars) for bars in heights] == pytest.approx([1.0, 100.0])
    assert [round(bar.get_width()) for bar in middle.patches] == [100]  # type: ignore[attr-defined]
    band = np.asarray(lower.lines[0].get_xdata())
    assert band.tolist() == [life.cycles_low, life.cycles_high]
    assert "comparing duties only" in lower.get_xlabel()
    (alone,) = plot_endurance(endurance(WIRE, PULSE.scaled(3.0), period=5.0)).axes
    assert "opens the element in cycle 1" in alone.get_title(loc="left")


def test_without_a_swing_it_lasts_for_ever() -> None:
    life = endurance(WIRE, PULSE.scaled(0.02), period=5.0)
    assert life.cycles == life.b1_low == math.inf
    assert "no-swing" in [note.code for note in life.notes]
    assert endurance_data(life)["cycles"] is None
    (alone,) = plot_endurance(life).axes
    assert "no swing" in alone.get_title(loc="left")
