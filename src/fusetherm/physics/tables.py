"""Property tables: values against temperature, read by a monotone cubic with straight ends."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError

Array = NDArray[np.float64]
# Scalar in, scalar out; array in, array out.
Value = TypeVar("Value", float, Array)


class _Cubics:
    """Cubics between knots, the first and the last continued outside.

    Written out, because scipy's classes take longer to load than all else a short command does.

    Parameters
    ----------
    knots : (m + 1,) array
        Where they meet.
    coefficients : (4, m) array
        Of the powers of the distance from the left knot, highest first.
    """

    def __init__(self, knots: Array, coefficients: Array) -> None:
        self._knots, self._c = knots, coefficients

    def value(self, x: Array) -> Array:
        """Value of the cubic at x."""
        c, s = self._at(x)
        found: Array = c[3] + c[2] * s + c[1] * (s * s) + c[0] * (s * s * s)
        return found

    def slope(self, x: Array) -> Array:
        """Its derivative."""
        c, s = self._at(x)
        found: Array = c[2] + c[1] * s * 2.0 + c[0] * (s * s) * 3.0
        return found

    def primitive(self, x: Array) -> Array:
        """Its integral from the first knot."""
        c, s = self._at(x)
        return _integral(self._sums[self._piece(x)], c, s)

    @cached_property
    def _sums(self) -> Array:
        """Integral up to each piece."""
        sums = np.zeros(self._c.shape[1])
        for i, h in enumerate(np.diff(self._knots)[:-1]):
            sums[i + 1] = _integral(sums[i], self._c[:, i], h)
        return sums

    def _piece(self, x: Array) -> NDArray[np.intp]:
        return np.searchsorted(self._knots[1:-1], x, side="right")

    def _at(self, x: Array) -> tuple[Array, Array]:
        piece = self._piece(x)
        return self._c[:, piece], x - self._knots[piece]


def _integral(before: Array, c: Array, s: Array) -> Array:
    """Integral of a cubic over s, after what was before."""
    s2 = s * s
    s3 = s2 * s
    found: Array = before + c[3] * s + c[2] / 2.0 * s2 + c[1] / 3.0 * s3 + c[0] / 4.0 * (s3 * s)
    return found


def _monotone_slopes(x: Array, y: Array) -> Array:
    """Slopes at points by which the cubics between them do not overshoot (PCHIP)."""
    h, slope = np.diff(x), np.diff(y) / np.diff(x)
    if slope.size == 1:
        return np.repeat(slope, 2)
    found = np.zeros_like(y)
    before, after = slope[:-1], slope[1:]
    same = before * after > 0.0
    w1, w2 = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (w1 / before + w2 / after) / (w1 + w2)
        found[1:-1] = np.where(same, 1.0 / mean, 0.0)
    found[0] = _end_slope(h[0], h[1], slope[0], slope[1])
    found[-1] = _end_slope(h[-1], h[-2], slope[-1], slope[-2])
    return found


def _end_slope(h0: float, h1: float, slope0: float, slope1: float) -> float:
    """Slope at an end by three points, bounded so that the shape is kept."""
    found = ((2.0 * h0 + h1) * slope0 - h0 * slope1) / (h0 + h1)
    if np.sign(found) != np.sign(slope0):
        return 0.0
    if np.sign(slope0) != np.sign(slope1) and abs(found) > 3.0 * abs(slope0):
        return 3.0 * slope0
    return found


def _hermite(x: Array, y: Array, slopes: Array) -> Array:
    """Coefficients of the cubics through points with given slopes."""
    h = np.diff(x)
    slope = np.diff(y) / h
    bend = (slopes[:-1] + slopes[1:] - 2.0 * slope) / h
    return np.array([bend / h, (slope - slopes[:-1]) / h - bend, slopes[:-1], y[:-1]])


@dataclass(frozen=True)
class Table:
    """One property against temperature, with its source.

    Parameters
    ----------
    temperature_k : tuple of float
        Temperatures, strictly increasing [K].
    value : tuple of float
        Values at those temperatures, positive [SI].
    source : str
        Where the values come from.

    Raises
    ------
    InputError
        When the lengths differ, the temperatures do not increase or a value is not positive.

    Notes
    -----
    Between the points: piecewise cubic Hermite interpolation without overshoot (PCHIP) [1]_.
    Outside: the straight line with the slope of the end point. Two points make a straight
    line, one point a constant. The integral is that of the interpolant, exactly.

    References
    ----------
    .. [1] F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise
       cubic interpolants", SIAM J. Sci. Stat. Comput. 5 (1984) 300.

    Examples
    --------
    >>> line = Table((300.0, 400.0), (2.0, 3.0), "an example")
    >>> line(350.0), line(500.0), line.integral(300.0, 400.0)
    (2.5, 4.0, 250.0)
    """

    temperature_k: tuple[float, ...]
    value: tuple[float, ...]
    source: str

    def __post_init__(self) -> None:
        temperature, value = np.asarray(self.temperature_k), np.asarray(self.value)
        sound = (
            temperature.ndim == 1
            and temperature.size >= 1
            and temperature.shape == value.shape
            and bool(np.all(np.isfinite(temperature)) and np.all(np.diff(temperature) > 0.0))
            and bool(np.all(np.isfinite(value)) and np.all(value > 0.0))
        )
        if not sound:
            raise InputError(
                "property-table-unsound",
                f"a property table with temperatures {self.temperature_k} and values {self.value}",
                expected="as many positive values as strictly increasing temperatures in kelvin",
            )

    @cached_property
    def _curve(self) -> _Cubics:
        # The two straight ends are two more segments.
        x, y = np.asarray(self.temperature_k, float), np.asarray(self.value, float)
        if x.size == 1:
            return _Cubics(np.array([x[0], x[0] + 1.0]), np.array([[0.0], [0.0], [0.0], [y[0]]]))
        inner = _hermite(x, y, _monotone_slopes(x, y))
        first = inner[2, 0]
        h = x[-1] - x[-2]
        last = inner[2, -1] + 2.0 * inner[1, -1] * h + 3.0 * inner[0, -1] * (h * h)
        left = [0.0, 0.0, first, y[0] - first]
        right = [0.0, 0.0, last, y[-1]]
        knots = np.concatenate([[x[0] - 1.0], x, [x[-1] + 1.0]])
        return _Cubics(knots, np.column_stack([left, inner, right]))

    def __call__(self, temperature_k: Value) -> Value:
        """Value at a temperature [SI]; scalar in, scalar out."""
        return like(temperature_k, self._curve.value(np.asarray(temperature_k)))

    def slope(self, temperature_k: Value) -> Value:
        """Derivative with temperature [SI/K]."""
        return like(temperature_k, self._curve.slope(np.asarray(temperature_k)))

    def integral(self, start_k: float, end_k: Value) -> Value:
        """Integral from a start to one or many ends [SI K], that of the interpolant exactly."""
        primitive = self._curve.primitive
        return like(end_k, primitive(np.asarray(end_k)) - primitive(np.asarray(start_k)))

    def __getstate__(self) -> dict[str, Any]:
        """Only the fields travel between processes; the interpolant is made again."""
        return {k: v for k, v in self.__dict__.items() if not k.startswith("_")}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)


def like(given: Value, values: Any) -> Value:
    """Values as a float where a scalar was given, as an array where an array was."""
    plain = float(values) if np.ndim(given) == 0 else np.asarray(values, dtype=np.float64)
    return cast("Value", plain)


def quadrature(
    function: Callable[[Array], Array],
    start: float,
    end: float,
    breaks: Iterable[float] = (),
    *,
    panels: int = 8,
) -> float:
    """Integral of a function of arrays [unit of function times unit of argument].

    Parameters
    ----------
    function : callable
        Takes and returns an array of shape (n,).
    start, end : float
        Limits.
    breaks : iterable of float
        Places where the function is less smooth; those outside the limits are left out.
    panels : int
        Equal panels between neighbouring breaks, each with an 8-point Gauss-Legendre rule.

    Returns
    -------
    float

    Examples
    --------
    >>> round(quadrature(np.exp, 0.0, 1.0), 12)
    1.718281828459
    """
    low, high = min(start, end), max(start, end)
    inner = sorted({low, high, *(b for b in breaks if low < b < high)})
    edges = np.concatenate(
        [np.linspace(a, b, panels, endpoint=False) for a, b in pairwise(inner)] + [np.array([high])]
    )
    node, weight = np.polynomial.legendre.leggauss(8)
    half = np.diff(edges)[:, None] / 2.0
    place = edges[:-1, None] + half * (1.0 + node)
    total = float(np.sum(weight * half * function(place.ravel()).reshape(place.shape)))
    return total if end >= start else -total
