"""Steady states and the minimum fusing current."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from ..errors import InputError, SolveError
from ..fuse.element import CELLS
from ..fuse.model import FuseModel, refuse_other
from ..units import kelvin, takes
from .integrate import scratch_of, setting_of
from .kernels.layout import U_SOLIDUS
from .kernels.steady import FOUND, steady
from .network import Network, build_network

Floats = npt.NDArray[np.float64]

#: Relative error that the mesh may leave in a minimum fusing current, and the most cells taken
#: for it.
MESH_ERROR, MOST_CELLS = 1e-4, 256
#: Points of the branch between ambient and the melting point.
BRANCH_POINTS = 16
#: The last point lies this far below the melting point [K]. On a flat profile, that of a long
#: wire, rounding would lift cells above it, where temperature no longer tells one state from
#: another and Newton's method finds none. The current loses less than a part in a million.
BELOW_MELTING = 1e-4


@dataclass(frozen=True, slots=True)
class SteadyState:
    """A steady state at constant current.

    Attributes
    ----------
    current : float
        Current [A].
    ambient_c : float
        Ambient [degC].
    peak_temperature_c : float
        Hottest point of the element [degC].
    peak_position : float
        Where it lies along the element [m].
    element_voltage : float
        Drop over the element [V].
    node_temperature_c : dict of str to float
        Blades, clips, cables next to the clips and body [degC].
    position, temperature_c : (n,) arrays
        Profile along the element [m], [degC].
    state : (N,) array
        State of the network, a start for `simulate`.
    """

    current: float = field(metadata={"units": "A", "long_name": "current"})
    ambient_c: float = field(metadata={"units": "degC", "long_name": "ambient temperature"})
    peak_temperature_c: float = field(
        metadata={"units": "degC", "long_name": "temperature of the hottest point"}
    )
    peak_position: float
    element_voltage: float
    node_temperature_c: dict[str, float]
    position: Floats
    temperature_c: Floats
    state: Floats


@dataclass(frozen=True, slots=True)
class Branch:
    """The steady branch from ambient to the melting point.

    Attributes
    ----------
    squares : (p,) array
        I² [A²].
    targets : (p,) array
        u of the hottest point [K].
    states : (p, N) array
        States.
    """

    squares: Floats
    targets: Floats
    states: Floats

    @property
    def largest(self) -> float:
        """Largest I² with a steady state below the melting point [A²]."""
        i = int(np.argmax(self.squares))
        if i in (0, len(self.squares) - 1):
            return float(self.squares[i])
        # a fold below the melting point: vertex of the parabola through its neighbours
        x, y = self.targets[i - 1 : i + 2], self.squares[i - 1 : i + 2]
        a, b, c = np.polyfit(x - x[1], y, 2)
        return float(c - b * b / (4.0 * a)) if a < 0.0 else float(y[1])


def branch_of(network: Network, ambient_k: float, points: int = BRANCH_POINTS) -> Branch:
    """Follow the steady branch of a network up to its melting point.

    Parameters
    ----------
    network : Network
    ambient_k : float
        Ambient [K].
    points : int
        Points on the branch.

    Raises
    ------
    SolveError
        ``no-steady-branch``, for example because nothing carries heat away, or
        ``steady-branch-lost`` when it ends while the current still rises.
    """
    u = network.state(ambient_k)
    cold = float(u[network.first])
    hot = float(network.metal.scalars[U_SOLIDUS]) - BELOW_MELTING
    targets = cold + (hot - cold) * np.arange(1, points + 1) / points
    squares, states = np.zeros(points + 1), np.zeros((points + 1, network.size))
    states[0], squared, reached, lost = u, 0.0, 0, False
    z, setting = scratch_of(network, 1), setting_of(network, 1e-4)
    for p in range(1, points + 1):
        if p > 1:  # extrapolate along the branch, whose targets are evenly spaced
            u += states[p - 1] - states[p - 2]
            squared += squares[p - 1] - squares[p - 2]
        outcome, squared = steady(u, squared, targets[p - 1], ambient_k, network.arrays, setting, z)
        lost = outcome != FOUND
        if lost:
            break
        squares[p], states[p], reached = squared, u, p
        if _reacts(network, u) > 0.0:
            # a spot that goes on dissolving is no steady state: the branch ends at its onset
            low, high = targets[p - 2] if p > 1 else cold, targets[p - 1]
            while high - low > 1e-7 * high:
                middle = 0.5 * (low + high)
                outcome, squared = steady(u, squared, middle, ambient_k, network.arrays, setting, z)
                if outcome != FOUND:
                    lost, reached = True, p - 1
                    break
                low, high = (low, middle) if _reacts(network, u) > 0.0 else (middle, high)
            targets[p - 1], squares[p], states[p] = high, squared, u
            break
    squares, states = squares[1:], states[1:]
    # below a nanoampere it is rounding: a network without a way out has no branch at all
    if reached == 0 or squares[:reached].max() < 1e-18:
        raise SolveError(
            "no-steady-branch",
            "no steady state was found even for a small current",
            expected="a model that can give its heat to ambient",
            mend="give a body, terminals or surroundings a conductance above zero",
        )
    if lost and squares[reached - 1] == squares[:reached].max():
        raise SolveError(
            "steady-branch-lost",
            f"the steady branch was lost after {reached} of {points} points to the melting point",
            expected="a branch up to the melting point, or to its largest current",
            mend="take another number of cells",
        )
    return Branch(squares[:reached], targets[:reached], states[:reached])


def _reacts(network: Network, u: Floats) -> float:
    """How far the hottest cell under a spot lies above the onset of its reaction [K]."""
    spot = network.model.element.spot
    if spot is None:
        return -math.inf
    cells = network.arrays.spots[:, 0]
    return float(network.temperature_k(u)[cells].max()) - spot.dissolution.onset_k


@lru_cache(maxsize=64)
def cells_for(model: FuseModel) -> int:
    """Cells at which the mesh moves a model's minimum fusing current by 1e-4 at most [-].

    Parameters
    ----------
    model : FuseModel

    Returns
    -------
    int
        `CELLS`, doubled up to `MOST_CELLS` while a third of what the last doubling changed (the
        error left at second order) exceeds `MESH_ERROR`; `CELLS` for a model without a steady
        branch, which nothing but its heat capacity describes.

    Notes
    -----
    Near the minimum fusing current a time moves many times as much as the current: at 1.05
    times it 8 times for a single time constant, up to 40 times for a fuse on its cables.
    """
    cells = CELLS
    try:
        before = minimum_fusing_current(model, cells=cells // 2)
        while cells < MOST_CELLS:
            now = minimum_fusing_current(model, cells=cells)
            if abs(now / before - 1.0) <= 3.0 * MESH_ERROR:
                break
            before, cells = now, 2 * cells
    except SolveError:
        return CELLS
    return cells


@takes(ambient_c="degC")
def minimum_fusing_current(
    model: FuseModel, *, ambient_c: float = 23.0, cells: int | None = None
) -> float:
    """Largest current that never brings the element to its melting point [A].

    Parameters
    ----------
    model : FuseModel
    ambient_c : float
        Ambient [degC].
    cells : int, optional
        Cells of the element; by default `cells_for` the model.

    Returns
    -------
    float
        Minimum fusing current [A], of onset: the steady state's hottest point just
        reaches the melting point, a spot the onset of its reaction, or the current above
        which no steady state exists.
    """
    refuse_other(model)
    ambient_k = kelvin(ambient_c, "ambient")
    network = build_network(model, ambient_k=ambient_k, cells=cells or cells_for(model))
    return math.sqrt(branch_of(network, ambient_k).largest)


@takes(current="A", ambient_c="degC")
def steady_state(
    model: FuseModel, current: float, *, ambient_c: float = 23.0, cells: int | None = None
) -> SteadyState | None:
    """Steady state at a constant current, or None when there is none below melting.

    Parameters
    ----------
    model : FuseModel
    current : float
        Current [A].
    ambient_c : float
        Ambient [degC].
    cells : int, optional
        Cells of the element; by default `cells_for` the model.

    Returns
    -------
    SteadyState or None
        None says "no steady state": the element melts, however long it takes.
    """
    refuse_other(model)
    ambient_k = kelvin(ambient_c, "ambient")
    network = build_network(model, ambient_k=ambient_k, cells=cells or cells_for(model))
    return steady_of(network, current, ambient_k)


def steady_of(network: Network, current: float, ambient_k: float) -> SteadyState | None:
    """`steady_state` on a network already built."""
    if not math.isfinite(current):
        raise InputError("current-not-finite", f"current is {current}", expected="a current in A")
    squared = current * current
    if squared == 0.0:
        u = _unloaded(network, ambient_k)
    else:
        found = _on_branch(branch_of(network, ambient_k), squared, network, ambient_k)
        if found is None:
            return None
        u = found
    return steady_at(network, u, current, ambient_k)


def _unloaded(network: Network, ambient_k: float) -> Floats:
    """State without current: all at ambient, unless a cable lies in other air."""
    u = network.state(ambient_k)
    model = network.model
    cables = [side.cable for side in (model.left, model.right) if side.cable is not None]
    if all(cable.air_c is None for cable in cables):
        return u
    z, setting = scratch_of(network, 1), setting_of(network, 1e-4)
    outcome, _ = steady(u, 0.0, math.nan, ambient_k, network.arrays, setting, z)
    if outcome != FOUND:
        raise SolveError(
            "no-steady-branch",
            "no steady state was found without current",
            expected="a model that can give its heat to ambient",
            mend="give a body, terminals or surroundings a conductance above zero",
        )
    return u


def steady_at(network: Network, u: Floats, current: float, ambient_k: float) -> SteadyState:
    """What a steady state of a network says, by its current [A] and the ambient [K]."""
    temperature = network.temperature_k(u)
    cells = slice(network.first, network.last + 1)
    metal = network.model.element.metal
    profile = temperature[cells]
    rho = metal.resistivity(profile)
    hot = int(np.argmax(profile))
    peak, place = _vertex(network.mesh.position, profile, hot)
    return SteadyState(
        current=float(current),
        ambient_c=ambient_k - 273.15,
        peak_temperature_c=peak - 273.15,
        peak_position=place,
        element_voltage=float(abs(current) * np.sum(rho * network.mesh.shape)),
        node_temperature_c={k: float(temperature[i]) - 273.15 for k, i in network.nodes.items()},
        position=network.mesh.position,
        temperature_c=profile - 273.15,
        state=u,
    )


def _on_branch(branch: Branch, squared: float, network: Network, ambient_k: float) -> Floats | None:
    """State at I² on the rising part of the branch, None above its largest I²."""
    cold = network.state(ambient_k)
    squares = np.concatenate(([0.0], branch.squares))
    states = np.vstack((cold, branch.states))
    above = np.flatnonzero(squares >= squared)
    z, setting = scratch_of(network, 1), setting_of(network, 1e-4)
    if len(above):
        i = int(above[0])
        share = (squared - squares[i - 1]) / (squares[i] - squares[i - 1])
        u = states[i - 1] + share * (states[i] - states[i - 1])
    elif squared <= branch.largest:
        u = states[int(np.argmax(squares))].copy()
    else:
        return None
    outcome, _ = steady(u, squared, math.nan, ambient_k, network.arrays, setting, z)
    return u if outcome == FOUND else None


def _vertex(position: Floats, value: Floats, hot: int) -> tuple[float, float]:
    """Maximum of the parabola through the hottest cell and its neighbours, and its place."""
    if hot in (0, len(value) - 1):
        return float(value[hot]), float(position[hot])
    x = position[hot - 1 : hot + 2] - position[hot]
    a, b, c = np.polyfit(x, value[hot - 1 : hot + 2], 2)
    if not a < 0.0:
        return float(value[hot]), float(position[hot])
    return float(c - b * b / (4.0 * a)), float(position[hot] - b / (2.0 * a))
