"""docs/tables.py: what the docs build writes from the table, and that it stops on a failed row."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from fusetherm.verify import Case, run_cases
from fusetherm.verify.case import case
from fusetherm.verify.orders import KINDS, THEORY, orders

DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture(scope="module")
def tables() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_tables", DOCS / "tables.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def one(id: str, value: float, topic: str = "sums", **different: Any) -> Case:
    about: dict[str, Any] = {
        "unit": "A", "expected": 1.0, "relative": 0.1, "source": "a | b_c $x$ <d>",
        "origin": "read", "calls": "len", "topic": topic,
    }  # fmt: skip
    return case(id, f"row {id}", **{**about, **different})(lambda: value)


ROWS = (
    one("exact", 1.0),
    one("used", 1.05, integrates=True),
    one("band", 3.0, topic="gates", expected=(2.0, 4.0), relative=None),
    one("wire", 1.0, topic="measured wires"),
)


def test_everything_is_written(tables: ModuleType, tmp_path: Path) -> None:
    folder = tmp_path / "made" / "here"
    tables.write(folder, run_cases(ROWS))
    assert {path.name for path in folder.iterdir()} == {
        "tolerance.svg", "orders.svg", "lengths.svg", *(f"{name}.md" for name in tables.PAGES),
    }  # fmt: skip
    pages = "".join(path.read_text(encoding="utf-8") for path in DOCS.glob("*.md"))
    for path in folder.iterdir():
        assert f"_generated/{path.name}" in pages, f"no page shows {path.name}"


def test_pages_ask_for_nothing_that_is_not_written(tables: ModuleType, tmp_path: Path) -> None:
    tables.write(tmp_path, run_cases(ROWS))
    pages = "".join(path.read_text(encoding="utf-8") for path in DOCS.glob("*.md"))
    asked = set(re.findall(r"_generated/([\w.]+)", pages))
    assert asked == {path.name for path in tmp_path.iterdir()}


def test_every_row_stands_on_one_of_the_two_pages(tables: ModuleType) -> None:
    result = run_cases(ROWS)
    first, second = tables.verification_rows(result), tables.validation_rows(result)
    for name in ("exact", "used"):
        assert f"row {name}" in first
        assert f"row {name}" not in second
    for name in ("band", "wire"):
        assert f"row {name}" in second
        assert f"row {name}" not in first


def test_counts(tables: ModuleType) -> None:
    text = tables.counts(run_cases(ROWS))
    assert text.startswith("4 rows, 1 of them through")
    assert "| sums | 2 | 1 | 50 % |" in text
    assert "| gates | 1 | 0 | bands only |" in text


def test_cells_mean_nothing_to_markdown(tables: ModuleType) -> None:
    text = tables.verification_rows(run_cases(ROWS))
    assert r"a \| b\_c \$x\$ \<d\>" in text


def test_a_failed_row_stops_the_build(tables: ModuleType, tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="bad"):
        tables.write(tmp_path / "new", run_cases((*ROWS, one("bad", 2.0))))
    assert not (tmp_path / "new").exists()


def test_the_picture_has_a_dot_for_each_tolerance(tables: ModuleType) -> None:
    axes = tables.picture(run_cases(ROWS)).axes[0]
    dots = sorted(tuple(point) for dots in axes.collections for point in dots.get_offsets())
    assert [place for _, place in dots] == [0.0, 1.0, 0.0]
    assert [share for share, _ in dots] == pytest.approx([1e-6, 1e-6, 0.5])
    assert [label.get_text() for label in axes.get_yticklabels()] == ["sums", "measured wires"]


def test_orders_stand_in_table_and_picture(tables: ModuleType) -> None:
    text = tables.orders_table(run_cases(ROWS))
    assert len(text.splitlines()) == 2 + len(orders())
    for line, one in zip(text.splitlines()[2:], orders(), strict=True):
        assert line.startswith(f"| {one.law} |")
        assert f"| {one.observed:.3f} | {one.theory:g} |" in line
    panels = tables.orders_picture().axes
    for axes, kind in zip(panels, KINDS, strict=True):
        drawn = [tuple(line.get_ydata()) for line in axes.lines]
        assert drawn[:-1] == [one.errors for one in orders() if one.kind == kind]
        high, low = drawn[-1][0], drawn[-1][-1]
        ratio = axes.lines[-1].get_xdata()[-1] / axes.lines[-1].get_xdata()[0]
        assert high / low == pytest.approx(ratio ** THEORY[kind])
