"""The stepping loop: Rosenbrock steps through one block of the waveform.

A kernel call returns when the block ends, the element parts, the trace buffer is full or
a budget of steps is spent; the caller goes on from the same clock. Outcomes are integers.
"""

from __future__ import annotations

import numpy as np

from ...compiled import kernel, merged
from .assemble import (
    F0,
    FLOW,
    GEN_ROW,
    OHMS,
    T_,
    G,
    assemble,
)
from .events import (
    between,
    corner_ahead,
    events_inside,
    hot_spot,
    peak_inside,
)
from .layout import (
    BEGIN,
    MATERIAL,
    S0,
    U_SOLIDUS,
    Arrays,
    Floats,
    Integers,
    Method,
    Setting,
)
from .material import state_of_metal
from .moments import excursion, straightened
from .rosenbrock import (
    BALANCE,
    RATE_NEW,
    RATE_OLD,
    STAGE,
    U_OLD,
    U_TRY,
    Scratch,
    add,
    rosenbrock,
    tame_rates,
)
from .sums import dot, largest, summed

# outcomes
BLOCK_DONE, PARTS, BUDGET, TRACE_FULL, STALLED, NOT_FINITE, MELTS = range(7)

# clock: the run's moving scalars
(
    OFFSET,  # local time in the current period [s]
    STEP,  # step proposed by the error control [s]; 0 before the first
    JOULE,  # heat generated [J]
    LOST,  # heat lost to ambient [J]
    ACTION,  # int I² dt [A² s]
    ACTION_LOW,  # its compensation
    ELECTRIC,  # int I V dt by separate quadrature of the terminal voltage [J]
    ONSET_TIME,
    BRIDGE_TIME,
    PARTED_TIME,
    PEAK_U,  # u at the hottest point so far
    PEAK_T,
    PEAK_TIME,
    PEAK_X,
    RIPPLE,  # largest neglected swing inside a period [K]
    AMBIENT,  # ambient now [K]
    AMBIENT_RATE,  # [K/s]
    SQUARED,  # I² at the end of the last step [A²]
    CLOCK_SIZE,
) = range(19)

# counts
CYCLE, STEPS, REJECTED, ROWS_WRITTEN, FRESH, BEGUN, COUNT_SIZE = range(7)

#: The first step may change the fastest node by so many errors allowed, within these times [s].
FIRST_CHANGE = 20.0
SHORTEST_FIRST, LONGEST_FIRST = 1.0e-12, 1.0

# leading columns of a trace row; temperatures of the watched nodes follow
ROW_TIME, ROW_SQUARED, ROW_PEAK, ROW_OHMS, ROW_ELEMENT_OHMS, ROW_FIXED = range(6)


@kernel
def temperature_at(u: float, material: int, net: Arrays) -> float:
    """Temperature [K] of a node at state u."""
    if material < 0:
        return u
    t, _, _, _, _, _ = state_of_metal(u, net.table[material], net.metal[material])
    return t


@kernel
def note_peak(
    u: Floats, time: float, ripple: float, setting: Setting, net: Arrays, clock: Floats
) -> float:
    """Keep the highest state of the element so far; return its temperature now [K]."""
    hot, top, place = hot_spot(u, setting.first, setting.last, net)
    return keep_peak(hot, top, place, time, ripple, net, clock)


@kernel
def write_row(
    time: float,
    squared: float,
    peak: float,
    ohms: float,
    watched: Integers,
    setting: Setting,
    work: Floats,
    row: Floats,
) -> None:
    """Fill a row of the trace from the assembly at its instant; `peak` is the hottest point [K]."""
    row[ROW_TIME] = time
    row[ROW_SQUARED] = squared
    row[ROW_PEAK] = peak
    row[ROW_OHMS] = ohms
    row[ROW_ELEMENT_OHMS] = summed(work[OHMS], setting.first, setting.last + 1)
    for j in range(watched.shape[0]):
        row[ROW_FIXED + j] = work[T_, watched[j]]


@kernel
def keep_peak(
    hot: int, top: float, place: float, time: float, ripple: float, net: Arrays, clock: Floats
) -> float:
    """Keep the hottest point of a state where it is the highest so far; its temperature [K]."""
    now = temperature_at(top, net.kind[MATERIAL, hot], net)
    if top + ripple > clock[PEAK_U]:
        clock[PEAK_U] = top + ripple
        clock[PEAK_T] = temperature_at(top + ripple, net.kind[MATERIAL, hot], net)
        clock[PEAK_TIME] = time
        clock[PEAK_X] = place
    return now


@merged
def keep_crest(
    block: Floats,
    dt: float,
    mean: float,
    slope: float,
    swing: float,
    scale: float,
    node: tuple[float, float, float, float],
    gain: float,
    hot: int,
    top: float,
    place: float,
    time: float,
    setting: Setting,
    net: Arrays,
    clock: Floats,
) -> None:
    """Keep the hottest point between the ends of a step, where what I² strays makes it hotter.

    Parameters
    ----------
    mean, slope : of I² in the step, before its scale [A², A²/s]
    swing : what it strays may move a node by [K]
    scale : factor on I²
    node, gain : of the hottest cell, see `excursion`
    hot, top, place, time : hottest cell at the step's end, u at the top of the parabola through it,
        its place; the step's start [s]
    """
    higher = top - node[2]
    little = 0.01 * setting.tolerance * setting.floor
    if swing < little or max(node[0], node[2]) + higher + swing < clock[PEAK_U]:
        return
    _, _, _, u, age = excursion(block, clock[OFFSET], dt, mean, slope, 3, gain * scale, node)
    if np.isnan(clock[ONSET_TIME]):  # which is looked for at the ends of steps
        u = min(u, net.metal[net.kind[MATERIAL, hot], U_SOLIDUS] - higher)
    keep_peak(hot, u + higher, place, time + age, 0.0, net, clock)


@merged
def shrunk(sound: bool, error: float, order: float) -> float:
    """By what a step that failed is multiplied; `sound` as of `rosenbrock`."""
    if sound and error < 1.0e9:
        return float(max(0.1, 0.85 * error ** (-1.0 / order)))
    return 0.1


@merged
def enter(
    dt: float,
    wish: float,
    error: float,
    crossing: float,
    order: float,
    period: float,
    opened: bool,
    made: float,
    lost: float,
    area: float,
    squared: float,
    clock: Floats,
    count: Integers,
) -> None:
    """Enter an accepted step into the clock: heats, Joule integral, local time, the next step.

    Parameters
    ----------
    dt, wish : the step taken, and what the error control had proposed [s]
    error : of the step, over what is allowed
    crossing : step over a corner of the melting range that this one led up to, or 0 [s]
    opened : whether the element parts at its end
    made, lost, area, squared : heats [J], Joule integral [A² s], I² at its end [A²]
    """
    clock[JOULE] += made
    clock[LOST] += lost
    term = area - clock[ACTION_LOW]
    action = clock[ACTION] + term
    clock[ACTION_LOW] = (action - clock[ACTION]) - term
    clock[ACTION] = action
    clock[SQUARED] = squared
    growth = 6.0
    if error > 1.0e-9:
        growth = min(6.0, 0.85 * error ** (-1.0 / order))
    proposal = dt * growth
    clock[STEP] = max(proposal, wish) if dt < wish and growth >= 1.0 else proposal
    if crossing > 0.0:
        clock[STEP] = crossing
    clock[OFFSET] += dt
    if clock[OFFSET] >= period:
        passed = np.floor(clock[OFFSET] / period)
        count[CYCLE] += int(passed)
        clock[OFFSET] -= passed * period
    if clock[OFFSET] > period - 1.0e-14 * max(1.0, period) and not opened:
        count[CYCLE] += 1
        clock[OFFSET] = 0.0
    count[STEPS] += 1


@merged
def first_step(block: Floats, scale: float, total: int, setting: Setting, work: Floats) -> float:
    """Step to begin a run with [s], from the rates at its start; the error control then judges it.

    Parameters
    ----------
    block, scale : the first block, of whose I² the highest counts, and a factor on it
    work : assembly at the start
    """
    squared = 0.0
    for j in range(block.shape[0]):
        squared = max(squared, scale * block[j, S0])
    fastest = 1.0e-300
    for i in range(total):
        rate = np.abs(work[F0, i] + squared * work[G, i])
        fastest = rate if rate > fastest else fastest
    change = FIRST_CHANGE * setting.tolerance * setting.floor
    return float(min(max(change / fastest, SHORTEST_FIRST), LONGEST_FIRST))


@kernel
def whether_held(u: Floats, clock: Floats, net: Arrays, setting: Setting) -> float:
    """1 while nothing has begun to melt, so that steps may be held solid; else 0."""
    solidus = net.metal[net.kind[MATERIAL, setting.first], U_SOLIDUS]
    solid = np.isnan(clock[ONSET_TIME]) and largest(u, setting.first, setting.last + 1) <= solidus
    return 1.0 if solid else 0.0


@kernel
def advance(
    block: Floats,
    repeats: int,
    block_start: float,
    whole0: float,
    whole1: float,
    until: float,
    u: Floats,
    clock: Floats,
    count: Integers,
    trace: Floats,
    watched: Integers,
    net: Arrays,
    setting: Setting,
    method: Method,
    z: Scratch,
    peak_state: Floats,
    budget: int,
) -> int:
    """Step through a block until it ends or something asks for the caller (see outcomes).

    Parameters
    ----------
    block, repeats, block_start, whole0, whole1 : table of the squared current, its repeats and
        start, and its period's moments
    until : end of the block's part to cover, from the block's start [s]
    u : (N,) state, changed in place
    clock, count : moving scalars, see the names above
    trace : (rows, ROW_FIXED + watched) buffer of accepted steps
    peak_state : (N,) state at the highest peak among accepted steps
    """
    work = z.work[0]
    stage = z.vector[STAGE:]
    u_try = z.vector[U_TRY]
    u_old = z.vector[U_OLD]
    rate_old = z.vector[RATE_OLD]
    rate_new = z.vector[RATE_NEW]
    column = z.border[0]
    row = z.border[1]
    corner = z.square[0]
    total = u.shape[0]
    period = block[block.shape[0] - 1, BEGIN]
    capacity_rows = trace.shape[0]
    tiny = 1.0e-14 * max(1.0, period)
    taken = 0
    closing = False  # this step ends at the opening
    last = 0.0  # length of the step before [s]
    crossing = 0.0  # step over a corner of the melting range that this one leads up to [s]
    held = whether_held(u, clock, net, setting)
    while True:
        if count[FRESH] == 0:
            held = whether_held(u, clock, net, setting)
            loss, ohms = assemble(u, clock[AMBIENT], net, work, column, row, corner, 1.0, held)
            z.scalar[BALANCE, 0] = loss
            z.scalar[BALANCE, 1] = ohms
            count[FRESH] = 1
        age_in_block = count[CYCLE] * period + clock[OFFSET]
        remaining = min((repeats - count[CYCLE]) * period - clock[OFFSET], until - age_in_block)
        if remaining <= tiny:
            return BLOCK_DONE
        if count[BEGUN] == 0:  # the state a run starts from
            count[BEGUN] = 1
            peak_now = note_peak(u, 0.0, 0.0, setting, net, clock)
            write_row(
                0.0, block[0, S0], peak_now, z.scalar[BALANCE, 1], watched, setting, work, trace[0]
            )
            count[ROWS_WRITTEN] = 1
        if taken >= budget and not closing:
            return BUDGET
        if count[ROWS_WRITTEN] >= capacity_rows:
            return TRACE_FULL
        taken += 1
        if clock[STEP] == 0.0:
            clock[STEP] = first_step(block, 1.0, total, setting, work)
        wish = clock[STEP]
        dt = min(wish, remaining)
        if remaining - dt < 1.0e-3 * dt:
            dt = remaining
        time_now = block_start + age_in_block

        dt, mean, slope, area, ripple, swing = straightened(
            block, repeats, whole0, whole1, clock[OFFSET], dt, largest(work[G], 0, total), setting,
            closing,
        )  # fmt: skip
        start = mean - 0.5 * slope * dt

        made, lost, sound = rosenbrock(
            u, dt, start, slope, clock[AMBIENT], clock[AMBIENT_RATE], net, held, method, z
        )
        error = 0.0
        if sound:
            off = z.work[1, FLOW]
            for i in range(total):
                off[i] = 0.0
            for s in range(method.error.shape[0]):
                if method.error[s] != 0.0:
                    add(method.error[s], stage[s], off)
            for i in range(total):
                off[i] = np.abs(off[i]) / (setting.floor + np.abs(u_try[i] - clock[AMBIENT]))
            error = largest(off, 0, total) / setting.tolerance
        if not sound or not (error <= 1.0 or closing):
            count[REJECTED] += 1
            shrink = shrunk(sound, error, method.order)
            clock[STEP] = dt * shrink
            crossing = 0.0
            reach, over = corner_ahead(u, start, work, net, rate_old, last)
            if dt * shrink < reach < dt:
                clock[STEP] = reach
                crossing = over
            if clock[STEP] < 1.0e-15:
                rates = summed(work[F0], 0, total) + start * summed(work[G], 0, total)
                return STALLED if np.isfinite(rates) else NOT_FINITE
            continue

        # accept: keep the old state for the dense output, assemble at the new one
        for i in range(total):
            u_old[i] = u[i]
            rate_old[i] = work[F0, i] + start * work[G, i]
        end = start + slope * dt
        ohms_old = z.scalar[BALANCE, 1]
        ohms_rate_old = dot(work[GEN_ROW], rate_old, total)
        ambient_new = clock[AMBIENT] + clock[AMBIENT_RATE] * dt
        loss, ohms = assemble(u_try, ambient_new, net, work, column, row, corner, 1.0, held)
        for i in range(total):
            rate_new[i] = work[F0, i] + end * work[G, i]
        slack = 3.0 * setting.tolerance * setting.floor
        if tame_rates(dt, end, slack, method.gamma, net, z):
            ohms_rate_old = dot(work[GEN_ROW], rate_old, total)
        ohms_rate_new = dot(work[GEN_ROW], rate_new, total)

        opened = closing
        if not closing:
            bent, opened, share = events_inside(
                dt, time_now, clock[OFFSET], u_old, rate_old, u_try, rate_new, net, setting,
                held, clock[ONSET_TIME : PARTED_TIME + 1], stage[0],
            )  # fmt: skip
            if bent:
                # end the step there and go on
                count[FRESH] = 0
                if setting.to_onset == 1 and not np.isnan(clock[ONSET_TIME]):
                    return MELTS  # as near before it as times tell apart
                clock[STEP] = share * dt * (1.0 + 1.0e-6)
                count[REJECTED] += 1
                continue
            if opened and share < 1.0:
                # step once more, to the opening itself: heats and state there follow
                if share * dt <= 0.0:
                    clock[PARTED_TIME] = time_now
                    return PARTS
                closing = True
                count[FRESH] = 0
                clock[STEP] = share * dt
                continue

        # peaks between steps: the hottest cell rises at the start and falls at the end
        hot, top, place = hot_spot(u_try, setting.first, setting.last, net)
        if rate_old[hot] > 0.0 and rate_new[hot] < 0.0:
            theta = peak_inside(hot, dt, u_old, rate_old, u_try, rate_new)
            between(theta, dt, u_old, rate_old, u_try, rate_new, stage[0])
            note_peak(stage[0], time_now + theta * dt, ripple, setting, net, clock)
        before = clock[PEAK_U]
        peak_now = keep_peak(hot, top, place, time_now + dt, ripple, net, clock)
        node = (u_old[hot], rate_old[hot], u_try[hot], rate_new[hot])
        keep_crest(
            block, dt, mean, slope, swing, 1.0, node, work[G, hot], hot, top, place, time_now,
            setting, net, clock,
        )  # fmt: skip
        if clock[PEAK_U] > before:
            for i in range(total):
                peak_state[i] = u_try[i]
        clock[RIPPLE] = max(clock[RIPPLE], ripple)

        # electrical work by quadrature of the terminal resistance: cubic R(t), straight I²(t)
        rise = slope * dt
        clock[ELECTRIC] += dt * (
            start * (0.5 * (ohms_old + ohms) + dt * (ohms_rate_old - ohms_rate_new) / 12.0)
            + rise
            * (0.15 * ohms_old + 0.35 * ohms + dt * (ohms_rate_old / 30.0 - ohms_rate_new / 20.0))
        )
        clock[AMBIENT] = ambient_new
        for i in range(total):
            u[i] = u_try[i]
        z.scalar[BALANCE, 0] = loss
        z.scalar[BALANCE, 1] = ohms
        enter(
            dt, wish, error, crossing, method.order, period, opened, made, lost, area, end, clock,
            count,
        )  # fmt: skip
        crossing = 0.0
        last = dt
        if held > 0.0 and whether_held(u, clock, net, setting) == 0.0:
            count[FRESH] = 0  # what was assembled does not melt

        line = count[ROWS_WRITTEN]
        write_row(time_now + dt, end, peak_now, ohms, watched, setting, work, trace[line])
        count[ROWS_WRITTEN] = line + 1
        if opened:
            clock[PARTED_TIME] = time_now + dt
            return PARTS
        if setting.to_onset == 1 and not np.isnan(clock[ONSET_TIME]):
            return MELTS
