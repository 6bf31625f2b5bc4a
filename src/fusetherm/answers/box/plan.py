"""The plan of a fuse box: a TOML file that says its air, its ways and their loads."""

# ruff: noqa: RUF009  (keyed makes a dataclass field)
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from ...calibration.fit import Calibration
from ...current.waveform import Waveform
from ...errors import FileError
from ...fuse.definition import migrated
from ...fuse.records import keyed, parse, read_text, record_of
from ...fuse.toml_lines import Places, dotted
from ...life.capture_table import READING, CaptureTable
from ...units import ZERO_CELSIUS_K
from ...written import number
from .air import HEAT_TRANSFER, Box
from .ways import Way

#: Version of the file this code reads.
PLAN_VERSION = 1
#: Fields that say something about a capture only.
_OF_CAPTURES = (*READING, "gain_tolerance", "after", "period")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatPoint:
    """Heat from elsewhere at one time; straight between points."""

    time: float = keyed("time_s", "Time [s].", least=0.0)
    heat: float = keyed("heat_W", "Heat set free in the air of the box [W].", least=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxData:
    """What is known of the box."""

    outside_c: float = keyed("outside_C", "Air outside the box [degC].", above=-ZERO_CELSIUS_K)
    to_outside: float | None = keyed(
        "to_outside_W_per_K", "Conductance from its air to the outside [W/K].", above=0.0,
        default=None,
    )  # fmt: skip
    surface: float | None = keyed(
        "surface_m2", "Surface that gives off heat [m²].", above=0.0, default=None
    )
    heat_transfer: float | None = keyed(
        "heat_transfer_W_per_m2K",
        "Heat a square metre of it gives off for a kelvin [W/(m² K)]; 5.5 if absent.",
        above=0.0,
        default=None,
    )
    heat_capacity: float = keyed(
        "heat_capacity_J_per_K", "Heat capacity of air, plastic and rails [J/K].", above=0.0
    )
    place_to_air: float | None = keyed(
        "place_to_air_W_per_K",
        "Conductance from a place to the air of the box [W/K]; if absent all share one air.",
        above=0.0,
        default=None,
    )
    neighbour: float = keyed(
        "neighbour_W_per_K", "Conductance between places side by side [W/K].", least=0.0,
        default=0.0,
    )  # fmt: skip
    place_heat_capacity: float = keyed(
        "place_heat_capacity_J_per_K", "Heat capacity of a place [J/K].", above=0.0, default=5.0
    )
    heat: float | None = keyed(
        "heat_W", "Heat from elsewhere, sun or engine, all the time [W].", least=0.0, default=None
    )
    duration: float | None = keyed(
        "duration_s", "Time to follow from cold [s].", above=0.0, default=None
    )
    source: str = keyed("source", "Where the values of this table come from.")


@dataclass(frozen=True, slots=True, kw_only=True)
class WayData(CaptureTable):
    """One way of the box."""

    name: str = keyed("name", "Name of the circuit.")
    fuse: str = keyed("fuse", "Definition or fit file, its path from the folder of the plan.")
    current: float | None = keyed("current_A", "Constant current [A].", least=0.0, default=None)
    after: Literal["zero", "hold", "repeat"] | None = keyed(
        "after", "What follows the capture: nothing, its end held, or itself again.", default=None
    )
    period: float | None = keyed(
        "period_s", "From start to start of a repeated capture [s].", above=0.0, default=None
    )
    place: int | None = keyed(
        "place", "Place in its row; the next free one if absent.", least=1, default=None
    )
    row: int = keyed("row", "Row.", least=1, default=1)
    cable_inside: float = keyed(
        "cable_inside_mm", "Length of each cable that lies in the box [mm].", least=0.0,
        default=0.0,
    )  # fmt: skip
    gain_tolerance: float | None = keyed(
        "gain_tolerance_percent", "How far the ratio may be off [%].", least=0.0, default=None
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxPlan:
    """A fuse box as its file says it, in SI, temperatures in degC.

    Parameters
    ----------
    schema_version : int
        Version of the file.
    box_data : BoxData
    heats : tuple of HeatPoint
        Heat from elsewhere over time, in place of a constant one.
    way_data : tuple of WayData
    path : str
        The file.
    """

    schema_version: int = keyed("schema_version", "Version of this file format.", least=1)
    title: str | None = keyed("title", "One line for the reader.", default=None)
    box_data: BoxData = keyed("box", "The box.")
    heats: tuple[HeatPoint, ...] = keyed("heat", "Heat from elsewhere over time.", default=())
    way_data: tuple[WayData, ...] = keyed("way", "The ways of the box.")
    path: str = ""

    def box(self) -> Box:
        """The box, for `fusebox`."""
        data = self.box_data
        conductance = data.to_outside
        if conductance is None:
            assert data.surface is not None
            conductance = data.surface * (data.heat_transfer or HEAT_TRANSFER)
        heats = tuple((point.time, point.heat) for point in self.heats)
        return Box(
            to_outside=conductance,
            heat_capacity=data.heat_capacity,
            outside_c=data.outside_c,
            place_to_air=data.place_to_air,
            neighbour=data.neighbour,
            place_heat_capacity=data.place_heat_capacity,
            heat=heats or data.heat or 0.0,
        )

    def ways(self, fit: Callable[[Path], Calibration]) -> tuple[Way, ...]:
        """The ways, for `fusebox`, their files read.

        Parameters
        ----------
        fit : callable
            Gives the calibration of a definition or fit file; asked once for each.
        """
        folder = Path(self.path).parent
        fits: dict[str, Calibration] = {}
        places = self._placed()
        found = []
        for data, place in zip(self.way_data, places, strict=True):
            if data.fuse not in fits:
                fits[data.fuse] = fit(folder / data.fuse)
            found.append(
                Way(
                    name=data.name,
                    subject=fits[data.fuse],
                    load=self._load(data),
                    after=data.after,
                    period=data.period,
                    place=place,
                    row=data.row,
                    cable_inside=data.cable_inside,
                )
            )
        return tuple(found)

    def _placed(self) -> list[int]:
        """Place of each way; one without takes the next free one of its row."""
        taken = {(w.row, w.place) for w in self.way_data if w.place is not None}
        found = []
        for way in self.way_data:
            place = way.place
            if place is None:
                place = 1
                while (way.row, place) in taken:
                    place += 1
                taken.add((way.row, place))
            found.append(place)
        return found

    def _load(self, data: WayData) -> float | Waveform:
        if data.capture is None:
            assert data.current is not None
            return data.current
        return data.read(
            Path(self.path).parent,
            asked_by=f"the way {data.name!r} of {self.path}",
            gain_tolerance=data.gain_tolerance or 0.0,
        )


def load_box(path: str | Path) -> BoxPlan:
    """Read the plan of a fuse box from a TOML file, in SI.

    Parameters
    ----------
    path : str or Path
        The file, UTF-8.

    Returns
    -------
    BoxPlan

    Raises
    ------
    FileError
        When the file cannot be read, understood or believed.
    """
    from ...fuse import schema  # pydantic only when a file is read

    text = read_text(path)
    values, places = parse(text, path, kind="plan")
    _refuse_other(values, path)
    values, _ = migrated(values, places, path, PLAN_VERSION, {})
    schema.check(BoxPlan, values, places, path)
    plan = record_of(BoxPlan, values, path=str(path))
    _check(plan, places, path)
    return plan


def _refuse_other(values: dict[str, Any], path: str | Path) -> None:
    if "family" in values and "way" not in values:
        raise FileError(
            "not-a-box-plan",
            "this is the definition of a fuse, not the plan of a fuse box",
            path=path,
            expected="[box] and one [[way]] for each circuit",
            mend="name it as the fuse of a [[way]] in a plan",
        )


def _check(plan: BoxPlan, places: Places, path: str | Path) -> None:
    """Refuse what each key alone does not show."""

    def fault(
        code: str, key: tuple[str | int, ...], found: str, expected: str, mend: str
    ) -> FileError:
        return FileError(
            code, found, path=path, line=places.line(key), key=dotted(key), expected=expected,
            mend=mend,
        )  # fmt: skip

    box = plan.box_data
    if box.to_outside is None and box.surface is None:
        raise fault(
            "box-way-out",
            ("box",),
            "neither to_outside_W_per_K nor surface_m2",
            "one of the two",
            "measure the box, or give its surface",
        )
    if box.to_outside is not None and box.surface is not None:
        raise fault(
            "box-way-out",
            ("box", "surface_m2"),
            f"to_outside_W_per_K = {number(box.to_outside)} and surface_m2 = {number(box.surface)}",
            "one of the two",
            "keep the measured conductance",
        )
    if box.heat_transfer is not None and box.surface is None:
        raise fault(
            "box-way-out",
            ("box", "heat_transfer_W_per_m2K"),
            f"heat_transfer_W_per_m2K = {number(box.heat_transfer)} without surface_m2",
            "a surface, or a conductance alone",
            "give surface_m2, or leave it out",
        )
    if box.neighbour > 0.0 and box.place_to_air is None:
        raise fault(
            "neighbours-without-places",
            ("box", "neighbour_W_per_K"),
            f"neighbour_W_per_K = {number(box.neighbour)} and no place_to_air_W_per_K",
            "places with air of their own",
            "give place_to_air_W_per_K, or leave neighbour_W_per_K out",
        )
    if box.heat is not None and plan.heats:
        raise fault(
            "heat-twice",
            ("heat", 0),
            f"heat_W = {number(box.heat)} in [box] and a table [[heat]]",
            "one of the two",
            "take the constant heat into the table",
        )
    for i, (one, two) in enumerate(zip(plan.heats, plan.heats[1:], strict=False), start=1):
        if two.time <= one.time:
            raise fault(
                "heat-not-increasing",
                ("heat", i, "time_s"),
                f"time_s = {number(two.time)} after {number(one.time)}",
                "times that increase",
                "put the points in order of time",
            )
    if not plan.way_data:
        raise fault("no-ways", ("way",), "the plan has no ways", "one [[way]] a circuit",
                    "add the circuits")  # fmt: skip
    names: set[str] = set()
    taken: set[tuple[int, int]] = set()
    for i, way in enumerate(plan.way_data):
        if way.name in names:
            raise fault("name-taken", ("way", i, "name"), f"name = {way.name!r} for a second way",
                        "a name each", "rename one of the two")  # fmt: skip
        names.add(way.name)
        if way.place is not None:
            if (way.row, way.place) in taken:
                raise fault(
                    "place-taken", ("way", i, "place"),
                    f"place = {way.place} of row {way.row} for a second way",
                    "a place each", "give another place, or leave it out",
                )  # fmt: skip
            taken.add((way.row, way.place))
        _check_load(way, i, fault)


def _check_load(way: WayData, i: int, fault: Callable[..., FileError]) -> None:
    if (way.current is None) == (way.capture is None):
        both = way.current is not None
        raise fault(
            "load-twice" if both else "load-missing",
            ("way", i, "capture") if both else ("way", i),
            f"{way.name!r} has current_A and capture"
            if both
            else f"{way.name!r} has neither current_A nor capture",
            "one of the two",
            "keep the one that flows" if both else "give its current; 0 for an idle way",
        )
    if way.capture is None:
        for name in _OF_CAPTURES:
            if getattr(way, name) is not None:
                key = {"period": "period_s", "gain_tolerance": "gain_tolerance_percent"}.get(
                    name, name
                )
                raise fault(
                    "capture-missing", ("way", i, key), f"{key} without a capture",
                    "a capture", "name the capture, or leave the key out",
                )  # fmt: skip
    elif way.after is None:
        raise fault(
            "after-missing",
            ("way", i, "capture"),
            f"what follows {way.capture!r} is not said",
            "after = 'zero', 'hold' or 'repeat'",
            "say what flows when the record has ended",
        )
    if way.period is not None and way.after != "repeat":
        raise fault(
            "period-without-repeat", ("way", i, "period_s"),
            f"period_s = {number(way.period)} and after = {way.after!r}",
            "after = 'repeat'", "leave period_s out, or repeat the capture",
        )  # fmt: skip
