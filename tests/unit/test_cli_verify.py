"""`fusetherm verify`: lines, summary, failed rows at length, JSON, page, status."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from fusetherm import verify
from fusetherm.cli.main import program
from fusetherm.verify import Case
from fusetherm.verify.case import case


def one(id: str, value: float, **different: Any) -> Case:
    about: dict[str, Any] = {
        "unit": "A", "expected": 1.0, "relative": 0.1, "source": "arithmetic", "origin": "computed",
        "calls": "fusetherm.simulate", "topic": "sums", "integrates": True,
    }  # fmt: skip
    return case(id, f"row {id}", **{**about, **different})(lambda: value)


GOOD = (one("good", 1.05), one("inside", 3.0, expected=(2.0, 4.0), relative=None, topic="bands"))
BAD = (*GOOD, one("bad", 1.5))


def run(monkeypatch: pytest.MonkeyPatch, rows: tuple[Case, ...], *arguments: str) -> Result:
    monkeypatch.setattr(verify, "cases", lambda: rows)
    return CliRunner().invoke(program, ["verify", *arguments])


def test_all_passed(monkeypatch: pytest.MonkeyPatch) -> None:
    done = run(monkeypatch, GOOD)
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0].split() == ["ok", "good", "1.05", "A", "+5", "%", "of", "10", "%"]
    assert lines[1].split() == ["ok", "inside", "3", "A", "inside", "of", "2", "to", "4"]
    assert "2 rows, 2 of them through a solver: all passed" in done.stdout
    assert "FAIL" not in done.stdout
    assert "numba" in lines[-1]


def test_a_failed_row_is_told_at_length(monkeypatch: pytest.MonkeyPatch) -> None:
    done = run(monkeypatch, BAD)
    assert done.exit_code == 1
    assert "FAIL bad" in done.stdout
    end = done.stdout.split("FAILED bad: row bad")[1]
    for word in ("expected", "1 A", "1.5 A", "+50 %", "10 %", "fusetherm.simulate", "arithmetic"):
        assert word in end
    assert "1 failed" in end


def test_what_was_raised_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def raising() -> float:
        raise ValueError("no\x1b[31m such thing")

    broken = case(
        "broken", "raises", unit="A", expected=1.0, absolute=1.0, source="none", origin="memory",
        calls="len", topic="sums",
    )(raising)  # fmt: skip
    done = run(monkeypatch, (broken,))
    assert done.exit_code == 1
    assert "ValueError: no\\x1b[31m such thing" in done.stdout


def test_json(monkeypatch: pytest.MonkeyPatch) -> None:
    done = run(monkeypatch, BAD, "--json")
    assert done.exit_code == 1
    data = json.loads(done.stdout)
    assert data["schema"] == "fusetherm/verification/1"
    assert data["passed"] is False
    assert [row["id"] for row in data["rows"]] == ["good", "inside", "bad"]


def test_topic(monkeypatch: pytest.MonkeyPatch) -> None:
    done = run(monkeypatch, BAD, "--topic", "bands", "--json")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["counts"]["topics"] == {"bands": 1}
    unknown = run(monkeypatch, BAD, "--topic", "band")
    assert unknown.exit_code == 3
    assert "topic-unknown" in unknown.stderr
    assert "sums, bands" in unknown.stderr
    assert "did you mean 'bands'?" in unknown.stderr


def test_html(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    done = run(monkeypatch, BAD, "--html", str(page))
    assert done.exit_code == 1, "a failed row speaks, the page is written all the same"
    assert "row bad" in page.read_text(encoding="utf-8")
    again = run(monkeypatch, BAD, "--html", str(page))
    assert again.exit_code == 6
    assert "output-exists" in again.stderr
    assert "ok" not in again.stdout, "refused before any work"
    assert run(monkeypatch, GOOD, "--html", str(page), "--replace").exit_code == 0
