"""Thinned traces keep their peaks; the event of a waveform is its longest pulse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fusetherm.current.waveform import Waveform
from fusetherm.show.series import current_trace, envelope, event_of


@given(
    values=st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=400),
    bins=st.integers(1, 60),
)
def test_envelope_keeps_extremes_ends_and_order(values: list[float], bins: int) -> None:
    value = np.array(values)
    time = np.linspace(0.0, 1.0, value.size)
    thin_time, thin_value = envelope(time, value, bins)
    assert (thin_value.max(), thin_value.min()) == (value.max(), value.min())
    assert (thin_time[0], thin_time[-1]) == (0.0, 1.0)
    assert np.all(np.diff(thin_time) > 0.0)
    assert thin_time.size <= max(2 * bins + 2, min(value.size, 2 * bins))
    assert set(zip(thin_time, thin_value, strict=True)) <= set(zip(time, value, strict=True))


def test_envelope_takes_empty_bins_and_repeated_times() -> None:
    time = np.concatenate((np.zeros(2), np.linspace(0.9, 1.0, 500)))
    thin_time, thin_value = envelope(time, np.arange(502.0), bins=10)
    assert thin_time.size < 30
    assert thin_value[-1] == 501.0


def test_steps_of_a_repetition_stay_upright() -> None:
    pulse = Waveform(time=[0, 0, 0.02, 0.02], current=[0, 125, 125, 0])
    time, current = current_trace(pulse.repeated(3, period=1.0))
    assert set(np.round(current, 9)) == {0.0, 125.0}
    up = time[np.flatnonzero(np.diff(current) > 0.0) + 1]
    assert up[-2:] == pytest.approx([1.0, 2.0], abs=1e-9)


def test_endless_repetition_needs_no_array_of_edges() -> None:
    wave = Waveform(time=[0, 5e-6, 5e-6, 1e-5], current=[10, 10, 0, 0]).repeated(10_000_000)
    time, current = current_trace(wave)
    assert time.size < 10_000
    assert 0.0 <= current.min() <= current.max() <= 10.0


def test_event_is_the_rms_over_the_longest_pulse() -> None:
    wave = Waveform(
        time=[0, 1, 1, 1.02, 1.02, 2, 2, 2.005, 2.005, 3],
        current=[5, 5, 90, 90, 5, 5, 80, 80, 5, 5],
    )
    event = event_of(wave)
    assert event is not None
    assert (event.current, event.duration) == pytest.approx((90.0, 0.02), rel=1e-6)
    ramp = event_of(Waveform(time=[0, 1], current=[0, 30]), threshold=1e-6)
    assert ramp is not None
    assert ramp.current == pytest.approx(30.0 / np.sqrt(3.0), rel=1e-6)


def test_no_current_is_no_event() -> None:
    assert event_of(Waveform(time=[0, 1], current=[0, 0])) is None
