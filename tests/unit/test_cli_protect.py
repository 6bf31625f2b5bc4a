"""`fusetherm protect`: statuses, words, JSON, figure, refusals."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from fusetherm.cli.main import program

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"
PLACE = ("--fuse-ambient-c", -10, "--wire-ambient-c", 50)
SOURCE = ("--strongest-v", 29, "--strongest-mohm", 35, "--weakest-v", 21, "--weakest-mohm", 60,
          "--length-m", 5)  # fmt: skip
LAID = ("--insulation", "pvc-105", "--bundle", 2)


def ask(*arguments: object) -> Result:
    return CliRunner().invoke(program, ["protect", *(str(a) for a in arguments)])


@pytest.fixture(scope="module")
def fuse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("fit") / "fuse.fit.json"
    done = CliRunner().invoke(program, ["fit", str(EXAMPLE), "-o", str(path)])
    assert done.exit_code == 0, done.output
    return path


def test_a_protected_conductor_in_words(fuse: Path, tmp_path: Path) -> None:
    figure = tmp_path / "a.svg"
    done = ask(fuse, "--section", "16 mm2", *LAID, *PLACE, *SOURCE,
               "--arcing-allowance", 2, "--figure", figure)  # fmt: skip
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0].startswith("PROTECTED: ")
    for word in ("16 mm² of copper, pvc-105", "this fuse", "its class", "iso8820-3", "withstands",
                 "far end", "829 A right behind the fuse", "-10 °C (coldest)",
                 "bundle of 2"):  # fmt: skip
        assert word in done.stdout, word
    assert done.stdout.count("Never replace a fuse in a live circuit.") == 1
    assert "\x1b" not in done.stdout
    drawn = figure.read_text(encoding="utf-8")
    assert drawn.rstrip().endswith("</svg>")
    assert len(drawn) > 20_000


def test_a_gap_as_data_and_as_a_status(fuse: Path, tmp_path: Path) -> None:
    fault = tmp_path / "fault.csv"
    fault.write_text("time (s),current (A)\n" + "".join(f"{n},68\n" for n in range(1200)))
    done = ask(fuse, "--section", "AWG 14", *LAID, *PLACE, *SOURCE, "--arcing-allowance", 2,
               "--fault", fault, "--flat-top-is-real", "--json")  # fmt: skip
    assert done.exit_code == 20, done.output
    data: dict[str, Any] = json.loads(done.stdout, parse_constant=pytest.fail)
    assert data["schema"] == "fusetherm/protect/1"
    assert data["verdict"] == data["fitted_verdict"] == data["class_verdict"] == "not_protected"
    assert data["section_mm2"] == pytest.approx(2.0809, rel=1e-4)
    assert data["conductor_limit_A"] < data["rated_current_A"] == 40.0
    assert data["gaps"][0]["cleared_s"] is None
    assert data["gaps"][0]["from_A"] == pytest.approx(data["conductor_limit_A"], rel=1e-4)
    assert data["fault"]["damaged_s"] < data["fault"]["parted_s"]
    assert "fuse-above-conductor" in {note["code"] for note in data["notes"]}


@pytest.mark.parametrize(
    ("arguments", "status", "code"),
    [
        (("--section", "16", *LAID, *PLACE), 3, "section-unreadable"),
        (("--section", "14 mm2", *LAID, *PLACE), 3, "section-or-gauge"),
        (("--section", "16 mm2", "--insulation", "pvc", "--bundle", 1, *PLACE), 3,
         "insulation-unknown"),
        (("--section", "16 mm2", *LAID, *PLACE, "--length-m", 5), 3, "circuit-incomplete"),
        (("--section", "16 mm2", "--insulation", "pvc-105", *PLACE), 2, "--bundle"),
        (("--insulation", "pvc-105", "--bundle", 1, *PLACE), 2, "--section"),
        (("--section", "16 mm2", "--bundle", 1, *PLACE), 2, "--insulation"),
        (("--section", "16 mm2", *LAID, "--fuse-ambient-c", 0), 2, "--wire-ambient-c"),
    ],
)  # fmt: skip
def test_what_is_absent_or_cannot_be(
    fuse: Path, arguments: tuple[object, ...], status: int, code: str
) -> None:
    done = ask(fuse, *arguments)
    assert done.exit_code == status, done.output
    assert code in done.stderr
    assert done.stdout == ""
