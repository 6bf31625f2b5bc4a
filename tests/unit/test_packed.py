"""Packs do to each lane what plain numbers do."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fusetherm.compiled import kernel
from fusetherm.packed import (
    LANES,
    all_between,
    cubic_slopes,
    cubics,
    everywhere,
    larger,
    load,
    load_fourth,
    magnitude,
    store,
    where_above,
    whole,
)


@kernel
def operations(a: Any, out: Any) -> bool:
    x = load(a, 0, 1)
    y = load(a, 1, 1)
    store(out, 0, 0, x + y)
    store(out, 1, 0, 2.0 * x - y)
    store(out, 2, 0, x * y - 1.0)
    store(out, 3, 0, x / y)
    store(out, 4, 0, larger(x, y))
    store(out, 5, 0, magnitude(x))
    store(out, 6, 0, where_above(x, everywhere(0.0), y, x))
    store(out, 7, 0, whole(x))
    return all_between(x, everywhere(-10.0), load(a, 1, 0))


@kernel
def looked_up(table: Any, z: float, out: Any, packs: Any) -> None:
    for lane in range(LANES):
        cubics(table, 16, z + 0.1 * lane, out, 4 * lane)
        cubic_slopes(table, 16, z + 0.1 * lane, 3.0, out, 4 * (LANES + lane))
    store(packs, 0, 0, load_fourth(out, 0, 1))
    store(packs, 1, 0, load_fourth(out, 4 * LANES, 2))


def test_operations_lane_by_lane() -> None:
    rng = np.random.default_rng(3)
    a = rng.uniform(-5.0, 5.0, (2, 2, LANES))
    a[1, 0] = 10.0
    out = np.zeros((8, 1, LANES))
    assert operations(a, out)
    x, y = a[0, 1], a[1, 1]
    expected = [
        x + y, 2.0 * x - y, x * y - 1.0, x / y, np.maximum(x, y), np.abs(x),
        np.where(x > 0.0, y, x), np.trunc(x),
    ]  # fmt: skip
    assert out[:, 0] == pytest.approx(np.array(expected), rel=1e-15, abs=1e-15)
    a[0, 1, LANES - 1] = -11.0
    assert not operations(a, out)
    a[0, 1, LANES - 1] = np.nan
    assert not operations(a, out)


def test_cubics_and_every_fourth_number() -> None:
    table = np.random.default_rng(4).uniform(-1.0, 1.0, (2, 4, 4))  # interval, power, quantity
    out, packs = np.zeros((2, LANES, 4)), np.zeros((2, 1, LANES))
    looked_up(table, 0.05, out, packs)
    z = 0.05 + 0.1 * np.arange(LANES)
    value = sum(table[1, k] * z[:, None] ** k for k in range(4))
    slope = sum(3.0 * k * table[1, k] * z[:, None] ** (k - 1) for k in range(1, 4))
    assert out[0] == pytest.approx(value, rel=1e-14, abs=1e-15)
    assert out[1] == pytest.approx(slope, rel=1e-14, abs=1e-14)
    assert np.array_equal(packs[0, 0], out[0, :, 1])
    assert np.array_equal(packs[1, 0], out[1, :, 2])
