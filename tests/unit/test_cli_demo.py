"""`demo` runs the whole path on shipped data; `warm` compiles."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from fusetherm.cli.main import program
from fusetherm.demo import definitions


def test_demo_explains_decides_and_draws(tmp_path: Path) -> None:
    out = tmp_path / "a b" / "figures"
    done = CliRunner().invoke(program, ["demo", "--out", str(out)])
    assert done.exit_code == 0, done.output
    text = done.stdout
    places = [text.index(f"{n}. The ") for n in range(1, 7)]
    assert places == sorted(places)
    assert "CARRIES: inverter_feed_40A" in text
    assert text.count("certification") == 1
    assert "stuck_pump" in text
    figures = sorted(path.name for path in out.iterdir())
    assert figures == ["inverter_feed_40A.png", "inverter_switch_on.png"]
    assert all((out / name).stat().st_size > 20_000 for name in figures)

    again = CliRunner().invoke(program, ["demo", "--out", str(out)])
    assert again.exit_code == 6, "figures in a folder of the user's are not replaced unasked"
    once_more = CliRunner().invoke(program, ["demo", "--out", str(out), "--replace", "--json"])
    data = json.loads(once_more.stdout, parse_constant=pytest.fail)
    assert data["schema"] == "fusetherm/demo/1"
    verdicts = {name: case["verdict"] for name, case in data["cases"].items()}
    assert verdicts["inverter_switch_on"] == "carries"
    assert verdicts["stuck_pump"] == "opens"


def test_the_boats_files_are_copied_and_never_replaced_unasked(tmp_path: Path) -> None:
    asked = ["demo", "--files", "--out", str(tmp_path)]
    done = CliRunner().invoke(program, [*asked, "--json"])
    assert done.exit_code == 0, done.output
    files = [Path(one) for one in json.loads(done.stdout)["files"]]
    assert {one.parent.name for one in files} == {"boxes", "captures", "duties", "fuses"}
    copy = tmp_path / "fuses" / "inverter_feed_40A.toml"
    assert copy.read_bytes() == definitions()["inverter_feed_40A"].read_bytes()
    copy.write_text("mine")
    assert CliRunner().invoke(program, asked).exit_code == 6
    assert copy.read_text() == "mine"
    assert CliRunner().invoke(program, [*asked, "--replace"]).exit_code == 0
    assert copy.read_text() != "mine"


def test_demo_into_a_file_cannot_write(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    done = CliRunner().invoke(program, ["demo", "--out", str(tmp_path / "file")])
    assert done.exit_code == 6
    assert "Traceback" not in done.output


def test_warm_says_where_it_keeps_what_it_compiled() -> None:
    done = CliRunner().invoke(program, ["warm", "--json"])
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert data["schema"] == "fusetherm/warm/1"
    assert data["seconds"] > 0.0
    assert data["cache"] is None or "kernels-" in data["cache"]
