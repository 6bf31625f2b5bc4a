"""Shapes: closed forms against quadrature, and blocks that keep their integral."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad

import fusetherm as ft
from fusetherm.current import shapes
from fusetherm.current.waveform import Waveform

SMOOTH = {
    "decay": shapes.exponential_decay(100.0, 0.02),
    "half sine": shapes.half_sine(-100.0, 0.01),
    "oscillation": shapes.damped_oscillation(100.0, 500.0, 2e-3),
    "lamp": shapes.lamp_inrush(5.0, 10.0, 0.01, 0.1),
    "gaussian": shapes.gaussian_pulse(100.0, 2e-3),
    "cut gaussian": shapes.Gaussian(0.01, 80.0, 0.002, 0.003),
    "decay onto a load": shapes.exponential_decay(100.0, 0.02) + 25.0,
    "cycle": shapes.alternating(100.0, 50.0, 0.02),
    "gaussian onto a load": shapes.gaussian_pulse(100.0, 2e-3) + 25.0,
}


@pytest.mark.parametrize("name", SMOOTH)
@pytest.mark.parametrize("share", [(0.0, 1.0), (0.03, 0.31), (0.5, 0.5003), (0.9, 1.0)])
def test_integrals_are_those_of_the_current(name: str, share: tuple[float, float]) -> None:
    wave = SMOOTH[name]
    a, b = (s * wave.duration for s in share)
    for power, found in ((1, wave.charge(a, b)), (2, wave.i2t(a, b))):
        steps = np.linspace(a, b, 41)
        expected = math.fsum(
            quad(lambda t, p=power: float(wave.current(t)) ** p, low, high, epsabs=0, epsrel=1e-12)[
                0
            ]
            for low, high in itertools.pairwise(steps)
            if abs(float(wave.current(0.5 * (low + high)))) > 1e-14 * wave.peak
        )
        assert found == pytest.approx(expected, rel=1e-11, abs=1e-12 * wave.peak**power * (b - a))


@pytest.mark.parametrize("name", SMOOTH)
def test_blocks_follow_the_square_and_keep_each_integral(name: str) -> None:
    wave = SMOOTH[name]
    (block,) = wave.blocks()
    assert block.end == pytest.approx(wave.duration, rel=1e-14)
    assert block.i2t == pytest.approx(wave.i2t(), rel=1e-13)
    at = np.random.default_rng(1).uniform(0.0, block.period, 20_000)
    error = np.abs(block.square(at) - wave.current(at) ** 2).max()
    assert error < 1e-6 * wave.peak**2
    start = wave.current(block.time[:-1]) ** 2
    np.testing.assert_allclose(block.s0, start, rtol=1e-12, atol=1e-14 * wave.peak**2)
    exact = [wave.i2t(a, b) for a, b in zip(block.time[:-1], block.time[1:], strict=True)]
    np.testing.assert_allclose(block.segment_i2t, exact, rtol=1e-12, atol=1e-16 * wave.i2t())


def test_a_quick_decay_is_not_lost_in_a_long_record() -> None:
    wave = shapes.exponential_decay(100.0, 1e-3, 360e3)
    (block,) = wave.blocks()
    assert block.s0.size < 1000
    assert block.i2t == pytest.approx(5.0, rel=1e-12)
    assert wave.i2t(0.0, 1e-3) == pytest.approx(5.0 * (1 - math.exp(-2)), rel=1e-13)


def test_plain_pulses() -> None:
    assert shapes.triangle(90.0, 0.2, 0.1).i2t() == pytest.approx(8100 * 0.1, rel=1e-14)
    assert shapes.triangle(90.0, 0.0, 0.3).current(0.0) == 90.0
    pulse = shapes.rectangular_pulse(100.0, 0.01, before=0.5)
    assert pulse.longest_pulse(99.0) == pytest.approx((0.5, 0.01))
    assert shapes.lamp_inrush(5.0, 10.0, 0.01).current(0.0) == pytest.approx(50.0)


def test_a_part_of_a_period_is_cut() -> None:
    wave = shapes.chopped(100.0, 0.25, 100.0, 0.035, off=10.0)
    assert wave.duration == pytest.approx(0.035)
    on = 4 * 0.0025
    assert wave.i2t() == pytest.approx(1e4 * on + 100 * (0.035 - on), rel=1e-12)
    assert shapes.alternating(100.0, 50.0, 0.005).i2t() == pytest.approx(50.0, rel=1e-12)
    assert shapes.chopped(100.0, 1.0, 100.0, 2.0).i2t() == 2e4
    assert shapes.chopped(100.0, 0.0, 100.0, 2.0, off=10.0).i2t() == 200.0


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: shapes.constant(math.nan, 1.0), "not-finite"),
        (lambda: shapes.constant(1.0, -1.0), "not-positive"),
        (lambda: shapes.half_sine(math.inf, 1.0), "not-finite"),
        (lambda: shapes.exponential_decay(1.0, 0.0), "not-positive"),
        (lambda: shapes.exponential_decay(1.0, 1.0, -1.0), "not-positive"),
        (lambda: shapes.triangle(1.0, -1.0, 2.0), "not-positive"),
        (lambda: shapes.triangle(1.0, 0.0, 0.0), "not-positive"),
        (lambda: shapes.chopped(1.0, 1.2, 50.0, 1.0), "duty-out-of-range"),
        (lambda: shapes.chopped(1.0, math.nan, 50.0, 1.0), "duty-out-of-range"),
        (lambda: shapes.chopped(1.0, 0.5, 0.0, 1.0), "not-positive"),
        (lambda: shapes.lamp_inrush(1.0, 0.5, 1.0), "ratio-below-one"),
        (lambda: shapes.gaussian_pulse(1.0, -1.0), "not-positive"),
        (lambda: next(shapes.damped_oscillation(1.0, 1e9, 1.0).blocks()), "shape-too-fine"),
    ],
)
def test_values_are_checked(call: object, code: str) -> None:
    with pytest.raises(ft.InputError) as caught:
        call()  # type: ignore[operator]
    assert caught.value.code == code


def test_every_shape_is_a_waveform() -> None:
    for name, wave in SMOOTH.items():
        assert isinstance(wave, Waveform), name
