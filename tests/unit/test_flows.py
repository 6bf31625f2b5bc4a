"""Where heat leaves a network, and cables in air that is not that of the fuse."""

from dataclasses import replace

import numpy as np
import pytest

from fusetherm.errors import InputError
from fusetherm.fuse.element import Element, Section
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, FuseModel, Side, Surroundings
from fusetherm.physics.metals import metal
from fusetherm.solver.flows import flows_of, traced_flows, watching_losses
from fusetherm.solver.integrate import Ambient, ConstantBlock, assembled, integrate, scratch_of
from fusetherm.solver.network import Network, build_network
from fusetherm.solver.steady import steady_of

ZINC = Element(metal("zinc"), (Section(12e-3, 4e-3, 0.3e-3),))


def fuse(cable: Cable) -> FuseModel:
    side = Side(Blade(), Contact(), Clip(), cable)
    return FuseModel(ZINC, Body(), side, side)


def lost(network: Network, state: np.ndarray, ambient_k: float) -> float:
    z = scratch_of(network, 1)
    loss, _ = assembled(network, state, ambient_k, z)
    return loss


@pytest.mark.parametrize(
    "model",
    [
        fuse(Cable(4e-6)),
        fuse(Cable(4e-6, air_c=10.0, inside=0.1)),
        FuseModel(ZINC, surroundings=Surroundings(natural_convection=True, emissivity=0.3)),
        FuseModel(ZINC, surroundings=Surroundings(film_coefficient=8.0)),
        replace(
            fuse(Cable(4e-6, air_c=10.0)), body=None, surroundings=Surroundings(0.0, True, 0.2)
        ),
    ],
)
@pytest.mark.parametrize("moved", [0.0, 12.0])
def test_flows_are_the_loss_the_kernels_count(model: FuseModel, moved: float) -> None:
    network = build_network(model, ambient_k=310.0, cells=32)
    found = steady_of(network, 15.0, 310.0)
    assert found is not None
    flows = flows_of(network, network.temperature_k(found.state), 310.0 + moved)
    whole = float(flows.to_ambient + flows.to_air)
    assert whole == pytest.approx(lost(network, found.state, 310.0 + moved), rel=1e-4)


def test_air_of_its_own_at_ambient_changes_nothing() -> None:
    plain, own = Cable(4e-6), Cable(4e-6, air_c=36.85)
    one, two = (
        steady_of(build_network(fuse(c), ambient_k=310.0, cells=32), 20.0, 310.0)
        for c in (plain, own)
    )
    assert one is not None
    assert two is not None
    assert two.peak_temperature_c == pytest.approx(one.peak_temperature_c, abs=1e-6)


def test_cable_inside_altogether_is_in_the_air_of_the_fuse() -> None:
    one, two = (
        steady_of(build_network(fuse(c), ambient_k=310.0, cells=32), 20.0, 310.0)
        for c in (Cable(4e-6), Cable(4e-6, air_c=-20.0, inside=1.0))
    )
    assert one is not None
    assert two is not None
    assert two.peak_temperature_c == pytest.approx(one.peak_temperature_c, abs=1e-6)


def test_fuse_without_current_lies_between_its_two_airs() -> None:
    # two resistances in series: the body to warm air, a long fin sqrt(k A g) a side to cold air
    network = build_network(fuse(Cable(4e-6, 3.0, air_c=0.0)), ambient_k=323.15, cells=32)
    state, ambient = network.state(273.15), Ambient(np.array([0.0]), np.array([323.15]))
    blocks = iter((ConstantBlock(0.0, 2e4, 0.0),))
    run = integrate(network, blocks, state, ambient, until=2e4, tolerance=1e-5, integrator="rodas3")
    t = network.temperature_k(run.state)
    flows = flows_of(network, t, 323.15)
    clip = t[network.nodes["clip_left"]] - 273.15
    rest = steady_of(network, 0.0, 323.15)
    assert rest is not None
    assert rest.node_temperature_c["clip_left"] == pytest.approx(clip, abs=0.01)
    cable = Cable(4e-6, 3.0)
    fin = np.sqrt(391.0 * 4e-6 * cable.loss_per_length_at(273.15))
    assert float(flows.to_air) == pytest.approx(2.0 * fin * clip, rel=0.02)
    assert float(flows.to_ambient) == pytest.approx(-float(flows.to_air), rel=1e-4)


def test_own_air_stays_while_the_ambient_moves() -> None:
    network = watching_losses(
        build_network(fuse(Cable(4e-6, air_c=20.0, inside=0.05)), ambient_k=293.15, cells=32)
    )
    ambient = Ambient(np.array([0.0, 600.0]), np.array([293.15, 353.15]))
    run = integrate(
        network, iter((ConstantBlock(400.0, 1800.0, 0.0),)), network.state(293.15), ambient,
        until=1800.0, tolerance=1e-6, integrator="rodas3",
    )  # fmt: skip
    assert run.conservation < 1e-6
    air = np.interp(run.trace[:, 0], ambient.time, ambient.temperature_k)
    flows = traced_flows(network, run, air)
    told = np.trapezoid(flows.to_ambient + flows.to_air, run.trace[:, 0])
    assert told == pytest.approx(run.lost, rel=1e-3)
    clip = run.trace[-1, 5 + run.watched.index("clip_left")] - 273.15
    assert clip < 80.0  # its cable cools it below the air of the fuse


def test_air_below_absolute_zero_is_refused() -> None:
    with pytest.raises(InputError):
        Cable(4e-6, air_c=-300.0)
    with pytest.raises(InputError, match="inside"):
        Cable(4e-6, inside=-0.1)
    with pytest.raises(InputError, match=r"inside is 0\.1 m and air_c is not given"):
        Cable(4e-6, inside=0.1)
