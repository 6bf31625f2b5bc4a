"""Processors of different kinds agree: vectors and fused operations change the last digits only."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from fusetherm.fuse.element import Element, Section
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, FuseModel, Side
from fusetherm.physics.metals import metal
from fusetherm.solver.batch import Scenario, results_of, run_lanes
from fusetherm.solver.integrate import Ambient, ConstantBlock, integrate
from fusetherm.solver.network import build_network
from fusetherm.solver.pieces import piece_of

CURRENTS = (50.0, 80.0, 120.0, 300.0)


def figures() -> list[float]:
    """Times, peaks and heats of some runs, one by one and side by side; 0 for none."""
    strip = (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4))
    side = Side(Blade(0.4, 0.01, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
    model = FuseModel(Element(metal("zinc"), strip), Body(element_emissivity=0.3), side, side)
    network = build_network(model, ambient_k=296.15, cells=32)
    cold, still = network.state(296.15), Ambient(np.array([0.0]), np.array([296.15]))
    blocks = [ConstantBlock(current**2, 60.0, 0.0) for current in CURRENTS]
    found: list[float] = []
    for block in blocks:
        for tolerance in (1e-3, 1e-4):
            run = integrate(
                network, iter((block,)), cold, still, until=60.0, tolerance=tolerance,
                integrator="rodas3",
            )  # fmt: skip
            found += [run.onset_time or 0.0, run.parted_time or 0.0, run.peak_k, run.joule]
    runs = [Scenario(network, (piece_of(block),), 1.0, cold, 60.0) for block in blocks]
    lanes = results_of(runs, run_lanes(runs, tolerance=1e-4))
    for name in ("onset_time", "pre_arcing_time", "peak_temperature_c", "energy"):
        found += np.nan_to_num(lanes[name]).tolist()
    return found


@pytest.mark.skipif("NUMBA_CPU_NAME" in os.environ, reason="another processor is asked for already")
def test_the_plainest_processor_agrees_within_1e_9(tmp_path: Path) -> None:
    """The compiler's generic processor has vectors of two numbers and no fused operation."""
    plain = {
        "NUMBA_CPU_NAME": "generic",
        "NUMBA_CPU_FEATURES": "",
        "FUSETHERM_CACHE": str(tmp_path),
    }
    done = subprocess.run(
        [sys.executable, __file__], env={**os.environ, **plain}, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    there, here = np.array(json.loads(done.stdout)), np.array(figures())
    assert np.count_nonzero(here) > 0.7 * here.size
    assert there == pytest.approx(here, rel=1e-9)


if __name__ == "__main__":
    print(json.dumps(figures()))
