"""Fuse box: fuses that share the air of a box, which heats whom, and what each may carry."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..calibration.band import LEVEL, Band, spread_of
from ..calibration.fit import Calibration
from ..current.sampled import constant
from ..errors import InputError, Note, SolveError
from ..labelled import described
from ..threads import each
from ..units import ZERO_CELSIUS_K, ambient_notes, kelvin, takes
from ..written import measure
from .box.air import COURSE_AT, MOST_ITERATIONS, Box, march, means
from .box.grouping import grouping
from .box.model import BoxModel, SettledBox
from .box.ways import BoxedFuse, Course, Way, rest_of
from .carry import EXIT_STATUS, Verdict, VerdictName, carry
from .cautions import CAUTIONS
from .holder import terminal_time_constant
from .subject import configuration_of

if TYPE_CHECKING:
    from ..labelled import Dataset

Floats = npt.NDArray[np.float64]
SCHEMA = "fusetherm/fusebox/1"

#: Time constants of the box and of the slowest terminal followed when no duration is given.
_FOLLOWED = 6.0
#: Intervals of the course at least and at most; each is no longer than the quickest air settles.
_FEWEST, _MOST = 200, 2000
#: Intervals that grow from the start, where the fuses warm faster than the air.
_EARLY = 30
#: Order of the verdicts, the worst first.
_WORST: tuple[VerdictName, ...] = ("opens", "not_shown", "marginal", "carries")


@dataclass(frozen=True, kw_only=True)
class FuseBox:
    """Fuses that share a box: over time from cold, settled, and what each may carry.

    Arrays run over the ways; those with ``time`` over the course followed. Settled values
    belong to the constant currents of the same heat (`Way.lasting_current`), and the largest
    heat from elsewhere.
    """

    way: npt.NDArray[np.str_] = field(metadata=described("circuit", "", ("way",)))
    time: Floats = field(metadata=described("time", "s", ("time",)))
    outside_c: float = field(metadata=described("air outside the box", "degC"))
    box_air_c: Floats = field(metadata=described("air of the box", "degC", ("time",)))
    air_c: Floats = field(metadata=described("air at the fuse", "degC", ("way", "time")))
    hot_spot_c: Floats = field(
        metadata=described("hottest point of the element", "degC", ("way", "time"))
    )
    onset_time: Floats = field(
        metadata=described("time at which the element begins to melt", "s", ("way",))
    )
    pre_arcing_time: Floats = field(
        metadata=described("time at which the element parts", "s", ("way",))
    )
    lasting_current: Floats = field(
        metadata=described("constant current of the same heat", "A", ("way",))
    )
    settled_box_air_c: float = field(metadata=described("settled air of the box", "degC"))
    settled_air_c: Floats = field(metadata=described("settled air at the fuse", "degC", ("way",)))
    settled_hot_spot_c: Floats = field(
        metadata=described("settled hottest point of the element", "degC", ("way",))
    )
    settled_hot_spot_low_c: Floats = field(metadata=described("its lower edge", "degC", ("way",)))
    settled_hot_spot_high_c: Floats = field(metadata=described("its upper edge", "degC", ("way",)))
    settled_heat: Floats = field(
        metadata=described("settled heat to the air of the box", "W", ("way",))
    )
    heat_by_cables: Floats = field(
        metadata=described("settled heat to the outside by cables", "W", ("way",))
    )
    share: Floats = field(
        metadata=described("share in the heat set free in the air of the box", "1", ("way",))
    )
    cooler_without: Floats = field(
        metadata=described("settled air of the box less that without this load", "K", ("way",))
    )
    highest_air_c: Floats = field(
        metadata=described("highest air at the fuse, over time and settled", "degC", ("way",))
    )
    group_count: npt.NDArray[np.int64] = field(
        metadata=described("loaded ways", "1", ("group_count",))
    )
    group_factor: Floats = field(
        metadata=described(
            "continuous current each may carry, over that of one alone", "1", ("group_count",)
        )
    )
    neighbour_load: Floats = field(
        metadata=described("load of the others over their rating", "1", ("neighbour_load",))
    )
    neighbour_factor: Floats = field(
        metadata=described(
            "continuous current of the governing way, over that of it alone", "1",
            ("neighbour_load",),
        )
    )  # fmt: skip
    governing: str
    verdicts: tuple[Verdict, ...]
    level: float
    heat_elsewhere: float
    cooler_without_heat: float
    settled_imbalance: float
    imbalance: float
    iterations: int
    change: float
    notes: tuple[Note, ...]
    question: dict[str, Any] = field(repr=False)
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def verdict(self) -> VerdictName:
        """The worst verdict of all ways."""
        found = {v.verdict for v in self.verdicts}
        return next(v for v in _WORST if v in found)

    @property
    def exit_status(self) -> int:
        """0 carries, 10 marginal, 20 opens, 4 not shown."""
        return EXIT_STATUS[self.verdict]

    @property
    def above_outside(self) -> Floats:
        """Highest air at each fuse less that outside [K]."""
        return self.highest_air_c - self.outside_c

    @property
    def chief_heater(self) -> str | None:
        """The way whose load heats the box most when all has settled; None without any."""
        i = int(np.argmax(self.cooler_without))
        return str(self.way[i]) if self.cooler_without[i] > 0.0 else None

    def configuration(self) -> str:
        """What the answer was made with, as JSON."""
        return json.dumps(self.question)

    def to_xarray(self) -> Dataset:
        """Dataset against way and time."""
        from ..labelled import to_dataset

        return to_dataset(self, self.configuration())

    def plot(self, figure: Any = None) -> Any:
        """Figure of the airs and hot spots over time, the heaters and the grouping factor."""
        from importlib import import_module

        # the floor of figures lies above this one, so it is asked for by name
        return import_module("fusetherm.show.plots_fusebox").plot_fusebox(self, figure=figure)


@takes(duration="s")
def fusebox(
    box: Box,
    ways: Sequence[Way],
    *,
    duration: float | None = None,
) -> FuseBox:
    """Air and hot spots of a box of fuses, its heaters, its grouping factor, and verdicts.

    Parameters
    ----------
    box : Box
    ways : sequence of Way
        At least one.
    duration : float, optional
        Time followed from cold [s]; by default six time constants of the box and of the
        slowest terminal together, or the longest waveform.

    Returns
    -------
    FuseBox

    Raises
    ------
    InputError
        ``no-ways``, ``name-taken``, ``place-taken``, ``until-not-positive``,
        ``ambient-above-melting``.
    SolveError
        ``box-not-settled``.

    Notes
    -----
    The page "Fuse box" of the documentation writes the equations out. The fuses are fast and
    the air is slow: each fuse runs through the whole time in a given course of its air, the
    heats of all make a new course, and so on until no air moves by more than 0.02 K anywhere
    (waveform relaxation). The settled answer does the same with steady states, to 1e-6 K.
    Each verdict is that of `carry` in the highest air at that fuse, held from the start; a
    repeated waveform goes on there for six time constants of its terminal at least, and opens
    when the constant current of the same heat has no steady state.
    """
    if not ways:
        raise InputError("no-ways", "the box has no ways", expected="at least one fuse")
    if duration is not None and not (math.isfinite(duration) and duration > 0.0):
        raise InputError(
            "until-not-positive", f"the duration is {duration} s", expected="a time above 0 s"
        )
    model = BoxModel(box, ways)
    lasting = np.array([way.lasting_current for way in ways])
    settled = model.settled(lasting)
    grid = _grid(model, duration)
    course = _course(model, grid, settled)
    courses, rise = course.fuses, course.rise
    heats = np.array([rest.to_box for rest in settled.fuses])
    given = float(heats.sum()) + settled.heat_elsewhere
    without = np.array([_without(model, settled, lasting, i) for i in range(len(ways))])
    air_c = box.outside_c + rise[:, model.air.at].T
    highest = np.maximum(settled.air_c, air_c.max(axis=1))
    verdicts = tuple(
        _verdict(fuse, float(highest[i]), float(grid[-1]), settled.fuses[i].carries)
        for i, fuse in enumerate(model.fuses)
    )
    low, high = _bands(model, settled, lasting)
    group = grouping(model)
    notes = (*ambient_notes(box.outside_c), *_notes(model, settled), *group.notes)
    return FuseBox(
        way=np.array([way.name for way in ways]),
        time=grid,
        outside_c=box.outside_c,
        box_air_c=box.outside_c + rise[:, -1],
        air_c=air_c,
        hot_spot_c=np.array([c.hot_c for c in courses]),
        onset_time=np.array([math.nan if c.onset is None else c.onset for c in courses]),
        pre_arcing_time=np.array([math.nan if c.parted is None else c.parted for c in courses]),
        lasting_current=lasting,
        settled_box_air_c=settled.box_c,
        settled_air_c=settled.air_c,
        settled_hot_spot_c=np.array([rest.hot_c for rest in settled.fuses]),
        settled_hot_spot_low_c=low,
        settled_hot_spot_high_c=high,
        settled_heat=heats,
        heat_by_cables=np.array([rest.to_outside for rest in settled.fuses]),
        share=heats / given if abs(given) > 1e-9 else np.zeros(len(ways)),
        cooler_without=settled.box_c - without,
        highest_air_c=highest,
        group_count=group.count,
        group_factor=group.factor,
        neighbour_load=group.load,
        neighbour_factor=group.loaded_factor,
        governing=group.governing,
        verdicts=verdicts,
        level=LEVEL if any(isinstance(w.subject, Calibration) for w in ways) else 0.0,
        heat_elsewhere=settled.heat_elsewhere,
        cooler_without_heat=(
            settled.box_c - model.settled(lasting, settled.solution, heat=0.0).box_c
        ),
        settled_imbalance=settled.imbalance,
        imbalance=course.imbalance,
        iterations=course.iterations,
        change=course.change,
        notes=tuple(dict.fromkeys(notes)),
        question=_question(box, ways, float(grid[-1])),
    )


# over time ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _BoxCourse:
    """The airs over time [K above the outside], the fuses in them, and how they were found."""

    rise: Floats
    fuses: tuple[Course, ...]
    imbalance: float
    iterations: int
    change: float


def _grid(model: BoxModel, duration: float | None) -> Floats:
    """Times of the course [s]."""
    rates = model.air.rates()
    if duration is None:
        slow = 1.0 / float(rates[0]) + max(terminal_time_constant(f.model) for f in model.fuses)
        duration = max(_FOLLOWED * slow, *(way.length for way in model.ways), 1.0)
    count = int(np.clip(math.ceil(duration * float(rates[-1])), _FEWEST, _MOST))
    step = duration / count
    early = step * np.geomspace(1e-3, 1.0, _EARLY)
    return np.concatenate(([0.0], early, step * np.arange(2, count + 1)))


def _course(model: BoxModel, grid: Floats, settled: SettledBox) -> _BoxCourse:
    """Waveform relaxation: fuses in the airs, airs from the fuses, until the airs stay."""
    air, box = model.air, model.box
    elsewhere = means(*box.course_of_heat, grid)
    draw = settled.solution.draw
    settled_k = settled.air_c + ZERO_CELSIUS_K
    rise = np.zeros((len(grid), len(air.capacity)))
    for iteration in range(1, MOST_ITERATIONS + 1):
        fuses = _runs(model, grid, rise, settled_k)
        heat = np.array([fuse.heat for fuse in fuses]).T
        new = march(air, grid, heat, draw, rise, elsewhere)
        change = float(np.max(np.abs(new - rise)))
        rise = new
        if change < COURSE_AT:
            return _BoxCourse(
                rise, fuses, _imbalance(model, grid, rise, heat, elsewhere), iteration, change
            )
    raise SolveError(
        "box-not-settled",
        f"the course of the box's air still moves by {measure(change, 'K')} after {iteration} "
        "rounds",
        expected="a box that gives off the heat of its fuses",
        mend="check the conductances and the loads",
    )


def _runs(model: BoxModel, grid: Floats, rise: Floats, settled_k: Floats) -> tuple[Course, ...]:
    """Every fuse through the course of its air."""

    def one(i: int) -> Course:
        air_k = model.outside_k + rise[:, model.air.at[i]]
        return model.fuses[i].run(grid, air_k, float(settled_k[i]))

    return tuple(each(one, len(model.fuses)))


def _imbalance(
    model: BoxModel, grid: Floats, rise: Floats, heat: Floats, elsewhere: Floats
) -> float:
    """Heat given less stored less passed on, over the heat turned over, whole course [-]."""
    step = np.diff(grid)
    middle = 0.5 * (rise[1:, -1] + rise[:-1, -1])
    given = float((heat.sum(axis=1) + elsewhere) @ step)
    passed = model.box.to_outside * float(middle @ step)
    stored = float(model.air.capacity @ rise[-1])
    turned = float((np.abs(heat).sum(axis=1) + elsewhere) @ step) + abs(passed)
    return abs(given - passed - stored) / max(turned, 1e-9)


# what each is, and may --------------------------------------------------------------------


def _without(model: BoxModel, settled: SettledBox, currents: Floats, i: int) -> float:
    """Settled air of the box without the load of one way [degC]."""
    if currents[i] == 0.0:
        return settled.box_c
    others = currents.copy()
    others[i] = 0.0
    return model.settled(others, settled.solution).box_c


def _verdict(fuse: BoxedFuse, air_c: float, duration: float, settles: bool) -> Verdict:
    """Whether the fuse of a way carries its load in its highest air."""
    way, lasting = fuse.way, fuse.way.lasting_current
    if isinstance(way.load, float | int) or (way.after == "repeat" and not settles):
        held = constant(lasting, duration)
        return carry(fuse.subject, held, ambient_c=air_c, after="hold")
    if way.after == "hold":
        return carry(fuse.subject, way.load, ambient_c=air_c, after="hold")
    if way.after == "zero":
        return carry(fuse.subject, way.load, ambient_c=air_c)
    # a repeat goes on beyond what is followed: it is asked until its holder has settled, however
    # little is followed, and its last cycle is no end under load
    whole = max(duration, _FOLLOWED * terminal_time_constant(fuse.model))
    return carry(fuse.subject, way.course(whole).then(constant(0.0, 1.0)), ambient_c=air_c)


def _bands(model: BoxModel, settled: SettledBox, currents: Floats) -> tuple[Floats, Floats]:
    """Edges of the settled hot spots in their airs [degC]: fuses differ, the box does not."""
    edges = []
    for i, fuse in enumerate(model.fuses):
        own = settled.fuses[i].hot_c
        over = own - model.box.outside_c
        band = _hot_band(fuse, float(settled.air_c[i]), float(currents[i]), model.box.outside_c)
        edges.append(
            (own, own)
            if band is None or over <= 0.0
            else (model.box.outside_c + over * band.low, model.box.outside_c + over * band.high)
        )
    return np.array([e[0] for e in edges]), np.array([e[1] for e in edges])


def _hot_band(fuse: BoxedFuse, air_c: float, current: float, outside_c: float) -> Band | None:
    """Band of the hot spot's rise above the outside; None without one."""
    subject = fuse.subject
    if not isinstance(subject, Calibration) or current == 0.0:
        return None
    fitted = fuse.model
    draws, units = subject.models("installed"), subject.units.units(fitted)
    models = (fitted, *draws, *units)

    def one(i: int) -> float:
        hot = rest_of(models[i], fuse.cells, kelvin(air_c), current).hot_c
        return math.log(max(hot - outside_c, 1e-6))

    found = np.array(each(one, len(models)))
    off = found[1:] - found[0]
    return spread_of(off[: len(draws)], off[len(draws) :])


def _notes(model: BoxModel, settled: SettledBox) -> tuple[Note, ...]:
    notes: tuple[Note, ...] = ()
    for way, rest in zip(model.ways, settled.fuses, strict=True):
        if not rest.carries:
            text = (
                f"{way.name}: {measure(way.lasting_current, 'A')} has no steady state in this box; "
                "it was taken to heat the others as the largest current that has one"
            )
            notes += (Note("opens-in-the-box", text),)
    repeated = [way.name for way in model.ways if way.after in ("repeat",)]
    if repeated:
        text = (
            f"settled values of {', '.join(repeated)} belong to the constant current of the same "
            "heat; the course in time has the peaks"
        )
        notes += (Note("settled-by-rms", text),)
    return notes


def _question(box: Box, ways: Sequence[Way], duration: float) -> dict[str, Any]:
    time, heat = box.course_of_heat
    return {
        "to_outside_W_per_K": box.to_outside,
        "heat_capacity_J_per_K": box.heat_capacity,
        "outside_C": box.outside_c,
        "place_to_air_W_per_K": box.place_to_air,
        "neighbour_W_per_K": box.neighbour,
        "place_heat_capacity_J_per_K": box.place_heat_capacity,
        "heat_time_s": time.tolist(),
        "heat_W": heat.tolist(),
        "duration_s": duration,
        "ways": [
            {
                "name": way.name,
                "row": way.row,
                "place": way.place,
                "lasting_current_A": way.lasting_current,
                "after": way.after,
                "cable_inside_m": way.cable_inside,
                "made_with": configuration_of(way.subject),
            }
            for way in ways
        ],
    }
