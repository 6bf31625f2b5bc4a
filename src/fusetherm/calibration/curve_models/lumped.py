"""Curve models in closed form: constant I²t, power law, one or several time constants."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ...current.blocks import Block
from ...current.waveform import Waveform
from .base import CurveModel, CurvePoints, Floats, Quantity, corrected_information, rise_ratio

#: Runs of a repeated block followed one by one; of more, the first and the last.
_RUNS = 64
#: Most rungs of a ladder that are tried.
_MOST_RUNGS = 3


@dataclass(frozen=True)
class ConstantAction(CurveModel):
    """Constant I²t: all heat stays where it is made.

    Parameters
    ----------
    action : float
        I²t to part the element from the ambient of the curve [A2 s].
    melting_c : float
        Melting point [degC].
    ambient_c : float
        Ambient of the curve [degC].

    Notes
    -----
    ``I² t = A (T_m - T_a) / (T_m - T_c)`` with constant properties.

    Examples
    --------
    >>> ConstantAction(400.0, 420.0, 23.0).time_at(20.0)
    1.0
    """

    action: float
    melting_c: float
    ambient_c: float = 23.0
    name = "constant_i2t"

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """The Joule integral."""
        return (Quantity("action", "A2 s", self.action),)

    @property
    def parameter_count(self) -> float:
        """One."""
        return 1.0

    def _action(self, ambient_c: float | None) -> float:
        return self.action * rise_ratio(self.melting_c, ambient_c, self.ambient_c)

    def minimum_fusing_current(self, ambient_c: float | None = None) -> float:
        """None: any current parts the element in the end [A]."""
        return 0.0

    def current_at(self, time: float, ambient_c: float | None = None) -> float:
        """Constant current that parts the element at a time [A]."""
        return math.sqrt(self._action(ambient_c) / time)

    def time_at(self, current: float, ambient_c: float | None = None) -> float:
        """Pre-arcing time at a constant current [s]."""
        return self._action(ambient_c) / current**2

    def current_factor(self, waveform: Waveform, ambient_c: float | None = None) -> float:
        """Factor on a waveform at which its I²t is that of parting [-]."""
        i2t = waveform.i2t()
        return math.sqrt(self._action(ambient_c) / i2t) if i2t > 0.0 else math.inf


@dataclass(frozen=True)
class PowerLaw(CurveModel):
    """Power law: a straight line on log-log paper. It knows nothing of the ambient.

    Parameters
    ----------
    scale : float
        Current that parts the element in a second [A].
    exponent : float
        n of ``I^n t = constant`` [-].
    ambient_c : float
        Ambient of the curve [degC].

    Notes
    -----
    For a waveform the shares ``dt / t(I)`` are summed: ``integral |I|^n dt = scale^n`` parts
    the element. Nothing cools.
    """

    scale: float
    exponent: float
    ambient_c: float = 23.0
    name = "power_law"

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Scale and exponent."""
        return Quantity("scale", "A", self.scale), Quantity("exponent", "1", self.exponent)

    @property
    def parameter_count(self) -> float:
        """Two."""
        return 2.0

    def minimum_fusing_current(self, ambient_c: float | None = None) -> float:
        """None: any current parts the element in the end [A]."""
        return 0.0

    def current_at(self, time: float, ambient_c: float | None = None) -> float:
        """Constant current that parts the element at a time [A]."""
        return float(self.scale * time ** (-1.0 / self.exponent))

    def time_at(self, current: float, ambient_c: float | None = None) -> float:
        """Pre-arcing time at a constant current [s]."""
        return float((current / self.scale) ** -self.exponent)

    def current_factor(self, waveform: Waveform, ambient_c: float | None = None) -> float:
        """Factor on a waveform at which its shares sum to one [-]."""
        nodes, weights = np.polynomial.legendre.leggauss(12)
        total = 0.0
        for block in waveform.blocks():
            h = np.diff(block.time)
            tau = 0.5 * h[:, None] * (nodes + 1.0)
            squares = block.s0[:, None] + tau * (block.s1[:, None] + tau * block.s2[:, None])
            shares = np.maximum(squares, 0.0) ** (0.5 * self.exponent) @ weights
            total += block.repeats * float(np.sum(0.5 * h * shares))
        return float(self.scale * total ** (-1.0 / self.exponent)) if total > 0.0 else math.inf


@dataclass(frozen=True)
class Ladder(CurveModel):
    """One or several time constants: the hot spot's rise is a sum of exponentials.

    Parameters
    ----------
    weights : tuple of float
        Final rise of each rung for one ampere squared, in rises to parting [A-2].
    time_constants : tuple of float
        [s], increasing.
    melting_c : float
        Melting point [degC].
    ambient_c : float
        Ambient of the curve [degC].
    name : str
        Name of the model.

    Notes
    -----
    ``1 / I² = sum w_k (1 - exp(-t / tau_k)) (T_m - T_c) / (T_m - T_a)``, with constant
    properties and no plateau of melting. With one rung ``t = tau ln(1 / (1 - (I0 / I)²))``.
    Under a waveform each rung follows ``tau dz/dt = w I² - z``, exactly on each piece of I².

    Examples
    --------
    >>> one = Ladder((0.01,), (5.0,), 420.0, 23.0)
    >>> round(one.time_at(20.0), 4)  # 5 ln(4/3)
    1.4384
    """

    weights: tuple[float, ...]
    time_constants: tuple[float, ...]
    melting_c: float
    ambient_c: float = 23.0
    name: str = "one_time_constant"

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Minimum fusing current, then share and time constant of each rung."""
        total = sum(self.weights)
        found = [Quantity("minimum_fusing_current", "A", total**-0.5)]
        for i, (w, tau) in enumerate(zip(self.weights, self.time_constants, strict=True), 1):
            found.append(Quantity(f"share_{i}", "1", w / total))
            found.append(Quantity(f"time_constant_{i}", "s", tau))
        return tuple(found)

    @property
    def parameter_count(self) -> float:
        """Two a rung."""
        return 2.0 * len(self.weights)

    def minimum_fusing_current(self, ambient_c: float | None = None) -> float:
        """Current below which the element never parts [A]."""
        return math.sqrt(rise_ratio(self.melting_c, ambient_c, self.ambient_c) / sum(self.weights))

    def current_at(self, time: float, ambient_c: float | None = None) -> float:
        """Constant current that parts the element at a time [A]."""
        return math.sqrt(
            rise_ratio(self.melting_c, ambient_c, self.ambient_c) / self._response(time)
        )

    def _response(self, time: float) -> float:
        """Rise for one ampere squared at a time, in rises to parting [A-2]."""
        return -sum(
            w * math.expm1(-time / tau)
            for w, tau in zip(self.weights, self.time_constants, strict=True)
        )

    def time_at(self, current: float, ambient_c: float | None = None) -> float:
        """Pre-arcing time at a constant current [s]; inf where it never parts."""
        needed = rise_ratio(self.melting_c, ambient_c, self.ambient_c) / current**2
        # between the rises of all rungs at once: without loss, and with the slowest alone
        if needed >= sum(self.weights):
            return math.inf
        if len(self.weights) == 1:
            return -self.time_constants[0] * math.log1p(-needed / self.weights[0])
        from scipy.optimize import brentq

        fastest = sum(w / t for w, t in zip(self.weights, self.time_constants, strict=True))
        low = math.log(0.5 * needed / fastest)
        high = low + 1.0
        while self._response(math.exp(high)) < needed:
            high += 1.0
        found = brentq(lambda x: self._response(math.exp(x)) - needed, low, high, xtol=1e-12)
        return math.exp(float(found))

    def current_factor(self, waveform: Waveform, ambient_c: float | None = None) -> float:
        """Factor on a waveform at which its highest rise parts the element [-]."""
        peak = self.peak_rise(waveform)
        ratio = rise_ratio(self.melting_c, ambient_c, self.ambient_c)
        return math.sqrt(ratio / peak) if peak > 0.0 else math.inf

    def peak_rise(self, waveform: Waveform) -> float:
        """Highest rise under a waveform from cold, in rises to parting from the curve's ambient."""
        state, peak = np.zeros(len(self.weights)), 0.0
        for block in waveform.blocks():
            for _, skipped in _runs(block.repeats):
                if skipped:
                    state = self._repeated(block, state, skipped)
                state, peak = self._through(block, state, peak)
        return peak

    def _repeated(self, block: Block, state: Floats, runs: int) -> Floats:
        """State after so many runs of a block: each rung follows the same straight map."""
        tau = np.array(self.time_constants)
        driven, _ = self._through(block, np.zeros(len(tau)), 0.0)
        left = np.exp(-runs * block.period / tau)
        final: Floats = driven / -np.expm1(-block.period / tau)
        return final + left * (state - final)

    def _through(self, block: Block, state: Floats, peak: float) -> tuple[Floats, float]:
        """State after one run of a block, and the highest rise met."""
        w, tau = np.array(self.weights), np.array(self.time_constants)
        for h, s0, s1, s2 in zip(np.diff(block.time), block.s0, block.s1, block.s2, strict=True):

            def at(t: float, z: Floats = state, s: tuple[float, ...] = (s0, s1, s2)) -> Floats:
                e0, e1, e2 = _moments(t / tau)
                out: Floats = z * np.exp(-t / tau) + w * (
                    s[0] * e0 + t * (s[1] * e1 + t * s[2] * e2)
                )
                return out

            def slope(t: float, s: tuple[float, ...] = (s0, s1, s2)) -> float:
                square = s[0] + t * (s[1] + t * s[2])
                return float(np.sum((w * square - at(t)) / tau))

            following = at(h)
            if slope(0.0) > 0.0 > slope(h):
                from scipy.optimize import brentq

                peak = max(peak, float(at(brentq(slope, 0.0, h)).sum()))
            state = following
            peak = max(peak, float(state.sum()))
        return state, peak


def _runs(repeats: int) -> Iterator[tuple[int, int]]:
    """Runs of a block to follow, each with the number of runs skipped before it.

    A rung that rises from run to run is highest in the last, one that falls in the first.
    """
    if repeats <= _RUNS:
        yield from ((i, 0) for i in range(repeats))
        return
    yield 0, 0
    yield repeats - 1, repeats - 2


def _moments(x: Floats) -> tuple[Floats, Floats, Floats]:
    """``x int_0^1 exp(-x (1 - v)) v^n dv`` for n = 0, 1, 2; by its series where x is small."""
    small = x < 0.5
    series = []
    for n in range(3):
        term = x / (n + 1.0)
        total = term.copy()
        for k in range(1, 14):
            term = -term * x / (n + k + 1.0)
            total = total + term
        series.append(total)
    safe = np.where(small, 1.0, x)
    e0 = -np.expm1(-safe)
    e1 = 1.0 - e0 / safe
    e2 = 1.0 - 2.0 * e1 / safe
    return tuple(np.where(small, s, e) for s, e in zip(series, (e0, e1, e2), strict=True))  # type: ignore[return-value]


def constant_action(points: CurvePoints, melting_c: float) -> ConstantAction:
    """Constant I²t through points: the weighted mean of ``ln I + ln t / 2``."""
    level = np.average(points.log_current + 0.5 * np.log(points.time), weights=points.spread**-2)
    return ConstantAction(math.exp(2.0 * float(level)), melting_c, points.ambient_c)


def power_law(points: CurvePoints) -> PowerLaw:
    """Power law through points: weighted straight line of ln I against ln t."""
    slope, level = np.polyfit(np.log(points.time), points.log_current, 1, w=1.0 / points.spread)
    # a line that does not fall is none of a fuse; the steepest one told from it stands in
    return PowerLaw(math.exp(float(level)), -1.0 / min(float(slope), -1e-3), points.ambient_c)


def ladder(points: CurvePoints, melting_c: float, rungs: int, name: str) -> Ladder:
    """Ladder of so many rungs through points.

    Notes
    -----
    Starts from the best non-negative weights on a grid of time constants (Lawson and Hanson),
    gathered to as many rungs, and from rungs spread evenly; then least squares in ln w, ln tau.
    """
    from scipy.optimize import least_squares, nnls

    t, x, spread = points.time, points.log_current, points.spread
    low, high = math.log(float(t.min())) - 3.0, math.log(float(t.max())) + 3.0
    grid = np.exp(np.linspace(low, high, 60))
    table = -np.expm1(-t[:, None] / grid)
    target = np.exp(-2.0 * x)
    scale = 1.0 / (2.0 * spread * target)  # d(1/I²) = -2 (1/I²) d ln I
    on_grid, _ = nnls(table * scale[:, None], target * scale)

    def residual(p: Floats) -> Floats:
        weight, tau = np.exp(p[:rungs]), np.exp(p[rungs:])
        response = -np.expm1(-t[:, None] / tau) @ weight
        out: Floats = (-0.5 * np.log(response) - x) / spread
        return out

    whole = math.log(float(target.max()))
    lower = np.concatenate([np.full(rungs, whole - 12.0), np.full(rungs, low - 3.0)])
    upper = np.concatenate([np.full(rungs, whole + 8.0), np.full(rungs, high + 3.0)])
    starts = [
        _gathered(on_grid, np.log(grid), rungs),
        np.concatenate(
            [
                np.full(rungs, whole - math.log(rungs)),
                np.linspace(low + 3.0, high - 3.0, rungs + 2)[1:-1],
            ]
        ),
    ]
    best = None
    for start in starts:
        inside = np.clip(start, lower + 1e-6, upper - 1e-6)
        found = least_squares(
            residual, inside, bounds=(lower, upper), xtol=1e-14, ftol=1e-14, gtol=1e-14
        )
        if best is None or found.cost < best.cost:
            best = found
    assert best is not None
    order = np.argsort(best.x[rungs:])
    weight, tau = np.exp(best.x[:rungs][order]), np.exp(best.x[rungs:][order])
    return Ladder(tuple(weight.tolist()), tuple(tau.tolist()), melting_c, points.ambient_c, name)


def _gathered(weights: Floats, log_tau: Floats, rungs: int) -> Floats:
    """Start of a ladder: grid weights gathered to groups, split at the widest gaps."""
    kept = np.flatnonzero(weights > 0.0)
    if len(kept) == 0:
        kept = np.array([len(weights) // 2])
        weights = np.ones_like(weights)
    gaps = np.diff(log_tau[kept])
    cuts = np.sort(np.argsort(gaps)[::-1][: rungs - 1]) + 1
    groups = [g for g in np.split(kept, cuts) if len(g)]
    total = [float(weights[g].sum()) for g in groups]
    centre = [float(np.average(log_tau[g], weights=weights[g])) for g in groups]
    while len(total) < rungs:  # fewer groups than rungs: the heaviest is split
        i = int(np.argmax(total))
        total[i] *= 0.5
        total.append(total[i])
        centre.append(centre[i] + 0.7)
        centre[i] -= 0.7
    return np.concatenate([np.log(total), centre])


def chosen_ladder(points: CurvePoints, melting_c: float) -> Ladder:
    """Ladder with the number of rungs, up to three, that has the least AICc."""
    best: tuple[float, Ladder] | None = None
    for rungs in range(1, _MOST_RUNGS + 1):
        if len(points) - 2 * rungs - 1 <= 0 and best is not None:
            break
        tried = ladder(points, melting_c, rungs, "exponentials")
        off = [math.log(tried.current_at(float(t))) for t in points.time] - points.log_current
        chi = float(np.sum((off / points.spread) ** 2))
        score = corrected_information(chi, 2.0 * rungs, len(points))
        if best is None or score < best[0]:
            best = score, tried
    assert best is not None
    return best[1]
