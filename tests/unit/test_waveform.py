"""Waveforms: breakpoints, order, repeats, sums, blocks and the questions asked of them."""

from __future__ import annotations

import itertools
import math
import pickle

import numpy as np
import pytest

import fusetherm as ft
from fusetherm.current.blocks import Block
from fusetherm.current.sampled import Sampled, constant
from fusetherm.current.shapes import chopped, exponential_decay, half_sine, lamp_inrush
from fusetherm.current.tree import Joined, Repeat, Sum
from fusetherm.current.waveform import Waveform

SQUARE = Waveform(time=[0, 0, 0.02, 0.02], current=[0, 125, 125, 0])


def total(wave: Waveform, max_points: int = 65536) -> float:
    return math.fsum(block.i2t for block in wave.blocks(max_points))


def test_waveform_of_breakpoints_is_sampled() -> None:
    assert isinstance(SQUARE, Sampled)
    assert isinstance(SQUARE, ft.Waveform)
    assert SQUARE.duration == 0.02
    assert SQUARE.i2t() == pytest.approx(312.5, rel=1e-15)
    assert SQUARE.charge() == pytest.approx(2.5, rel=1e-15)
    assert SQUARE.rms == pytest.approx(125.0, rel=1e-15)
    assert SQUARE.peak == 125.0
    assert SQUARE.edges.tolist() == [0.0, 0.02]


def test_a_step_has_two_sides() -> None:
    step = Waveform(time=[0, 1, 1, 2], current=[10, 10, 30, 30])
    assert step.current([0.5, 1.0, 1.5]).tolist() == [10.0, 30.0, 30.0]
    assert step._at(np.array([1.0]), True).tolist() == [10.0]
    assert step.current([-1.0, 2.5]).tolist() == [0.0, 0.0]
    assert step.current(2.0) == 30.0
    assert step.i2t(0, 1) == 100.0
    assert step.i2t(1, 2) == 900.0


@pytest.mark.parametrize(
    ("time", "current", "code"),
    [
        ([0, 1], [1], "lengths-differ"),
        ([0], [1], "too-few-points"),
        ([0, math.nan], [1, 1], "not-finite"),
        ([0, 1], [1, math.inf], "not-finite"),
        ([0.1, 1], [1, 1], "time-not-from-zero"),
        ([0, 2, 1], [1, 1, 1], "time-not-increasing"),
        ([0, 0], [1, 1], "not-positive"),
        ([0, 1, 1, 1, 2], [1, 1, 1, 1, 1], "time-thrice"),
        ([[0, 1]], [[1, 1]], "not-one-row"),
        (["a", "b"], [1, 1], "wrong-dimension"),
        ([object(), 1], [1, 1], "not-numbers"),
    ],
)
def test_breakpoints_that_cannot_be(time: list, current: list, code: str) -> None:
    with pytest.raises(ft.InputError) as caught:
        Waveform(time=time, current=current)
    assert caught.value.code == code


def test_waveforms_cannot_be_changed() -> None:
    times = np.array([0.0, 1.0])
    wave = Waveform(time=times, current=[1, 2])
    times[1] = 5.0
    assert wave.duration == 1.0
    for one in (wave, pickle.loads(pickle.dumps(wave))):
        with pytest.raises(ValueError, match="read-only"):
            one.time[0] = 1.0
        with pytest.raises(AttributeError):
            one.time = times
    block = next(wave.blocks())
    with pytest.raises(ValueError, match="read-only"):
        block.s0[0] = 1.0


def test_preload_goes_before_the_event() -> None:
    event = constant(100.0, 0.02)
    plain = event.after_load(25.0, seconds=3600)
    assert plain.duration == pytest.approx(3600.02)
    assert plain.i2t() == pytest.approx(25**2 * 3600 + 200.0, rel=1e-14)
    assert plain.current([10.0, 3600.01]).tolist() == [25.0, 100.0]
    stays = event.after_load(25.0, seconds=3600, load_stays=True)
    assert stays.current(3600.01) == 125.0


def test_a_million_cycles_are_one_block() -> None:
    pump = half_sine(100.0, 0.01).repeated(10**6, period=90.0)
    assert pump.duration == 9e7
    assert pump.i2t() == pytest.approx(50.0e6, rel=1e-13)
    (block,) = pump.blocks()
    assert block.repeats == 10**6
    assert block.period == 90.0
    assert block.i2t == pytest.approx(pump.i2t(), rel=1e-12)
    # With a load over the whole it stays one block.
    (loaded,) = (pump + 25.0).blocks()
    assert loaded.repeats == 10**6
    cross = 2 * 25 * 100 * 2 / math.pi * 0.01
    assert loaded.i2t == pytest.approx(1e6 * (50 + 625 * 90 + cross), rel=1e-12)


def test_chopping_for_a_hundred_hours_takes_no_memory() -> None:
    wave = chopped(100.0, 0.3, 100e3, 360e3)
    (block,) = wave.blocks()
    assert block.repeats == 36_000_000_000
    assert block.s0.size == 2
    assert wave.i2t() == pytest.approx(1e4 * 0.3 * 360e3, rel=1e-13)
    assert wave.longest_pulse(50.0).duration == pytest.approx(3e-6, rel=1e-9)


def test_edges_of_late_cycles_are_not_lost() -> None:
    pump = SQUARE.repeated(10**6, period=0.3)  # 0.3 is no binary number
    for k in (1, 7, 12345, 999_999):
        assert pump.locate(k * 0.3) == (k, 0.0)
        assert pump.i2t(k * 0.3 - 0.1, k * 0.3 + 0.1) == pytest.approx(312.5, rel=1e-9)
    assert pump.i2t(0.3 * 5, 0.3 * 8) == pytest.approx(3 * 312.5, rel=1e-12)
    assert pump.current(0.3 * 999_999 + 0.01) == 125.0
    assert pump.current(0.3 * 999_999 + 0.021) == 0.0


def test_rest_current_between_cycles() -> None:
    wave = constant(100.0, 1.0).repeated(10, period=4.0, rest=20.0)
    assert wave.i2t() == pytest.approx(10 * (1e4 + 3 * 400.0), rel=1e-14)
    assert wave.extremes == (20.0, 100.0)
    assert wave.rms == pytest.approx(math.sqrt(11200 / 4), rel=1e-14)


def test_periods_and_counts_are_checked() -> None:
    for code, call in {
        "period-too-short": lambda: SQUARE.repeated(3, period=0.01),
        "count-not-positive": lambda: SQUARE.repeated(0),
        "interval-reversed": lambda: SQUARE.i2t(2, 1),
        "cut-outside": lambda: SQUARE.cut(0.01, 0.03),
        "not-finite": lambda: SQUARE + math.nan,
        "too-few-points": lambda: Joined(()),
        "too-many-edges": lambda: SQUARE.repeated(10**8).edges,
        "not-positive": lambda: SQUARE.longest_pulse(0.0),
    }.items():
        with pytest.raises(ft.InputError) as caught:
            call()
        assert caught.value.code == code
    with pytest.raises(ft.InputError, match=r"1\.5 cycles"):
        Repeat(SQUARE, 1.5)  # type: ignore[arg-type]


def test_nested_repeats_come_lazily_or_as_one_table() -> None:
    short = chopped(40.0, 0.5, 1e3, 0.5).then(constant(5.0, 10.0)).repeated(1000, period=90.0)
    (block,) = short.blocks()
    assert block.repeats == 1000
    long = chopped(40.0, 0.5, 1e5, 50.0).then(constant(5.0, 10.0)).repeated(10**7, period=90.0)
    first = list(itertools.islice(long.blocks(), 4))
    assert [b.repeats for b in first] == [5_000_000, 1, 5_000_000, 1]
    assert [b.start for b in first] == pytest.approx([0.0, 50.0, 90.0, 140.0])
    cycle = 1600 * 0.5 * 50 + 250
    assert long.i2t() == pytest.approx(1e7 * cycle, rel=1e-12)


def test_repeats_survive_a_sum_with_a_constant_stretch() -> None:
    wave = chopped(100.0, 0.3, 20e3, 10.0) + constant(0.0, 3.0).then(constant(30.0, 2.0))
    blocks = list(wave.blocks())
    assert [b.repeats for b in blocks] == [60_000, 40_000, 100_000]
    expected = 8 * 3000 + 2 * (130**2 * 0.3 + 900 * 0.7)
    assert total(wave) == pytest.approx(expected, rel=1e-12)
    assert wave.i2t() == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("wave", "expected"),
    [
        (chopped(100.0, 0.3, 2e3, 0.1) + chopped(30.0, 0.4, 1.7e3, 0.13), 418.8),
        (half_sine(100.0, 0.01) + half_sine(50.0, 0.01), 112.5),
        (Waveform(time=[0, 1], current=[0, 10]) + Waveform(time=[0, 1], current=[10, 0]), 100.0),
        # Terms of different length: the shorter is zero after its end.
        (constant(10.0, 1.0) + Waveform(time=[0, 3], current=[5, 5]), 225.0 + 50.0),
    ],
)
def test_sums_of_any_periods(wave: Waveform, expected: float) -> None:
    assert wave.i2t() == pytest.approx(expected, rel=1e-12)
    assert total(wave) == pytest.approx(expected, rel=1e-12)
    blocks = list(wave.blocks())
    assert blocks[0].start == 0.0
    for before, after in itertools.pairwise(blocks):
        assert after.start == pytest.approx(before.end, rel=1e-12)
    assert blocks[-1].end == pytest.approx(wave.duration, rel=1e-12)


def test_long_records_come_in_chunks() -> None:
    time = np.linspace(0.0, 1.0, 1001)
    wave = Waveform(time=time, current=np.sin(40 * time))
    blocks = list(wave.blocks(max_points=300))
    assert [b.s0.size for b in blocks] == [300, 300, 300, 100]
    assert total(wave, 300) == pytest.approx(wave.i2t(), rel=1e-13)


def test_cut_leaves_the_part_between() -> None:
    wave = half_sine(100.0, 0.01).repeated(1000, period=0.05) + 5.0
    part = wave.cut(0.012, 3.204)
    assert part.duration == pytest.approx(3.192)
    assert part.i2t() == pytest.approx(wave.i2t(0.012, 3.204), rel=1e-12)
    at = np.linspace(0.0, 3.19, 57)
    np.testing.assert_allclose(part.current(at), wave.current(at + 0.012), atol=1e-9)
    joined = constant(1.0, 2.0).then(lamp_inrush(5.0, 10.0, 0.1, 1.0))
    assert joined.cut(1.5, 2.5).i2t() == pytest.approx(joined.i2t(1.5, 2.5), rel=1e-13)


def test_time_at_which_a_joule_integral_is_reached() -> None:
    pump = SQUARE.repeated(10**6, period=90.0)
    assert pump.time_to_i2t(312.5 * 1234 + 100.0) == pytest.approx(
        1234 * 90.0 + 100.0 / 15625.0, rel=1e-14
    )
    assert pump.time_to_i2t(312.5e6 * 1.01) is None
    assert pump.time_to_i2t(0.0) == 0.0


def test_longest_pulse() -> None:
    wave = Waveform(time=[0, 1, 2, 3, 4], current=[0, 10, -10, 0, 0])
    # The zero crossing divides the pulse: |I| >= 5 from .5 to 1.25 and from 1.75 to 2.5.
    span = wave.longest_pulse(5.0)
    assert span.duration == pytest.approx(0.75)
    assert wave.longest_pulse(11.0) is None
    # A pulse over the join between cycles, and between blocks.
    wrapped = Waveform(time=[0, 1, 1, 3, 3, 4], current=[9, 9, 0, 0, 9, 9]).repeated(50)
    assert wrapped.longest_pulse(8.0) == pytest.approx((3.0, 2.0))
    closed = wrapped.then(constant(9.0, 5.0))
    assert closed.longest_pulse(8.0) == pytest.approx((199.0, 6.0))
    assert constant(9.0, 5.0).repeated(1000).longest_pulse(8.0) == pytest.approx((0.0, 5000.0))


def test_peaks_between_the_points_of_the_mesh() -> None:
    # sin x + sin(2x + 1)/2 has its crest where cos x + cos(2x + 1) = 0: 3x + 1 = pi or x + 1 = pi.
    wave = Sum((half_sine(1.0, math.pi), half_sine(0.5, math.pi / 2).then(constant(0.0, 1.0))))
    x = np.linspace(0.0, math.pi, 2_000_001)
    assert wave.peak == pytest.approx(float(np.abs(wave.current(x)).max()), rel=1e-11)
    assert half_sine(-70.0, 0.01).extremes[0] == pytest.approx(-70.0, rel=1e-14)
    assert half_sine(-70.0, 0.01).peak == pytest.approx(70.0, rel=1e-14)


def test_scaling_and_notes_reach_every_part() -> None:
    tree = chopped(40.0, 0.5, 1e3, 0.5).then(exponential_decay(30.0, 0.1)) + constant(3.0, 9.0)
    double = tree.scaled(2.0)
    assert double.i2t() == pytest.approx(4.0 * tree.i2t(), rel=1e-12)
    assert double.peak == pytest.approx(2.0 * tree.peak, rel=1e-12)
    assert tree.notes == ()


def test_fingerprints_tell_waveforms_apart() -> None:
    def tree(current: float) -> Waveform:
        return half_sine(current, 0.01).repeated(5, period=1.0).then(constant(3.0, 1.0))

    assert tree(10.0).fingerprint == tree(10.0).fingerprint
    assert tree(10.0).fingerprint != tree(10.000001).fingerprint
    assert constant(1.0, 2.0).fingerprint != constant(1.0, 2.0).repeated(1).fingerprint


def test_block_of_a_pulse_is_as_written() -> None:
    (block,) = Waveform(time=[0, 2, 2, 3], current=[1, 5, 2, 2]).blocks()
    assert isinstance(block, Block)
    assert block.time.tolist() == [0.0, 2.0, 3.0]
    assert block.s0.tolist() == [1.0, 4.0]
    assert block.s1.tolist() == [4.0, 0.0]
    assert block.s2.tolist() == [4.0, 0.0]
    assert block.square(np.array([1.0, 2.0])).tolist() == [9.0, 4.0]


def test_a_short_term_ends_early_inside_a_chain_too() -> None:
    # The inner sum of unequal terms meets a repeat, so that it is cut and laid over.
    inner = constant(1.0, 1.0) + Waveform(time=[0, 1, 2], current=[0, 0, 0])
    wave = constant(0.0, 0.5).repeated(1).then(inner) + Waveform(time=[0, 1, 2], current=[0, 0, 1])
    # Currents: 0 to .5 s; 1 to 1 s; 2 - t rises to 1.5 s; then t - 1 alone to 2 s.
    rise = ((1.5**3 - 1.0) + (1.0 - 0.5**3)) / 3.0
    assert total(wave) == pytest.approx(0.5 + rise, rel=1e-12)


def test_a_cut_within_rounding_of_an_edge() -> None:
    inner = constant(2.0, 4.0).then(constant(0.0, 0.1)).repeated(4)
    wave = inner.then(constant(0.0, 0.3)).repeated(4)
    for k in range(1, 4):
        edge = wave.duration * k / 4
        for a in (math.nextafter(edge, 0.0), edge, math.nextafter(edge, math.inf)):
            assert wave.cut(a, a + 1.0).i2t() == pytest.approx(4.0, rel=1e-9)
            assert wave.cut(a, math.nextafter(a, math.inf)).duration > 0.0
    assert Joined((constant(1.0, 1.0),)).cut(0.5, math.nextafter(0.5, 1.0)).peak == 1.0
