"""`inspect`: what was understood of a capture, in words and as JSON."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fusetherm.cli.main import program

VOLTS = ["--clamp", "10 mV/A", "--zero", "0 s : 0.01 s"]


def write(path: Path, head: str = "Time (s),Clamp (V)", scale: float = 0.01) -> Path:
    """A capture: 20 ms of nothing, 10 ms of 100 A, 70 ms of 20 A; an offset of 3 A."""
    rows = [head]
    for n in range(101):
        current = 0.0 if n < 20 else 100.0 if n < 30 else 20.0
        rows.append(f"{1e-3 * n:.4f},{scale * (current + 3.0):.5f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def ask(*arguments: object) -> Result:
    return CliRunner().invoke(program, ["inspect", *map(str, arguments)])


def test_json_has_every_figure_with_its_unit(tmp_path: Path) -> None:
    done = ask(write(tmp_path / "a.csv"), *VOLTS, "--json")
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout, parse_constant=pytest.fail)
    assert data["schema"] == "fusetherm/inspect/1"
    assert data["columns"] == ["Time (s)", "Clamp (V)"]
    assert (data["time_unit"], data["current_unit"]) == ("s", "V")
    assert data["samples"] == 101
    assert data["sample_rate_Hz"] == pytest.approx(1000.0)
    assert data["offset_removed_A"] == pytest.approx(3.0)
    assert data["peak_A"] == pytest.approx(100.0)
    assert data["longest_pulse_duration_s"] == pytest.approx(0.0096, abs=1e-3)
    # 9 ms at 100 A, 70 ms at 20 A, three slopes of 1 ms between 0, 100, 20 A
    assert data["i2t_A2s"] == pytest.approx(90.0 + 28.0 + (1e4 + 1e4 + 2e3 + 400) / 3e3, rel=1e-3)
    assert data["bandwidth_Hz"] is None


def test_words_name_columns_units_offset_and_pulse(tmp_path: Path) -> None:
    done = ask(write(tmp_path / "a.csv"), *VOLTS, "--threshold-a", "50")
    assert done.exit_code == 0
    for part in ("Time (s) in s", "Clamp (V) in V", "1 kHz", "3 A found, 3 A removed", "I²t",
                 "above 50 A", "none seen"):  # fmt: skip
        assert part in done.stdout
    assert "\x1b" not in done.stdout


def test_bad_file_gives_place_and_way_out_without_traceback(tmp_path: Path) -> None:
    done = ask(write(tmp_path / "a.csv"))
    assert done.exit_code == 3
    assert done.stdout == ""
    assert "volts-without-ratio" in done.stderr
    assert "a.csv, line 1, Clamp (V)" in done.stderr
    assert "to mend it" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("name", ["missing.csv", "", "."])
def test_no_file_is_bad_input(name: str, tmp_path: Path) -> None:
    done = ask(tmp_path / name)
    assert done.exit_code == 3
    assert "Traceback" not in done.output


def test_options_choose_columns_and_policies(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = ["t,x,y", *(f"{0.1 * n:.2f},{n % 7},{5 + n % 3}" for n in range(40))]
    path.write_text("\n".join(rows) + "\n")
    options = ["--time-column", "0", "--time-unit", "s", "--unit", "A"]
    done = ask(path, "--column", "y", *options, "--json")
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert (data["current_column"], data["highest_A"]) == ("y", 7.0)
    by_place = json.loads(ask(path, "--column", "2", *options, "--json").stdout)
    assert by_place == data
    del rows[20:30]
    path.write_text("\n".join(rows) + "\n")
    assert ask(path, "--column", "y", *options).exit_code == 3
    assert ask(path, "--column", "y", *options, "--gaps", "linear").exit_code == 0
    assert ask(path, "--gaps", "guess").exit_code == 2


@pytest.mark.skipif(sys.platform == "win32", reason="Windows allows no such names")
@pytest.mark.parametrize("name", ["-x.csv", "a\nb.csv", "a\x1b[31mb.csv", "ä °C ✓.csv", "a b.csv"])
def test_hostile_names_are_read_and_shown_safely(name: str, tmp_path: Path) -> None:
    path = write(tmp_path / name)
    done = ask("--json", *VOLTS, "--", path)
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["path"] == str(path)
    words = ask(*VOLTS, "--", path).stdout
    fault = ask("--", path).stderr
    assert "\x1b" not in words + fault
    assert "\na\n" not in words.replace(str(tmp_path), "")


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no text exist on Linux")
def test_names_that_are_no_text(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.csv"))
    write(path)
    done = ask(path, *VOLTS, "--json")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["path"] == str(path)
