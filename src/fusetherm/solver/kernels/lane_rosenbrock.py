"""One Rosenbrock step of `LANES` runs at once, each with its own step; equations as in
`rosenbrock` and `arrow`, without filler and spots."""

from __future__ import annotations

from ...compiled import kernel, merged
from ...packed import everywhere, larger, load, magnitude, store, where_above
from .assemble import DG, DIAGONAL, F0, GEN_ROW, LOSS_ROW, LOWER, UPPER, G
from .lane_assembly import assemble_lanes
from .lane_layout import (
    ACCEPTED,
    AMBIENT_K,
    BEFORE,
    CHAIN_OHMS,
    DT,
    ERROR,
    GROWS,
    LANE_STAGE,
    LOST_IN_STEP,
    LOST_POWER,
    MADE_IN_STEP,
    RATE_BEFORE,
    SQUARED_SLOPE,
    SQUARED_START,
    STATE,
    SUM,
    TRIED,
    WILD,
    Lanes,
    Networks,
)
from .layout import Floats, Integers, Method, Setting

# rows of `Lanes.lu`
INVERSE_PIVOT, BAND_BELOW, BAND_ABOVE, SPIKE = range(4)


@merged
def factor_lanes(gamma: float, s: Lanes) -> None:
    """Factor ``I / (gamma dt) - (J0 + I² dG)`` of every lane; see `factor`."""
    w = s.work
    lu = s.lu
    n = s.coupling.shape[1]
    k = s.square.shape[1]
    zero = everywhere(0.0)
    one = everywhere(1.0)
    shift = one / (gamma * load(s.scalar, 0, DT))
    squared = load(s.scalar, 0, SQUARED_START)
    above = zero
    grows = everywhere(-1.0)
    for i in range(n):
        below = zero - load(w, LOWER, i)
        pivot = shift - load(w, DIAGONAL, i) - squared * load(w, DG, i) - below * above
        grows = larger(zero - pivot, grows)
        inv = one / pivot
        above = (zero - load(w, UPPER, i)) * inv
        store(lu, INVERSE_PIVOT, i, inv)
        store(lu, BAND_BELOW, i, below)
        store(lu, BAND_ABOVE, i, above)
    for b in range(k):
        x = zero
        for i in range(n):
            x = (zero - load(s.coupling, 2 * k + b, i) - load(lu, BAND_BELOW, i) * x) * load(
                lu, INVERSE_PIVOT, i
            )
            store(lu, SPIKE + b, i, x)
        for i in range(n - 2, -1, -1):
            x = load(lu, SPIKE + b, i) - load(lu, BAND_ABOVE, i) * x
            store(lu, SPIKE + b, i, x)
    for a in range(k):
        for b in range(k):
            x = zero - load(s.square, k + a, b)
            if a == b:
                x = x + (shift - squared * load(w, DG, n + a))
            for i in range(n):
                x = x + load(s.coupling, 3 * k + a, i) * load(lu, SPIKE + b, i)
            store(s.square, 2 * k + a, b, x)
    for p in range(k):
        grows = larger(zero - load(s.square, 2 * k + p, p), grows)
        inv = one / load(s.square, 2 * k + p, p)
        store(s.square, 2 * k + p, p, one)
        for b in range(k):
            store(s.square, 2 * k + p, b, load(s.square, 2 * k + p, b) * inv)
        for a in range(k):
            if a != p:
                x = load(s.square, 2 * k + a, p)
                store(s.square, 2 * k + a, p, zero)
                for b in range(k):
                    y = load(s.square, 2 * k + a, b) - x * load(s.square, 2 * k + p, b)
                    store(s.square, 2 * k + a, b, y)
    store(s.scalar, 0, GROWS, grows)


@kernel
def solve_lanes(vector: Floats, row: int, s: Lanes) -> None:
    """Solve in place with the factors of `factor_lanes`."""
    lu = s.lu
    n = s.coupling.shape[1]
    k = s.square.shape[1]
    x = everywhere(0.0)
    for i in range(n):
        x = (load(vector, row, i) - load(lu, BAND_BELOW, i) * x) * load(lu, INVERSE_PIVOT, i)
        store(vector, row, i, x)
    for i in range(n - 2, -1, -1):
        x = load(vector, row, i) - load(lu, BAND_ABOVE, i) * x
        store(vector, row, i, x)
    for b in range(k):
        r = load(vector, row, n + b)
        for i in range(n):
            r = r + load(s.coupling, 3 * k + b, i) * load(vector, row, i)
        store(s.border, 0, b, r)
    for a in range(k):
        y = everywhere(0.0)
        for b in range(k):
            y = y + load(s.square, 2 * k + a, b) * load(s.border, 0, b)
        store(vector, row, n + a, y)
        for i in range(n):
            store(vector, row, i, load(vector, row, i) - load(lu, SPIKE + a, i) * y)


@kernel
def step_lanes(
    networks: Networks, of: Integers, method: Method, setting: Setting, s: Lanes
) -> None:
    """Try one step in every lane, from its state to `TRIED`.

    Step, I² and its slope stand in the scalars; heats, error and the sum of the state tried are
    left there.
    """
    v = s.vector
    total = v.shape[1]
    stages = method.alpha.shape[0]
    dt = load(s.scalar, 0, DT)
    start = load(s.scalar, 0, SQUARED_START)
    slope = load(s.scalar, 0, SQUARED_SLOPE)
    ambient = load(s.scalar, 0, AMBIENT_K)
    one = everywhere(1.0)
    zero = everywhere(0.0)
    per_dt = one / dt
    loss_0 = load(s.scalar, 0, LOST_POWER)
    ohms_0 = load(s.scalar, 0, CHAIN_OHMS)
    loss = loss_0
    ohms = ohms_0
    squared = start
    moved = False
    made = zero
    gone = zero
    factor_lanes(method.gamma, s)
    for j in range(stages):
        if j > 0 and method.new_function[j] == 1:
            for i in range(total):
                value = load(v, STATE, i)
                for p in range(j):
                    if method.a[j, p] != 0.0:
                        value = value + method.a[j, p] * load(v, LANE_STAGE + p, i)
                store(v, TRIED, i, value)
            moved = True
            squared = start + slope * (method.alpha[j] * dt)
            assemble_lanes(v[TRIED : TRIED + 1], networks, of, s.trial, s, 0.0)
            loss = load(s.scalar, 0, LOST_POWER)
            ohms = load(s.scalar, 0, CHAIN_OHMS)
        rise = method.gamma_sum[j] * dt * slope
        made = made + method.heat[j] * (squared * ohms + rise * ohms_0)
        gone = gone + method.heat[j] * loss
        for i in range(total):
            g = load(s.work, G, i)
            if moved:
                value = load(s.trial, F0, i) + squared * load(s.trial, G, i)
            else:
                value = load(s.work, F0, i) + squared * g
            value = value + rise * g
            for p in range(j):
                if method.c[j, p] != 0.0:
                    value = value + method.c[j, p] * per_dt * load(v, LANE_STAGE + p, i)
            store(v, LANE_STAGE + j, i, value)
        solve_lanes(v, LANE_STAGE + j, s)
    store(s.scalar, 0, LOST_POWER, loss_0)
    store(s.scalar, 0, CHAIN_OHMS, ohms_0)
    check = zero
    error = zero
    for i in range(total):
        value = load(v, STATE, i)
        e = zero
        heat = zero
        for j in range(stages):
            x = load(v, LANE_STAGE + j, i)
            heat = heat + method.heat[j] * x
            if method.weight[j] != 0.0:
                value = value + method.weight[j] * x
            if method.error[j] != 0.0:
                e = e + method.error[j] * x
        store(v, TRIED, i, value)
        made = made + start * load(s.work, GEN_ROW, i) * heat
        gone = gone + load(s.work, LOSS_ROW, i) * heat
        check = check + value
        error = larger(magnitude(e) / (setting.floor + magnitude(value - ambient)), error)
    store(s.scalar, 0, MADE_IN_STEP, dt * made)
    store(s.scalar, 0, LOST_IN_STEP, dt * gone)
    store(s.scalar, 0, SUM, check)
    store(s.scalar, 0, ERROR, error / setting.tolerance)


@merged
def accept_lanes(s: Lanes) -> None:
    """Make the state tried the state, where the lane accepts it; keep the old one and its rates."""
    v = s.vector
    accepted = load(s.scalar, 0, ACCEPTED)
    start = load(s.scalar, 0, SQUARED_START)
    zero = everywhere(0.0)
    for i in range(v.shape[1]):
        u = load(v, STATE, i)
        rate = load(s.work, F0, i) + start * load(s.work, G, i)
        store(v, BEFORE, i, where_above(accepted, zero, u, load(v, BEFORE, i)))
        store(v, RATE_BEFORE, i, where_above(accepted, zero, rate, load(v, RATE_BEFORE, i)))
        store(v, STATE, i, where_above(accepted, zero, load(v, TRIED, i), u))


@merged
def find_wild(slack: float, s: Lanes) -> None:
    """Say in which lanes a rate has outgrown the step just accepted; see `tame_rates`.

    `DT`, `SQUARED_START` and `SQUARED_SLOPE` are still those of that step, the assembly is that
    of its end.
    """
    v = s.vector
    dt = load(s.scalar, 0, DT)
    end = load(s.scalar, 0, SQUARED_START) + load(s.scalar, 0, SQUARED_SLOPE) * dt
    wild = everywhere(-1.0)
    for i in range(v.shape[1]):
        change = load(v, STATE, i) - load(v, BEFORE, i)
        bound = magnitude(change) + slack
        rate = load(s.work, F0, i) + end * load(s.work, G, i)
        wild = larger(magnitude(load(v, RATE_BEFORE, i) * dt - change) - bound, wild)
        wild = larger(magnitude(rate * dt - change) - bound, wild)
    store(s.scalar, 0, WILD, wild)
