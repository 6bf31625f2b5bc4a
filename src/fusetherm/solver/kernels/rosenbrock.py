"""One Rosenbrock step, with the heat made and lost in it as states of the method itself."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...compiled import kernel
from .arrow import factor, solve
from .assemble import AMBIENT_SLOPE, F0, GEN_ROW, LOSS_ROW, G, assemble
from .layout import INVERSE_CAPACITY, Arrays, Floats, Method

# rows of `Scratch.vector`; the stages follow from STAGE on
U_TRY, U_OLD, RATE_OLD, RATE_NEW, STAGE = range(5)

# rows of `Scratch.scalar`
SMALL, MADE, GONE, BALANCE, SCALAR_ROWS = range(5)


class Scratch(NamedTuple):
    """Working arrays of one run."""

    work: Floats  # (2, ROWS, N) assembly at the current state, and at stages
    vector: Floats  # (STAGE + stages, N)
    border: Floats  # (2, k, n) df_i/du_shared, df_shared/du_i
    square: Floats  # (2, k, k) df_shared/du_shared, inverse of the Schur complement
    lu: Floats  # (3 + k, n)
    scalar: Floats  # (SCALAR_ROWS, max(k, stages, 2)); balance: loss [W], chain [ohm]


@kernel
def rosenbrock(
    u: Floats,
    dt: float,
    start: float,
    slope: float,
    ambient: float,
    ambient_rate: float,
    net: Arrays,
    method: Method,
    z: Scratch,
) -> tuple[float, float, bool]:
    """One trial step from u to u_try; heat made and lost in it, and whether it was finite.

    I² = start + slope tau. The two heats are carried as states of the method itself, so
    that their difference equals the stored heat to round-off.
    """
    work = z.work[0]
    trial = z.work[1]
    stage = z.vector[STAGE:]
    u_try = z.vector[U_TRY]
    column = z.border[0]
    row = z.border[1]
    corner = z.square[0]
    schur = z.square[1]
    capacity = net.node[INVERSE_CAPACITY]
    total = u.shape[0]
    z.square.shape[1]
    stages = method.alpha.shape[0]
    shift = 1.0 / (method.gamma * dt)
    factor(shift, start, work, column, row, corner, z.lu, schur)
    loss_0 = z.scalar[BALANCE, 0]
    ohms_0 = z.scalar[BALANCE, 1]
    loss = loss_0
    ohms = ohms_0
    squared = start
    moved = False
    ambient_gain = 0.0
    for i in range(total):
        if capacity[i] > 0.0:
            ambient_gain += work[AMBIENT_SLOPE, i] / capacity[i]
    for s in range(stages):
        if s > 0 and method.new_function[s] == 1:
            for i in range(total):
                value = u[i]
                for j in range(s):
                    value += method.a[s, j] * stage[j, i]
                u_try[i] = value
            moved = True
            age = method.alpha[s] * dt
            squared = start + slope * age
            loss, ohms = assemble(
                u_try,
                ambient + ambient_rate * age,
                net,
                trial,
                column,
                row,
                corner,
                False,
            )
        c_time = method.gamma_sum[s] * dt
        joule = squared * ohms + c_time * slope * ohms_0
        lost = loss - c_time * ambient_rate * ambient_gain
        for j in range(s):
            c = method.c[s, j] / dt
            joule += c * z.scalar[MADE, j]
            lost += c * z.scalar[GONE, j]
        for i in range(total):
            if moved:
                value = trial[F0, i] + squared * trial[G, i]
            else:
                value = work[F0, i] + squared * work[G, i]
            value += c_time * (slope * work[G, i] + ambient_rate * work[AMBIENT_SLOPE, i])
            for j in range(s):
                value += method.c[s, j] / dt * stage[j, i]
            stage[s, i] = value
        solve(stage[s], row, z.lu, schur, z.scalar[SMALL])
        for i in range(total):
            joule += start * work[GEN_ROW, i] * stage[s, i]
            lost += work[LOSS_ROW, i] * stage[s, i]
        z.scalar[MADE, s] = joule * method.gamma * dt
        z.scalar[GONE, s] = lost * method.gamma * dt
    made = 0.0
    lost = 0.0
    for s in range(stages):
        made += method.weight[s] * z.scalar[MADE, s]
        lost += method.weight[s] * z.scalar[GONE, s]
    check = 0.0
    for i in range(total):
        value = u[i]
        for s in range(stages):
            value += method.weight[s] * stage[s, i]
        u_try[i] = value
        check += value
    return made, lost, np.isfinite(check)
