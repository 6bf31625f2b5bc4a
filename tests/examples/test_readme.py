"""README.md: its Python runs, its commands exist, its marked lines are single lines."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```python\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
COMMANDS = sorted(set(re.findall(r"`fusetherm (\w+)", README)))


def marked(marker: str) -> list[str]:
    """Lines of the shell block under a marker."""
    found = re.findall(rf"^<!-- {marker} -->\n```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert len(found) == 1, f"one block marked {marker!r}"
    return str(found[0]).splitlines()


def test_python_blocks_run_and_agree(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert BLOCKS
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for block in BLOCKS:
        exec(compile(block, "README.md", "exec"), names)
    run = names["run"]
    assert run.opened is False  # type: ignore[attr-defined]
    assert 85.0 < run.peak_temperature_c < 419.5  # type: ignore[attr-defined]
    assert len(capsys.readouterr().out.splitlines()) >= 2


@pytest.mark.parametrize("marker", ["main job", "tests"])
def test_marked_lines_can_be_pasted(marker: str) -> None:
    (line,) = marked(marker)
    assert line.startswith("python3 -m venv .venv")
    assert " && pip install " in line


@pytest.mark.skipif(sys.platform == "win32", reason="the script is for a POSIX shell")
def test_ci_takes_the_lines_from_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert os.access(ROOT / ".ci" / "run", os.X_OK)
    (function,) = re.findall(r"^line\(\) \{\n.*?^\}$", script, re.MULTILINE | re.DOTALL)
    for marker in ("main job", "tests"):
        assert f'(line "{marker}")' in script or f"(line {marker})" in script
        shown = subprocess.run(
            ["bash", "-euc", f"{function}\nline '{marker}'"],
            cwd=ROOT,
            check=True,
            capture_output=True,
            text=True,
        )
        assert shown.stdout.splitlines() == marked(marker)


@pytest.mark.parametrize("command", COMMANDS)
def test_commands_exist(command: str) -> None:
    script = shutil.which("fusetherm", path=str(Path(sys.executable).parent))
    assert script is not None
    done = subprocess.run(
        [script, command, "--help"], check=False, capture_output=True, text=True, encoding="utf-8"
    )
    assert done.returncode == 0, done.stderr
    assert command in done.stdout


def test_the_five_commands_are_shown() -> None:
    assert {"demo", "inspect", "fit", "carry", "curve"} <= set(COMMANDS)
