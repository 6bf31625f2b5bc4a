"""Forks, threads and processes side by side give what one process alone gives, to the bit."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import fusetherm as ft

if TYPE_CHECKING:
    from fusetherm.calibration.fit import Calibration

FORKED = """
import multiprocessing, os, sys
import fusetherm as ft
from fusetherm.threads import each

wire = ft.FuseModel(ft.round_wire(ft.metal("copper"), 0.3e-3, 0.02))

def one(number):
    wave = ft.Waveform(time=[0.0, 0.05], current=[100.0 + number, 150.0])
    run = ft.simulate(wire, wave, ambient_c=23.0)
    return run.peak_temperature_c.hex(), run.element_temperature_c.tobytes()

alone = each(one, 4, 2)  # kernels and threads were used before the fork
assert len(set(alone)) == 4
reading, writing = os.pipe()
child = os.fork()
if not child:
    os.write(writing, one(2)[0].encode())
    os._exit(0)
os.close(writing)
assert os.read(reading, 100).decode() == alone[2][0]
assert os.waitpid(child, 0)[1] == 0
with multiprocessing.get_context("fork").Pool(2) as pool:
    assert pool.map(one, range(4)) == alone
assert each(one, 4, 2) == alone
print("the same")
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no forks on this platform")
def test_forks_after_kernels_were_used() -> None:
    done = subprocess.run(
        [sys.executable, "-W", "ignore::DeprecationWarning", "-c", FORKED],
        check=False, capture_output=True, text=True, timeout=100,
    )  # fmt: skip
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, "the same", "")


def test_threads_that_simulate_and_fit_at_once(published: Any, fitted: Calibration) -> None:
    model = published.truth

    def run(current: float) -> list[bytes]:
        wave = ft.Waveform(time=[0.0, 2.0], current=[current, current])
        found = ft.simulate(model, wave, ambient_c=40.0, start=10.0)
        return [found.time.tobytes(), found.element_temperature_c.tobytes(),
                found.final_state.u.tobytes(), repr(found.conservation).encode()]  # fmt: skip

    def fit() -> list[bytes]:
        made = ft.calibrate(published.definition)
        return [made.scores.tobytes(), made.covariance.tobytes()]

    currents = (20.0, 60.0, 90.0, 200.0)
    tasks: list[Callable[[], list[bytes]]] = [fit, fit]
    tasks += [lambda current=current: run(current) for current in (*currents, *currents)]
    alone = [fit(), *(run(current) for current in currents)]
    with ThreadPoolExecutor(len(tasks)) as pool:
        found = [task.result() for task in [pool.submit(task) for task in tasks]]
    assert found == [alone[0], *alone, *alone[1:]]
    assert len(set(map(tuple, alone))) == len(alone)
    assert alone[0][0] == fitted.scores.tobytes()


WARM = """
import time, fusetherm as ft
from fusetherm.solver.warming import exercise
from fusetherm.solver.kernels.advance import advance
from fusetherm.solver.kernels.steady import steady
exercise()
wire = ft.FuseModel(ft.round_wire(ft.metal("copper"), 0.3e-3, 0.02))
wave = ft.Waveform(time=[0.0, 0.05], current=[100.0, 150.0])
run = ft.simulate(wire, wave, ambient_c=23.0)
print(run.peak_temperature_c.hex(), sum(k.stats.cache_hits.total() for k in (advance, steady)))
"""


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_processes_that_fill_one_empty_cache_at_once(tmp_path: Path) -> None:
    variables = {**os.environ, "FUSETHERM_CACHE": str(tmp_path / "cache")}

    def ask(count: int) -> list[list[str]]:
        begun = [
            subprocess.Popen([sys.executable, "-c", WARM], env=variables, text=True,
                             stdout=subprocess.PIPE, stderr=subprocess.PIPE)
            for _ in range(count)
        ]  # fmt: skip
        said = [process.communicate() for process in begun]
        assert [process.returncode for process in begun] == [0] * count, said
        assert all(errors == "" for _, errors in said)
        return [out.split() for out, _ in said]

    first = ask(3)
    (later,) = ask(1)
    assert {value for value, _ in first} == {later[0]}
    assert later[1] == "2"  # nothing was compiled again
    assert not list((tmp_path / "cache").rglob("*.tmp*"))
