"""Condensed records: the same Joule integral and course, within the bound stated."""

import itertools

import numpy as np
import pytest

import fusetherm as ft
from fusetherm.current.blocks import Block
from fusetherm.current.condensed import Condensed, condensed
from fusetherm.current.shapes import chopped
from fusetherm.solver.kernels.moments import excursion
from fusetherm.solver.pieces import table_of

#: A node that stays at zero.
STILL = (0.0, 0.0, 0.0, 0.0)


def record(n: int = 60_001, seconds: float = 3.0) -> ft.Waveform:
    """A decay with noise, and a step in it."""
    time = np.linspace(0.0, seconds, n)
    current = 20.0 + 100.0 * np.exp(-time / 0.05) + np.random.default_rng(3).normal(0.0, 0.5, n)
    current[time > 2.0] += 30.0
    return ft.Waveform(time=time, current=current)


def swing(wave: ft.Waveform, a: float, b: float) -> float:
    """Swing of W between two instants, by the solver's own walk through the record."""
    part = wave.cut(a, b)
    (block,) = part.blocks(10**7)
    dt, m0 = block.period, part.i2t()
    h = np.diff(block.time)
    about = h * h * (block.s0 / 2.0 + h * (block.s1 / 3.0 + h * block.s2 / 4.0))
    m1 = float(np.sum(block.time[:-1] * block.segment_i2t + about))
    slope = 12.0 * (m1 / dt - 0.5 * m0) / dt**2
    table, _, _ = table_of(block)
    low, high, *_ = excursion(table, 0.0, dt, m0 / dt, slope, 1, 0.0, STILL)
    return high - low


@pytest.mark.parametrize("bound", [1.0, 0.1, 0.01])
def test_pieces_keep_their_integrals_and_the_bound(bound: float) -> None:
    wave = record()
    short = condensed(wave, bound)
    assert short.duration == wave.duration
    assert short.i2t() == pytest.approx(wave.i2t(), rel=1e-12)
    spans = list(zip(short.time[:-1], short.time[1:], strict=True))
    for a, b in spans[:: max(1, len(spans) // 40)]:
        table = condensed(wave.cut(a, b), 1e9)
        assert table.i2t() == pytest.approx(wave.i2t(a, b), rel=1e-9)
        # a longer piece than one segment lies within the bound (1 % for another way of summing)
        if b - a > 1.5 * wave.duration / 60_000:
            assert swing(wave, a, b) <= 1.01 * bound
    finer = condensed(wave, 0.1 * bound)
    assert short.squares.shape[1] < finer.squares.shape[1] <= 60_000


def test_single_segments_stay_exact() -> None:
    wave = ft.Waveform(time=[0, 0, 0.02, 0.05], current=[0, 125, 80, 0])
    short = condensed(wave, 1e-12)
    (block,), (other,) = wave.blocks(), short.blocks()
    np.testing.assert_array_equal(block.s2, other.s2)
    np.testing.assert_array_equal(block.time, other.time)


def test_scaled_and_stretched_are_those_of_the_record() -> None:
    wave = record()
    short = condensed(wave, 0.05)
    assert short.scaled(2.0).i2t() == pytest.approx(4.0 * wave.i2t(), rel=1e-12)
    longer = short.stretched(3.0)
    assert longer.duration == pytest.approx(3.0 * wave.duration)
    assert longer.i2t() == pytest.approx(3.0 * wave.i2t(), rel=1e-12)
    assert longer.i2t(0.0, 1.5) == pytest.approx(3.0 * wave.i2t(0.0, 0.5), rel=1e-4)
    assert float(longer.current(4.5)[()]) == pytest.approx(20.0, abs=1.0)


def test_blocks_are_cut_to_size_and_follow_each_other() -> None:
    short = condensed(record(), 0.01)
    blocks: list[Block] = list(short.blocks(100))
    assert len(blocks) > 1
    for before, after in itertools.pairwise(blocks):
        assert after.start == pytest.approx(before.end, rel=1e-14)
    assert sum(b.i2t for b in blocks) == pytest.approx(short.i2t(), rel=1e-12)


def test_what_a_condensed_record_cannot_do_is_refused() -> None:
    short = condensed(record(), 0.1)
    with pytest.raises(ft.InputError, match="square of its current"):
        short.plus(1.0)
    with pytest.raises(ft.InputError, match="repeated"):
        condensed(chopped(40.0, 0.5, 1e3, 10.0), 0.1)
    with pytest.raises(ft.InputError):
        condensed(record(), 0.0)


def test_fingerprint_follows_the_content() -> None:
    a, b = condensed(record(), 0.1), condensed(record(), 0.1)
    assert a.fingerprint == b.fingerprint != a.scaled(1.1).fingerprint
    assert isinstance(a, Condensed)
