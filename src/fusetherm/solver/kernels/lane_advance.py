"""The stepping loop of `LANES` runs at once; each follows `advance` with a step of its own.

A lane that has ended its run takes the next one. Every lane does its own arithmetic, so that a
run comes out the same, bit for bit, in whatever lane and beside whatever neighbours. A lane whose
state was replaced (a new run, a step to be taken again up to an event) sits out one step, since
its assembly is of another state.
"""

from __future__ import annotations

import numpy as np

from ...compiled import kernel, merged
from ...packed import LANES
from .advance import (
    AMBIENT,
    BLOCK_DONE,
    CYCLE,
    MELTS,
    NOT_FINITE,
    OFFSET,
    ONSET_TIME,
    PARTED_TIME,
    PARTS,
    REJECTED,
    RIPPLE,
    STALLED,
    STEP,
    enter,
    first_step,
    keep_crest,
    keep_peak,
    note_peak,
    shrunk,
    whether_held,
)
from .assemble import F0, G, assemble
from .events import between, corner_ahead, events_inside, hot_spot, none_due, peak_inside, vertex
from .lane_assembly import assemble_lanes, find_hottest
from .lane_layout import (
    ACCEPTED,
    AMBIENT_K,
    BEFORE,
    DT,
    ERROR,
    GROWS,
    HELD,
    HOT_CELL,
    LOST_IN_STEP,
    MADE_IN_STEP,
    RATE_BEFORE,
    SENSITIVITY,
    SQUARED_SLOPE,
    SQUARED_START,
    STATE,
    SUM,
    TABLE_END,
    TABLE_LOW,
    TABLE_PLACE,
    TABLE_STEP_INV,
    WILD,
    Lanes,
    Networks,
    Outcomes,
    Programs,
    Tasks,
    block_at,
    network_at,
    setting_at,
)
from .lane_rosenbrock import accept_lanes, find_wild, step_lanes
from .layout import (
    BEGIN,
    MATERIAL,
    POSITION,
    TABLE_COLUMNS,
    U_LOW,
    U_SOLIDUS,
    U_STEP_INV,
    Floats,
    Integers,
    Method,
    Setting,
)
from .moments import straightened
from .rosenbrock import RATE_NEW, RATE_OLD, STAGE, U_OLD, U_TRY, Scratch, tame_rates

# rows of `book`, whole numbers of each lane
(
    RUN,  # the run in the lane, or -1
    PIECE,  # the piece of its program
    PENDING,  # 1: a step was accepted and its events are to be looked at
    IDLE,  # 1: the assembly is not of this lane's state
    CLOSING,  # 1: the step ends at the opening
    BOOK_ROWS,
) = range(6)

# what `settle` says of a step, beside outcomes
KEPT, TAKEN_BACK = -1, -2

# rows of `memory`, numbers of each lane
(
    LAST_STEP,  # length of the step before [s]
    CROSSING,  # step over a corner of the melting range that this one leads up to [s]
    SWING,  # half of what a step over whole periods neglects [K]
    STRAYS,  # what another neglects within it [K]
    MEAN,  # of I² in it, before its scale [A²]
    SLOPE,  # its slope [A²/s]
    SCALE,  # factor on I²
    AREA,  # its Joule integral [A² s]
    WISH,  # what the error control had proposed [s]
    MEMORY_ROWS,
) = range(10)


@merged
def gathered(vector: Floats, row: int, lane: int, out: Floats) -> None:
    """One lane's numbers, one after the other."""
    for i in range(out.shape[0]):
        out[i] = vector[row, i, lane]


@merged
def load_network(networks: Networks, m: int, lane: int, s: Lanes) -> None:
    """Write a network into a lane."""
    k = s.square.shape[1]
    for row in range(s.node.shape[0]):
        for i in range(s.node.shape[1]):
            s.node[row, i, lane] = networks.node[m, row, i]
    for kind in range(2):
        for b in range(k):
            for i in range(s.coupling.shape[1]):
                s.coupling[kind * k + b, i, lane] = networks.border[m, kind, b, i]
    metals = networks.metal.shape[1]
    for metal in range(metals):
        low = networks.metal[m, metal, U_LOW]
        step_inv = networks.metal[m, metal, U_STEP_INV]
        s.metal[TABLE_LOW, metal, lane] = low
        s.metal[TABLE_STEP_INV, metal, lane] = step_inv
        s.metal[TABLE_END, metal, lane] = (networks.metal[m, metal, U_SOLIDUS] - low) * step_inv
        s.metal[TABLE_PLACE, metal, lane] = float(
            TABLE_COLUMNS * networks.table.shape[2] * (m * metals + metal)
        )
    for a in range(k):
        for b in range(k):
            s.square[a, b, lane] = networks.shared_links[m, a, b]


@merged
def take(
    run: int,
    lane: int,
    networks: Networks,
    programs: Programs,
    tasks: Tasks,
    done: Outcomes,
    of: Integers,
    book: Integers,
    memory: Floats,
    common: Setting,
    s: Lanes,
) -> None:
    """Put a run into a lane."""  # fmt: skip
    m = tasks.network[run]
    if of[lane] != m:
        load_network(networks, m, lane, s)
        of[lane] = m
    ambient = networks.limits[m, 0]
    start = tasks.states[tasks.start[run]]
    for i in range(start.shape[0]):
        s.vector[STATE, i, lane] = start[i]
        s.vector[BEFORE, i, lane] = start[i]
        s.vector[RATE_BEFORE, i, lane] = 0.0
    s.scalar[0, AMBIENT_K, lane] = ambient
    for row in range(memory.shape[0]):
        memory[row, lane] = 0.0
    book[RUN, lane] = run
    book[PIECE, lane] = programs.first[tasks.program[run]]
    book[PENDING, lane] = 0
    book[IDLE, lane] = 1
    book[CLOSING, lane] = 0
    net = network_at(networks, m)
    setting = setting_at(networks, m, common)
    note_peak(start, 0.0, 0.0, setting, net, done.clock[run])
    s.scalar[0, HELD, lane] = whether_held(start, done.clock[run], net, setting)
    done.clock[run, AMBIENT] = ambient


@merged
def settle(
    lane: int,
    networks: Networks,
    programs: Programs,
    done: Outcomes,
    of: Integers,
    book: Integers,
    memory: Floats,
    common: Setting,
    method: Method,
    s: Lanes,
    z: Scratch,
) -> int:
    """Look at the events of the step just accepted, and keep it or take it back.

    Returns KEPT, TAKEN_BACK, or the outcome with which the run ends.
    """  # fmt: skip
    run = book[RUN, lane]
    m = of[lane]
    clock = done.clock[run]
    count = done.counts[run]
    piece = book[PIECE, lane]
    net = network_at(networks, m)
    setting = setting_at(networks, m, common)
    period = programs.table[programs.point[piece + 1] - 1, BEGIN]
    total = s.vector.shape[1]
    dt = s.scalar[0, DT, lane]
    start = s.scalar[0, SQUARED_START, lane]
    slope = s.scalar[0, SQUARED_SLOPE, lane]
    end = start + slope * dt
    time_now = programs.start[piece] + count[CYCLE] * period + clock[OFFSET]
    ripple = memory[SWING, lane]
    closing = book[CLOSING, lane] == 1
    opened = closing
    hot = int(s.scalar[0, HOT_CELL, lane])
    top = 0.0
    place = 0.0
    # most steps end with nothing to look at inside them: no event, no peak, no rate gone wild
    slack = 3.0 * setting.tolerance * setting.floor
    rate = s.work[F0, hot, lane] + end * s.work[G, hot, lane]
    turns = s.vector[RATE_BEFORE, hot, lane] > 0.0 and rate < 0.0
    u_try = z.vector[U_TRY]
    simple = not (closing or turns or s.scalar[0, WILD, lane] > 0.0)
    known = False
    if simple and np.isnan(clock[ONSET_TIME]) and common.first < hot < common.last:
        # ... and while all is solid, three cells say so
        x = net.node[POSITION]
        top, place = vertex(
            s.vector[STATE, hot - 1, lane], s.vector[STATE, hot, lane],
            s.vector[STATE, hot + 1, lane], x[hot - 1], x[hot], x[hot + 1],
        )  # fmt: skip
        known = top < net.metal[net.kind[MATERIAL, hot], U_SOLIDUS]
    if not known:
        gathered(s.vector, STATE, lane, u_try)
        simple = simple and none_due(
            time_now + dt, u_try, net, setting, clock[ONSET_TIME : PARTED_TIME + 1]
        )
        hot, top, place = hot_spot(u_try, setting.first, setting.last, net)
    if not simple:
        u_old = z.vector[U_OLD]
        rate_old = z.vector[RATE_OLD]
        rate_new = z.vector[RATE_NEW]
        gathered(s.vector, STATE, lane, u_try)
        gathered(s.vector, BEFORE, lane, u_old)
        gathered(s.vector, RATE_BEFORE, lane, rate_old)
        for i in range(total):
            rate_new[i] = s.work[F0, i, lane] + end * s.work[G, i, lane]
        if s.scalar[0, WILD, lane] > 0.0:
            assemble(
                u_try, clock[AMBIENT], net, z.work[0], z.border[0], z.border[1], z.square[0], 1.0,
                s.scalar[0, HELD, lane],
            )  # fmt: skip
            tame_rates(dt, end, slack, method.gamma, net, z)
            for i in range(total):
                s.vector[RATE_BEFORE, i, lane] = rate_old[i]
        if not closing:
            bent, opened, share = events_inside(
                dt, time_now, clock[OFFSET], u_old, rate_old, u_try, rate_new, net, setting,
                s.scalar[0, HELD, lane], clock[ONSET_TIME : PARTED_TIME + 1], z.vector[STAGE],
            )  # fmt: skip
            if bent or (opened and share < 1.0):
                at_start = not bent and share * dt <= 0.0
                # take it back, to end at the event: the melting point bends the right side, and
                # at the opening heats and state are wanted
                for i in range(total):
                    s.vector[STATE, i, lane] = s.vector[BEFORE, i, lane]
                if at_start:
                    clock[PARTED_TIME] = time_now
                    return PARTS
                if bent:
                    count[REJECTED] += 1
                    clock[STEP] = share * dt * (1.0 + 1.0e-6)
                    s.scalar[0, HELD, lane] = whether_held(u_old, clock, net, setting)
                    if common.to_onset == 1 and not np.isnan(clock[ONSET_TIME]):
                        return MELTS  # as near before it as times tell apart
                else:
                    book[CLOSING, lane] = 1
                    clock[STEP] = share * dt
                return TAKEN_BACK
        rate = rate_new[hot]
        if rate_old[hot] > 0.0 and rate < 0.0:
            theta = peak_inside(hot, dt, u_old, rate_old, u_try, rate_new)
            between(theta, dt, u_old, rate_old, u_try, rate_new, z.vector[STAGE])
            note_peak(z.vector[STAGE], time_now + theta * dt, ripple, setting, net, clock)
    keep_peak(hot, top, place, time_now + dt, ripple, net, clock)
    node = (
        s.vector[BEFORE, hot, lane], s.vector[RATE_BEFORE, hot, lane],
        s.vector[STATE, hot, lane], rate,
    )  # fmt: skip
    keep_crest(
        block_at(programs, piece), dt, memory[MEAN, lane], memory[SLOPE, lane],
        memory[STRAYS, lane], memory[SCALE, lane], node, s.work[G, hot, lane], hot, top, place,
        time_now, setting, net, clock,
    )  # fmt: skip
    clock[RIPPLE] = max(clock[RIPPLE], ripple)
    enter(
        dt, memory[WISH, lane], s.scalar[0, ERROR, lane], memory[CROSSING, lane], method.order,
        period, opened, s.scalar[0, MADE_IN_STEP, lane], s.scalar[0, LOST_IN_STEP, lane],
        memory[AREA, lane], end, clock, count,
    )  # fmt: skip
    memory[CROSSING, lane] = 0.0
    memory[LAST_STEP, lane] = dt
    done.end[run] = time_now + dt
    if opened:
        clock[PARTED_TIME] = time_now + dt
        return PARTS
    if common.to_onset == 1 and not np.isnan(clock[ONSET_TIME]):
        return MELTS
    if s.scalar[0, HELD, lane] > 0.0 and not known:
        s.scalar[0, HELD, lane] = whether_held(u_try, clock, net, setting)
        if s.scalar[0, HELD, lane] == 0.0:
            book[IDLE, lane] = 1  # what was assembled does not melt
    return KEPT


@merged
def propose(
    lane: int,
    programs: Programs,
    tasks: Tasks,
    done: Outcomes,
    book: Integers,
    memory: Floats,
    common: Setting,
    s: Lanes,
    z: Scratch,
) -> bool:
    """Choose the lane's next step; False when its program has ended."""  # fmt: skip
    run = book[RUN, lane]
    clock = done.clock[run]
    count = done.counts[run]
    until = tasks.until[run]
    scale = tasks.squared_scale[run]
    stop = programs.first[tasks.program[run] + 1]
    while True:
        piece = book[PIECE, lane]
        if piece >= stop or programs.start[piece] >= until:
            return False
        begin = programs.start[piece]
        repeats = programs.repeats[piece]
        period = programs.table[programs.point[piece + 1] - 1, BEGIN]
        tiny = 1.0e-14 * max(1.0, period)
        duration = repeats * period
        reach = duration if begin + duration <= until else until - begin
        age = count[CYCLE] * period + clock[OFFSET]
        remaining = min((repeats - count[CYCLE]) * period - clock[OFFSET], reach - age)
        if remaining > tiny:
            break
        book[PIECE, lane] = piece + 1
        memory[LAST_STEP, lane] = 0.0  # the rates before are those of another current
        count[CYCLE] = 0
        clock[OFFSET] = 0.0
    block = block_at(programs, piece)
    whole0 = programs.whole[piece, 0]
    whole1 = programs.whole[piece, 1]
    if clock[STEP] == 0.0:
        gathered(s.work, F0, lane, z.work[0, F0])
        gathered(s.work, G, lane, z.work[0, G])
        clock[STEP] = first_step(block, scale, z.vector.shape[1], common, z.work[0])
    wish = clock[STEP]
    dt = min(wish, remaining)
    if remaining - dt < 1.0e-3 * dt:
        dt = remaining
    dt, mean, slope, area, ripple, swing = straightened(
        block, repeats, whole0, whole1, clock[OFFSET], dt,
        scale * s.scalar[0, SENSITIVITY, lane], common, book[CLOSING, lane] == 1,
    )  # fmt: skip
    s.scalar[0, DT, lane] = dt
    s.scalar[0, SQUARED_START, lane] = scale * (mean - 0.5 * slope * dt)
    s.scalar[0, SQUARED_SLOPE, lane] = scale * slope
    memory[SWING, lane] = ripple
    memory[STRAYS, lane] = swing
    memory[SCALE, lane] = scale
    memory[MEAN, lane] = mean
    memory[SLOPE, lane] = slope
    memory[AREA, lane] = scale * area
    memory[WISH, lane] = wish
    return True


@merged
def judge(
    lane: int,
    networks: Networks,
    done: Outcomes,
    of: Integers,
    book: Integers,
    memory: Floats,
    method: Method,
    s: Lanes,
    z: Scratch,
) -> int:
    """Accept the step or propose a shorter one; BLOCK_DONE, or how the run failed."""  # fmt: skip
    clock = done.clock[book[RUN, lane]]
    dt = s.scalar[0, DT, lane]
    error = s.scalar[0, ERROR, lane]
    finite = np.isfinite(s.scalar[0, SUM, lane])
    sound = finite and s.scalar[0, GROWS, lane] < 0.0
    if sound and (error <= 1.0 or book[CLOSING, lane] == 1):
        s.scalar[0, ACCEPTED, lane] = 1.0
        book[PENDING, lane] = 1
        return BLOCK_DONE
    done.counts[book[RUN, lane], REJECTED] += 1
    shrink = shrunk(sound, error, method.order)
    clock[STEP] = dt * shrink
    memory[CROSSING, lane] = 0.0
    u = z.vector[U_TRY]
    gathered(s.vector, STATE, lane, u)
    gathered(s.vector, RATE_BEFORE, lane, z.vector[RATE_OLD])
    gathered(s.work, F0, lane, z.work[0, F0])
    gathered(s.work, G, lane, z.work[0, G])
    reach, over = corner_ahead(
        u, s.scalar[0, SQUARED_START, lane], z.work[0], network_at(networks, of[lane]),
        z.vector[RATE_OLD], memory[LAST_STEP, lane],
    )  # fmt: skip
    if dt * shrink < reach < dt:
        clock[STEP] = reach
        memory[CROSSING, lane] = over
    if clock[STEP] < 1.0e-15:
        return STALLED if finite else NOT_FINITE
    return BLOCK_DONE


@kernel
def advance_lanes(
    networks: Networks,
    programs: Programs,
    tasks: Tasks,
    done: Outcomes,
    of: Integers,
    book: Integers,
    memory: Floats,
    common: Setting,
    method: Method,
    s: Lanes,
    z: Scratch,
) -> None:
    """Make all runs.

    Parameters
    ----------
    networks, programs, tasks : what to run
    done : filled; the clocks must be fresh
    of, book, memory : (LANES,), (BOOK_ROWS, LANES) and (MEMORY_ROWS, LANES) of the lanes
    common : setting of all runs; what belongs to a network is taken from its limits
    s, z : working arrays of the lanes, and of one run
    """
    runs = tasks.network.shape[0]
    following = 0
    under_way = 0
    for lane in range(LANES):
        of[lane] = -1
        take(
            min(lane, runs - 1), lane, networks, programs, tasks, done, of, book, memory, common, s,
        )  # fmt: skip
        if following < runs:
            following += 1
            under_way += 1
        else:
            book[RUN, lane] = -1
        s.scalar[0, DT, lane] = 1.0
        s.scalar[0, SQUARED_START, lane] = 0.0
        s.scalar[0, SQUARED_SLOPE, lane] = 0.0
    while under_way > 0 or following < runs:
        assemble_lanes(s.vector[STATE : STATE + 1], networks, of, s.work, s, 1.0)
        find_hottest(s.vector[STATE : STATE + 1], common.first, common.last, s)
        find_wild(3.0 * common.tolerance * common.floor, s)
        for lane in range(LANES):
            run = book[RUN, lane]
            outcome = -1
            if run >= 0:
                book[IDLE, lane] = 0
                if book[PENDING, lane] == 1:
                    book[PENDING, lane] = 0
                    kept = settle(
                        lane, networks, programs, done, of, book, memory, common, method, s, z
                    )
                    if kept == TAKEN_BACK:
                        book[IDLE, lane] = 1
                    elif kept != KEPT:
                        outcome = kept
                if (
                    outcome < 0
                    and book[IDLE, lane] == 0
                    and not propose(lane, programs, tasks, done, book, memory, common, s, z)
                ):
                    outcome = BLOCK_DONE
            if outcome >= 0:
                done.outcome[run] = outcome
                gathered(s.vector, STATE, lane, done.state[run])
                under_way -= 1
                book[RUN, lane] = -1
            if book[RUN, lane] < 0 and following < runs:
                take(
                    following, lane, networks, programs, tasks, done, of, book, memory, common, s,
                )  # fmt: skip
                following += 1
                under_way += 1
            if book[RUN, lane] < 0 or book[IDLE, lane] == 1:
                s.scalar[0, DT, lane] = 1.0e-6
                s.scalar[0, SQUARED_START, lane] = 0.0
                s.scalar[0, SQUARED_SLOPE, lane] = 0.0
        step_lanes(networks, of, method, common, s)
        for lane in range(LANES):
            s.scalar[0, ACCEPTED, lane] = 0.0
            if book[RUN, lane] < 0 or book[IDLE, lane] == 1:
                continue
            failure = judge(lane, networks, done, of, book, memory, method, s, z)
            if failure != BLOCK_DONE:
                # leave the lane to another run; the caller asks for the reason
                run = book[RUN, lane]
                done.outcome[run] = failure
                gathered(s.vector, STATE, lane, done.state[run])
                under_way -= 1
                book[RUN, lane] = -1
        accept_lanes(s)
