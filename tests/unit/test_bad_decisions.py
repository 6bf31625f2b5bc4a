"""Questions of conductor and circuit that go wrong: what is refused, and what is an answer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm.answers.conductor import protect
from fusetherm.answers.protection import Protection
from fusetherm.cli.main import program
from fusetherm.conductor.circuit import Circuit
from fusetherm.conductor.insulation import insulation
from fusetherm.conductor.sections import read_section
from fusetherm.conductor.wire import Wire
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError

BOAT = Circuit(
    strongest_voltage=29.0, strongest_resistance=0.035, weakest_voltage=21.0,
    weakest_resistance=0.06, length=5.0,
)  # fmt: skip
ALL = {"--section": "16 mm2", "--insulation": "pvc-105", "--bundle": "1"}


@pytest.fixture(scope="module")
def fit(fitted: Any) -> Any:
    """The known fuse with everything stated that a decision needs."""
    gates = ("iso8820-3-high-current-blade",)
    stated = replace(fitted.definition, breaking_capacity=1000.0, gates=gates)
    return replace(fitted, definition=stated)


def ask(fit: Any, square_mm: float = 16.0, **more: Any) -> Protection:
    wire = Wire(section=square_mm * 1e-6, insulation=insulation("pvc-105"), bundle=1)
    question: dict[str, Any] = {"fuse_ambient_c": 0.0, "wire_ambient_c": 40.0, "circuit": BOAT,
                "arcing_allowance": 2.0} | more  # fmt: skip
    return protect(fit, wire, **question)


def codes(found: Protection) -> set[str]:
    return {note.code for note in found.notes}


@pytest.mark.parametrize("absent", ALL)
@pytest.mark.parametrize("command", ["protect", "screen"])
def test_bad_input_93_section_insulation_or_bundling_absent(command: str, absent: str) -> None:
    given = [part for name, value in ALL.items() if name != absent for part in (name, value)]
    more = ["--capture", "a.csv"] if command == "screen" else []
    done = CliRunner().invoke(program, [command, "fuse.toml", *more, *given])
    assert done.exit_code == 2
    assert absent in done.stderr
    parts: dict[str, Any] = {"section": 1e-6, "insulation": insulation("pvc-70"), "bundle": 1}
    del parts[absent.removeprefix("--")]
    with pytest.raises((TypeError, InputError)):
        Wire(**parts)


@pytest.mark.parametrize(
    ("text", "code"), [("14", "section-unreadable"), ("14 mm2", "section-or-gauge")]
)
def test_bad_input_94_gauge_against_square_millimetres(text: str, code: str) -> None:
    with pytest.raises(InputError) as refusal:
        read_section(text)
    assert refusal.value.code == code
    assert read_section("AWG 14")[0] == pytest.approx(2.08e-6, rel=1e-3)


@pytest.mark.parametrize(
    "more", [{}, {"load": 0.0}, {"arcing_allowance": 1.0}, {"operating_i2t": 1.0},
             {"gates": ()}, {"circuit": None}],
)  # fmt: skip
def test_bad_input_95_a_fuse_above_the_conductor_is_never_right(
    fit: Any, more: dict[str, Any]
) -> None:
    found = ask(fit, 1.5, **more)
    assert found.rated_current > found.conductor_limit
    assert (found.verdict, found.exit_status) == ("not_protected", 20)
    assert "fuse-above-conductor" in codes(found)


def test_bad_input_96_prospective_current_above_the_breaking_capacity(fit: Any) -> None:
    assert ask(fit).verdict == "protected"
    found = ask(fit, circuit=replace(BOAT, strongest_resistance=0.02))
    assert (found.verdict, found.fitted_verdict, found.exit_status) == (
        "not_protected", "not_protected", 20,
    )  # fmt: skip
    assert found.reasons[0].startswith("the strongest source drives 1450 A and the fuse breaks")
    assert "breaking-capacity-exceeded" in codes(found)


@pytest.mark.parametrize("key", ["breaking_capacity", "rated_voltage"])
def test_bad_input_96_unknown_is_never_protected(fit: Any, key: str) -> None:
    bare = replace(fit, definition=replace(fit.definition, **{key: None}))
    found = ask(bare)
    assert (found.verdict, found.exit_status) == ("not_shown", 4)


def test_bad_input_97_system_voltage_above_that_of_the_fuse(fit: Any) -> None:
    found = ask(fit, circuit=replace(BOAT, strongest_voltage=33.0))
    assert (found.verdict, found.exit_status) == ("not_protected", 20)
    assert "33 V and the fuse is for 32 V" in found.reasons[0]
    assert "voltage-above-fuse" in codes(found)


def test_bad_input_98_parallel_fuses_are_not_shown(fit: Any) -> None:
    found = ask(fit, parallel=2)
    assert (found.verdict, found.exit_status) == ("not_shown", 4)
    assert "parallel-fuses" in codes(found)
    assert "parallel-fuses" not in codes(ask(fit))
    with pytest.raises(InputError):
        ask(fit, parallel=0)


def test_bad_input_99_an_alternating_fault_is_remarked(fit: Any) -> None:
    time = np.linspace(0.0, 0.2, 401)
    sine = Waveform(time=time, current=500.0 * np.sin(2.0 * np.pi * 50.0 * time))
    assert "alternating-fault" in codes(ask(fit, fault=sine))
    direct = Waveform(time=time, current=np.abs(sine.current(time)))
    assert "alternating-fault" not in codes(ask(fit, fault=direct))
