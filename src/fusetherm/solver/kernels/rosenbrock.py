"""One Rosenbrock step, with the heat made and lost in it as states of the method itself."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...compiled import kernel, merged
from .arrow import factor, solve
from .assemble import AMBIENT_SLOPE, F0, FLOW, GEN_ROW, LOSS_ROW, G, assemble
from .layout import INVERSE_CAPACITY, Arrays, Floats, Method
from .sums import dot, summed

# rows of `Scratch.vector`; the stages follow from STAGE on
U_TRY, U_OLD, RATE_OLD, RATE_NEW, STAGE = range(5)

# rows of `Scratch.scalar`
SMALL, BALANCE, SCALAR_ROWS = range(3)


class Scratch(NamedTuple):
    """Working arrays of one run."""

    work: Floats  # (2, ROWS, N) assembly at the current state, and at stages
    vector: Floats  # (STAGE + stages, N)
    border: Floats  # (2, k, n) df_i/du_shared, df_shared/du_i
    square: Floats  # (2, k, k) df_shared/du_shared, inverse of the Schur complement
    lu: Floats  # (SPIKE + 2 k, N)
    scalar: Floats  # (SCALAR_ROWS, max(k, stages, 2)); balance: loss [W], chain [ohm]


@merged
def rosenbrock(
    u: Floats,
    dt: float,
    start: float,
    slope: float,
    ambient: float,
    ambient_rate: float,
    net: Arrays,
    held: float,
    method: Method,
    z: Scratch,
) -> tuple[float, float, bool]:
    """One trial step from u to u_try; heat made and lost in it, and whether it was sound: finite,
    and no longer than what grows takes.

    I² = start + slope tau. The two heats are carried as states of the method itself, so
    that their difference equals the stored heat to round-off. With r_s what the right side and
    the stage K_s give to a heat's stage s, that heat is ``dt sum_s v_s r_s`` with `Method.heat`.
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
    stages = method.alpha.shape[0]
    shift = 1.0 / (method.gamma * dt)
    # a pivot that is not positive: something grows faster than the step, as a metal that runs away
    # does, and an L-stable method would damp it away with a small error
    if not factor(shift, start, work, column, row, corner, net.shells, net.spots, z.lu, schur):
        return 0.0, 0.0, False
    loss = z.scalar[BALANCE, 0]
    ohms = z.scalar[BALANCE, 1]
    squared = start
    ambient_gain = 0.0  # of the whole network [W/K]
    if ambient_rate != 0.0:
        for i in range(total):
            if capacity[i] > 0.0:
                ambient_gain += work[AMBIENT_SLOPE, i] / capacity[i]
    made = 0.0
    lost = 0.0
    source = z.work[0]
    for s in range(stages):
        if s > 0 and method.new_function[s] == 1:
            for i in range(total):
                u_try[i] = u[i]
            for j in range(s):
                if method.a[s, j] != 0.0:
                    add(method.a[s, j], stage[j], u_try)
            age = method.alpha[s] * dt
            squared = start + slope * age
            now = ambient + ambient_rate * age
            loss, ohms = assemble(u_try, now, net, trial, column, row, corner, 0.0, held)
            source = z.work[1]
        x = stage[s]
        for i in range(total):
            x[i] = source[F0, i] + squared * source[G, i]
        c_time = method.gamma_sum[s] * dt
        if slope != 0.0:
            add(c_time * slope, work[G], x)
        if ambient_rate != 0.0:
            add(c_time * ambient_rate, work[AMBIENT_SLOPE], x)
        for j in range(s):
            if method.c[s, j] != 0.0:
                add(method.c[s, j] / dt, stage[j], x)
        solve(x, net.shells, net.spots, z.lu, schur, z.scalar[SMALL])
        made += method.heat[s] * (squared * ohms + c_time * slope * z.scalar[BALANCE, 1])
        lost += method.heat[s] * (loss - c_time * ambient_rate * ambient_gain)
    together = trial[FLOW]
    for i in range(total):
        together[i] = 0.0
        u_try[i] = u[i]
    for s in range(stages):
        if method.heat[s] != 0.0:
            add(method.heat[s], stage[s], together)
        if method.weight[s] != 0.0:
            add(method.weight[s], stage[s], u_try)
    made = dt * (made + start * dot(work[GEN_ROW], together, total))
    lost = dt * (lost + dot(work[LOSS_ROW], together, total))
    return made, lost, np.isfinite(summed(u_try, 0, total))


@kernel
def add(factor: float, x: Floats, y: Floats) -> None:
    """``y += factor x``."""
    for i in range(y.shape[0]):
        y[i] += factor * x[i]


@kernel
def tame_rates(
    dt: float, squared: float, slack: float, gamma: float, net: Arrays, z: Scratch
) -> bool:
    """Damp the stiff part of the rates at both ends of a step, where it has outgrown the step.

    The dense output needs rates. A node much faster than the step carries an error e within
    the tolerance, but its rate e / tau times the step may be thousands of kelvins. With
    P = (I - gamma dt J)^-1 the rate becomes ``(I - (I - P)^3) f``: third order in dt where
    dt J is small, and at most 3 e / (gamma dt) where it is large. Where that took away more
    than .3 of a rate, the node is too fast for the step to have an inner life, and its rate
    times the step is kept within twice its change, which leaves the cubic no room for a peak.

    Parameters
    ----------
    dt : step [s]
    squared : I² at its end [A²]
    slack : how far rate times step may lie from a node's change, beside that change [K]
    gamma : of the method
    z : scratch, assembled at the step's end; the rates are changed, the factors overwritten

    Returns
    -------
    bool
        Whether anything was changed.
    """
    u_try = z.vector[U_TRY]
    u_old = z.vector[U_OLD]
    total = u_try.shape[0]
    wild = False
    for i in range(total):
        change = u_try[i] - u_old[i]
        for end in range(RATE_OLD, RATE_NEW + 1):
            if np.abs(z.vector[end, i] * dt - change) > np.abs(change) + slack:
                wild = True
    if not wild:
        return False
    shift = 1.0 / (gamma * dt)
    work = z.work[0]
    factor(
        shift, squared, work, z.border[0], z.border[1], z.square[0], net.shells, net.spots,
        z.lu, z.square[1],
    )  # fmt: skip
    rest = z.vector[STAGE]
    part = z.vector[STAGE + 1]
    for end in range(RATE_OLD, RATE_NEW + 1):
        rate = z.vector[end]
        for i in range(total):
            rest[i] = rate[i]
        for _ in range(3):
            for i in range(total):
                part[i] = shift * rest[i]
            solve(part, net.shells, net.spots, z.lu, z.square[1], z.scalar[SMALL])
            for i in range(total):
                rest[i] -= part[i]
        for i in range(total):
            change = u_try[i] - u_old[i]
            bound = np.abs(change) + slack
            stiff = np.abs(rest[i]) > 0.3 * np.abs(rate[i])
            rate[i] -= rest[i]
            if stiff and np.abs(rate[i] * dt - change) > bound:
                rate[i] = (change + bound) / dt if rate[i] * dt > change else (change - bound) / dt
    return True
