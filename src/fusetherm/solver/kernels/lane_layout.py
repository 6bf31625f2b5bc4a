"""Arrays of many runs side by side: `LANES` runs of one structure, each with its own step.

Networks of one structure differ in their numbers alone: the same nodes, links and kinds, no
filler and no spots. Working arrays have the lanes as their last axis; what is looked up now and
then stays by network, with a leading axis.
"""

from __future__ import annotations

from typing import NamedTuple

from ...compiled import merged
from .layout import Arrays, Floats, Integers, Setting

# rows of `Lanes.vector`; the stages follow from LANE_STAGE on
STATE, TRIED, BEFORE, RATE_BEFORE, LANE_STAGE = range(5)

# entries of `Lanes.scalar`, which has them as its nodes: row 0, then the entry, then the lane
(
    DT,  # step tried [s]
    SQUARED_START,  # I² at its start [A²]
    SQUARED_SLOPE,  # [A²/s]
    AMBIENT_K,  # ambient [K]
    LOST_POWER,  # heat lost at the state [W]
    CHAIN_OHMS,  # resistance of the chain at the state [ohm]
    MADE_IN_STEP,  # heat made in the step [J]
    LOST_IN_STEP,  # heat lost in it [J]
    ERROR,  # of the step, over what is allowed
    SUM,  # of the state tried: finite or not
    SENSITIVITY,  # largest dg/dt for I² of one [K/(A² s)]
    HOT_U,  # highest u of the element's cells [K]
    HOT_CELL,  # its cell
    GROWS,  # below 0 unless something grows faster than the step, see `rosenbrock`
    WILD,  # above 0 where a rate has outgrown the step
    HELD,  # 1 while nothing has begun to melt, see `assemble`
    ACCEPTED,  # above 0 where the step tried becomes the state
    SCALARS,
) = range(18)


# rows of `Lanes.metal`, each with the metals as its nodes
(
    TABLE_LOW,  # first knot [K]
    TABLE_STEP_INV,  # 1 / spacing of the knots [1/K]
    TABLE_END,  # place of the solidus, in spacings
    TABLE_PLACE,  # first number of its cubics, in the flat array
    PLACE,  # of the interval looked up
    INSIDE,  # place within it, 0..1
    ALONG,  # place in the whole table, in spacings
    METAL_ROWS,
) = range(8)


class Networks(NamedTuple):
    """Networks of one structure (M of them), as `Arrays` with a leading axis where they differ."""

    node: Floats  # (M, NODE_ROWS, N)
    kind: Integers  # (KIND_ROWS, N)
    border: Floats  # (M, 2, k, n)
    shared_links: Floats  # (M, k, k)
    shells: Integers  # (0, 1)
    spots: Integers  # (0, 2)
    table: Floats  # (M, metals, intervals, TABLE_COLUMNS)
    metal: Floats  # (M, metals, METAL_COLUMNS)
    film: Floats  # (M, films, intervals, 4)
    film_scale: Floats  # (M, films, FILM_COLUMNS)
    limits: Floats  # (M, 3) ambient [K], break length [m], capillary time [s]


class Programs(NamedTuple):
    """Courses of squared current (P of them), each a row of pieces, each piece a repeated block."""

    first: Integers  # (P + 1,) first piece of each
    point: Integers  # (pieces + 1,) first row of each piece in `table`
    repeats: Integers  # (pieces,)
    start: Floats  # (pieces,) [s]
    whole: Floats  # (pieces, 2) moments of one run through the block [A² s, A² s²]
    table: Floats  # (rows, BLOCK_COLUMNS) tables of their blocks, one below the other


class Tasks(NamedTuple):
    """Runs to make (R of them): places in the other arrays, and numbers of their own."""

    network: Integers  # (R,)
    program: Integers  # (R,)
    start: Integers  # (R,) place in `states`
    squared_scale: Floats  # (R,) factor on the squared current
    until: Floats  # (R,) [s]
    states: Floats  # (starts, N) [K]


class Outcomes(NamedTuple):
    """What became of the runs."""

    clock: Floats  # (R, CLOCK_SIZE)
    counts: Integers  # (R, COUNT_SIZE)
    state: Floats  # (R, N) at the end
    outcome: Integers  # (R,) outcome of the last piece
    end: Floats  # (R,) time reached [s]


class Lanes(NamedTuple):
    """Working arrays of the runs under way."""

    node: Floats  # (NODE_ROWS, N, LANES)
    coupling: Floats  # (4 k, n, LANES) conductance and radiation to shared nodes, df_i/du_shared,
    #                   df_shared/du_i
    square: Floats  # (3 k, k, LANES) links between shared nodes, df_shared/du_shared, the inverse
    #                 of the Schur complement
    work: Floats  # (ROWS, N, LANES) assembly at the state
    trial: Floats  # (ROWS, N, LANES) assembly at stages
    vector: Floats  # (LANE_STAGE + stages, N, LANES)
    four: Floats  # (2, N, LANES, 4) temperature, conductivity integral, resistivity; their slopes
    metal: Floats  # (METAL_ROWS, metals, LANES)
    lu: Floats  # (3 + k, N, LANES) 1 / pivot, bands below and above, spikes
    scalar: Floats  # (1, SCALARS, LANES)
    border: Floats  # (1, k, LANES) right side of the shared nodes in a solve


@merged
def network_at(networks: Networks, m: int) -> Arrays:
    """One of the networks as other kernels take it."""
    return Arrays(
        networks.node[m],
        networks.kind,
        networks.border[m],
        networks.shared_links[m],
        networks.shells,
        networks.spots,
        networks.table[m],
        networks.metal[m],
        networks.film[m],
        networks.film_scale[m],
    )


@merged
def block_at(programs: Programs, piece: int) -> Floats:
    """Table of one piece's block."""
    return programs.table[programs.point[piece] : programs.point[piece + 1]]


@merged
def setting_at(networks: Networks, m: int, common: Setting) -> Setting:
    """The common setting with the limits of one network."""
    return Setting(
        common.first,
        common.last,
        common.bridges,
        networks.limits[m, 1],
        networks.limits[m, 2],
        common.tolerance,
        common.floor,
        common.ripple_bound,
        common.periodic_bound,
        common.to_onset,
    )
