"""Newton's method for one steady state, at a stated peak or at a stated current.

Along the branch of steady states the peak rises while the current need not: above a
critical current no steady state exists, and a Newton solve at fixed current can land on a
false branch below absolute zero. Stating the peak instead, with the current as an unknown,
passes the fold without harm and shows the highest current the branch carries.
"""

from __future__ import annotations

import numpy as np

from ...compiled import kernel
from .arrow import factor, solve
from .assemble import F0, G, assemble
from .events import hottest
from .layout import MATERIAL, POSITION, U_SOLIDUS, Arrays, Floats, Setting
from .rosenbrock import SMALL, U_OLD, U_TRY, Scratch

FOUND, NOT_CONVERGED, UNSTABLE = 0, 1, 2
_NEWTON = 30
_AGREEMENT = 3.0e-7  # largest last move [K]
_LONGEST_MOVE = 200.0  # [K]


@kernel
def steady(
    u: Floats,
    squared: float,
    target: float,
    ambient: float,
    net: Arrays,
    setting: Setting,
    z: Scratch,
) -> tuple[int, float]:
    """Newton on (u, I²) so that the hottest point has u = target; u is changed in place.

    Without a target (not a number) I² stays as it is. Returns the outcome and I² [A²];
    UNSTABLE says that a pivot was not positive at a stated current.
    """
    work = z.work[0]
    by_state = z.vector[U_TRY]
    by_square = z.vector[U_OLD]
    column = z.border[0]
    row = z.border[1]
    corner = z.square[0]
    schur = z.square[1]
    position = net.node[POSITION]
    total = u.shape[0]
    free = np.isfinite(target)
    for _ in range(_NEWTON):
        assemble(u, ambient, net, work, column, row, corner, 1.0, 0.0)
        stable = factor(0.0, squared, work, column, row, corner, net.shells, net.spots, z.lu, schur)
        for i in range(total):
            by_state[i] = work[F0, i] + squared * work[G, i]
            by_square[i] = work[G, i]
        solve(by_state, net.shells, net.spots, z.lu, schur, z.scalar[SMALL])
        change = 0.0
        if free:
            solve(by_square, net.shells, net.spots, z.lu, schur, z.scalar[SMALL])
            hot, top, place = hottest(u, setting.first, setting.last, position)
            gain_a = by_state[hot]
            gain_b = by_square[hot]
            if setting.first < hot < setting.last:
                # the vertex moves with its three values by their Lagrange weights
                x0 = position[hot - 1] - place
                x1 = position[hot] - place
                x2 = position[hot + 1] - place
                w0 = x1 * x2 / ((x0 - x1) * (x0 - x2))
                w1 = x0 * x2 / ((x1 - x0) * (x1 - x2))
                w2 = x0 * x1 / ((x2 - x0) * (x2 - x1))
                gain_a = w0 * by_state[hot - 1] + w1 * by_state[hot] + w2 * by_state[hot + 1]
                gain_b = w0 * by_square[hot - 1] + w1 * by_square[hot] + w2 * by_square[hot + 1]
            change = (target - top - gain_a) / gain_b
        largest = 0.0
        for i in range(total):
            by_state[i] += change * by_square[i]
            largest = max(largest, np.abs(by_state[i]))
        if not np.isfinite(largest):
            return NOT_CONVERGED, squared
        damping = 1.0
        if free and largest > _LONGEST_MOVE:
            damping = _LONGEST_MOVE / largest
        for i in range(total):
            u[i] += damping * by_state[i]
            if free and net.kind[MATERIAL, i] >= 0:
                # past the melting point a cell keeps its temperature whatever its state, and
                # the next move would have no solution
                u[i] = min(u[i], net.metal[net.kind[MATERIAL, i], U_SOLIDUS])
        squared += damping * change
        if largest < _AGREEMENT:
            return (FOUND if free or stable else UNSTABLE), squared
    return NOT_CONVERGED, squared
