"""What a state means: hottest point, onset of melting, molten length, bridges, boiling."""

from __future__ import annotations

import numpy as np

from ...compiled import kernel, merged
from .assemble import F0, G
from .layout import (
    BRIDGE,
    CELL_LENGTH,
    EDGE_WEIGHT,
    MATERIAL,
    POSITION,
    SPOT_SCALE,
    U_BOILING,
    U_LIQUIDUS,
    U_SOLIDUS,
    Arrays,
    Floats,
    Setting,
)
from .material import CORNER
from .sums import largest


@merged
def vertex(
    before: float, here: float, after: float, x_before: float, x: float, x_after: float
) -> tuple[float, float]:
    """Top of the parabola through a cell's value and its neighbours', and its place [m].

    Never farther from the cell than half way to a neighbour; the cell's own where it opens upwards.
    """
    a = x - x_before
    b = x_after - x
    left = (here - before) / a
    right = (after - here) / b
    bend = (right - left) / (a + b)
    if not bend < 0.0:
        return here, x
    slope = (left * b + right * a) / (a + b)
    d = -0.5 * slope / bend
    d = min(max(d, -0.5 * a), 0.5 * b)
    return here + d * (slope + d * bend), x + d


@kernel
def hottest(u: Floats, first: int, last: int, position: Floats) -> tuple[int, float, float]:
    """Hottest element cell, u at the vertex of the parabola through it, and its place [m].

    The parabola through the cell and its two neighbours finds the maximum between
    centres, to second order in the mesh.
    """
    highest = largest(u, first, last + 1)
    m = first
    while m < last and u[m] < highest:
        m += 1
    if m in (first, last):
        return m, u[m], position[m]
    top, place = vertex(u[m - 1], u[m], u[m + 1], position[m - 1], position[m], position[m + 1])
    return m, top, place


@kernel
def hot_spot(u: Floats, first: int, last: int, net: Arrays) -> tuple[int, float, float]:
    """`hottest`, but the cell's own u where latent heat lies between it and a neighbour.

    u jumps at a melting front; a parabola across the jump would peak tens of kelvins too high.
    """
    hot, top, place = hottest(u, first, last, net.node[POSITION])
    if first < hot < last:
        metal = net.metal[net.kind[MATERIAL, hot]]
        cooler = min(u[hot - 1], u[hot + 1])
        if u[hot] > metal[U_SOLIDUS] and cooler <= metal[U_LIQUIDUS]:
            return hot, u[hot], net.node[POSITION, hot]
    return hot, top, place


@merged
def liquid_in_front(u: float, mush: float, rise: float, liquid: float, length: float) -> float:
    """Length of liquid in the cell that holds a melting front [m].

    Ahead of the front of a pure metal lies metal at the melting point, melted in part, whose
    enthalpy does not reach the liquid's: u jumps at the front. With the mush carried on into
    the cell as a straight line, ``mush`` at the outer face and rising inwards by ``rise`` a
    metre, the cell's mean fixes the length y it still fills:

        (liquid - u) length = integral over y of (liquid - mush - rise y)

    Where the mush itself reaches the liquid inside the cell, y ends there; a mush that is
    liquid at the outer face leaves none.
    """
    missing = (liquid - u) * length
    depth = liquid - mush
    if not depth > 0.0:
        return length
    if rise * length < 1.0e-9 * depth:
        y = missing / depth
    else:
        root = depth * depth - 2.0 * rise * missing
        y = (depth - np.sqrt(root)) / rise if root > 0.0 else depth / rise
    return length - min(max(y, 0.0), length)


@kernel
def molten_length(u: Floats, first: int, last: int, hot: int, net: Arrays) -> float:
    """Length [m] of liquid around the hottest cell, 0 where it is not fully molten.

    Whole cells between the fronts, and `liquid_in_front` of the cells that hold them; a
    front that reaches the element's end stops there. What a cell's mean says of liquid counts
    as far as the cells before it are liquid, so that the length does not jump when a cell fills.
    """
    metal = net.metal[net.kind[MATERIAL, hot]]
    liquid = metal[U_LIQUIDUS]
    solid = metal[U_SOLIDUS]
    if u[hot] <= liquid:
        return 0.0
    total = net.node[CELL_LENGTH, hot]
    for way in range(-1, 2, 2):
        i = hot + way
        share = 1.0  # how far the cells up to here are liquid
        while first <= i <= last and share > 0.0:
            length = net.node[CELL_LENGTH, i]
            if u[i] > liquid:
                total += share * length
                i += way
                continue
            # the mush ahead as a straight line
            mush = solid
            rise = 0.0
            near = i + way
            far = i + 2 * way
            if first <= near <= last:
                mush = max(u[near], solid)
                if first <= far <= last and u[near] > solid:
                    gap = np.abs(net.node[POSITION, far] - net.node[POSITION, near])
                    rise = max(0.0, (mush - max(u[far], solid)) / gap)
                    mush += rise * 0.5 * net.node[CELL_LENGTH, near]
            here = liquid_in_front(u[i], mush, rise, liquid, length)
            total += share * here
            share *= here / length
            i += way
    return float(total)


@kernel
def parted(u: Floats, first: int, last: int, net: Arrays, break_length: float) -> float:
    """Positive once the element parts: molten longer than the break length, dissolved, boiling.

    Continuous in time: the relative excess of the molten length, of the dissolved share over
    1, or of u over boiling.
    """
    hot, top, _ = hot_spot(u, first, last, net)
    metal = net.metal[net.kind[MATERIAL, hot]]
    length = molten_length(u, first, last, hot, net)
    by_length = (length - break_length) / break_length
    by_boiling = (top - metal[U_BOILING]) / (metal[U_BOILING] - metal[U_LIQUIDUS])
    return float(max(by_length, by_boiling, dissolved(u, net) - 1.0))


@merged
def dissolved(u: Floats, net: Arrays) -> float:
    """Largest share of the cross-section that a spot has dissolved [-]."""
    largest = 0.0
    for s in range(net.spots.shape[0]):
        largest = max(largest, u[net.spots[s, 1]])
    return largest / SPOT_SCALE


@kernel
def bridged(u: Floats, first: int, last: int, net: Arrays, bridges: int) -> float:
    """Positive once some narrow bridge is molten from edge to edge [K].

    The largest, over the bridges, of the smallest u - u_liquidus in it; at its first and
    last cell u is carried on to the section's edge by linear extrapolation.
    """
    best = -1.0e30
    for b in range(bridges):
        least = 1.0e30
        for i in range(first, last + 1):
            if net.kind[BRIDGE, i] != b:
                continue
            value = u[i]
            if i > first and net.kind[BRIDGE, i - 1] != b and i < last:
                value += net.node[EDGE_WEIGHT, i] * (u[i] - u[i + 1])
            if i < last and net.kind[BRIDGE, i + 1] != b and i > first:
                value += net.node[EDGE_WEIGHT, i] * (u[i] - u[i - 1])
            value -= net.metal[net.kind[MATERIAL, i], U_LIQUIDUS]
            least = min(least, value)
        best = max(best, least)
    return float(best)


@merged
def onset_excess(u: Floats, first: int, last: int, net: Arrays) -> float:
    """u at the hottest point less u at the solidus, or the dissolved share less 1, scaled [K]."""
    hot, top, _ = hottest(u, first, last, net.node[POSITION])
    by_spot = SPOT_SCALE * (dissolved(u, net) - 1.0)
    return float(max(top - net.metal[net.kind[MATERIAL, hot], U_SOLIDUS], by_spot))


@kernel
def between(
    theta: float, dt: float, u0: Floats, f0: Floats, u1: Floats, f1: Floats, out: Floats
) -> None:
    """Cubic Hermite state at share theta of a step, from states and rates at its ends."""
    h01 = theta * theta * (3.0 - 2.0 * theta)
    h10 = theta * (1.0 - theta) * (1.0 - theta) * dt
    h11 = theta * theta * (theta - 1.0) * dt
    for i in range(out.shape[0]):
        out[i] = u0[i] + h01 * (u1[i] - u0[i]) + h10 * f0[i] + h11 * f1[i]


#: Codes of the events, in the order of their times on the clock; floats, since an integer
#: constant would compile a copy of the kernel for each.
ONSET, BRIDGED, PARTED = 0.0, 1.0, 2.0
EVENTS = 3

#: Nearer to the melting point than this nothing is told apart [K]: a step cut there would be so
#: short that the state cannot follow, and at rest the rates are round-off, whose peaks are none.
ROUND_OFF = 1.0e-9


@kernel
def event_value(event: float, u: Floats, net: Arrays, setting: Setting) -> float:
    """Value of one event function; it happens when the value turns positive."""
    if event == ONSET:
        return onset_excess(u, setting.first, setting.last, net)
    if event == PARTED:
        return parted(u, setting.first, setting.last, net, setting.break_length)
    return bridged(u, setting.first, setting.last, net, setting.bridges)


@kernel
def event_share(
    event: float,
    dt: float,
    u0: Floats,
    f0: Floats,
    u1: Floats,
    f1: Floats,
    net: Arrays,
    setting: Setting,
    out: Floats,
) -> float:
    """Share of the step at which an event's value passes zero (safeguarded regula falsi).

    The value is negative at the step's start and not negative at its end; `out` is left
    with the state there.
    """
    low = 0.0
    high = 1.0
    value_low = event_value(event, u0, net, setting)
    value_high = event_value(event, u1, net, setting)
    side = 0
    theta = 1.0
    for _ in range(80):
        theta = low + (high - low) * value_low / (value_low - value_high)
        if not (low < theta < high):
            theta = 0.5 * (low + high)
        between(theta, dt, u0, f0, u1, f1, out)
        value = event_value(event, out, net, setting)
        if value >= 0.0:
            high = theta
            value_high = value
            if side == 1:
                value_low *= 0.5
            side = 1
        else:
            low = theta
            value_low = value
            if side == -1:
                value_high *= 0.5
            side = -1
        if value == 0.0 or high - low < 1.0e-13 or np.abs(value) < 1.0e-10:
            break
    return theta


@merged
def corner_ahead(
    u: Floats, squared: float, work: Floats, net: Arrays, rate_old: Floats, last: float
) -> tuple[float, float]:
    """When the first cell reaches the rounded end of its melting range, and how fast it is then.

    Within the corner a cell's stiffness grows by orders of magnitude: a step that ends beyond
    it fails, however often it is shortened, until one ends before it; and the step after that
    may span no more than the corner's half width.

    Parameters
    ----------
    u : (N,) state
    squared : I² [A²]
    work : assembly at u
    rate_old, last : (N,) rates at the start of the step before [K/s], and its length, or 0 [s]

    Returns
    -------
    tuple of float
        Time until the corner, with the last change of rate going on; time over half of it [s].
    """
    first = np.inf
    crossing = 0.0
    for i in range(u.shape[0]):
        m = net.kind[MATERIAL, i]
        if m < 0 or u[i] <= net.metal[m, U_SOLIDUS]:
            continue
        rate = work[F0, i] + squared * work[G, i]
        bend = (rate - rate_old[i]) / last if last > 0.0 else 0.0
        ahead = net.metal[m, U_LIQUIDUS] - CORNER - u[i]
        if ahead <= 0.0:  # beyond it: a cell that cools
            ahead = u[i] - net.metal[m, U_LIQUIDUS] - CORNER
            rate = -rate
            bend = -bend
        inside = rate * rate + 2.0 * bend * ahead
        if ahead <= 0.0 or rate <= 0.0 or inside < 0.0:
            continue
        time = 2.0 * ahead / (rate + np.sqrt(inside))
        if time < first:
            first = time
            crossing = CORNER / rate
    return first, crossing


@merged
def peak_inside(hot: int, dt: float, u0: Floats, f0: Floats, u1: Floats, f1: Floats) -> float:
    """Share of the step at which a cell that rises at its start and falls at its end is hottest."""
    theta = 0.0
    a = 0.0
    b = 1.0
    jump = u1[hot] - u0[hot]
    for _ in range(40):
        theta = 0.5 * (a + b)
        rate = (
            6.0 * theta * (1.0 - theta) * jump / dt
            + (1.0 - theta) * (1.0 - 3.0 * theta) * f0[hot]
            + theta * (3.0 * theta - 2.0) * f1[hot]
        )
        if rate > 0.0:
            a = theta
        else:
            b = theta
    return theta


@merged
def events_inside(
    dt: float,
    time: float,
    offset: float,
    u0: Floats,
    f0: Floats,
    u1: Floats,
    f1: Floats,
    net: Arrays,
    setting: Setting,
    held: float,
    times: Floats,
    out: Floats,
) -> tuple[bool, bool, float]:
    """What happens within a step.

    Each event is looked for until it has happened, none before the onset.

    Parameters
    ----------
    dt : step [s]
    time : its start [s]
    offset : local time at its start, below whose last digits nothing can be cut [s]
    u0, f0, u1, f1 : (N,) states and rates at its ends
    held : 1 where the step was made without melting, see `assemble`
    times : (EVENTS,) times of the events, nan until they happen; filled in here
    out : (N,) scratch

    Returns
    -------
    bent : bool
        The step must end at the onset, since the melting point bends the right side; where it
        cannot be cut there, the onset is noted, and the step is to be made again with melting.
    opened : bool
        The element parts.
    share : float
        Share of the step at which either happens.
    """
    opened = False
    share = 1.0
    for k in range(EVENTS):
        event = float(k)
        if not np.isnan(times[k]):
            continue
        if k > 0 and np.isnan(times[0]):
            break
        shortest = max(1.0e-9 * dt, 1.0e-10 * offset)  # moments lose digits below
        if event_value(event, u1, net, setting) < 0.0:
            if event != ONSET:
                continue
            hot, _, _ = hottest(u1, setting.first, setting.last, net.node[POSITION])
            if f0[hot] > 0.0 and f1[hot] < 0.0:
                # a peak inside may reach the melting point: end there
                theta = peak_inside(hot, dt, u0, f0, u1, f1)
                between(theta, dt, u0, f0, u1, f1, out)
                if event_value(event, out, net, setting) >= ROUND_OFF:
                    if theta < 0.999 and theta * dt > shortest:
                        return True, False, theta
                    times[0] = time + theta * dt
            continue
        theta = event_share(event, dt, u0, f0, u1, f1, net, setting, out)
        if event == ONSET and theta < 0.999:
            between(0.5 * theta, dt, u0, f0, u1, f1, out)
            near = event_value(event, out, net, setting) > -ROUND_OFF
            if theta * dt > shortest and dt > 1.0e-12 and not near:
                return True, False, theta
            if held > 0.0:
                times[0] = time + theta * dt
                return True, False, 1.0
        if event == PARTED:
            share = theta
            opened = True
        else:
            times[k] = time + theta * dt
    by_bridge = times[1] + setting.capillary_time - time
    if by_bridge <= share * dt:
        share = max(by_bridge, 0.0) / dt
        opened = True
    return False, opened, share


@merged
def none_due(time: float, u: Floats, net: Arrays, setting: Setting, times: Floats) -> bool:
    """Whether no event has come due at a state, see `events_inside`.

    Parameters
    ----------
    time : of the state [s]
    times : (EVENTS,) times of the events, nan until they happen
    """
    for k in range(EVENTS):
        if not np.isnan(times[k]):
            continue
        if k > 0 and np.isnan(times[0]):
            break
        if not event_value(float(k), u, net, setting) < 0.0:
            return False
    return not times[1] + setting.capillary_time <= time
