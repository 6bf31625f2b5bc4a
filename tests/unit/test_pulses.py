"""Load and pulses of a current: together they are the current."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from fusetherm.current.pulses import held, parted
from fusetherm.current.sampled import constant
from fusetherm.current.shapes import exponential_decay, half_sine, lamp_inrush
from fusetherm.current.tree import Repeat
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError

TWO = Waveform(
    time=[0, 1, 1, 1.02, 1.02, 2, 2.1, 2.2, 4], current=[25, 25, 125, 125, 25, 25, -80, 25, 25]
)


def test_pulses_are_where_they_are() -> None:
    parts = parted(TWO)
    first, second = parts.pulses
    assert parts.load == 25.0
    assert (first.start, first.end, first.peak) == (1.0, 1.02, 125.0)
    assert first.heat == pytest.approx((125.0**2 - 25.0**2) * 0.02)
    # the straight line from 25 A to -80 A passes -25 A after 50/105 of a tenth of a second
    assert second.start == pytest.approx(2.0 + 0.1 * 50.0 / 105.0)
    assert second.end == pytest.approx(2.1 + 0.1 * 55.0 / 105.0)
    assert second.peak == -80.0


@pytest.mark.parametrize("load", [None, 0.0, 10.0, 60.0])
def test_all_parts_together_are_the_current(load: float | None) -> None:
    parts = parted(TWO, load)
    whole = parts.wave(pulses=range(len(parts.pulses)))
    at = np.linspace(0.0, 4.0, 4001)
    np.testing.assert_allclose(whole.current(at), TWO.current(at), atol=1e-9)
    assert whole.i2t() == pytest.approx(TWO.i2t(), rel=1e-12)
    charges = [parts.wave(load=False, pulses=[k]).charge() for k in range(len(parts.pulses))]
    assert math.fsum(charges) + parts.wave().charge() == pytest.approx(TWO.charge())


def test_noise_is_no_pulse() -> None:
    rng = np.random.default_rng(1)
    at = np.linspace(0.0, 1.0, 2001)
    noise = rng.normal(0.0, 0.3, 2001)
    assert parted(Waveform(time=at, current=30.0 + noise)).pulses == ()
    bump = np.where((at > 0.4) & (at < 0.5), 50.0, 0.0)
    (one,) = parted(Waveform(time=at, current=30.0 + noise + bump)).pulses
    assert one.start == pytest.approx(0.4, abs=2e-3)
    assert one.duration == pytest.approx(0.1, abs=3e-3)


def test_a_current_of_one_level_is_all_load() -> None:
    parts = parted(constant(50.0, 3.0))
    assert (parts.load, parts.pulses) == (50.0, ())
    assert parts.wave(load=False).i2t() == 0.0


@pytest.mark.parametrize(
    "wave",
    [half_sine(100.0, 0.01).then(constant(0.0, 0.05)), exponential_decay(100.0, 0.01, 10.0),
     lamp_inrush(5.0, 10.0, 0.01, 60.0), exponential_decay(100.0, 0.01, 10.0).repeated(3)],
)  # fmt: skip
def test_a_drawn_shape_keeps_its_heat(wave: Waveform) -> None:
    parts = parted(wave)
    assert len(parts.pulses) == (3 if isinstance(wave, Repeat) else 1)
    assert parts.wave(pulses=range(3)).i2t() == pytest.approx(wave.i2t(), rel=1e-3)
    longer = held(wave, 0.0, wave.duration + 1.0)
    assert longer.i2t() == pytest.approx(wave.i2t(), rel=1e-3)


@pytest.mark.parametrize(
    ("wave", "level"),
    [(TWO, 25.0), (TWO, 40.0), (constant(5.0, 1.0).then(constant(9.0, 1.0)), 9.0),
     (Waveform(time=[0, 1, 1], current=[5, 5, 0]), 0.0),
     (Waveform(time=[0, 1, 1], current=[5, 5, 0]), 3.0)],
)  # fmt: skip
def test_what_follows_is_held(wave: Waveform, level: float) -> None:
    span = wave.duration
    longer = held(wave, level, span + 2.0)
    assert longer.duration == span + 2.0
    assert longer.i2t() == pytest.approx(wave.i2t() + 2.0 * level * level)
    assert held(wave, level, 0.5 * span).i2t() == pytest.approx(wave.i2t(0.0, 0.5 * span))


def test_a_current_too_fine_is_refused_with_a_way_out() -> None:
    fast = half_sine(100.0, 0.01)
    for count in (5000, 10**6):  # the latter cannot even be listed
        with pytest.raises(InputError) as caught:
            parted(fast.repeated(count, period=0.02))
        assert caught.value.code == "current-too-fine"
        assert "cut" in caught.value.mend


def test_a_hundred_thousand_pulses_are_told_apart_at_once() -> None:
    """One numpy call a pulse took a minute for these."""
    count = 100_000
    cycle = Waveform(time=[0, 1e-3, 1e-3, 2e-3], current=[-50, -50, 1, 1])
    started = time.process_time()
    pulses = parted(cycle.repeated(count, period=2e-3), load=1.0).pulses
    assert time.process_time() - started < 15.0
    assert len(pulses) == count
    assert {p.peak for p in pulses} == {-50.0}
    heats = [p.heat for p in pulses]
    assert min(heats) == pytest.approx((50.0**2 - 1.0) * 1e-3, rel=1e-6)
    assert max(heats) == pytest.approx(min(heats), rel=1e-6)
