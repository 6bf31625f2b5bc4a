"""Compiling ahead."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from fusetherm.solver.kernels.advance import advance
from fusetherm.solver.kernels.lane_advance import advance_lanes
from fusetherm.solver.kernels.steady import steady
from fusetherm.solver.warming import exercise, exercise_lanes


def test_everything_is_compiled_by_one_exercise() -> None:
    exercise()
    exercise_lanes()
    assert all(len(kernel.signatures) == 1 for kernel in (advance, steady, advance_lanes))


def test_what_was_compiled_aside_is_what_a_run_asks_for(tmp_path: Path) -> None:
    folder = {**os.environ, "FUSETHERM_CACHE": str(tmp_path)}
    aside = "from fusetherm.solver.warming import exercise_events as run; run()"
    subprocess.run([sys.executable, "-c", aside], env=folder, check=True)
    text = """
from fusetherm.solver.kernels import events
from fusetherm.solver.warming import exercise_events
exercise_events()
print(sum(events.event_share.stats.cache_hits.values()))
"""
    done = subprocess.run(
        [sys.executable, "-c", text], env=folder, check=True, capture_output=True, text=True
    )
    assert done.stdout.strip() == "1"
