"""One Rosenbrock step, with the heat made and lost in it as states of the method itself."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...compiled import merged
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
    factor(shift, start, work, column, row, corner, net.shells, net.spots, z.lu, schur)
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
            now = ambient + ambient_rate * age
            loss, ohms = assemble(u_try, now, net, trial, column, row, corner, 0.0)
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
        solve(stage[s], net.shells, net.spots, z.lu, schur, z.scalar[SMALL])
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


@merged
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
