"""Every script in examples/ runs, with its assertions, in a process of its own."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.py"))


def test_there_are_examples_each_with_a_title_a_figure_and_a_number_asserted() -> None:
    assert len(EXAMPLES) >= 10
    for script in EXAMPLES:
        text = script.read_text(encoding="utf-8")
        _, title, line, *_ = text.splitlines()
        assert line == "=" * len(title), script
        assert "\nfigure = " in text, script
        assert re.search(r"^assert .*\d", text, re.MULTILINE), script
        assert ".show()" not in text, script


@pytest.mark.parametrize("script", EXAMPLES, ids=lambda path: path.stem)
def test_example_runs(script: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error::UserWarning", str(script)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        timeout=250,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()
