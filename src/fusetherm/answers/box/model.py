"""A fuse box with its fuses, asked under constant loads: where its airs come to rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ...errors import InputError
from ...units import ZERO_CELSIUS_K, kelvin
from .air import Air, Box, SettledAir, settled_air
from .ways import BoxedFuse, Rest, Way

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledBox:
    """A box under constant loads, at rest.

    Attributes
    ----------
    air_c : (n,) array
        Air at each fuse [degC].
    box_c : float
        Air of the box [degC].
    fuses : tuple of Rest
        Each fuse in its air.
    passed_on : float
        Heat the box gives to the outside [W].
    heat_elsewhere : float
        Heat from elsewhere [W].
    iterations : int
    """

    air_c: Floats
    box_c: float
    fuses: tuple[Rest, ...]
    passed_on: float
    heat_elsewhere: float
    iterations: int
    solution: SettledAir = field(repr=False)

    @property
    def imbalance(self) -> float:
        """Heat into the air of the box less heat passed on, over the heat turned over [-]."""
        given = np.array([rest.to_box for rest in self.fuses])
        whole = float(np.abs(given).sum()) + self.heat_elsewhere + abs(self.passed_on)
        left = float(given.sum()) + self.heat_elsewhere - self.passed_on
        return abs(left) / max(whole, 1e-9)


class BoxModel:
    """A box with its fuses, to be asked under any constant loads.

    Parameters
    ----------
    box : Box
    ways : sequence of Way
    """

    def __init__(self, box: Box, ways: Sequence[Way]) -> None:
        self.box, self.ways = box, tuple(ways)
        _refuse_doubles(self.ways)
        self.outside_k = kelvin(box.outside_c, "outside air")
        self.fuses = tuple(BoxedFuse.of(way, box.outside_c) for way in self.ways)
        self.air = Air.of(box, [(way.row, way.place) for way in self.ways])

    def settled(
        self,
        currents: Sequence[float] | Floats,
        begin: SettledAir | None = None,
        heat: float | None = None,
    ) -> SettledBox:
        """The box at rest under a constant current in each way [A].

        Heat from elsewhere [W] is the largest of the box if not given.
        """
        given = [abs(float(c)) for c in currents]
        heat = self.box.largest_heat if heat is None else heat
        found = settled_air(
            self.air,
            lambda i, air_k: self.fuses[i].rest(air_k, given[i]).to_box,
            heat,
            self.outside_k,
            begin,
        )
        air_k = self.outside_k + found.rise[self.air.at]
        fuses = tuple(
            fuse.rest(float(t), current)
            for fuse, t, current in zip(self.fuses, air_k, given, strict=True)
        )
        return SettledBox(
            air_c=air_k - ZERO_CELSIUS_K,
            box_c=self.box.outside_c + float(found.rise[-1]),
            fuses=fuses,
            passed_on=self.box.to_outside * float(found.rise[-1]),
            heat_elsewhere=heat,
            iterations=found.iterations,
            solution=found,
        )


def _refuse_doubles(ways: Sequence[Way]) -> None:
    names: set[str] = set()
    places: dict[tuple[int, int], str] = {}
    for way in ways:
        if way.name in names:
            raise InputError(
                "name-taken", f"two ways are called {way.name!r}", expected="a name each"
            )
        names.add(way.name)
        where = (way.row, way.place)
        if where in places:
            raise InputError(
                "place-taken",
                f"{way.name!r} and {places[where]!r} both sit in row {way.row}, place {way.place}",
                expected="a place each",
            )
        places[where] = way.name
