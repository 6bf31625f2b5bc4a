"""Endurance: what is known of a law, lives of a duty, the bare rule beside them."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fusetherm.answers.endurance import endurance
from fusetherm.cli.endure import endurance_data, print_endurance
from fusetherm.current.blocks import spans_above
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.fuse.published import PulseTest
from fusetherm.life.knowledge import EXPONENTS, knowledge
from fusetherm.physics.metals import metal
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
        for share, pulses in ((20.0, 1e5), (40.0, 2e3), (70.0, 100.0))
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
    hot = endurance_data(endurance(WIRE, PULSE.scaled(3.0), period=5.0))
    assert hot["cycles"] is None
    assert hot["opens_in_cycle"] == 1
    json.dumps([{k: v for k, v in d.items() if k != "notes"} for d in (data, hot)])
