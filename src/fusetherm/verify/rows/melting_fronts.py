"""A melting front that moves into a bar (Stefan, Neumann), followed by the enthalpy network."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...fuse.element import Element, RoundSection
from ...fuse.model import Blade, FuseModel, Side
from ...physics.closed_forms import neumann_lambda, stefan_lambda
from ...solver.network import Network, build_network
from ...solver.run import Run, State, simulate
from ..case import Case, case
from ..models import constant, number, plain_metal

_MELTS_K, _LATENT, _HEAT, _DENSITY = 700.0, 1e5, 400.0, 5000.0
_DIFFUSIVITY = 1e-4  # [m²/s], of solid and liquid alike
_CONDUCTIVITY = _DIFFUSIVITY * _DENSITY * _HEAT
_FRONT = 4e-3  # where it is waited for [m]
_STEP_K = _LATENT / _HEAT  # a Stefan number of one


def _time_of(root: float) -> float:
    """Time at which the front is where it is waited for [s]."""
    return _FRONT**2 / (4.0 * root**2 * _DIFFUSIVITY)


def _network(root: float, reach: float, cells: int, break_length: float) -> Network:
    """Bar of equal properties in both phases, on a blade too heavy to cool.

    It goes on for ``reach`` lengths sqrt(a t) beyond the front.
    """
    one = replace(
        plain_metal(
            "zinc",
            density=_DENSITY,
            specific_heat=_HEAT,
            resistivity=1e-8,
            conductivity=_CONDUCTIVITY,
            melts_k=_MELTS_K,
        ),
        latent_heat=_LATENT,
        liquid_specific_heat=_HEAT,
        liquid_conductivity=_CONDUCTIVITY,
        boiling_k=2500.0,
    )
    length = _FRONT + reach * math.sqrt(_DIFFUSIVITY * _time_of(root))
    wire = Element(one, (RoundSection(length, 1e-3),), break_length=break_length)
    ends = (Side(Blade(heat_capacity=1e9)), Side(Blade(heat_capacity=1e-12)))
    return build_network(FuseModel(wire, None, *ends), ambient_k=300.0, cells=cells)


def _run(network: Network, liquid: float, solid: float, cells: int, until: float) -> Run:
    """From a bar at Stefan number ``solid`` below melting, the blade at ``liquid`` above it."""
    start = network.state(_MELTS_K - solid * _STEP_K)
    start[network.nodes["blade_left"]] = _MELTS_K + liquid * _STEP_K
    return simulate(
        network.model, constant(0.0, until), ambient_c=26.85, start=State(start, cells),
        tolerance=1e-5, cells=cells,
    )  # fmt: skip


def _front(
    name: str, what: str, liquid: float, solid: float, root: float, cells: int, within: float
) -> Case:
    @case(
        f"melting-front-{name}",
        f"{what}, heated to 250 K above it: time until the liquid is 4 mm long",
        unit="s",
        expected=_time_of(root),
        relative=within,
        source=f"x² / (4 lambda² a), lambda {root:.9f} with mpmath; {1e2 * within:g} % for "
        f"{cells} cells",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        # the solid is not to feel the far end; a bar at its melting point has nothing to feel
        network = _network(root, 4.0 if solid else 0.8, cells, _FRONT)
        return number(_run(network, liquid, solid, cells, 2.0 * _time_of(root)).pre_arcing_time)

    return measured


@case(
    "melting-front-stored-heat",
    "bar 500 K below its melting point, heated to 250 K above it: heat stored after .5485 s",
    unit="J/m2",
    expected=14046689.9815520232,
    relative=1e-3,
    source="2 k dT sqrt(t / (pi a)) / erf(lambda), mpmath, 25 digits; .1 % for 256 cells",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _stored() -> float:
    root = 0.27004768400598017
    network = _network(root, 4.0, 256, 1.0)
    run = _run(network, 1.0, 2.0, 256, _time_of(root))
    rise = run.final_state.u - network.state(_MELTS_K - 2.0 * _STEP_K)
    bar = slice(network.first, network.last + 1)
    return float(np.sum((network.heat_capacity * rise)[bar])) / (math.pi * 0.25e-6)


def _root(name: str, liquid: float, solid: float, expected: float) -> Case:
    @case(
        f"melting-front-root-{name}",
        f"root of the melting front, Stefan numbers {liquid:g} and {solid:g}",
        unit="1",
        expected=expected,
        relative=1e-6,
        source="root of sqrt(pi) x exp(x²) = St/erf x - St'/erfc x, mpmath, 25 digits",
        origin="computed",
        calls=f"fusetherm.physics.closed_forms.{'neumann' if solid else 'stefan'}_lambda",
    )
    def measured() -> float:
        return neumann_lambda(liquid, solid) if solid else stefan_lambda(liquid)

    return measured


ROWS = (
    _root("one-phase", 0.1, 0.0, 0.22001627274293786),
    _root("two-phase", 1.0, 2.0, 0.27004768400598017),
    _front("one-phase", "bar at its melting point", 1.0, 0.0, 0.6200626333135955, 256, 1e-3),
    _front("two-phase", "bar 500 K below its melting point", 1.0, 2.0, 0.27004768400598017, 512,
           1e-2),
    _stored,
)  # fmt: skip
