"""Doubts about a record that show only beside a fuse: its rating, its time constants."""

from __future__ import annotations

from collections.abc import Iterable

from ..current.capture import Capture
from ..current.quality import quantum
from ..current.waveform import Waveform
from ..errors import Note
from ..written import measure, number, seconds

#: Peaks over this many ratings are taken for a slip of unit; a prospective short-circuit
#: current of 6 kA is 1000 times a rating of 6 A.
_SLIP = 1000.0
#: Step of the converter that is remarked, as a share of the rated current.
_STEP = 0.05
#: A record under this share of the terminals' time constant says nothing of them: they have
#: made less than a tenth of their way.
_SHORT = 0.1


def clipped(notes: Iterable[Note]) -> bool:
    """Whether remarks say that more flowed than was recorded, so that nothing is shown by it."""
    return any(note.code == "clipped-record" for note in notes)


def rating_notes(waveform: Waveform, rated_current: float | None) -> tuple[Note, ...]:
    """Notes on a current beside the rating of the fuse it is asked of.

    Parameters
    ----------
    waveform : Waveform
        The current; how it is resolved is asked of captures only.
    rated_current : float or None
        Rated current [A]; nothing is said without one.
    """
    if rated_current is None:
        return ()
    notes = []
    peak = waveform.peak
    if peak > _SLIP * rated_current:
        text = (
            f"the peak of {measure(peak, 'A')} is {number(peak / rated_current)} times the rated "
            f"current of {measure(rated_current, 'A')}: check the unit of the column and the "
            "ratio of the clamp"
        )
        notes.append(Note("peak-far-above-rating", text))
    coarse = any(note.code == "coarse-quantisation" for note in waveform.notes)
    if isinstance(waveform, Capture) and not coarse:
        step = quantum(waveform.values, peak)
        if step is not None and step > _STEP * rated_current:
            text = (
                f"the current comes in steps of {measure(step, 'A')}, over 5 % of the rated "
                f"{measure(rated_current, 'A')}: a load of that size is known no better; use a "
                "smaller range"
            )
            notes.append(Note("coarse-quantisation", text))
    return tuple(notes)


def short_record(duration: float, load: float, constant: float) -> tuple[Note, ...]:
    """Note on a record too short for what its load does to the holder.

    Parameters
    ----------
    duration : float
        Of the record [s].
    load : float
        Current at its end [A].
    constant : float
        Time constant of the terminals [s].
    """
    if duration >= _SHORT * constant:
        return ()
    text = (
        f"the record of {seconds(duration)} is short beside the {seconds(constant)} in which the "
        f"terminals warm up: their temperatures are those of its end, not those of a lasting "
        f"{measure(load, 'A')}"
    )
    return (Note("record-short", text),)
