"""Cycles counted, damage summed, and trains of pulses that have settled."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from ...current.waveform import Waveform
from ...life.rainflow import count_cycles
from ...life.strain_life import copper_strain, cycles_at_strain
from ...life.swing_law import SwingLaw, equivalent_swing, miner_sum
from ...solver.run import simulate
from ..case import Case, Origin, case
from ..models import lump

_HISTORY = (-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0)
_STANDARD = "ASTM E1049-85 (2011), worked example of rainflow counting"


def _formula(
    name: str, what: str, unit: str, expected: float, source: str, origin: Origin, calls: str,
    measured: Callable[[], float],
) -> Case:  # fmt: skip
    return case(
        f"endurance-{name}", what, unit=unit, expected=expected, relative=1e-9, source=source,
        origin=origin, calls=calls,
    )(measured)  # fmt: skip


def _count(size: float, count: float) -> Case:
    return _formula(
        f"rainflow-range-{size:g}",
        f"worked example of the standard: cycles of range {size:g}",
        "1",
        count,
        _STANDARD,
        "read",
        "fusetherm.life.rainflow.count_cycles",
        lambda: count_cycles(_HISTORY).tally()[size],
    )


def _acceleration() -> float:
    law = SwingLaw(
        pivot_cycles=1.0, pivot_swing=100.0, exponent=1.9,
        peak_activation=1414.0, frequency_exponent=1.0 / 3.0,
    )  # fmt: skip
    use = law.cycles(50.0, peak_k=358.0, frequency=6.0 / 86400.0)
    return float(use / law.cycles(100.0, peak_k=398.0, frequency=24.0 / 86400.0))


def _settled(cycles: int) -> Case:
    @case(
        f"endurance-settled-train-{cycles}",
        f"5 W for 3 s in every 10 s into .8 J/K and .05 W/K, {cycles} times: peak rise",
        unit="K",
        expected=36.78861456985519,
        relative=1e-6,
        source="P/G (1 - exp(-3/16)) / (1 - exp(-10/16)), evaluated by hand",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        on = math.sqrt(5.0 / 1e-3)
        wave = Waveform(time=[0.0, 3.0, 3.0, 10.0], current=[on, on, 0.0, 0.0]).repeated(cycles)
        model = lump(capacity=0.8, loss=0.05, ohms=1e-3)
        run = simulate(model, wave, ambient_c=20.0, tolerance=1e-8, integrator="rodas4")
        last = run.time >= (cycles - 1) * 10.0
        return float(np.max(run.node_temperature_c["blade_left"][last])) - 20.0

    return measured


ROWS = (
    _count(3.0, 0.5),
    _count(4.0, 1.5),
    _count(6.0, 0.5),
    _count(8.0, 1.0),
    _count(9.0, 0.5),
    _formula(
        "miner-sum", "Miner's sum of the standard's example, N = 1e6 / range^5", "1", 0.067838,
        _STANDARD + ", summed by hand", "computed", "fusetherm.life.swing_law.miner_sum",
        lambda: miner_sum(
            SwingLaw(pivot_cycles=1e6, pivot_swing=1.0, exponent=5.0), count_cycles(_HISTORY)
        ),
    ),
    _formula(
        "equivalent-range", "range of four equal cycles that do its damage, exponent 5", "1",
        7.012657184894694, _STANDARD + ", summed by hand", "computed",
        "fusetherm.life.swing_law.equivalent_swing",
        lambda: equivalent_swing(count_cycles(_HISTORY), 5.0, 4.0),
    ),
    _formula(
        "hold-and-peak", "tin-lead, 100 to 50 K, 24 to 6 a day, 398 to 358 K: acceleration", "1",
        3.4967654147881473,
        "K. C. Norris and A. H. Landzberg, IBM J. Res. Dev. 13 (1969) 266, formula from memory",
        "memory", "fusetherm.life.swing_law.SwingLaw", _acceleration,
    ),
    _formula(
        "copper-strain-life", "plated copper, strain range 1 %: cycles", "1", 1360.667826967337,
        "IPC-TR-579, formula from memory", "memory",
        "fusetherm.life.strain_life.cycles_at_strain",
        lambda: cycles_at_strain(lambda n: copper_strain(n, 40.0 / 12e3, 0.3), 0.01),
    ),
    _settled(1000),
    _settled(1_000_000),
)  # fmt: skip
