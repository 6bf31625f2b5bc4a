"""What holds for every waveform, whatever it is made of."""

from __future__ import annotations

import itertools
import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fusetherm.current import shapes
from fusetherm.current.capture import read_capture
from fusetherm.current.sampled import Sampled
from fusetherm.current.waveform import Waveform

amperes = st.floats(-300.0, 300.0).map(lambda i: round(i, 3))
seconds = st.floats(1e-4, 10.0).map(lambda t: float(f"{t:.4g}"))


@st.composite
def sampled(draw: st.DrawFn) -> Sampled:
    """Breakpoints at uneven times, some of them steps."""
    steps = draw(st.lists(st.one_of(seconds, st.just(0.0)), min_size=2, max_size=8))
    time = np.concatenate([[0.0], np.cumsum(steps)])
    _, first = np.unique(time, return_index=True)
    twice = np.unique(np.concatenate([first, np.minimum(first + 1, time.size - 1)]))
    time = time[twice]
    assume(time[-1] > 0.0)
    assume(not ((np.diff(time)[1:] == 0.0) & (np.diff(time)[:-1] == 0.0)).any())
    current = draw(st.lists(amperes, min_size=time.size, max_size=time.size))
    return Sampled(time, current)


leaves = st.one_of(
    sampled(),
    st.builds(shapes.constant, amperes, seconds),
    st.builds(shapes.half_sine, amperes, seconds),
    st.builds(shapes.exponential_decay, amperes, seconds),
    st.builds(shapes.exponential_decay, amperes, seconds, seconds),
    st.builds(shapes.damped_oscillation, amperes, st.floats(0.5, 50.0), st.floats(0.01, 0.2)),
    st.builds(shapes.lamp_inrush, amperes, st.floats(1.0, 15.0), seconds, seconds),
    st.builds(shapes.gaussian_pulse, amperes, seconds),
)
trees = st.recursive(
    leaves,
    lambda inner: st.one_of(
        st.builds(Waveform.then, inner, inner),
        st.builds(Waveform.plus, inner, st.one_of(inner, amperes)),
        st.builds(
            lambda wave, count, rest, level: wave.repeated(
                count, period=wave.duration + rest, rest=level
            ),
            inner,
            st.integers(1, 4),
            st.one_of(st.just(0.0), seconds),
            amperes,
        ),
    ),
    max_leaves=4,
)
shares = st.floats(0.0, 1.0)
quick = settings(max_examples=60)


def scale(wave: Waveform) -> float:
    """Size against which a Joule integral of a part is judged [A2 s]."""
    return wave.peak**2 * wave.duration + 1e-30


@quick
@given(trees)
def test_blocks_hold_the_whole_joule_integral(wave: Waveform) -> None:
    blocks = list(wave.blocks())
    assert blocks[0].start == 0.0
    for before, after in itertools.pairwise(blocks):
        assert after.start == pytest.approx(before.end, rel=1e-11)
    assert blocks[-1].end == pytest.approx(wave.duration, rel=1e-11)
    total = math.fsum(block.i2t for block in blocks)
    assert total == pytest.approx(wave.i2t(), rel=1e-12, abs=1e-13 * scale(wave))


@quick
@given(trees, st.integers(0, 2**32 - 1))
def test_blocks_are_the_square_of_the_current(wave: Waveform, seed: int) -> None:
    rng = np.random.default_rng(seed)
    edges = wave.edges
    peak = max(sum(_leaf_peaks(wave)), 1e-30)
    for block in itertools.islice(wave.blocks(), 20):
        run = int(rng.integers(block.repeats))
        at = rng.uniform(0.0, block.period, 50)
        time = block.start + run * block.period + at
        # Beside a step, rounding decides on which side of it an instant falls.
        k = np.searchsorted(edges, time)
        near = np.minimum(
            np.abs(edges[np.clip(k, 0, edges.size - 1)] - time),
            np.abs(edges[np.clip(k - 1, 0, edges.size - 1)] - time),
        )
        clear = near > 1e-9 * wave.duration
        error = np.abs(block.square(at) - wave.current(time) ** 2)[clear]
        assert error.max(initial=0.0) < 2e-6 * peak**2


def _leaf_peaks(wave: Waveform) -> list[float]:
    if not wave.parts:
        return [wave.peak]
    return [peak for part in wave.parts for peak in _leaf_peaks(part)]


@quick
@given(trees, shares, shares)
def test_split_integrals_add(wave: Waveform, a: float, b: float) -> None:
    first, second = sorted((a * wave.duration, b * wave.duration))
    parts = [wave.i2t(0.0, first), wave.i2t(first, second), wave.i2t(second)]
    assert min(parts) >= 0.0
    assert math.fsum(parts) == pytest.approx(wave.i2t(), rel=1e-12, abs=1e-12 * scale(wave))
    charges = [wave.charge(0.0, first), wave.charge(first, second), wave.charge(second)]
    size = wave.peak * wave.duration
    assert math.fsum(charges) == pytest.approx(wave.charge(), rel=1e-12, abs=1e-12 * size)


@quick
@given(trees, shares, shares)
def test_a_cut_has_the_integral_of_its_interval(wave: Waveform, a: float, b: float) -> None:
    first, second = sorted((a * wave.duration, b * wave.duration))
    assume(second - first > 1e-3 * wave.duration)
    cut = wave.cut(first, second)
    assert cut.duration == pytest.approx(second - first, rel=1e-9)
    assert cut.i2t() == pytest.approx(wave.i2t(first, second), rel=1e-9, abs=1e-11 * scale(wave))


@quick
@given(trees, st.floats(-20.0, 20.0))
def test_scaling_scales(wave: Waveform, factor: float) -> None:
    double = wave.scaled(factor)
    assert double.duration == wave.duration
    assert double.charge() == pytest.approx(factor * wave.charge(), rel=1e-11, abs=1e-9)
    assert double.i2t() == pytest.approx(factor**2 * wave.i2t(), rel=1e-11)
    assert double.peak == pytest.approx(abs(factor) * wave.peak, rel=1e-9)


@quick
@given(sampled(), st.lists(shares, min_size=1, max_size=5))
def test_an_extra_breakpoint_changes_nothing(wave: Sampled, where: list[float]) -> None:
    extra = np.setdiff1d(np.array(where) * wave.duration, wave.time)
    place = np.searchsorted(wave.time, extra)
    more = Sampled(
        np.insert(wave.time, place, extra), np.insert(wave.values, place, wave.current(extra))
    )
    at = np.linspace(0.0, wave.duration, 37)
    np.testing.assert_allclose(more.current(at), wave.current(at), atol=1e-9)
    assert more.i2t() == pytest.approx(wave.i2t(), rel=1e-12, abs=1e-12)
    assert more.charge() == pytest.approx(wave.charge(), rel=1e-12, abs=1e-12)
    assert more.peak == wave.peak


@quick
@given(trees, st.floats(0.01, 0.99))
def test_time_and_joule_integral_are_inverse(wave: Waveform, share: float) -> None:
    goal = share * wave.i2t()
    assume(goal > 1e-12 * scale(wave))
    time = wave.time_to_i2t(goal)
    assert time is not None
    # The time itself is rounded.
    slack = 4.0 * wave.peak**2 * math.ulp(time)
    assert wave.i2t(0.0, time) == pytest.approx(goal, rel=1e-11, abs=slack)


@quick
@given(leaves, st.integers(2, 5), seconds)
def test_a_repeat_is_its_cycles_one_after_another(wave: Waveform, count: int, rest: float) -> None:
    repeat = wave.repeated(count, period=wave.duration + rest)
    chain = wave.then(shapes.constant(0.0, rest))
    row = chain
    for _ in range(count - 1):
        row = row.then(chain)
    assert row.duration == pytest.approx(repeat.duration, rel=1e-13)
    assert row.i2t() == pytest.approx(repeat.i2t(), rel=1e-12)
    assert row.peak == pytest.approx(repeat.peak, rel=1e-12)


_marks = st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), (" ", ".")])


@quick
@given(
    st.lists(amperes, min_size=2, max_size=40),
    _marks,
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from([("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)]),
    st.integers(-50, 50),
)
def test_a_record_survives_its_file(
    current: list[float],
    marks: tuple[str, str],
    encoding: str,
    end: str,
    unit: tuple[str, float],
    trigger: int,
) -> None:
    delimiter, decimal = marks
    name, factor = unit
    rows = [f"t ({name}){delimiter}I (A)"]
    for k, i in enumerate(current):
        rows.append(f"{trigger + 0.25 * k:.2f}{delimiter}{i:.3f}".replace(".", decimal))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.csv"
        path.write_bytes((end.join(rows) + end).encode(encoding))
        capture = read_capture(path)
    np.testing.assert_array_equal(capture.values, current)
    # Moving a record of late stamps to 0 costs the rounding of those stamps.
    slack = 1e-15 * factor * (60 + abs(trigger))
    expected = 0.25 * factor * np.arange(len(current))
    np.testing.assert_allclose(capture.time, expected, rtol=1e-13, atol=slack)
    assert capture.record.original_start == pytest.approx(trigger * factor, rel=1e-14)
