"""A step of hours over a cell of milliseconds must not invent a peak.

The dense output took the rate at a step's end as it was: an error of .01 K in a cell of 10 ms,
well within the tolerance, is a rate of 1 K/s, and over a step of an hour the cubic through it
stood thousands of kelvins high; the electrical balance went with it.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fusetherm import Element, FuseModel, Section, Waveform, metal, simulate
from fusetherm.fuse.model import Blade, Body, Side
from fusetherm.solver.steady import minimum_fusing_current

MODEL = FuseModel(
    Element(metal("silver"), (Section(6e-3, 2e-3, 0.1e-3, middle_width=0.6e-3),)),
    Body(),
    right=Side(Blade(0.3, 0.05)),
)
FUSING = minimum_fusing_current(MODEL, ambient_c=23.0, cells=24)


@pytest.mark.parametrize("seed", range(12))
def test_peak_of_records_of_many_hours(seed: int) -> None:
    rng = np.random.default_rng(seed)
    edges = np.concatenate(([0.0], np.cumsum(10.0 ** rng.uniform(-2, 5, 5))))
    time = [t for pair in itertools.pairwise(edges) for t in pair]
    wave = Waveform(time=time, current=np.repeat(rng.uniform(0, 0.95, 5), 2) * FUSING)
    ambient = [(0.0, 23.0), (0.5 * edges[-1], 85.0), (0.9 * edges[-1], 10.0)]
    run = simulate(MODEL, wave, ambient_c=ambient, cells=24)
    fine = simulate(MODEL, wave, ambient_c=ambient, cells=24, integrator="rodas4", tolerance=1e-7)
    assert run.peak_temperature_c == pytest.approx(fine.peak_temperature_c, abs=0.5)
    # beyond the trace's rows only by what a peak between steps can be
    assert run.peak_temperature_c <= np.max(run.element_temperature_c) + 0.5
    assert run.electrical_balance < 1e-3
