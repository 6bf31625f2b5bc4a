"""Joule integrals of pulses against textbook closed forms, and what inrush looks like.

The closed forms are integrals of the stated current, worked by hand and checked by
numerical quadrature; unless said otherwise I = 100 A, T = 10 ms, tau = 20 ms.
"""

from __future__ import annotations

import math

import pytest

from fusetherm.current import shapes
from fusetherm.current.waveform import Waveform

TAU = 0.02

#: Name -> waveform, Joule integral [A2 s], closed form. Source of all: computed.
ACTIONS = {
    "square": (shapes.rectangular_pulse(100.0, 0.01), 100.0, "I² T"),
    "half sine": (shapes.half_sine(100.0, 0.01), 50.0, "I² T/2"),
    "exponential": (shapes.exponential_decay(100.0, TAU), 100.0, "I² tau/2, to infinity"),
    "exponential to T": (
        shapes.exponential_decay(100.0, TAU, 0.01),
        63.212055882855765,
        "I² tau/2 (1 - exp(-2 T/tau))",
    ),
    "ramp": (
        Waveform(time=[0, 0.01], current=[20, 100]),
        41.33333333333333,
        "(a² + a b + b²) T/3",
    ),
    "damped sine": (
        shapes.damped_oscillation(100.0, 500.0, 2e-3),
        4.876477384840713,
        "I² (td/4) (w td)²/(1 + (w td)²), 500 Hz, td = 2 ms",
    ),
    "lamp inrush": (
        shapes.lamp_inrush(5.0, 10.0, 0.01, 0.1),
        17.12479567944689,
        "I0² of 1 + (k - 1) exp(-t/tau), I0 = 5 A, k = 10, tau = 10 ms, T = 100 ms",
    ),
    "alternating": (shapes.alternating(100.0, 50.0, 0.2), 2000.0, "I² t, whole cycles"),
    "gaussian": (
        shapes.gaussian_pulse(100.0, 2e-3),
        35.449077018110316,
        "I² sigma sqrt(pi), sigma = 2 ms",
    ),
    "chopped": (shapes.chopped(100.0, 0.3, 20e3, 1.0), 3000.0, "I² D t, D = .3 for 1 s"),
}


@pytest.mark.parametrize("name", ACTIONS)
def test_joule_integral(name: str) -> None:
    wave, expected, _ = ACTIONS[name]
    assert wave.i2t() == pytest.approx(expected, rel=1e-9)
    assert math.fsum(b.i2t for b in wave.blocks()) == pytest.approx(expected, rel=1e-9)


def test_time_to_a_joule_integral_of_a_decay() -> None:
    # Computed: -tau/2 ln(1 - 2 X/(I² tau)), X = 60 A2s; never for X above 100 A2s.
    wave = shapes.exponential_decay(100.0, TAU)
    assert wave.time_to_i2t(60.0) == pytest.approx(0.00916290731874155, rel=1e-9)
    assert wave.time_to_i2t(100.1) is None


def test_time_to_a_joule_integral_of_a_half_sine() -> None:
    # Computed: root of t/2 - sin(2 w t)/(4 w) = X/I², X = 30 A2s, w = pi/T.
    wave = shapes.half_sine(100.0, 0.01)
    assert wave.time_to_i2t(30.0) == pytest.approx(0.005504195620137985, rel=1e-9)


def test_action_and_charge_of_the_first_lightning_stroke() -> None:
    # IEC 62305-1 (from memory): first positive impulse of level I, 200 kA 10/350, has a
    # specific energy of 10 MJ/ohm and a charge of 100 C. The tail falls to half at 350 µs.
    stroke = shapes.exponential_decay(200e3, 350e-6 / math.log(2.0))
    assert stroke.i2t() == pytest.approx(10e6, rel=0.05)
    assert stroke.charge() == pytest.approx(100.0, rel=0.05)


def test_lamp_with_the_resistance_ratio_of_tungsten() -> None:
    # A 100 W, 120 V lamp: 144 ohm hot, 9.5 ohm cold, settles in .1 s (encyclopaedia text
    # quoted at physicsforums.com/threads/885068).
    lamp = shapes.lamp_inrush(120.0 / 144.0, 144.0 / 9.5, 0.1 / 5.0, 0.5)
    assert lamp.peak == pytest.approx(120.0 / 9.5, rel=1e-9)
    assert float(lamp.current(0.1)) == pytest.approx(120.0 / 144.0, rel=0.1)
