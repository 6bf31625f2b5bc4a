"""What is kept under version control: nothing that lay about, and nothing large."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
#: Everything that may lie at the top, beside files whose name begins with a dot.
TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "noxfile.py",
    "src", "tests", "benchmarks", "examples", "docs",
}  # fmt: skip
LARGEST = 500_000  # bytes


def tracked() -> list[str]:
    """Names of the files under version control."""
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        pytest.skip("no checkout")
    done = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [name for name in done.stdout.split("\0") if name]


def test_the_top_holds_what_it_should() -> None:
    names = {name.split("/")[0] for name in tracked()}
    assert {name for name in names if not name.startswith(".")} == TOP


def test_no_file_is_large() -> None:
    sizes = {name: (ROOT / name).stat().st_size for name in tracked() if (ROOT / name).exists()}
    assert {name for name, size in sizes.items() if size > LARGEST} == set()
