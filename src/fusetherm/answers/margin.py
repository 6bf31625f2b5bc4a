"""How near: the factor on the current, and on the duration, at which melting begins."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from ..current.sampled import Sampled
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..labelled import described
from ..solver.run import AmbientLike, Run, State, simulate
from ..units import REFERENCE_AMBIENT_C
from .subject import ConnectionName, Subject, band_of_subject, cells_of, model_of, subject_notes

#: Factors looked for.
SMALLEST, LARGEST = 1e-3, 1e4
#: Agreement of a factor [ln].
AGREEMENT = 2e-4


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Factors at which the hottest point just reaches the melting point.

    Attributes
    ----------
    current_factor : float
        On the current; above 1 the waveform melts nothing [-].
    current_low, current_high : float
        Edges of its band; equal to the factor for a bare model [-].
    duration_factor : float or None
        On the time scale of the waveform; None where no stretching melts it, or where the
        waveform is not a record of samples.
    level : float
        Two-sided level of the band [-].
    sources : tuple of (str, float)
        Share of each source in the band's variance.
    """

    current_factor: float = field(metadata=described("factor on the current", "1"))
    current_low: float = field(metadata=described("its lower edge", "1"))
    current_high: float = field(metadata=described("its upper edge", "1"))
    duration_factor: float | None = field(metadata=described("factor on the duration", "1"))
    level: float
    sources: tuple[tuple[str, float], ...]
    notes: tuple[Note, ...]


def margin(
    subject: Subject,
    waveform: Waveform,
    *,
    ambient_c: AmbientLike = REFERENCE_AMBIENT_C,
    start: State | float | None = None,
    pulse_only: float | None = None,
    after: Literal["zero", "hold"] = "zero",
    until: float | None = None,
    connection: ConnectionName = "installed",
    duration: bool = True,
) -> Margin:
    """Factor on a waveform's current at which the fuse begins to melt, with its band.

    Parameters
    ----------
    subject : FuseModel or Calibration
        What carries the current; a bare model gives no band.
    waveform : Waveform
        Current.
    ambient_c, start, after, until
        As for `simulate`; a start current is not scaled.
    pulse_only : float, optional
        Base current [A] that stays; only what lies above it is scaled.
    connection : {"installed", "test"}
        Connection of a calibration.
    duration : bool
        Find the factor on the duration as well.

    Returns
    -------
    Margin

    Notes
    -----
    Nuisance questions take onset, the earliest credible event, not opening. The factor is
    the root of ``enthalpy rise at the peak = enthalpy rise to the melting point``, by a
    secant in logarithms, kept within a bracket.
    """
    model, cells = model_of(subject, connection), cells_of(subject)

    def run(wave: Waveform) -> Run:
        return simulate(
            model,
            wave,
            ambient_c=ambient_c,
            start=start,
            after=after,
            until=None if until is None else max(until, wave.duration),
            cells=cells,
        )

    def scaled(factor: float) -> Run:
        if pulse_only is None:
            return run(waveform.scaled(factor))
        return run(waveform.plus(-pulse_only).scaled(factor).plus(pulse_only))

    notes: tuple[Note, ...] = tuple(n for n in subject_notes(subject) if n.code == "no-band")
    factor = _root(scaled)
    if factor is None:
        raise InputError(
            "no-current-to-scale",
            f"no factor between {SMALLEST:g} and {LARGEST:g} on this waveform reaches the "
            "melting point",
            expected="a waveform that carries current",
        )
    stretched: float | None = None
    if duration and isinstance(waveform, Sampled) and factor > 1.0:
        time, current = waveform.time, waveform.values
        stretched = _root(lambda k: run(Waveform(time=time * k, current=current)), 1e3)
        if stretched is None:
            text = "no stretching of the waveform up to 1000 times melts the element"
            notes += (Note("no-duration-melts", text),)
    band = band_of_subject(subject)
    if band is None:
        return Margin(
            current_factor=factor,
            current_low=factor,
            current_high=factor,
            duration_factor=stretched,
            level=0.0,
            sources=(),
            notes=notes,
        )
    gain = float(getattr(waveform, "gain_tolerance", 0.0))
    band = band.widened("clamp gain", gain)
    return Margin(
        current_factor=factor,
        current_low=factor * band.low,
        current_high=factor * band.high,
        duration_factor=stretched,
        level=band.level,
        sources=band.shares,
        notes=notes,
    )


def _root(run: Callable[[float], Run], largest: float = LARGEST) -> float | None:
    """Factor at which a run's hottest point just reaches the melting point.

    None when no factor up to the largest does. The secant works on logarithms of factor
    and of `Run.onset_share`, which is 1 there and goes on rising while the element melts.
    """
    below: tuple[float, float] | None = None  # ln factor, ln share
    above: tuple[float, float] | None = None
    x, slope = 0.0, 2.0
    for _ in range(60):
        outcome = run(math.exp(x))
        y = math.log(max(outcome.onset_share, 1e-12))
        if outcome.onset_time is not None:
            y = max(y, 1e-12)
        side = above if y > 0.0 else below
        if side is not None and abs(x - side[0]) > 1e-9:
            slope = max(0.2, (y - side[1]) / (x - side[0]))
        if y > 0.0:
            above = (x, y)
        else:
            below = (x, y)
            if x >= math.log(largest):
                return None
        if below is not None and above is not None:
            if above[0] - below[0] < AGREEMENT:
                return math.exp(0.5 * (above[0] + below[0]))
            # from below by the tangent, which the melting heat does not bend; else halve
            following = below[0] - below[1] / slope if y <= 0.0 else x - y / slope
            if not below[0] < following < above[0]:
                following = 0.5 * (below[0] + above[0])
        else:
            following = x - y / slope
            following = min(max(following, x - 3.0), x + 3.0, math.log(largest))
            if following < math.log(SMALLEST):
                return None
        if abs(following - x) < 0.5 * AGREEMENT:
            return math.exp(following)
        x = following
    return math.exp(x)
