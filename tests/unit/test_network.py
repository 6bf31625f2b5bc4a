"""Arrays of the network: tables against enthalpy, nodes and links, right side and Jacobian."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from fusetherm import METALS, Element, FuseModel, InputError, Section, metal, round_wire
from fusetherm.fuse.element import Spot
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Filler, Side, Surroundings
from fusetherm.physics.dissolution import SPOTS
from fusetherm.solver.integrate import assembled, scratch_of
from fusetherm.solver.kernels.assemble import (
    DG,
    DIAGONAL,
    F0,
    GEN_ROW,
    LOSS_ROW,
    LOWER,
    OHMS,
    UPPER,
    G,
)
from fusetherm.solver.kernels.layout import U_LIQUIDUS, U_SOLIDUS
from fusetherm.solver.kernels.material import conductivity_of_metal, state_of_metal
from fusetherm.solver.metal_table import metal_table
from fusetherm.solver.network import Network, build_network
from fusetherm.solver.reference import local_slopes

Floats = npt.NDArray[np.float64]
AMBIENT_K = 296.15
_SIDE = Side(Blade(0.4, 0.01, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6, cells=3))
STRIP = Element(
    metal("zinc"),
    (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4)),
)
FUSE = FuseModel(STRIP, Body(element_emissivity=0.3, blade_conductance=0.02), _SIDE, _SIDE)
BARE = FuseModel(
    round_wire(metal("copper"), 0.4e-3, 20e-3),
    right=Side(Blade(0.2, 0.02)),
    surroundings=Surroundings(5.0, True, 0.5),
)
_SILVER = Element(
    metal("silver"),
    (Section(4e-3, 1e-3, 1e-4), Section(2e-3, 1e-3, 1e-4), Section(4e-3, 1e-3, 1e-4)),
    spot=Spot(1, SPOTS["silver"]),
)
SPOTTED = FuseModel(_SILVER, Body(), _SIDE, _SIDE)
SANDED = replace(SPOTTED, body=Body(filler=Filler(bore=8e-3)))


@pytest.mark.parametrize("name", sorted(METALS))
def test_tables_follow_the_metal(name: str) -> None:
    of = metal(name)
    table = metal_table(of)
    for kelvin in np.linspace(220.0, of.solidus_k - 0.01, 23):
        u = table.state(float(kelvin))
        t, dt, _, dtheta, rho, _ = state_of_metal(u, table.table, table.scalars)
        assert t == pytest.approx(kelvin, abs=1e-8)
        assert rho == pytest.approx(of.resistivity(float(kelvin)), rel=2e-4)
        assert dtheta / dt == pytest.approx(of.conductivity(float(kelvin)), rel=5e-3)
        heat = table.reference_heat * (u - table.state(293.15))
        assert heat == pytest.approx(
            of.enthalpy(float(kelvin)) - of.enthalpy(293.15), rel=1e-5, abs=1.0
        )


@pytest.mark.parametrize("name", sorted(METALS))
def test_melting_takes_the_latent_heat_and_the_liquid_resists(name: str) -> None:
    of = metal(name)
    table = metal_table(of)
    solid, liquid = table.scalars[U_SOLIDUS], table.scalars[U_LIQUIDUS]
    sensible = of.specific_heat(of.solidus_k) * (of.liquidus_k - of.solidus_k)
    assert table.reference_heat * (liquid - solid) == pytest.approx(of.latent_heat + sensible)
    # 2 K beyond the rounded corner
    t, _, _, _, rho, _ = state_of_metal(liquid + 2.0, table.table, table.scalars)
    assert t - of.liquidus_k == pytest.approx(
        2.0 * table.reference_heat / of.liquid_specific_heat, rel=0.2
    )
    assert rho == pytest.approx(of.liquid_resistivity, rel=0.02)
    k, _ = conductivity_of_metal(liquid + 2.0, table.table, table.scalars)
    assert k == pytest.approx(of.liquid_conductivity, rel=1e-6)


def test_nodes_and_their_names() -> None:
    net = build_network(FUSE, ambient_k=AMBIENT_K, cells=16)
    count = len(net.mesh.position)
    assert net.size == 2 * (1 + 1 + 3) + count + 1
    assert (net.first, net.last, net.shared) == (5, 5 + count - 1, 1)
    assert net.nodes["blade_left"] == net.first - 1
    assert net.nodes["clip_left"] == net.first - 2
    assert net.nodes["cable_right"] == net.last + 3
    assert net.nodes["body"] == net.size - 1
    bare = build_network(BARE, ambient_k=AMBIENT_K, cells=16)
    assert set(bare.nodes) == {"blade_right"}
    assert (bare.first, bare.shared) == (0, 0)


def test_state_and_temperature_are_inverse() -> None:
    net = build_network(FUSE, ambient_k=AMBIENT_K, cells=16)
    for kelvin in (150.0, 233.15, 296.15, 690.0):
        assert net.temperature_k(net.state(kelvin)) == pytest.approx(kelvin, abs=1e-8)


def test_heat_capacities_add_up() -> None:
    net = build_network(FUSE, ambient_k=AMBIENT_K, cells=16)
    zinc = metal("zinc")
    element = zinc.density * zinc.specific_heat(293.15) * net.mesh.volume.sum()
    capacity = net.heat_capacity
    assert capacity[net.first : net.last + 1].sum() == pytest.approx(element)
    assert capacity[net.nodes["body"]] == 0.5
    cable = Cable(6e-6, cells=3)
    assert capacity[:3].sum() == pytest.approx(cable.heat_capacity_per_length * cable.length)


def evaluated(net: Network, u: Floats, squared: float) -> tuple[Floats, float, float]:
    z = scratch_of(net, 1)
    loss, ohms = assembled(net, u, net.ambient_k, z)
    return z.work[0, F0] + squared * z.work[0, G], loss, ohms


@pytest.mark.parametrize(
    "model", [FUSE, BARE, SPOTTED, SANDED], ids=["fuse", "bare wire", "spot", "sand and spot"]
)
@pytest.mark.parametrize("level", [350.0, 800.0, 2500.0])
def test_jacobian_against_differences(model: FuseModel, level: float) -> None:
    net = build_network(model, ambient_k=AMBIENT_K, cells=8)
    rng = np.random.default_rng(5)
    u, squared = level + rng.uniform(-20.0, 20.0, net.size), 400.0
    u[: net.first] = 330.0 + rng.uniform(0.0, 9.0, net.first)
    u[net.last + 1 :] = 330.0 + rng.uniform(0.0, 9.0, net.size - net.last - 1)
    u[net.arrays.spots[:, 1]] = rng.uniform(30.0, 200.0, len(net.arrays.spots))
    z = scratch_of(net, 1)
    w = z.work[0]
    assembled(net, u, AMBIENT_K, z, jacobian=True)
    n, total, shared = net.chain, net.size, slice(net.chain, net.chain + net.shared)
    jacobian = np.zeros((total, total))
    i = np.arange(n)
    jacobian[i, i] = w[DIAGONAL, :n]
    jacobian[i[1:], i[:-1]], jacobian[i[:-1], i[1:]] = w[LOWER, 1:n], w[UPPER, : n - 1]
    jacobian[:n, shared], jacobian[shared, :n] = z.border[0].T, z.border[1]
    jacobian[shared, shared] = z.square[0]
    local_slopes(jacobian, w, net.arrays, squared)
    jacobian += squared * np.diag(w[DG])
    scale = np.abs(jacobian).max(axis=1)
    for j in range(total):
        step = np.zeros(total)
        step[j] = 1e-4
        up, down = evaluated(net, u + step, squared), evaluated(net, u - step, squared)
        assert jacobian[:, j] == pytest.approx((up[0] - down[0]) / 2e-4, abs=1e-5 * scale.max())
        assert w[LOSS_ROW, j] == pytest.approx((up[1] - down[1]) / 2e-4, rel=1e-4, abs=1e-7)
        assert w[GEN_ROW, j] == pytest.approx((up[2] - down[2]) / 2e-4, rel=1e-4, abs=1e-12)


@pytest.mark.parametrize("model", [FUSE, SANDED])
def test_heat_is_neither_made_nor_lost_between_nodes(model: FuseModel) -> None:
    net = build_network(model, ambient_k=AMBIENT_K, cells=16)
    u = net.state(400.0) + np.linspace(0.0, 60.0, net.size)
    rate, loss, ohms = evaluated(net, u, 900.0)
    stored = float(np.dot(rate, net.heat_capacity))
    assert stored == pytest.approx(900.0 * ohms - loss, rel=1e-11)


@pytest.mark.parametrize("ambient_k", [233.15, 296.15, 301.7, 398.15])
@pytest.mark.parametrize("model", [FUSE, BARE], ids=["fuse", "bare wire"])
def test_nothing_flows_at_ambient(model: FuseModel, ambient_k: float) -> None:
    net = build_network(model, ambient_k=ambient_k, cells=8)
    rate, loss, _ = evaluated(net, net.state(ambient_k), 0.0)
    assert np.abs(rate).max() < 1e-7
    assert abs(loss) < 1e-10


def test_resistance_of_the_element() -> None:
    net = build_network(FUSE, ambient_k=AMBIENT_K, cells=16)
    z = scratch_of(net, 1)
    u = net.state(293.15)
    assembled(net, u, AMBIENT_K, z)
    ohms = z.work[0, OHMS]
    assert ohms[net.first : net.last + 1].sum() == pytest.approx(STRIP.cold_resistance(), rel=1e-5)
    assert ohms[net.nodes["blade_left"]] == pytest.approx(0.1e-3 + 0.1e-3)


def test_refuses_an_ambient_above_melting() -> None:
    with pytest.raises(InputError, match="melting"):
        build_network(FUSE, ambient_k=700.0)
    hot = replace(FUSE, element=Element(metal("tin"), STRIP.sections))
    with pytest.raises(InputError, match="melting"):
        build_network(hot, ambient_k=510.0)


@pytest.mark.parametrize("ambient_k", [0.0, 100.0, 199.0])
def test_ambient_colder_than_the_tables_is_refused(ambient_k: float) -> None:
    model = FuseModel(round_wire(metal("zinc"), 0.5e-3, 10e-3))
    with pytest.raises(InputError) as raised:
        build_network(model, ambient_k=ambient_k)
    assert raised.value.code == "ambient-below-tables"
