"""Does this fuse carry this current? The verdict, by stated rules."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from ..calibration.band import UNIT_SPREAD
from ..calibration.observations import observations_of
from ..current.ends import end_level
from ..current.waveform import Waveform
from ..errors import Argument, InputError, Note
from ..fuse.model import COPPER_CONDUCTIVITY, FuseModel
from ..solver.network import build_network
from ..solver.run import Run, State, simulate
from ..solver.steady import branch_of, steady_of
from ..units import REFERENCE_AMBIENT_C, kelvin, kelvin_hint
from ..written import apart, measure, number, percent, seconds
from .cautions import CAUTIONS
from .margin import Margin, margin
from .subject import ConnectionName, Subject, cells_of, model_of, refuse_molten, subject_notes

VerdictName = Literal["carries", "marginal", "opens", "not_shown"]
SCHEMA = "fusetherm/carry/1"

#: Units of which no more than one may open, and the standard normal quantile of that share.
POPULATION = 10_000
_QUANTILE = 3.719016485455709
#: Lower edge of the current margin below which a verdict is marginal: one unit in 10,000
#: lies 3.72 unit spreads below the median, exp(3.72 * .03) = 1.12.
MARGIN_THRESHOLD = math.exp(_QUANTILE * UNIT_SPREAD)
#: Share of the re-rated current a continuous load may take (common practice, no source).
CONTINUOUS_SHARE = 0.75
#: Terminal time constants after which the holder's temperatures decide as well.
TERMINAL_CONSTANTS = 3.0
#: Outside the published curve lies a pulse this many times shorter than its shortest point,
#: or with a current above its highest. It leaves the verdict alone while its Joule integral
#: is below this share of that point's: short pulses heat without losing anything, so that
#: share, the square of a margin of 2, is a wide one (own choice).
SHORTER, LIGHT = 10.0, 0.25
#: Load at the end of a record that is remarked, as a share of the rated current.
_ENDS_LOADED = 0.05
#: Exit status of each verdict.
EXIT_STATUS: dict[str, int] = {"carries": 0, "marginal": 10, "opens": 20, "not_shown": 4}


@dataclass(frozen=True, slots=True)
class Check:
    """One temperature against its limit.

    Attributes
    ----------
    name : str
        Part.
    value_c : float
        Highest temperature [degC].
    limit_c : float or None
        Limit [degC]; None where none is stated.
    """

    name: str
    value_c: float
    limit_c: float | None

    @property
    def ok(self) -> bool | None:
        """Whether the limit is kept; None without a limit."""
        return None if self.limit_c is None else self.value_c <= self.limit_c


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
        How near; None for a record that carries no current.
    checks : tuple of Check
        Blade, clip, body and cable against their limits.
    continuous_limit : float or None
        Current a continuous load may take at this ambient [A].
    continuous_load : float
        What the record or the start holds for long [A].
    """

    verdict: VerdictName
    reasons: tuple[str, ...]
    run: Run
    margin: Margin | None
    checks: tuple[Check, ...]
    continuous_limit: float | None
    continuous_load: float
    connection: str
    rated_current: float | None
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(repr=False)
    cautions: tuple[str, ...] = CAUTIONS

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
            "margin_threshold": MARGIN_THRESHOLD,
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
    In this order. *Opens*: the median fuse parts or begins to melt. *Not shown*: the record
    is clipped; or it lasts longer than three terminal time constants and no temperature
    limits are stated; or its last current is held and has no steady state. *Marginal*: the
    lower edge of the current margin lies below `MARGIN_THRESHOLD`, a limit is passed, a
    continuous load exceeds three quarters of the rated current, re-rated to the ambient at
    equal hot spot, or the pulse lies outside the published curve and is no light one. Else
    *carries*.
    """
    notes = subject_notes(subject) + capture.notes
    if ambient_c is None:
        ambient_c = REFERENCE_AMBIENT_C
        text = f"no ambient was given; {number(REFERENCE_AMBIENT_C)} °C assumed"
        notes += (Note("ambient-assumed", text),)
    model, cells = model_of(subject, connection), cells_of(subject)
    refuse_molten(model, ambient_c)
    _refuse_hot(model, ambient_c)
    run = simulate(
        model, capture, ambient_c=ambient_c, start=start, after=after, until=until, cells=cells
    )
    near: Margin | None = None
    if capture.i2t() > 0.0:
        near = margin(
            subject,
            capture,
            ambient_c=ambient_c,
            start=start,
            after=after,
            until=until,
            connection=connection,
        )
        notes += near.notes
    outside = _outside_curve(subject, capture)
    notes += tuple(note for note, _ in outside)
    checks = _checks(model, run)
    long = isinstance(start, State)  # with a history nobody told
    if load_before is None:
        load_before = abs(float(start)) if isinstance(start, (int, float)) else 0.0
    load = _continuous_load(model, run, load_before, after)
    limit = _continuous_limit(model, ambient_c, cells)
    long = long or load_before > 0.0 or _is_long(model, run)
    unknown = [
        *(["the record is clipped: the true current was higher than recorded"]
          if any(note.code == "clipped-record" for note in capture.notes) else []),
        *_unlimited(checks, long),
        *_held(model, run, ambient_c, cells, after),
    ]  # fmt: skip
    if after == "zero":
        remark, no_rest = _cut_off(model, capture, ambient_c, cells)
        notes += remark
        unknown += no_rest
    weak = [*_weak(near, checks, load, limit), *(n.text for n, heavy in outside if heavy)]
    verdict, reasons = _decide(run, near, unknown, weak)
    notes += run.notes
    return Verdict(
        verdict=verdict,
        reasons=reasons,
        run=run,
        margin=near,
        checks=checks,
        continuous_limit=limit,
        continuous_load=load,
        connection="as modelled" if isinstance(subject, FuseModel) else connection,
        rated_current=model.rated_current,
        notes=tuple(dict.fromkeys(notes)),
        made_with={"cells": cells} if isinstance(subject, FuseModel) else subject.configuration(),
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


def _checks(model: FuseModel, run: Run) -> tuple[Check, ...]:
    peaks = run.peak_node_temperature_c
    limits = {
        "blade": model.limits.blade_c,
        "clip": model.limits.clip_c,
        "body": model.limits.body_c,
        "cable": model.limits.cable_insulation_c,
    }
    found = []
    for part, limit in limits.items():
        values = [v for name, v in peaks.items() if name.split("_")[0] == part]
        if values:
            found.append(Check(part, max(values), limit))
    return tuple(found)


def terminal_time_constant(model: FuseModel) -> float:
    """Time constant of the slower side's blade and clip against cable and holder [s]."""
    longest = 0.0
    for side in (model.left, model.right):
        if side.blade is None:
            continue
        capacity, conductance = side.blade.heat_capacity, side.blade.to_ambient
        if side.clip is not None:
            capacity += side.clip.heat_capacity
            conductance += side.clip.to_ambient
        if side.cable is not None:
            cable = side.cable
            fin = math.sqrt(COPPER_CONDUCTIVITY * cable.section * cable.loss_per_length)
            conductance += fin * math.tanh(
                cable.length
                * math.sqrt(cable.loss_per_length / (COPPER_CONDUCTIVITY * cable.section))
            )
        if conductance > 0.0:
            longest = max(longest, capacity / conductance)
    return longest


def _is_long(model: FuseModel, run: Run) -> bool:
    return run.duration > TERMINAL_CONSTANTS * terminal_time_constant(model)


def _outside_curve(subject: Subject, capture: Waveform) -> list[tuple[Note, bool]]:
    """Note on a longest pulse outside the published curve, and whether it weighs.

    The pulse is the longest stretch at or above half the peak, with its root mean square.
    """
    if isinstance(subject, FuseModel) or capture.i2t() == 0.0:
        return []
    span = capture.longest_pulse(0.5 * capture.peak)
    points = [o for o in observations_of(subject.definition) if o.kind == "time"]
    if span is None or span.duration <= 0.0:
        return []
    action = capture.i2t(span.start, span.start + span.duration)
    current = math.sqrt(action / span.duration)
    shortest = min(points, key=lambda o: o.value)
    highest = max(o.current for o in points)
    if SHORTER * span.duration >= shortest.value and current <= highest:
        return []
    share = action / (shortest.current**2 * shortest.value)
    text = (
        f"the longest pulse, {measure(current, 'A')} for {seconds(span.duration)}, lies outside "
        f"what is published (up to {measure(highest, 'A')}, down to {seconds(shortest.value)}): "
        f"extrapolated; it has {percent(share)} of the Joule integral of the shortest point"
    )
    return [(Note("outside-fitted-range", text), share > LIGHT)]


def _continuous_load(
    model: FuseModel,
    run: Run,
    load_before: float,
    after: str,
) -> float:
    """Current that flows for long [A]: before, the held end, or the RMS of a long record."""
    loads = [load_before]
    if after == "hold":
        loads.append(float(run.current[-1]))
    if _is_long(model, run):
        loads.append(math.sqrt(run.i2t / run.duration))
    return max(loads)


def _continuous_limit(model: FuseModel, ambient_c: float, cells: int) -> float | None:
    """Three quarters of the rated current, re-rated at equal hot spot [A]."""
    if model.rated_current is None:
        return None
    reference_k, ambient_k = kelvin(REFERENCE_AMBIENT_C), kelvin(ambient_c, "ambient")
    network = build_network(model, ambient_k=reference_k, cells=cells)
    rated = steady_of(network, model.rated_current, reference_k)
    # a connection in which the rating itself melts the fuse: re-rate at the melting point
    solidus_k = model.element.metal.solidus_k
    hot_k = solidus_k if rated is None else kelvin(rated.peak_temperature_c)
    hot = network.metal.state(min(hot_k, solidus_k - 1e-3))
    here = build_network(model, ambient_k=ambient_k, cells=cells)
    branch = branch_of(here, ambient_k)
    cold = here.metal.state(ambient_k)
    if hot <= cold:
        return 0.0
    squared = float(
        np.interp(
            hot, np.concatenate(([cold], branch.targets)), np.concatenate(([0.0], branch.squares))
        )
    )
    return CONTINUOUS_SHARE * math.sqrt(squared)


def _unlimited(checks: tuple[Check, ...], long: bool) -> list[str]:
    """What cannot be shown of the holder for want of limits."""
    if not long or not checks or any(c.limit_c is not None for c in checks):
        return []
    return [
        "the load lasts long enough to heat blade, clip and cable, and no temperature limits "
        "are stated for them"
    ]


def _held(model: FuseModel, run: Run, ambient_c: float, cells: int, after: str) -> list[str]:
    """What cannot be shown of a held current that has no steady state."""
    current = float(run.current[-1])
    if after != "hold" or current == 0.0:
        return []
    ambient_k = kelvin(ambient_c, "ambient")
    least = branch_of(build_network(model, ambient_k=ambient_k, cells=cells), ambient_k).largest
    if current * current <= least:
        return []
    return [
        f"the held {measure(current, 'A')} has no steady state: it melts the element later than "
        f"the {seconds(run.duration)} followed"
    ]


def _weak(
    near: Margin | None, checks: tuple[Check, ...], load: float, limit: float | None
) -> list[str]:
    """Reasons to call a current that melts nothing marginal."""
    found: list[str] = []
    if near is not None and near.current_low < MARGIN_THRESHOLD:
        edge, threshold = apart(near.current_low, MARGIN_THRESHOLD, 2)
        found.append(
            f"the lower edge of the current margin is {edge}, below {threshold}, which keeps "
            f"all but 1 unit in {POPULATION:,} from melting"
        )
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


def _cut_off(
    model: FuseModel, capture: Waveform, ambient_c: float, cells: int
) -> tuple[tuple[Note, ...], list[str]]:
    """What a record that ends under load leaves open: a remark, and a reason not to tell.

    The load is the level at the end that "hold" would hold. When it has no steady state,
    what comes after the record would open the fuse.
    """
    span = capture.duration
    load = abs(end_level(capture).current)
    final = float(np.abs(capture.current(np.array([span])))[-1])  # a step to zero is an end
    if min(load, final) <= _ENDS_LOADED * (model.rated_current or capture.peak):
        return (), []
    text = (
        f"the record ends at {measure(load, 'A')} and nothing was assumed after it; "
        "hold that current to ask what becomes of it"
    )
    notes = (Note("ends-loaded", text, (Argument("after", "hold"),)),)
    ambient_k = kelvin(ambient_c, "ambient")
    network = build_network(model, ambient_k=ambient_k, cells=cells)
    if steady_of(network, load, ambient_k) is not None:
        return notes, []
    reason = f"the record ends at {measure(load, 'A')}, which opens the fuse if it goes on"
    return notes, [reason]


def _decide(
    run: Run, near: Margin | None, unknown: list[str], weak: list[str]
) -> tuple[VerdictName, tuple[str, ...]]:
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
