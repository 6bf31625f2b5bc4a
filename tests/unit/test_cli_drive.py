"""`drive`: the current a source drives, and the verdict on it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from fusetherm.cli.main import program

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"


def ask(*arguments: object) -> Result:
    return CliRunner().invoke(program, ["drive", str(EXAMPLE), *(str(a) for a in arguments)])


def answer(*arguments: object) -> dict[str, Any]:
    done = ask(*arguments, "--json")
    assert done.exit_code in (0, 4, 10, 20), done.output
    data: dict[str, Any] = json.loads(done.stdout, parse_constant=pytest.fail)
    return data


def test_a_motor_that_starts() -> None:
    start = ("--volts", 24, "--mohm", 200, "--uh", 500, "--motor-v", 20, "--motor-s", 0.2,
             "--duration-s", 1, "--ambient-c", 23)  # fmt: skip
    data = answer(*start)
    assert data["schema"] == "fusetherm/drive/1"
    assert data["verdict"] == "carries"
    # Ohm's law: no more than the locked rotor's, and less, since it rises behind L/R = 2.5 ms
    assert 100.0 < data["peak_current_A"] < 24.0 / 0.2
    done = ask(*start)
    assert done.exit_code == 0, done.output
    first = " ".join(done.stdout.split())
    assert "CARRIES: example-high-current-blade-40A, 24 V behind 200 mΩ and 500 µH" in first
    assert "a motor up to 20 V in 200 ms: up to" in first
    assert done.stdout.count("Never fit a larger fuse") == 1


def test_a_short_opens_it_and_the_fuse_limits_it() -> None:
    data = answer("--volts", 24, "--mohm", 60, "--duration-s", 2, "--ambient-c", 23)
    assert data["verdict"] == "opens"
    # the fuse's own 1.24 mΩ and its contacts at 20 °C bound the current from above
    assert data["peak_current_A"] < 24.0 / (0.060 + 1.1e-3)
    assert np.isclose(data["peak_current_A"], 24.0 / 0.062, rtol=0.01)


def test_half_a_motor_is_asked_about() -> None:
    done = ask("--volts", 24, "--mohm", 60, "--motor-v", 20, "--duration-s", 1)
    assert (done.exit_code, "--motor-v and --motor-s go together" in done.stderr) == (2, True)
