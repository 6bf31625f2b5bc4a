"""The reference path: scipy's solvers on the same network, segment by segment.

A general solver with success to report can step over a short pulse in a long record; one
call a segment cannot.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import InputError, SolveError
from .integrate import (
    ERROR_SCALE,
    Ambient,
    Block,
    Progress,
    Solution,
    assembled,
    fresh_clock,
    raise_nothing,
    scratch_of,
    setting_of,
    solution_of,
)
from .kernels import advance as loop
from .kernels.assemble import (
    DG,
    DIAGONAL,
    DT_,
    F0,
    GEN_ROW,
    LOSS_ROW,
    LOWER,
    PULL,
    UPPER,
    G,
)
from .kernels.events import BRIDGED, ONSET, PARTED, event_value, hot_spot
from .kernels.layout import MATERIAL, Arrays, Setting
from .kernels.rosenbrock import Scratch
from .network import Network

Floats = npt.NDArray[np.float64]

#: Segments this path takes at most.
SEGMENTS = 20_000


def integrate_with_scipy(
    network: Network,
    blocks: Iterator[Block],
    start: Floats,
    ambient: Ambient,
    until: float,
    tolerance: float,
    integrator: str,
    progress: Progress | None,
    to_onset: bool,
) -> Solution:
    """Integrate with scipy.integrate.solve_ivp, one call a segment; arguments of `integrate`."""
    from scipy.integrate import solve_ivp

    setting, z, net = (
        setting_of(network, tolerance, to_onset),
        scratch_of(network, 1),
        network.arrays,
    )
    total, n = network.size, network.chain
    shared = slice(n, n + network.shared)
    names = tuple(network.nodes)
    watched = np.array([network.nodes[name] for name in names], dtype=np.int64)
    clock, count = fresh_clock(ambient), np.zeros(loop.COUNT_SIZE, dtype=np.int64)
    u, peak_state = np.array(start, dtype=np.float64), np.array(start, dtype=np.float64)
    rows: list[Floats] = []

    def evaluate(y: Floats, ambient_k: float, jacobian: bool) -> tuple[float, float]:
        return assembled(network, y[:total], ambient_k, z, jacobian=jacobian)

    peak = loop.note_peak(u, 0.0, 0.0, setting, net, clock)
    _, ohms = evaluate(u, ambient.first_k, False)
    rows.append(np.empty((1, loop.ROW_FIXED + len(watched))))
    loop.write_row(0.0, math.nan, peak, ohms, watched, setting, z.work[0], rows[0][0])

    def solve_piece(
        a: float, b: float, s: Callable[[float], float], t_amb: Callable[[float], float], y: Floats
    ) -> Any:
        def rate(t: float, y: Floats) -> Floats:
            loss, ohms = evaluate(y, t_amb(t), False)
            return np.concatenate((z.work[0, F0] + s(t) * z.work[0, G], (s(t) * ohms, loss)))

        def slope(t: float, y: Floats) -> Floats:
            evaluate(y, t_amb(t), True)
            jac = np.zeros((total + 2, total + 2))
            i = np.arange(n)
            jac[i, i] = z.work[0, DIAGONAL, :n]
            jac[i[1:], i[:-1]] = z.work[0, LOWER, 1:n]
            jac[i[:-1], i[1:]] = z.work[0, UPPER, : n - 1]
            jac[:n, shared] = z.border[0].T
            jac[shared, :n] = z.border[1]
            jac[shared, shared] = z.square[0]
            local_slopes(jac, z.work[0], net, s(t))
            jac[np.arange(total), np.arange(total)] += s(t) * z.work[0, DG]
            jac[total, :total] = s(t) * z.work[0, GEN_ROW]
            jac[total + 1, :total] = z.work[0, LOSS_ROW]
            return jac

        def event(which: float, terminal: bool) -> Callable[[float, Floats], float]:
            def value(t: float, y: Floats) -> float:
                return float(event_value(which, y[:total], net, setting))

            value.terminal = terminal  # type: ignore[attr-defined]
            value.direction = 1.0  # type: ignore[attr-defined]
            return value

        events = [event(ONSET, setting.to_onset == 1), event(PARTED, True)]
        if setting.bridges:
            events.append(event(BRIDGED, False))
        return solve_ivp(
            rate, (a, b), y, method=integrator, jac=slope, rtol=tolerance,
            atol=tolerance * ERROR_SCALE, events=events, dense_output=True,
            first_step=min(1e-6, 0.5 * (b - a)),
        )  # fmt: skip

    y = np.concatenate((u, (0.0, 0.0)))
    segments, ended = 0, False
    for block in blocks:
        if math.isnan(rows[0][0, loop.ROW_SQUARED]) and block.time[-1] > 0.0:
            rows[0][0, loop.ROW_SQUARED] = block.s0[0]
            hot, _, _ = hot_spot(u, network.first, network.last, net)
            rises = z.work[0, F0, hot] + block.s0[0] * z.work[0, G, hot] > 0.0
            if rises and event_value(ONSET, u, net, setting) >= 0.0:
                clock[loop.ONSET_TIME] = 0.0  # an event that has happened is none to the solver
        for repeat in range(int(block.repeats)):
            base = block.start + repeat * float(block.time[-1])
            for j in range(len(block.s0)):
                a, b = base + float(block.time[j]), base + float(block.time[j + 1])
                b = min(b, until)
                if b <= a or ended:
                    break
                segments += 1
                if segments > SEGMENTS:
                    raise InputError(
                        "too-many-segments",
                        f"the waveform has more than {SEGMENTS} segments",
                        expected="a short waveform for this integrator",
                        mend="use the integrator 'rodas3'",
                    )
                p, q, r = float(block.s0[j]), float(block.s1[j]), float(block.s2[j])

                def squared(
                    t: float, a: float = a, p: float = p, q: float = q, r: float = r
                ) -> float:
                    return p + (t - a) * (q + (t - a) * r)

                def ambient_at(t: float) -> float:
                    return float(np.interp(t, ambient.time, ambient.temperature_k))

                sol = solve_piece(a, b, squared, ambient_at, y)
                if not sol.success:
                    raise SolveError(
                        "solver-stalled",
                        f"{integrator} stopped at {sol.t[-1]:.6g} s: {sol.message}",
                        expected="a finished segment",
                        mend="use the integrator 'rodas3'",
                    )
                ended = _take_scipy(
                    network, sol, squared, ambient_at, setting, z, watched, clock, count, rows,
                    evaluate, peak_state,
                )  # fmt: skip
                y = np.array(sol.y[:, -1])
                if not np.isnan(clock[loop.PARTED_TIME]):
                    y = np.array(sol.sol(clock[loop.PARTED_TIME]))
            if progress is not None:
                progress(base)
            if ended or base >= until:
                break
        if ended or block.start >= until:
            break
    if math.isnan(rows[0][0, loop.ROW_SQUARED]):
        raise_nothing()
    u = y[:total].copy()
    clock[loop.JOULE], clock[loop.LOST] = y[total], y[total + 1]
    clock[loop.AMBIENT] = ambient_at(float(rows[-1][-1, 0]))
    return solution_of(network, clock, count, np.concatenate(rows), names, u, peak_state, start)


def local_slopes(jac: Floats, w: Floats, net: Arrays, squared: float) -> None:
    """Entries of the Jacobian that belong to shells of filler and to dissolved shares."""
    body = net.border.shape[2]
    for cell, *shells in net.shells:
        jac[cell, shells[0]] = w[PULL, cell]
        jac[shells[0], cell] = w[LOWER, shells[0]] * w[DT_, cell]
        for inner, outer in itertools.pairwise(shells):
            jac[inner, outer], jac[outer, inner] = w[UPPER, inner], w[LOWER, outer]
        jac[shells, shells] = w[DIAGONAL, shells]
        if net.border.shape[1]:
            last = shells[-1]
            jac[last, body], jac[body, last] = w[UPPER, last], w[PULL, last]
    for cell, spot in net.spots:
        jac[spot, cell] = w[LOWER, spot] * w[DT_, cell]
        jac[cell, spot] = squared * w[PULL, spot]


def _take_scipy(
    network: Network,
    sol: Any,
    squared: Callable[[float], float],
    ambient_at: Callable[[float], float],
    setting: Setting,
    z: Scratch,
    watched: npt.NDArray[np.int64],
    clock: Floats,
    count: npt.NDArray[np.int64],
    rows: list[Floats],
    evaluate: Callable[[Floats, float, bool], tuple[float, float]],
    peak_state: Floats,
) -> bool:
    """Read events, peaks, trace and quadratures off a finished segment; True when the run ends."""
    total = network.size
    if np.isnan(clock[loop.ONSET_TIME]) and len(sol.t_events[0]):
        clock[loop.ONSET_TIME] = sol.t_events[0][0]
    if len(sol.t_events) > 2 and np.isnan(clock[loop.BRIDGE_TIME]) and len(sol.t_events[2]):
        clock[loop.BRIDGE_TIME] = sol.t_events[2][0]
    end = float(sol.t[-1])
    parted = bool(len(sol.t_events[1]))
    melts = setting.to_onset == 1 and len(sol.t_events[0]) > 0
    by_bridge = clock[loop.BRIDGE_TIME] + setting.capillary_time
    if by_bridge <= end:
        end, parted = max(float(by_bridge), float(sol.t[0])), True
    knots = np.append(sol.t[sol.t < end], end)
    fine = knots
    if len(knots) > 1:
        pieces = [np.linspace(a, b, 9) for a, b in itertools.pairwise(knots)]
        fine = np.unique(np.concatenate(pieces))
    before = clock[loop.PEAK_U]
    for t in fine:
        state = np.ascontiguousarray(sol.sol(t)[:total])
        loop.note_peak(state, float(t), 0.0, setting, network.arrays, clock)
        if clock[loop.PEAK_U] > before:
            before = clock[loop.PEAK_U]
            peak_state[:] = state
    node, weight = np.polynomial.legendre.leggauss(4)
    block = np.empty((max(len(knots) - 1, 0), loop.ROW_FIXED + len(watched)))
    for row, (a, b) in enumerate(itertools.pairwise(knots)):
        for x, w in zip(node, weight, strict=True):
            t = 0.5 * (a + b) + 0.5 * (b - a) * x
            _, ohms = evaluate(np.ascontiguousarray(sol.sol(t)), ambient_at(t), False)
            clock[loop.ELECTRIC] += 0.5 * (b - a) * w * squared(t) * ohms
            clock[loop.ACTION] += 0.5 * (b - a) * w * squared(t)
        state = np.ascontiguousarray(sol.sol(b))
        _, ohms = evaluate(state, ambient_at(b), False)
        hot, top, _ = hot_spot(state[:total], network.first, network.last, network.arrays)
        peak = loop.temperature_at(top, network.arrays.kind[MATERIAL, hot], network.arrays)
        loop.write_row(b, squared(b), peak, ohms, watched, setting, z.work[0], block[row])
    if len(block):
        rows.append(block)
    count[loop.STEPS] += len(sol.t) - 1
    if parted:
        clock[loop.PARTED_TIME] = end
    return parted or melts
