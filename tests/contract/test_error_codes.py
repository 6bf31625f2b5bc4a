"""The page of error codes lists every code of the sources, and no other."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
CODE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)+")
ROW = re.compile(r"^\| `([a-z0-9-]+)` \| (.+) \| (.+) \|$", re.MULTILINE)

#: Calls whose first argument is a code.
MAKERS = {
    "FusethermError", "InputError", "FileError", "SolveError", "CalibrationError", "WriteError",
    "Note", "fault", "refuse", "error",
}  # fmt: skip
#: Words with a hyphen that are no codes: encodings, units, kinds of fuses and of times.
WORDS = {
    "utf-8", "utf-8-sig", "utf-16", "latin-1", "m-1", "pre-arcing", "tin-lead", "bolted-strip",
    "zinc-strip", "notched-strip", "wire-in-body", "bolted-30", "medium-blade",
    "high-current-blade", "miniature-blade", "fusetherm-demo", "half-sine", "tin-spot-wire",
    "wire-in-sand", "pvc-70", "pvc-90", "pvc-105", "xlpe-90", "rubber-60",
}  # fmt: skip
GATES = re.compile(r"(iso|iec)\d+-.*")


def name_of(call: ast.Call) -> str:
    function = call.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def codes_of_the_sources() -> tuple[set[str], set[str]]:
    """Texts that are passed as codes, and texts that look like codes.

    The rows of the verification have names with hyphens, so there only what is passed counts.
    """
    passed, alike = set(), set()
    for path in (ROOT / "src" / "fusetherm").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                named = GATES.fullmatch(node.value) or "verify" in path.parts
                if CODE.fullmatch(node.value) and not named:
                    alike.add(node.value)
            elif isinstance(node, ast.Call) and name_of(node) in MAKERS and node.args:
                first = node.args[0]
                if isinstance(first, ast.Constant) and isinstance(first.value, str):
                    passed.add(first.value)
    return passed, alike - WORDS


def listed() -> Counter[str]:
    page = (ROOT / "docs" / "errors.md").read_text(encoding="utf-8")
    return Counter(code for code, _, _ in ROW.findall(page))


def test_every_code_is_listed_once() -> None:
    passed, alike = codes_of_the_sources()
    assert len(passed) > 100
    page = listed()
    assert sorted((passed | alike) - set(page)) == []
    assert [code for code, times in page.items() if times > 1] == []


def test_no_code_is_listed_that_nothing_raises() -> None:
    passed, alike = codes_of_the_sources()
    assert sorted(set(listed()) - passed - alike) == []
