"""Levels at the ends of records: what a held end goes on with, what a load before it was."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fusetherm.current.capture import Capture, read_capture
from fusetherm.current.ends import end_level, start_level
from fusetherm.current.sampled import constant
from fusetherm.current.waveform import Waveform

Array = NDArray[np.float64]
Record = Callable[[Array], Capture]
NOISE = 0.4


@pytest.fixture
def record(tmp_path: Path) -> Record:
    """A record of 1 s of given currents, evenly sampled, with noise on them."""

    def make(current: Array) -> Capture:
        time = np.linspace(0.0, 1.0, current.size)
        noisy = current + NOISE * np.random.default_rng(7).standard_normal(current.size)
        rows = (f"{t:.6f},{i:.4f}" for t, i in zip(time, noisy, strict=True))
        path = tmp_path / "a.csv"
        path.write_text("\n".join(["t (s),I (A)", *rows]) + "\n", encoding="utf-8")
        return read_capture(path, noise_sd=NOISE)

    return make


def at(samples: int = 4000) -> Array:
    return np.linspace(0.0, 1.0, samples)


def test_a_noisy_end_is_held_at_the_rms_of_its_last_twentieth(record: Record) -> None:
    current = np.where(at() < 0.5, 0.0, 25.0)
    current[-1] = 27.0  # what the very last sample shows is chance
    level = end_level(record(current))
    assert level.duration == pytest.approx(0.05, rel=0.01)
    assert level.current == pytest.approx(np.hypot(25.0, NOISE), rel=2e-3)


@pytest.mark.parametrize("to", [125.0, 5.0, -25.0])
@pytest.mark.parametrize("since", [0.99, 0.995])
def test_only_what_follows_the_last_change_of_level_is_held(
    record: Record, to: float, since: float
) -> None:
    level = end_level(record(np.where(at() < since, 25.0, to)))
    assert level.current == pytest.approx(to, abs=0.35)
    assert level.duration == pytest.approx(1.0 - since, rel=0.06)


def test_ripple_and_pulses_are_no_changes_of_level(record: Record) -> None:
    sine = 100.0 * np.sin(2.0 * np.pi * 100.0 * at())
    for wave in (sine, np.abs(sine), np.maximum(sine, 0.0)):
        level = end_level(record(wave))
        rms = np.sqrt(np.mean(wave[-201:] ** 2))
        assert abs(level.current) == pytest.approx(rms, rel=0.02)
        assert level.duration == pytest.approx(0.05, rel=0.01)


def test_noise_alone_is_no_current(record: Record) -> None:
    assert end_level(record(np.where(at() < 0.5, 25.0, 0.0))).current == 0.0


def test_a_level_scales_and_follows_what_is_built_from_the_record(record: Record) -> None:
    capture = record(np.where(at() < 0.5, 0.0, 25.0))
    held = end_level(capture).current
    assert end_level(capture.scaled(-3.0)).current == pytest.approx(-3.0 * held, rel=1e-12)
    assert end_level(capture.after_load(10.0, seconds=5.0)).current == held
    assert end_level(capture.repeated(3)).current == held
    assert end_level(capture.repeated(3, period=9.0)).current == 0.0
    longer = capture + Waveform(time=[0, 2], current=[7, 7])
    assert end_level(longer).current == 7.0


def test_a_drawn_current_is_held_at_its_last_value(record: Record) -> None:
    assert end_level(Waveform(time=[0, 1], current=[0, 80])) == (80.0, 0.0)
    assert end_level(Waveform(time=[0, 1, 1], current=[50, 50, 0])).current == 0.0
    few = record(np.linspace(0.0, 80.0, 20))
    assert end_level(few) == (float(few.values[-1]), 0.0)
    assert start_level(few) == (float(few.values[0]), 0.0)


def test_a_ramp_from_zero_starts_at_zero(record: Record) -> None:
    assert abs(start_level(record(np.linspace(0.0, 1000.0, 4000))).current) < 0.3
    assert start_level(record(np.where(at() < 0.5, 0.0, 25.0))).current == 0.0
    assert start_level(record(np.where(at() < 0.01, 12.0, 125.0))).current == pytest.approx(
        12.0, abs=0.2
    )
    assert start_level(record(np.full(4000, -12.0))).current == pytest.approx(-12.0, abs=0.2)
    assert start_level(constant(12.0, 1.0).then(constant(3.0, 1.0))).current == 12.0
