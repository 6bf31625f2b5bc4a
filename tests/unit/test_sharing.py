"""Shapley's rule: its four properties, and a case done by hand."""

from __future__ import annotations

import math
from itertools import permutations

import pytest

from fusetherm.answers.sharing import shapley

NAMES = ("a", "b", "c", "d")
WEIGHTS = (1.0, 2.0, 5.0, 0.0)


def bent(on: frozenset[int]) -> float:
    """No sum: the square of a sum, and a product of two."""
    return sum(WEIGHTS[i] for i in on) ** 2 + (7.0 if {0, 1} <= on else 0.0)


def test_shares_sum_to_the_whole() -> None:
    shares = shapley(bent, NAMES)
    assert math.fsum(s.value for s in shares) == pytest.approx(bent(frozenset(range(4))))
    assert [s.name for s in shares] == list(NAMES)


def test_it_is_the_mean_over_all_orders() -> None:
    means = [0.0] * 4
    orders = list(permutations(range(4)))
    for order in orders:
        there: frozenset[int] = frozenset()
        for i in order:
            means[i] += (bent(there | {i}) - bent(there)) / len(orders)
            there |= {i}
    assert [s.value for s in shapley(bent, NAMES)] == pytest.approx(means)


def test_two_that_do_the_same_share_alike_and_one_that_does_nothing_has_nothing() -> None:
    # the glove game (textbook case, from memory): two left gloves and one right make one pair
    def pairs(on: frozenset[int]) -> float:
        return float(2 in on and bool(on & {0, 1}))

    left, other, right, idle = shapley(pairs, NAMES)
    assert left.value == pytest.approx(1.0 / 6.0)
    assert other.value == pytest.approx(1.0 / 6.0)
    assert right.value == pytest.approx(4.0 / 6.0)
    assert (idle.value, idle.alone, idle.last) == (0.0, 0.0, 0.0)
    assert (right.alone, right.last) == (0.0, 1.0)


def test_each_set_is_asked_once() -> None:
    asked: list[frozenset[int]] = []

    def note(on: frozenset[int]) -> float:
        asked.append(on)
        return float(len(on))

    assert [s.value for s in shapley(note, NAMES)] == pytest.approx([1.0] * 4)
    assert len(asked) == len(set(asked)) == 16
