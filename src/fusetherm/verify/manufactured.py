"""Manufactured solutions: temperatures that are chosen, and the heat that makes them solutions.

Along the element T(x, t) = T0(x) + s T1(x) with s = exp(-t/tau), T0 and T1 sums of sines and
cosines; in the melting range the molten share takes the place of T. The heat to be put into
each cell follows on paper from the partial differential equation,

    density A du/dt c_ref = d/dx (A k dT/dx) - losses + I² rho / A + heat per length,

integrated over the cell. With laws that are polynomials in T it is a polynomial in s, held
here as an array whose first axis counts the powers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..fuse.element import Element, Section, Spot
from ..fuse.model import (
    Blade,
    Body,
    Cable,
    Clip,
    Contact,
    Filler,
    FuseModel,
    Side,
    Surroundings,
)
from ..physics.constants import STEFAN_BOLTZMANN
from ..physics.dissolution import Dissolution
from ..physics.metals import Metal, metal
from ..solver.kernels.layout import (
    FILM_AMBIENT,
    FILM_COLUMNS,
    FILM_FOLLOWS,
    FILM_LOW,
    FILM_STEP_INV,
    INVERSE_CAPACITY,
    LINK_RESISTANCE,
    RESISTANCE,
    RESISTANCE_SLOPE,
    SOLID_CORNER,
    SPOT_SCALE,
    TO_AMBIENT,
)
from ..solver.network import Network, build_network
from .models import straight
from .shells import Stack, dissolved

__all__ = [
    "LAWS",
    "POWERS",
    "TAU",
    "Law",
    "Wave",
    "chosen_state",
    "local_state",
    "network_of",
    "polynomial_rate",
    "product",
    "source",
]

Floats = npt.NDArray[np.float64]

#: Powers of s that are carried, s^0 to s^4: radiation asks for the fourth.
POWERS = 5
#: Time constant of s [s].
TAU = 1.0
_LENGTH = 20e-3  # of the strip [m]


@dataclass(frozen=True, slots=True)
class Wave:
    """Sum of a_k cos(k pi x / length), k from 0, and b_k sin(k pi x / length), k from 1.

    Parameters
    ----------
    cosines, sines : tuple of float
        The coefficients.
    """

    cosines: tuple[float, ...] = (0.0,)
    sines: tuple[float, ...] = (0.0,)

    def at(self, x: Floats) -> Floats:
        """Value at x [m]."""
        z = np.outer(np.pi * x / _LENGTH, self._numbers)
        k = len(self.cosines)
        return np.asarray(np.cos(z[:, :k]) @ self.cosines + np.sin(z[:, k:]) @ self.sines)

    def slope(self, x: Floats) -> Floats:
        """Its derivative [1/m]."""
        w = np.pi * self._numbers / _LENGTH
        z, k = np.outer(x, w), len(self.cosines)
        down, up = -w[:k] * np.sin(z[:, :k]), w[k:] * np.cos(z[:, k:])
        return np.asarray(down @ self.cosines + up @ self.sines)

    @property
    def _numbers(self) -> Floats:
        return np.concatenate((np.arange(len(self.cosines)), 1.0 + np.arange(len(self.sines))))


@dataclass(frozen=True, slots=True)
class Law:
    """A model with one law on, and the solution that is chosen for it.

    Parameters
    ----------
    name : str
    model : FuseModel
    rest, swing : Wave
        T0 and T1 [K]; in the melting range those of the molten share [-].
    lumps : tuple of (float, float)
        T0 and T1 of the other nodes [K], in the order of the chain and then the body.
    ambient : float
        Ambient, and temperature of ends held at it [K].
    squared : float
        I² [A²].
    ambient_rate, squared_rate : float
        How fast both rise in the rows of time [K/s, A²/s].
    film : (float, float)
        Heat flux ``a over + b over²`` by a tabulated film: a [W/m²/K], b [W/m²/K²].
    melting : bool
        Whether all of the element is in its melting range.
    """

    name: str
    model: FuseModel
    rest: Wave = Wave((300.0,), (400.0, 60.0, 30.0))  # held at 300 K at both ends
    swing: Wave = Wave((0.0,), (-250.0, 80.0, 40.0))
    lumps: tuple[tuple[float, float], ...] = ()
    ambient: float = 300.0
    squared: float = 1000.0
    ambient_rate: float = 20.0
    squared_rate: float = 1000.0
    film: tuple[float, float] = (0.0, 0.0)
    melting: bool = False


def _strip(*, rho_slope: float = 0.0, k_slope: float = 0.0) -> Element:
    """Tapered strip of a metal whose laws are straight lines."""
    plain = replace(
        metal("zinc"),
        density=7000.0,
        solidus_k=1500.0,
        liquidus_k=1500.0,
        boiling_k=3000.0,
        resistivity_table=straight(6e-8, rho_slope),
        conductivity_table=straight(100.0, k_slope),
        specific_heat_table=straight(400.0),
    )
    return Element(plain, (Section(_LENGTH, 3e-3, 0.3e-3, end_width=1.5e-3),))


def _lift(of: Metal) -> float:
    """How much higher melting goes on behind the rounded corner where it begins [K]."""
    span, c_ref = of.liquidus_k - of.solidus_k, of.specific_heat(293.15)
    whole = (of.latent_heat + of.specific_heat(of.solidus_k) * span) / c_ref
    return 0.5 * SOLID_CORNER * (c_ref / of.specific_heat(of.solidus_k) - span / whole)


def _mush() -> Element:
    """The same strip of an alloy that melts from 700 to 760 K."""
    strip = _strip(rho_slope=2.5e-10, k_slope=-0.03)
    alloy = replace(
        strip.metal,
        solidus_k=700.0,
        liquidus_k=760.0,
        latent_heat=1e5,
        liquid_resistivity_ratio=2.0,
        liquid_conductivity=50.0,
    )
    return Element(alloy, strip.sections)


def _spotted() -> Element:
    """The same strip under a spot."""
    strip = _strip()
    return Element(
        strip.metal, strip.sections, spot=Spot(0, Dissolution(500.0, 0.3, resistivity_ratio=2.0))
    )


#: One model for each law; storage and conduction are in all of them.
LAWS: tuple[Law, ...] = (
    Law("conduction, ends held", FuseModel(_strip())),
    Law("resistivity against temperature", FuseModel(_strip(rho_slope=2.5e-10)), squared=2500.0),
    # The ambient of these ends stays. Where it moves, a cell at a held end that is much faster
    # than the step loses an order if k depends on temperature (order reduction of stiff systems).
    Law("conductivity against temperature", FuseModel(_strip(k_slope=-0.03)), ambient_rate=0.0),
    Law("radiation", FuseModel(_strip(), surroundings=Surroundings(emissivity=0.8))),
    Law(
        "convection",
        FuseModel(
            _strip(), surroundings=Surroundings(film_coefficient=20.0, natural_convection=True)
        ),
        film=(10.0, 0.05),
    ),
    Law(
        "latent heat over a melting range",
        FuseModel(_mush()),
        Wave((0.2,), (0.4, 0.06)),
        Wave((0.0,), (-0.2, 0.1)),
        ambient=712.0 + _lift(_mush().metal),
        ambient_rate=0.0,
        squared=2500.0,
        squared_rate=500.0,
        melting=True,
    ),
    Law(
        "body",
        FuseModel(
            _strip(),
            Body(heat_capacity=5e-3, conductance=4e-3, element_loss=0.3, element_emissivity=0.5),
        ),
        lumps=((360.0, -50.0),),
    ),
    Law(
        "filler in shells",
        FuseModel(
            _strip(),
            Body(
                heat_capacity=0.5,
                conductance=4e-3,
                filler=Filler(8e-3, conductivity=3.0, heat=2e5, shells=4),
            ),
        ),
        lumps=((360.0, -50.0),),
    ),
    Law(
        "dissolution by a spot",
        FuseModel(_spotted()),
        Wave((560.0,), (120.0, 20.0, 10.0)),  # above the onset from end to end
        Wave((0.0,), (-40.0, 15.0, 10.0)),
        ambient=560.0,
        ambient_rate=0.0,
        squared=0.0,  # with a current the heat put in would not be a polynomial in s
        squared_rate=0.0,
    ),
    Law(
        "blades, contact, clip and cable",
        FuseModel(
            _strip(),
            None,
            Side(
                Blade(2e-3, 1e-3, 1e-4, 3.9e-3),
                Contact(0.2e-3),
                Clip(5e-3, 2e-3),
                Cable(2.5e-6, cells=3),
            ),
            Side(Blade(3e-3, 2e-3, 2e-4, 3.9e-3)),
        ),
        Wave((440.0, 30.0), (300.0, 40.0)),  # from 470 K at the left blade to 410 K at the right
        Wave((-40.0, 20.0), (-150.0, 60.0)),
        lumps=(
            (310.0, -5.0),
            (330.0, -10.0),
            (350.0, -15.0),
            (400.0, -30.0),
            (470.0, -20.0),
            (410.0, -60.0),
        ),
    ),
)


def network_of(law: Law, cells: int) -> Network:
    """Network of a law's model.

    The film of a law is a parabola, which the table of the kernel holds without error.
    """
    network = build_network(law.model, ambient_k=300.0, cells=cells)
    if not any(law.film):
        return network
    step, count, below = 50.0, 40, 200.0  # [K]
    over = step * np.arange(count) - below
    a, b = law.film
    table = np.zeros((1, count, 4))
    table[0, :, 0] = (a + b * over) * over
    table[0, :, 1] = (a + 2.0 * b * over) * step
    table[0, :, 2] = b * step * step
    scale = np.zeros((1, FILM_COLUMNS))
    scale[0, FILM_LOW] = law.ambient - below
    scale[0, FILM_STEP_INV] = 1.0 / step
    scale[0, FILM_AMBIENT] = law.ambient
    scale[0, FILM_FOLLOWS] = 1.0
    return replace(network, arrays=network.arrays._replace(film=table, film_scale=scale))


def chosen_state(law: Law, network: Network) -> Floats:
    """Chosen state of every node [K]: powers of s by nodes, cells by their centres."""
    out = np.zeros((POWERS, network.size))
    cells = _Metal.of(law, network.mesh.position)
    out[:, _cells(network)] = cells.state
    out[:, _outer(network)] = _lumps(law)
    body = law.model.body
    if body is not None and body.filler is not None:
        perimeter = law.model.element.sections[0].perimeter(network.mesh.position)
        shells = Stack.of(body.filler, perimeter).answer(cells.kelvin, _lumps(law)[:, -1], TAU)
        out[:, network.arrays.shells[:, 1:]] = shells
    return out


def local_state(law: Law, network: Network, time: float) -> Floats:
    """Exact states of the nodes that belong to single cells after a time [s], in their order."""
    start = network.chain + network.shared
    out = np.exp(-time / TAU) ** np.arange(POWERS) @ chosen_state(law, network)
    spot = law.model.element.spot
    if spot is not None:
        x = network.mesh.position
        share = dissolved(spot.dissolution, law.rest.at(x), law.swing.at(x), TAU, time)
        out[network.arrays.spots[:, 1]] = SPOT_SCALE * share
    return np.asarray(out[start:])


def source(law: Law, network: Network) -> Floats:
    """Heat to put into every node [W]: powers of s by nodes.

    From the differential equation, by the flow through the faces of each cell and a
    Gauss-Legendre integral over it.
    """
    mesh, section, of = network.mesh, law.model.element.sections[0], law.model.element.metal
    left, right = mesh.position - 0.5 * mesh.length, mesh.position + 0.5 * mesh.length
    faces = np.append(left, right[-1])
    at_face = _Metal.of(law, faces)
    flow = -section.area(faces) * product(at_face.conductivity, at_face.gradient)  # rightwards

    points, weights = np.polynomial.legendre.leggauss(6)
    x = (mesh.position[:, None] + 0.5 * mesh.length[:, None] * points).ravel()
    inside = _Metal.of(law, x)
    stored = of.density * of.specific_heat(293.15) * section.area(x) * polynomial_rate(inside.state)
    made = law.squared * inside.resistivity / section.area(x)
    given, taken = _loss_per_length(law, inside.kelvin, section.perimeter(x))

    def integral(a: Floats) -> Floats:
        means = a.reshape(POWERS, len(mesh.position), len(points)) @ (0.5 * weights)
        return np.asarray(means * mesh.length)

    out = np.zeros((POWERS, network.size))
    out[:, _cells(network)] = integral(stored + given - made) + np.diff(flow, axis=1)
    _lump_source(law, network, out)
    chain = network.chain
    if network.first > 0:
        out[:, network.first - 1] += flow[:, 0]
    if network.last + 1 < chain:
        out[:, network.last + 1] -= flow[:, -1]
    if law.model.body is not None:
        out[:, chain] -= integral(taken).sum(axis=1)
    return out


def _lump_source(law: Law, network: Network, out: Floats) -> None:
    """Heat to put into lumps for what they store, make, lose, and give to the next lump."""
    node, outer, lumps = network.arrays.node, _outer(network), _lumps(law)
    one, chain = _straight(1.0, 0.0), network.chain
    for i, kelvin in zip(outer, lumps.T, strict=True):
        ohms = node[RESISTANCE, i] * (one + node[RESISTANCE_SLOPE, i] * (kelvin - 293.15 * one))
        out[:, i] += polynomial_rate(kelvin) / node[INVERSE_CAPACITY, i] - law.squared * ohms
        out[:, i] += node[TO_AMBIENT, i] * (kelvin - law.ambient * one)
    for j, i in enumerate(outer[:-1]):
        if outer[j + 1] == i + 1 < chain:
            given = (lumps[:, j] - lumps[:, j + 1]) / node[LINK_RESISTANCE, i]
            out[:, i] += given
            out[:, i + 1] -= given


def _loss_per_length(law: Law, kelvin: Floats, perimeter: Floats) -> tuple[Floats, Floats]:
    """Heat that the element gives away, and that the body takes up [W/m]."""
    one = _straight(np.ones(kelvin.shape[1]), 0.0)

    def radiated(other: Floats) -> Floats:
        square, there = product(kelvin, kelvin), product(other, other)
        return STEFAN_BOLTZMANN * (product(square, square) - product(there, there))

    body = law.model.body
    if body is not None:
        if body.filler is not None:
            stack, lump = Stack.of(body.filler, perimeter), _lumps(law)[:, -1]
            shells = stack.answer(kelvin, lump, TAU)
            given = stack.conductance[:, 0] * (kelvin - shells[:, :, 0])
            return given, stack.conductance[:, -1] * (shells[:, :, -1] - lump[:, None])
        other = _lumps(law)[:, -1:] * np.ones(kelvin.shape[1])
        gas = body.element_loss * (kelvin - other)
        gas = np.asarray(gas + body.element_emissivity * perimeter * radiated(other))
        return gas, gas
    air, over = law.model.surroundings, kelvin - law.ambient * one
    flux = (air.film_coefficient + law.film[0]) * over + law.film[1] * product(over, over)
    lost = np.asarray(perimeter * (flux + air.emissivity * radiated(law.ambient * one)))
    return lost, lost


@dataclass(frozen=True, slots=True)
class _Metal:
    """Chosen temperature and the metal's laws at some places, as polynomials in s."""

    kelvin: Floats
    gradient: Floats  # dT/dx [K/m]
    state: Floats  # enthalpy over c_ref [K]
    conductivity: Floats
    resistivity: Floats

    @classmethod
    def of(cls, law: Law, x: Floats) -> _Metal:
        value = _straight(law.rest.at(x), law.swing.at(x))
        gradient = _straight(law.rest.slope(x), law.swing.slope(x))
        one, of = _straight(np.ones_like(x), 0.0), law.model.element.metal
        if not law.melting:
            over = value - 293.15 * one
            k_slope, rho_slope = (
                table.slope(293.15) for table in (of.conductivity_table, of.resistivity_table)
            )
            k = of.conductivity(293.15) * one + k_slope * over
            return cls(value, gradient, value, k, of.resistivity(293.15) * one + rho_slope * over)
        # in the melting range every law is a straight line of the molten share
        span, c_ref = of.liquidus_k - of.solidus_k, of.specific_heat(293.15)
        solid = 293.15 + (of.enthalpy(of.solidus_k) - of.enthalpy(293.15)) / c_ref
        whole = (of.latent_heat + of.specific_heat(of.solidus_k) * span) / c_ref
        k_0, rho_0 = of.conductivity(of.solidus_k), of.resistivity(of.solidus_k)
        return cls(
            (of.solidus_k + _lift(of)) * one + span * value,
            span * gradient,
            solid * one + whole * value,
            k_0 * one + (of.liquid_conductivity - k_0) * value,
            rho_0 * one + (of.liquid_resistivity_ratio - 1.0) * rho_0 * value,
        )


def _cells(network: Network) -> slice:
    return slice(network.first, network.last + 1)


def _outer(network: Network) -> list[int]:
    """Nodes that are neither cells of the element nor belong to one."""
    count = network.chain + network.shared
    return [i for i in range(count) if not network.first <= i <= network.last]


def _lumps(law: Law) -> Floats:
    pairs = np.array(law.lumps, dtype=float).reshape(-1, 2)
    return _straight(pairs[:, 0], pairs[:, 1])


def _straight(rest: float | Floats, swing: float | Floats) -> Floats:
    """The polynomial rest + swing s."""
    pair = np.stack(np.broadcast_arrays(np.asarray(rest, float), np.asarray(swing, float)))
    return np.concatenate((pair, np.zeros((POWERS - 2, *pair.shape[1:]))))


def polynomial_rate(a: Floats) -> Floats:
    """Derivative by time of a polynomial in s, since ds/dt = -s/tau."""
    powers = np.arange(POWERS).reshape(-1, *([1] * (a.ndim - 1)))
    return np.asarray(-a * powers / TAU)


def product(a: Floats, b: Floats) -> Floats:
    """Product of two polynomials in s."""
    out = np.zeros(np.broadcast_shapes(a.shape, b.shape))
    for i in range(POWERS):
        for j in range(POWERS):
            term = a[i] * b[j]
            if i + j < POWERS:
                out[i + j] += term
            elif np.any(term):
                raise ArithmeticError("a law asks for a higher power of s")
    return out
