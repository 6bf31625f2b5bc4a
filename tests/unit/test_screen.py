"""Choosing among ratings: conductor first, captures, life, and an empty answer."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from click.testing import CliRunner

from fusetherm.answers.screen import Candidate, Screen, screen
from fusetherm.cli.main import program
from fusetherm.conductor.insulation import insulation
from fusetherm.conductor.wire import Wire, continuous_current
from fusetherm.current.waveform import Waveform
from fusetherm.demo import captures, definitions
from fusetherm.errors import InputError


def pulse(amps: float, seconds: float) -> Waveform:
    return Waveform(time=[0, 0, seconds, seconds, 2 * seconds], current=[0, amps, amps, 0, 0])


PULSE = pulse(100.0, 0.05)


def wire(square_mm: float) -> Wire:
    return Wire(section=square_mm * 1e-6, insulation=insulation("pvc-105"), bundle=1)


def rated(fit: Any, amps: float) -> Any:
    of = replace(fit.definition, rated_current=amps, id=f"rated-{amps:g}A")
    return replace(fit, definition=of)


def asked(fuses: list[Any], size: float = 10.0, **more: Any) -> Screen:
    question = {"ambient_c": 40.0, "wire_ambient_c": 60.0} | more
    return screen(fuses, [PULSE], wire=wire(size), **question)


def test_a_rating_above_the_conductor_is_never_chosen(fitted: Any) -> None:
    limit = continuous_current(wire(10.0), 60.0)
    below, above = math.floor(limit), math.ceil(limit)
    found = asked([rated(fitted, above), rated(fitted, below)])
    assert [one.rated_current for one in found.candidates] == [below, above]
    assert [one.suits for one in found.candidates] == ["suits", "does_not"]
    assert found.candidates[1].verdicts == ()
    assert "above the conductor" in found.candidates[1].reasons[0]
    assert [one.name for one in found.suitable] == [f"rated-{below}A"]
    assert found.exit_status == 0


def test_larger_wires_never_lose_and_hotter_ones_never_gain(fitted: Any) -> None:
    fuses = [rated(fitted, amps) for amps in (30.0, 60.0)]
    names = [
        {one.name for one in asked(fuses, size, wire_ambient_c=t).suitable}
        for size, t in ((2.5, 85.0), (4.0, 40.0), (16.0, 40.0))
    ]
    assert all(few <= more for few, more in pairwise(names))
    assert names[0] < names[-1]


def test_an_empty_answer_is_an_answer(fitted: Any) -> None:
    found = screen(
        [fitted], [PULSE, pulse(300.0, 5.0)], wire=wire(16.0), ambient_c=40.0,
        wire_ambient_c=40.0,
    )  # fmt: skip
    assert found.suitable == ()
    assert found.exit_status == 20
    (one,) = found.candidates
    assert one.verdicts == ("carries", "opens")
    assert one.reasons[0].startswith("capture 2: ")
    assert one.spare is not None
    assert one.spare < 1.0


def test_a_life_has_to_last(fitted: Any) -> None:
    heavy = pulse(160.0, 0.05)
    few, many = (
        screen([fitted], [heavy], wire=wire(10.0), ambient_c=40.0, wire_ambient_c=40.0,
               period=60.0, least_cycles=n).candidates[0]
        for n in (1.0, 1e14)
    )  # fmt: skip
    assert few.cycles == many.cycles
    assert few.cycles is not None
    assert few.cycles > 1.0
    assert few.suits == "suits"
    assert many.suits == "does_not"
    assert "cycles" in many.reasons[0]


@pytest.mark.parametrize(
    ("found", "status"),
    [
        (("does_not", "not_shown", "marginal", "suits"), 0),
        (("does_not", "not_shown", "marginal"), 4),
        (("does_not", "marginal"), 10),
        (("does_not",), 20),
    ],
)
def test_statuses(found: tuple[Any, ...], status: int) -> None:
    several = tuple(
        Candidate(name="a", rated_current=1.0, suits=word, verdicts=(), spare=None, cycles=None,
                  reasons=()) for word in found
    )  # fmt: skip
    answer = Screen(candidates=several, conductor_limit=1.0, ambient_c=23.0, wire_ambient_c=23.0,
                    least_cycles=None, notes=())  # fmt: skip
    assert answer.exit_status == status


def test_questions_without_sense_are_refused(fitted: Any) -> None:
    for fuses, waves, more, code in (
        ([], [PULSE], {}, "nothing-to-screen"),
        ([fitted], [], {}, "nothing-to-screen"),
        ([fitted], [PULSE], {"least_cycles": 0.0}, "not-positive"),
        ([fitted], [PULSE], {"wire_ambient_c": 110.0}, "ambient-above-insulation"),
    ):
        question = {"ambient_c": 40.0, "wire_ambient_c": 60.0} | more
        with pytest.raises(InputError) as refusal:
            screen(fuses, waves, wire=wire(6.0), **question)
        assert refusal.value.code == code


def test_command(tmp_path: Any) -> None:
    for name in ("inverter_feed_40A", "windlass_150A"):
        shutil.copy(definitions()[name], tmp_path)
    asked = ["--capture", captures()["inverter_switch_on"], "--clamp", "10 mV/A", "--zero",
             "0 s : 0.2 s", "--section", "6 mm2", "--insulation", "pvc-105", "--bundle", 1,
             "--ambient-c", 60, "--wire-ambient-c", 60]  # fmt: skip

    def ask(*more: Any) -> Any:
        return CliRunner().invoke(program, [str(a) for a in ("screen", *more)])

    done = ask(tmp_path, *asked)
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("SUITS: inverter_feed_40A\n")
    assert "windlass_150A: rated above the conductor" in done.stdout
    assert done.stdout.count("certification") == 1
    assert "[protection-not-asked]" in done.stdout
    data = json.loads(ask(tmp_path, *asked, "--json").stdout)
    assert (data["schema"], data["suitable"]) == ("fusetherm/screen/1", ["inverter_feed_40A"])
    assert data["candidates"][0]["verdicts"] == ["carries"]
    empty = tmp_path / "empty"
    empty.mkdir()
    for folder, code in ((empty, "no-definitions"), (tmp_path / "none", "folder-missing")):
        refused = ask(folder, *asked)
        assert refused.exit_code == 3
        assert code in refused.stderr
