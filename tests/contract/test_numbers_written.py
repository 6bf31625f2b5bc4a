"""Numbers for people pass through one module; no text of the face formats one by itself."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "src" / "fusetherm"
FACE = [
    *(p for part in ("answers", "cli", "show") for p in sorted((PACKAGE / part).glob("*.py"))),
    *(PACKAGE / "current" / f"{name}.py"
      for name in ("quality", "timing", "capture", "columns", "parsing")),
]  # fmt: skip
#: General and scientific formats choose an exponent, or as many digits as they like.
LOOSE = re.compile(r"[ge]$")


@pytest.mark.parametrize("path", FACE, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_no_text_of_the_face_chooses_its_own_digits(path: Path) -> None:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.FormattedValue) or node.format_spec is None:
            continue
        spec = ast.unparse(node.format_spec).strip("f'\"")
        if LOOSE.search(spec):
            found.append(f"line {node.lineno}: {ast.unparse(node.value)}:{spec}")
    assert found == []
