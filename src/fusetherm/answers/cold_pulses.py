"""Pulses from cold: what pulse tests say of the swing law, and the bare rule of I²t shares."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator

from ..current.blocks import spans_above
from ..current.sampled import constant
from ..current.waveform import Waveform
from ..fuse.definition import Definition
from ..fuse.model import FuseModel
from ..life.duty import Duty
from ..life.knowledge import Knowledge, knowledge
from ..life.swing_law import SwingLaw
from ..solver.run import simulate
from ..solver.steady import minimum_fusing_current
from ..units import REFERENCE_AMBIENT_C
from .subject import Subject, model_of

#: A pulse of the bare rule: where I² exceeds this share of its peak; its tails, where it exceeds
#: the second and they add no more than this factor to its I²t. More is a load, or another pulse.
_PULSE, _TAIL, _TAILS = 0.1, 0.01, 1.3
#: Duration of a test pulse where nothing says it [s].
_TEST_DURATION = 0.01


def median_law(known: Knowledge) -> SwingLaw:
    """The law in the middle of those that may hold."""
    return SwingLaw(
        pivot_cycles=known.median_cycles,
        pivot_swing=known.pivot_swing,
        exponent=known.median_exponent,
    )


def law_of(subject: Subject, definition: Definition | None, cells: int, seed: int) -> Knowledge:
    """Swing laws that the pulse tests of a definition leave possible."""
    if definition is None or not definition.pulse_tests:
        return knowledge(seed=seed)
    model = model_of(subject, "test")
    swings = []
    for test in definition.pulse_tests:
        integral, duration = _melting(model, definition, cells)
        length = test.duration or duration
        swings.append(_pulse_swing(model, test.share * integral, length, cells))
    return knowledge(swings, [test.pulses for test in definition.pulse_tests], seed=seed)


def _melting(model: FuseModel, definition: Definition | None, cells: int) -> tuple[float, float]:
    """Melting I²t [A² s] and the duration it holds for [s]; of the model where not published."""
    if definition is not None and definition.melting_integrals:
        stated = min(definition.melting_integrals, key=lambda one: one.duration)
        return stated.i2t, stated.duration
    level = 10.0 * minimum_fusing_current(model, cells=cells)
    run = simulate(model, constant(level, 1e3), cells=cells)
    for _ in range(40):
        onset = run.onset_time
        if onset is not None and abs(onset / _TEST_DURATION - 1.0) < 1e-3:
            break
        level *= 2.0 if onset is None else math.sqrt(onset / _TEST_DURATION)
        run = simulate(model, constant(level, 1e3), cells=cells)
    return level * level * (run.onset_time or _TEST_DURATION), _TEST_DURATION


def _pulse_swing(model: FuseModel, i2t: float, duration: float, cells: int) -> float:
    """Rise of the hot spot of a cold fuse by one rectangular pulse [K]."""
    pulse = constant(math.sqrt(i2t / duration), duration)
    run = simulate(model, pulse, ambient_c=REFERENCE_AMBIENT_C, cells=cells)
    return max(run.peak_temperature_c - REFERENCE_AMBIENT_C, 1e-6)


def rule_cycles(
    model: FuseModel, definition: Definition | None, duty: Duty, cells: int, law: Knowledge
) -> float:
    """Cycles by the bare rule: each pulse by its own share of the melting I²t, from cold [-].

    The law of the swings, read as one of shares through the swing a short cold pulse makes.
    """
    integral, duration = _melting(model, definition, cells)
    damage = 0.0
    bare = median_law(law)
    memory: dict[float, float] = {}
    level = max(event.once.peak for event in duty.events) ** 2
    for event in duty.events:
        wave = event.once
        for exact in _integrals(wave, level):
            # three digits, so that equal pulses are simulated once
            i2t = round(exact, 2 - math.floor(math.log10(exact))) if exact > 0.0 else 0.0
            if i2t >= integral:
                return 0.0
            if i2t > 0.0 and i2t not in memory:
                memory[i2t] = _pulse_swing(model, i2t, duration, cells)
            damage += event.count / float(bare.cycles(memory[i2t])) if i2t > 0.0 else 0.0
    return 1.0 / damage if damage > 0.0 else math.inf


def _integrals(wave: Waveform, squared: float) -> Iterator[float]:
    """I²t of each pulse of a waveform, tails included, for a peak of I² [A² s]."""
    wide = spans_above(wave.blocks(), _TAIL * squared)
    starts = [span.start for span in wide]
    for span in spans_above(wave.blocks(), _PULSE * squared):
        inner = wave.i2t(span.start, span.end)
        around = wide[max(bisect_right(starts, span.start) - 1, 0)]
        outer = wave.i2t(around.start, around.end) if around.end >= span.end else inner
        yield outer if outer <= _TAILS * inner else inner
