"""Choosing among ratings: which fuses carry every capture, last, and protect the conductor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..calibration.fit import Calibration
from ..conductor.circuit import Circuit
from ..conductor.wire import Wire, continuous_current
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..units import takes
from ..written import measure, number
from .carry import VerdictName, carry
from .conductor import protect
from .endurance import Endurance, endurance
from .protection import ProtectionName
from .record_remarks import rating_notes
from .subject import ConnectionName

Suits = Literal["suits", "marginal", "not_shown", "does_not"]

#: A verdict of a capture, and what it makes of a candidate.
_OF_VERDICT: dict[VerdictName, Suits] = {
    "carries": "suits",
    "marginal": "marginal",
    "opens": "does_not",
    "not_shown": "not_shown",
}
_OF_PROTECTION: dict[ProtectionName, Suits] = {
    "protected": "suits",
    "not_shown": "not_shown",
    "not_protected": "does_not",
}
_WORST: tuple[Suits, ...] = ("does_not", "not_shown", "marginal", "suits")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One fuse of the choice.

    Attributes
    ----------
    name : str
    rated_current : float
        [A].
    suits : {"suits", "marginal", "not_shown", "does_not"}
        The worst of what was found.
    verdicts : tuple of str
        That of each capture; empty for a rating above the conductor's, which is not asked.
    spare : float or None
        Smallest, over the captures, of the margin over the factor needed; None where none
        was found [-].
    cycles : float or None
        Least life over the captures, cycles by which 10 % of units fail with 95 % confidence;
        0 where one melts it, infinite where none makes a swing, None where it was not asked for.
    protection : {"protected", "not_protected", "not_shown"}
        What `protect` says of it and the conductor.
    reasons : tuple of str
    """

    name: str
    rated_current: float
    suits: Suits
    verdicts: tuple[VerdictName, ...]
    spare: float | None
    cycles: float | None
    protection: ProtectionName
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """Answer to "which of these fuses": all of them, by rising rating.

    Attributes
    ----------
    candidates : tuple of Candidate
    conductor_limit : float
        Current the conductor carries for ever [A].
    notes : tuple of Note
    """

    candidates: tuple[Candidate, ...]
    conductor_limit: float
    ambient_c: float
    coldest_c: float
    wire_ambient_c: float
    least_cycles: float | None
    notes: tuple[Note, ...]

    @property
    def suitable(self) -> tuple[Candidate, ...]:
        """Those that suit; an empty answer is an answer."""
        return tuple(one for one in self.candidates if one.suits == "suits")

    @property
    def exit_status(self) -> int:
        """0 when one suits; else 4 when one was not shown, 10 when one is marginal, 20."""
        found = {one.suits for one in self.candidates}
        order: tuple[tuple[Suits, int], ...] = (("suits", 0), ("not_shown", 4), ("marginal", 10))
        return next((status for word, status in order if word in found), 20)

    def to_json(self) -> dict[str, Any]:
        """The answer as plain data."""
        return {
            "schema": "fusetherm/screen/1",
            "suitable": [one.name for one in self.suitable],
            "conductor_limit_A": self.conductor_limit,
            "ambient_C": self.ambient_c,
            "coldest_C": self.coldest_c,
            "wire_ambient_C": self.wire_ambient_c,
            "least_cycles": self.least_cycles,
            "candidates": [
                {
                    "fuse": one.name,
                    "rated_current_A": one.rated_current,
                    "suits": one.suits,
                    "verdicts": one.verdicts,
                    "spare_margin": one.spare,
                    "b10_cycles_low": None
                    if one.cycles is None or math.isinf(one.cycles)
                    else one.cycles,
                    "protection": one.protection,
                    "reasons": one.reasons,
                }
                for one in self.candidates
            ],
            "notes": [{"code": n.code, "text": n.text} for n in self.notes],
        }


@takes(ambient_c="degC", coldest_c="degC", wire_ambient_c="degC", period="s")
def screen(
    fuses: Sequence[Calibration],
    captures: Sequence[Waveform],
    *,
    wire: Wire,
    ambient_c: float,
    coldest_c: float,
    wire_ambient_c: float,
    circuit: Circuit | None = None,
    arcing_allowance: float | None = None,
    period: float | None = None,
    least_cycles: float | None = None,
    connection: ConnectionName = "installed",
) -> Screen:
    """Say which of some fuses carry every capture, last, and protect the conductor.

    Parameters
    ----------
    fuses : sequence of Calibration
        The choice.
    captures : sequence of Waveform
        What the circuit draws, each by itself.
    wire : Wire
        The conductor; without one no fuse can be chosen.
    ambient_c, coldest_c : float
        Hottest place of the fuse, for the captures, and its coldest, for faults [degC].
    wire_ambient_c : float
        Hottest place of the conductor [degC].
    circuit, arcing_allowance : optional
        As for `protect`; without a circuit no fuse is shown to suit.
    period : float, optional
        Time from one capture to its next, for the life [s].
    least_cycles : float, optional
        Times each capture has to be borne.
    connection : {"installed", "test"}
        Connection of the calibrations.

    Returns
    -------
    Screen

    Raises
    ------
    InputError
        ``nothing-to-screen``, ``ambient-above-insulation``, ``current-not-positive``; what
        `carry`, `endurance` and `protect` raise.

    Notes
    -----
    A rating above what the conductor carries for ever is never chosen, whatever it carries,
    and no option makes it so. A fuse suits when `carry` carries every capture, `endurance`
    gives the life asked for, and `protect` says protected; what it is called else is the worst
    of the three. A life that rests on no pulse test may rule a fuse out, and shows none to last.
    """
    if not fuses or not captures:
        what = "fuse" if not fuses else "capture"
        raise InputError(
            "nothing-to-screen", f"no {what} was given", expected="one fuse and one capture or more"
        )
    if least_cycles is not None and not (math.isfinite(least_cycles) and least_cycles > 0.0):
        raise InputError(
            "not-positive", f"least cycles are {least_cycles}", expected="a number above zero"
        )
    limit = continuous_current(wire, wire_ambient_c)
    found = [
        _candidate(
            fuse,
            captures,
            wire,
            limit,
            ambient_c,
            coldest_c,
            wire_ambient_c,
            circuit,
            arcing_allowance,
            period,
            least_cycles,
            connection,
        )
        for fuse in sorted(fuses, key=lambda f: (f.definition.rated_current, f.definition.id))
    ]
    return Screen(
        candidates=tuple(found),
        conductor_limit=limit,
        ambient_c=ambient_c,
        coldest_c=coldest_c,
        wire_ambient_c=wire_ambient_c,
        least_cycles=least_cycles,
        notes=_remarks(fuses, captures),
    )


def _remarks(fuses: Sequence[Calibration], captures: Sequence[Waveform]) -> tuple[Note, ...]:
    """What is to be said of the records, by themselves and beside each rating."""
    notes = [note for capture in captures for note in capture.notes]
    for fuse in fuses:
        name, rated = fuse.definition.id, fuse.definition.rated_current
        for capture in captures:
            beside = rating_notes(capture, rated)
            notes += [Note(note.code, f"{name}: {note.text}") for note in beside]
    return tuple(dict.fromkeys(notes))


def _candidate(
    fuse: Calibration,
    captures: Sequence[Waveform],
    wire: Wire,
    limit: float,
    ambient_c: float,
    coldest_c: float,
    wire_ambient_c: float,
    circuit: Circuit | None,
    arcing_allowance: float | None,
    period: float | None,
    least_cycles: float | None,
    connection: ConnectionName,
) -> Candidate:
    name, rated = fuse.definition.id, fuse.definition.rated_current
    if rated > limit:
        why = f"rated above the conductor, which carries {measure(limit, 'A')} for ever"
        return Candidate(
            name=name, rated_current=rated, suits="does_not", verdicts=(), spare=None, cycles=None,
            protection="not_protected", reasons=(why,),
        )  # fmt: skip
    verdicts: list[VerdictName] = []
    spares: list[float] = []
    lives: list[float] = []
    words: list[tuple[Suits, str]] = []
    for i, capture in enumerate(captures):
        called = f"capture {i + 1}: " if len(captures) > 1 else ""
        verdict = carry(fuse, capture, ambient_c=ambient_c, connection=connection)
        verdicts.append(verdict.verdict)
        words.append((_OF_VERDICT[verdict.verdict], f"{called}{verdict.reasons[0]}"))
        if verdict.margin is not None and verdict.needed:
            spares.append(verdict.margin.current_factor / verdict.needed)
        if least_cycles is not None and verdict.verdict != "opens":
            found = endurance(
                fuse, capture, period=period, ambient_c=ambient_c, connection=connection
            )
            if found.spot_ages:
                words.append(("not_shown", f"{called}its spot would age: no life is shown"))
                continue
            lives.append(0.0 if found.melts else found.b10_low)
            word, why = _lasts(found, least_cycles)
            words.append((word, f"{called}{why}"))
    protection = protect(
        fuse, wire, fuse_ambient_c=coldest_c, wire_ambient_c=wire_ambient_c, circuit=circuit,
        arcing_allowance=arcing_allowance, connection=connection,
    )  # fmt: skip
    words.append((_OF_PROTECTION[protection.verdict], f"conductor: {protection.reasons[0]}"))
    suits = min((word for word, _ in words), key=_WORST.index)
    return Candidate(
        name=name,
        rated_current=rated,
        suits=suits,
        verdicts=tuple(verdicts),
        spare=min(spares) if spares else None,
        cycles=min(lives) if lives else None,
        protection=protection.verdict,
        reasons=tuple(text for word, text in words if word == suits),
    )


def _lasts(found: Endurance, least_cycles: float) -> tuple[Suits, str]:
    """Whether a life is long enough, and why; without pulse tests only that it is not."""
    if found.melts:
        return "does_not", "repeated, it melts the element"
    if math.isinf(found.b10_low):
        return "suits", "no swing: repetition does nothing"
    life = f"9 of 10 units bear {number(found.b10_low)} cycles, 95 % confident"
    if found.b10_low < least_cycles:
        return "does_not", life
    if not found.tests:
        return "not_shown", f"no pulse tests in its definition: that {life}, is no forecast"
    return "suits", life
