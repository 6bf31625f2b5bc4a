"""Endurance asked the other way: how high, how often, how hot, how long for so many cycles."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from ..current.sampled import Sampled
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..labelled import described
from ..life.duty import Duty, DutyEvent, single
from ..units import REFERENCE_AMBIENT_C, takes
from ..written import number
from .endurance import Endurance, endurance
from .subject import ConnectionName, Subject

Varied = Literal["current", "spacing", "ambient", "duration"]

#: Factors looked at, for current and duration, and the largest for spacing; ambients [degC].
SMALLEST, LARGEST, LONGEST = 1e-3, 1e4, 1e3
COLDEST_C, HOTTEST_C = -70.0, 200.0
#: Width of the last bracket of a factor [ln], and of an ambient [K]; between its ends the root is
#: a straight line's, much closer.
AGREEMENT, AGREEMENT_K = 2e-2, 1.0
#: First step from the question's own value: in the logarithm, and in kelvin.
_STEP, _STEP_K = 0.3, 20.0
#: Longest step, over the first one.
_STRIDE = 8.0
#: Beyond so many times the cycles asked a life says only on which side it lies.
_FAR = 1e26


@dataclass(frozen=True, kw_only=True)
class EnduranceLimit:
    """The value at which a duty is borne a number of times.

    ``value`` holds for the median life; for 90 % of units and of what may hold it lies between
    ``value_low`` and ``value_high``. At ``safe`` 9 of 10 units bear the cycles, with a
    confidence of 95 %. Each is nan where no value looked at does it; where all do it is infinite,
    or the shortest spacing there is.

    Attributes
    ----------
    varied : {"current", "spacing", "ambient", "duration"}
        What was varied.
    unit : str
        Its unit: A (peak), s, degC (the hottest), s.
    asked : float
        Value in the question, in that unit.
    cycles : float
        Cycles to be borne [-].
    event : str
        Event of a duty that was varied; empty for all, and for a waveform.
    """

    name: str
    varied: Varied
    unit: str
    asked: float
    cycles: float
    event: str
    value: float = field(metadata=described("value at which the median life is that", "1"))
    value_low: float
    value_high: float
    safe: float = field(metadata=described("value with B10 at 95 % confidence", "1"))
    base: Endurance = field(repr=False)
    evaluations: int
    notes: tuple[Note, ...]


@takes(period="s", ambient_c="degC")
def endurance_limit(
    subject: Subject,
    duty: Waveform | Duty,
    varied: Varied,
    *,
    cycles: float,
    event: str | None = None,
    period: float | None = None,
    ambient_c: float | None = None,
    connection: ConnectionName = "installed",
    aged: bool = False,
) -> EnduranceLimit:
    """Highest current, shortest spacing, highest ambient or longest pulse for so many cycles.

    Parameters
    ----------
    subject : FuseModel or Calibration
        What carries the current.
    duty : Waveform or Duty
        One cycle of the duty.
    varied : {"current", "spacing", "ambient", "duration"}
        What is varied, everything else as it is: the current of the whole waveform (the
        preload of an event stays), the time from start to start, the ambient (of all events
        alike), the time scale of a sampled waveform. Of a spacing, all longer ones bear it too.
    cycles : float
        Cycles to be borne [-].
    event : str, optional
        Name of the event of a duty to vary; all of them when absent.
    period, ambient_c, connection, aged
        As for `endurance`.

    Returns
    -------
    EnduranceLimit

    Raises
    ------
    InputError
        ``not-positive``, ``event-unknown``, ``shape-not-stretched``; what `endurance` raises.

    Notes
    -----
    Each of four quantiles of the life (5, 50 and 95 %, B10 with confidence) falls with current,
    ambient and duration and rises with spacing. Its root is bracketed and found by false
    position where the life is near, by halving where the duty melts the element or does nothing;
    the four share their evaluations and one set of random numbers.

    Examples
    --------
    >>> from fusetherm import FuseModel, metal, round_wire
    >>> wire = FuseModel(round_wire(metal("silver"), 0.2e-3, 10e-3))
    >>> pulse = Waveform(time=[0, 0.1, 0.1], current=[20, 20, 0])
    >>> found = endurance_limit(wire, pulse, "current", cycles=1e5, period=5.0)
    >>> found.value_low < found.value < found.value_high
    True
    """
    if not (math.isfinite(cycles) and cycles > 0.0):
        raise InputError("not-positive", f"{cycles} cycles", expected="a number above 0")
    assumed = REFERENCE_AMBIENT_C if ambient_c is None else ambient_c
    more: dict[str, Any] = {"connection": connection, "aged": aged}
    if isinstance(duty, Waveform):
        base = endurance(subject, duty, period=period, ambient_c=assumed, **more)
        whole = single(duty, period, assumed)
    else:
        base = endurance(subject, duty, period=period, ambient_c=ambient_c, **more)
        whole = replace(duty, ambient_c=assumed if duty.ambient_c is None else duty.ambient_c)
    chosen = _chosen(whole, event)
    question = _Question.of(whole, chosen, varied)
    more["seed"] = base.made_with["seed"]
    lives = {0.0: base}

    def life(x: float) -> Endurance:
        if x not in lives:
            lives[x] = endurance(subject, question.at(x), **more)
        return lives[x]

    def root(quantile: str) -> float:
        def excess(x: float) -> float:
            """ln of life over the cycles asked, falling with x."""
            found = life(x)
            if math.isnan(found.cycles):
                return -math.inf
            value = max(float(getattr(found, quantile)), 1e-300) / cycles
            return math.log(value) if value < _FAR else math.inf

        return question.value(_falling_root(excess, question, list(lives)))

    edges = [root("cycles_low"), root("cycles_high")]
    ordered = edges if question.sign > 0.0 else edges[::-1]
    return EnduranceLimit(
        name=base.name,
        varied=varied,
        unit=question.unit,
        asked=question.value(0.0),
        cycles=float(cycles),
        event=event or "",
        value=root("cycles"),
        value_low=ordered[0],
        value_high=ordered[1],
        safe=root("b10_low"),
        base=base,
        evaluations=len(lives),
        notes=base.notes + _remarks(lives, question),
    )


def _chosen(duty: Duty, event: str | None) -> tuple[int, ...]:
    """Numbers of the events to vary."""
    names = [one.name for one in duty.events]
    if event is None:
        return tuple(range(len(names)))
    if event not in names:
        raise InputError(
            "event-unknown",
            f"the duty {duty.name!r} has no event {event!r}",
            expected=", ".join(names),
        )
    return tuple(i for i, name in enumerate(names) if name == event)


@dataclass(frozen=True, slots=True)
class _Question:
    """A duty with something varied by x: 0 as it is, lives fall with x.

    x is a difference in kelvin for an ambient, else a logarithm of the factor; ``sign`` is that
    of the value's change with x.
    """

    duty: Duty
    chosen: tuple[int, ...]
    varied: Varied
    unit: str
    base: float
    sign: float
    low: float
    high: float

    @classmethod
    def of(cls, duty: Duty, chosen: tuple[int, ...], varied: Varied) -> _Question:
        events = [duty.events[i] for i in chosen]
        room = _room(duty, chosen)
        low, high = math.log(SMALLEST), math.log(LARGEST)
        if varied == "current":
            peak = max(event.waveform.peak for event in events)
            return cls(duty, chosen, varied, "A", peak, 1.0, low, high)
        if varied == "ambient":
            hottest = max(duty.ambients(REFERENCE_AMBIENT_C))
            span = (COLDEST_C - min(duty.ambients(REFERENCE_AMBIENT_C)), HOTTEST_C - hottest)
            return cls(duty, chosen, varied, "degC", hottest, 1.0, *span)
        lengths = [event.waveform.duration for event in events]
        spacings = [event.spacing or event.waveform.duration for event in events]
        tightest = min(math.log(s / d) for s, d in zip(spacings, lengths, strict=True))
        if varied == "spacing":
            base = max(spacings)
            return cls(
                duty, chosen, varied, "s", base, -1.0, -min(math.log(LONGEST), room), tightest
            )
        for event in events:
            if not isinstance(event.waveform, Sampled):
                raise InputError(
                    "shape-not-stretched",
                    f"event {event.name!r} is no record of samples",
                    expected="a capture or a drawn waveform for the time scale to be varied",
                    mend="vary its current, or draw it by breakpoints",
                )
        return cls(duty, chosen, varied, "s", max(lengths), 1.0, low, tightest)

    def value(self, x: float) -> float:
        """Value in its unit at x; nan below all, infinite above."""
        if x == math.inf and self.varied == "spacing":
            x = self.high
        if not math.isfinite(x):
            return x
        if self.varied == "ambient":
            return self.base + x
        return self.base * math.exp(self.sign * x)

    def at(self, x: float) -> Duty:
        """The duty at x."""
        if self.varied == "ambient":
            return replace(self.duty, ambient_c=_warmer(self.duty.ambient_c, x), events=tuple(
                replace(event, ambient_c=_warmer(event.ambient_c, x))
                for event in self.duty.events
            ))  # fmt: skip
        factor = math.exp(self.sign * x)
        events = tuple(
            self._event(event, factor) if i in self.chosen else event
            for i, event in enumerate(self.duty.events)
        )
        return replace(self.duty, events=events)

    def _event(self, event: DutyEvent, factor: float) -> DutyEvent:
        wave = event.waveform
        if self.varied == "current":
            return replace(event, waveform=wave.scaled(factor))
        spacing = event.spacing or wave.duration
        if self.varied == "spacing":
            # rounding must not make it shorter than the waveform
            return replace(event, spacing=max(factor * spacing, wave.duration))
        assert isinstance(wave, Sampled)
        longer = Sampled(min(factor, spacing / wave.duration) * wave.time, wave.values)
        return replace(event, waveform=longer, spacing=max(spacing, longer.duration))


def _warmer(ambient_c: float | None, by: float) -> float | None:
    return None if ambient_c is None else ambient_c + by


def _room(duty: Duty, chosen: tuple[int, ...]) -> float:
    """Logarithm of the factor on the spacing for which the duty's period leaves room."""
    if duty.period is None:
        return math.inf
    own = sum(duty.events[i].train.duration for i in chosen)
    others = sum(event.duration for event in duty.events) - own
    return max(math.log((duty.period - others) / own * (1.0 - 1e-9)), 0.0)


def _falling_root(
    excess: Callable[[float], float], question: _Question, known: list[float]
) -> float:
    """Root of a falling function; nan where it is below 0 everywhere, inf above.

    ``known`` are places where it costs nothing.
    """
    kelvins = question.varied == "ambient"
    first, agree = (_STEP_K, AGREEMENT_K) if kelvins else (_STEP, AGREEMENT)
    if question.varied == "spacing":
        # pulses that come closer may swing less: all longer spacings have to bear it as well
        if excess(question.low) <= 0.0:
            return math.nan
        known = [x for x in known if x != question.low]
    below = [x for x in known if excess(x) <= 0.0]
    above = [x for x in known if excess(x) > 0.0 and x < min(below, default=math.inf)]
    if above and below:
        return _between(excess, max(above), min(below), agree)
    a = max(above) if above else min(below)
    fa = excess(a)
    step = first if fa > 0.0 else -first
    while True:
        b = min(max(a + step, question.low), question.high)
        if b == a:
            return math.inf if fa > 0.0 else math.nan
        fb = excess(b)
        if (fa > 0.0) != (fb > 0.0):
            break
        a, fa = b, fb
        step = math.copysign(min(2.0 * abs(step), _STRIDE * first), step)
    return _between(excess, min(a, b), max(a, b), agree)


def _between(excess: Callable[[float], float], a: float, b: float, agree: float) -> float:
    """Root between a place where a falling function is above 0 and one where it is below.

    Where it drops from above to below at once, as where a duty melts, the place above.
    """
    fa, fb = excess(a), excess(b)
    tries = 0
    while b - a > agree:
        tries += 1
        near = math.isfinite(fa) and math.isfinite(fb) and tries % 3 != 0
        x = 0.5 * (a + b)
        if near:
            # a little beyond the line's root, on the side of the longer part: both ends close in
            x = a + (b - a) * fa / (fa - fb)
            x += math.copysign(0.4 * agree, a + b - 2.0 * x)
            x = min(max(x, a + 0.1 * (b - a)), b - 0.1 * (b - a))
        fx = excess(x)
        if fx > 0.0:
            a, fa = x, fx
        else:
            b, fb = x, fx
    if math.isfinite(fa) and math.isfinite(fb):
        return a + (b - a) * fa / (fa - fb)
    return a


def _remarks(lives: dict[float, Endurance], question: _Question) -> tuple[Note, ...]:
    """What the answer is about, and what ends the range instead of the number of cycles."""
    text = (
        "only wear by repetition is asked here: whether the fuse carries the value found, and "
        "its holder bears it, is a question of its own"
    )
    notes: tuple[Note, ...] = (Note("wear-only", text),)
    ages = [x for x, life in lives.items() if life.spot_ages]
    if ages:
        text = (
            f"from about {number(question.value(min(ages)))} {question.unit.replace('deg', '°')} "
            "the spot ages by itself and no life is shown: the limit may be that"
        )
        notes += (Note("limit-by-spot", text),)
    melts = [x for x, life in lives.items() if life.melts]
    if melts:
        text = (
            f"at {number(question.value(min(melts)))} {question.unit.replace('deg', '°')} and "
            "beyond the duty melts the element"
        )
        notes += (Note("limit-by-melting", text),)
    return notes
