"""What the figures draw, as plain arrays: thinned traces and the event of a waveform."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ..current.sampled import Sampled
from ..current.waveform import Waveform
from ..errors import InputError

Floats = npt.NDArray[np.float64]

#: Bins of a thinned trace: more than a figure has columns of pixels.
BINS = 1500
#: Endings of the names of figures.
ENDINGS = (".png", ".svg", ".pdf")
#: Instants at which a waveform that is not sampled is looked at.
_INSTANTS = 6000


@dataclass(frozen=True, slots=True)
class Event:
    """A pulse as one point of a time-current plot.

    Attributes
    ----------
    current : float
        RMS current over the pulse [A].
    duration : float
        Duration of the pulse [s].
    label : str
        For the legend.
    """

    current: float
    duration: float
    label: str = "event of the capture"


def event_of(waveform: Waveform, threshold: float | None = None) -> Event | None:
    """RMS current [A] over the longest pulse of a waveform, and its duration [s].

    Parameters
    ----------
    waveform : Waveform
        Capture or drawn current.
    threshold : float, optional
        Current above which the pulse counts [A]; midway between the load that flows half
        the time and the peak for a capture, else half the peak.

    Returns
    -------
    Event or None
        None when no current flows.

    Examples
    --------
    >>> event = event_of(Waveform(time=[0, 1, 1, 1.02, 1.02, 2], current=[5, 5, 90, 90, 5, 5]))
    >>> round(event.current), round(event.duration, 6)
    (90, 0.02)
    """
    if threshold is None:
        threshold = 0.5 * waveform.peak
        if isinstance(waveform, Sampled) and waveform.time.size > 2:
            from ..current.capture import Capture

            if isinstance(waveform, Capture):
                threshold = waveform.summary().threshold
    span = waveform.longest_pulse(threshold) if threshold > 0.0 else None
    if span is None or span.duration <= 0.0:
        return None
    action = waveform.i2t(span.start, min(span.start + span.duration, waveform.duration))
    return Event(math.sqrt(action / span.duration), span.duration)


def current_trace(waveform: Waveform, bins: int = BINS) -> tuple[Floats, Floats]:
    """Time [s] and current [A] of a waveform, thinned so that every peak survives.

    Parameters
    ----------
    waveform : Waveform
        Any waveform; a very long repetition is looked at in `_INSTANTS` instants.
    bins : int
        Bins kept, two values each.
    """
    if isinstance(waveform, Sampled):
        return envelope(waveform.time, waveform.values, bins)
    time = np.linspace(0.0, waveform.duration, _INSTANTS)
    try:
        edges = waveform.edges
    except InputError:  # more edges than fit in memory
        edges = np.empty(0)
    # The value just before each edge and at it, so that steps stay upright.
    before = np.nextafter(edges, 0.0)
    time = np.unique(np.concatenate((time, edges, before)))
    return envelope(time, waveform.current(time), bins)


def envelope(time: Floats, value: Floats, bins: int = BINS) -> tuple[Floats, Floats]:
    """Lowest and highest value of each bin, in order of time; short traces stay as they are.

    Parameters
    ----------
    time, value : (n,) array
        A trace; times do not decrease.
    bins : int
        Number of bins of equal width in time.

    Returns
    -------
    time, value : (m,) array
        m at most 2 * bins + 2, or n. First and last point are kept.

    Examples
    --------
    >>> t = np.linspace(0, 1, 100_001)
    >>> x = np.where(t == t[54321], 7.0, 0.0)
    >>> thin_t, thin_x = envelope(t, x, bins=100)
    >>> len(thin_t) <= 202, float(thin_x.max())
    (True, 7.0)
    """
    if time.size <= 2 * bins or time[-1] <= time[0]:
        return time, value
    walls = np.searchsorted(time, np.linspace(time[0], time[-1], bins + 1)[:-1])
    starts = np.unique(walls)
    lows, highs = np.minimum.reduceat(value, starts), np.maximum.reduceat(value, starts)
    # The place of an extreme is its first occurrence within the bin.
    group = np.repeat(np.arange(starts.size), np.diff(np.append(starts, time.size)))
    keep = [np.array([0, time.size - 1])]
    for extremes in (lows, highs):
        hit = np.flatnonzero(value == extremes[group])
        keep.append(hit[np.unique(group[hit], return_index=True)[1]])
    chosen = np.unique(np.concatenate(keep))
    return time[chosen], value[chosen]


def figure_ending(path: str | Path) -> str:
    """Ending of a figure's name; refuses one no figure is written in.

    Raises
    ------
    InputError
        ``figure-format``.

    Examples
    --------
    >>> figure_ending("curve.PNG")
    '.png'
    """
    name = Path(path)
    ending = name.suffix.lower()
    if ending not in ENDINGS:
        raise InputError(
            "figure-format",
            f"{name.name!r} ends in {ending or 'nothing'}",
            expected="a name ending in .png, .svg or .pdf",
        )
    return ending
