"""Three lumps: a hot spot that melts, the rest of the element, the terminals."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ...current.waveform import Waveform
from ...physics.metals import Metal
from ...units import ZERO_CELSIUS_K
from .base import CurveModel, CurvePoints, Floats, Quantity, rise_ratio

#: Fitted quantities with their units, and the spread of their priors [ln] (own estimates).
_NAMES = (
    ("action", "A2 s", 0.5),
    ("hot_spot_to_rest", "1/s", 1.0),
    ("rest_capacity", "1", 1.0),
    ("rest_resistance", "1", 0.5),
    ("rest_to_terminals", "1/s", 1.0),
    ("terminal_capacity", "1", 1.0),
    ("terminals_to_ambient", "1/s", 1.0),
)
_SPREAD = np.array([spread for _, _, spread in _NAMES])
#: Centres: the rest of a strip with a notch over 3 tenths of its length at 6 tenths of its
#: section, against that notch; terminals against it; and how the rise at the lowest current of
#: the curve is shared by the three passages of heat (own estimates).
_REST_CAPACITY, _REST_RESISTANCE, _TERMINAL_CAPACITY = 3.9, 1.4, 30.0
_SHARES = (0.3, 0.5, 0.2)
#: A time nothing parts after [s].
_NEVER = 1e8
#: Growth of the fastest mode beyond which a rise is past all bounds [ln].
_GROWTH = 200.0
#: How much sharper than they are the points are taken for in a first search.
_SHARPER = 10.0
#: Step of ln quantities for differences; roots agree to 1e-11.
_STEP = 1e-5


@dataclass(frozen=True)
class ThreeLumps(CurveModel):
    """Three heat capacities in a row, the first of which melts.

    Parameters
    ----------
    values : tuple of float
        Joule integral that brings the hot spot to its melting point without loss at constant
        resistance [A2 s]; conductances over the hot spot's heat capacity [1/s]; capacities and
        resistance over the hot spot's [-]; in the order of `quantities`.
    resistance_rise : float
        Relative rise of the resistance from the curve's ambient to melting [-].
    latent : float
        Heat of melting over the heat from the curve's ambient to the melting point [-].
    melting_c, ambient_c : float
        Melting point and ambient of the curve [degC].
    determined : float
        Number of parameters the data determined [-].

    Notes
    -----
    With theta the rise over the curve's ambient in rises to melting and q = I²/A::

        dx1/dt      = q (1 + b x1)      - k12 (x1 - x2)
        c2 dx2/dt   = q r2 (1 + b x2)   + k12 (x1 - x2) - k23 (x2 - x3)
        c3 dx3/dt   = k23 (x2 - x3) - k3 (x3 - xa)

    The hot spot stays at 1 until it has taken up its heat of melting, and has parted then.
    At constant current both stages are sums of exponentials (eigenvalues of a symmetric
    matrix).
    """

    values: tuple[float, ...]
    resistance_rise: float
    latent: float
    melting_c: float
    ambient_c: float = 23.0
    determined: float = 7.0
    name = "three_lumps"

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Fitted quantities."""
        return tuple(
            Quantity(name, unit, v) for (name, unit, _), v in zip(_NAMES, self.values, strict=True)
        )

    @property
    def parameter_count(self) -> float:
        """Number of parameters the data determined beside loose priors [-]."""
        return self.determined

    def _ambient(self, ambient_c: float | None) -> float:
        """Ambient in rises to melting over that of the curve [-]."""
        return 1.0 - rise_ratio(self.melting_c, ambient_c, self.ambient_c)

    def minimum_fusing_current(self, ambient_c: float | None = None) -> float:
        """Current below which the element never parts [A]."""
        return self.current_at(0.1 * _NEVER, ambient_c)

    def current_at(self, time: float, ambient_c: float | None = None) -> float:
        """Constant current that parts the element at a time [A]."""
        found = _log_squares(
            np.array([self.values]), np.array([time]), self._ambient(ambient_c),
            self.resistance_rise, self.latent,
        )  # fmt: skip
        return math.exp(0.5 * float(found[0]))

    def time_at(self, current: float, ambient_c: float | None = None) -> float:
        """Pre-arcing time at a constant current [s]; inf where it never parts."""
        found = _times(
            np.array([self.values]), np.array([current**2]), self._ambient(ambient_c),
            self.resistance_rise, self.latent,
        )  # fmt: skip
        return float(found[0])

    def current_factor(self, waveform: Waveform, ambient_c: float | None = None) -> float:
        """Factor on a waveform at which it just parts the element, from cold [-].

        Integrated by scipy's LSODA; a waveform of thousands of pieces takes its time.
        """
        from scipy.optimize import brentq

        if waveform.i2t() <= 0.0:
            return math.inf
        level = 1.0 + self.latent
        start = self._ambient(ambient_c)

        def excess(log_factor: float) -> float:
            return self._peak(waveform, math.exp(2.0 * log_factor), start) - level

        # without loss and with all its resistance the hot spot needs no less than this
        low = 0.5 * math.log(
            self.values[0] * (level - start) / (1.0 + self.resistance_rise) / waveform.i2t()
        )
        high = low + 0.5
        while excess(high) < 0.0:
            low, high = high, high + 0.5
        if excess(low) > 0.0:  # the rest of the element heats the hot spot
            low -= 3.0
        return math.exp(float(brentq(excess, low, high, xtol=1e-7)))

    def _peak(self, waveform: Waveform, factor: float, start: float) -> float:
        """Highest enthalpy of the hot spot with I² times a factor, in heats to melting."""
        from scipy.integrate import solve_ivp

        action, k12, c2, r2, k23, c3, k3 = self.values
        b, latent = self.resistance_rise, self.latent

        def rate(t: float, y: Floats, s: tuple[float, float, float]) -> list[float]:
            h, x2, x3 = y
            x1 = h if h < 1.0 else 1.0 if h < 1.0 + latent else h - latent
            q = factor * max(s[0] + t * (s[1] + t * s[2]), 0.0) / action
            flow, on = k12 * (x1 - x2), k23 * (x2 - x3)
            return [
                q * (1.0 + b * min(x1, 1.0)) - flow,
                (q * r2 * (1.0 + b * min(x2, 1.0)) + flow - on) / c2,
                (on - k3 * (x3 - start)) / c3,
            ]

        y, peak = np.full(3, start), start
        for block in waveform.blocks():
            pieces = list(zip(np.diff(block.time), block.s0, block.s1, block.s2, strict=True))
            for _ in range(block.repeats):
                for h, *s in pieces:
                    done = solve_ivp(
                        rate, (0.0, h), y, method="LSODA", args=(tuple(s),), rtol=1e-7, atol=1e-9
                    )
                    y, peak = done.y[:, -1], max(peak, float(done.y[0].max()))
        return peak


def _roots(function: Callable[[Floats], Floats], low: Floats, high: Floats, tol: float) -> Floats:
    """Roots of an increasing function between bounds, all at once (Chandrupatla).

    References
    ----------
    Chandrupatla, Advances in Engineering Software 28 (1997) 145 (from memory).
    """
    a, b = high.copy(), low.copy()
    fa, fb = function(a), function(b)
    c, fc = a.copy(), fa.copy()
    share = np.full_like(a, 0.5)
    for _ in range(80):
        x = a + share * (b - a)
        f = function(x)
        same = np.sign(f) == np.sign(fa)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = x, f
        width = np.abs(b - a)
        if np.all((width < 2.0 * tol) | (fa == 0.0)):
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
            inverse = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (
                fc - fb
            )
            good = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi) & np.isfinite(inverse)
            edge = np.minimum(0.5, tol / width)
        share = np.clip(np.where(good, inverse, 0.5), edge, 1.0 - edge)
    return np.where(np.abs(fa) < np.abs(fb), a, b)


def _rise(mu: Floats, t: Floats) -> Floats:
    """``(exp(mu t) - 1) / mu``, t where mu vanishes."""
    x = mu * t
    return np.where(np.abs(x) < 1e-12, t, np.expm1(x) / np.where(mu == 0.0, 1.0, mu))


def _rise_integral(mu: Floats, t: Floats) -> Floats:
    """Integral of `_rise` from 0 to t."""
    x = mu * t
    safe = np.where(mu == 0.0, 1.0, mu)
    series = t * t * (0.5 + x * (1.0 / 6.0 + x / 24.0))
    return np.where(np.abs(x) < 1e-4, series, (np.expm1(x) - x) / safe**2)


def _bounded(mu: Floats, t: Floats) -> Floats:
    """Times (m, 1), cut where the fastest mode has grown past all bounds.

    One time for all modes: they grow with unlike signs, and their sum has the sign of the
    fastest only while each stands where it does at that time.
    """
    fastest = np.maximum(mu[:, -1], 0.0)
    least = _GROWTH / _NEVER
    cut = np.where(fastest > least, _GROWTH / np.maximum(fastest, least), np.inf)
    return np.minimum(t, cut)[:, None]


def _times(p: Floats, squared: Floats, start: float, b: float, latent: float) -> Floats:
    """Pre-arcing times [s] of many sets of quantities (m, 7) at many I² [A2] (m,)."""
    action, k12, c2, r2, k23, c3, k3 = p.T
    q, rise = squared / action, 1.0 - start
    m = len(q)
    matrix = np.zeros((m, 3, 3))
    matrix[:, 0, 0] = q * b - k12
    matrix[:, 1, 1] = q * b * r2 - k12 - k23
    matrix[:, 2, 2] = -k23 - k3
    matrix[:, 0, 1] = matrix[:, 1, 0] = k12
    matrix[:, 1, 2] = matrix[:, 2, 1] = k23
    root = np.sqrt(np.stack([np.ones(m), c2, c3], axis=1))
    mu, v = np.linalg.eigh(matrix / (root[:, :, None] * root[:, None, :]))
    heat = q * (1.0 + b * start)
    force = np.stack([heat, heat * r2, np.zeros(m)], axis=1) / root
    modes = np.einsum("mij,mi->mj", v, force)
    hot = v[:, 0, :] * modes
    fastest = q * (1.0 + b) * np.maximum(1.0, r2 / c2)
    low, high = np.log(0.5 * rise / fastest), np.full(m, math.log(_NEVER))

    def short(x: Floats) -> Floats:
        out: Floats = np.sum(hot * _rise(mu, _bounded(mu, np.exp(x))), axis=1) / rise - 1.0
        return np.minimum(out, 10.0)

    never = short(high) < 0.0
    low = np.minimum(low, high - 1e-9)
    t1 = np.exp(_roots(short, low, high, 1e-11))
    y = (np.einsum("mij,mj->mi", v, modes * _rise(mu, t1[:, None])) / root)[:, 1:]

    small, feed = matrix[:, 1:, 1:], np.zeros((m, 2))
    feed[:, 0] = heat * r2 + k12 * rise
    force = (feed + np.einsum("mij,mj->mi", small, y)) / root[:, 1:]
    mu2, v2 = np.linalg.eigh(small / (root[:, 1:, None] * root[:, None, 1:]))
    second = v2[:, 0, :] * np.einsum("mij,mi->mj", v2, force) / root[:, 1, None]
    net = q * (1.0 + b) - k12 * (rise - y[:, 0])
    slow = np.where(never | (net <= 0.0), 1.0, net)

    def taken(x: Floats) -> Floats:
        t = np.exp(x)
        grown = second * _rise_integral(mu2, _bounded(mu2, t))
        out: Floats = net * t + k12 * np.sum(grown, axis=1)
        return np.clip(out / latent - 1.0, -1.0, 10.0)

    longest = np.log(latent / slow) + 1e-6
    least = np.minimum(np.log(0.5 * latent / (q * (1.0 + b) + k12)), longest - 1e-3)
    for _ in range(20):  # a rest far hotter than the hot spot melts it sooner
        early = taken(least) < 0.0
        if early.all():
            break
        least = np.where(early, least, least - 2.0)
    t2 = np.exp(_roots(taken, least, longest, 1e-11))
    return np.where(never, np.inf, t1 + t2)


def _log_squares(p: Floats, time: Floats, start: float, b: float, latent: float) -> Floats:
    """ln I² that parts the hot spot at times [s] (m,), for many sets of quantities (m, 7)."""
    fastest = (1.0 + b) * np.maximum(1.0, p[:, 3] / p[:, 2])
    low = np.log(0.5 * p[:, 0] * (1.0 - start) / time / fastest)

    def fast(x: Floats) -> Floats:
        return np.minimum(time / _times(p, np.exp(x), start, b, latent) - 1.0, 10.0)

    high = low + 2.0
    for _ in range(40):
        slow = fast(high) < 0.0
        if not slow.any():
            break
        low, high = np.where(slow, high, low), np.where(slow, high + 1.5, high)
    return _roots(fast, low, high, 1e-10)


def _centre(points: CurvePoints, resistance_rise: float, latent: float) -> Floats:
    """ln of the priors' centres, from the highest and the lowest current of the curve."""
    first, last = int(np.argmin(points.time)), int(np.argmax(points.time))
    action = math.exp(2.0 * points.log_current[first]) * points.time[first]
    action *= (1.0 + 0.5 * resistance_rise) / (1.0 + latent)
    heat = math.exp(2.0 * points.log_current[last]) / action * (1.0 + 0.7 * resistance_rise)
    outward = heat * (1.0 + _REST_RESISTANCE)
    return np.log(
        [
            action,
            heat / _SHARES[0],
            _REST_CAPACITY,
            _REST_RESISTANCE,
            outward / _SHARES[1],
            _TERMINAL_CAPACITY,
            outward / _SHARES[2],
        ]
    )


def three_lumps(points: CurvePoints, metal: Metal) -> ThreeLumps:
    """Three lumps through points, with loose priors; the metal is known."""
    from scipy.optimize import least_squares

    cold = points.ambient_c + ZERO_CELSIUS_K
    solid = metal.solidus_k
    b = float(metal.resistivity(solid) / metal.resistivity(cold)) - 1.0
    latent = metal.latent_heat / float(metal.enthalpy(solid) - metal.enthalpy(cold))
    centre, n = _centre(points, b, latent), len(points)
    x, spread, time = points.log_current, points.spread, points.time

    def currents(z: Floats) -> Floats:
        """ln currents of sets of scores (m, 7), shape (m, n)."""
        m = len(z)
        p = np.repeat(np.exp(centre + _SPREAD * z), n, axis=0)
        return 0.5 * _log_squares(p, np.tile(time, m), 0.0, b, latent).reshape(m, n)

    def search(start: Floats, sharper: float) -> Floats:
        """Mode from a start, with the points taken for sharper than they are."""

        def residual(z: Floats) -> Floats:
            return np.concatenate([(currents(z[None])[0] - x) / spread * sharper, z])

        def jacobian(z: Floats) -> Floats:
            return np.vstack([slopes(z) * sharper, np.eye(7)])

        found = least_squares(
            residual, start, jacobian, method="lm", xtol=1e-5, ftol=1e-5, gtol=1e-8, max_nfev=40
        )
        return np.asarray(found.x, dtype=np.float64)

    def slopes(z: Floats) -> Floats:
        """Derivatives of ln current by the scores, over the spreads, shape (n, 7)."""
        steps = np.vstack([z + _STEP * np.eye(7), z - _STEP * np.eye(7)])
        found = currents(steps)
        out: Floats = (found[:7] - found[7:]).T / (2.0 * _STEP) / spread[:, None]
        return out

    # sharp points lead through the bent valley that priors and points make together
    mode = search(search(np.zeros(7), _SHARPER), 1.0)
    table = slopes(mode)
    told = table.T @ table
    determined = float(np.trace(np.linalg.solve(told + np.eye(7), told)))
    values = tuple(np.exp(centre + _SPREAD * mode).tolist())
    melting_c = solid - ZERO_CELSIUS_K
    return ThreeLumps(values, b, latent, melting_c, points.ambient_c, determined)
