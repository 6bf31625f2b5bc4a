"""Arrays that the kernels read: one named tuple for the network, one for a block of current.

Nodes are the chain (cables, clips, blades, element cells, from left to right; several
chains simply follow each other with an open link between them) and then the shared nodes
(bodies, air of a box). The state of a metal cell is its specific enthalpy divided by the
reference specific heat, ``u = h / c_ref``, so that every state is in kelvin.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

# kinds of link between neighbours of the chain
OPEN = 0  # no link: the next chain begins
KIRCHHOFF = 1  # same metal on both sides: flux = (Theta_i - Theta_j) / shape
SERIES = 2  # shape_i / k_i + resistance + shape_j / k_j in series

# columns of `metal`, the constants of each metal's melting and liquid branch
(
    U_LOW,  # first knot of the table [K]
    U_STEP_INV,  # 1 / spacing of the knots [1/K]
    U_SOLIDUS,  # u at the start of melting [K]
    U_LIQUIDUS,  # u at the end of melting [K]
    T_SOLIDUS,
    T_LIQUIDUS,
    RHO_SOLID,  # resistivity of the solid at the solidus [ohm m]
    RHO_LIQUID,  # resistivity of the liquid at the liquidus [ohm m]
    THETA_SOLIDUS,  # conductivity integral at the solidus [W/m]
    K_SOLID,
    K_LIQUID,
    DT_DU_LIQUID,  # c_ref / c_liquid [-]
    RHO_SLOPE_LIQUID,  # relative rise of the liquid's resistivity [1/K]
    U_BOILING,
    METAL_COLUMNS,
) = range(15)

#: Intervals of the property tables against enthalpy.
TABLE_INTERVALS = 128
#: Polynomial coefficients an interval: temperature, conductivity integral, resistivity (4 each).
TABLE_COLUMNS = 12

# columns of `film_scale`
FILM_LOW, FILM_STEP_INV, FILM_AMBIENT, FILM_COLUMNS = 0, 1, 2, 3


class Arrays(NamedTuple):
    """The network as the kernels see it (n chain nodes, k shared nodes, N = n + k)."""

    material: Integers  # (N,) index into `table`, or -1 for a lump of constant heat capacity
    inverse_capacity: Floats  # (N,) 1 / (m c_ref) or 1 / C [K/J]
    shape: Floats  # (N,) integral of dx/A over a metal cell [1/m]
    resistance: Floats  # (N,) electrical resistance of a lump at 20 degC [ohm]
    resistance_slope: Floats  # (N,) its temperature coefficient at 20 degC [1/K]
    to_ambient: Floats  # (N,) conductance to ambient [W/K]
    end_shape: Floats  # (N,) shape of a half cell that ends at ambient [1/m]; 0: none
    radiation: Floats  # (N,) emissivity x sigma x area to ambient [W/K^4]
    film_area: Floats  # (N,) area under natural convection [m^2]
    film_index: Integers  # (N,) row of `film`
    needs_k: Integers  # (N,) 1 where a series link or an end asks for k
    link_kind: Integers  # (n,) link from node i to i + 1; the last is open
    link_left: Floats  # (n,) shape on the left side of the link [1/m]
    link_resistance: Floats  # (n,) thermal resistance in the middle [K/W]
    link_right: Floats  # (n,) shape on the right side [1/m]
    border: Floats  # (k, n) conductance from chain node to shared node [W/K]
    border_radiation: Floats  # (k, n) radiation coefficient to shared node [W/K^4]
    shared_links: Floats  # (k, k) conductance between shared nodes [W/K], symmetric
    table: Floats  # (metals, intervals, 12)
    metal: Floats  # (metals, METAL_COLUMNS)
    film: Floats  # (films, intervals, 4) heat flux by natural convection against temperature
    film_scale: Floats  # (films, FILM_COLUMNS)
    position: Floats  # (n,) distance along the element of its cells [m]; nan elsewhere
    bridge: Integers  # (n,) number of the narrow section a cell belongs to, or -1
    edge_weight: Floats  # (n,) half a cell's length over the distance to the next centre, at a
    #                      bridge's first and last cell: extrapolation to the section's edge


class BlockArrays(NamedTuple):
    """Squared current of one block: piecewise quadratic, repeated."""

    time: Floats  # (m + 1,)
    s0: Floats  # (m,)
    s1: Floats  # (m,)
    s2: Floats  # (m,)


class Method(NamedTuple):
    """Coefficients of a Rosenbrock method in the form without matrix products."""

    gamma: float
    order: float
    a: Floats  # (stages, stages)
    c: Floats  # (stages, stages)
    alpha: Floats  # (stages,)
    gamma_sum: Floats  # (stages,)
    new_function: Integers  # (stages,)
    weight: Floats  # (stages,)
    error: Floats  # (stages,)


#: The kernels take these tuples; a plain alias keeps their signatures readable.
Net = Any
