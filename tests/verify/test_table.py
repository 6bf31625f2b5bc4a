"""The shipped table: sound, whole, and passed as it stands."""

from __future__ import annotations

import re
import time
from collections import Counter
from importlib import import_module
from pathlib import Path

import pytest

from fusetherm.compiled import is_warm
from fusetherm.verify import Case, Verification, cases, run_cases

ROOT = Path(__file__).parents[2]
ROWS = ROOT / "src" / "fusetherm" / "verify" / "rows"
CASES = cases()


@pytest.fixture(scope="module")
def result() -> Verification:
    assert is_warm() or run_cases(topic="notches").passed
    return run_cases()


@pytest.mark.parametrize("one", CASES, ids=lambda one: one.id)
def test_row_passes(one: Case, result: Verification) -> None:
    (row,) = (row for row in result.rows if row.case is one)
    assert row.passed, f"{row.case.what}: {row.got} {row.failure}"


def test_it_is_quick(result: Verification) -> None:
    # The whole is to take less than 60 s on two cores; here one of them works.
    assert result.seconds < 60.0


def test_names_are_unique_and_plain() -> None:
    names = Counter(one.id for one in CASES)
    assert [name for name, times in names.items() if times > 1] == []
    assert [name for name in names if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", name)] == []
    lines = Counter(one.what for one in CASES)
    assert [line for line, times in lines.items() if times > 1] == []


@pytest.mark.parametrize("called", sorted({one.calls for one in CASES}))
def test_what_a_row_calls_exists(called: str) -> None:
    parts = called.split(".")
    for length in range(len(parts), 0, -1):
        try:
            found: object = import_module(".".join(parts[:length]))
        except ModuleNotFoundError:
            continue
        for name in parts[length:]:
            found = getattr(found, name)
        assert callable(found)
        return
    pytest.fail(f"no module of {called}")


def test_texts_fit_a_line_and_sources_say_how_they_were_come_by() -> None:
    for one in CASES:
        assert "\n" not in one.what + one.source
        assert len(one.what) <= 110, one.id
        assert one.unit.strip() == one.unit != "", one.id
        assert ("from memory" in one.source) <= (one.origin == "memory"), one.id


def test_every_file_of_rows_is_in_the_table() -> None:
    files = {path.stem for path in ROWS.glob("*.py")} - {"__init__"}
    modules = {name: import_module(f"fusetherm.verify.rows.{name}") for name in files}
    listed = {id(one) for one in CASES}
    for name, module in modules.items():
        assert module.ROWS, name
        assert all(id(one) in listed for one in module.ROWS), name
    assert len(CASES) == sum(len(module.ROWS) for module in modules.values())


def test_no_case_is_left_out_of_its_files_rows() -> None:
    for path in ROWS.glob("*.py"):
        if path.stem != "__init__":
            module = import_module(f"fusetherm.verify.rows.{path.stem}")
            made = [v for v in vars(module).values() if isinstance(v, Case)]
            assert all(any(one is row for row in module.ROWS) for one in made), path.stem


def test_rows_need_nothing_that_only_the_tests_have() -> None:
    words = "ht|thermo|chemicals|mendeleev|periodictable|CoolProp|skfem|sksundae|hypothesis|pytest"
    for path in (ROWS.parent).rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(rf"^\s*(import|from) ({words}|tests)\b", text, re.MULTILINE), path


def test_two_runs_give_the_same(result: Verification) -> None:
    begin = time.perf_counter()
    again = run_cases(one for one in CASES if one.topic == "notches")
    assert time.perf_counter() - begin < 60.0
    first = {row.case.id: row.got for row in result.rows}
    assert all(first[row.case.id] == row.got for row in again.rows)


def test_the_readme_counts_the_rows() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (said,) = re.findall(r"more than (\d+) rows, more than (\d+) of them through", readme)
    counted = len(CASES), sum(one.integrates for one in CASES)
    for least, count in zip(map(int, said), counted, strict=True):
        # in tens, and not long out of date
        assert least < count <= least + 50, f"the table has {counted} rows and integrated rows"
    assert counted[1] >= counted[0] / 2, "at least half go through the integrator"
