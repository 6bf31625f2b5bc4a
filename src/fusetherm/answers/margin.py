"""How near: the factor on the current, and on the duration, at which melting begins."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

import numpy as np

from ..calibration.band import CONFIDENCE, Band, one_in_factor, spread_of
from ..calibration.fit import Calibration
from ..calibration.unit_spread import UNIT_SPREAD
from ..current.capture import Capture
from ..current.condensed import Condensed, condensed
from ..current.sampled import Sampled
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..fuse.model import FuseModel
from ..labelled import described
from ..solver.integrate import sensitivity
from ..solver.network import build_network
from ..solver.run import AmbientLike, Run, State, simulate
from ..threads import each
from ..units import REFERENCE_AMBIENT_C, ZERO_CELSIUS_K, takes
from ..written import number
from .subject import (
    NO_BAND,
    ConnectionName,
    Subject,
    cells_of,
    model_of,
    refuse_molten,
)

#: Factors looked for.
SMALLEST, LARGEST = 1e-3, 1e4
#: Longest stretching looked for.
LONGEST_STRETCH = 1e3
#: Units of which no more than one may begin to melt.
POPULATION = 10_000
#: Agreement of a factor [ln].
AGREEMENT = 2e-4
#: Where the fitted model's way to melting is tabulated, below its factor; where a draw is run
#: first, how far from melting it may then be for that run to tell, and how often it is tried [ln].
_BELOW = (-0.3, -0.2, -0.13, -0.08, -0.05, -0.02, 0.0)
_BEGIN, _FAR, _TRIES = -0.04, -0.13, 8
#: Records longer than this are condensed before they are run many times over [samples].
LONG_RECORD = 20_000
#: What condensing may neglect inside a piece of the record, in the element [K]: half of what
#: one step may. Some 400 K lead to melting, so a factor moves by less than `AGREEMENT`.
NEGLECTED_K = 0.1


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Factors at which the hottest point just reaches the melting point.

    Attributes
    ----------
    current_factor : float
        On the current, for the median unit; above 1 the waveform melts nothing [-]. Where not
        even the largest factor tried melts anything it is that factor, with the note
        ``margin-beyond-reach``.
    current_low, current_high : float
        Edges of its band, in which one unit lies; equal to the factor for a bare model [-].
    needed : float
        Factor at which, with `CONFIDENCE`, no more than one unit in `POPULATION` begins to
        melt at the current as it is [-].
    duration_factor : float or None
        On the time scale of the waveform; None where none between 0.001 and 1000 does, where
        the waveform is not a record of samples, or where its end is held.
    level : float
        Two-sided level of the band [-].
    sources : tuple of (str, float)
        Share of each source in the band's variance.
    unit_sd, known_sd : float
        Standard deviation of the factor's logarithm from one unit to the next, and of what is
        not known of the median unit and of the record [-].
    """

    current_factor: float = field(metadata=described("factor on the current", "1"))
    current_low: float = field(metadata=described("its lower edge", "1"))
    current_high: float = field(metadata=described("its upper edge", "1"))
    needed: float = field(metadata=described("factor that keeps the weakest unit whole", "1"))
    duration_factor: float | None = field(metadata=described("factor on the duration", "1"))
    level: float
    sources: tuple[tuple[str, float], ...]
    notes: tuple[Note, ...]
    unit_sd: float = UNIT_SPREAD
    known_sd: float = 0.0


@takes(ambient_c="degC", start="A", pulse_only="A", until="s")
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

    Raises
    ------
    InputError
        ``no-current-to-scale``, ``melts-without-scaling``, ``ambient-above-melting``.

    Notes
    -----
    Nuisance questions take onset, the earliest credible event, not opening. The factor is
    the root of ``enthalpy rise at the peak = enthalpy rise to the melting point``, by a
    secant in logarithms, kept within a bracket.

    The band says where one unit lies, units and knowledge together: the question is asked of
    every draw of the fit and of units that differ by one standard deviation
    (`fusetherm.calibration.band`). The factor needed keeps
    them apart: the weakest of `POPULATION` units lies 3.72 unit spreads below the median, and
    that median is known to 1.645 spreads of knowledge with a one-sided confidence of 95 %,
    ``exp(3.72 s_unit + 1.645 s_known)``.
    """
    model, cells = model_of(subject, connection), cells_of(subject)
    refuse_molten(model, hottest(ambient_c))
    pulse = waveform if pulse_only is None else waveform.plus(-pulse_only)
    if pulse.i2t() == 0.0:
        raise InputError(
            "no-current-to-scale",
            "the waveform carries no current" + (" above its base" if pulse_only else ""),
            expected="a current that a factor can raise",
        )

    def run(wave: Waveform, of: FuseModel = model) -> Run:
        return simulate(
            of,
            wave,
            ambient_c=ambient_c,
            start=start,
            after=after,
            until=None if until is None else max(until, wave.duration),
            cells=cells,
        )

    short = _shortened(waveform, model, cells)

    def scaled(factor: float, of: FuseModel = model) -> Run:
        if pulse_only is None and after == "zero":
            return run(short(factor).scaled(factor), of)
        moved = pulse.scaled(factor)
        return run(moved if pulse_only is None else moved.plus(pulse_only), of)

    def drawn_out(factor: float) -> Run:
        wave = short(math.sqrt(factor))
        if isinstance(wave, Sampled):
            return run(Waveform(time=wave.time * factor, current=wave.values))
        assert isinstance(wave, Condensed)
        return run(wave.stretched(factor))

    notes: tuple[Note, ...] = (NO_BAND,) if isinstance(subject, FuseModel) else ()
    factor = onset_factor(scaled)
    if factor == 0.0:
        raise InputError(
            "melts-without-scaling",
            f"the element melts whatever the factor, down to {number(SMALLEST)}: by its start or "
            "base",
            expected="a start and a base that the fuse carries",
        )
    if math.isinf(factor):
        text = f"not even {number(LARGEST)} times this current melts the element"
        notes += (Note("margin-beyond-reach", text),)
        factor = LARGEST
    stretched: float | None = None
    if duration and isinstance(waveform, Sampled) and after == "zero":
        found = onset_factor(drawn_out, LONGEST_STRETCH)
        stretched = found if 0.0 < found < math.inf else None
        if math.isinf(found):
            text = (
                f"no stretching of the waveform up to {number(LONGEST_STRETCH)} times melts "
                "the element"
            )
            notes += (Note("no-duration-melts", text),)
    if isinstance(subject, FuseModel):
        return Margin(
            current_factor=factor,
            current_low=factor,
            current_high=factor,
            needed=needed_factor(None),
            duration_factor=stretched,
            level=0.0,
            sources=(),
            notes=notes,
        )
    band = (
        _band(scaled, factor, subject, connection)
        if factor < LARGEST
        else subject.band_in(connection)
    )
    for name, sd in _record_spreads(waveform):
        band = band.widened(name, sd)
    return Margin(
        current_factor=factor,
        current_low=factor * band.low,
        current_high=factor * band.high,
        needed=needed_factor(band),
        duration_factor=stretched,
        level=band.level,
        sources=band.shares,
        notes=notes,
        unit_sd=band.unit_sd,
        known_sd=band.known_sd,
    )


def _band(
    scaled: Callable[[float, FuseModel], Run],
    factor: float,
    fit: Calibration,
    connection: ConnectionName,
) -> Band:
    """Band of the factor: draws and units are run a little below that of the fitted model.

    On the way to melting the share of one model is that of another, moved in ln factor: where
    the fitted model has the share a draw has, tells how far their factors lie apart. Beyond
    melting it tells nothing, since a molten place runs away.
    """
    model = fit.connected(connection)
    draws, units = fit.models(connection), fit.units.units(model)
    models = (*draws, *units)
    places = np.array(_BELOW)
    known = np.array(
        each(lambda i: _log_share(scaled(factor * math.exp(_BELOW[i]), model)), len(_BELOW))
    )
    steepness = (known[1] - known[0]) / (places[1] - places[0])

    def off(i: int) -> float:
        """ln of this model's factor over that of the fitted one."""
        x, apart = _BEGIN, 0.0
        for _ in range(_TRIES):
            y = _log_share(scaled(factor * math.exp(x), models[i]))
            if y > 0.0:
                x -= 0.1
                continue
            alike = float(np.interp(y, known, places))
            if y < known[0]:
                alike = places[0] + (y - known[0]) / steepness
            apart = x - alike
            if alike >= _FAR:
                break
            x = apart + _BEGIN
        return apart

    found = np.array(each(off, len(models)))
    return spread_of(found[: len(draws)], found[len(draws) :])


def needed_factor(band: Band | None) -> float:
    """Factor that keeps all but one unit in `POPULATION` from melting, with `CONFIDENCE` [-].

    Parameters
    ----------
    band : Band or None
        Spread of the answer; without one only units differ, nothing else is doubted.
    """
    unit, known = (UNIT_SPREAD, 0.0) if band is None else (band.unit_sd, band.known_sd)
    return float(one_in_factor(unit, known, POPULATION, CONFIDENCE))


def _shortened(waveform: Waveform, model: FuseModel, cells: int) -> Callable[[float], Waveform]:
    """The waveform to scale by a factor: a long record condensed finely enough for it."""
    if not isinstance(waveform, Sampled) or waveform.time.size <= LONG_RECORD:
        return lambda factor: waveform
    ambient_k = REFERENCE_AMBIENT_C + ZERO_CELSIUS_K
    bound = NEGLECTED_K / sensitivity(build_network(model, ambient_k=ambient_k, cells=cells))

    @lru_cache(maxsize=3)
    def within(largest: float) -> Condensed:
        return condensed(waveform, bound / largest**2)

    # few sizes, so that neighbouring factors of a search share one
    return lambda factor: within(3.0 ** max(0, math.ceil(math.log(factor, 3.0))))


def hottest(ambient_c: AmbientLike) -> float:
    """Highest ambient of a constant or of a course in time [degC]."""
    if isinstance(ambient_c, (int, float)):
        return float(ambient_c)
    return max((float(c) for _, c in ambient_c), default=REFERENCE_AMBIENT_C)


def _record_spreads(waveform: Waveform) -> list[tuple[str, float]]:
    """Spread in ln current that the instruments of the captures inside a waveform bring.

    An offset d moves the Joule integral by 2 d Q, thus the current by d Q / I²t.
    """
    gains, offsets, open_ = [0.0], [0.0], [waveform]
    while open_:
        part = open_.pop()
        open_ += part.parts
        if isinstance(part, Capture):
            gains.append(part.gain_tolerance)
            action = part.i2t()
            offsets.append(part.offset_sd * abs(part.charge()) / action if action else 0.0)
    return [("clamp gain", max(gains)), ("clamp offset", max(offsets))]


def _log_share(outcome: Run) -> float:
    """ln of the share of the way to the melting point; above 0 when melting has begun."""
    y = math.log(max(outcome.onset_share, 1e-12))
    return y if outcome.onset_time is None else max(y, 1e-12)


def onset_factor(run: Callable[[float], Run], largest: float = LARGEST) -> float:
    """Factor at which a run's hottest point just reaches the melting point.

    Infinite when no factor up to the largest does, 0 when even the smallest melts it. The
    secant works on logarithms of factor and of `Run.onset_share`, which is 1 there and goes
    on rising while the element melts.
    """
    below: tuple[float, float] | None = None  # ln factor, ln share
    above: tuple[float, float] | None = None
    x, slope = 0.0, 2.0
    for _ in range(60):
        y = _log_share(run(math.exp(x)))
        side = above if y > 0.0 else below
        if side is not None and abs(x - side[0]) > 1e-9:
            slope = max(0.2, (y - side[1]) / (x - side[0]))
        if y > 0.0:
            above = (x, y)
        else:
            below = (x, y)
            if x >= math.log(largest):
                return math.inf
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
                return 0.0
        if abs(following - x) < 0.5 * AGREEMENT:
            return math.exp(following)
        x = following
    return math.exp(x)
