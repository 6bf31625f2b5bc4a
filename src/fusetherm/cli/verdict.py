"""The verdict in words that a technician can read in ten seconds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ..current.ends import end_level
from ..errors import Note
from ..units import ZERO_CELSIUS_K
from ..written import apart, measure, number, percent, seconds
from .output import echo_cautions, echo_notes, echo_pairs, echo_verdict, shown

if TYPE_CHECKING:
    from ..answers.carry import Verdict

#: A heat balance that closes within this needs no number of its own.
_AGREE = 1e-6


def print_verdict(
    verdict: Verdict,
    *,
    capture: str,
    remarks: tuple[Note, ...] = (),
    preheating: str = "from ambient, no load before",
    ambient_assumed: bool = False,
) -> None:
    """Print a verdict: the word, why, how near, under what conditions, and the caution.

    Parameters
    ----------
    verdict : Verdict
        What `carry` gave.
    capture : str
        File of the capture.
    remarks : tuple of Note
        Remarks besides those of the verdict.
    preheating : str
        What the fuse carried before, in words.
    ambient_assumed : bool
        Whether the ambient was not given.
    """
    run = verdict.run
    echo_verdict(verdict.verdict, f"{shown(run.name)}, {shown(capture)}", verdict.reasons)
    click.echo()
    ambient = f"ambient {measure(run.ambient_c, '°C', 6)}" + (
        " (assumed)" if ambient_assumed else ""
    )
    where = {
        "installed": "installed connection",
        "test": "test connection of the published curve",
    }.get(verdict.connection, verdict.connection)
    parted_within = run.opened and run.duration <= run.question.waveform.duration
    echo_pairs((
        ("how near", _nearness(verdict)),
        ("element", _element(verdict)),
        ("holder", _holder(verdict)),
        ("continuous", _continuous(verdict)),
        ("conditions", f"{ambient}, {where}, new fuse"),
        ("before", preheating),
        ("record", f"{seconds(verdict.record_duration)}, I²t {measure(verdict.record_i2t, 'A²s')}"
                   + (" up to parting" if parted_within else "")),
        ("after it", _afterwards(verdict)),
        ("heat balance", _balance(abs(run.conservation))),
    ))  # fmt: skip
    notes = [n for n in verdict.notes if not (ambient_assumed and n.code == "ambient-assumed")]
    if notes or remarks:
        click.echo()
    echo_notes((*notes, *remarks))
    click.echo()
    echo_cautions(verdict.cautions)


def _afterwards(verdict: Verdict) -> str:
    held, run = verdict.held_current, verdict.run
    if held is None:
        return ""
    level = end_level(run.question.waveform)
    source = f"rms of its last {seconds(level.duration)}" if level.duration else "its last value"
    followed = run.duration - verdict.record_duration
    return f"{measure(held, 'A')} held ({source}), followed for {seconds(followed)}"


def _nearness(verdict: Verdict) -> str:
    near, needed = verdict.margin, verdict.needed
    if near is None or needed is None:
        return "no current flows" if verdict.run.i2t == 0.0 else "melted at its start"
    factor, least = number(near.current_factor), number(needed)
    if factor == least:
        factor, least = apart(near.current_factor, needed, 2)
    text = f"{factor} times the current begins to melt it ("
    if near.level > 0.0:
        low, high = number(near.current_low), number(near.current_high)
        text += f"{percent(near.level)} band {low} to {high}, "
    text += f"marginal below {least})"
    if near.duration_factor is not None:
        text += f"; so does {number(near.duration_factor)} times the duration"
    return text


def _element(verdict: Verdict) -> str:
    run = verdict.run
    melting_c = run.question.model.element.metal.solidus_k - ZERO_CELSIUS_K
    if run.opened:
        return (
            f"melts ({melting_c:.0f} °C) from {seconds(run.onset_time)}, parts at "
            f"{seconds(run.pre_arcing_time)}, {measure(run.peak_position, 'm')} from its left end"
        )
    peak, melting = apart(run.peak_temperature_c, melting_c)
    return (
        f"peak {peak} °C at {seconds(run.peak_time)}, {measure(run.peak_position, 'm')} from its "
        f"left end; melts at {melting} °C; it took {percent(run.melting_share)} of the heat that "
        "melts it through there"
    )


def _holder(verdict: Verdict) -> str:
    parts = []
    for check in verdict.checks:
        if check.limit_c is None:
            parts.append(f"{check.name} {check.value_c:.0f} °C (no limit stated)")
            continue
        value, limit = apart(check.value_c, check.limit_c)
        exceeded = "" if check.ok else ", EXCEEDED"
        parts.append(f"{check.name} {value} °C (limit {limit} °C{exceeded})")
    return ", ".join(parts)


def _continuous(verdict: Verdict) -> str:
    if verdict.continuous_limit is None:
        return ""
    load = verdict.continuous_load
    flows, allowed = apart(load, verdict.continuous_limit, 1)
    limit = f"up to {allowed} A allowed at this ambient"
    return f"{flows} A; {limit}" if load > 0.0 else limit


def _balance(left: float) -> str:
    """How well the heat made, lost and stored agree, for those who want to know."""
    if left < _AGREE:
        return f"heat made, lost and stored agree within {percent(_AGREE)}"
    return f"heat made, lost and stored differ by {percent(left)}"
