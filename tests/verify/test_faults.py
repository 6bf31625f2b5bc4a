"""The table can fail: each fault seeded into the physics turns at least one row red.

A fault is put where the kernels get their data: into the arrays of the network, the tables of a
metal, the parts of a model. It names the topics whose rows are to see it; those run first, and
the rest of the table only when they do not.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from fusetherm.current import blocks, sampled, tree, waveform
from fusetherm.fuse import element, gates, model
from fusetherm.physics import heat_loss, kohlrausch, metals
from fusetherm.solver import integrate, network, run, steady
from fusetherm.solver.kernels import layout
from fusetherm.verify import Row, cases, run_cases

Patch = pytest.MonkeyPatch
Seed = Callable[[Patch], None]


@dataclass(frozen=True)
class Fault:
    """What is wrong, how it is made so, and the topics that are to see it."""

    name: str
    seed: Seed
    topics: tuple[str, ...] = ()


# ---------------------------------------------------------------- ways to seed a fault


def value(owner: Any, name: str, change: Callable[[Any], Any]) -> Seed:
    """Another value of a module's or a class's name."""
    return lambda patch: patch.setattr(owner, name, change(getattr(owner, name)))


def times(factor: float) -> Callable[[Any], Any]:
    """The value times a factor."""
    return lambda before: before * factor


def arrays(change: Callable[[dict[str, Any]], None]) -> Seed:
    """Another content of the arrays that the kernels read."""

    def seed(patch: Patch) -> None:
        real = network.Arrays

        def made(**parts: Any) -> layout.Arrays:
            change(parts)
            return real(**parts)

        patch.setattr(network, "Arrays", made)

    return seed


def node(row: int, factor: float) -> Seed:
    """A row of the node array times a factor."""

    def change(parts: dict[str, Any]) -> None:
        parts["node"][row] *= factor

    return arrays(change)


def table(change: Callable[[Any, Any], None]) -> Seed:
    """Another property table of every metal, against enthalpy."""

    def seed(patch: Patch) -> None:
        real = network.metal_table

        def made(metal: metals.Metal) -> network.MetalTable:
            before = real(metal)
            one = replace(before, table=before.table.copy(), scalars=before.scalars.copy())
            change(one.table, one.scalars)
            return one

        patch.setattr(network, "metal_table", made)

    return seed


def metal_as(change: Callable[[metals.Metal], metals.Metal]) -> Seed:
    """Another metal where the solver makes its table."""

    def seed(patch: Patch) -> None:
        real = network.metal_table
        patch.setattr(network, "metal_table", lambda metal: real(change(metal)))

    return seed


def shipped(**factors: float) -> Seed:
    """Other scalars of the shipped metals."""

    def seed(patch: Patch) -> None:
        changed = {
            name: replace(one, **{key: getattr(one, key) * f for key, f in factors.items()})
            for name, one in metals.METALS.items()
        }
        patch.setattr(metals, "METALS", MappingProxyType(changed))

    return seed


def shipped_table(which: str, factor: float) -> Seed:
    """Another property table of the shipped metals."""

    def seed(patch: Patch) -> None:
        changed = {}
        for name, one in metals.METALS.items():
            before = getattr(one, which)
            after = replace(before, value=tuple(factor * v for v in before.value))
            changed[name] = replace(one, **{which: after})
        patch.setattr(metals, "METALS", MappingProxyType(changed))

    return seed


def side(change: Callable[[Any, model.Side], None]) -> Seed:
    """Other nodes of blade, clip and cable."""

    def seed(patch: Patch) -> None:
        real = network._outer_nodes

        def made(of: model.Side, which: str) -> Any:
            chain = real(of, which)
            change(chain, of)
            return chain

        patch.setattr(network, "_outer_nodes", made)

    return seed


def mesh(change: Callable[[element.Element, element.Mesh], element.Mesh]) -> Seed:
    """Another mesh of the element."""

    def seed(patch: Patch) -> None:
        real = element.Element.mesh

        def made(of: element.Element, cells: int = element.CELLS) -> element.Mesh:
            return change(of, real(of, cells))

        patch.setattr(element.Element, "mesh", made)

    return seed


def property_of(owner: type, name: str, factor: float) -> Seed:
    """A property times a factor."""

    def seed(patch: Patch) -> None:
        real = getattr(owner, name).fget
        patch.setattr(owner, name, property(lambda self: factor * real(self)))

    return seed


# ---------------------------------------------------------------- the faults


def resistivity_slope(patch: Patch) -> None:
    def resistivity(self: metals.Metal, temperature_k: Any) -> Any:
        cold = self.resistivity_table(293.15)
        return cold + 0.98 * (self.resistivity_table(temperature_k) - cold)

    patch.setattr(metals.Metal, "resistivity", resistivity)


def less_latent_heat(_: Any, scalars: Any) -> None:
    span = scalars[layout.U_LIQUIDUS] - scalars[layout.U_SOLIDUS]
    scalars[layout.U_LIQUIDUS] -= 0.1 * span


def less_liquid_resistivity(_: Any, scalars: Any) -> None:
    scalars[layout.RHO_LIQUID] = scalars[layout.RHO_SOLID]


def more_conductivity(content: Any, scalars: Any) -> None:
    content[:, 1 :: layout.QUANTITIES] *= 1.02
    scalars[[layout.THETA_SOLIDUS, layout.K_SOLID]] *= 1.02


def one_end_insulated(parts: dict[str, Any]) -> None:
    ends = np.flatnonzero(parts["node"][layout.END_SHAPE])
    if len(ends):
        parts["node"][layout.END_SHAPE, ends[-1]] = 0.0


def more_radiation(parts: dict[str, Any]) -> None:
    parts["node"][layout.RADIATION] *= 1.05
    parts["border"][1] *= 1.05


def body_coupling(parts: dict[str, Any]) -> None:
    parts["border"][0] *= 0.9


def longer_notch(of: element.Element, before: element.Mesh) -> element.Mesh:
    factor = np.where(np.isin(before.section, of.bridges()), 1.02, 1.0)
    names = ("length", "volume", "shape", "left_shape", "right_shape", "side")
    return replace(before, **{name: factor * getattr(before, name) for name in names})


def one_face(_: element.Element, before: element.Mesh) -> element.Mesh:
    return replace(before, side=0.5 * before.side)


def notch_as_its_middle(patch: Patch) -> None:
    real = element.Section.breadth

    def breadth(self: element.Section, x: Any) -> Any:
        if self.middle_width is None:
            return real(self, x)
        return np.full_like(np.asarray(x, dtype=float), self.middle_width)

    patch.setattr(element.Section, "breadth", breadth)


def contact_heat_to_the_blade(chain: Any, of: model.Side) -> None:
    if of.contact is not None and len(chain.resistance) > 1:
        chain.resistance[0] += 0.5 * of.contact.resistance
        chain.resistance[1] -= 0.5 * of.contact.resistance


def no_clip_loss(chain: Any, of: model.Side) -> None:
    if len(chain.to_ambient) > 1:
        chain.to_ambient[1] = 0.0


def heavier_blade(chain: Any, of: model.Side) -> None:
    if chain.capacity:
        chain.capacity[0] *= 1.02


def constant_terminal_resistance(chain: Any, of: model.Side) -> None:
    chain.slope[:] = [0.0] * len(chain.slope)


def mean_of_smooth_currents(patch: Patch) -> None:
    def block(current: Any, edges: Any, offset: float, start: float) -> blocks.Block:
        mean = 0.5 * (np.abs(current(edges[:-1], False)) + np.abs(current(edges[1:], True)))
        none = np.zeros_like(mean)
        return blocks.Block(edges - offset, mean**2, none, none, 1, start)

    patch.setattr(waveform, "smooth_block", block)


def mean_of_sampled_currents(patch: Patch) -> None:
    real = blocks.linear_block

    def block(time: Any, current: Any, start: float) -> blocks.Block:
        one = real(time, current, start)
        h = np.diff(one.time)
        root = np.sqrt(one.s0)
        mean = 0.5 * (root + np.sqrt(np.maximum(one.s0 + h * (one.s1 + h * one.s2), 0.0)))
        none = np.zeros_like(mean)
        return blocks.Block(one.time.copy(), mean**2, none, none, 1, one.start)

    patch.setattr(sampled, "linear_block", block)


def one_cycle_less(patch: Patch) -> None:
    real = tree.repeated

    def repeated(cycle: Any, period: float, count: int, most: int) -> Iterator[blocks.Block]:
        return real(cycle, period, max(count - 1, 1), most)

    patch.setattr(tree, "repeated", repeated)


def kelvin_from_273(patch: Patch) -> None:
    for module in (run, steady):
        real = module.kelvin
        patch.setattr(module, "kelvin", lambda value, what, real=real: real(value, what) - 0.15)


def preload_forgotten(patch: Patch) -> None:
    real = run.start_state
    patch.setattr(run, "start_state", lambda net, start, ambient: real(net, None, ambient))


def ambient_frozen(patch: Patch) -> None:
    def pieces(self: integrate.Ambient, start: float, end: float) -> Iterator[Any]:
        yield end, self.first_k, 0.0

    patch.setattr(integrate.Ambient, "pieces", pieces)


def convection_exponent(patch: Patch) -> None:
    real = heat_loss.nusselt_horizontal_cylinder_churchill_chu

    def nusselt(rayleigh: Any, prandtl: Any) -> Any:
        return real(rayleigh ** (6.0 * 0.18), prandtl)

    patch.setattr(heat_loss, "nusselt_horizontal_cylinder_churchill_chu", nusselt)


def other_gates(patch: Patch) -> None:
    changed = {
        name: replace(
            one,
            gates=tuple(
                replace(g, min_time=3.0 * g.min_time, max_time=3.0 * g.max_time) for g in one.gates
            ),
        )
        for name, one in gates.GATE_TABLES.items()
    }
    patch.setattr(gates, "GATE_TABLES", MappingProxyType(changed))


def hotter_melting(one: metals.Metal) -> metals.Metal:
    return replace(one, solidus_k=one.solidus_k + 5.0, liquidus_k=one.liquidus_k + 5.0)


FAULTS = (
    Fault("Stefan-Boltzmann constant", value(network, "STEFAN_BOLTZMANN", times(1.02)),
          ("terminals",)),
    Fault("slope of the resistivity", resistivity_slope, ("notches",)),
    Fault("latent heat", table(less_latent_heat), ("melting",)),
    Fault("sign of the conductance to ambient", node(layout.TO_AMBIENT, -1.0), ("transients",)),
    Fault("an end loss left out", arrays(one_end_insulated), ("notches", "fins")),
    Fault("mean for mean square, smooth currents", mean_of_smooth_currents, ("waveforms",)),
    Fault("mean for mean square, sampled currents", mean_of_sampled_currents, ("waveforms",)),
    Fault("length of the notch", mesh(longer_notch), ("notches",)),
    Fault("shape of the notch", notch_as_its_middle, ("notches",)),
    Fault("one face of two", mesh(one_face), ("wires", "fins")),
    Fault("heat capacity of everything", node(layout.INVERSE_CAPACITY, 0.98), ("transients",)),
    Fault("density of the metals", shipped(density=1.02), ("metals",)),
    Fault("heat of fusion of the metals", shipped(latent_heat=1.1), ("metals",)),
    Fault("melting points of the metals", shipped(solidus_k=0.99), ("metals",)),
    Fault("specific heat of the metals", shipped_table("specific_heat_table", 1.06), ("metals",)),
    Fault("resistivity of the metals", shipped_table("resistivity_table", 0.94), ("metals",)),
    Fault("conductivity of the metals", shipped_table("conductivity_table", 1.06), ("metals",)),
    Fault("conductivity in the network", table(more_conductivity), ("notches",)),
    Fault("ratio of liquid to solid resistivity", table(less_liquid_resistivity), ("melting",)),
    Fault("melting point in the network", metal_as(hotter_melting), ("notches",)),
    Fault("emissivity", arrays(more_radiation), ("terminals",)),
    Fault("exponent of natural convection", convection_exponent, ("wires",)),
    Fault("molten length at parting", property_of(element.Element, "parting_length", 0.7),
          ("melting",)),
    Fault("time a bridge takes to part", property_of(element.Element, "capillary_time", 2.0),
          ("melting",)),
    Fault("share of the contact's heat", side(contact_heat_to_the_blade), ("terminals",)),
    Fault("conductance of the contact", property_of(model.Contact, "conductance", 0.9),
          ("terminals",)),
    Fault("loss of the clip", side(no_clip_loss), ("terminals",)),
    Fault("heat capacity of the blade", side(heavier_blade), ("transients",)),
    Fault("slope of the terminals' resistance", side(constant_terminal_resistance),
          ("transients",)),
    Fault("perimeter of the cable", value(model.Cable, "loss_per_length_at", lambda real: (
        lambda cable, ambient_k: 0.9 * real(cable, ambient_k))), ("terminals",)),
    Fault("heat capacity of the cable",
          property_of(model.Cable, "heat_capacity_per_length", 0.9), ("terminals",)),
    Fault("coupling to the body", arrays(body_coupling), ("terminals",)),
    Fault("zero of the Celsius scale", kelvin_from_273, ("transients",)),
    Fault("gates", other_gates, ("gates",)),
    Fault("spreading resistance", value(element, "spreading_squares", lambda real: (
        lambda ratio: 1.3 * real(ratio))), ("notches",)),
    Fault("preload", preload_forgotten, ("histories",)),
    Fault("course of the ambient", ambient_frozen, ("histories",)),
    Fault("a cycle of a repeat", one_cycle_less, ("periodic",)),
    Fault("Lorenz number", value(kohlrausch, "SOMMERFELD_LORENZ", times(1.01)), ("kohlrausch",)),
)  # fmt: skip


def reds(fault: Fault) -> Iterator[Row]:
    """Rows that fail, from the topics named and then from the others."""
    every = cases()
    first = [one for one in every if one.topic in fault.topics]
    rest = [one for one in every if one.topic not in fault.topics]
    for one in itertools.chain(first, rest):
        (row,) = run_cases((one,)).rows
        if not row.passed:
            yield row


@pytest.fixture(autouse=True)
def fresh() -> Iterator[None]:
    """Nothing that was computed with a fault outlives it."""
    network.metal_table.cache_clear()
    yield
    network.metal_table.cache_clear()


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_row_turns_red(fault: Fault, monkeypatch: Patch) -> None:
    fault.seed(monkeypatch)
    row = next(reds(fault), None)
    assert row is not None, f"no row of {len(cases())} saw it"
    assert row.case.topic in fault.topics, f"seen by {row.case.topic} only"


def test_without_a_fault_no_row_is_red() -> None:
    assert next(reds(Fault("none", lambda _: None)), None) is None


def test_there_are_enough_faults() -> None:
    assert len(FAULTS) >= 25
    assert len({fault.name for fault in FAULTS}) == len(FAULTS)
