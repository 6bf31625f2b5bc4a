"""What a bare rule of I²t shares does not see: pulses in close pairs, and a warm start.

The factors come from an earlier study of a wire with another program: pulses of a fifth of the
melting I²t, exponent 6.6, damage of a pair over that of a single pulse 394 at 3 ms spacing, 57 at
100 ms and 4.2 at 300 ms; preloaded decays up to 5 times. The wire was not stated. A copper wire
of .3 mm held at both ends cools at that pace when 12.3 mm long: one length against three factors.

Of the preloaded decays neither load nor time constant was stated, and the factor has no upper
end: on this wire it passes 9 at .4 of the minimum fusing current and 100 at .6. So the 5 is no
number to be reproduced, and these tests do not reproduce it: the load, 12 A or a third of the
minimum fusing current, was chosen so that the factor comes out near 5. What is left to test is
that this one load gives it for all decays quick beside the wire, .5 to 50 ms of a fifth of the
melting I²t, and that the factor is what the rise of the load adds to the swing.
"""

from __future__ import annotations

import math

import pytest

from fusetherm.answers.endurance import endurance
from fusetherm.current.sampled import constant
from fusetherm.current.shapes import exponential_decay
from fusetherm.current.waveform import Waveform
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.life.rainflow import repeating
from fusetherm.life.swing_law import SwingLaw, miner_sum
from fusetherm.physics.metals import metal
from fusetherm.solver.run import simulate
from fusetherm.solver.steady import minimum_fusing_current, steady_state

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


#: Load before a decay [A], chosen so that the factor is near 5, and how long it flows [s]: many
#: times the wire's own time.
LOAD, BEFORE = 12.0, 5.0


def decay(time_constant: float) -> Waveform:
    """A decay of a fifth of the melting I²t, I² tau / 2."""
    return exponential_decay(math.sqrt(0.4 * melting_i2t() / time_constant), time_constant)


@pytest.mark.parametrize("time_constant", [0.5e-3, 2e-3, 5e-3, 20e-3, 50e-3])
def test_preloaded_decays(time_constant: float) -> None:
    alone = decay(time_constant)
    loaded = constant(LOAD, BEFORE).then(alone)
    assert damage(loaded) / damage(alone) == pytest.approx(5.0, rel=0.2)


def test_a_preload_costs_what_its_rise_adds_to_the_swing() -> None:
    # The swing begins where the wire has cooled: the rise of the load comes on top of that of a
    # decay, and the decay makes more heat in the warmer metal, by its resistivity.
    assert minimum_fusing_current(WIRE) == pytest.approx(LOAD / 0.34, rel=0.01)
    alone = decay(0.5e-3)
    warm = steady_state(WIRE, LOAD)
    assert warm is not None
    rise = warm.peak_temperature_c - 23.0
    swing = simulate(WIRE, alone).peak_temperature_c - 23.0
    copper = metal("copper")
    mid = 0.5 * swing
    more = copper.resistivity(296.15 + rise + mid) / copper.resistivity(296.15 + mid)
    expected = ((rise + more * swing) / swing) ** LAW.exponent
    loaded = constant(LOAD, BEFORE).then(alone)
    assert damage(loaded) / damage(alone) == pytest.approx(expected, rel=0.1)


def test_the_bare_rule_does_not_see_a_preload() -> None:
    alone = decay(5e-3)
    loaded = constant(LOAD, BEFORE).then(alone)
    plain, warm = (endurance(WIRE, wave, period=60.0) for wave in (alone, loaded))
    assert warm.rule_cycles == pytest.approx(plain.rule_cycles, rel=0.01)
    assert warm.cycles < plain.cycles / 3.0
    assert "rule-unsafe" in [note.code for note in warm.notes]
    assert "rule-unsafe" not in [note.code for note in plain.notes]
