"""A duty: what a fuse carries in a day or a mission, event after event."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..current.sampled import constant
from ..current.tree import Joined
from ..current.waveform import Waveform, finite, positive
from ..errors import InputError, Note
from ..units import kelvin

#: Time in which the ambient goes over from one event's to the next [s], and at most this share
#: of the former: an own choice, quick beside a fuse and slow beside a step.
_CHANGE, _SHARE = 60.0, 0.05


@dataclass(frozen=True, kw_only=True)
class DutyEvent:
    """One kind of event of a duty, with its count.

    Parameters
    ----------
    name : str
        What it is.
    waveform : Waveform
        Current of one time [A].
    count : int
        How many times in a row.
    spacing : float, optional
        From start to start [s], the last time too; the waveform's duration when absent.
    ambient_c : float, optional
        Ambient [degC]; that of the duty when absent.
    preload : float
        Current before the first time and between the times [A].
    preload_time : float
        How long it flows before the first time [s].
    preload_stays : bool
        Whether it goes on under the waveform; a capture taken with it on already contains it.

    Raises
    ------
    InputError
        ``count-not-positive``, ``period-too-short``, ``not-positive``, ``not-finite``; what
        `kelvin` raises.
    """

    name: str
    waveform: Waveform
    count: int = 1
    spacing: float | None = None
    ambient_c: float | None = None
    preload: float = 0.0
    preload_time: float = 0.0
    preload_stays: bool = False

    def __post_init__(self) -> None:
        finite(self.preload, "preload")
        if finite(self.preload_time, "time of the preload", "s") < 0.0:
            raise InputError(
                "not-positive", f"preload of {self.preload_time:g} s", expected="0 s or more"
            )
        if self.ambient_c is not None:
            kelvin(self.ambient_c, "ambient")
        self.train  # noqa: B018  (refuses a spacing and a count that cannot be)

    @property
    def once(self) -> Waveform:
        """Current of one time, with a preload that stays [A]."""
        return self.waveform.plus(self.preload) if self.preload_stays else self.waveform

    @property
    def train(self) -> Waveform:
        """All times in a row [A]."""
        return self.once.repeated(self.count, period=self.spacing, rest=self.preload)

    @property
    def current(self) -> Waveform:
        """The event from start to end, preload first [A]."""
        if self.preload_time == 0.0:
            return self.train
        return constant(self.preload, self.preload_time).then(self.train)

    @property
    def duration(self) -> float:
        """Time it takes [s]."""
        return self.preload_time + self.train.duration


@dataclass(frozen=True, kw_only=True)
class Duty:
    """Events in order, repeated for ever.

    Parameters
    ----------
    name : str
        What it is.
    events : tuple of DutyEvent
        At least one; one follows the other at once.
    period : float, optional
        From start to start [s], the rest without current; the events' own time when absent.
    ambient_c : float, optional
        Ambient of events that state none [degC].
    notes : tuple of Note
        Remarks made on reading.
    path : str
        Its file, empty when there is none.

    Raises
    ------
    InputError
        ``duty-without-events``, ``period-too-short``; what `kelvin` raises.

    Examples
    --------
    >>> pulse = Waveform(time=[0, 0.2], current=[60, 60])
    >>> start = DutyEvent(name="start", waveform=pulse, count=6, spacing=90.0)
    >>> day = Duty(name="day", events=(start,), period=86400.0, ambient_c=60.0)
    >>> day.waveform.i2t()
    4320.0
    """

    name: str
    events: tuple[DutyEvent, ...]
    period: float | None = None
    ambient_c: float | None = None
    notes: tuple[Note, ...] = ()
    path: str = ""

    def __post_init__(self) -> None:
        if not self.events:
            raise InputError("duty-without-events", "a duty without an event", expected="one event")
        if self.ambient_c is not None:
            kelvin(self.ambient_c, "ambient")
        own = math.fsum(event.duration for event in self.events)
        if self.period is not None and positive(self.period, "period") < own * (1.0 - 1e-9):
            raise InputError(
                "period-too-short",
                f"period of {self.period:g} s for events of {own:g} s together",
                expected="a period not shorter than the events",
                mend="lengthen the period, or leave it out",
            )

    @property
    def waveform(self) -> Waveform:
        """One run through all events, rest included [A]; long repeats stay repeats."""
        row = Joined(tuple(event.current for event in self.events))
        left = 0.0 if self.period is None else self.period - row.duration
        return row.then(constant(0.0, left)) if left > 1e-9 * row.duration else row

    @property
    def duration(self) -> float:
        """From start to start [s]."""
        return self.waveform.duration

    @property
    def starts(self) -> tuple[float, ...]:
        """Start of each event [s]."""
        found, at = [], 0.0
        for event in self.events:
            found.append(at)
            at += event.duration
        return tuple(found)

    def events_at(self, times: npt.ArrayLike) -> npt.NDArray[np.int64]:
        """Number of the event that runs at each time, from 0; the rest belongs to the last.

        At an end of one and start of the next, the former.
        """
        slack = 1e-12 * self.duration
        before = np.searchsorted(self.starts, np.asarray(times, dtype=np.float64) - slack) - 1
        return np.maximum(before, 0).astype(np.int64)

    def ambients(self, assumed_c: float) -> tuple[float, ...]:
        """Ambient of each event [degC], where nothing states one the assumed one."""
        base = assumed_c if self.ambient_c is None else self.ambient_c
        return tuple(base if e.ambient_c is None else e.ambient_c for e in self.events)

    @property
    def ambient_stated(self) -> bool:
        """Whether every event has its ambient stated."""
        return self.ambient_c is not None or all(e.ambient_c is not None for e in self.events)

    def ambient(self, assumed_c: float) -> float | tuple[tuple[float, float], ...]:
        """Ambient over one run [s, degC]: one value where it does not change.

        It goes over to that of an event before its start, in the last minute or twentieth of
        what comes before it; to that of the first event at the end of the duty.
        """
        values = self.ambients(assumed_c)
        return values[0] if len(set(values)) == 1 else tuple(self._course(values))

    def _course(self, values: tuple[float, ...]) -> Iterator[tuple[float, float]]:
        starts = (*self.starts, self.duration)
        yield 0.0, values[0]
        for i, (value, after) in enumerate(zip(values, (*values[1:], values[0]), strict=True)):
            if after != value:
                yield starts[i + 1] - min(_CHANGE, _SHARE * (starts[i + 1] - starts[i])), value
                yield starts[i + 1], after


def single(waveform: Waveform, period: float | None, ambient_c: float) -> Duty:
    """The duty that is one waveform at a period [s] and an ambient [degC]."""
    event = DutyEvent(name="", waveform=waveform, spacing=period)
    return Duty(name="", events=(event,), ambient_c=ambient_c, notes=waveform.notes)
