"""Does this fuse carry this current? The verdict, by stated rules."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from ..calibration.band import CONFIDENCE
from ..current.ends import end_level
from ..current.waveform import Waveform
from ..errors import Argument, InputError, Note
from ..fuse.model import FuseModel
from ..solver.run import Run, State, simulate
from ..units import REFERENCE_AMBIENT_C, ZERO_CELSIUS_K, kelvin_hint, takes
from ..written import apart, measure, number, percent, seconds
from .cautions import CAUTIONS
from .holder import (
    TERMINAL_CONSTANTS,
    Check,
    Site,
    checks_of,
    lasting_current,
    terminal_time_constant,
    unlimited,
)
from .margin import POPULATION, Margin, margin
from .published_range import INSIDE, Extrapolation, extrapolation, longest_time
from .record_remarks import clipped, rating_notes, short_record
from .subject import (
    ConnectionName,
    Subject,
    cells_of,
    configuration_of,
    model_of,
    refuse_molten,
    subject_notes,
)

VerdictName = Literal["carries", "marginal", "opens", "not_shown"]
SCHEMA = "fusetherm/carry/1"

#: Ambient above which nothing is shown unless every part of the holder has a limit [degC]; no
#: cable insulation of common kinds stands more for long (common practice, no source).
HOT_AMBIENT_C = 200.0
#: Load at the end of a record that is remarked, as a share of the rated current.
_ENDS_LOADED = 0.05
#: Exit status of each verdict.
EXIT_STATUS: dict[str, int] = {"carries": 0, "marginal": 10, "opens": 20, "not_shown": 4}


@dataclass(frozen=True)
class Verdict:
    """Answer to "does this fuse carry this capture?".

    Attributes
    ----------
    verdict : {"carries", "marginal", "opens", "not_shown"}
        The answer, for a new fuse.
    reasons : tuple of str
        Why, the deciding one first.
    run : Run
        The simulation.
    margin : Margin or None
        How near; None for a record that carries no current, and for a fuse that its start
        has melted.
    needed : float or None
        Factor the margin has to reach; below it the verdict is marginal [-].
    checks : tuple of Check
        Blade, clip, body and cable against their limits.
    continuous_limit : float or None
        Current a continuous load may take at this ambient [A].
    continuous_load : float
        What the record or the start holds for long [A].
    """

    verdict: VerdictName
    reasons: tuple[str, ...]
    run: Run = field(repr=False)
    margin: Margin | None
    needed: float | None
    checks: tuple[Check, ...]
    continuous_limit: float | None
    continuous_load: float
    connection: str
    rated_current: float | None
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(repr=False)
    cautions: tuple[str, ...] = field(default=CAUTIONS, repr=False)

    @property
    def exit_status(self) -> int:
        """0 carries, 10 marginal, 20 opens, 4 not shown."""
        return EXIT_STATUS[self.verdict]

    @property
    def record_duration(self) -> float:
        """Time covered of the record itself, without what was assumed after it [s]."""
        return min(self.run.duration, self.run.question.waveform.duration)

    @property
    def record_i2t(self) -> float:
        """Joule integral of the record itself, up to its end or the parting [A2 s]."""
        run = self.run
        whole = run.question.waveform
        return run.i2t if run.duration <= whole.duration else whole.i2t()

    @property
    def held_current(self) -> float | None:
        """Current assumed after the record [A]; None when nothing was held."""
        question = self.run.question
        return abs(end_level(question.waveform).current) if question.after == "hold" else None

    def temperature_c(self, part: str) -> float | None:
        """Highest temperature of a part, the hotter side [degC]."""
        found = [c.value_c for c in self.checks if c.name == part]
        return found[0] if found else None

    def to_json(self) -> dict[str, Any]:
        """The verdict as plain data; absent is None."""
        run, near = self.run, self.margin
        return {
            "schema": SCHEMA,
            "fuse": run.name,
            "verdict": self.verdict,
            "reasons": list(self.reasons),
            "rated_current_A": self.rated_current,
            "ambient_C": run.ambient_c,
            "connection": self.connection,
            "duration_s": self.record_duration,
            "held_current_A": self.held_current,
            "followed_s": run.duration,
            "opened": run.opened,
            "onset_time_s": run.onset_time,
            "pre_arcing_time_s": run.pre_arcing_time,
            "peak_temperature_C": run.peak_temperature_c,
            "peak_time_s": run.peak_time,
            "melting_temperature_C": run.question.model.element.metal.solidus_k - 273.15,
            "melting_share": run.melting_share,
            "blade_temperature_C": self.temperature_c("blade"),
            "clip_temperature_C": self.temperature_c("clip"),
            "body_temperature_C": self.temperature_c("body"),
            "cable_temperature_C": self.temperature_c("cable"),
            "limits_C": {c.name: c.limit_c for c in self.checks},
            "margin_current": None if near is None else near.current_factor,
            "margin_current_low": None if near is None else near.current_low,
            "margin_current_high": None if near is None else near.current_high,
            "margin_level": None if near is None else near.level,
            "margin_threshold": self.needed,
            "margin_population": POPULATION,
            "margin_confidence": CONFIDENCE,
            "margin_duration": None if near is None else near.duration_factor,
            "margin_sources": {} if near is None else dict(near.sources),
            "continuous_load_A": self.continuous_load,
            "continuous_limit_A": self.continuous_limit,
            "i2t_A2s": self.record_i2t,
            "conservation": run.conservation,
            "notes": [{"code": n.code, "text": n.text} for n in self.notes],
            "cautions": list(self.cautions),
            "configuration": {**self.made_with, "tolerance": run.question.tolerance},
        }


@takes(ambient_c="degC", start="A", load_before="A", until="s")
def carry(
    subject: Subject,
    capture: Waveform,
    *,
    ambient_c: float | None = None,
    start: State | float | None = None,
    load_before: float | None = None,
    after: Literal["zero", "hold"] = "zero",
    until: float | None = None,
    connection: ConnectionName = "installed",
) -> Verdict:
    """Say whether a fuse carries a current, how near it comes, and why.

    Parameters
    ----------
    subject : FuseModel or Calibration
        The fuse.
    capture : Waveform
        Current; a capture's own remarks are heeded.
    ambient_c : float, optional
        Ambient of the fuse [degC]; 23 is assumed, and said so.
    start, after, until
        As for `simulate`.
    load_before : float, optional
        Current [A] that brought about a start given as a state; it counts as a continuous
        load.
    connection : {"installed", "test"}
        Connection of a calibration.

    Returns
    -------
    Verdict

    Notes
    -----
    In this order. *Opens*: the median fuse parts or begins to melt, or its start had melted
    it. *Not shown*: the record is clipped; or it lasts longer than `TERMINAL_CONSTANTS`
    terminal time constants, or follows another load, or meets an ambient above
    `HOT_AMBIENT_C`, and a part of the holder has no stated limit; or the ambient leaves
    nothing of the rating; or the current at its end has no steady state. *Marginal*: the
    current margin lies below the factor needed for one unit in 10,000 (`margin`), raised by
    what an extrapolation off the published curve was trusted with (`extrapolation`); a limit
    is passed; or a continuous load exceeds three quarters of the rated current, re-rated to
    the ambient at equal hot spot. Else *carries*.
    """
    notes = subject_notes(subject, connection) + capture.notes
    if ambient_c is None:
        ambient_c = REFERENCE_AMBIENT_C
        text = f"no ambient was given; {number(REFERENCE_AMBIENT_C)} °C assumed"
        notes += (Note("ambient-assumed", text),)
    model, cells = model_of(subject, connection), cells_of(subject)
    notes += rating_notes(capture, model.rated_current)
    refuse_molten(model, ambient_c)
    _refuse_hot(model, ambient_c)
    site = Site(model, ambient_c, cells)
    run = simulate(
        model, capture, ambient_c=ambient_c, start=start, after=after, until=until, cells=cells
    )
    melted = _melted_before(site, start)
    near: Margin | None = None
    if capture.i2t() > 0.0 and not melted:
        near = _margin(subject, run, connection)
        notes += () if near is None else near.notes
    if load_before is None:
        load_before = abs(float(start)) if isinstance(start, (int, float)) else 0.0
    loads = [load_before, abs(end_level(capture).current) if after == "hold" else 0.0]
    constant = TERMINAL_CONSTANTS * terminal_time_constant(model)
    followed = capture if until is None or until >= capture.duration else capture.cut(0.0, until)
    load = max(*loads, lasting_current(followed, constant))
    outside = INSIDE
    if near is not None and not isinstance(subject, FuseModel):
        lasting = max(*loads, lasting_current(followed, longest_time(subject)))
        outside = extrapolation(
            subject, followed, current_factor=near.current_factor, lasting=lasting
        )
        notes += outside.notes
    checks = checks_of(run)
    missing = unlimited(checks, "model" if isinstance(subject, FuseModel) else "definition")
    notes += () if missing is None else (missing,)
    # a state is a history nobody told
    long = isinstance(start, State) or load_before > 0.0 or run.duration > constant
    unknown = [
        *(["the record is clipped: the true current was higher than recorded"]
          if clipped(capture.notes) else []),
        *([] if missing is None else _unlimited(missing, long, ambient_c)),
        *_nothing_left(site, run),
        *_held(site, run),
    ]  # fmt: skip
    if after == "zero":
        remark, no_rest = _cut_off(site, capture)
        if remark:
            remark += short_record(capture.duration, abs(end_level(capture).current), constant)
        notes += remark
        unknown += no_rest
    needed = None if near is None else near.needed * outside.factor
    weak = _weak(near, checks, load, site.continuous_limit, outside)
    verdict, reasons = _decide(run, near, melted, unknown, weak)
    return Verdict(
        verdict=verdict,
        reasons=reasons,
        run=run,
        margin=near,
        needed=needed,
        checks=checks,
        continuous_limit=site.continuous_limit,
        continuous_load=load,
        connection="as modelled" if isinstance(subject, FuseModel) else connection,
        rated_current=model.rated_current,
        notes=tuple(dict.fromkeys(notes + run.notes)),
        made_with=configuration_of(subject),
    )


def _margin(subject: Subject, run: Run, connection: ConnectionName) -> Margin | None:
    """Margin of the question a run answers; None when its start melts the fuse by itself."""
    question = run.question
    try:
        return margin(
            subject,
            question.waveform,
            ambient_c=question.ambient_c,
            start=question.start,
            after=question.after,
            until=question.until,
            connection=connection,
        )
    except InputError as refusal:
        if refusal.code != "melts-without-scaling":
            raise
        return None


def _melted_before(site: Site, start: State | float | None) -> str:
    """Why the fuse is no longer whole at its start; empty when it is."""
    if not isinstance(start, State):
        return ""
    if start.melted:
        return "the element melted before, and no fuse that melted is fit to stay"
    network = site.network
    hottest_k = float(network.temperature_k(start.u)[network.first : network.last + 1].max())
    solidus_k = site.model.element.metal.solidus_k
    if hottest_k < solidus_k:
        return ""
    hottest, melting = apart(hottest_k - ZERO_CELSIUS_K, solidus_k - ZERO_CELSIUS_K)
    return (
        f"the element is molten at its start: that is at {hottest} °C and it melts at {melting} °C"
    )


def _refuse_hot(model: FuseModel, ambient_c: float) -> None:
    insulation = model.limits.cable_insulation_c
    if insulation is not None and ambient_c > insulation:
        raise InputError(
            "ambient-above-insulation",
            f"ambient of {number(ambient_c, 6)} °C against cable insulation for "
            f"{number(insulation, 6)} °C",
            expected="an ambient below the insulation's limit",
            mend=kelvin_hint(ambient_c) or "check the ambient, or the limit in the definition",
        )


def _unlimited(missing: Note, long: bool, ambient_c: float) -> list[str]:
    """What cannot be shown of the holder for want of limits."""
    if long:
        return [f"the load lasts long enough to heat the holder, and {missing.text}"]
    if ambient_c > HOT_AMBIENT_C:
        return [
            f"an ambient of {number(ambient_c, 6)} °C is more than most parts of a holder stand, "
            f"and {missing.text}"
        ]
    return []


def _nothing_left(site: Site, run: Run) -> list[str]:
    """What cannot be shown at an ambient as hot as the element at its rating."""
    if site.continuous_limit != 0.0 or run.i2t == 0.0:
        return []
    return [
        f"at {number(site.ambient_c, 6)} °C nothing is left of the rating: the place itself is as "
        f"hot as the element gets at its rated current in {number(REFERENCE_AMBIENT_C)} °C"
    ]


def _held(site: Site, run: Run) -> list[str]:
    """What cannot be shown of a held current that has no steady state."""
    current = float(run.current[-1])
    if run.question.after != "hold" or site.carries(current):
        return []
    return [
        f"the held {measure(current, 'A')} has no steady state: it melts the element later than "
        f"the {seconds(run.duration)} followed"
    ]


def _weak(
    near: Margin | None,
    checks: tuple[Check, ...],
    load: float,
    limit: float | None,
    outside: Extrapolation = INSIDE,
) -> list[str]:
    """Reasons to call a current that melts nothing marginal."""
    found: list[str] = []
    if near is not None and near.current_factor < near.needed * outside.factor:
        factor, needed = apart(near.current_factor, near.needed * outside.factor, 2)
        reason = (
            f"melting would take {factor} times this current, and {needed} times is needed for "
            f"no more than 1 fuse in {POPULATION:,} to begin to melt"
        )
        if near.level > 0.0:
            reason += f", with {percent(CONFIDENCE)} confidence"
        if outside.factor > 1.0:
            reason += f"; {number(outside.factor)} of it for lying outside the published curve"
        found.append(reason)
    for check in checks:
        if check.limit_c is not None and not check.ok:
            reached, most = apart(check.value_c, check.limit_c)
            found.append(f"{check.name} reaches {reached} °C, limit {most} °C")
    if limit is not None and load > limit:
        flows, allowed = apart(load, limit, 1)
        found.append(
            f"a continuous load of {flows} A exceeds {allowed} A, three quarters of the "
            "rating re-rated to this ambient"
        )
    return found


def _cut_off(site: Site, capture: Waveform) -> tuple[tuple[Note, ...], list[str]]:
    """What a record that ends under load leaves open: a remark, and a reason not to tell.

    The load is the level at the end that "hold" would hold. When it has no steady state,
    what comes after the record would open the fuse.
    """
    load, limit = abs(end_level(capture).current), site.continuous_limit
    # a step to zero is an end
    final = float(np.abs(capture.current(np.array([capture.duration])))[-1])
    if min(load, final) <= _ENDS_LOADED * (site.model.rated_current or capture.peak):
        return (), []
    text = f"the record ends at {measure(load, 'A')} and nothing was assumed after it"
    if limit is not None and load > limit:
        text += f"; for long no more than {measure(limit, 'A')} may flow at this ambient"
    text += "; hold that current to ask what becomes of it"
    notes = (Note("ends-loaded", text, (Argument("after", "hold"),)),)
    if site.carries(load):
        return notes, []
    reason = f"the record ends at {measure(load, 'A')}, which opens the fuse if it goes on"
    return notes, [reason]


def _decide(
    run: Run, near: Margin | None, melted: str, unknown: list[str], weak: list[str]
) -> tuple[VerdictName, tuple[str, ...]]:
    if melted:
        return "opens", (melted,)
    if run.opened:
        assert run.pre_arcing_time is not None
        return "opens", (
            f"the element parts after {seconds(run.pre_arcing_time)}; melting begins at "
            f"{seconds(run.onset_time)}",
        )
    if run.onset_time is not None:
        return "opens", (
            f"melting begins at {seconds(run.onset_time)}; the element does not part within the "
            "record, and no fuse that melted is fit to stay",
        )
    if unknown:
        return "not_shown", tuple(unknown)
    if weak:
        return "marginal", tuple(weak)
    if near is None:
        return "carries", ("the record carries no current",)
    return "carries", (
        f"melting would take {number(near.current_factor)} times this current "
        f"(no less than {number(near.current_low)})",
    )
