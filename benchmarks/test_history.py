"""Our own times from version to version; pytest collects this only when asked.

    pytest benchmarks --benchmark-autosave     # measure and keep
    pytest benchmarks --benchmark-compare      # measure beside the last that was kept

Each runs once before it is timed, so that kernels are compiled. Only times of one machine compare.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import growth
import numpy as np
import pytest
from peers.solvers import AMBIENT_C, NETWORKS

import fusetherm as ft

Measured = Callable[..., Any]


@pytest.fixture
def measured(benchmark: Any) -> Measured:
    """Run once, then time a few rounds; gives the result."""

    def run(what: Callable[[], Any], rounds: int = 10) -> Any:
        return benchmark.pedantic(what, rounds=rounds, iterations=1, warmup_rounds=1)

    return run


def least(network: str) -> float:
    return ft.minimum_fusing_current(NETWORKS[network], ambient_c=AMBIENT_C, cells=64)


@pytest.mark.parametrize("network", NETWORKS)
@pytest.mark.parametrize("factor", [1.2, 3.0])
def test_opening_at_constant_current(measured: Measured, network: str, factor: float) -> None:
    level = factor * least(network)
    wave = ft.Waveform(time=[0.0, 1e4], current=[level, level])
    run = measured(
        lambda: ft.simulate(NETWORKS[network], wave, ambient_c=AMBIENT_C, cells=64), rounds=50
    )
    assert run.opened


@pytest.mark.parametrize("network", NETWORKS)
def test_minimum_fusing_current(measured: Measured, network: str) -> None:
    assert measured(lambda: least(network)) > 0.0


def test_noisy_trace(measured: Measured) -> None:
    wave = growth.noisy(growth.SAMPLES, 0.95 * least("reference"))
    run = measured(lambda: ft.simulate(NETWORKS["reference"], wave, ambient_c=AMBIENT_C, cells=64))
    assert not run.opened


@pytest.mark.parametrize(("count", "jump"), [(1000, False), (1_000_000, True)])
def test_pulse_train(measured: Measured, count: int, jump: bool) -> None:
    level = 1.1 * least("full")
    pulse = ft.Waveform(time=[0.0, 1.0, 1.0], current=[level, level, 0.0])
    train = pulse.repeated(count, period=3.0)
    run = measured(
        lambda: ft.simulate(NETWORKS["full"], train, ambient_c=AMBIENT_C, cells=64, jump=jump),
        rounds=3,
    )
    assert run.conservation < 1e-6


def test_sweep_in_one_process(measured: Measured) -> None:
    currents = np.linspace(1.1, 4.0, 512) * least("reference")
    found = measured(
        lambda: ft.sweep(
            NETWORKS["reference"], currents=currents, durations=100.0, ambients_c=AMBIENT_C,
            workers=0,
        ),
        rounds=3,
    )  # fmt: skip
    assert found.sizes["current"] == 512


@pytest.fixture(scope="module")
def feed() -> Any:
    return ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"])


def test_calibration(measured: Measured, feed: Any) -> None:
    assert measured(lambda: ft.calibrate(feed), rounds=3).model is not None


def test_margin_of_a_capture(measured: Measured, feed: Any) -> None:
    fit = ft.calibrate(feed)
    capture = ft.demo.captures()["inverter_switch_on"]
    inrush = ft.read_capture(capture, clamp="10 mV/A", zero="0 s : 0.2 s")
    found = measured(lambda: ft.margin(fit, inrush, ambient_c=60.0), rounds=3)
    assert found.current_factor > 1.0


def test_reading_a_capture(measured: Measured) -> None:
    capture = ft.demo.captures()["inverter_switch_on"]
    wave = measured(lambda: ft.read_capture(capture, clamp="10 mV/A", zero="0 s : 0.2 s"))
    assert wave.duration > 0.0
