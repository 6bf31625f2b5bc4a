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

from fusetherm.answers.conductor import protect
from fusetherm.answers.screen import Candidate, Screen, screen
from fusetherm.cli.main import program
from fusetherm.conductor.circuit import Circuit
from fusetherm.conductor.insulation import insulation
from fusetherm.conductor.wire import Wire, continuous_current
from fusetherm.current.waveform import Waveform
from fusetherm.demo import captures, definitions
from fusetherm.errors import InputError
from fusetherm.fuse.published import PulseTest


def pulse(amps: float, seconds: float) -> Waveform:
    return Waveform(time=[0, 0, seconds, seconds, 2 * seconds], current=[0, amps, amps, 0, 0])


PULSE = pulse(100.0, 0.05)


BOAT = Circuit(
    strongest_voltage=29.0, strongest_resistance=0.035, weakest_voltage=21.0,
    weakest_resistance=0.06, length=5.0,
)  # fmt: skip
PLACE: dict[str, Any] = {
    "ambient_c": 40.0, "coldest_c": 0.0, "wire_ambient_c": 40.0, "circuit": BOAT,
    "arcing_allowance": 2.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def fit(fitted: Any) -> Any:
    """The known fuse with everything stated that a decision needs."""
    gates = ("iso8820-3-high-current-blade",)
    stated = replace(fitted.definition, breaking_capacity=1000.0, gates=gates)
    return replace(fitted, definition=stated)


def wire(square_mm: float) -> Wire:
    return Wire(section=square_mm * 1e-6, insulation=insulation("pvc-105"), bundle=1)


def rated(fit: Any, amps: float) -> Any:
    of = replace(fit.definition, rated_current=amps, id=f"rated-{amps:g}A")
    return replace(fit, definition=of)


def asked(fuses: list[Any], size: float = 16.0, **more: Any) -> Screen:
    return screen(fuses, [PULSE], wire=wire(size), **(PLACE | more))


def test_a_rating_above_the_conductor_is_never_chosen(fit: Any) -> None:
    limit = continuous_current(wire(16.0), 40.0)
    above = math.ceil(limit)
    found = asked([rated(fit, above), fit])
    assert [one.rated_current for one in found.candidates] == [40.0, above]
    assert [one.suits for one in found.candidates] == ["suits", "does_not"]
    assert found.candidates[1].verdicts == ()
    assert "above the conductor" in found.candidates[1].reasons[0]
    assert [one.name for one in found.suitable] == [fit.definition.id]
    assert found.exit_status == 0


def test_a_fuse_below_the_limit_still_has_to_protect(fit: Any) -> None:
    # 4 mm² carries 40 A for ever, but not the 54 A that the class may let flow
    size = 4.0
    assert continuous_current(wire(size), 40.0) > 40.0
    (one,) = asked([fit], size).candidates
    assert (one.verdicts, one.protection, one.suits) == (("carries",), "not_protected", "does_not")
    assert one.reasons[0].startswith("conductor: ")
    same = protect(fit, wire(size), fuse_ambient_c=0.0, wire_ambient_c=40.0, circuit=BOAT,
                   arcing_allowance=2.0)  # fmt: skip
    assert one.reasons[0] == f"conductor: {same.reasons[0]}"


def test_a_fuse_that_cannot_break_the_circuit_does_not_suit(fit: Any) -> None:
    strong = replace(BOAT, strongest_resistance=0.01)
    found = asked([fit], circuit=strong)
    assert (found.candidates[0].protection, found.exit_status) == ("not_protected", 20)


def test_without_a_circuit_none_is_shown_to_suit(fit: Any) -> None:
    found = asked([fit], circuit=None)
    assert (found.candidates[0].suits, found.exit_status) == ("not_shown", 4)
    assert "source and loop" in found.candidates[0].reasons[0]


def test_larger_wires_never_lose_and_hotter_ones_never_gain(fit: Any) -> None:
    fuses = [rated(fit, 30.0), fit]
    names = [
        {one.name for one in asked(fuses, size, wire_ambient_c=t).suitable}
        for size, t in ((2.5, 85.0), (4.0, 40.0), (16.0, 40.0))
    ]
    assert all(few <= more for few, more in pairwise(names))
    assert names[0] < names[-1]


def test_an_empty_answer_is_an_answer(fit: Any) -> None:
    found = screen([fit], [PULSE, pulse(300.0, 5.0)], wire=wire(16.0), **PLACE)
    assert found.suitable == ()
    assert found.exit_status == 20
    (one,) = found.candidates
    assert one.verdicts == ("carries", "opens")
    assert one.reasons[0].startswith("capture 2: ")
    assert one.spare is not None
    assert one.spare < 1.0


def test_a_life_has_to_last(fit: Any) -> None:
    heavy = pulse(160.0, 0.05)
    tests = (PulseTest(share=0.2, pulses=1e5, duration=0.01, source="invented"),)
    tested = replace(fit, definition=replace(fit.definition, pulse_tests=tests))
    few, many, bare = (
        screen([one], [heavy], wire=wire(16.0), period=60.0, least_cycles=n, **PLACE).candidates[0]
        for one, n in ((tested, 1.0), (tested, 1e14), (fit, 1.0))
    )
    assert few.cycles == many.cycles
    assert few.cycles is not None
    assert few.cycles > 1.0
    assert few.suits == "suits"
    assert many.suits == "does_not"
    assert "cycles" in many.reasons[0]
    # such a life ranks duties and forecasts nothing
    assert bare.cycles is not None
    assert bare.cycles > 1.0
    assert bare.suits == "not_shown"
    assert bare.reasons[0].startswith("no pulse tests")


def test_what_does_nothing_lasts_for_ever(fit: Any) -> None:
    found = screen([fit], [pulse(1.0, 0.05)], wire=wire(16.0), least_cycles=1e9, **PLACE)
    assert (found.candidates[0].suits, found.candidates[0].cycles) == ("suits", math.inf)
    assert found.to_json()["candidates"][0]["b10_cycles_low"] is None


def test_a_slip_of_unit_is_told_beside_each_rating(fit: Any) -> None:
    found = asked([fit]), screen([fit], [pulse(1e5, 1e-6)], wire=wire(16.0), **PLACE)
    (note,) = found[1].notes
    assert found[0].notes == ()
    assert note.code == "peak-far-above-rating"
    assert note.text.startswith(fit.definition.id)


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
                  protection="not_shown", reasons=()) for word in found
    )  # fmt: skip
    answer = Screen(candidates=several, conductor_limit=1.0, ambient_c=23.0, coldest_c=0.0,
                    wire_ambient_c=23.0, least_cycles=None, notes=())  # fmt: skip
    assert answer.exit_status == status


def test_questions_without_sense_are_refused(fit: Any) -> None:
    for fuses, waves, more, code in (
        ([], [PULSE], {}, "nothing-to-screen"),
        ([fit], [], {}, "nothing-to-screen"),
        ([fit], [PULSE], {"least_cycles": 0.0}, "not-positive"),
        ([fit], [PULSE], {"wire_ambient_c": 110.0}, "ambient-above-insulation"),
    ):
        question = PLACE | more
        with pytest.raises(InputError) as refusal:
            screen(fuses, waves, wire=wire(6.0), **question)
        assert refusal.value.code == code


def test_command(tmp_path: Any) -> None:
    for name in ("inverter_feed_40A", "windlass_150A"):
        shutil.copy(definitions()[name], tmp_path)
    asked = ["--capture", captures()["inverter_switch_on"], "--clamp", "10 mV/A", "--zero",
             "0 s : 0.2 s", "--section", "16 mm2", "--insulation", "pvc-105", "--bundle", 1,
             "--ambient-c", 60, "--coldest-c", 0, "--wire-ambient-c", 40, "--strongest-v", 29,
             "--strongest-mohm", 35, "--weakest-v", 21, "--weakest-mohm", 60, "--length-m", 5,
             "--arcing-allowance", 2]  # fmt: skip

    def ask(*more: Any) -> Any:
        return CliRunner().invoke(program, [str(a) for a in ("screen", *more)])

    done = ask(tmp_path, *asked)
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("SUITS: inverter_feed_40A\n")
    assert "windlass_150A: rated above the conductor" in done.stdout
    assert done.stdout.count("certification") == 1
    data = json.loads(ask(tmp_path, *asked, "--json").stdout)
    assert (data["schema"], data["suitable"]) == ("fusetherm/screen/1", ["inverter_feed_40A"])
    assert data["candidates"][0]["verdicts"] == ["carries"]
    assert data["candidates"][0]["protection"] == "protected"
    empty = tmp_path / "empty"
    empty.mkdir()
    for folder, code in ((empty, "no-definitions"), (tmp_path / "none", "folder-missing")):
        refused = ask(folder, *asked)
        assert refused.exit_code == 3
        assert code in refused.stderr
