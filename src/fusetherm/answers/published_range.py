"""Answers off the published curve: how far, and what the margin has to cover for it.

A curve fixes the fitted model between its shortest and its longest time. Beyond both ends
the model alone speaks: towards short times up to the adiabatic limit, where only the narrowest
section counts; towards long times down to the minimum fusing current, where only the losses
do. How far the published end is from that limit, as a factor in current, is what the model
was trusted with; the margin has to cover it once more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..calibration.fit import Calibration
from ..calibration.observations import ARCING_NOISE, Observation, curve_times
from ..current.sampled import constant
from ..current.waveform import Waveform
from ..errors import Note
from ..solver.run import simulate
from ..solver.steady import minimum_fusing_current
from ..written import measure, number, percent, seconds
from .margin import onset_factor

#: Factors nearer to 1 than this are held within the spread of the model: points within a tenth
#: of the minimum fusing current fixed it to 1.2 % in a study on synthetic elements, those a
#: quarter above it to 4.5 %. At 3.72 spreads that is 1.05 and 1.18.
CLOSE = 1.1
#: Share of the lowest published current above which the lasting part of a load decides: a
#: quarter of its heat.
_DECIDES = 0.5


@dataclass(frozen=True, slots=True)
class Extrapolation:
    """How far an answer lies outside the published curve.

    Attributes
    ----------
    factor : float
        Factor in current that the margin has to cover besides; 1 inside the curve [-].
    notes : tuple of Note
        What is extrapolated.
    """

    factor: float
    notes: tuple[Note, ...]


INSIDE = Extrapolation(1.0, ())


def extrapolation(
    fit: Calibration, capture: Waveform, *, current_factor: float, lasting: float
) -> Extrapolation:
    """Compare a question with the ends of the published curve.

    Parameters
    ----------
    fit : Calibration
    capture : Waveform
        Current; its pulse is the longest stretch at or above half the peak.
    current_factor : float
        Factor on it at which melting begins [-].
    lasting : float
        Largest current that flows longer than the longest published time [A].
    """
    times = curve_times(fit.definition)
    # an operating time of a few milliseconds is half an arc and fixes nothing
    points = [o for o in times if o.noise < ARCING_NOISE] or list(times)
    ends = (_brief(fit, capture, points), _lasting(fit, points, current_factor * lasting))
    found = [end for end in ends if end is not None]
    return Extrapolation(
        max((factor for factor, _ in found), default=1.0), tuple(note for _, note in found)
    )


def longest_time(fit: Calibration) -> float:
    """Longest published time [s]."""
    return max(o.value for o in curve_times(fit.definition))


def _brief(
    fit: Calibration, capture: Waveform, points: list[Observation]
) -> tuple[float, Note] | None:
    """Factor and note for a pulse shorter than any published point."""
    span = capture.longest_pulse(0.5 * capture.peak)
    shortest = min(points, key=lambda o: o.value)
    if span is None or not 0.0 < span.duration < shortest.value:
        return None

    def melting_integral(duration: float) -> float:
        current = shortest.current * math.sqrt(shortest.value / duration)
        pulse = constant(current, duration)
        factor = onset_factor(
            lambda factor: simulate(
                fit.model, pulse.scaled(factor), ambient_c=shortest.ambient_c, cells=fit.cells
            )
        )
        return (factor * current) ** 2 * duration

    ratio = melting_integral(shortest.value) / melting_integral(span.duration)
    factor = math.sqrt(max(ratio, 1.0))
    text = (
        f"the longest pulse, {seconds(span.duration)} above half the peak, is "
        f"{number(shortest.value / span.duration)} times shorter than all that is published "
        f"(down to {seconds(shortest.value)}): "
        f"extrapolated. By the fit, heat that flows away makes the melting current times the root "
        f"of time {percent(factor - 1.0)} more at that point than at the pulse"
    )
    if factor <= CLOSE:
        text += ": the point is nearly adiabatic already, and holds for the pulse"
        return 1.0, Note("outside-fitted-range", text)
    text += ", and the margin has to cover that once more"
    return factor, Note("outside-fitted-range", text)


def _lasting(
    fit: Calibration, points: list[Observation], melting: float
) -> tuple[float, Note] | None:
    """Factor and note for a load that lasts longer than any published point."""
    longest = max(points, key=lambda o: o.value)
    lowest = min(points, key=lambda o: o.current)
    if melting < _DECIDES * lowest.current:
        return None
    least = minimum_fusing_current(fit.model, ambient_c=lowest.ambient_c, cells=fit.cells)
    factor = lowest.current / least
    if factor <= CLOSE:
        return None
    text = (
        f"the load lasts longer than all that is published (up to {seconds(longest.value)}), and "
        f"the lowest published current, {measure(lowest.current, 'A')}, is {number(factor)} times "
        "the least that melts the fitted element: extrapolated. The margin has to cover that "
        "factor once more"
    )
    return factor, Note("outside-fitted-range", text)
