"""Steady states: the branch from cold to the melting point, followed in peak temperature.

Along the branch the peak rises while the current need not: above a critical current no
steady state exists, and a Newton solve at fixed current can land on a false branch below
absolute zero. Following the peak instead, with the current as an unknown, passes the
fold without harm and shows the highest current the branch carries.
"""

from __future__ import annotations

import numpy as np

from ...compiled import kernel
from .advance import Setting
from .arrow import factor, solve
from .assemble import F0, G, assemble
from .events import hottest
from .layout import POSITION, Arrays, Floats
from .rosenbrock import SMALL, U_OLD, U_TRY, Scratch

FOUND, NOT_CONVERGED, UNSTABLE = 0, 1, 2
_NEWTON = 30


@kernel
def steady_at_peak(
    u: Floats,
    squared: float,
    target: float,
    ambient: float,
    net: Arrays,
    setting: Setting,
    z: Scratch,
) -> tuple[int, float]:
    """Newton on (u, I²) so that the hottest point has u = target; u is changed in place.

    Returns the outcome and I² [A²].
    """
    work = z.work[0]
    u_try = z.vector[U_TRY]
    u_old = z.vector[U_OLD]
    column = z.border[0]
    row = z.border[1]
    corner = z.square[0]
    schur = z.square[1]
    total = u.shape[0]
    for _ in range(_NEWTON):
        assemble(u, ambient, net, work, column, row, corner, True)
        factor(0.0, squared, work, column, row, corner, z.lu, schur)
        for i in range(total):
            u_try[i] = work[F0, i] + squared * work[G, i]
            u_old[i] = work[G, i]
        solve(u_try, row, z.lu, schur, z.scalar[SMALL])
        solve(u_old, row, z.lu, schur, z.scalar[SMALL])
        hot, top, place = hottest(u, setting.first, setting.last, net.node[POSITION])
        gain_a = u_try[hot]
        gain_b = u_old[hot]
        if setting.first < hot < setting.last:
            # the vertex moves with its three values by their Lagrange weights
            x0 = net.node[POSITION, hot - 1] - place
            x1 = net.node[POSITION, hot] - place
            x2 = net.node[POSITION, hot + 1] - place
            w0 = x1 * x2 / ((x0 - x1) * (x0 - x2))
            w1 = x0 * x2 / ((x1 - x0) * (x1 - x2))
            w2 = x0 * x1 / ((x2 - x0) * (x2 - x1))
            gain_a = w0 * u_try[hot - 1] + w1 * u_try[hot] + w2 * u_try[hot + 1]
            gain_b = w0 * u_old[hot - 1] + w1 * u_old[hot] + w2 * u_old[hot + 1]
        change = (target - top - gain_a) / gain_b
        largest = 0.0
        for i in range(total):
            move = u_try[i] + change * u_old[i]
            largest = max(largest, np.abs(move))
        if not np.isfinite(largest):
            return NOT_CONVERGED, squared
        damping = 1.0 if largest < 200.0 else 200.0 / largest
        for i in range(total):
            u[i] += damping * (u_try[i] + change * u_old[i])
        squared += damping * change
        if largest < 1.0e-9 * 300.0:
            return FOUND, squared
    return NOT_CONVERGED, squared


@kernel
def steady_branch(
    u: Floats, targets: Floats, ambient: float, net: Arrays, setting: Setting, z: Scratch,
    squares: Floats, states: Floats,
) -> int:  # fmt: skip
    """Follow the steady branch through rising targets of the hottest u.

    Parameters
    ----------
    u : (N,) state at ambient, changed in place
    targets : (p,) u of the hottest point, rising [K]
    squares : (p,) filled with I² [A²]
    states : (p, N) filled with the states

    Returns
    -------
    int
        Number of targets reached.
    """
    work = z.work[0]
    u_try = z.vector[U_TRY]
    column = z.border[0]
    row = z.border[1]
    corner = z.square[0]
    schur = z.square[1]
    total = u.shape[0]
    _, top, _ = hottest(u, setting.first, setting.last, net.node[POSITION])
    assemble(u, ambient, net, work, column, row, corner, True)
    factor(0.0, 0.0, work, column, row, corner, z.lu, schur)
    for i in range(total):
        u_try[i] = work[G, i]
    solve(u_try, row, z.lu, schur, z.scalar[SMALL])
    _hot, gain, _ = hottest(u_try, setting.first, setting.last, net.node[POSITION])
    squared = (targets[0] - top) / gain
    for i in range(total):
        u[i] += squared * u_try[i]
    for p in range(targets.shape[0]):
        if p > 0:
            # extrapolate along the branch
            share = 1.0
            if p > 1:
                share = (targets[p] - targets[p - 1]) / (targets[p - 1] - targets[p - 2])
                for i in range(total):
                    u[i] += share * (states[p - 1, i] - states[p - 2, i])
                squared += share * (squares[p - 1] - squares[p - 2])
        outcome, squared = steady_at_peak(u, squared, targets[p], ambient, net, setting, z)
        if outcome != FOUND:
            return p
        squares[p] = squared
        for i in range(total):
            states[p, i] = u[i]
    return int(targets.shape[0])


@kernel
def steady_at_current(
    u: Floats, squared: float, ambient: float, net: Arrays, setting: Setting, z: Scratch
) -> int:
    """Newton at fixed I² from a state near the branch; UNSTABLE when a pivot is not positive."""
    work = z.work[0]
    u_try = z.vector[U_TRY]
    column = z.border[0]
    row = z.border[1]
    corner = z.square[0]
    schur = z.square[1]
    total = u.shape[0]
    for _ in range(_NEWTON):
        assemble(u, ambient, net, work, column, row, corner, True)
        stable = factor(0.0, squared, work, column, row, corner, z.lu, schur)
        largest = 0.0
        for i in range(total):
            u_try[i] = work[F0, i] + squared * work[G, i]
        solve(u_try, row, z.lu, schur, z.scalar[SMALL])
        for i in range(total):
            u[i] += u_try[i]
            largest = max(largest, np.abs(u_try[i]))
        if not np.isfinite(largest):
            return NOT_CONVERGED
        if largest < 1.0e-9 * 300.0:
            return FOUND if stable else UNSTABLE
    return NOT_CONVERGED
