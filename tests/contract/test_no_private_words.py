"""Nothing of one machine or of unfinished work stays in the project's files."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PLACES = ("src", "tests", "docs", "benchmarks", ".ci")
TEXT = {".py", ".pyi", ".md", ".toml", ".csv", ".json", ".yaml", ".rst", ".txt", ".cfg", ""}

FORBIDDEN = {
    "absolute path of one machine": re.compile(
        r"(?<![\w.~}/:])/(?:home|root|work|tmp|opt|mnt|srv|Users)/\w"
    ),
    "drive of one machine": re.compile(r"\b[A-Z]:\\{1,2}\w"),
    "unfinished work": re.compile(r"\b(?:TODO|FIXME|XXX|HACK|TBD)\b|lorem ipsum", re.IGNORECASE),
}


def texts() -> Iterator[Path]:
    """Text files of the project, without what tools have built."""
    for path in ROOT.iterdir():
        if path.is_file() and path.suffix in TEXT and path.name != ".git":
            yield path
    for place in PLACES:
        for path in (ROOT / place).rglob("*"):
            built = {"__pycache__", "_build", "generated"} & set(path.parts)
            if path.is_file() and path.suffix in TEXT and not built and path != Path(__file__):
                yield path


def found_in(text: str) -> list[str]:
    """Forbidden matters of a text."""
    return [
        f"line {number}: {what}: {match.group()}"
        for number, line in enumerate(text.splitlines(), 1)
        for what, pattern in FORBIDDEN.items()
        if (match := pattern.search(line))
    ]


def test_files_hold_nothing_private() -> None:
    found = {
        path.relative_to(ROOT).as_posix(): faults
        for path in texts()
        if (faults := found_in(path.read_text(encoding="utf-8")))
    }
    assert found == {}


def test_enough_files_are_looked_at() -> None:
    names = {path.relative_to(ROOT).as_posix() for path in texts()}
    assert {"README.md", "pyproject.toml", "src/fusetherm/errors.py", ".ci/run"} <= names


@pytest.mark.parametrize(
    "line",
    ["see /home/ann/notes", 'open("/tmp/x.csv")', "C:\\data", "# todo later"],
)
def test_the_check_sees_faults(line: str) -> None:
    assert len(found_in(line)) == 1


@pytest.mark.parametrize("line", ["J/K and A/m", "https://host/home/x", "src/home/x", "~/opt/x"])
def test_the_check_leaves_the_rest(line: str) -> None:
    assert found_in(line) == []
