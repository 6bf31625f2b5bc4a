"""The network's right side, Jacobian and onset as machine code that any solver can call.

A solver in C gets addresses of functions and one pointer, `Callbacks.data`; inside are the
package's own kernels, so that every peer works on the same arithmetic. The pointer leads to a
table of addresses and shapes, so that one compilation serves every network.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numba import carray, cfunc, njit, types
from numba.extending import intrinsic

from fusetherm.solver.integrate import scratch_of
from fusetherm.solver.kernels.arrow import factor, solve
from fusetherm.solver.kernels.assemble import DG, DIAGONAL, F0, LOWER, UPPER, G, assemble
from fusetherm.solver.kernels.events import hottest, onset_excess
from fusetherm.solver.kernels.layout import POSITION, Arrays
from fusetherm.solver.network import Network

#: Places in the table after the ten arrays of the network: working arrays, then numbers.
_WORK, _COLUMN, _ROW, _CORNER, _LU, _SCHUR, _SMALL, _NUMBERS, _CELLS, _ENTRIES = range(10, 20)
_SQUARED, _AMBIENT = range(2)


@intrinsic
def _floats_at(context, address):  # type: ignore[no-untyped-def]
    def code(target, builder, signature, arguments):  # type: ignore[no-untyped-def]
        return builder.inttoptr(arguments[0], target.get_value_type(signature.return_type))

    return types.CPointer(types.float64)(types.int64), code


@intrinsic
def _integers_at(context, address):  # type: ignore[no-untyped-def]
    def code(target, builder, signature, arguments):  # type: ignore[no-untyped-def]
        return builder.inttoptr(arguments[0], target.get_value_type(signature.return_type))

    return types.CPointer(types.int64)(types.int64), code


@njit(inline="always")
def _vector(where, i):  # type: ignore[no-untyped-def]
    return carray(_floats_at(where[4 * i]), (where[4 * i + 1],))


@njit(inline="always")
def _matrix(where, i):  # type: ignore[no-untyped-def]
    return carray(_floats_at(where[4 * i]), (where[4 * i + 1], where[4 * i + 2]))


@njit(inline="always")
def _cube(where, i):  # type: ignore[no-untyped-def]
    return carray(_floats_at(where[4 * i]), (where[4 * i + 1], where[4 * i + 2], where[4 * i + 3]))


@njit(inline="always")
def _integers(where, i):  # type: ignore[no-untyped-def]
    return carray(_integers_at(where[4 * i]), (where[4 * i + 1], where[4 * i + 2]))


@njit(inline="always")
def _network(where):  # type: ignore[no-untyped-def]
    return Arrays(
        _matrix(where, 0), _integers(where, 1), _cube(where, 2), _matrix(where, 3),
        _integers(where, 4), _integers(where, 5), _cube(where, 6), _matrix(where, 7),
        _cube(where, 8), _matrix(where, 9),
    )  # fmt: skip


@njit
def _assembled(y, where, jacobian):  # type: ignore[no-untyped-def]
    return assemble(
        y, _vector(where, _NUMBERS)[_AMBIENT], _network(where), _matrix(where, _WORK),
        _matrix(where, _COLUMN), _matrix(where, _ROW), _matrix(where, _CORNER), jacobian, 1.0,
    )  # fmt: skip


@njit
def rate(y, out, where):  # type: ignore[no-untyped-def]
    """du/dt at y into `out`."""
    _assembled(y, where, 0.0)
    work = _matrix(where, _WORK)
    squared = _vector(where, _NUMBERS)[_SQUARED]
    for i in range(y.shape[0]):
        out[i] = work[F0, i] + squared * work[G, i]


@njit
def dense_jacobian(y, out, where):  # type: ignore[no-untyped-def]
    """Jacobian at y into an (N, N) array of zeros; it is an arrow, its zeros stay."""
    _assembled(y, where, 1.0)
    work, column, row = _matrix(where, _WORK), _matrix(where, _COLUMN), _matrix(where, _ROW)
    corner = _matrix(where, _CORNER)
    squared = _vector(where, _NUMBERS)[_SQUARED]
    k, n = column.shape
    for i in range(n):
        out[i, i] = work[DIAGONAL, i] + squared * work[DG, i]
        if i > 0:
            out[i, i - 1] = work[LOWER, i]
        if i < n - 1:
            out[i, i + 1] = work[UPPER, i]
        for b in range(k):
            out[i, n + b] = column[b, i]
            out[n + b, i] = row[b, i]
    for a in range(k):
        for b in range(k):
            out[n + a, n + b] = corner[a, b]
        out[n + a, n + a] += squared * work[DG, n + a]


@njit
def band_jacobian(y, out, where):  # type: ignore[no-untyped-def]
    """The chain's three bands at y into (3, N), row by diagonals; the border is left out."""
    _assembled(y, where, 1.0)
    work, corner = _matrix(where, _WORK), _matrix(where, _CORNER)
    squared = _vector(where, _NUMBERS)[_SQUARED]
    n = _matrix(where, _COLUMN).shape[1]
    for i in range(n):
        out[1, i] = work[DIAGONAL, i] + squared * work[DG, i]
        if i > 0:
            out[2, i - 1] = work[LOWER, i]
        if i < n - 1:
            out[0, i + 1] = work[UPPER, i]
    for i in range(n, y.shape[0]):
        out[1, i] = corner[i - n, i - n] + squared * work[DG, i]


@njit
def excess(y, where):  # type: ignore[no-untyped-def]
    """Event: u at the hottest point over the solidus [K]."""
    cells = _integers(where, _CELLS)
    return onset_excess(y, cells[0, 0], cells[0, 1], _network(where))


@njit
def top(y, where):  # type: ignore[no-untyped-def]
    """u at the hottest point [K]."""
    cells = _integers(where, _CELLS)
    return hottest(y, cells[0, 0], cells[0, 1], _matrix(where, 0)[POSITION])[1]


@njit
def _size(where):  # type: ignore[no-untyped-def]
    return where[4 * _WORK + 2]


_Y, _WHERE = types.CPointer(types.float64), types.CPointer(types.int64)


@lru_cache(maxsize=1)
def machine_code() -> dict[str, Any]:
    """Functions for solvers in C, by name; compiled at the first call, kept for the process."""

    @cfunc(types.void(types.float64, _Y, _Y, _WHERE))
    def right(t, y, out, data):  # type: ignore[no-untyped-def]
        where = carray(data, (4 * _ENTRIES,))
        size = _size(where)
        rate(carray(y, (size,)), carray(out, (size,)), where)

    @cfunc(types.void(_Y, _WHERE))
    def slope(y, data):  # type: ignore[no-untyped-def]
        where = carray(data, (4 * _ENTRIES,))
        _assembled(carray(y, (_size(where),)), where, 1.0)

    @cfunc(types.float64(_Y, _WHERE))
    def onset(y, data):  # type: ignore[no-untyped-def]
        where = carray(data, (4 * _ENTRIES,))
        return excess(carray(y, (_size(where),)), where)

    @cfunc(types.int64(types.float64, _WHERE))
    def factors(shift, data):  # type: ignore[no-untyped-def]
        where = carray(data, (4 * _ENTRIES,))
        net = _network(where)
        good = factor(
            shift, _vector(where, _NUMBERS)[_SQUARED], _matrix(where, _WORK),
            _matrix(where, _COLUMN), _matrix(where, _ROW), _matrix(where, _CORNER),
            net.shells, net.spots, _matrix(where, _LU), _matrix(where, _SCHUR),
        )  # fmt: skip
        return 0 if good else 1

    @cfunc(types.void(_Y, _WHERE))
    def solved(x, data):  # type: ignore[no-untyped-def]
        where = carray(data, (4 * _ENTRIES,))
        net = _network(where)
        solve(
            carray(x, (_size(where),)), net.shells, net.spots, _matrix(where, _LU),
            _matrix(where, _SCHUR), _vector(where, _SMALL),
        )  # fmt: skip

    return {"right": right, "slope": slope, "onset": onset, "factor": factors, "solve": solved}


class Callbacks:
    """One network under one constant current, as `rate` and its like take it.

    Parameters
    ----------
    network : Network
        Without shells of filler and without spots.
    squared : float
        I² [A²].
    """

    def __init__(self, network: Network, squared: float) -> None:
        if len(network.arrays.shells) or len(network.arrays.spots):
            raise ValueError("a chain with shared nodes, without shells or spots")
        z = scratch_of(network, 1)
        cells = np.array([[network.first, network.last]], dtype=np.int64)
        self.work, (self.column, self.row) = z.work[1].copy(), z.border.copy()
        self.corner, schur = z.square.copy()
        #: I² [A²] and the ambient [K]
        self.numbers = np.array([squared, network.ambient_k])
        self._kept = [
            *network.arrays, self.work, self.column, self.row, self.corner,
            z.lu, schur, z.scalar[0].copy(), self.numbers, cells,
        ]  # fmt: skip
        table = np.zeros((_ENTRIES, 4), dtype=np.int64)
        for line, array in zip(table, self._kept, strict=True):
            assert array.flags.c_contiguous
            line[0] = array.ctypes.data
            line[1 : 1 + array.ndim] = array.shape
        self.data = table.ravel()
        self.size, self.chain, self.shared = network.size, network.chain, network.shared
