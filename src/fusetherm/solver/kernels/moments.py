"""Exact moments of I² over a step, and how far I² strays from its straight line in it.

On a step of length dt the squared current is replaced by its L2 projection on straight
lines, ``mean + slope (tau - dt/2)``, from the exact moments M0 = int I² and M1 = int tau I².
What is neglected is W(tau), the integral of I² less that line: it moves the temperature
inside the step by W times the node's sensitivity and vanishes at the step's end.
"""

from __future__ import annotations

import numpy as np

from ...compiled import kernel, merged
from .layout import ABOUT, AREA, BEGIN, HALF, S0, S1, S2, Floats, Setting

#: How often a step is shortened before what is left of the swing is accepted.
ATTEMPTS = 200


@kernel
def segment_at(block: Floats, offset: float) -> int:
    """Index of the segment that holds local time `offset`."""
    low = 0
    high = block.shape[0] - 2
    while low < high:
        middle = (low + high + 1) // 2
        if block[middle, BEGIN] <= offset:
            low = middle
        else:
            high = middle - 1
    return low


@kernel
def stretch(block: Floats, j: int, d: float, x: float) -> tuple[float, float]:
    """Integrals of I² and of tau I² over a stretch x of segment j that begins d after it."""
    p = block[j, S0] + d * (block[j, S1] + d * block[j, S2])
    q = block[j, S1] + 2.0 * d * block[j, S2]
    r = block[j, S2]
    return x * (p + x * (q / 2.0 + x * r / 3.0)), x * x * (p / 2.0 + x * (q / 3.0 + x * r / 4.0))


@kernel
def partial_moments(block: Floats, a: float, b: float, lead: float) -> tuple[float, float]:
    """M0 and M1 of I² over local times a..b; `lead` is the step's age at a."""
    m0 = 0.0
    m1 = 0.0
    if b <= a:
        return m0, m1
    j = segment_at(block, a)
    last = block.shape[0] - 2
    low = a
    while low < b and j <= last:
        end = block[j + 1, BEGIN]
        high = b if j == last else min(b, end)
        if low == block[j, BEGIN] and high == end:
            area = block[j, AREA]
            about = block[j, ABOUT]
        else:
            area, about = stretch(block, j, low - block[j, BEGIN], high - low)
        m0 += area
        m1 += (lead + (low - a)) * area + about
        low = high
        j += 1
    return m0, m1


@merged
def hermite(s: float, dt: float, u0: float, f0: float, u1: float, f1: float) -> float:
    """Cubic through states and rates at a step's ends, at share s of it."""
    r = 1.0 - s
    return u0 + s * s * (3.0 - 2.0 * s) * (u1 - u0) + s * r * dt * (r * f0 - s * f1)


@merged
def moments(
    block: Floats, whole0: float, whole1: float, offset: float, dt: float
) -> tuple[float, float]:
    """M0 [A² s] and M1 [A² s²] of I² over a step that may run through many periods.

    `whole0` and `whole1` are the moments of one period about its own start.
    """
    period = block[block.shape[0] - 1, BEGIN]
    if offset + dt <= period:
        return partial_moments(block, offset, offset + dt, 0.0)
    rest = period - offset
    m0, m1 = partial_moments(block, offset, period, 0.0)
    left = dt - rest
    count = np.floor(left / period)
    m0 += count * whole0
    starts = count * rest + period * 0.5 * count * (count - 1.0)
    m1 += starts * whole0 + count * whole1
    remainder = left - count * period
    if remainder > 0.0:
        a0, a1 = partial_moments(block, 0.0, remainder, rest + count * period)
        m0 += a0
        m1 += a1
    return m0, m1


@kernel
def excursion(
    block: Floats,
    offset: float,
    dt: float,
    mean: float,
    slope: float,
    periods: int,
    gain: float,
    node: tuple[float, float, float, float],
) -> tuple[float, float, float, float, float]:
    """Lowest and highest W [A² s] at the breakpoints of a step, and the age of the larger.

    And with it a node's highest state there, and its age: its cubic of the step plus gain W.

    Parameters
    ----------
    periods : at most so many are walked through; the pattern repeats beyond them
    gain : rise of the node for a Joule integral [K/(A² s)]
    node : its state and rate at the step's start, and at its end [K, K/s]
    """
    u0, f0, u1, f1 = node
    top = u0
    top_at = 0.0
    if u1 > u0:
        top = u1
        top_at = dt
    last = block.shape[0] - 2
    lowest = 0.0
    highest = 0.0
    low_at = dt
    high_at = dt
    area = 0.0  # integral of I² so far
    age = 0.0
    share = 1.0 / dt
    j = segment_at(block, offset)
    d = offset - block[j, BEGIN]
    passed = 0
    while True:
        x = block[j + 1, BEGIN] - block[j, BEGIN] - d
        closing = age + x >= dt
        half = block[j, HALF]
        whole = block[j, AREA]
        if closing or d > 0.0:
            x = min(x, dt - age)
            half, _ = stretch(block, j, d, 0.5 * x)
            whole, _ = stretch(block, j, d, x)
        at = age + 0.5 * x  # the middle of a segment, then its end
        w = area + half - at * (mean + 0.5 * slope * (at - dt))
        for _ in range(2):
            here = gain * w + hermite(at * share, dt, u0, f0, u1, f1)
            if here > top:
                top = here
                top_at = at
            if w > highest:
                highest = w
                high_at = at
            if w < lowest:
                lowest = w
                low_at = at
            if closing:
                break
            at = age + x
            w = area + whole - at * (mean + 0.5 * slope * (at - dt))
        if closing:
            break
        age += x
        area += whole
        d = 0.0
        j += 1
        if j > last:
            j = 0
            passed += 1
            if passed >= periods:
                break
    return lowest, highest, high_at if highest > -lowest else low_at, top, top_at


@merged
def to_breakpoint(block: Floats, offset: float, dt: float) -> float:
    """A step that ends at the breakpoint before its end, where that takes at most a tenth off it.

    Within one period: a step over a period's end is left as it is.

    What I² does just before a step's end has had no time to even out, and the straight line makes
    of it what happened long before: the first part of a jump, above all.
    """
    end = offset + dt
    if end >= block[block.shape[0] - 1, BEGIN]:
        return dt
    before = block[segment_at(block, end), BEGIN] - offset
    return before if before >= 0.9 * dt else dt


@merged
def straightened(
    block: Floats,
    repeats: int,
    whole0: float,
    whole1: float,
    offset: float,
    dt: float,
    sensitivity: float,
    setting: Setting,
    exact: bool,
) -> tuple[float, float, float, float, float, float]:
    """The longest step up to `dt` in which I² may be taken for its straight line.

    What is neglected may move no node by more than the setting's bounds; over whole periods half of
    that swing is kept, to be added to the peak.

    Parameters
    ----------
    sensitivity : largest rise of a state for a Joule integral [K/(A² s)]
    exact : the step must end where it ends, whatever is neglected

    Returns
    -------
    tuple of float
        Step [s], mean of I² [A²], its slope [A²/s], its integral [A² s]; half the swing over
        whole periods, or the swing within a step, the other being 0 [K].
    """
    period = block[block.shape[0] - 1, BEGIN]
    mean = 0.0
    slope = 0.0
    area = 0.0
    ripple = 0.0
    swing = 0.0
    for attempt in range(ATTEMPTS):
        if not exact:
            dt = to_breakpoint(block, offset, dt)
        area, first_moment = moments(block, whole0, whole1, offset, dt)
        mean = area / dt
        slope = 12.0 * (first_moment / dt - 0.5 * area) / (dt * dt)
        if exact:
            break
        low, high, at, _, _ = excursion(
            block, offset, dt, mean, slope, 3, 0.0, (0.0, 0.0, 0.0, 0.0)
        )
        swing = (high - low) * sensitivity
        spanning = dt >= 2.0 * period and repeats > 1
        bound = setting.periodic_bound if spanning else setting.ripple_bound
        if swing <= bound:
            if spanning:
                ripple = 0.5 * swing
                swing = 0.0
            break
        shorter = at if at < 0.999 * dt else 0.5 * dt
        if spanning and shorter < 2.0 * period and attempt == 0:
            shorter = min(period - offset, shorter)
        if shorter < 1.0e-12 * period or shorter < 1.0e-13 or attempt == ATTEMPTS - 1:
            break
        dt = shorter
    return dt, mean, slope, area, ripple, swing
