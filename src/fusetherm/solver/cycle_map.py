"""The map from the state at the start of a cycle to that at its end, linearised.

    x_{n+1} = Phi(x_n),   M = dPhi/dx,   x_{n+m} = x_n + (1 + M + ... + M^{m-1}) [Phi(x_n) - x_n]

M is the product of the maps of pieces of the cycle, each with the Jacobian at its ends and its
mean I². Two more states go with it: the ambient, which nothing changes but its own rate, and the
heat made, which moves nothing and follows the resistance.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from .integrate import assembled
from .kernels.assemble import (
    AMBIENT_SLOPE,
    DG,
    DIAGONAL,
    DT_,
    GEN_ROW,
    LOWER,
    PULL,
    UPPER,
)
from .kernels.rosenbrock import Scratch
from .network import Network

Floats = npt.NDArray[np.float64]

#: Pieces of a cycle that are linearised at most.
_PIECES = 24
#: Of the method whose stability function maps a piece: second order, L-stable (SDIRK).
_GAMMA = 1.0 - 0.5 * 2.0**0.5
#: Multiplications up to which OpenBLAS keeps a product on one thread.
_UNSHARED = 250_000
#: Matrices up to this size are inverted by LAPACK.
_SMALL = 16
#: Below this an entry of a power is zero: products of denormal numbers are slow.
_NOTHING = 1e-60


@dataclass(frozen=True, slots=True)
class Sample:
    """End of a piece of a cycle: its length, its integral of I², and the state there."""

    duration: float  # [s]
    action: float  # [A2 s]
    state: Floats  # (N,) [K]
    ambient_k: float


def jacobian(network: Network, z: Scratch, u: Floats, ambient_k: float, squared: float) -> Floats:
    """Jacobian of ``f0 + I² g``, of the ambient and of the heat made I² R, dense (N + 2, N + 2).

    In 1/s, its last row in W/K.
    """
    arrays = network.arrays
    w, column, row, corner = z.work[0], z.border[0], z.border[1], z.square[0]
    assembled(network, u, ambient_k, z, jacobian=True)
    total, n, k = network.size, network.chain, network.shared
    j = np.zeros((total + 2, total + 2))
    chain = np.arange(n)
    j[chain, chain] = w[DIAGONAL, :n] + squared * w[DG, :n]
    j[chain[1:], chain[:-1]] = w[LOWER, 1:n]
    j[chain[:-1], chain[1:]] = w[UPPER, : n - 1]
    j[:n, n : n + k] = column.T
    j[n : n + k, :n] = row
    j[n : n + k, n : n + k] = corner
    for shells in arrays.shells:
        inner = int(shells[0])
        j[inner, shells[1]] = w[PULL, inner]
        slope = w[DT_, inner]
        for c in shells[1:]:
            j[c, c] = w[DIAGONAL, c]
            j[c, inner] = w[LOWER, c] * slope
            if inner != shells[0]:
                j[inner, c] = w[UPPER, inner]
            inner, slope = int(c), 1.0
        if k > 0:
            j[inner, n] = w[UPPER, inner]
            j[n, inner] = w[PULL, inner]
    for cell, spot in arrays.spots:
        j[spot, cell] = w[LOWER, spot] * w[DT_, cell]
        j[cell, spot] = squared * w[PULL, spot]
    j[:total, total] = w[AMBIENT_SLOPE, :total]
    j[total + 1, :total] = squared * w[GEN_ROW, :total]
    return j


def product(a: Floats, b: Floats) -> Floats:
    """Product of two matrices, in strips too small for a BLAS to share among threads.

    On a busy machine threads that wait for one another cost a hundred times the product.
    """
    rows = max(1, _UNSHARED // (a.shape[1] * b.shape[1]))
    strips = [a[i : i + rows] @ b for i in range(0, len(a), rows)]
    joined: Floats = np.concatenate(strips)
    return joined


def inverted(a: Floats) -> Floats:
    """Inverse of a diagonally dominant matrix by halves, for the same reason without LAPACK."""
    size = len(a)
    if size <= _SMALL:
        small: Floats = np.asarray(np.linalg.inv(a), dtype=np.float64)
        return small
    h = size // 2
    first = inverted(a[:h, :h])
    left = product(a[h:, :h], first)
    right = product(first, a[:h, h:])
    last = inverted(a[h:, h:] - product(left, a[:h, h:]))
    corner = product(right, last)
    out: Floats = np.empty(a.shape)
    out[:h, :h] = first + product(corner, left)
    out[:h, h:] = -corner
    out[h:, :h] = -product(last, left)
    out[h:, h:] = last
    return out


@dataclass
class CycleMap:
    """A linearised cycle map with its powers by doubling.

    Parameters
    ----------
    matrix : (N + 2, N + 2) array
        M; the last two states are the ambient and the heat made.
    """

    matrix: Floats
    _powers: list[Floats] = field(init=False, repr=False)  # M^(2^i)
    _sums: list[Floats] = field(init=False, repr=False)  # 1 + M + ... + M^(2^i - 1)

    def __post_init__(self) -> None:
        self._powers = [self.matrix]
        self._sums = [np.eye(len(self.matrix))]

    def _level(self, i: int) -> None:
        while len(self._powers) <= i:
            power, total = self._powers[-1], self._sums[-1]
            self._sums.append(total + product(power, total))
            square = product(power, power)
            square[np.abs(square) < _NOTHING] = 0.0
            self._powers.append(square)

    def power(self, m: int, v: Floats) -> Floats:
        """``M^m v``."""
        i = 0
        while m >> i:
            if (m >> i) & 1:
                self._level(i)
                v = self._powers[i] @ v
            i += 1
        return v

    def sum(self, m: int, v: Floats) -> Floats:
        """``(1 + M + ... + M^(m-1)) v``."""
        out, i = np.zeros_like(v), 0
        while m >> i:
            if (m >> i) & 1:
                self._level(i)
                out = out + self._sums[i] @ v
                v = self._powers[i] @ v
            i += 1
        return out


def cycle_map(network: Network, z: Scratch, first: Sample, samples: list[Sample]) -> CycleMap:
    """Linearised map of the cycle that went through these samples.

    Parameters
    ----------
    network : Network
    z : Scratch
        Working arrays; what they hold is lost.
    first : Sample
        State at the cycle's start.
    samples : list of Sample
        Ends of its pieces in order.
    """
    unit = np.eye(network.size + 2)
    matrix = unit
    before = first
    for piece in _merged(samples):
        squared = piece.action / piece.duration
        j = 0.5 * (
            jacobian(network, z, before.state, before.ambient_k, squared)
            + jacobian(network, z, piece.state, piece.ambient_k, squared)
        )
        j *= piece.duration
        inverse = inverted(unit - _GAMMA * j)
        matrix = matrix + (1.0 - 2.0 * _GAMMA) * product(j, matrix)
        matrix = product(inverse, product(inverse, matrix))
        before = piece
    return CycleMap(matrix)


def _merged(samples: list[Sample]) -> list[Sample]:
    """No more than `_PIECES` pieces, neighbours merged."""
    together = -(-len(samples) // _PIECES)
    merged = []
    for i in range(0, len(samples), together):
        part = samples[i : i + together]
        merged.append(
            Sample(
                sum(s.duration for s in part),
                sum(s.action for s in part),
                part[-1].state,
                part[-1].ambient_k,
            )
        )
    return merged
