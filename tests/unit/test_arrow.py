"""The arrow system against a dense solve."""

from __future__ import annotations

import numpy as np
import pytest

from fusetherm.solver.kernels.arrow import SPIKE, factor, solve
from fusetherm.solver.kernels.assemble import DG, DIAGONAL, LOWER, ROWS, UPPER


@pytest.mark.parametrize("shared", [0, 1, 3])
@pytest.mark.parametrize("chain", [1, 2, 9])
def test_against_a_dense_solve(chain: int, shared: int) -> None:
    rng = np.random.default_rng(chain + 10 * shared)
    total, shift, squared = chain + shared, 3.0, 2.0
    w = np.zeros((ROWS, total))
    w[LOWER, 1:chain], w[UPPER, : chain - 1] = rng.uniform(0, 1, (2, chain - 1))
    w[DIAGONAL] = -5.0 - rng.uniform(0, 1, total)
    w[DG] = rng.uniform(0, 0.5, total)
    column, row = rng.uniform(0, 0.3, (2, shared, chain))
    corner = rng.uniform(0, 0.3, (shared, shared))
    np.fill_diagonal(corner, w[DIAGONAL, chain:])
    dense = np.zeros((total, total))
    i = np.arange(chain)
    dense[i, i] = w[DIAGONAL, :chain]
    dense[i[1:], i[:-1]], dense[i[:-1], i[1:]] = w[LOWER, 1:chain], w[UPPER, : chain - 1]
    dense[:chain, chain:], dense[chain:, :chain], dense[chain:, chain:] = column.T, row, corner
    dense = shift * np.eye(total) - dense - squared * np.diag(w[DG])

    lu, schur, work = np.zeros((SPIKE + shared, chain)), np.zeros((shared, shared)), np.zeros(4)
    assert factor(shift, squared, w, column, row, corner, lu, schur)
    right = rng.standard_normal(total)
    x = right.copy()
    solve(x, row, lu, schur, work)
    assert x == pytest.approx(np.linalg.solve(dense, right), rel=1e-12, abs=1e-13)


def test_says_when_a_pivot_is_not_positive() -> None:
    w = np.zeros((ROWS, 2))
    w[DIAGONAL], w[DG] = -1.0, 1.0
    lu, none, square = np.zeros((SPIKE, 2)), np.zeros((0, 2)), np.zeros((0, 0))
    assert factor(0.0, 0.5, w, none, none, square, lu, square)
    assert not factor(0.0, 2.0, w, none, none, square, lu, square)
