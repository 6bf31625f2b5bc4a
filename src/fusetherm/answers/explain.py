"""Why did this fuse open? What took its hottest point there, part by part."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from ..calibration.fit import Calibration
from ..current.condensed import condensed
from ..current.ends import end_level
from ..current.pulses import Parts, held, parted
from ..current.sampled import Sampled
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..fuse.model import FuseModel
from ..solver.integrate import sensitivity
from ..solver.network import build_network
from ..solver.run import Run, simulate
from ..units import REFERENCE_AMBIENT_C, kelvin, takes
from ..written import counted, measure, number, percent, seconds
from .appearance import READINGS, Appearance, AppearanceName, Melt, compared, expected_of, melt_of
from .carry import Verdict, carry
from .margin import LONG_RECORD, NEGLECTED_K
from .sharing import shapley
from .subject import WORN_IN_TEST, ConnectionName, Subject, cells_of, model_of, refuse_molten
from .worn import ContactScenario, contact_scenarios, resistances, with_contacts

SCHEMA = "fusetherm/explain/1"
CauseKind = Literal["load", "pulse", "other pulses", "air", "outdoors", "box", "contacts"]
#: Pulses that are told by themselves, those of most heat first: each doubles the runs it takes.
MOST_PULSES = 3


@dataclass(frozen=True, slots=True)
class Cause:
    """One part of what heated the element.

    Attributes
    ----------
    kind : str
        What it is.
    name : str
        In words, with its numbers.
    rise : float
        Its share of the rise [K]; the shares of all causes add up to it.
    alone, last : float
        Rise it makes by itself, and what it adds to all the others [K].
    """

    kind: CauseKind
    name: str
    rise: float
    alone: float
    last: float


@dataclass(frozen=True)
class Explanation:
    """Answer to "why did this fuse open?".

    Attributes
    ----------
    verdict : Verdict
        What `carry` says of the question.
    time, temperature_c : float
        Instant that is explained, when melting begins or else of the peak [s], and the hottest
        point of the element then [degC].
    causes : tuple of Cause
        Their rises add up to `rise`.
    contacts : tuple of ContactScenario
        What worn contacts add to new ones, in the question or not.
    contacts_asked : bool
        Whether the question has worn contacts.
    melt : Melt or None
        Place and length of what has melted when it parts.
    expected : str or None
        Appearance the prediction would leave, a key of `READINGS`.
    appearance : Appearance or None
        The appearance given, compared.
    """

    verdict: Verdict
    time: float
    temperature_c: float
    causes: tuple[Cause, ...]
    contacts: tuple[ContactScenario, ...]
    contacts_asked: bool
    contact_ohms: tuple[float, float]
    outdoor_c: float | None
    load: float
    load_before: float
    melt: Melt | None
    expected: AppearanceName | None
    appearance: Appearance | None
    notes: tuple[Note, ...]
    cautions: tuple[str, ...] = field(repr=False)

    @property
    def rise(self) -> float:
        """Rise over 23 degC that is shared out [K]."""
        return math.fsum(cause.rise for cause in self.causes)

    @property
    def exit_status(self) -> int:
        """That of the verdict: 20 opens, 0 carries, 10 marginal, 4 not shown."""
        return self.verdict.exit_status

    def share(self, kind: CauseKind) -> float:
        """Share of all causes of a kind in the rise [-]; 0 where nothing rose."""
        own = math.fsum(cause.rise for cause in self.causes if cause.kind == kind)
        return own / self.rise if self.rise else 0.0

    def plot(self, ax: Any = None) -> Any:
        """Figure of the shares."""
        from importlib import import_module

        return import_module("fusetherm.show.plots_explain").plot_explanation(self, ax=ax)

    def to_json(self) -> dict[str, Any]:
        """The answer as plain data; absent is None."""
        run = self.verdict.run
        return {
            "schema": SCHEMA,
            "fuse": run.name,
            "verdict": self.verdict.verdict,
            "reasons": list(self.verdict.reasons),
            "ambient_C": run.ambient_c,
            "outdoor_C": self.outdoor_c,
            "connection": self.verdict.connection,
            "load_A": self.load,
            "load_before_A": self.load_before,
            "onset_time_s": run.onset_time,
            "pre_arcing_time_s": run.pre_arcing_time,
            "time_s": self.time,
            "temperature_C": self.temperature_c,
            "rise_K": self.rise,
            "rise_over_C": REFERENCE_AMBIENT_C,
            "rule": "shapley",
            "causes": [
                {"kind": one.kind, "name": one.name, "rise_K": one.rise,
                 "share": one.rise / self.rise if self.rise else None,
                 "alone_K": one.alone, "last_K": one.last}
                for one in self.causes
            ],
            "contacts_asked": self.contacts_asked,
            "contact_left_mohm": 1e3 * self.contact_ohms[0],
            "contact_right_mohm": 1e3 * self.contact_ohms[1],
            "contacts": [one.to_json() for one in self.contacts],
            "melt": None if self.melt is None else self.melt.to_json(),
            "expected_appearance": self.expected,
            "appearance": None if self.appearance is None else self.appearance.to_json(),
            "margin_current": None if self.verdict.margin is None
                              else self.verdict.margin.current_factor,
            "notes": [{"code": n.code, "text": n.text} for n in self.notes],
            "cautions": list(self.cautions),
            "configuration": self.verdict.made_with,
        }  # fmt: skip


@takes(ambient_c="degC", outdoor_c="degC", load="A", load_before="A")
def explain(
    subject: Subject,
    capture: Waveform,
    *,
    ambient_c: float,
    outdoor_c: float | None = None,
    load: float | None = None,
    load_before: float | None = None,
    after: Literal["zero", "hold"] = "zero",
    contacts: tuple[float | None, float | None] | None = None,
    appearance: AppearanceName | None = None,
    connection: ConnectionName = "installed",
) -> Explanation:
    """Say what took a fuse's hottest point to where it melts, or to its peak, part by part.

    Parameters
    ----------
    subject : FuseModel or Calibration
        The fuse; a calibration with worn contacts has them among the causes.
    capture : Waveform
        What flowed.
    ambient_c : float
        Air at the fuse [degC].
    outdoor_c : float, optional
        Air outdoors [degC]: the rest of the ambient is then the box.
    load : float, optional
        Level of the steady load in the capture [A]; by default the load before, or else the
        magnitude that is passed half of the time. What lies above is pulses.
    load_before : float, optional
        Steady current before the capture [A].
    after : {"zero", "hold"}
        As for `simulate`.
    contacts : (left, right), optional
        Resistance of each installed contact [ohm], None for one as it is: worn ones to ask of.
    appearance : str, optional
        What the opened fuse looks like, a key of `READINGS`.
    connection : {"installed", "test"}
        Connection of a calibration.

    Returns
    -------
    Explanation

    Raises
    ------
    InputError
        ``appearance-unknown``, ``contact-missing``; what `carry` raises.

    Notes
    -----
    Shared out is the rise over 23 degC of the element's hottest point at one instant: when
    melting begins, or else of the peak. Heat goes with the square of the current, resistance
    with temperature: the rise is no sum, and what a part adds depends on what is there before.
    Each has the mean of what it adds over all orders (`shapley`); its rise alone, and last,
    say how far the order matters. The largest pulses are told by themselves.
    """
    if appearance is not None and appearance not in READINGS:
        raise InputError(
            "appearance-unknown",
            f"the appearance is {appearance!r}",
            expected="one of " + ", ".join(READINGS),
        )
    if outdoor_c is not None:
        kelvin(outdoor_c, "outdoor air")
    if isinstance(subject, Calibration):
        new: Subject = replace(subject, contact="new")
        worn: Subject = replace(subject, contact="worn")
        asked = subject.contact == "worn"
    else:
        new = worn = subject
        asked = False
    notes: tuple[Note, ...] = ()
    if contacts is not None:
        worn, asked = with_contacts(new, *contacts), True
        if connection == "test" and isinstance(subject, Calibration):
            notes = (WORN_IN_TEST,)
    new_model, worn_model = model_of(new, connection), model_of(worn, connection)
    refuse_molten(new_model, ambient_c)
    asked = asked and resistances(new_model) != resistances(worn_model)
    cells = cells_of(subject)
    before = load_before or None
    verdict = carry(
        worn if asked else subject, capture, ambient_c=ambient_c, start=before, after=after,
        connection=connection,
    )  # fmt: skip
    run = verdict.run
    instant = run.peak_time if run.onset_time is None else run.onset_time
    instant = max(instant, 1e-6 * run.duration)
    level = end_level(capture).current if after == "hold" else 0.0
    parts = parted(held(capture, level, instant), before if load is None else load)
    story = _Story(
        parts, new_model, worn_model if asked else None, ambient_c, outdoor_c, before, cells
    )
    shares = shapley(story.rise, story.names)
    causes = tuple(
        Cause(kind, share.name, share.value, share.alone, share.last)
        for kind, share in zip(story.kinds, shares, strict=True)
    )

    def followed(model: FuseModel) -> Run | None:
        return _followed(model, capture, ambient_c, before, after, cells)

    scenarios = contact_scenarios(new_model, worn_model, followed, ambient_c=ambient_c, cells=cells)
    melt = melt_of(run)
    whole = math.fsum(one.rise for one in causes)
    by_contacts = sum(one.rise for one in causes if one.kind == "contacts") / (whole or 1.0)
    seen = None
    if appearance is not None:
        passed = tuple(check.name for check in verdict.checks if check.ok is False)
        seen = compared(appearance, run, melt, contact_share=by_contacts, passed=passed)
    return Explanation(
        verdict=verdict,
        time=instant,
        temperature_c=REFERENCE_AMBIENT_C + whole,
        causes=causes,
        contacts=scenarios,
        contacts_asked=asked,
        contact_ohms=resistances(worn_model if asked else new_model),
        outdoor_c=outdoor_c,
        load=parts.load,
        load_before=before or 0.0,
        melt=melt,
        expected=expected_of(melt, new_model.rated_current),
        appearance=seen,
        notes=tuple(dict.fromkeys(verdict.notes + notes)) + _remarks(verdict, scenarios, asked),
        cautions=verdict.cautions,
    )


def _followed(
    model: FuseModel,
    wave: Waveform,
    ambient_c: float,
    start: float | None,
    after: Literal["zero", "hold"],
    cells: int,
) -> Run | None:
    """A run, or None where the load before it melts the element by itself."""
    try:
        return simulate(model, wave, ambient_c=ambient_c, start=start, after=after, cells=cells)
    except InputError as refusal:
        if refusal.code != "no-steady-start":
            raise
        return None


class _Story:
    """The causes of a rise, and the rise that any of them make."""

    def __init__(
        self,
        parts: Parts,
        new: FuseModel,
        worn: FuseModel | None,
        ambient_c: float,
        outdoor_c: float | None,
        before: float | None,
        cells: int,
    ) -> None:
        self.parts, self.new, self.worn = parts, new, worn
        self.ambient_c, self.outdoor_c = ambient_c, outdoor_c
        self.before, self.cells = before, cells
        ranked = sorted(range(len(parts.pulses)), key=lambda k: -parts.pulses[k].heat)
        self.groups = [[k] for k in sorted(ranked[:MOST_PULSES])]
        named: list[tuple[CauseKind, str]] = [("load", self._load())]
        for (k,) in self.groups:
            pulse = parts.pulses[k]
            words = f"pulse of {measure(pulse.peak, 'A')} at {measure(pulse.start, 's')}"
            named.append(("pulse", f"{words}, {seconds(pulse.duration)} of it until then"
                          if pulse.end >= parts.wave().duration
                          else f"{words}, {seconds(pulse.duration)}"))  # fmt: skip
        if others := ranked[MOST_PULSES:]:
            self.groups.append(others)
            named.append(("other pulses", counted(len(others), "other pulse")))
        if outdoor_c is None:
            named.append(("air", f"air at the fuse, {measure(ambient_c, '°C', 6)}"))
        else:
            named.append(("outdoors", f"air outdoors, {measure(outdoor_c, '°C', 6)}"))
            above = measure(ambient_c - outdoor_c, "K")
            named.append(("box", f"air at the fuse, {above} above it"))
        if worn is not None:
            left, right = (number(1e3 * ohms) for ohms in resistances(worn))
            named.append(("contacts", f"worn contacts, {left} and {right} mΩ"))
        self.kinds = [kind for kind, _ in named]
        self.names = [name for _, name in named]
        network = build_network(new, ambient_k=kelvin(REFERENCE_AMBIENT_C), cells=cells)
        self._bound = NEGLECTED_K / sensitivity(network)

    def _load(self) -> str:
        words = f"load up to {measure(self.parts.load, 'A')}"
        if self.before is None:
            return words
        return f"{words}, {measure(self.before, 'A')} for long before"

    def rise(self, on: frozenset[int]) -> float:
        """Rise at the instant with some of the causes [K]; without the others 23 degC,
        no current, new contacts."""
        there = {self.kinds[i] for i in on}
        air = REFERENCE_AMBIENT_C
        if "air" in there:
            air = self.ambient_c
        if self.outdoor_c is not None:
            air += self.outdoor_c - REFERENCE_AMBIENT_C if "outdoors" in there else 0.0
            air += self.ambient_c - self.outdoor_c if "box" in there else 0.0
        load = "load" in there
        pulses = [k for g, group in enumerate(self.groups) if g + 1 in on for k in group]
        wave: Waveform = self.parts.wave(load=load, pulses=pulses)
        before = self.before if load else None
        if before is None and wave.i2t() == 0.0:
            return air - REFERENCE_AMBIENT_C
        model = self.worn if self.worn is not None and "contacts" in there else self.new
        if isinstance(wave, Sampled) and wave.time.size > LONG_RECORD:
            wave = condensed(wave, self._bound)
        run = _followed(model, wave, air, before, "zero", self.cells)
        if run is None:  # the load before it melts it by itself
            return float(model.element.metal.solidus_k - kelvin(REFERENCE_AMBIENT_C))
        return float(run.element_temperature_c[-1]) - REFERENCE_AMBIENT_C


def _remarks(
    verdict: Verdict, scenarios: tuple[ContactScenario, ...], asked: bool
) -> tuple[Note, ...]:
    if verdict.run.onset_time is not None:
        return ()
    text = "the prediction does not open the median fuse"
    near = verdict.margin
    if near is not None:
        text += f": that would take {number(near.current_factor)} times this current"
        if near.level > 0.0:
            low, high = number(near.current_low), number(near.current_high)
            text += f" ({percent(near.level)} band {low} to {high})"
    melting = [one for one in scenarios if one.side == "both" and one.onset_time is not None]
    if melting and not asked:
        text += "; with worn contacts it would"
    return (Note("opening-not-explained", text),)
