"""Observed orders of accuracy, law by law, by manufactured solutions.

A temperature is chosen, and the heat that makes it the solution is put into the network
(`fusetherm.verify.manufactured`). The compiled step then runs as it is shipped, with equal
steps, and its result differs from the chosen temperature by the error alone. How fast that
falls with the cell, and with the step, is the observed order.

Heat from outside needs no other program. It is a sum of functions s^m t^q of time, with
s = exp(-t/tau), and these are carried as further shared nodes that follow linear equations of
their own; each is tied to the nodes by conductances, and a node of 0 K by the opposite ones, so
that the wanted heat alone is left.

The heat of the mesh rows comes on paper from the partial differential equation. In the time
rows current and ambient move as well, and the heat balances the network of a fixed mesh at the
chosen values, so that the mesh has no part in their error.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from ..solver.integrate import assembled, scratch_of
from ..solver.kernels.assemble import F0, G
from ..solver.kernels.layout import INVERSE_CAPACITY, MATERIAL, Method
from ..solver.kernels.rosenbrock import BALANCE, U_TRY, rosenbrock
from ..solver.methods import METHODS, RODAS4
from ..solver.network import Network
from .manufactured import (
    LAWS,
    POWERS,
    TAU,
    Law,
    chosen_state,
    local_state,
    network_of,
    polynomial_rate,
    source,
)

__all__ = ["KINDS", "THEORY", "Kind", "Order", "observe", "orders"]

Floats = npt.NDArray[np.float64]
#: What is refined: the cells, or the steps of one of the methods.
Kind = Literal["mesh", "rodas3", "rodas4"]
KINDS: tuple[Kind, ...] = ("mesh", "rodas3", "rodas4")

#: Order of each on paper.
THEORY: dict[Kind, float] = {"mesh": 2.0, "rodas3": 3.0, "rodas4": 4.0}
#: Cells, or equal steps over the time of a run.
_SIZES: dict[Kind, tuple[int, ...]] = {
    "mesh": (16, 32, 64, 128),
    "rodas3": (32, 64, 128, 256),
    "rodas4": (16, 32, 64, 128),
}
_CELLS = 64  # of the time rows: a cell's own time, about 1 ms, is short against the steps
_STEPS = 64  # of RODAS4 in the mesh rows
_TIME = 1.0  # of a run [s]
_MUCH = 1e30  # heat capacity that no heat of an element moves [J/K]
_HIGH = 1e6  # scale of the nodes that carry s^m t^q [K]: far above the others, against rounding


@dataclass(frozen=True, slots=True)
class Order:
    """How fast the error of one law falls.

    Parameters
    ----------
    law : str
        The law that is on, beside storage and conduction.
    kind : {"mesh", "rodas3", "rodas4"}
        What is refined: the cells, or the steps of a method.
    sizes : tuple of int
        Cells, or steps.
    errors : tuple of float
        Largest error of a node at the end, one for each size [K].
    observed : float
        Order between the last two sizes [-].
    theory : float
        Order that the method has on paper [-].
    """

    law: str
    kind: Kind
    sizes: tuple[int, ...]
    errors: tuple[float, ...]
    observed: float
    theory: float


@lru_cache(maxsize=1)
def orders() -> tuple[Order, ...]:
    """Observed order of every law in the mesh and in the step of both methods.

    Returns
    -------
    tuple of Order
        Three for each law; measured once and kept.

    Examples
    --------
    >>> from fusetherm.verify.orders import orders
    >>> max(abs(one.observed - one.theory) for one in orders()) < 0.1
    True
    """
    return tuple(observe(law, kind) for law in LAWS for kind in KINDS)


def observe(
    law: Law,
    kind: Kind,
    *,
    method: Method | None = None,
    altered: Callable[[Network], Network] | None = None,
) -> Order:
    """Observed order of one law.

    Parameters
    ----------
    law : Law
        One of `fusetherm.verify.manufactured.LAWS`.
    kind : {"mesh", "rodas3", "rodas4"}
        What is refined.
    method : Method, optional
        To run in place of the shipped one.
    altered : callable, optional
        Changes the network before it runs and after its heat was found, to show what a fault
        does.

    Returns
    -------
    Order
    """
    sizes = _SIZES[kind]
    errors = [_error(law, kind, size, method, altered) for size in sizes]
    observed = math.log(errors[-2] / errors[-1]) / math.log(sizes[-1] / sizes[-2])
    return Order(law.name, kind, sizes, tuple(errors), observed, THEORY[kind])


def _error(
    law: Law,
    kind: Kind,
    size: int,
    method: Method | None,
    altered: Callable[[Network], Network] | None,
) -> float:
    """Largest error of a node at the end of a run [K]."""
    mesh = kind == "mesh"
    moving = _Moving(law.squared, 0.0, law.ambient, 0.0)
    network = network_of(law, size if mesh else _CELLS)
    chosen = chosen_state(law, network)
    if mesh:
        heat = np.zeros((POWERS, POWERS, network.size))
        heat[0] = source(law, network)
    else:
        moving = _Moving(law.squared, law.squared_rate, law.ambient, law.ambient_rate)
        heat = _balancing(network, chosen, moving)
    driven = _driven(network, heat)
    if altered is not None:
        driven = altered(driven)
    local = network.chain + network.shared  # where nodes of single cells begin
    u = np.zeros(driven.size)
    u[:local] = chosen[:, :local].sum(axis=0)
    u[local : local + POWERS] = _HIGH  # at the start s is 1 and t is 0
    if local < network.size:
        u[local - network.size :] = chosen[:, local:].sum(axis=0)
    used = method or (RODAS4 if mesh else METHODS[kind])
    u = _march(driven, u, moving, used, _STEPS if mesh else size)
    exact = math.exp(-_TIME / TAU) ** np.arange(POWERS) @ chosen[:, :local]
    off = u[:local] - exact
    if local < network.size:
        off = np.append(off, u[local - network.size :] - local_state(law, network, _TIME))
    return float(np.max(np.abs(off)))


@dataclass(frozen=True, slots=True)
class _Moving:
    """I² [A²] and ambient [K] at the start, and their rates."""

    squared: float
    squared_rate: float
    ambient: float
    ambient_rate: float

    def at(self, time: float) -> tuple[float, float]:
        """I² [A²] and ambient [K]."""
        return self.squared + self.squared_rate * time, self.ambient + self.ambient_rate * time


def _balancing(network: Network, chosen: Floats, moving: _Moving) -> Floats:
    """Heat that makes the chosen state a solution of the network itself [W].

    Coefficients of s^m t^q as (q, m, node), by interpolation at values of s and t that need
    not belong together.
    """
    nodes = np.cos(math.pi * (np.arange(POWERS) + 0.5) / POWERS)
    powers = np.vander(nodes, POWERS, increasing=True)
    z, capacity = scratch_of(network, 1), network.heat_capacity
    need = np.empty((POWERS, POWERS, network.size))
    for row, time in enumerate(nodes):
        squared, ambient = moving.at(float(time))
        for column, s in enumerate(powers):
            u = s @ chosen
            assembled(network, u, ambient, z)
            rate = z.work[0, F0] + squared * z.work[0, G]
            need[row, column] = capacity * (s @ polynomial_rate(chosen) - rate)
    inverse = np.linalg.inv(powers)
    heat: Floats = np.einsum("qr,mc,rcn->qmn", inverse, inverse, need, optimize=True)
    return heat


def _modes() -> Floats:
    """Matrix of the equations that the s^m t^q follow, q slowest."""
    count = POWERS * POWERS
    out = np.zeros((count, count))
    for q in range(POWERS):
        for m in range(POWERS):
            here = q * POWERS + m
            out[here, here] = -m / TAU
            if q > 0:
                out[here, here - POWERS] = q
    return out


def _driven(network: Network, heat: Floats) -> Network:
    """The network with heat from outside: a shared node for each s^m t^q, and one of 0 K.

    Nodes of single cells, which come after the shared ones, get no heat from outside.
    """
    arrays, modes = network.arrays, _modes()
    k, n, count = network.shared, network.chain, len(_modes())
    more = count + 1
    added = slice(n + k, n + k + more)
    ties = heat[:, :, : n + k].reshape(count, n + k) / _HIGH
    ties = np.vstack((ties, -ties.sum(axis=0)))
    place = [n + k] * more
    node = np.insert(arrays.node, place, 0.0, axis=1)
    node[INVERSE_CAPACITY, added] = 1.0 / _MUCH
    kind = np.insert(arrays.kind, place, 0, axis=1)
    kind[MATERIAL, added] = -1
    shells, spots = arrays.shells.copy(), arrays.spots.copy()
    shells[:, 1:] += more
    spots[:, 1] += more
    border = np.zeros((2, k + count + 1, n))
    border[:, :k] = arrays.border
    border[0, k:] = ties[:, :n]
    links = np.zeros((k + count + 1, k + count + 1))
    links[:k, :k] = arrays.shared_links
    links[:k, k:] = ties[:, n:].T
    links[k:-1, k:-1] = _MUCH * modes
    links[k:-1, -1] = -_MUCH * modes.sum(axis=1)
    new = arrays._replace(
        node=node, kind=kind, border=border, shared_links=links, shells=shells, spots=spots
    )
    return replace(network, arrays=new)


def _march(network: Network, u: Floats, moving: _Moving, method: Method, steps: int) -> Floats:
    """State at the end of a run, by equal steps of the compiled method."""
    z, dt = scratch_of(network, len(method.alpha)), _TIME / steps
    for step in range(steps):
        squared, ambient = moving.at(step * dt)
        z.scalar[BALANCE, :2] = assembled(network, u, ambient, z, jacobian=True)
        rosenbrock(
            u, dt, squared, moving.squared_rate, ambient, moving.ambient_rate, network.arrays,
            0.0, method, z,
        )  # fmt: skip
        u = z.vector[U_TRY].copy()
    return u
