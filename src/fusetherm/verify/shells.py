"""States of single cells beside a chosen temperature: shells of filler and dissolved shares.

Both follow from the temperature of their cell and of the body, with no heat put into them: the
shells as a linear answer to rest + swing s, the share as an integral over time. The formulas are
written out again here, apart from the solver's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..fuse.model import Filler
from ..physics.dissolution import Dissolution

__all__ = ["Stack", "dissolved"]

Floats = npt.NDArray[np.float64]

#: Thickness of the outermost shell over that of the innermost.
_OUTERMOST = 61.0


@dataclass(frozen=True, slots=True)
class Stack:
    """Shells around some places of an element, per length of it.

    Parameters
    ----------
    capacity : (places, shells) array
        Heat capacities [J/m/K].
    conductance : (places, shells + 1) array
        From the element to the first shell, between shells, from the last to the body [W/m/K].
    """

    capacity: Floats
    conductance: Floats

    @classmethod
    def of(cls, filler: Filler, perimeter: Floats) -> Stack:
        """Shells from a cylinder of each perimeter [m] to the bore."""
        count, inner, outer = filler.shells, perimeter / (2.0 * math.pi), 0.5 * filler.bore
        growth = _OUTERMOST ** (1.0 / (count - 1))
        share = (growth ** np.arange(count + 1) - 1.0) / (growth**count - 1.0)
        r = inner[:, None] + (outer - inner)[:, None] * share
        square = r * r
        area = math.pi * (square[:, 1:] - square[:, :-1])
        top = square[:, 1:] * np.log(r[:, 1:]) - square[:, :-1] * np.log(r[:, :-1])
        mean = top / (square[:, 1:] - square[:, :-1]) - 0.5  # ln of the radius of the mean
        steps = np.diff(np.column_stack((np.log(r[:, 0]), mean, np.log(r[:, -1]))), axis=1)
        return cls(filler.heat * area, 2.0 * math.pi * filler.conductivity / steps)

    def answer(self, cell: Floats, body: Floats, tau: float) -> Floats:
        """Temperatures of the shells [K] as powers of s = exp(-t/tau): (powers, places, shells).

        Parameters
        ----------
        cell : (powers, places) array
            Temperature of the element, of the first power of s at most [K].
        body : (powers,) array
            That of the body [K].
        tau : float
            Time constant of s [s].
        """
        g, places = self.conductance, len(self.capacity)
        count = self.capacity.shape[1]
        matrix = np.zeros((places, count, count))
        for j in range(count):
            matrix[:, j, j] = g[:, j] + g[:, j + 1]
            if j:
                matrix[:, j, j - 1] = matrix[:, j - 1, j] = -g[:, j]
        out = np.zeros((len(cell), places, count))
        for power in range(len(cell)):
            given = np.zeros((places, count))
            given[:, 0] += g[:, 0] * cell[power]
            given[:, -1] += g[:, -1] * body[power]
            # C dv/dt = given - K v, and d(s^m)/dt = -(m / tau) s^m
            stored = np.zeros_like(matrix)
            stored[:, range(count), range(count)] = self.capacity * power / tau
            out[power] = np.linalg.solve(matrix - stored, given[..., None])[..., 0]
        return out


def dissolved(law: Dissolution, rest: Floats, swing: Floats, tau: float, time: float) -> Floats:
    """Share dissolved after a time [s] under rest + swing exp(-t/tau) [K], by quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    instants = 0.5 * time * (nodes + 1.0)
    kelvin = rest[:, None] + swing[:, None] * np.exp(-instants / tau)
    rate = law.rate_600 * np.exp(-law.activation_k * (1.0 / kelvin - 1.0 / 600.0))
    return np.asarray(0.5 * time * (rate @ weights))
