"""Many runs at once: scenarios in, times, peaks and heats out, without traces.

Runs whose networks have one structure go through `advance_lanes` together. What it does not
take is simulated run by run: elements in filler or under a spot, courses with long repeats (which
are jumped over), and runs that fail, so that their reason is the same as that of `simulate`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from ..packed import LANES
from ..units import ZERO_CELSIUS_K
from .integrate import (
    ERROR_SCALE,
    PERIODIC_BOUND,
    Ambient,
    check_tolerance,
    enthalpy_share,
    fresh_clock,
    imbalance,
    ripple_bound,
    scratch_of,
)
from .kernels import advance as loop
from .kernels import lane_advance
from .kernels.assemble import ROWS
from .kernels.lane_layout import (
    LANE_STAGE,
    METAL_ROWS,
    SCALARS,
    Lanes,
    Networks,
    Outcomes,
    Programs,
    Tasks,
)
from .kernels.lane_rosenbrock import SPIKE
from .kernels.layout import (
    END_SHAPE,
    FILM_AREA,
    NODE_ROWS,
    RADIATION,
    U_LIQUIDUS,
    U_SOLIDUS,
    Arrays,
    Method,
    Setting,
)
from .methods import METHODS
from .network import Network
from .pieces import Piece

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
#: Outcomes of a run that reached its end; of any other the caller asks by `simulate`.
SOUND = (loop.BLOCK_DONE, loop.PARTS, loop.MELTS)
T = TypeVar("T")


@dataclass(frozen=True, eq=False, slots=True)
class Scenario:
    """One run of a batch.

    Parameters
    ----------
    network : Network
        Runs that share a network should share the object.
    pieces : tuple of Piece
        Course of the current; runs that share it should share the tuple.
    squared_scale : float
        Factor on the squared current.
    start : (N,) array
        State at time 0 [K].
    until : float
        Time to stop [s].
    """

    network: Network
    pieces: tuple[Piece, ...]
    squared_scale: float
    start: Floats
    until: float


def fits_lanes(network: Network) -> bool:
    """Whether lanes can follow this network."""
    return not (network.arrays.shells.shape[0] or network.arrays.spots.shape[0])


def structure(network: Network) -> tuple[object, ...]:
    """What networks must share to run side by side; hashable."""
    arrays, element = network.arrays, network.model.element
    switches = arrays.node[[RADIATION, FILM_AREA, END_SHAPE]] > 0.0
    return (
        arrays.kind.tobytes(),
        arrays.border.shape,
        arrays.table.shape,
        arrays.film.shape,
        switches.tobytes(),
        network.first,
        network.last,
        len(element.bridges()),
    )


def run_lanes(
    scenarios: Sequence[Scenario],
    *,
    tolerance: float,
    integrator: str = "rodas3",
    to_onset: bool = False,
) -> Outcomes:
    """Make the runs of one structure side by side.

    Parameters
    ----------
    scenarios : sequence of Scenario
        At least one; of one `structure`, for which `fits_lanes` holds.
    tolerance : float
        Error a step, relative to 150 K plus the rise above ambient.
    integrator : {"rodas3", "rodas4"}
    to_onset : bool
        Whether each run ends where melting begins.

    Returns
    -------
    Outcomes
        In the order of the scenarios; bit for bit the same whatever runs beside them.

    Raises
    ------
    InputError
        For a tolerance that `simulate` would not take.
    """
    check_tolerance(tolerance)
    networks, of_network = _distinct([scenario.network for scenario in scenarios])
    courses, of_course = _distinct([scenario.pieces for scenario in scenarios])
    starts, of_start = _distinct([scenario.start for scenario in scenarios])
    runs, first = len(scenarios), networks[0]
    tasks = Tasks(
        network=of_network,
        program=of_course,
        start=of_start,
        squared_scale=np.array([float(scenario.squared_scale) for scenario in scenarios]),
        until=np.array([float(scenario.until) for scenario in scenarios]),
        states=np.array(starts, dtype=np.float64),
    )
    clock = fresh_clock(_constant(first.ambient_k))
    done = Outcomes(
        clock=np.tile(clock, (runs, 1)),
        counts=np.zeros((runs, loop.COUNT_SIZE), dtype=np.int64),
        state=np.zeros((runs, first.size)),
        outcome=np.full(runs, -1, dtype=np.int64),
        end=np.zeros(runs),
    )
    method = METHODS[integrator]
    lane_advance.advance_lanes(
        _stacked(networks), _programs(courses), tasks, done,
        np.zeros(LANES, dtype=np.int64), np.zeros((lane_advance.BOOK_ROWS, LANES), dtype=np.int64),
        np.zeros((lane_advance.MEMORY_ROWS, LANES)), _common(first, tolerance, to_onset), method,
        _lanes(first, method), scratch_of(first, len(method.alpha)),
    )  # fmt: skip
    return done


def results_of(scenarios: Sequence[Scenario], done: Outcomes) -> dict[str, Floats]:
    """Results of runs, each (R,), under the names and in the units of `Run`; nan for none.

    Parameters
    ----------
    scenarios : sequence of Scenario
        As given to `run_lanes`.
    done : Outcomes
        What it returned.
    """
    networks, of_network = _distinct([scenario.network for scenario in scenarios])
    cold = np.array([net.metal.state(net.ambient_k) for net in networks])[of_network]
    solid, liquid = (
        np.array([net.metal.scalars[which] for net in networks])[of_network]
        for which in (U_SOLIDUS, U_LIQUIDUS)
    )
    heat = np.array([net.heat_capacity for net in networks])[of_network]
    start = np.array([scenario.start for scenario in scenarios])
    stored = np.sum(heat * (done.state - start), axis=1)
    made, lost, peak_u = (done.clock[:, i] for i in (loop.JOULE, loop.LOST, loop.PEAK_U))
    return {
        "onset_time": done.clock[:, loop.ONSET_TIME],
        "pre_arcing_time": done.clock[:, loop.PARTED_TIME],
        "peak_temperature_c": done.clock[:, loop.PEAK_T] - ZERO_CELSIUS_K,
        "peak_time": done.clock[:, loop.PEAK_TIME],
        "melting_share": enthalpy_share(peak_u, cold, liquid),
        "onset_share": np.maximum(enthalpy_share(peak_u, cold, solid), 0.0),
        "dissolved_share": np.zeros(len(scenarios)),
        "i2t": done.clock[:, loop.ACTION],
        "energy": made,
        "duration": done.end,
        "conservation": imbalance(made, lost, stored, heat.sum(axis=1)),
    }


def _constant(ambient_k: float) -> Ambient:
    return Ambient(np.array([0.0]), np.array([ambient_k]))


def _distinct(items: Sequence[T]) -> tuple[list[T], Integers]:
    """The different objects in their order, and the place of each item among them."""
    places: dict[int, int] = {}
    different: list[T] = []
    at = np.empty(len(items), dtype=np.int64)
    for i, item in enumerate(items):
        place = places.setdefault(id(item), len(different))
        if place == len(different):
            different.append(item)
        at[i] = place
    return different, at


def _common(network: Network, tolerance: float, to_onset: bool) -> Setting:
    return Setting(
        first=network.first,
        last=network.last,
        bridges=len(network.model.element.bridges()),
        break_length=0.0,  # of each network, as the capillary time
        capillary_time=0.0,
        tolerance=tolerance,
        floor=ERROR_SCALE,
        ripple_bound=ripple_bound(tolerance),
        periodic_bound=PERIODIC_BOUND,
        to_onset=int(to_onset),
    )


def _stacked(networks: Sequence[Network]) -> Networks:
    def all_of(name: str) -> Floats:
        return np.stack([np.asarray(getattr(net.arrays, name)) for net in networks])

    one: Arrays = networks[0].arrays
    return Networks(
        node=all_of("node"),
        kind=one.kind,
        border=all_of("border"),
        shared_links=all_of("shared_links"),
        shells=one.shells,
        spots=one.spots,
        table=all_of("table"),
        metal=all_of("metal"),
        film=all_of("film"),
        film_scale=all_of("film_scale"),
        limits=np.array([
            (net.ambient_k, net.model.element.parting_length, net.model.element.capillary_time)
            for net in networks
        ]),
    )  # fmt: skip


def _programs(courses: Sequence[tuple[Piece, ...]]) -> Programs:
    pieces = [piece for course in courses for piece in course]
    tables = [piece.table for piece in pieces]
    return Programs(
        first=np.cumsum([0, *(len(course) for course in courses)]),
        point=np.cumsum([0, *map(len, tables)]),
        repeats=np.array([piece.repeats for piece in pieces], dtype=np.int64),
        start=np.array([piece.start for piece in pieces], dtype=np.float64),
        whole=np.array([(piece.whole0, piece.whole1) for piece in pieces]),
        table=np.concatenate(tables),
    )


def _lanes(network: Network, method: Method) -> Lanes:
    total, n, k = network.size, network.chain, network.shared
    stages = len(method.alpha)
    return Lanes(
        node=np.zeros((NODE_ROWS, total, LANES)),
        coupling=np.zeros((4 * k, n, LANES)),
        square=np.zeros((3 * k, k, LANES)),
        work=np.zeros((ROWS, total, LANES)),
        trial=np.zeros((ROWS, total, LANES)),
        four=np.zeros((2, total, LANES, 4)),
        vector=np.zeros((LANE_STAGE + stages, total, LANES)),
        metal=np.zeros((METAL_ROWS, network.arrays.metal.shape[0], LANES)),
        lu=np.zeros((SPIKE + k, total, LANES)),
        scalar=np.zeros((1, SCALARS, LANES)),
        border=np.zeros((1, k, LANES)),
    )
