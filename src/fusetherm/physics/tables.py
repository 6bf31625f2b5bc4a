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
    def _curve(self) -> Any:
        # The two straight ends are two more segments: the piecewise polynomial then
        # extrapolates, differentiates and integrates them by itself.
        from scipy.interpolate import PchipInterpolator, PPoly

        x, y = np.asarray(self.temperature_k, float), np.asarray(self.value, float)
        if x.size == 1:
            return PPoly([[y[0]]], [x[0], x[0] + 1.0])
        inner = PchipInterpolator(x, y)
        first, last = (float(s) for s in inner.derivative()(x[[0, -1]]))
        left = [0.0, 0.0, first, y[0] - first]
        right = [0.0, 0.0, last, y[-1]]
        coefficients = np.column_stack([left, inner.c, right])
        return PPoly(coefficients, np.concatenate([[x[0] - 1.0], x, [x[-1] + 1.0]]))

    @cached_property
    def _primitive(self) -> Any:
        return self._curve.antiderivative()

    def __call__(self, temperature_k: Value) -> Value:
        """Value at a temperature [SI]; scalar in, scalar out."""
        return like(temperature_k, self._curve(temperature_k))

    def slope(self, temperature_k: Value) -> Value:
        """Derivative with temperature [SI/K]."""
        return like(temperature_k, self._curve(temperature_k, 1))

    def integral(self, start_k: float, end_k: Value) -> Value:
        """Integral from a start to one or many ends [SI K], that of the interpolant exactly."""
        return like(end_k, self._primitive(end_k) - self._primitive(start_k))

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
