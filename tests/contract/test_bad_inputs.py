"""Every row of the list of inputs that go wrong has a test that carries its number."""

from __future__ import annotations

import re
from pathlib import Path

TESTS = Path(__file__).parents[1]
#: Files and numbers 1 to 72, definitions 73 to 88, conditions and conductors to 99, runs and files.
ROWS = set(range(1, 119))


def test_every_row_has_a_test() -> None:
    found: set[int] = set()
    for path in TESTS.rglob("test_*.py"):
        for name in re.findall(r"def test_bad_input((?:_[0-9]{2,3}(?![0-9]))+)",
                               path.read_text(encoding="utf-8")):  # fmt: skip
            found |= {int(number) for number in name.split("_") if number}
    assert sorted(ROWS - found) == []
