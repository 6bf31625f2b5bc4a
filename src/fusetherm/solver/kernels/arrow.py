"""The bordered tridiagonal ("arrow") system: elimination and a k x k Schur complement.

The chain is eliminated from both ends towards its middle at once: each step waits for the one
before it, and two rows of steps run side by side in the time of one.

Local states hang on one cell each and are eliminated first. A branch of shells j = 1 .. m
around a cell i, the last one tied to the first shared node b, is a tridiagonal system of its
own; from outside inwards it becomes

    x_j = alpha_j + beta_j x_(j-1) + gamma_j x_b,    x_0 = (dT_i/du_i) x_i

which leaves a term on the diagonal of the cell and one between the cell and b, in both
directions. The dissolved share q of a cell is ``x_q = (r_q + lower_q x_0) / shift``.
"""

from __future__ import annotations

from ...compiled import kernel
from .assemble import DG, DIAGONAL, DT_, LOWER, PULL, UPPER
from .layout import Floats, Integers
from .sums import dot

# rows of the (FACTOR_ROWS, N) factor array. Chain: 1 / pivot, what a node takes from the one
# before it on the way in and on the way back, share given to the first shell, dT/du. Local nodes:
# 1 / pivot, beta, gamma, what is given to the cell (or, by the last shell, to the body), coupling
# outwards. Spikes and effective rows of the border follow, k of each.
PIVOT, IN, BACK, GIVE, TAKE, SPIKE = range(6)
BETA, GAMMA = IN, BACK


@kernel
def sweep(x: Floats, n: int, lu: Floats) -> None:
    """Solve the chain alone, in place: inwards from both ends, then back."""
    middle = n // 2
    left = 0.0
    right = 0.0
    for i in range(n - 1 - middle):
        j = n - 1 - i
        left = x[i] * lu[PIVOT, i] + lu[IN, i] * left
        right = x[j] * lu[PIVOT, j] + lu[IN, j] * right
        x[i] = left
        x[j] = right
    for i in range(n - 1 - middle, middle):
        left = x[i] * lu[PIVOT, i] + lu[IN, i] * left
        x[i] = left
    # of the middle, BACK is what it takes from its right
    left = x[middle] * lu[PIVOT, middle] + lu[IN, middle] * left + lu[BACK, middle] * right
    right = left
    x[middle] = left
    for i in range(n - 1 - middle, middle):
        left = x[i] + lu[BACK, i] * left
        x[i] = left
    for j in range(middle + 1, n):
        i = n - 1 - j
        left = x[i] + lu[BACK, i] * left
        right = x[j] + lu[BACK, j] * right
        x[i] = left
        x[j] = right


@kernel
def factor(
    shift: float,
    squared: float,
    w: Floats,
    border_column: Floats,
    border_row: Floats,
    corner: Floats,
    shells: Integers,
    spots: Integers,
    lu: Floats,
    schur: Floats,
) -> bool:
    """Factor ``shift I - (J0 + I² dG)``; False when a pivot is not positive.

    All off-diagonal entries of J are non-negative (heat flows downhill), so a stable
    state gives an M-matrix with positive pivots: a pivot of another sign means that no
    stable steady state lies here.

    Parameters
    ----------
    shift : 1 / (gamma dt), or 0 for a steady state [1/s], in which spots stand still
    squared : I² [A²]
    lu : (SPIKE + 2 k, N) factors, spikes and rows
    schur : (k, k) inverse of the Schur complement
    """
    n = border_column.shape[1]
    k = schur.shape[0]
    border = SPIKE + k
    for i in range(n):
        lu[PIVOT, i] = 0.0
        for b in range(k):
            lu[SPIKE + b, i] = border_column[b, i]
            lu[border + b, i] = border_row[b, i]
    outermost = shells.shape[1] - 1
    returned = 0.0  # what the first shared node gets back of its own heat
    for s in range(shells.shape[0]):
        i = shells[s, 0]
        beta = 0.0
        gamma = 1.0
        for j in range(outermost, 0, -1):
            c = shells[s, j]
            outward = w[UPPER, c]
            lu[TAKE, c] = outward if j < outermost else 0.0
            inv = 1.0 / (shift - w[DIAGONAL, c] - lu[TAKE, c] * beta)
            beta = w[LOWER, c] * inv
            gamma *= outward * inv
            lu[PIVOT, c] = inv
            lu[BETA, c] = beta
            lu[GAMMA, c] = gamma
        lu[GIVE, i] = w[PULL, i]
        lu[TAKE, i] = w[DT_, i]
        lu[PIVOT, i] += w[PULL, i] * beta * w[DT_, i]
        if k > 0:
            last = shells[s, outermost]
            lu[GIVE, last] = w[PULL, last]
            lu[SPIKE, i] += w[PULL, i] * gamma
            of_cell = w[DT_, i]
            of_body = 0.0
            for j in range(1, outermost + 1):
                c = shells[s, j]
                of_cell *= lu[BETA, c]
                of_body = lu[BETA, c] * of_body + lu[GAMMA, c]
            lu[border, i] += w[PULL, last] * of_cell
            returned += w[PULL, last] * of_body
    for s in range(spots.shape[0]):
        i = spots[s, 0]
        c = spots[s, 1]
        inv = 1.0 / shift if shift > 0.0 else 0.0
        lu[PIVOT, c] = inv
        lu[BETA, c] = w[LOWER, c] * w[DT_, i] * inv
        lu[GIVE, c] = squared * w[PULL, c] * inv
        lu[PIVOT, i] += squared * w[PULL, c] * lu[BETA, c]
    good = True
    middle = n // 2
    left = 0.0  # what the chain so far gives to the next node, over its pivot
    right = 0.0
    for i in range(n - 1 - middle):
        j = n - 1 - i
        pivot = shift - w[DIAGONAL, i] - squared * w[DG, i] - lu[PIVOT, i] - w[LOWER, i] * left
        other = shift - w[DIAGONAL, j] - squared * w[DG, j] - lu[PIVOT, j] - w[UPPER, j] * right
        if not (pivot > 0.0 and other > 0.0):
            good = False
        inv = 1.0 / pivot
        inv_other = 1.0 / other
        left = w[UPPER, i] * inv
        right = w[LOWER, j] * inv_other
        lu[PIVOT, i] = inv
        lu[PIVOT, j] = inv_other
        lu[IN, i] = w[LOWER, i] * inv
        lu[IN, j] = w[UPPER, j] * inv_other
        lu[BACK, i] = left
        lu[BACK, j] = right
    for i in range(n - 1 - middle, middle + 1):
        pivot = shift - w[DIAGONAL, i] - squared * w[DG, i] - lu[PIVOT, i] - w[LOWER, i] * left
        if i == middle:
            pivot -= w[UPPER, i] * right
        if not pivot > 0.0:
            good = False
        inv = 1.0 / pivot
        left = w[UPPER, i] * inv
        lu[PIVOT, i] = inv
        lu[IN, i] = w[LOWER, i] * inv
        lu[BACK, i] = left
    for b in range(k):
        sweep(lu[SPIKE + b], n, lu)
    for a in range(k):
        for b in range(k):
            x = -corner[a, b]
            if a == b:
                x += shift - squared * w[DG, n + a]
                if a == 0:
                    x -= returned
            schur[a, b] = x - dot(lu[border + a], lu[SPIKE + b], n)
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
def solve(
    x: Floats, shells: Integers, spots: Integers, lu: Floats, schur: Floats, work: Floats
) -> None:
    """Solve in place with the factors of `factor`; `work` holds k values."""
    k = schur.shape[0]
    outermost = shells.shape[1] - 1
    n = x.shape[0] - k - shells.shape[0] * outermost - spots.shape[0]
    border = SPIKE + k
    for s in range(shells.shape[0]):
        i = shells[s, 0]
        alpha = 0.0
        for j in range(outermost, 0, -1):
            c = shells[s, j]
            alpha = lu[PIVOT, c] * (x[c] + lu[TAKE, c] * alpha)
            x[c] = alpha
        x[i] += lu[GIVE, i] * alpha
        if k > 0:
            last = 0.0
            for j in range(1, outermost + 1):
                c = shells[s, j]
                last = x[c] + lu[BETA, c] * last
            x[n] += lu[GIVE, shells[s, outermost]] * last
    for s in range(spots.shape[0]):
        x[spots[s, 0]] += lu[GIVE, spots[s, 1]] * x[spots[s, 1]]
    sweep(x, n, lu)
    for b in range(k):
        work[b] = x[n + b] + dot(lu[border + b], x, n)
    for a in range(k):
        y = 0.0
        for b in range(k):
            y += schur[a, b] * work[b]
        x[n + a] = y
        for i in range(n):
            x[i] += lu[SPIKE + a, i] * y
    for s in range(shells.shape[0]):
        i = shells[s, 0]
        value = lu[TAKE, i] * x[i]
        body = x[n] if k > 0 else 0.0
        for j in range(1, outermost + 1):
            c = shells[s, j]
            value = x[c] + lu[BETA, c] * value + lu[GAMMA, c] * body
            x[c] = value
    for s in range(spots.shape[0]):
        c = spots[s, 1]
        x[c] = lu[PIVOT, c] * x[c] + lu[BETA, c] * x[spots[s, 0]]
