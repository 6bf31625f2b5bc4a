"""Observed orders: each within a tenth of theory, and gone when something is wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from fusetherm.solver.kernels.layout import (
    ACTIVATION,
    CONDUCTANCE,
    END_SHAPE,
    FILM_AREA,
    INVERSE_CAPACITY,
    K_LIQUID,
    LINK_INVERSE,
    LINK_RESISTANCE,
    QUANTITIES,
    RADIATION,
    RADIATIVE,
    RATE,
    RESISTANCE_SLOPE,
    RHO_LIQUID,
    SHAPE,
    TO_AMBIENT,
    TO_PREVIOUS,
    TO_SHARED,
    U_LIQUIDUS,
)
from fusetherm.solver.methods import RODAS3, RODAS4
from fusetherm.solver.network import Network
from fusetherm.verify.manufactured import LAWS, POWERS, product
from fusetherm.verify.orders import KINDS, Kind, Order, observe, orders

BY_NAME = {law.name: law for law in LAWS}


@pytest.mark.parametrize("one", orders(), ids=lambda one: f"{one.law}, {one.kind}")
def test_order_within_a_tenth_of_theory(one: Order) -> None:
    assert one.observed == pytest.approx(one.theory, abs=0.1)
    # every halving pays, and the last error is above rounding: the order is no accident
    assert all(
        fine < 0.3 * coarse for coarse, fine in zip(one.errors, one.errors[1:], strict=False)
    )
    assert one.errors[-1] > 1e-11


def test_each_law_is_measured_three_times() -> None:
    assert [(one.law, one.kind) for one in orders()] == [
        (law.name, kind) for law in LAWS for kind in KINDS
    ]


def scaled(row: int, factor: float) -> Callable[[Network], Network]:
    """One row of the node data off by a factor."""

    def change(network: Network) -> Network:
        node = network.arrays.node.copy()
        node[row] *= factor
        return replace(network, arrays=network.arrays._replace(node=node))

    return change


def metal_scaled(column: int, factor: float) -> Callable[[Network], Network]:
    """A constant of the metal off by a factor."""

    def change(network: Network) -> Network:
        metal = network.arrays.metal.copy()
        metal[:, column] *= factor
        return replace(network, arrays=network.arrays._replace(metal=metal))

    return change


def table_scaled(columns: slice, factor: float) -> Callable[[Network], Network]:
    """A property of the solid off by a factor."""

    def change(network: Network) -> Network:
        table = network.arrays.table.copy()
        table[:, :, columns] *= factor
        return replace(network, arrays=network.arrays._replace(table=table))

    return change


def border_scaled(which: int, factor: float) -> Callable[[Network], Network]:
    """The first shared node, a body, tied too well."""

    def change(network: Network) -> Network:
        border = network.arrays.border.copy()
        border[which, 0] *= factor
        return replace(network, arrays=network.arrays._replace(border=border))

    return change


def film_scaled(factor: float) -> Callable[[Network], Network]:
    def change(network: Network) -> Network:
        return replace(network, arrays=network.arrays._replace(film=network.arrays.film * factor))

    return change


OFF = 1.01
FAULTS: dict[str, tuple[str, Callable[[Network], Network]]] = {
    "conduction": ("conduction, ends held", scaled(LINK_INVERSE, OFF)),
    "held end": ("conduction, ends held", scaled(END_SHAPE, OFF)),
    "heat capacity": ("conduction, ends held", scaled(INVERSE_CAPACITY, OFF)),
    "k(T)": ("conductivity against temperature", table_scaled(slice(1, None, QUANTITIES), OFF)),
    "rho(T)": ("resistivity against temperature", table_scaled(slice(2, None, QUANTITIES), OFF)),
    "resistance of a cell": ("resistivity against temperature", scaled(SHAPE, OFF)),
    "radiation": ("radiation", scaled(RADIATION, OFF)),
    "film": ("convection", film_scaled(OFF)),
    "film's area": ("convection", scaled(FILM_AREA, OFF)),
    "latent heat": ("latent heat over a melting range", metal_scaled(U_LIQUIDUS, OFF)),
    "liquid k": ("latent heat over a melting range", metal_scaled(K_LIQUID, 1.05)),
    "liquid rho": ("latent heat over a melting range", metal_scaled(RHO_LIQUID, OFF)),
    "gas in the body": ("body", border_scaled(CONDUCTANCE, OFF)),
    "radiation to the body": ("body", border_scaled(RADIATIVE, OFF)),
    "body to ambient": ("body", scaled(TO_AMBIENT, 1.05)),
    "element to filler": ("filler in shells", scaled(TO_PREVIOUS, OFF)),
    "filler to body": ("filler in shells", scaled(TO_SHARED, 1.05)),
    "rate of the spot": ("dissolution by a spot", scaled(RATE, OFF)),
    "activation of the spot": ("dissolution by a spot", scaled(ACTIVATION, OFF)),
    "links of the terminals": ("blades, contact, clip and cable", scaled(LINK_RESISTANCE, 1.2)),
    "terminals to ambient": ("blades, contact, clip and cable", scaled(TO_AMBIENT, 1.05)),
    "slope of a blade's resistance": (
        "blades, contact, clip and cable",
        scaled(RESISTANCE_SLOPE, 1.2),
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_law_that_is_off_has_no_order_in_the_mesh(name: str) -> None:
    law, altered = FAULTS[name]
    assert abs(observe(BY_NAME[law], "mesh", altered=altered).observed - 2.0) > 0.1


@pytest.mark.parametrize(
    ("kind", "field", "index"),
    [
        ("rodas3", "a", (3, 0)),
        ("rodas3", "c", (1, 0)),
        ("rodas3", "weight", (2,)),
        ("rodas4", "a", (4, 1)),
        ("rodas4", "c", (5, 4)),
        ("rodas4", "weight", (1,)),
    ],
)
def test_a_wrong_coefficient_costs_the_order_in_time(
    kind: Kind, field: str, index: tuple[int, ...]
) -> None:
    method = RODAS3 if kind == "rodas3" else RODAS4
    table = np.array(getattr(method, field))
    table[index] *= 1.001
    wrong = observe(BY_NAME["radiation"], kind, method=method._replace(**{field: table}))
    assert wrong.observed < wrong.theory - 0.1


@pytest.mark.parametrize("field", ["alpha", "gamma_sum"])
@pytest.mark.parametrize("kind", ["rodas3", "rodas4"])
def test_what_only_a_moving_current_asks_for(kind: Kind, field: str) -> None:
    method = RODAS3 if kind == "rodas3" else RODAS4
    table = np.array(getattr(method, field))
    table[2] += 0.01
    law = BY_NAME["resistivity against temperature"]
    wrong = method._replace(**{field: table})
    assert observe(law, kind, method=wrong).observed < observe(law, kind).theory - 0.1
    still = replace(law, squared_rate=0.0, ambient_rate=0.0)
    assert observe(still, kind, method=wrong).observed == pytest.approx(
        observe(still, kind).theory, abs=0.1
    )


def test_a_law_that_asks_for_too_many_powers_is_refused() -> None:
    one = np.ones((POWERS, 3))
    with pytest.raises(ArithmeticError, match="higher power"):
        product(one, one)
    square = product(np.vstack((one[:2], 0.0 * one[2:])), np.vstack((one[:2], 0.0 * one[2:])))
    np.testing.assert_allclose(square[:, 0], [1.0, 2.0, 1.0, 0.0, 0.0])
