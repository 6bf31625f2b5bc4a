"""The bordered tridiagonal ("arrow") system: Thomas elimination and a k x k Schur complement."""

from __future__ import annotations

from ...compiled import kernel
from .assemble import DG, DIAGONAL, LOWER, UPPER
from .layout import Floats

# rows of the (FACTOR_ROWS, n) factor array; the border columns follow from SPIKE on
PIVOT, BELOW, ABOVE, SPIKE = 0, 1, 2, 3


@kernel
def factor(
    shift: float,
    squared: float,
    w: Floats,
    border_column: Floats,
    border_row: Floats,
    corner: Floats,
    lu: Floats,
    schur: Floats,
) -> bool:
    """Factor ``shift I - (J0 + I² dG)``; False when a pivot is not positive.

    All off-diagonal entries of J are non-negative (heat flows downhill), so a stable
    state gives an M-matrix with positive pivots: a pivot of another sign means that no
    stable steady state lies here.

    Parameters
    ----------
    shift : 1 / (gamma dt), or 0 for a steady state [1/s]
    squared : I² [A²]
    lu : (3 + k, n) factors and spikes
    schur : (k, k) inverse of the Schur complement
    """
    n = lu.shape[1]
    k = schur.shape[0]
    good = True
    above = 0.0
    for i in range(n):
        below = -w[LOWER, i]
        pivot = shift - w[DIAGONAL, i] - squared * w[DG, i] - below * above
        if not pivot > 0.0:
            good = False
        inv = 1.0 / pivot
        above = -w[UPPER, i] * inv
        lu[PIVOT, i] = inv
        lu[BELOW, i] = below
        lu[ABOVE, i] = above
    for b in range(k):
        x = 0.0
        for i in range(n):
            x = (-border_column[b, i] - lu[BELOW, i] * x) * lu[PIVOT, i]
            lu[SPIKE + b, i] = x
        for i in range(n - 2, -1, -1):
            lu[SPIKE + b, i] -= lu[ABOVE, i] * lu[SPIKE + b, i + 1]
    for a in range(k):
        for b in range(k):
            x = -corner[a, b]
            if a == b:
                x += shift - squared * w[DG, n + a]
            for i in range(n):
                x += border_row[a, i] * lu[SPIKE + b, i]
            schur[a, b] = x
    # Gauss-Jordan inverse in place; the complement of an M-matrix is one too, so no pivoting
    for p in range(k):
        pivot = schur[p, p]
        if not pivot > 0.0:
            good = False
        inv = 1.0 / pivot
        schur[p, p] = 1.0
        for b in range(k):
            schur[p, b] *= inv
        for a in range(k):
            if a != p:
                x = schur[a, p]
                schur[a, p] = 0.0
                for b in range(k):
                    schur[a, b] -= x * schur[p, b]
    return good


@kernel
def solve(x: Floats, border_row: Floats, lu: Floats, schur: Floats, work: Floats) -> None:
    """Solve in place with the factors of `factor`; `work` holds k values."""
    n = lu.shape[1]
    k = schur.shape[0]
    last = 0.0
    for i in range(n):
        last = (x[i] - lu[BELOW, i] * last) * lu[PIVOT, i]
        x[i] = last
    for i in range(n - 2, -1, -1):
        last = x[i] - lu[ABOVE, i] * last
        x[i] = last
    for b in range(k):
        r = x[n + b]
        for i in range(n):
            r += border_row[b, i] * x[i]
        work[b] = r
    for a in range(k):
        y = 0.0
        for b in range(k):
            y += schur[a, b] * work[b]
        x[n + a] = y
        for i in range(n):
            x[i] -= lu[SPIKE + a, i] * y
