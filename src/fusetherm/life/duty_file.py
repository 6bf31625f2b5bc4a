"""Duty files: a day or a mission in TOML, captures and shapes with their counts."""

# ruff: noqa: RUF009  (keyed makes a dataclass field)
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from ..current.shapes import (
    chopped,
    constant,
    exponential_decay,
    half_sine,
    lamp_inrush,
    triangle,
)
from ..current.waveform import Waveform
from ..errors import FileError, InputError, Note
from ..fuse import schema
from ..fuse.definition import migrated
from ..fuse.records import keyed, parse, read_text, record_of
from ..fuse.toml_lines import Places, dotted
from ..units import ZERO_CELSIUS_K, ambient_notes
from .capture_table import READING, CaptureTable
from .duty import Duty, DutyEvent

#: Version of the file this code reads.
SCHEMA_VERSION = 1

ShapeName = Literal["rectangle", "triangle", "half-sine", "decay", "lamp", "chopped"]
_COLD = -ZERO_CELSIUS_K


def _time(key: str, about: str) -> Any:
    return keyed(key, about, above=0.0, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class EventData(CaptureTable):
    """One event as its table has it."""

    name: str | None = keyed("name", "What the event is.", default=None)
    shape: ShapeName | None = keyed("shape", "Shape of a drawn current.", default=None)
    current: float | None = keyed("current_A", "Crest, or steady current of a lamp [A].",
                                  above=0.0, default=None)  # fmt: skip
    duration: float | None = _time("duration_s", "Length of the shape [s].")
    rise: float | None = keyed("rise_s", "Rise of a triangle [s].", least=0.0, default=None)
    fall: float | None = keyed("fall_s", "Fall of a triangle [s].", least=0.0, default=None)
    time_constant: float | None = _time("time_constant_s", "Time constant [s].")
    ratio: float | None = keyed(
        "inrush_ratio", "First over steady current of a lamp.", least=1.0, default=None
    )
    on_share: float | None = keyed(
        "on_percent", "Share of a period that is on [%].", above=0.0, most=100.0, default=None
    )
    frequency: float | None = _time("frequency_Hz", "Switching frequency [Hz].")
    count: int = keyed("count", "How many times in a row.", least=1, default=1)
    spacing: float | None = _time("spacing_s", "From start to start, the last time too [s].")
    ambient_c: float | None = keyed("ambient_C", "Ambient of the fuse [degC].", above=_COLD,
                                    default=None)  # fmt: skip
    preload: float | None = keyed("preload_A", "Current before and between [A].", above=0.0,
                                  default=None)  # fmt: skip
    preload_time: float | None = _time("preload_s", "How long it flows before the first time [s].")
    preload_stays: bool = keyed(
        "preload_stays", "Whether the preload goes on under the event.", default=False
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyData:
    """A duty file as its text has it."""

    schema_version: int = keyed("schema_version", "Version of this file format.", least=1)
    id: str = keyed("id", "Name of the duty.")
    title: str | None = keyed("title", "One line for the reader.", default=None)
    period: float | None = _time("period_s", "From start to start [s]; left out: no rest.")
    ambient_c: float | None = keyed(
        "ambient_C", "Ambient of events that state none [degC].", above=_COLD, default=None
    )
    source: str = keyed("source", "Where the counts and times come from.")
    events: tuple[EventData, ...] = keyed("event", "What happens, in order.")


#: Fields that a drawn current needs and may have, by shape.
_NEEDS: Mapping[ShapeName, tuple[str, ...]] = MappingProxyType(
    {
        "rectangle": ("current", "duration"),
        "triangle": ("current", "rise", "fall"),
        "half-sine": ("current", "duration"),
        "decay": ("current", "time_constant"),
        "lamp": ("current", "ratio", "time_constant"),
        "chopped": ("current", "on_share", "frequency", "duration"),
    }
)
_MAY: Mapping[ShapeName, tuple[str, ...]] = MappingProxyType(
    {"decay": ("duration",), "lamp": ("duration",)}
)
_OF_SHAPES = tuple(dict.fromkeys(name for names in _NEEDS.values() for name in names))


def load_duty(path: str | Path) -> Duty:
    """Read a duty from a TOML file, with the captures it names.

    Parameters
    ----------
    path : str or Path
        The file, UTF-8.

    Returns
    -------
    Duty

    Raises
    ------
    FileError
        ``not-a-duty``, ``event-without-current``, ``event-with-two-currents``,
        ``key-of-another-event``, ``missing-key``, ``period-too-short``; what a definition's
        keys and a capture's reading raise.
    """
    return loads(read_text(path), path)


def loads(text: str, path: str | Path = "") -> Duty:
    """Duty from the text of a TOML file.

    Parameters
    ----------
    text : str
        The text.
    path : str or Path, optional
        Its file, for messages and for captures named relative to it.

    Returns
    -------
    Duty

    Raises
    ------
    FileError
        As `load_duty`.
    """
    name = str(path) or "duty"
    values, places = parse(text, name, kind="duty")
    _refuse_definition(values, places, name)
    values, notes = migrated(values, places, name, SCHEMA_VERSION, {})
    schema.check(DutyData, values, places, name)
    return _Reader(values, places, name, notes).duty()


def _refuse_definition(values: dict[str, Any], places: Places, path: str) -> None:
    for key in ("family", "rated_current_A"):
        if key in values and "event" not in values:
            raise FileError(
                "not-a-duty", f"{key} belongs to the definition of a fuse", path=path,
                line=places.line((key,)), key=key, expected="a duty: [[event]] tables",
                mend="give the duty file here; the fuse has an option of its own",
            )  # fmt: skip


class _Reader:
    """Checked values of one file on their way to a duty."""

    def __init__(
        self, values: dict[str, Any], places: Places, path: str, notes: tuple[Note, ...]
    ) -> None:
        self.data = record_of(DutyData, values)
        self.places, self.path, self.notes = places, path, notes
        self.keys = {
            field: EventData.__dataclass_fields__[field].metadata["key"]
            for field in EventData.__dataclass_fields__
        }

    def duty(self) -> Duty:
        """The duty, each fault told with its line."""
        data = self.data
        if not data.events:
            raise self.fault("missing-key", "no event", ("event",), "at least one [[event]] table",
                             "add an [[event]] table")  # fmt: skip
        events = tuple(self._event(i, event) for i, event in enumerate(data.events))
        try:
            return Duty(
                name=data.id, events=events, period=data.period, ambient_c=data.ambient_c,
                notes=self.notes + self._remarks(events), path=self.path,
            )  # fmt: skip
        except InputError as cause:
            raise self._told(cause, ("period_s",)) from None

    def fault(
        self, code: str, found: str, place: tuple[str | int, ...], expected: str, mend: str
    ) -> FileError:
        line = self.places.line(place)
        return FileError(
            code, found, path=self.path, line=line, key=dotted(place), expected=expected, mend=mend
        )

    def _told(self, cause: InputError, place: tuple[str | int, ...]) -> FileError:
        """What a value says against itself, with its place in the file."""
        return FileError(
            cause.code, cause.found, path=self.path, line=self.places.line(place),
            key=dotted(place), expected=cause.expected, mend=cause.mend,
        )  # fmt: skip

    def _remarks(self, events: tuple[DutyEvent, ...]) -> tuple[Note, ...]:
        stated = {e.ambient_c for e in events} | {self.data.ambient_c}
        notes = [note for value in stated if value is not None for note in ambient_notes(value)]
        for event in events:
            for note in event.waveform.notes:
                notes.append(Note(note.code, f"{event.name}: {note.text}"))
        return tuple(dict.fromkeys(notes))

    def _event(self, i: int, data: EventData) -> DutyEvent:
        place: tuple[str | int, ...] = ("event", i)
        for first, second in (("preload", "preload_time"), ("preload_time", "preload")):
            if getattr(data, first) is not None and getattr(data, second) is None:
                raise self._missing(place, second, f"beside {self.keys[first]}")
        if data.preload_stays and data.preload is None:
            raise self._missing(place, "preload", "beside preload_stays")
        wave, name = self._current(place, data)
        try:
            return DutyEvent(
                name=data.name or name,
                waveform=wave,
                count=data.count,
                spacing=data.spacing,
                ambient_c=data.ambient_c,
                preload=data.preload or 0.0,
                preload_time=data.preload_time or 0.0,
                preload_stays=data.preload_stays,
            )
        except InputError as cause:
            raise self._told(cause, (*place, "spacing_s")) from None

    def _missing(self, place: tuple[str | int, ...], field: str, why: str) -> FileError:
        key = self.keys[field]
        about = EventData.__dataclass_fields__[field].metadata["about"]
        return self.fault(
            "missing-key", f"{key} is missing", (*place, key), f"{key} {why}: {about}",
            f"add {key} = ...",
        )  # fmt: skip

    def _current(self, place: tuple[str | int, ...], data: EventData) -> tuple[Waveform, str]:
        """Current of one time, and what it is called."""
        if data.capture is None and data.shape is None:
            raise self.fault(
                "event-without-current", "an event without a current", place,
                "capture = a path, or shape = a name", "add one of the two",
            )  # fmt: skip
        if data.capture is not None and data.shape is not None:
            raise self.fault(
                "event-with-two-currents", "an event with a capture and a shape",
                (*place, "shape"), "one of the two", "make two events of it",
            )  # fmt: skip
        if data.shape is None:
            self._only(place, data, READING, "a capture")
            return self._capture(place, data), Path(str(data.capture)).stem
        needed = _NEEDS[data.shape]
        self._only(place, data, (*needed, *_MAY.get(data.shape, ())), f"a {data.shape}")
        for field in needed:
            if getattr(data, field) is None:
                raise self._missing(place, field, f"for a {data.shape}")
        try:
            return _SHAPES[data.shape](data), data.shape
        except InputError as cause:
            raise self._told(cause, (*place, "shape")) from None

    def _only(
        self, place: tuple[str | int, ...], data: EventData, allowed: tuple[str, ...], kind: str
    ) -> None:
        """Refuse keys that say something about another kind of current."""
        for field in (*READING, *_OF_SHAPES):
            if field not in allowed and getattr(data, field) is not None:
                key = self.keys[field]
                raise self.fault(
                    "key-of-another-event", f"{key} says nothing about {kind}", (*place, key),
                    ", ".join(self.keys[name] for name in allowed), "remove it",
                )  # fmt: skip

    def _capture(self, place: tuple[str | int, ...], data: EventData) -> Waveform:
        file = Path(self.path).parent / str(data.capture)
        if not file.is_file():
            raise self.fault(
                "file-missing", f"there is no file {data.capture!r}", (*place, "capture"),
                "a path from the folder of this file", "check the path",
            )  # fmt: skip

        line = self.places.line((*place, "capture"))
        return data.read(
            Path(self.path).parent, asked_by=f"{dotted(place)}, line {line} of {self.path}"
        )


def _number(value: float | None) -> float:
    """A key that has been found there."""
    assert value is not None
    return value


_SHAPES: Mapping[ShapeName, Callable[[EventData], Waveform]] = MappingProxyType(
    {
        "rectangle": lambda d: constant(_number(d.current), _number(d.duration)),
        "triangle": lambda d: triangle(_number(d.current), _number(d.rise), _number(d.fall)),
        "half-sine": lambda d: half_sine(_number(d.current), _number(d.duration)),
        "decay": lambda d: exponential_decay(
            _number(d.current), _number(d.time_constant), d.duration
        ),
        "lamp": lambda d: lamp_inrush(
            _number(d.current), _number(d.ratio), _number(d.time_constant), d.duration
        ),
        "chopped": lambda d: chopped(
            _number(d.current), _number(d.on_share), _number(d.frequency), _number(d.duration)
        ),
    }
)
