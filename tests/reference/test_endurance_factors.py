"""What a bare rule of I²t shares does not see: pulses in close pairs, and a warm start.

The factors come from an earlier study of a wire with another program: pulses of a fifth of the
melting I²t, exponent 6.6, damage of a pair over that of a single pulse 394 at 3 ms spacing, 57 at
100 ms and 4.2 at 300 ms; preloaded decays up to 5 times. The wire was not stated. A copper wire
of .3 mm held at both ends cools at that pace when 12.3 mm long: one length against three factors.
"""

from __future__ import annotations

import math

import pytest

from fusetherm.current.sampled import constant
from fusetherm.current.waveform import Waveform
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.life.rainflow import repeating
from fusetherm.life.swing_law import SwingLaw, miner_sum
from fusetherm.physics.metals import metal
from fusetherm.solver.run import simulate

WIRE = FuseModel(round_wire(metal("copper"), 0.3e-3, 12.3e-3))
LAW = SwingLaw(pivot_cycles=1e6, pivot_swing=100.0, exponent=6.6)
WIDTH = 0.5e-3


def melting_i2t() -> float:
    run = simulate(WIRE, constant(1100.0, 1.0))
    assert run.pre_arcing_time is not None
    return 1100.0**2 * run.pre_arcing_time


PULSE = constant(math.sqrt(0.2 * melting_i2t() / WIDTH), WIDTH)


def damage(wave: Waveform) -> float:
    settled = simulate(WIRE, wave.repeated(64, period=60.0)).final_state
    run = simulate(WIRE, wave.repeated(1, period=60.0), start=settled)
    return miner_sum(LAW, repeating(run.element_temperature_c))


@pytest.mark.parametrize(("spacing", "factor"), [(0.003, 394.0), (0.1, 57.0), (0.3, 4.2)])
def test_pulses_in_close_pairs(spacing: float, factor: float) -> None:
    pair = PULSE.then(constant(0.0, spacing - WIDTH)).then(PULSE)
    assert damage(pair) / damage(PULSE) == pytest.approx(factor, rel=0.2)
