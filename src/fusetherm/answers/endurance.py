"""How long a fuse lasts under a repeated duty: cycles to failure by temperature swing."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from ..calibration.fit import Calibration
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..fuse.model import FuseModel
from ..labelled import described
from ..life.aged import aged as grown_old
from ..life.duty import Duty, single
from ..life.knowledge import Knowledge, normal_quantiles
from ..life.swing_law import miner_sum
from ..solver.run import Run
from ..solver.steady import minimum_fusing_current
from ..threads import each
from ..units import REFERENCE_AMBIENT_C, ambient_notes, takes
from ..written import measure, number, percent
from .cold_pulses import law_of, median_law, rule_cycles
from .record_remarks import rating_notes
from .settled import SETTLED, SMALLEST_SWING, Settled
from .subject import (
    ConnectionName,
    Subject,
    cells_of,
    configuration_of,
    model_of,
    refuse_molten,
    subject_notes,
)

Floats = npt.NDArray[np.float64]

#: Exponents at which the damage of a history is taken; between them its logarithm is a curve.
_NODES = np.linspace(2.0, 9.0, 8)
#: Ratio of lives above which the bare rule is called unsafe.
_UNSAFE = 1.5
#: Swings told.
_TOLD = 8
#: Hottest point above which a tin spot ages by itself [degC] (common practice, no source).
_SPOT_LIMIT_C = 120.0
#: Seconds of a year of 365.25 days, and of a day.
_YEAR, _DAY = 31_557_600.0, 86_400.0

#: Lives without a swing.
_FOR_EVER = MappingProxyType(
    dict.fromkeys(
        ("cycles", "cycles_low", "cycles_high", "b1", "b1_low", "b10", "b10_low"), math.inf
    )
)

NOT_MODELLED = (
    "oxidation",
    "creep",
    "recrystallisation",
    "growth of intermetallics",
    "relaxation of the clips",
    "corrosion and vibration",
)


def _none() -> Floats:
    return np.zeros(0)


@dataclass(frozen=True, slots=True)
class Event:
    """One temperature swing of the cycle.

    Attributes
    ----------
    time : float
        When it reaches its peak, from the start of the cycle [s].
    swing, peak_c : float
        Swing [K] and peak [degC].
    share : float
        Share of the cycle's damage [-].
    """

    time: float
    swing: float
    peak_c: float
    share: float


@dataclass(frozen=True, slots=True)
class Part:
    """What one event of a duty does in one run.

    Attributes
    ----------
    name : str
        Name of the event.
    count : int
        How many times it happens.
    ambient_c : float
        Its ambient [degC].
    swing, peak_c : float
        Largest swing [K] and peak [degC]; 0 and nan where it makes no swing.
    share : float
        Share of the duty's damage [-]; a swing belongs to the event of its peak.
    """

    name: str
    count: int
    ambient_c: float
    swing: float
    peak_c: float
    share: float


@dataclass(frozen=True, kw_only=True)
class Endurance:
    """Cycles to failure under a repeated duty, with what they rest on.

    ``cycles`` is the median; 90 % of units and of what may hold lie between its edges. B1 and
    B10 are the lives by which 1 and 10 % of units have failed, at the median of what is known,
    and with a one-sided confidence of 95 % (``_low``). All are nan where the duty melts the
    element or ages its spot (``melts``, ``spot_ages``), and infinite where nothing swings. A
    cycle is one run through the duty; ``parts`` has its events, and is empty for a waveform. Of
    each kind of swing in it ``swings``, ``swing_counts`` and ``swing_shares`` have size, number
    and share of the damage.
    ``ambient_c`` is the highest.
    """

    name: str
    connection: str
    ambient_c: float
    period: float
    tests: int
    exponent: float = field(metadata=described("median exponent of the swing law", "1"))
    cycles: float = field(metadata=described("cycles to failure, median", "1"))
    cycles_low: float = field(metadata=described("their 5 % edge", "1"))
    cycles_high: float = field(metadata=described("their 95 % edge", "1"))
    b1: float = field(metadata=described("cycles by which 1 % of units fail", "1"))
    b1_low: float
    b10: float = field(metadata=described("cycles by which 10 % of units fail", "1"))
    b10_low: float
    years: float | None = field(metadata=described("B10 in years of the stated duty", "a"))
    swing: float = field(metadata=described("largest temperature swing", "K"))
    peak_c: float = field(metadata=described("peak temperature once the duty repeats", "degC"))
    opens_in_cycle: int | None
    steady_share: float = field(
        metadata=described("RMS current over the minimum fusing current", "1")
    )
    rule_cycles: float = field(
        metadata=described("cycles by the bare rule of I²t shares on the same data", "1")
    )
    events: tuple[Event, ...]
    parts: tuple[Part, ...] = ()
    swings: Floats = field(default_factory=_none, repr=False)
    swing_counts: Floats = field(default_factory=_none, repr=False)
    swing_shares: Floats = field(default_factory=_none, repr=False)
    melts: bool = False
    spot_ages: bool = False
    aged: bool = False
    run: Run | None = field(repr=False)
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(default_factory=dict, repr=False)


@takes(period="s", ambient_c="degC")
def endurance(
    subject: Subject,
    duty: Waveform | Duty,
    *,
    period: float | None = None,
    ambient_c: float | None = None,
    connection: ConnectionName = "installed",
    cycles_per_day: float | None = None,
    aged: bool = False,
    seed: int | None = None,
) -> Endurance:
    """Cycles to failure of a fuse under a waveform or a duty repeated for ever.

    Parameters
    ----------
    subject : FuseModel or Calibration
        What carries the current; a bare model has no band of its own and no pulse tests.
    duty : Waveform or Duty
        One cycle: a current, or the events of a day or mission.
    period : float, optional
        Time from start to start of a waveform [s]; its duration when absent. A duty has its own.
    ambient_c : float, optional
        Ambient [degC], for a duty that of events that state none; 23 when absent.
    connection : {"installed", "test"}
        Connection of a calibration.
    cycles_per_day : float, optional
        How often the cycle happens, for years; these are told only with pulse tests. A duty
        with a period follows on itself unless this says otherwise.
    aged : bool
        Ask it of the aged fuse: element of 10 % more resistance, contacts doubled.
    seed : int, optional
        Of the random numbers; by default made of the question.

    Returns
    -------
    Endurance

    Raises
    ------
    InputError
        ``ambient-above-melting``, ``no-current-to-scale``, ``stated-by-the-duty``, and what a
        repeat raises.

    Notes
    -----
    The duty is repeated until it settles, one cycle is then taken from that state, its hot spot
    is counted by rainflow as a history without end, and ``D(c) = sum n (dT/dT*)^c`` is found
    for the fitted model, for every draw and for units one spread off. A life is ``N*/D``; the
    law (c, N*), the draws and the units vary independently, units also by a Weibull scatter.

    Examples
    --------
    >>> from fusetherm import FuseModel, metal, round_wire
    >>> wire = FuseModel(round_wire(metal("silver"), 0.2e-3, 10e-3))
    >>> pulse = Waveform(time=[0, 0.1, 0.1], current=[20, 20, 0])
    >>> life = endurance(wire, pulse, period=5.0)
    >>> life.cycles_low < life.cycles < life.cycles_high
    True
    """
    whole = _duty(duty, period, ambient_c)
    assumed = REFERENCE_AMBIENT_C if ambient_c is None else ambient_c
    ambients = whole.ambients(assumed)
    old = grown_old if aged else _unchanged
    model, cells = old(model_of(subject, connection)), cells_of(subject)
    for value in ambients:
        refuse_molten(model, value)
    once = whole.waveform
    if once.i2t() == 0.0:
        raise InputError(
            "no-current-to-scale", "the waveform carries no current", expected="a current"
        )
    settled = Settled.of(model, whole, assumed, cells)
    hottest = max(ambients)
    rms = once.rms / minimum_fusing_current(model, ambient_c=hottest, cells=cells)
    notes = subject_notes(subject, connection) + whole.notes + ambient_notes(assumed)
    for event in whole.events:
        # a file's duty has the remarks of its captures, with the names of their events
        notes += () if whole.path else event.waveform.notes
        notes += rating_notes(event.waveform, model.rated_current)
    notes = tuple(dict.fromkeys(notes))
    definition = None if isinstance(subject, FuseModel) else subject.definition
    tests = () if definition is None else definition.pulse_tests
    key = f"{once.fingerprint} {ambients} {cells} {connection} {aged}".encode()
    seed = int.from_bytes(hashlib.sha256(key).digest()[:4], "big") if seed is None else seed
    law = law_of(subject, definition, cells, seed)
    common: dict[str, Any] = {
        "name": getattr(definition, "id", "") or model.name or "fuse",
        "connection": connection if isinstance(subject, Calibration) else "of the model",
        "ambient_c": float(hottest),
        "period": once.duration,
        "tests": len(tests),
        "exponent": law.median_exponent,
        "steady_share": rms,
        "swing": settled.swing,
        "peak_c": settled.peak_c,
        "melts": settled.melts,
        "aged": aged,
        "run": settled.run,
        "made_with": configuration_of(subject) | {"seed": seed},
    }
    if settled.melts:
        return _not_shown(common, (*notes, _melting_note(settled), _condition(aged)), settled.opens)
    if model.element.spot is not None and settled.peak_c > _SPOT_LIMIT_C:
        text = (
            f"a tin spot, and a hot spot of {measure(settled.peak_c, '°C')}: above some "
            f"{measure(_SPOT_LIMIT_C, '°C')} the spot ages by itself (growth of intermetallics), "
            "which is not modelled, so no life is shown"
        )
        notes += (Note("spot-ages", text), _condition(aged))
        return _not_shown(common | {"spot_ages": True}, notes, None)
    base = settled.ln_damage(law.pivot_swing, _NODES)
    draws, units = _others(subject, connection)

    def damage(one: FuseModel) -> Floats:
        found = Settled.of(old(one), whole, assumed, cells)
        if not found.melts:
            return found.ln_damage(law.pivot_swing, _NODES) - base
        # this one melts: its life is the cycles until then, whatever the law says
        ends: Floats = math.log(law.median_cycles / (found.opens or 1)) - base
        return ends

    found = np.array(each(lambda i: damage((*draws, *units)[i]), len(draws) + len(units)))
    known = found[: len(draws)] if draws else np.zeros((1, len(_NODES)))
    unit_sd = np.sqrt(np.sum(found[len(draws) :] ** 2, axis=0)) if units else np.zeros(len(_NODES))
    life = _lives(law, base, known, unit_sd, seed) if settled.swing > 0.0 else dict(_FOR_EVER)
    rule = rule_cycles(model, definition, whole, cells, law)
    notes += (*_remarks(settled, tests, rule, law), _condition(aged))
    if cycles_per_day is None and isinstance(duty, Duty):
        cycles_per_day = _DAY / once.duration
    years = None
    if tests and cycles_per_day is not None:
        years = life["b10"] / cycles_per_day * _DAY / _YEAR
    bare = median_law(law)
    shares = bare.damage(settled.cycles)
    shares = shares / max(float(np.sum(shares)), 1e-300)
    return Endurance(
        years=years, opens_in_cycle=None, rule_cycles=rule, events=_events(settled, shares),
        parts=_parts(duty, ambients, settled, shares), swings=settled.cycles.range,
        swing_counts=settled.cycles.count, swing_shares=shares, notes=notes, **life, **common,
    )  # fmt: skip


def _duty(duty: Waveform | Duty, period: float | None, ambient_c: float | None) -> Duty:
    """The duty in question; what it states itself is not to be stated again."""
    if isinstance(duty, Waveform):
        ambient_c = REFERENCE_AMBIENT_C if ambient_c is None else ambient_c
        return single(duty, period, ambient_c)
    for name, value, stated in (
        ("period", period, True),
        ("ambient_c", ambient_c, duty.ambient_stated),
    ):
        if value is not None and stated:
            raise InputError(
                "stated-by-the-duty",
                f"{name.removesuffix('_c')} of {number(value, 6)} for the duty {duty.name!r}, "
                "which has its own",
                expected="what the duty leaves open",
                mend="leave it out, or change the duty",
            )
    return duty


def _unchanged(model: FuseModel) -> FuseModel:
    return model


def _not_shown(common: dict[str, Any], notes: tuple[Note, ...], opens: int | None) -> Endurance:
    nan = math.nan
    return Endurance(
        cycles=nan, cycles_low=nan, cycles_high=nan, b1=nan, b1_low=nan, b10=nan, b10_low=nan,
        years=None, opens_in_cycle=opens, rule_cycles=nan, events=(), notes=notes, **common,
    )  # fmt: skip


def _melting_note(settled: Settled) -> Note:
    share = settled.run.dissolved_share
    spot = f"; its spot had dissolved {percent(share)} of the section by then" if share else ""
    text = (
        f"the duty opens the element in cycle {settled.opens:,}{spot}".replace(",", " ")
        if settled.opens is not None
        else "the duty melts the element in part: what it does after refreezing is outside "
        "the physics that was validated, and no life is shown"
    )
    return Note("duty-melts", text)


def _others(
    subject: Subject, connection: ConnectionName
) -> tuple[tuple[FuseModel, ...], tuple[FuseModel, ...]]:
    """Models of the draws, and of units one spread off."""
    if isinstance(subject, FuseModel):
        return (), ()
    units = subject.units.units(subject.connected(connection))
    return tuple(subject.models(connection)), units


def _events(settled: Settled, shares: Floats) -> tuple[Event, ...]:
    """Swings by their share of damage, the largest first."""
    run, cycles, tops = settled.run, settled.cycles, settled.tops
    found: dict[int, Event] = {}
    for i in np.argsort(-shares).tolist():
        top, share = int(tops[i]), float(shares[i])
        if top in found:  # the two halves of one swing, or a cycle that stands for others
            share += found[top].share
            found[top] = replace(found[top], share=share)
        elif len(found) < _TOLD:
            swing, peak = float(cycles.range[i]), float(run.element_temperature_c[top])
            found[top] = Event(float(run.time[top]), swing, peak, share)
    return tuple(found.values())


def _parts(
    duty: Waveform | Duty, ambients: tuple[float, ...], settled: Settled, shares: Floats
) -> tuple[Part, ...]:
    """What each event of a duty does."""
    if isinstance(duty, Waveform):
        return ()
    run, cycles, tops = settled.run, settled.cycles, settled.tops
    of = duty.events_at(run.time[tops])
    found = []
    for i, event in enumerate(duty.events):
        mine = of == i
        hot = run.element_temperature_c[tops[mine]]
        found.append(
            Part(
                name=event.name,
                count=event.count,
                ambient_c=ambients[i],
                swing=float(np.max(cycles.range[mine], initial=0.0)),
                peak_c=float(hot.max()) if hot.size else math.nan,
                share=float(np.sum(shares[mine])),
            )
        )
    return tuple(found)


def _lives(
    law: Knowledge, base: Floats, draws: Floats, unit_sd: Floats, seed: int
) -> dict[str, Any]:
    """Median, edges, B1 and B10 of the cycles to failure."""
    from scipy.interpolate import CubicSpline

    rng = np.random.default_rng(seed + 1)
    which = rng.integers(len(draws), size=law.exponent.size)
    curves = CubicSpline(_NODES, base + draws, axis=1)(law.exponent)
    ln_damage = curves[which, np.arange(law.exponent.size)]
    ln_median = law.ln_cycles - ln_damage
    sd = np.interp(law.exponent, _NODES, unit_sd)
    steps = 400
    quantiles = (np.arange(steps) + 0.5) / steps
    scatter = np.log(law.scatter.factor(quantiles))[rng.permutation(steps)]
    shift = normal_quantiles(quantiles)
    units = scatter + sd[:, None] * shift
    together = np.exp(ln_median[:, None] + units)
    b1, b10 = np.exp(ln_median + np.quantile(units, [0.01, 0.1], axis=1))
    low, median, high = np.quantile(together, [0.05, 0.5, 0.95])
    return {
        "cycles": float(median),
        "cycles_low": float(low),
        "cycles_high": float(high),
        "b1": float(np.median(b1)),
        "b1_low": float(np.quantile(b1, 0.05)),
        "b10": float(np.median(b10)),
        "b10_low": float(np.quantile(b10, 0.05)),
    }


def _remarks(
    settled: Settled, tests: tuple[Any, ...], rule: float, law: Knowledge
) -> tuple[Note, ...]:
    """What has to be said of a life."""
    notes: tuple[Note, ...] = ()
    if settled.change > SETTLED:
        text = (
            f"the duty had not settled after its last run: it still changed a state by "
            f"{measure(settled.change, 'K')}"
        )
        notes += (Note("duty-not-settled", text),)
    if not tests:
        text = (
            "no pulse tests in the definition: the law has no scale of its own (exponent anywhere "
            "from 2 to 9), so these lives rank duties and are no forecast; no years are told"
        )
        notes += (Note("no-pulse-tests", text),)
    by_swing = 1.0 / max(miner_sum(median_law(law), settled.cycles), 1e-300)
    if rule > _UNSAFE * by_swing:
        text = (
            f"the bare rule of I²t shares promises {number(rule / by_swing)} times the cycles of "
            "the swing law on the same data: it is unsafe for this duty, for it knows neither "
            "what went before a pulse nor what flows after it"
        )
        notes += (Note("rule-unsafe", text),)
    if settled.run.dissolved_share > 0.0:
        text = (
            f"a spot has dissolved {percent(settled.run.dissolved_share)} of its section; it "
            "goes on with every cycle and has a life of its own"
        )
        notes += (Note("spot-dissolves", text),)
    if settled.swing == 0.0:
        text = f"no swing above {number(SMALLEST_SWING)} K: repetition does nothing here"
        notes += (Note("no-swing", text),)
    return notes


def _condition(aged: bool) -> Note:
    """What fuse was meant, and what ends it that is not modelled."""
    listed = ", ".join(NOT_MODELLED)
    fuse = (
        "an aged fuse, a scenario: element of 10 % more resistance, contacts doubled"
        if aged
        else "a new fuse"
    )
    return Note("ageing-not-modelled", f"{fuse}; not modelled, and often what ends it: {listed}")
