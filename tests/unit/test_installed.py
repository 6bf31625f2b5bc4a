"""Installed for real: two wheels and an editable install that share one cache of kernels."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
#: Asked of an install: where it lies, its version, a count, a share, what the cache gave.
ASK = """
import numpy as np, fusetherm
from fusetherm.life import rainflow
from fusetherm.solver.kernels import events, layout
net = layout.Arrays(*(np.zeros((2, 2)) if kind == "Floats" else np.zeros((2, 2), np.int64)
                      for kind in layout.Arrays.__annotations__.values()))
share = events.dissolved(np.full(2, 60.0), net)
counted = rainflow.count_cycles(np.array([0.0, 2.0, 1.0, 3.0, 0.0]))
hits = sum(k.stats.cache_hits.total() for k in (rainflow.count_chunk, events.dissolved))
print(fusetherm.__file__, fusetherm.__version__, counted.count.sum(), share, hits)
"""
#: What the second version changes: a constant of a kernel, and one of another file.
CHANGES = (
    ("__init__.py", '__version__ = "0.1.0"', '__version__ = "0.1.1"'),
    ("life/rainflow.py", "row[COUNT] = 1.0\n", "row[COUNT] = 7.0\n"),
    ("solver/kernels/layout.py", "SPOT_SCALE = 300.0\n", "SPOT_SCALE = 600.0\n"),
)
#: (version, count, share) of the two.
OLD, NEW = ("0.1.0", 2.0, 0.2), ("0.1.1", 8.0, 0.1)


def run(*command: object) -> str:
    done = subprocess.run(
        list(map(str, command)), capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": "", "PIP_DISABLE_PIP_VERSION_CHECK": "1"},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def sources(place: Path, changed: bool) -> Path:
    """A copy of the project, as the second version if asked."""
    shutil.copytree(ROOT / "src", place / "src", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, place / name)
    if changed:
        change(place / "src" / "fusetherm")
    return place


def change(package: Path) -> None:
    for name, old, new in CHANGES:
        path = package / name
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1
        path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_two_wheels_and_an_editable_install_share_one_cache(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FUSETHERM_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1600000000")  # every file of a wheel has this time
    wheels = {}
    for name, changed in (("old", False), ("new", True)):
        place = sources(tmp_path / name, changed)
        run(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", place / "dist", place)
        (wheels[name],) = (place / "dist").glob("*.whl")

    def install(name: str, *what: object) -> Callable[[], tuple[str, float, float, int]]:
        """An environment with our libraries and one fusetherm; returns how to ask it."""
        place = tmp_path / f"env-{name}"
        if not place.exists():
            run(sys.executable, "-m", "venv", "--without-pip", place)
        scripts = "Scripts" if os.name == "nt" else "bin"
        python = place / scripts / "python"
        site = Path(
            run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))")[:-1]
        )
        (site / "zz_libraries.pth").write_text(sysconfig.get_path("purelib"), encoding="utf-8")
        run(sys.executable, "-m", "pip", "--python", python, "install", "-q", "--no-deps",
            "--force-reinstall", "--no-compile", *what)  # fmt: skip
        for path in site.rglob("fusetherm/**/*.py"):
            os.utime(path, (1600000000, 1600000000))  # as unpacked by those who keep the times

        def ask() -> tuple[str, float, float, int]:
            file, number, count, share, hits = run(python, "-B", "-c", ASK).split()
            assert Path(file).is_relative_to(tmp_path), file
            return number, float(count), float(share), int(hits)

        return ask

    old, new = install("old", wheels["old"]), install("new", wheels["new"])
    live = install("live", "-e", sources(tmp_path / "live", changed=False))
    asked = [ask() for ask in (old, new, live, old, new, live)]
    # The editable install runs what the wheel of the same sources compiled.
    expected = [(*OLD, 0), (*NEW, 0), (*OLD, 2), (*OLD, 2), (*NEW, 2), (*OLD, 2)]
    assert asked == expected
    change(tmp_path / "live" / "src" / "fusetherm")  # an edit; its hash is that of the new wheel
    assert live() == (*NEW, 2)
    assert install("old", wheels["new"])() == (*NEW, 2)  # upgraded where it lies
    assert install("old", wheels["old"])() == (*OLD, 2)  # and back
    assert len(list((tmp_path / "cache").iterdir())) == 2
