"""How long a fuse lasts under a repeated duty: cycles to failure by temperature swing."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..calibration.fit import Calibration
from ..current.blocks import spans_above
from ..current.sampled import constant
from ..current.trains import cycle_at
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..fuse.definition import Definition
from ..fuse.model import FuseModel
from ..labelled import described
from ..life.knowledge import Knowledge, knowledge
from ..life.rainflow import Cycles, count_cycles, repeating
from ..life.swing_law import SwingLaw, miner_sum
from ..solver.run import Run, simulate
from ..solver.steady import minimum_fusing_current
from ..threads import each
from ..units import REFERENCE_AMBIENT_C, ambient_notes
from ..written import measure, number, percent
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

#: How long the duty is repeated to find what it settles to [s], at least and at most [cycles].
SETTLING, FEWEST, MOST = 2e5, 64, 1_000_000
#: Swings below this do nothing [K].
SMALLEST_SWING = 1.0
#: Exponents at which the damage of a history is taken; between them its logarithm is a curve.
_NODES = np.linspace(2.0, 9.0, 8)
#: A pulse of the bare rule: where I² exceeds this share of its peak.
_PULSE = 0.1
#: Duration of a test pulse where nothing says it [s].
_TEST_DURATION = 0.01
#: Ratio of lives above which the bare rule is called unsafe.
_UNSAFE = 1.5
#: Events told.
_TOLD = 8
#: Seconds of a year of 365.25 days, and of a day.
_YEAR, _DAY = 31_557_600.0, 86_400.0

NOT_MODELLED = (
    "oxidation",
    "creep",
    "recrystallisation",
    "growth of intermetallics",
    "relaxation of the clips",
    "corrosion and vibration",
)


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


@dataclass(frozen=True, kw_only=True)
class Endurance:
    """Cycles to failure under a repeated duty, with what they rest on.

    ``cycles`` is the median; 90 % of units and of what may hold lie between its edges. B1 and
    B10 are the lives by which 1 and 10 % of units have failed, at the median of what is known,
    and with a one-sided confidence of 95 % (``_low``). All are nan where the duty melts the
    element.
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
    run: Run | None = field(repr=False)
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(default_factory=dict, repr=False)


def endurance(
    subject: Subject,
    waveform: Waveform,
    *,
    period: float | None = None,
    ambient_c: float = REFERENCE_AMBIENT_C,
    connection: ConnectionName = "installed",
    cycles_per_day: float | None = None,
    seed: int | None = None,
) -> Endurance:
    """Cycles to failure of a fuse under a waveform repeated for ever.

    Parameters
    ----------
    subject : FuseModel or Calibration
        What carries the current; a bare model has no band of its own and no pulse tests.
    waveform : Waveform
        One cycle of the duty.
    period : float, optional
        Time from start to start [s]; the waveform's duration when absent.
    ambient_c : float
        Ambient [degC].
    connection : {"installed", "test"}
        Connection of a calibration.
    cycles_per_day : float, optional
        How often the cycle happens, for years; these are told only with pulse tests.
    seed : int, optional
        Of the random numbers; by default made of the question.

    Returns
    -------
    Endurance

    Raises
    ------
    InputError
        ``ambient-above-melting``, ``no-current-to-scale``, and what a repeat raises.

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
    model, cells = model_of(subject, connection), cells_of(subject)
    refuse_molten(model, ambient_c)
    if waveform.i2t() == 0.0:
        raise InputError(
            "no-current-to-scale", "the waveform carries no current", expected="a current"
        )
    once = waveform.repeated(1, period=period)
    settled = _Settled.of(model, once, ambient_c, cells)
    rms = once.rms / minimum_fusing_current(model, ambient_c=ambient_c, cells=cells)
    notes = subject_notes(subject, connection) + ambient_notes(ambient_c)
    definition = None if isinstance(subject, FuseModel) else subject.definition
    tests = () if definition is None else definition.pulse_tests
    key = f"{once.fingerprint} {ambient_c} {cells} {connection}".encode()
    seed = int.from_bytes(hashlib.sha256(key).digest()[:4], "big") if seed is None else seed
    law = _law(subject, definition, cells, seed)
    common: dict[str, Any] = {
        "name": getattr(definition, "id", "") or model.name or "fuse",
        "connection": connection if isinstance(subject, Calibration) else "of the model",
        "ambient_c": float(ambient_c),
        "period": once.duration,
        "tests": len(tests),
        "exponent": law.median_exponent,
        "steady_share": rms,
        "run": settled.run,
        "made_with": configuration_of(subject) | {"seed": seed},
    }
    nan = math.nan
    if settled.opens is not None or settled.melts:
        text = (
            f"the duty opens the element in cycle {settled.opens:,}".replace(",", " ")
            if settled.opens is not None
            else "the duty melts the element in part: what it does after refreezing is outside "
            "the physics that was validated, and no life is shown"
        )
        notes += (Note("duty-melts", text),)
        return Endurance(
            cycles=nan, cycles_low=nan, cycles_high=nan, b1=nan, b1_low=nan, b10=nan, b10_low=nan,
            years=None, swing=settled.swing, peak_c=settled.peak_c, opens_in_cycle=settled.opens,
            rule_cycles=nan, events=(), notes=notes, **common,
        )  # fmt: skip
    base = settled.ln_damage(law.pivot_swing)
    known, unit_sd = _spread(subject, connection, once, ambient_c, cells, law, base)
    life = _lives(law, base, known, unit_sd, seed)
    rule = _rule(model, definition, waveform, cells, law)
    notes += _remarks(model, settled, tests, rule, life["cycles"], law)
    years = None
    if tests and cycles_per_day is not None:
        years = life["b10"] / cycles_per_day * _DAY / _YEAR
    return Endurance(
        years=years, swing=settled.swing, peak_c=settled.peak_c, opens_in_cycle=None,
        rule_cycles=rule, events=settled.events(law), notes=notes, **life, **common,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Settled:
    """One cycle of a duty once it repeats."""

    run: Run
    cycles: Cycles
    opens: int | None
    melts: bool

    @classmethod
    def of(cls, model: FuseModel, once: Waveform, ambient_c: float, cells: int) -> _Settled:
        count = min(max(FEWEST, math.ceil(SETTLING / once.duration)), MOST)
        train = once.repeated(count)
        before = simulate(model, train, ambient_c=ambient_c, cells=cells)
        if before.opened:
            assert before.pre_arcing_time is not None
            place = cycle_at(train, before.pre_arcing_time)
            none = count_cycles([])
            return cls(before, none, place[0] if place else 1, True)
        run = simulate(model, once, ambient_c=ambient_c, cells=cells, start=before.final_state)
        found = repeating(run.element_temperature_c)
        melts = before.onset_time is not None or run.onset_time is not None
        return cls(run, found.above(SMALLEST_SWING), None, melts)

    @property
    def swing(self) -> float:
        """Largest swing [K]."""
        return float(np.max(self.cycles.range, initial=0.0))

    @property
    def peak_c(self) -> float:
        """Peak temperature [degC]."""
        return self.run.peak_temperature_c

    def ln_damage(self, pivot: float) -> Floats:
        """ln of sum n (dT/dT*)^c at the exponents of `_NODES`."""
        laws = (SwingLaw(pivot_cycles=1.0, pivot_swing=pivot, exponent=c) for c in _NODES)
        if self.melts:
            return np.zeros(len(_NODES))
        sums = np.array([max(miner_sum(law, self.cycles), 1e-300) for law in laws])
        return np.asarray(np.log(sums), dtype=np.float64)

    def events(self, known: Knowledge) -> tuple[Event, ...]:
        """Swings by their share of damage, the largest first."""
        law = SwingLaw(
            pivot_cycles=1.0, pivot_swing=known.pivot_swing, exponent=known.median_exponent
        )
        damage = law.damage(self.cycles)
        whole = float(np.sum(damage))
        hot = self.run.element_temperature_c
        found: dict[int, Event] = {}
        for i in np.argsort(-damage).tolist():
            a, b = int(self.cycles.start[i]), int(self.cycles.end[i])
            top = a if hot[a] > hot[b] else b
            share = float(damage[i]) / whole
            if top in found:  # the two halves of one swing
                share += found[top].share
                found[top] = replace(found[top], share=share)
            elif len(found) < _TOLD:
                swing, peak = float(self.cycles.range[i]), float(hot[top])
                found[top] = Event(float(self.run.time[top]), swing, peak, share)
        return tuple(found.values())


def _law(subject: Subject, definition: Definition | None, cells: int, seed: int) -> Knowledge:
    """Swing laws that the pulse tests of a definition leave possible."""
    if definition is None or not definition.pulse_tests:
        return knowledge(seed=seed)
    model = model_of(subject, "test")
    swings = []
    for test in definition.pulse_tests:
        integral, duration = _melting(model, definition, cells)
        length = test.duration or duration
        swings.append(_pulse_swing(model, test.share / 100.0 * integral, length, cells))
    return knowledge(swings, [test.pulses for test in definition.pulse_tests], seed=seed)


def _melting(model: FuseModel, definition: Definition | None, cells: int) -> tuple[float, float]:
    """Melting I²t [A² s] and the duration it holds for [s]; of the model where not published."""
    if definition is not None and definition.melting_integrals:
        stated = min(definition.melting_integrals, key=lambda one: one.duration)
        return stated.i2t, stated.duration
    level = 10.0 * minimum_fusing_current(model, cells=cells)
    run = simulate(model, constant(level, 1e3), cells=cells)
    for _ in range(40):
        onset = run.onset_time
        if onset is not None and abs(onset / _TEST_DURATION - 1.0) < 1e-3:
            break
        level *= 2.0 if onset is None else math.sqrt(onset / _TEST_DURATION)
        run = simulate(model, constant(level, 1e3), cells=cells)
    return level * level * (run.onset_time or _TEST_DURATION), _TEST_DURATION


def _pulse_swing(model: FuseModel, i2t: float, duration: float, cells: int) -> float:
    """Rise of the hot spot of a cold fuse by one rectangular pulse [K]."""
    pulse = constant(math.sqrt(i2t / duration), duration)
    run = simulate(model, pulse, ambient_c=REFERENCE_AMBIENT_C, cells=cells)
    return max(run.peak_temperature_c - REFERENCE_AMBIENT_C, 1e-6)


def _spread(
    subject: Subject,
    connection: ConnectionName,
    once: Waveform,
    ambient_c: float,
    cells: int,
    law: Knowledge,
    base: Floats,
) -> tuple[Floats, Floats]:
    """Differences of ln damage: of each draw (d, nodes), and the spread of units (nodes,)."""
    if isinstance(subject, FuseModel):
        return np.zeros((1, len(_NODES))), np.zeros(len(_NODES))
    draws = subject.models(connection)
    models = (*draws, *subject.units.units(subject.connected(connection)))

    def one(i: int) -> Floats:
        found = _Settled.of(models[i], once, ambient_c, cells)
        if not found.melts:
            return found.ln_damage(law.pivot_swing) - base
        # this one melts: its life is the cycles until then, whatever the law says
        ends: Floats = math.log(law.median_cycles / (found.opens or 1)) - base
        return ends

    found = np.array(each(one, len(models)))
    off, units = found[: len(draws)], found[len(draws) :]
    return off, np.sqrt(np.sum(units**2, axis=0))


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
    shift = _normal(quantiles)
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


def _normal(p: Floats) -> Floats:
    """Standard normal quantiles."""
    from scipy.special import ndtri

    return np.asarray(ndtri(p), dtype=np.float64)


def _rule(
    model: FuseModel, definition: Definition | None, waveform: Waveform, cells: int, law: Knowledge
) -> float:
    """Cycles by the bare rule: each pulse by its own share of the melting I²t, from cold [-].

    The law of the swings, read as one of shares through the swing a short cold pulse makes.
    """
    integral, duration = _melting(model, definition, cells)
    damage = 0.0
    bare = SwingLaw(
        pivot_cycles=law.median_cycles,
        pivot_swing=law.pivot_swing,
        exponent=law.median_exponent,
    )
    memory: dict[float, float] = {}
    for span in spans_above(waveform.blocks(), _PULSE * waveform.peak**2):
        exact = waveform.i2t(span.start, span.end)
        # three digits, so that equal pulses are simulated once
        i2t = round(exact, 2 - math.floor(math.log10(exact))) if exact > 0.0 else 0.0
        if i2t >= integral:
            return 0.0
        if i2t > 0.0 and i2t not in memory:
            memory[i2t] = _pulse_swing(model, i2t, duration, cells)
        damage += 1.0 / float(bare.cycles(memory[i2t])) if i2t > 0.0 else 0.0
    return 1.0 / damage if damage > 0.0 else math.inf


def _remarks(
    model: FuseModel,
    settled: _Settled,
    tests: tuple[Any, ...],
    rule: float,
    cycles: float,
    law: Knowledge,
) -> tuple[Note, ...]:
    """What has to be said of a life."""
    notes: tuple[Note, ...] = ()
    if not tests:
        text = (
            "no pulse tests in the definition: the law has no scale of its own (exponent anywhere "
            "from 2 to 9), so these lives rank duties and are no forecast; no years are told"
        )
        notes += (Note("no-pulse-tests", text),)
    mean = SwingLaw(
        pivot_cycles=law.median_cycles, pivot_swing=law.pivot_swing, exponent=law.median_exponent
    )
    by_swing = 1.0 / max(miner_sum(mean, settled.cycles), 1e-300)
    if rule > _UNSAFE * by_swing:
        text = (
            f"the bare rule of I²t shares promises {number(rule / by_swing)} times the cycles of "
            "the swing law on the same data: it is unsafe for this duty, for it knows neither "
            "what went before a pulse nor what flows after it"
        )
        notes += (Note("rule-unsafe", text),)
    if model.element.spot is not None and settled.peak_c > 120.0:
        text = (
            f"a tin spot at {measure(settled.peak_c, '°C')}: above some 120 °C it ages by itself "
            "(growth of intermetallics), which is not modelled; a life is not shown by this"
        )
        notes += (Note("spot-ages", text),)
    if settled.run.dissolved_share > 0.0:
        text = (
            f"a spot has dissolved {percent(settled.run.dissolved_share)} of its section; it "
            "goes on with every cycle and has a life of its own"
        )
        notes += (Note("spot-dissolves", text),)
    if settled.swing == 0.0:
        text = f"no swing above {number(SMALLEST_SWING)} K: repetition does nothing here"
        notes += (Note("no-swing", text),)
    listed = ", ".join(NOT_MODELLED)
    text = f"a new fuse; not modelled, and often what ends a fuse first: {listed}"
    return (*notes, Note("ageing-not-modelled", text))
