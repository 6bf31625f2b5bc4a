"""The arrow system, with local states eliminated, against a dense solve."""

from __future__ import annotations

import numpy as np
import pytest

from fusetherm.solver.kernels.arrow import SPIKE, factor, solve
from fusetherm.solver.kernels.assemble import DG, DIAGONAL, DT_, LOWER, PULL, ROWS, UPPER

NO_SHELLS, NO_SPOTS = np.zeros((0, 1), dtype=np.int64), np.zeros((0, 2), dtype=np.int64)


@pytest.mark.parametrize("layers", [0, 2, 4])
@pytest.mark.parametrize("shared", [0, 1, 3])
@pytest.mark.parametrize("chain", [1, 2, 9])
def test_against_a_dense_solve(chain: int, shared: int, layers: int) -> None:
    rng = np.random.default_rng(chain + 10 * shared)
    shift, squared, first = 3.0, 2.0, chain + shared
    cells = np.arange(0, chain, 2) if layers else np.zeros(0, dtype=np.int64)
    shells = np.column_stack(
        (cells, first + np.arange(len(cells) * layers).reshape(len(cells), layers))
    ).astype(np.int64)
    under = np.arange(chain)[-2:] if layers == 4 else np.zeros(0, dtype=np.int64)
    start = first + len(cells) * layers
    spots = np.column_stack((under, start + np.arange(len(under)))).astype(np.int64)
    total = start + len(under)
    w = np.zeros((ROWS, total))
    w[LOWER, 1:chain], w[UPPER, : chain - 1] = rng.uniform(0, 1, (2, chain - 1))
    w[DIAGONAL, :start] = -5.0 - rng.uniform(0, 1, start)
    w[DG, :first] = rng.uniform(0, 0.5, first)
    w[DT_, :chain] = rng.uniform(0.5, 1.0, chain)
    w[LOWER, first:], w[UPPER, first:start] = rng.uniform(0, 1, total - first), 0.7
    w[PULL] = rng.uniform(0, 0.4, total)
    column, row = rng.uniform(0, 0.3, (2, shared, chain))
    corner = rng.uniform(0, 0.3, (shared, shared))
    np.fill_diagonal(corner, w[DIAGONAL, chain:first])

    slopes = np.zeros((total, total))
    i = np.arange(chain)
    slopes[i, i] = w[DIAGONAL, :chain]
    slopes[i[1:], i[:-1]], slopes[i[:-1], i[1:]] = w[LOWER, 1:chain], w[UPPER, : chain - 1]
    slopes[:chain, chain:first], slopes[chain:first, :chain] = column.T, row
    slopes[chain:first, chain:first] = corner
    for cell, *around in shells:
        slopes[cell, around[0]] = w[PULL, cell]
        for before, own in zip([cell, *around[:-1]], around, strict=True):
            slopes[own, own] = w[DIAGONAL, own]
            slopes[own, before] = w[LOWER, own] * (w[DT_, cell] if before == cell else 1.0)
            if before != cell:
                slopes[before, own] = w[UPPER, before]
        if shared:
            slopes[around[-1], chain] = w[UPPER, around[-1]]
            slopes[chain, around[-1]] = w[PULL, around[-1]]
    for cell, own in spots:
        slopes[own, cell] = w[LOWER, own] * w[DT_, cell]
        slopes[cell, own] = squared * w[PULL, own]
    dense = shift * np.eye(total) - slopes - squared * np.diag(w[DG])

    lu, schur = np.zeros((SPIKE + 2 * shared, total)), np.zeros((shared, shared))
    assert factor(shift, squared, w, column, row, corner, shells, spots, lu, schur)
    right = rng.standard_normal(total)
    x = right.copy()
    solve(x, shells, spots, lu, schur, np.zeros(4))
    assert x == pytest.approx(np.linalg.solve(dense, right), rel=1e-12, abs=1e-13)


def test_says_when_a_pivot_is_not_positive() -> None:
    w = np.zeros((ROWS, 2))
    w[DIAGONAL], w[DG] = -1.0, 1.0
    lu, none, square = np.zeros((SPIKE, 2)), np.zeros((0, 2)), np.zeros((0, 0))
    local = (NO_SHELLS, NO_SPOTS)
    assert factor(0.0, 0.5, w, none, none, square, *local, lu, square)
    assert not factor(0.0, 2.0, w, none, none, square, *local, lu, square)
