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
    assert all(len(kernel.called_with) == 1 for kernel in (advance, steady, advance_lanes))


def test_what_was_compiled_aside_is_what_a_run_asks_for(tmp_path: Path) -> None:
    folder = {**os.environ, "FUSETHERM_CACHE": str(tmp_path)}
    aside = "from fusetherm.solver.warming import exercise_events as run; run()"
    subprocess.run([sys.executable, "-c", aside], env=folder, check=True)
    text = """
from fusetherm.solver.kernels.advance import advance, note_peak
from fusetherm.solver.kernels.events import event_share
from fusetherm.solver.warming import exercise_aside
exercise_aside()
for kernel in (event_share, note_peak, advance):
    print(kernel.stats.cache_hits.total(), kernel.stats.cache_misses.total())
"""
    done = subprocess.run(
        [sys.executable, "-c", text], env=folder, check=True, capture_output=True, text=True
    )
    # the last, which runs, was not made aside; the others it takes as they were made there
    assert done.stdout.split() == ["1", "0", "1", "0", "0", "1"]
