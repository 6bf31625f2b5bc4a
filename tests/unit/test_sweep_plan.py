"""Plan files of sweeps: what they give, and what they refuse with its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fusetherm.errors import FileError
from fusetherm.sweeps.plan_file import load_plan

HEAD = "schema_version = 1\nfuses = []\nambients_C = [23, 85]\nfactors = [1.0, 2.0]\n"


def plan(folder: Path, text: str) -> Path:
    path = folder / "plan.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return path


def test_waveforms_are_read_beside_the_plan(tmp_path: Path) -> None:
    (tmp_path / "pulse.csv").write_text("time (s),other (mV),v\n0,7,20\n1,7,20\n2,7,120\n3,7,20\n")
    wave = (
        '[[waveform]]\nname = "on"\ncapture = "pulse.csv"\nclamp = "10 mV/A"\nzero = "0 s : 1 s"\n'
        'column = "2"\nunit = "mV"\n'
    )
    found = load_plan(plan(tmp_path, wave))
    assert found["ambients_c"] == (23.0, 85.0)
    assert found["factors"] == (1.0, 2.0)
    assert np.max(found["waveforms"]["on"].values) == pytest.approx(10.0)


@pytest.mark.parametrize(("text", "to"), [("", "end"), ('to = "onset"\n', "onset")])
def test_where_runs_end(tmp_path: Path, text: str, to: str) -> None:
    currents = "currents_A = [30]\ndurations_s = [1]\n"
    assert load_plan(plan(tmp_path, currents + text))["to"] == to
    with pytest.raises(FileError) as caught:
        load_plan(plan(tmp_path, currents + 'to = "melt"\n'))
    assert caught.value.line == 7


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ('[[waveform]]\nname = "a"\n', "waveform-without-current", 5),
        ('[[waveform]]\nname = "a"\ncapture = "b"\nduty = "c"\n', "waveform-without-current", 5),
        (
            '[[waveform]]\nname = "a"\nduty = "c"\nclamp = "1 mV/A"\n',
            "key-of-another-event",
            8,
        ),
        ("factor = 2\n", "unknown-key", 5),
    ],
)
def test_what_a_plan_cannot_say(tmp_path: Path, text: str, code: str, line: int) -> None:
    with pytest.raises(FileError) as caught:
        load_plan(plan(tmp_path, text))
    assert (caught.value.code, caught.value.line) == (code, line)


def test_a_second_waveform_of_a_name_is_refused(tmp_path: Path) -> None:
    (tmp_path / "pulse.csv").write_text("time (s),current (A)\n0,1\n1,1\n2,5\n")
    wave = '[[waveform]]\nname = "on"\ncapture = "pulse.csv"\n'
    with pytest.raises(FileError) as caught:
        load_plan(plan(tmp_path, 2 * wave))
    assert (caught.value.code, caught.value.line) == ("sweep-name", 8)


@pytest.mark.parametrize("text", ['{"a": 1}', "time (s),current (A)\n0,1\n1,2\n"])
def test_another_file_is_no_plan(tmp_path: Path, text: str) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_plan(path)
    assert caught.value.code == "not-a-plan"
    assert "duty" not in caught.value.found
