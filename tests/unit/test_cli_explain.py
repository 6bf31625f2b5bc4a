"""`fusetherm explain`: words, JSON, status, figure."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from fusetherm.cli.main import program

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"


def ask(*arguments: object) -> Result:
    return CliRunner().invoke(program, ["explain", *(str(a) for a in arguments)])


@pytest.fixture(scope="module")
def fuse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("fit") / "fuse.fit.json"
    done = CliRunner().invoke(program, ["fit", str(EXAMPLE), "-o", str(path)])
    assert done.exit_code == 0, done.output
    return path


@pytest.fixture
def overload(tmp_path: Path) -> Path:
    path = tmp_path / "overload.csv"
    rows = [f"{0.1 * n:.1f},{75 if 200 <= n < 1200 else 20}" for n in range(1500)]
    path.write_text("time (s),current (A)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_an_opening_in_words(fuse: Path, overload: Path, tmp_path: Path) -> None:
    figure = tmp_path / "why.svg"
    done = ask(overload, "--fuse", fuse, "--ambient-c", 50, "--outdoor-c", 20, "--left-mohm", 1,
               "--flat-top-is-real", "--load-a", 20, "--appearance", "blackened",
               "--figure", figure)  # fmt: skip
    assert done.exit_code == 20, done.output
    for words in ("OPENS: ", "begins to melt at", "load up to 20 A", "pulse of 75 A at 19.9 s",
                  "air outdoors, 20 °C", "air at the fuse, 30 K above it", "Shapley",
                  "left, only heat held back", "left worn, 1 mΩ", "mm molten", "DOES NOT AGREE",
                  "common practice"):  # fmt: skip
        assert words in " ".join(done.stdout.split()), words
    assert done.stdout.count("certification") == 1
    assert figure.read_text(encoding="utf-8").rstrip().endswith("</svg>")


def test_as_data(fuse: Path, overload: Path) -> None:
    done = ask(overload, "--fuse", fuse, "--ambient-c", 50, "--flat-top-is-real", "--json",
               "--right-mohm", 1)  # fmt: skip
    data: dict[str, Any] = json.loads(done.stdout, parse_constant=pytest.fail)
    assert (data["schema"], data["rule"]) == ("fusetherm/explain/1", "shapley")
    assert sum(one["rise_K"] for one in data["causes"]) == pytest.approx(data["rise_K"])
    assert data["appearance"] is None
    assert data["contacts"][0]["side"] == "none"


def test_what_has_long_cooled_off_has_no_share(fuse: Path, tmp_path: Path) -> None:
    # a start of 60 ms, and a load that is held after it until nothing changes
    path = tmp_path / "start.csv"
    rows = [f"{0.01 * n:.2f},{70 if 50 <= n < 56 else 30}" for n in range(200)]
    path.write_text("time (s),current (A)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    done = ask(path, "--fuse", fuse, "--ambient-c", 40, "--load-a", 30, "--after", "hold",
               "--flat-top-is-real")  # fmt: skip
    assert done.exit_code in (0, 10), done.output
    (line,) = [line for line in done.stdout.splitlines() if "pulse of 70 A" in line]
    assert line.split()[:8] == ["0", "%", "0", "K", "0", "K", "0", "K"]
