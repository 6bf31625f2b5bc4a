"""Whether a definition can be believed: what single values cannot show but together do.

Also the checks of the conditions a question asks about: ambient, current and time against
what the definition covers.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Collection, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np
from numpy.typing import ArrayLike

from ..errors import FileError, InputError, Note
from ..units import ZERO_CELSIUS_K, ambient_notes, kelvin
from ..written import measure
from .family import element_metal, family_names, family_of, load_family
from .gates import gate_table
from .spot import law_of
from .toml_lines import Places, dotted

if TYPE_CHECKING:
    from .definition import Definition
    from .family import Family
    from .published import Curve, CurvePoint

#: Fewest currents with a time that a definition's curve, and a fit, is of use with. A curve can fix
#: four or five combinations of quantities; with fewer points the priors fill what is missing, every
#: point is met, and no misfit is left that would widen the band.
MINIMUM_POINTS = 4
#: Where points help a fit most, over the rating: near what it carries for ever, at the knee, and
#: where the heat stays in the notch (own choice, the currents standards set gates at).
_HELPFUL = (1.35, 2.0, 3.5, 6.0)

#: Below this an operating time [s] holds arcing that a pre-arcing time does not
#: (common practice, no source).
ARCING_TIME = 0.02

_Place = tuple[str | int, ...]
_TIMES = ("time", "min_time", "max_time")


class _Refusal:
    """Raises faults of one file with path, line and key."""

    def __init__(self, places: Places, path: str | Path) -> None:
        self.places, self.path = places, path

    def __call__(
        self, code: str, found: str, place: _Place, expected: str, mend: str = ""
    ) -> NoReturn:
        raise FileError(
            code,
            found,
            path=self.path,
            line=self.places.line(place),
            key=dotted(place),
            expected=expected,
            mend=mend,
        )

    def translated(self, place: _Place, question: Callable[[], Any]) -> Any:
        """Answer of a question, its refusal put at a place of the file."""
        try:
            return question()
        except FileError:
            raise
        except InputError as cause:
            self(cause.code, cause.found, place, cause.expected, cause.mend)


def check_definition(fuse: Definition, places: Places, path: str | Path) -> tuple[Note, ...]:
    """Notes on a definition; refuses one that contradicts itself.

    Parameters
    ----------
    fuse : Definition
        The definition, each value checked by itself.
    places : Places
        Lines of its keys.
    path : str or Path
        Its file, for messages.

    Returns
    -------
    tuple of Note
        What is doubtful.

    Raises
    ------
    FileError
        With the codes listed on the page of error codes.
    """
    refuse = _Refusal(places, path)
    notes: list[Note] = []
    family = refuse.translated(("family",), lambda: family_of(fuse))
    place: _Place = ("size",) if fuse.size else ("rated_current_A",)
    _, remarks = refuse.translated(place, lambda: family.size(fuse.rated_current, fuse.size))
    notes += remarks
    for index, name in enumerate(fuse.gates):
        place = ("gates", index)
        table = refuse.translated(place, partial(gate_table, name))
        if not table.applies(fuse.rated_current):
            expected = f"a rating of {table.min_rating:g} to {table.max_rating:g} A"
            found = f"{name} does not apply to {fuse.rated_current:g} A"
            refuse("gates-not-applicable", found, place, expected, "choose other gates")
    notes += _check_metal(fuse, refuse)
    notes += _check_geometry(fuse, refuse)
    _check_spot_and_filler(fuse, family, refuse)
    for key, connection in (
        ("test_connection", fuse.test_connection),
        ("installed_connection", fuse.installed_connection),
    ):
        if connection is None:
            continue
        sides = (connection.side("left"), connection.side("right"))
        if not all(side.cable_section for side in sides):
            found = "cable_section_mm2 is missing for one side or both"
            mend = "add cable_section_mm2 = ...; the cable decides how hot the terminals run"
            refuse("missing-key", found, (key,), "cable_section_mm2 for both sides", mend)
    if fuse.curve is None:
        notes.append(Note("no-curve", "no curve is given: the priors of the family decide alone"))
    else:
        notes += _check_curve(fuse, fuse.curve, refuse)
    for ambient in _ambients(fuse):
        notes += ambient_notes(ambient)
    return (*notes, *_hot_notes(fuse), *_ceiling_notes(fuse))


def _check_metal(fuse: Definition, refuse: _Refusal) -> Iterator[Note]:
    """The metal exists, melts in order and above the ambient of the curve."""
    own = fuse.metal
    place: _Place = ("geometry", "metal") if fuse.geometry and fuse.geometry.metal else ("metal",)
    if own is not None:
        if own.liquidus_c is not None and own.liquidus_c < own.solidus_c:
            found = f"liquidus_C = {own.liquidus_c:g} lies below solidus_C = {own.solidus_c:g}"
            expected = "a liquidus at or above the solidus"
            refuse("melting-range-order", found, ("metal", "liquidus_C"), expected)
        if own.latent_heat == 0.0:
            text = f"the latent heat of {own.name} is zero: it would melt without taking up heat"
            yield Note("latent-heat-zero", text)
        if own.temperature_coefficient <= 0.0:
            text = (
                f"the resistance of {own.name} does not rise with temperature "
                f"({own.temperature_coefficient:g} 1/K); metals of elements do"
            )
            yield Note("hot-resistance-below-cold", text)
        if own.solidus_c < max(_ambients(fuse), default=-ZERO_CELSIUS_K):
            place = ("metal", "solidus_C")
    metal = refuse.translated(place, lambda: element_metal(fuse))
    solidus_c = metal.solidus_k - ZERO_CELSIUS_K
    for ambient in _ambients(fuse):
        if ambient >= solidus_c:
            found = f"{metal.name} melts at {solidus_c:.4g} °C, below an ambient of {ambient:g} °C"
            mend = "check the unit of both: degrees Celsius, not kelvin"
            place = place if own else ("curve", "ambient_C")
            refuse("melting-below-ambient", found, place, "melting above every ambient", mend)


def _check_geometry(fuse: Definition, refuse: _Refusal) -> Iterator[Note]:
    """A notch is narrower and shorter than the element, a bore wider."""
    geometry = fuse.geometry
    if geometry is None:
        return
    across = geometry.width or geometry.diameter
    for small, large, key, other in (
        (geometry.notch_width, geometry.width, "notch_width_mm", "width_mm"),
        (geometry.notch_length, geometry.length, "notch_length_mm", "length_mm"),
        (across, geometry.bore, "width_mm" if geometry.width else "diameter_mm", "bore_mm"),
    ):
        if small and large and small >= large:
            found = f"{key} = {1e3 * small:g} is not below {other} = {1e3 * large:g}"
            refuse("geometry-contradicts", found, ("geometry", key), f"{key} below {other}")
    for index, section in enumerate(geometry.sections):
        if (section.diameter is None) == (section.width is None or section.thickness is None):
            expected = "width_mm and thickness_mm for a strip, or diameter_mm for a wire"
            found = "a section that is neither strip nor wire, or both"
            refuse("geometry-contradicts", found, ("geometry", "section", index), expected)
        if section.end_width and section.middle_width:
            found = "a section with both end_width_mm and middle_width_mm"
            place = ("geometry", "section", index)
            refuse("geometry-contradicts", found, place, "one of them", "split it in two")
    if geometry.sections and geometry.length:
        total = sum(section.length for section in geometry.sections)
        if abs(total / geometry.length - 1.0) > 0.01:
            text = (
                f"the sections add up to {1e3 * total:g} mm, length_mm says "
                f"{1e3 * geometry.length:g}; the sections are used"
            )
            yield Note("lengths-differ", text)


def _check_spot_and_filler(fuse: Definition, family: Family, refuse: _Refusal) -> None:
    """A spot and a filler belong to families that have them; a spot dissolves what it lies on."""
    for key, code, stated, has in (
        ("spot", "spot-without-family", fuse.spot, family.spot),
        ("filler", "filler-without-family", fuse.filler, family.filler),
    ):
        if stated is not None and has is None:
            found = f"[{key}] in a fuse of family {family.name}, which has none"
            others = [n for n in family_names() if getattr(load_family(n), key) is not None]
            expected = f"a family with a {key}: {', '.join(others)}"
            refuse(code, found, (key,), expected, "choose one of these")
    if family.spot is None:
        return
    place: _Place = ("spot",) if fuse.spot is not None else ("family",)
    if fuse.spot is not None and fuse.spot.onset_c is not None:
        place = ("spot", "onset_C")
    elif fuse.geometry is not None and fuse.geometry.metal is not None:
        place = ("geometry", "metal")
    refuse.translated(place, lambda: law_of(fuse, family, element_metal(fuse, family)))
    spot, geometry = fuse.spot, fuse.geometry
    if spot is None or geometry is None:
        return
    length = sum(section.length for section in geometry.sections) or geometry.length
    across = spot.position or spot.length
    if length and across and across >= length:
        found = f"a spot of an element of {1e3 * length:g} mm {1e3 * across:g} mm along or from it"
        refuse("spot-off-the-element", found, ("spot",), "a spot that lies on the element")


def _check_curve(fuse: Definition, curve: Curve, refuse: _Refusal) -> Iterator[Note]:
    """Points are whole, enough, without contradiction, and fall with the current."""
    for index, point in enumerate(curve.points):
        _check_point(point, ("curve", "point", index), refuse)
    order = sorted(range(len(curve.points)), key=lambda index: curve.points[index].current)
    for first, second in itertools.pairwise(order):
        one, other = curve.points[first], curve.points[second]
        if one.current != other.current:
            continue
        later = ("curve", "point", max(first, second))
        for name in _TIMES:
            a, b = getattr(one, name), getattr(other, name)
            if None not in (a, b) and a != b:
                found = f"{one.current:g} A has {a:g} s and {b:g} s"
                mend = "keep one, or give them as min_time_s and max_time_s"
                refuse("conflicting-duplicates", found, later, "one time for each current", mend)
        yield Note("duplicate-point", f"the point at {one.current:g} A stands twice")
    for name in _TIMES:
        chain = [index for index in order if getattr(curve.points[index], name) is not None]
        for first, second in itertools.pairwise(chain):
            a, b = curve.points[first], curve.points[second]
            before, after = getattr(a, name), getattr(b, name)
            if after > before:
                found = (
                    f"{name}_s rises from {before:g} s at {a.current:g} A "
                    f"to {after:g} s at {b.current:g} A"
                )
                place = ("curve", "point", second, f"{name}_s")
                mend = "check these two points for a slip of digit or unit"
                refuse("curve-not-monotone", found, place, "times that fall as current rises", mend)
    usable = {point.current for point in curve.points if _usable(point)}
    if len(usable) < MINIMUM_POINTS:
        found = f"{len(usable)} currents with a mean time or with both limits"
        expected = f"at least {MINIMUM_POINTS}, better 6 to 10, one within 10 % of the lowest "
        expected += "current that opens"
        wanted = helpful_currents(usable, fuse.rated_current)
        listed = ", ".join(measure(current, "A", 2) for current in wanted)
        mend = f"add {len(wanted)} more (near {listed} they help most), or leave out [curve]"
        refuse("too-few-points", found, ("curve",), expected, mend)
    for point in curve.points:
        time = point.time or point.max_time
        if time is not None and point.current < fuse.rated_current:
            text = (
                f"the curve opens at {point.current:g} A after {time:g} s, below the rated "
                f"current of {fuse.rated_current:g} A"
            )
            yield Note("opens-below-rating", text)
    if curve.time_kind == "operating":
        short = [point for point in curve.points if _shortest(point) < ARCING_TIME]
        if short:
            text = (
                f"{len(short)} operating times below {1e3 * ARCING_TIME:g} ms contain arcing, "
                "which the model does not"
            )
            yield Note("arcing-in-curve", text)
    if fuse.test_connection is None:
        text = "no test connection is given: its cable section is open, and the band the wider"
        yield Note("no-test-connection", text)


def _check_point(point: CurvePoint, place: _Place, refuse: _Refusal) -> None:
    """A point has a time, and its times are in order."""
    times = [point.min_time, point.time, point.max_time]
    given = [time for time in times if time is not None]
    if not given:
        found = f"no time at {point.current:g} A"
        mend = "add time_s, or min_time_s and max_time_s"
        refuse("missing-key", found, place, "time_s, min_time_s or max_time_s", mend)
    if given != sorted(given):
        found = f"times of {', '.join(f'{time:g}' for time in given)} s at {point.current:g} A"
        expected = "min_time_s <= time_s <= max_time_s"
        refuse("minimum-above-maximum", found, place, expected, "exchange the two limits")


def _usable(point: CurvePoint) -> bool:
    return point.time is not None or None not in (point.min_time, point.max_time)


def _shortest(point: CurvePoint) -> float:
    return min(_times(point))


def _ambients(fuse: Definition) -> list[float]:
    """Ambients [degC] anything published was measured at."""
    found = [drop.ambient_c for drop in fuse.voltage_drops]
    found += [hold.ambient_c for hold in fuse.holds]
    if fuse.minimum_fusing is not None:
        found.append(fuse.minimum_fusing.ambient_c)
    if fuse.cold_resistance is not None:
        found.append(fuse.cold_resistance.temperature_c)
    if fuse.curve is not None:
        found.append(fuse.curve.ambient_c)
    return sorted(set(found))


def _hot_notes(fuse: Definition) -> Iterator[Note]:
    """A resistance under load below the cold one, measured between the same points."""
    cold = fuse.cold_resistance
    for drop in fuse.voltage_drops:
        hot = drop.voltage / drop.current
        if cold and cold.measured_at == drop.measured_at and hot < cold.resistance:
            text = (
                f"{1e3 * drop.voltage:g} mV at {drop.current:g} A is {1e3 * hot:.4g} mohm, below "
                f"the cold {1e3 * cold.resistance:g} mohm; a loaded element has more"
            )
            yield Note("hot-resistance-below-cold", text)


def _ceiling_notes(fuse: Definition) -> Iterator[Note]:
    """A curve that opens at a current whose voltage cannot melt the metal, whatever its shape.

    By Kohlrausch the drop along an element bounds how far its hot spot lies above its ends.
    Resistance and rise of the ends are taken at most: as if all of the element were at the
    melting point.
    """
    if fuse.cold_resistance is None or fuse.curve is None or not fuse.terminal_rises:
        return
    from ..physics.kohlrausch import kohlrausch_voltage

    metal = element_metal(fuse)
    growth = metal.resistivity(metal.solidus_k) / metal.resistivity(293.15)
    current = min(point.current for point in fuse.curve.points if _usable(point))
    drop = current * fuse.cold_resistance.resistance * growth
    rise = max(one.rise * (current / one.current) ** 2 * growth for one in fuse.terminal_rises)
    end_k = kelvin(fuse.curve.ambient_c, "ambient of the curve") + rise
    if end_k >= metal.solidus_k:
        return
    needed = kohlrausch_voltage(metal, metal.solidus_k, end_k)
    if drop < needed:
        text = (
            f"at {current:g} A the element drops {1e3 * drop:.3g} mV at most, and {metal.name} "
            f"of any shape needs {1e3 * needed:.3g} mV to melt between terminals at "
            f"{end_k - ZERO_CELSIUS_K:.3g} °C: cold resistance, terminal rise and curve "
            "contradict each other"
        )
        yield Note("below-melting-voltage", text)


def helpful_currents(currents: Collection[float], rated_current: float) -> tuple[float, ...]:
    """Currents whose times would help a fit most, as many as are missing [A].

    Parameters
    ----------
    currents : collection of float
        Those with a time already [A].
    rated_current : float
        [A].
    """
    found: list[float] = []
    while len(currents) + len(found) < MINIMUM_POINTS:
        taken = [*currents, *found]
        found.append(
            max(
                (multiple * rated_current for multiple in _HELPFUL),
                key=lambda x: min((abs(math.log(x / y)) for y in taken), default=math.inf),
            )
        )
    return tuple(sorted(found))


def check_range(
    fuse: Definition, *, current: ArrayLike | None = None, time: ArrayLike | None = None
) -> tuple[Note, ...]:
    """Notes on currents [A] and times [s] outside those of the published curve.

    Parameters
    ----------
    fuse : Definition
        The fuse.
    current : array_like, optional
        Currents a question is asked for [A], any shape.
    time : array_like, optional
        Pre-arcing times answered [s], any shape; infinite ones are not judged.

    Returns
    -------
    tuple of Note
        ``outside-fitted-range``, one for current and one for time, or ``no-curve``.
    """
    if fuse.curve is None:
        return (Note("no-curve", "no curve was fitted: every answer rests on the priors"),)
    points = [point for point in fuse.curve.points if _usable(point)]
    times = [time for point in points for time in _times(point)]
    notes = []
    for what, unit, asked, known in (
        ("current", "A", current, [point.current for point in points]),
        ("time", "s", time, times),
    ):
        if asked is None:
            continue
        values = np.asarray(asked, dtype=float)
        values = values[np.isfinite(values)]
        low, high = min(known), max(known)
        outside = values[(values < low * (1 - 1e-9)) | (values > high * (1 + 1e-9))]
        if outside.size:
            text = (
                f"{what} of {measure(outside[0], unit)} lies outside the curve fitted "
                f"({measure(low, unit)} to {measure(high, unit)}): extrapolated"
            )
            notes.append(Note("outside-fitted-range", text))
    return tuple(notes)


def _times(point: CurvePoint) -> list[float]:
    return [getattr(point, name) for name in _TIMES if getattr(point, name) is not None]
