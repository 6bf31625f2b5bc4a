"""Arrays that the kernels read: one named tuple for the network, one for a block of current.

Nodes are the chain (cables, clips, blades, element cells, from left to right; several
chains simply follow each other with an open link between them), then the shared nodes
(bodies, air of a box), then local states that belong to one cell each and are eliminated in
it: shells of filler around it, and how far a spot has dissolved it. The state of a metal cell
is its specific enthalpy divided by the reference specific heat, ``u = h / c_ref``, so that
every state is in kelvin; a dissolved share is carried as its `SPOT_SCALE`-fold.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

# kinds of link between neighbours of the chain
OPEN = 0  # no link: the next chain begins
KIRCHHOFF = 1  # same metal on both sides: flux = (Theta_i - Theta_j) / shape; others have no
#                1 / shape (`LINK_INVERSE` is 0)
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

#: Width, in u, over which the slope of temperature falls where melting begins [K]. A row of fine
#: cells about to melt hovers there: below it heat runs between them within microseconds, beyond it
#: not at all, and at a sharp corner no step can be longer. Of 720 runs at tolerance 1e-4 the
#: worst then took 4135 attempts, here 423, and one draw of a fit never ended. The corner lies
#: behind the onset, which it does not move; melting goes on half of it higher, and partings came
#: up to 9e-5 later. At tolerance 1e-3 .1 K does not always help (20,000 attempts), .2 K does.
SOLID_CORNER = 0.1

#: Intervals of the property tables against enthalpy.
TABLE_INTERVALS = 128
#: Polynomial coefficients an interval, by power and within it by quantity: temperature,
#: conductivity integral, resistivity, and a place left free, so that four are computed at once.
TABLE_COLUMNS = 16
QUANTITIES = 4

# columns of `film_scale`
(
    FILM_LOW,  # first knot of the table [K]
    FILM_STEP_INV,  # 1 / spacing of the knots [1/K]
    FILM_AMBIENT,  # ambient the table was made for [K]
    FILM_FOLLOWS,  # how far the table shifts with the ambient: 1, or 0 for air of its own [-]
    FILM_COLUMNS,
) = range(5)


#: A dissolved share of 1 as a state, so that one error test serves all [K].
SPOT_SCALE = 300.0

# rows of `Arrays.node`; what a node has no use for is 0
(
    INVERSE_CAPACITY,  # 1 / (m c_ref), or 1 / C of a lump [K/J]
    SHAPE,  # integral of dx/A over a metal cell [1/m]
    RESISTANCE,  # electrical resistance of a lump at 20 degC [ohm]
    RESISTANCE_SLOPE,  # its temperature coefficient at 20 degC [1/K]
    TO_AMBIENT,  # conductance to ambient [W/K]
    END_SHAPE,  # shape of a half cell that ends at ambient [1/m]; 0: none
    RADIATION,  # emissivity x sigma x area to ambient [W/K^4]
    FILM_AREA,  # area under natural convection [m^2]
    LINK_INVERSE,  # link to the next node of the same metal: 1 / shape between them [m]
    LINK_LEFT,  # link to another: shape on its left side [1/m]
    LINK_RESISTANCE,  # thermal resistance in its middle [K/W]
    LINK_RIGHT,  # shape on its right side [1/m]
    POSITION,  # distance along the element of its cells [m]; nan elsewhere
    EDGE_WEIGHT,  # half a cell's length over the distance to the next centre, at a bridge's
    #               first and last cell: extrapolation to the section's edge
    CELL_LENGTH,  # length of an element cell [m]
    TO_PREVIOUS,  # shell: conductance to its inner neighbour [W/K]
    TO_SHARED,  # outermost shell: conductance to the first shared node [W/K]
    RATE,  # spot: rate of dissolution at 600 K [K/s on the scale above]
    ACTIVATION,  # spot: activation temperature E/R [K]
    REACTION_ONSET,  # spot: temperature at which the reaction begins [K]
    GAIN,  # spot: relative rise of resistance per unit of state [1/K]
    NODE_ROWS,
) = range(22)

# rows of `Arrays.kind`
(
    MATERIAL,  # index into `table`, or -1 for a lump of constant heat capacity
    FILM_INDEX,  # row of `film`
    NEEDS_K,  # 1 where a series link or an end asks for k
    LINK_KIND,  # link from node i to i + 1; the last is open
    BRIDGE,  # number of the narrow section a cell belongs to, or -1
    LOSES,  # 1 where heat is lost by radiation, convection or through an end
    KIND_ROWS,
) = range(7)

# first index of `Arrays.border`
CONDUCTANCE, RADIATIVE = 0, 1

# columns of the table of a block, (m + 1, BLOCK_COLUMNS): I² = s0 + s1 tau + s2 tau² on a segment,
# tau from its begin; the last row holds the end alone
(
    BEGIN,  # [s]
    S0,  # [A²]
    S1,  # [A²/s]
    S2,  # [A²/s²]
    AREA,  # integral of I² over the segment [A² s]
    ABOUT,  # integral of tau I² over it [A² s²]
    HALF,  # integral of I² over its first half [A² s]
    BLOCK_COLUMNS,
) = range(8)


class Arrays(NamedTuple):
    """The network as the kernels see it (n chain nodes, k shared nodes, N with the local ones).

    Few arrays of many rows: each array of a tuple costs compile time in every kernel that
    takes it, and a microsecond in every call from Python.
    """

    node: Floats  # (NODE_ROWS, N)
    kind: Integers  # (KIND_ROWS, N)
    border: Floats  # (2, k, n) conductance [W/K] and radiation [W/K^4], chain to shared nodes
    shared_links: Floats  # (k, k) conductance between shared nodes [W/K], symmetric
    shells: Integers  # (cells in filler, 1 + shells) cell, then its shells from inside out
    spots: Integers  # (cells under a spot, 2) cell, node of its dissolved share
    table: Floats  # (metals, intervals, TABLE_COLUMNS)
    metal: Floats  # (metals, METAL_COLUMNS)
    film: Floats  # (films, intervals, 4) heat flux by natural convection against temperature
    film_scale: Floats  # (films, FILM_COLUMNS)


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
    heat: Floats  # (stages,) share of a stage in a heat carried along, over the step


class Setting(NamedTuple):
    """What does not move during a run."""

    first: int  # first and last element cell in the chain
    last: int
    bridges: int
    break_length: float
    capillary_time: float
    tolerance: float
    floor: float  # scale of the error test [K]
    ripple_bound: float  # swing that may be averaged away in one step [K]
    periodic_bound: float  # the same where a step spans whole periods [K]
    to_onset: int  # 1: the run ends where melting begins
