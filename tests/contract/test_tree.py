"""What is kept under version control: nothing that lay about, and nothing large."""

from __future__ import annotations

import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: Everything that may lie at the top, beside files whose name begins with a dot.
TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "noxfile.py",
    "src", "tests", "benchmarks", "examples", "docs",
}  # fmt: skip
LARGEST = 500_000  # bytes


#: What building and testing leave behind.
MADE = {"build", "dist", "_build", "_generated", "generated", "gallery", "__pycache__"}


def kept() -> list[str]:
    """Names of the files under version control; in an export of it, of all that was not made."""
    if (ROOT / ".git").exists():
        done = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
        )
        return [name for name in done.stdout.split("\0") if name]
    tops = [path for path in ROOT.iterdir() if not path.name.startswith(".")]
    files = [file for top in tops for file in (top.rglob("*") if top.is_dir() else [top])]
    names = [file.relative_to(ROOT) for file in files if file.is_file()]
    return [name.as_posix() for name in names if not MADE & set(name.parts)]


def test_the_top_holds_what_it_should() -> None:
    names = {name.split("/")[0] for name in kept()}
    assert {name for name in names if not name.startswith(".")} == TOP


def test_no_file_is_large() -> None:
    sizes = {name: (ROOT / name).stat().st_size for name in kept() if (ROOT / name).exists()}
    assert {name for name, size in sizes.items() if size > LARGEST} == set()
