"""Where the heat of a network goes: to the ambient, and to the air around cables outside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from .integrate import Solution, assembled, scratch_of
from .kernels.advance import ROW_FIXED, ROW_TIME
from .kernels.layout import (
    END_SHAPE,
    FILM_AMBIENT,
    FILM_AREA,
    FILM_FOLLOWS,
    FILM_INDEX,
    FILM_LOW,
    FILM_STEP_INV,
    RADIATION,
    TO_AMBIENT,
)
from .network import Network

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Flows:
    """Heat that leaves a network [W], positive outwards.

    Attributes
    ----------
    to_ambient : float or (t,) array
        To the ambient.
    to_air : float or (t,) array
        To air of its own temperature around cables.
    """

    to_ambient: Floats
    to_air: Floats


def _losing(network: Network) -> npt.NDArray[np.int64]:
    """Nodes that lose heat by any way."""
    ways = network.arrays.node[[TO_AMBIENT, RADIATION, FILM_AREA, END_SHAPE]]
    return np.flatnonzero(ways.sum(axis=0) > 0.0)


def watching_losses(network: Network) -> Network:
    """The same network with every node that loses heat among those a run traces."""
    more = {f"node {i}": int(i) for i in _losing(network)}
    return replace(network, nodes=MappingProxyType(dict(network.nodes) | more))


def flows_of(network: Network, temperature_k: Floats, ambient_k: Floats | float) -> Flows:
    """Heat leaving a network.

    Parameters
    ----------
    network : Network
    temperature_k : (N,) or (t, N) array
        Temperatures of its nodes [K]; only those that lose heat are looked at.
    ambient_k : float or (t,) array
        Ambient [K].

    Returns
    -------
    Flows

    Notes
    -----
    The sum of both is the loss the kernels count, node by node by the same laws.
    """
    places = _losing(network)
    node = network.arrays.node[:, places]
    t = np.asarray(temperature_k)[..., places]
    ambient = np.asarray(ambient_k, dtype=float)[..., None]
    over = t - ambient
    out = node[TO_AMBIENT] * over + node[RADIATION] * (t**4 - ambient**4)
    ends = node[END_SHAPE] > 0.0
    if ends.any():
        metal = network.model.element.metal
        k = np.asarray(metal.conductivity(t[..., ends]))
        out[..., ends] += k / node[END_SHAPE, ends] * over[..., ends]
    air = np.zeros_like(out)
    for j, (place, area) in enumerate(zip(places.tolist(), node[FILM_AREA].tolist(), strict=True)):
        if area > 0.0:
            row = int(network.arrays.kind[FILM_INDEX, place])
            flux = area * _flux(network, row, t[..., j], ambient[..., 0])
            follows = network.arrays.film_scale[row, FILM_FOLLOWS] > 0.0
            (out if follows else air)[..., j] += flux
    return Flows(out.sum(axis=-1), air.sum(axis=-1))


def _flux(network: Network, row: int, t: Floats, ambient: Floats) -> Floats:
    """Flux of one film table [W/m²], straight beyond its ends, as the kernel takes it."""
    table, scale = network.arrays.film[row], network.arrays.film_scale[row]
    shift = scale[FILM_FOLLOWS] * (ambient - scale[FILM_AMBIENT])
    x = (t - shift - scale[FILM_LOW]) * scale[FILM_STEP_INV]
    j = np.clip(x.astype(int), 0, len(table) - 1)
    z = x - j
    c = table[j]
    inner = np.clip(z, 0.0, 1.0)
    c0, c1, c2, c3 = (c[..., k] for k in range(4))
    flux = c0 + inner * (c1 + inner * (c2 + inner * c3))
    slope = c1 + 2.0 * c2 * inner + 3.0 * c3 * inner * inner
    return np.asarray(flux + slope * (z - inner))


def traced_flows(network: Network, solution: Solution, ambient_k: Floats) -> Flows:
    """Heat leaving a network along the trace of a run that watched its losses.

    Parameters
    ----------
    network : Network
        Of `watching_losses`.
    solution : Solution
        Its run.
    ambient_k : (t,) array
        Ambient at the times of the trace [K].
    """
    temperature = np.full((len(solution.trace), network.size), np.nan)
    for column, name in enumerate(solution.watched):
        temperature[:, network.nodes[name]] = solution.trace[:, ROW_FIXED + column]
    return flows_of(network, temperature, ambient_k)


def times_of(solution: Solution) -> Floats:
    """Times of the trace of a run [s]."""
    return np.asarray(solution.trace[:, ROW_TIME])


def heat_made(network: Network, state: Floats, current: float) -> float:
    """Heat a current makes in a network at a state [W]."""
    z = scratch_of(network, 1)
    _, ohms = assembled(network, state, network.ambient_k, z)
    return float(current * current * ohms)
