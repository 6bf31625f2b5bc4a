"""Shapes: pulses and periodic currents in closed form.

Every function returns a `Waveform`; they combine with ``then``, ``repeated`` and ``+``.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError
from ..units import takes
from .blocks import Array
from .sampled import Sampled, constant
from .tree import Sum
from .waveform import Waveform, finite, positive

__all__ = [
    "Exponentials",
    "Gaussian",
    "alternating",
    "chopped",
    "constant",
    "damped_oscillation",
    "exponential_decay",
    "gaussian_pulse",
    "half_sine",
    "lamp_inrush",
    "rectangular_pulse",
    "triangle",
]

#: Error of I² inside a segment that meshes are made for, as a share of its peak.
_MESH_ERROR = 2e-7
_MOST_SEGMENTS = 5_000_000
#: Time constants a decay is drawn for unless told otherwise: 4e-18 of its I²t is left then.
_OVER_AFTER = 20.0


@dataclass(frozen=True)
class _Smooth(Waveform):
    """A waveform without an edge between its two ends."""

    length: float

    @property
    def duration(self) -> float:
        """Duration [s]."""
        return self.length

    @property
    def edges(self) -> Array:
        """The two ends [s]."""
        return np.array([0.0, self.length])


@dataclass(frozen=True)
class Exponentials(_Smooth):
    """A sum of decays and oscillations, i(t) = Re sum of c_k exp(r_k t) [A].

    Parameters
    ----------
    length : float
        Duration [s].
    amplitudes : tuple of complex
        c_k [A].
    rates : tuple of complex
        r_k [1/s]; the imaginary part is the angular frequency.

    Notes
    -----
    I² is again such a sum, with rates r_j + r_k and r_j + conj(r_k), so that its integral
    is closed: the integral of exp(z t) over T is T (exp(z T) - 1)/(z T). Over stretches too
    short for the difference to be exact, Gauss-Legendre quadrature takes its place.
    """

    amplitudes: tuple[complex, ...]
    rates: tuple[complex, ...]

    def __post_init__(self) -> None:
        positive(self.length, "duration")
        for value in (*self.amplitudes, *self.rates):
            finite(abs(value), "amplitude or rate", "A or 1/s")

    def _content(self) -> Iterator[bytes]:
        yield repr((self.length, self.amplitudes, self.rates)).encode()

    def _at(self, time: Array, left: bool) -> Array:
        value = np.zeros_like(time)
        for c, r in zip(self.amplitudes, self.rates, strict=True):
            value += (c * np.exp(r * time)).real
        return value

    def _squares(self) -> list[tuple[complex, complex]]:
        """Amplitudes and rates of I² [A2, 1/s]."""
        terms = list(zip(self.amplitudes, self.rates, strict=True))
        return [
            (0.5 * c * factor, r + rate)
            for c, r in terms
            for d, s in terms
            for factor, rate in ((d, s), (d.conjugate(), s.conjugate()))
        ]

    def _integral(self, a: float, b: float, power: int) -> float:
        span = b - a
        if max(map(abs, self.rates)) * span < 2.0:
            return _smooth_integral(self, a, b, power)
        terms = self._squares() if power == 2 else zip(self.amplitudes, self.rates, strict=True)
        return math.fsum((c * cmath.exp(r * a) * _exp_integral(r, span)).real for c, r in terms)

    def _mesh(self) -> Array:
        # The sum of the magnitudes stands for the peak: no search, and close for pulses.
        size = max(sum(map(abs, self.amplitudes)), 1e-300)
        pieces = []
        for c, r in self.scaled(1.0 / size)._squares():
            third = abs(c) * abs(r) ** 3 / (125.0 * _MESH_ERROR)
            pieces.append((third ** (1.0 / 3.0), r.real / 3.0, self.length))
            # At most half a time constant a segment, until the term is below rounding.
            until = self.length
            if r.real < 0.0:
                until = min(until, max(math.log(abs(c) + 1e-300) + 45.0, 0.0) / -r.real)
            pieces.append((2.0 * abs(r), 0.0, until))
        return _spread(pieces, self.length)

    def scaled(self, factor: float) -> Exponentials:
        """The same shape with every current multiplied by ``factor``."""
        by = finite(factor, "factor", "A/A")
        return replace(self, amplitudes=tuple(by * c for c in self.amplitudes))

    def _raised(self, current: float) -> Exponentials:
        return replace(self, amplitudes=(*self.amplitudes, current), rates=(*self.rates, 0.0))

    def _cut(self, a: float, b: float) -> Exponentials:
        moved = (c * cmath.exp(r * a) for c, r in zip(self.amplitudes, self.rates, strict=True))
        return replace(self, length=b - a, amplitudes=tuple(moved))


def _exp_integral(rate: complex, span: float) -> complex:
    """Integral of exp(rate t) from 0 to span."""
    z = rate * span
    if z == 0.0:
        return span
    if abs(z) < 1e-3:
        return span * (1.0 + z / 2.0 * (1.0 + z / 3.0 * (1.0 + z / 4.0 * (1.0 + z / 5.0))))
    return (cmath.exp(z) - 1.0) / rate


def _smooth_integral(wave: Waveform, a: float, b: float, power: int) -> float:
    """Integral of I^power over a stretch shorter than two time constants."""
    nodes, weights = np.polynomial.legendre.leggauss(20)
    values = wave._at(a + 0.5 * (b - a) * (nodes + 1.0), False)
    return float(0.5 * (b - a) * ((values**power) @ weights))


def _spread(pieces: list[tuple[float, float, float]], length: float) -> Array:
    """Mesh whose density is a sum of d exp(g t), each until a time of its own."""

    def count(time: Array) -> Array:
        total = 1e-3 * time / length  # keeps the count increasing where all else has decayed
        for density, growth, until in pieces:
            t = np.minimum(time, until)
            grown = np.expm1(growth * t) / growth if growth else t
            total = total + density * grown
        return total

    whole = float(count(np.array([length]))[0])
    if whole > _MOST_SEGMENTS:
        raise InputError(
            "shape-too-fine",
            f"a shape that needs {whole:.3g} segments",
            expected=f"at most {_MOST_SEGMENTS}",
            mend="build it as one cycle and repeat that",
        )
    n = math.ceil(whole)
    if n == 1:
        return np.array([0.0, length])
    goal = np.arange(1, n) * (whole / n)
    low, high = np.zeros(n - 1), np.full(n - 1, length)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = count(middle) < goal
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.unique(np.concatenate([[0.0], high, [length]]))


@dataclass(frozen=True)
class Gaussian(_Smooth):
    """A pulse of Gaussian shape, i(t) = I exp(-(t - centre)²/(2 sigma²)) [A].

    Parameters
    ----------
    length : float
        Duration [s].
    amplitude : float
        I [A].
    centre, sigma : float
        Time of the crest and standard deviation [s].
    """

    amplitude: float
    centre: float
    sigma: float

    def __post_init__(self) -> None:
        positive(self.length, "duration")
        finite(self.amplitude, "amplitude")
        finite(self.centre, "centre", "s")
        positive(self.sigma, "sigma")

    def _content(self) -> Iterator[bytes]:
        yield repr((self.length, self.amplitude, self.centre, self.sigma)).encode()

    def _at(self, time: Array, left: bool) -> Array:
        x = (time - self.centre) / self.sigma
        value: Array = self.amplitude * np.exp(-0.5 * x * x)
        return value

    def _integral(self, a: float, b: float, power: int) -> float:
        if b - a < 0.5 * self.sigma:
            return _smooth_integral(self, a, b, power)
        width = self.sigma * math.sqrt(2.0 / power)
        low, high = (a - self.centre) / width, (b - self.centre) / width
        # On one flank the complementary function keeps the digits of the tail.
        if low > 0.0 or high < 0.0:
            share = math.erfc(min(abs(low), abs(high))) - math.erfc(max(abs(low), abs(high)))
        else:
            share = math.erf(high) - math.erf(low)
        return float(self.amplitude**power * width * math.sqrt(math.pi) / 2.0 * share)

    def _mesh(self) -> Array:
        step = (125.0 * _MESH_ERROR / 4.0) ** (1.0 / 3.0) * self.sigma
        low = max(self.centre - 7.0 * self.sigma, 0.0)
        high = min(self.centre + 7.0 * self.sigma, self.length)
        if low >= high:
            return self.edges
        inner = np.linspace(low, high, math.ceil((high - low) / step) + 1)
        return np.unique(np.concatenate([[0.0], inner, [self.length]]))

    def scaled(self, factor: float) -> Gaussian:
        """The same shape with every current multiplied by ``factor``."""
        return replace(self, amplitude=self.amplitude * finite(factor, "factor", "A/A"))

    def _raised(self, current: float) -> Waveform:
        return Sum((self, constant(current, self.length)))

    def _cut(self, a: float, b: float) -> Gaussian:
        return replace(self, length=b - a, centre=self.centre - a)


@takes(current="A", duration="s", before="s")
def rectangular_pulse(current: float, duration: float, *, before: float = 0.0) -> Waveform:
    """A rectangular pulse [A], after a time at zero.

    Parameters
    ----------
    current : float
        Height [A].
    duration : float
        Width [s].
    before : float
        Time at zero before it [s].

    Notes
    -----
    Joule integral I² T.
    """
    pulse = constant(current, duration)
    return constant(0.0, before).then(pulse) if before else pulse


@takes(current="A", rise="s", fall="s")
def triangle(current: float, rise: float, fall: float) -> Waveform:
    """A triangular pulse from zero to a crest and back [A].

    Parameters
    ----------
    current : float
        Crest [A].
    rise, fall : float
        Times up and down [s]; one of them may be 0, for a sawtooth.

    Notes
    -----
    Joule integral I² (rise + fall)/3.
    """
    crest = finite(current, "current")
    for name, value in (("rise", rise), ("fall", fall)):
        if finite(value, name, "s") < 0.0:
            raise InputError("not-positive", f"{name} is {value:g} s", expected="0 or more")
    return Sampled([0.0, rise, rise + fall], [0.0, crest, 0.0])


@takes(current="A", time_constant="s", duration="s")
def exponential_decay(
    current: float, time_constant: float, duration: float | None = None
) -> Waveform:
    """A current that starts at its crest and decays, I exp(-t/tau) [A].

    Parameters
    ----------
    current : float
        Crest [A].
    time_constant : float
        tau [s].
    duration : float, optional
        End of the record [s]; 20 time constants unless given (what is left is 4e-18 of I²t).

    Notes
    -----
    Joule integral I² tau/2 (1 - exp(-2 T/tau)).
    """
    tau = positive(time_constant, "time constant")
    length = _OVER_AFTER * tau if duration is None else duration
    return Exponentials(length, (finite(current, "current"),), (-1.0 / tau,))


@takes(current="A", duration="s")
def half_sine(current: float, duration: float) -> Waveform:
    """A half wave of a sine over its base [A].

    Parameters
    ----------
    current : float
        Crest [A].
    duration : float
        Width of the base [s].

    Notes
    -----
    Joule integral I² T/2.
    """
    width = positive(duration, "duration")
    return Exponentials(width, (-1j * finite(current, "current"),), (1j * math.pi / width,))


@takes(current="A", frequency="Hz", time_constant="s", duration="s")
def damped_oscillation(
    current: float, frequency: float, time_constant: float, duration: float | None = None
) -> Waveform:
    """A decaying sine, I exp(-t/tau) sin(2 pi f t) [A].

    Parameters
    ----------
    current : float
        Height of the envelope at the start [A].
    frequency : float
        f [Hz].
    time_constant : float
        tau of the envelope [s].
    duration : float, optional
        End of the record [s]; 20 time constants unless given.

    Notes
    -----
    Joule integral to the end of the decay: I² (tau/4) w²/(1 + w²), w = 2 pi f tau.
    """
    tau = positive(time_constant, "time constant")
    omega = 2.0 * math.pi * positive(frequency, "frequency", "Hz")
    length = _OVER_AFTER * tau if duration is None else duration
    return Exponentials(length, (-1j * finite(current, "current"),), (-1.0 / tau + 1j * omega,))


@takes(current="A", time_constant="s", duration="s")
def lamp_inrush(
    current: float, ratio: float, time_constant: float, duration: float | None = None
) -> Waveform:
    """Switch-on of a filament lamp, I (1 + (k - 1) exp(-t/tau)) [A].

    Parameters
    ----------
    current : float
        Steady current I [A].
    ratio : float
        k, first current over steady current (>= 1).
    time_constant : float
        tau [s].
    duration : float, optional
        End of the record [s]; 20 time constants unless given.
    """
    tau = positive(time_constant, "time constant")
    steady = finite(current, "current")
    if finite(ratio, "ratio", "A/A") < 1.0:
        raise InputError("ratio-below-one", f"inrush ratio is {ratio:g}", expected="1 or more")
    length = _OVER_AFTER * tau if duration is None else duration
    return Exponentials(length, (steady, steady * (ratio - 1.0)), (0.0, -1.0 / tau))


@takes(current="A", sigma="s", duration="s")
def gaussian_pulse(current: float, sigma: float, duration: float | None = None) -> Waveform:
    """A pulse of Gaussian shape, its crest in the middle [A].

    Parameters
    ----------
    current : float
        Crest [A].
    sigma : float
        Standard deviation of the shape [s].
    duration : float, optional
        Length of the record [s]; 14 sigma unless given.

    Notes
    -----
    Joule integral of the whole pulse: I² sigma sqrt(pi).
    """
    width = positive(sigma, "sigma")
    length = 14.0 * width if duration is None else positive(duration, "duration")
    return Gaussian(length, finite(current, "current"), length / 2.0, width)


def _periodic(cycle: Waveform, frequency: float, duration: float) -> Waveform:
    """A cycle repeated until a time, the last one cut where the time ends."""
    whole = duration * frequency
    count = round(whole) if abs(whole - round(whole)) <= 1e-9 * whole else math.ceil(whole)
    record = cycle.repeated(max(count, 1))
    exact = count == round(whole) and count >= 1 and abs(whole - count) <= 1e-9 * whole
    return record if exact else record.cut(0.0, duration)


@takes(rms="A", frequency="Hz", duration="s")
def alternating(rms: float, frequency: float, duration: float) -> Waveform:
    """A sinusoidal current that starts at a zero crossing [A].

    Parameters
    ----------
    rms : float
        Root mean square over a whole cycle [A].
    frequency : float
        Frequency [Hz].
    duration : float
        Length of the record [s].
    """
    f = positive(frequency, "frequency", "Hz")
    crest = math.sqrt(2.0) * finite(rms, "current")
    cycle = Exponentials(1.0 / f, (-1j * crest,), (2j * math.pi * f,))
    return _periodic(cycle, f, positive(duration, "duration"))


@takes(current="A", frequency="Hz", duration="s", off="A")
def chopped(
    current: float, duty: float, frequency: float, duration: float, *, off: float = 0.0
) -> Waveform:
    """A current switched on and off at a fixed frequency [A].

    Parameters
    ----------
    current : float
        Current while on [A].
    duty : float
        Share of the period that is on, 0 to 1.
    frequency : float
        Switching frequency [Hz].
    duration : float
        Length of the record [s].
    off : float
        Current while off [A].

    Returns
    -------
    Waveform
        One cycle and a count: 100 h at 100 kHz take no more memory than one period.

    Examples
    --------
    >>> round(chopped(100.0, 0.3, 20e3, 1.0).i2t(), 6)
    3000.0
    """
    f = positive(frequency, "frequency", "Hz")
    length = positive(duration, "duration")
    on, low = finite(current, "current"), finite(off, "off current")
    if not 0.0 <= duty <= 1.0:
        raise InputError("duty-out-of-range", f"duty is {duty:g}", expected="0 to 1")
    if duty in (0.0, 1.0):
        return constant(on if duty else low, length)
    period = 1.0 / f
    cycle = Sampled([0.0, duty * period, duty * period, period], [on, on, low, low])
    return _periodic(cycle, f, length)
