"""A trace that keeps peaks only: the same answers in a memory that does not grow."""

from __future__ import annotations

import tracemalloc
from typing import Literal

import numpy as np
import pytest

import fusetherm as ft
from fusetherm.fuse.model import Blade, Side

END = Side(blade=Blade(heat_capacity=0.05, to_ambient=0.02))
WIRE = ft.FuseModel(ft.round_wire(ft.metal("silver"), 0.2e-3, 10e-3), left=END, right=END)


def record(seconds: int) -> ft.Waveform:
    """Loads of all sizes, one a second, none of them twice."""
    rng = np.random.default_rng(3)
    level = rng.uniform(2.0, 15.0, seconds)
    time = np.repeat(np.arange(seconds + 1.0), 2)[1:-1]
    return ft.Waveform(time=time, current=np.repeat(level, 2))


def test_peaks_are_those_of_the_whole_trace() -> None:
    wave = record(400)
    whole, peaks = (ft.simulate(WIRE, wave, trace=kept) for kept in ("all", "peaks"))
    assert len(whole.time) > 2000
    assert len(peaks.time) <= 8
    assert np.all(np.diff(peaks.time) > 0.0)
    assert peaks.peak_temperature_c == whole.peak_temperature_c
    assert peaks.peak_node_temperature_c == whole.peak_node_temperature_c
    assert peaks.element_temperature_c.max() == whole.element_temperature_c.max()
    assert (peaks.time[0], peaks.time[-1]) == (whole.time[0], whole.time[-1])
    np.testing.assert_array_equal(peaks.final_state.u, whole.final_state.u)
    assert peaks.conservation == whole.conservation


@pytest.mark.parametrize("outer", [1, 70])
def test_leaps_are_the_same(outer: int) -> None:
    cycle = record(6).repeated(1000).then(ft.Waveform(time=[0, 9], current=[3, 3]))
    wave = cycle.repeated(outer)
    whole, peaks = (ft.simulate(WIRE, wave, trace=kept) for kept in ("all", "peaks"))
    assert whole.jumped == peaks.jumped > 100
    assert len(peaks.time) <= 8
    np.testing.assert_array_equal(peaks.final_state.u, whole.final_state.u)
    assert peaks.peak_node_temperature_c == whole.peak_node_temperature_c
    assert peaks.peak_temperature_c == whole.peak_temperature_c


def test_an_opening_is_kept() -> None:
    wave = ft.Waveform(time=[0.0, 10.0], current=[60.0, 60.0])
    whole, peaks = (ft.simulate(WIRE, wave, trace=kept) for kept in ("all", "peaks"))
    assert peaks.opened
    assert peaks.pre_arcing_time == whole.pre_arcing_time
    assert peaks.onset_time == whole.onset_time


def test_memory_does_not_grow_with_the_record() -> None:
    wave = record(20_000)
    ft.simulate(WIRE, wave, trace="peaks")  # what is made at first use is not counted

    def held(kept: Literal["all", "peaks"]) -> int:
        tracemalloc.start()
        run = ft.simulate(WIRE, wave, trace=kept)
        size, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert run.duration == 20_000.0
        return size

    assert held("all") > 5e6
    assert held("peaks") < 1e5


def test_another_word_is_refused() -> None:
    with pytest.raises(ft.InputError, match="unknown-trace"):
        ft.simulate(WIRE, record(3), trace="some")  # type: ignore[arg-type]
