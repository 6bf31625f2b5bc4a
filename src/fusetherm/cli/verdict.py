"""The verdict in words that a technician can read in ten seconds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ..current.ends import end_level
from ..errors import Note
from ..units import ZERO_CELSIUS_K
from .output import echo, echo_notes, echo_pairs, seconds, shown

if TYPE_CHECKING:
    from ..answers.carry import Verdict

_WORDS = {
    "carries": ("CARRIES", "green"),
    "marginal": ("MARGINAL", "yellow"),
    "opens": ("OPENS", "red"),
    "not_shown": ("NOT SHOWN", "yellow"),
}


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
    word, colour = _WORDS[verdict.verdict]
    click.echo(
        click.style(word, fg=colour, bold=True) + f": {shown(run.name)}, {shown(capture)}"
    )  # fmt: skip
    for reason in verdict.reasons:
        echo(reason, "  ")
    click.echo()
    ambient = f"ambient {run.ambient_c:g} °C" + (" (assumed)" if ambient_assumed else "")
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
        ("record", f"{seconds(verdict.record_duration)}, I²t {verdict.record_i2t:.3g} A²s"
                   + (" up to parting" if parted_within else "")),
        ("after it", _afterwards(verdict)),
        ("heat balance", f"closes to {abs(run.conservation):.1g}"),
    ))  # fmt: skip
    notes = [n for n in verdict.notes if not (ambient_assumed and n.code == "ambient-assumed")]
    if notes or remarks:
        click.echo()
    echo_notes((*notes, *remarks))
    click.echo()
    echo(" ".join(verdict.cautions), hang="")


def _afterwards(verdict: Verdict) -> str:
    held, run = verdict.held_current, verdict.run
    if held is None:
        return ""
    level = end_level(run.question.waveform)
    source = f"rms of its last {seconds(level.duration)}" if level.duration else "its last value"
    followed = run.duration - verdict.record_duration
    return f"{held:.3g} A held ({source}), followed for {seconds(followed)}"


def _nearness(verdict: Verdict) -> str:
    from ..answers.carry import MARGIN_THRESHOLD

    near = verdict.margin
    if near is None:
        return "no current flows"
    text = f"{near.current_factor:.3g} times the current begins to melt it"
    if near.level > 0.0:
        text += (
            f" ({100 * near.level:.0f} % band {near.current_low:.3g} to {near.current_high:.3g}, "
            f"marginal below {MARGIN_THRESHOLD:.3g})"
        )
    if near.duration_factor is not None:
        text += f"; so does {near.duration_factor:.3g} times the duration"
    return text


def _element(verdict: Verdict) -> str:
    run = verdict.run
    melting_c = run.question.model.element.metal.solidus_k - ZERO_CELSIUS_K
    if run.opened:
        return (
            f"melts ({melting_c:.0f} °C) from {seconds(run.onset_time)}, "
            f"parts at {seconds(run.pre_arcing_time)}, {1e3 * run.peak_position:.1f} mm along"
        )
    return (
        f"peak {run.peak_temperature_c:.0f} °C at {seconds(run.peak_time)}, "
        f"{1e3 * run.peak_position:.1f} mm along; melts at {melting_c:.0f} °C; "
        f"{100 * run.melting_share:.2g} % of the heat to melt it there"
    )


def _holder(verdict: Verdict) -> str:
    parts = []
    for check in verdict.checks:
        limit = "no limit stated" if check.limit_c is None else f"limit {check.limit_c:.0f}"
        parts.append(f"{check.name} {check.value_c:.0f} °C ({limit})")
        if check.ok is False:
            parts[-1] = parts[-1][:-1] + ", EXCEEDED)"
    return ", ".join(parts)


def _continuous(verdict: Verdict) -> str:
    if verdict.continuous_limit is None:
        return ""
    limit = f"up to {verdict.continuous_limit:.3g} A allowed at this ambient"
    load = verdict.continuous_load
    return f"{load:.3g} A; {limit}" if load > 0.0 else limit
