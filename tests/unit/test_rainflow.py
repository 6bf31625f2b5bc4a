"""Rainflow counting against the standard's example and an independent package."""

from __future__ import annotations

import numpy as np
import pytest
import rainflow as package

from fusetherm.errors import InputError
from fusetherm.life.rainflow import Counter, count_cycles, joined, repeating

#: ASTM E1049-85 (2011), the standard's worked example.
HISTORY = [-2, 1, -3, 5, -1, 3, -4, 4, -2]


def table(cycles: object) -> list[tuple[float, float, float, int, int]]:
    names = ("range", "mean", "count", "start", "end")
    return list(zip(*(getattr(cycles, name).tolist() for name in names), strict=True))


def test_the_standards_example() -> None:
    assert count_cycles(HISTORY).tally() == {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}


def test_order_means_and_halves_of_the_example() -> None:
    # rainflow 3.2.0 on the standard's example
    assert [row[:3] for row in table(count_cycles(HISTORY))] == [
        (3, -0.5, 0.5), (4, -1.0, 0.5), (4, 1.0, 1.0), (8, 1.0, 0.5), (9, 0.5, 0.5),
        (8, 0.0, 0.5), (6, 1.0, 0.5),
    ]  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("rounded", [False, True])
def test_random_walks_as_the_package_counts_them(seed: int, rounded: bool) -> None:
    walk = np.cumsum(np.random.default_rng(seed).normal(size=4000))
    if rounded:  # plateaus and equal ranges
        walk = np.round(walk)
    ours = table(count_cycles(walk))
    theirs = list(package.extract_cycles(walk))
    assert ours == [tuple(float(v) for v in row[:3]) + tuple(row[3:]) for row in theirs]


@pytest.mark.parametrize("history", [[1.0], [2.0, 2.0], [1.0, 3.0], [1.0, 1.0, 4.0, 4.0]])
def test_short_histories(history: list[float]) -> None:
    ours = [row[:3] for row in table(count_cycles(history))]
    expected = [(abs(history[-1] - history[0]), 0.5 * (history[0] + history[-1]), 0.5)]
    assert ours == (expected if len(set(history)) > 1 else [])


def test_nothing_counts_nothing() -> None:
    assert table(count_cycles([])) == []


@pytest.mark.parametrize("pieces", [1, 7, 1000])
def test_pieces_count_as_the_whole(pieces: int) -> None:
    walk = np.cumsum(np.random.default_rng(5).normal(size=5000))
    counter = Counter()
    parts = [counter.feed(piece) for piece in np.array_split(walk, pieces)]
    assert table(joined([*parts, counter.finish()])) == table(count_cycles(walk))
    assert counter.open_points == 0


def test_open_points_outgrow_their_first_room_and_stay_right() -> None:
    n = np.arange(3000)
    spiral = (-1.0) ** n * (3000 - n)
    counter = Counter()
    assert counter.feed(spiral).total == 0.0
    assert counter.open_points == 2999
    halves = counter.finish()
    assert halves.count.tolist() == [0.5] * 2999
    assert np.array_equal(halves.range, np.abs(np.diff(spiral)))


def test_memory_stays_flat() -> None:
    rng = np.random.default_rng(1)
    counter = Counter()
    most = 0
    for _ in range(30):
        counter.feed(rng.normal(size=50_000))
        most = max(most, counter.open_points)
    assert most < 60  # 1.5 million samples


def test_a_repeating_history_counts_the_same_each_time() -> None:
    once = repeating(HISTORY)
    many = count_cycles(np.tile(HISTORY, 400))
    for size, count in once.tally().items():
        assert many.tally()[size] / 400 == pytest.approx(count, rel=0.01)
    # wherever the period is cut
    turned = repeating(np.roll(HISTORY, 3))
    assert turned.tally() == once.tally()


def test_values_that_are_no_numbers_are_refused() -> None:
    with pytest.raises(InputError, match="no number"):
        count_cycles([0.0, np.nan, 1.0])
