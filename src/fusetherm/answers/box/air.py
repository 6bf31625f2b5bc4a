"""The air of a fuse box: its places, their exchange of heat, settled and over time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ...errors import InputError, SolveError
from ...units import REFERENCE_AMBIENT_C, kelvin
from ...written import number

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

#: Heat one square metre of a closed box gives to still air [W/m²/K]: air inside, wall and air
#: outside with radiation on both sides, in series; boxes of plastic or painted sheet have 5 to 6
#: (common practice, no source).
HEAT_TRANSFER = 5.5
#: Largest change of an air at which the settled answer and the course in time are taken [K].
SETTLED_AT, COURSE_AT = 1e-6, 0.02
#: Longest move of an air in one iteration [K].
_LONGEST_MOVE = 50.0
#: Iterations allowed for either.
MOST_ITERATIONS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A closed box round several fuses.

    Parameters
    ----------
    to_outside : float
        Conductance from its air to the outside [W/K].
    heat_capacity : float
        Heat capacity of its air, plastic and rails together [J/K].
    outside_c : float
        Air outside [degC]; the cables that leave the box lie in it.
    place_to_air : float, optional
        Conductance from the air at a place to the air of the box [W/K]; without it the air is
        stirred, and every fuse sits in the same.
    neighbour : float
        Conductance between the air of two places side by side [W/K].
    place_heat_capacity : float
        Heat capacity of a place, its share of the plastic [J/K].
    heat : float or sequence of (time, heat)
        Heat from elsewhere, sun or engine, constant [W] or straight between points [s, W].

    Examples
    --------
    >>> Box(to_outside=0.5, heat_capacity=400.0).time_constant
    800.0
    """

    to_outside: float
    heat_capacity: float
    outside_c: float = REFERENCE_AMBIENT_C
    place_to_air: float | None = None
    neighbour: float = 0.0
    place_heat_capacity: float = 5.0
    heat: float | Sequence[tuple[float, float]] = 0.0

    def __post_init__(self) -> None:
        kelvin(self.outside_c, "outside air")
        positive = {
            "to_outside": self.to_outside,
            "heat_capacity": self.heat_capacity,
            "place_to_air": 1.0 if self.place_to_air is None else self.place_to_air,
            "place_heat_capacity": self.place_heat_capacity,
        }
        for name, value in positive.items():
            if not (math.isfinite(value) and value > 0.0):
                raise InputError("not-positive", f"Box: {name} is {value}", expected="above zero")
        if not (math.isfinite(self.neighbour) and self.neighbour >= 0.0):
            raise InputError(
                "negative", f"Box: neighbour is {self.neighbour}", expected="zero or more"
            )
        if self.neighbour > 0.0 and self.place_to_air is None:
            raise InputError(
                "neighbours-without-places",
                "the box has a conductance between neighbours, and its air is stirred",
                expected="places with air of their own",
                mend="give the conductance from a place to the air of the box (place_to_air)",
            )
        time, heat = self.course_of_heat
        if np.any(np.diff(time) <= 0.0):
            raise InputError(
                "heat-not-increasing",
                "the times of the heat from elsewhere do not increase",
                expected="pairs of time [s] and heat [W] in order of time",
            )
        if not np.all(np.isfinite(heat)) or np.any(heat < 0.0):
            raise InputError(
                "negative",
                f"the heat from elsewhere is {number(float(heat.min()))} W",
                expected="zero or more",
            )

    @property
    def time_constant(self) -> float:
        """Heat capacity over conductance to the outside [s]."""
        return self.heat_capacity / self.to_outside

    @property
    def course_of_heat(self) -> tuple[Floats, Floats]:
        """Times [s] and heat from elsewhere [W]; it is constant outside its points."""
        if isinstance(self.heat, (int, float)):
            return np.zeros(1), np.array([float(self.heat)])
        points = np.array([(float(t), float(q)) for t, q in self.heat]).reshape(-1, 2)
        return (points[:, 0], points[:, 1]) if len(points) else (np.zeros(1), np.zeros(1))

    @property
    def largest_heat(self) -> float:
        """Largest heat from elsewhere [W], that of the settled answer."""
        return float(self.course_of_heat[1].max())


@dataclass(frozen=True, slots=True)
class Air:
    """The linear network of a box's airs, all as rises above the outside.

    Attributes
    ----------
    conductance : (m, m) array
        Heat that leaves each air for a kelvin of each [W/K]; the last is the air of the box.
    capacity : (m,) array
        [J/K].
    at : (n,) array of int
        Which air each fuse sits in.
    """

    conductance: Floats
    capacity: Floats
    at: Integers

    @classmethod
    def of(cls, box: Box, positions: Sequence[tuple[int, int]]) -> Air:
        """Airs of a box whose fuses sit at (row, place)."""
        n = len(positions)
        if box.place_to_air is None:
            return cls(
                np.array([[box.to_outside]]),
                np.array([box.heat_capacity]),
                np.zeros(n, dtype=np.int64),
            )
        g = np.zeros((n + 1, n + 1))

        def tie(i: int, j: int, conductance: float) -> None:
            g[[i, j], [i, j]] += conductance
            g[[i, j], [j, i]] -= conductance

        for i in range(n):
            tie(i, n, box.place_to_air)
            for j in range(i):
                (row, place), (other_row, other_place) = positions[i], positions[j]
                if abs(row - other_row) + abs(place - other_place) == 1:
                    tie(i, j, box.neighbour)
        g[n, n] += box.to_outside
        capacity = np.full(n + 1, box.place_heat_capacity)
        capacity[n] = box.heat_capacity
        return cls(g, capacity, np.arange(n))

    def rates(self) -> Floats:
        """Rates at which the airs settle by themselves, slowest first [1/s]."""
        root = 1.0 / np.sqrt(self.capacity)
        return np.asarray(np.linalg.eigvalsh(self.conductance * np.outer(root, root)))

    def gathered(self, values: Floats) -> Floats:
        """Sums over the fuses of each air, (..., n) to (..., m)."""
        out = np.zeros((*values.shape[:-1], len(self.capacity)))
        for i, place in enumerate(self.at.tolist()):
            out[..., place] += values[..., i]
        return out


#: Heat a fuse gives to its air [W], by its number and the temperature of that air [K].
Heat = Callable[[int, float], float]


@dataclass(frozen=True, slots=True)
class SettledAir:
    """Airs at rest: rises above the outside [K], heat of each fuse [W], how it was found."""

    rise: Floats
    heat: Floats
    draw: Floats
    iterations: int
    change: float


def settled_air(
    air: Air,
    heat_of: Heat,
    heat_elsewhere: float,
    outside_k: float,
    begin: SettledAir | None = None,
) -> SettledAir:
    """Airs at which every fuse gives its air what the air passes on.

    Parameters
    ----------
    air : Air
    heat_of : callable
        Heat a fuse gives to its air.
    heat_elsewhere : float
        Heat set free in the air of the box [W].
    outside_k : float
        [K].
    begin : SettledAir, optional
        A solution near by.

    Raises
    ------
    SolveError
        ``box-not-settled``.

    Notes
    -----
    Newton's method with the slope of each fuse on its own air, taken by a step of a kelvin and
    then from one iterate to the next; the coupling through the air is exact. A fuse whose cables
    lead heat away gives less to warmer air, and repeating heat and air in turn would swing
    ever further where that outweighs the box.
    """
    n, m = len(air.at), len(air.capacity)
    if n == 0:
        load = np.zeros(m)
        load[-1] = heat_elsewhere
        return SettledAir(_solved(air.conductance, load), np.zeros(0), np.zeros(0), 0, 0.0)
    rise = np.zeros(m) if begin is None else begin.rise.copy()

    def heats(rise: Floats) -> Floats:
        return np.array([heat_of(i, outside_k + float(rise[air.at[i]])) for i in range(n)])

    heat = heats(rise)
    draw = heat - heats(rise + 1.0) if begin is None else begin.draw.copy()
    for iteration in range(1, MOST_ITERATIONS + 1):
        load = air.gathered(heat + draw * rise[air.at])
        load[-1] += heat_elsewhere
        matrix = air.conductance + np.diag(air.gathered(draw))
        if np.linalg.eigvalsh(matrix)[0] <= 0.0:
            break  # a kelvin more brings more heat than it drives out: nothing settles
        moved = _solved(matrix, load) - rise
        moved *= min(1.0, _LONGEST_MOVE / max(float(np.max(np.abs(moved))), 1e-300))
        new = rise + moved
        try:
            fresh = heats(new)
        except InputError as refusal:
            if refusal.code != "ambient-above-melting":
                raise
            break
        step = moved[air.at]
        told = np.abs(step) > 1e-4
        draw[told] = (heat - fresh)[told] / step[told]
        change = float(np.max(np.abs(moved)))
        rise, heat = new, fresh
        if change < SETTLED_AT:
            return SettledAir(rise, heat, draw, iteration, change)
    raise SolveError(
        "box-not-settled",
        "the air of the box does not settle below the melting point of its fuses",
        expected="a box that gives off the heat of its fuses and that from elsewhere",
        mend="check the conductance to the outside, the heat from elsewhere and the loads",
    )


def _solved(matrix: Floats, load: Floats) -> Floats:
    return np.asarray(np.linalg.solve(matrix, load), dtype=np.float64)


def march(
    air: Air, time: Floats, heat: Floats, draw: Floats, before: Floats, elsewhere: Floats
) -> Floats:
    """Airs over time under the heat of the fuses, as rises above the outside [K].

    Parameters
    ----------
    air : Air
    time : (t,) array
        [s].
    heat : (t - 1, n) array
        Mean heat of each fuse over each interval, at the airs before [W].
    draw : (n,) array
        What each fuse is taken to give less for a kelvin more [W/K].
    before : (t, m) array
        Airs at which the heat was found [K].
    elsewhere : (t - 1,) array
        Mean heat from elsewhere [W].

    Notes
    -----
    Trapezoidal rule with each interval's mean heat: the airs are straight between the times,
    which is what the fuses are shown, so that heat given, stored and passed on agree to rounding
    once the airs stay.
    """
    pull = np.diag(air.gathered(draw))
    matrix = air.conductance + pull
    load = air.gathered(heat)
    load[:, -1] += elsewhere
    load += 0.5 * (before[1:] + before[:-1]) @ pull
    rise = np.zeros_like(before)
    store = np.diag(air.capacity)
    for k, step in enumerate(np.diff(time).tolist()):
        right = (store / step - 0.5 * matrix) @ rise[k] + load[k]
        rise[k + 1] = _solved(store / step + 0.5 * matrix, right)
    return rise


def means(time: Floats, value: Floats, grid: Floats) -> Floats:
    """Means over the intervals of a grid of what is straight between points, held outside them.

    Parameters
    ----------
    time, value : (p,) array
        Points.
    grid : (t,) array
        Ends of the intervals.

    Returns
    -------
    (t - 1,) array
    """
    knots = np.union1d(time[(time > grid[0]) & (time < grid[-1])], grid)
    # at a repeated time (a step) the mean of both values: its area is that of neither side
    values = np.interp(knots, time, value)
    whole = np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(knots))))
    return np.diff(np.interp(grid, knots, whole)) / np.diff(grid)
