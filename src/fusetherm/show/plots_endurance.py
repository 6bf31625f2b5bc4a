"""The figure of an endurance: swings counted, damage by event, lives with their band."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..written import number, seconds
from .style import ACCENTS, FAINT, INK, LINES, QUIET, SIZE, blank, dress, plain_decades
from .style import counts as counts_on

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..answers.endurance import Endurance

#: Bins of the histogram at most, and bars of the damage.
_BINS, _BARS = 24, 8
#: Longest name of a bar.
_NAME = 24


def plot_endurance(answer: Endurance, figure: Figure | None = None) -> Figure:
    """Histogram of the swings, share of damage by event, cycles to failure with their band.

    Parameters
    ----------
    answer : Endurance
        What `endurance` gave.
    figure : matplotlib.figure.Figure, optional
        Empty figure to draw in; one of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved. Where no life is shown it says so instead.
    """
    figure = blank(7.2, 6.6) if figure is None else figure
    if not math.isfinite(answer.cycles):
        _without_life(figure.subplots(), answer)
        return figure
    upper, middle, lower = figure.subplots(3, 1, height_ratios=(3.0, 2.2, 1.3))
    _histogram(upper, answer)
    _bars(middle, answer)
    _lives(lower, answer)
    old = ", aged" if answer.aged else ""
    up_to = "up to " if len({part.ambient_c for part in answer.parts}) > 1 else ""
    upper.set_title(
        f"{answer.name}{old}, {up_to}{number(answer.ambient_c, 4)} °C, a cycle of "
        f"{seconds(answer.period)}".replace("-", "−"),
        loc="left", fontsize=SIZE + 1,
    )  # fmt: skip
    for ax in (upper, middle, lower):
        dress(ax)
    return figure


def _without_life(ax: Axes, answer: Endurance) -> None:
    """Temperature through the cycle that ends it, and why no life is shown."""
    run = answer.run
    if run is not None:
        ax.plot(run.time, run.element_temperature_c, color=INK, lw=1.3)
    codes = ("duty-melts", "spot-ages", "no-swing")
    why = next((note.text for note in answer.notes if note.code in codes), "no life is shown")
    ax.set_title(f"{answer.name}: {why}", loc="left", fontsize=SIZE, wrap=True)
    ax.set_xlabel("time (s)")
    ax.set_ylabel("hottest point (°C)")
    dress(ax)


def _histogram(ax: Axes, answer: Endurance) -> None:
    """Swings of one cycle by size, on a logarithmic axis of counts."""
    if answer.swings.size == 0:
        ax.text(0.5, 0.5, "no swing", ha="center", va="center", transform=ax.transAxes,
                color=QUIET, fontsize=SIZE)  # fmt: skip
        return
    top = float(answer.swings.max())
    edges = np.linspace(0.0, 1.02 * top, min(_BINS, 6 + answer.swings.size) + 1)
    counts, _ = np.histogram(answer.swings, edges, weights=answer.swing_counts)
    damage, _ = np.histogram(answer.swings, edges, weights=answer.swing_shares)
    middle, wide = 0.5 * (edges[:-1] + edges[1:]), 0.44 * np.diff(edges)
    there = counts > 1e-9
    ax.bar(middle[there] - 0.5 * wide[there], counts[there], wide[there], color=QUIET,
           label="swings in a cycle (left)")  # fmt: skip
    ax.set_yscale("log")
    ax.set_ylim(0.5, 3.0 * max(float(counts.max()), 1.0))
    counts_on(ax.yaxis, 3.0 * max(float(counts.max()), 1.0))
    ax.set_ylabel("swings in a cycle")
    ax.set_xlabel("swing of the hot spot (K)")
    ax.grid(True, axis="y", color=FAINT, lw=0.7)
    ax.set_axisbelow(True)
    other = ax.twinx()
    other.bar(middle[there] + 0.5 * wide[there], 100.0 * damage[there], wide[there],
              facecolor=ACCENTS[1], edgecolor="white", hatch="////", lw=0.0,
              label="share of damage (right)")  # fmt: skip
    other.set_ylim(0.0, 110.0)
    other.set_ylabel("share of damage (%)", fontsize=SIZE, color=INK)
    other.tick_params(labelsize=SIZE, color=QUIET, labelcolor=INK)
    for side in ("top", "left", "bottom"):
        other.spines[side].set_visible(False)
    other.spines["right"].set(color=QUIET, linewidth=0.8)
    handles = [ax.containers[0], other.containers[0]]
    other.legend(
        handles, ["swings in a cycle (left)", "share of damage (right)"], loc="upper center",
        fontsize=SIZE - 1, frameon=True, framealpha=0.92, edgecolor="none",
    )  # fmt: skip


def _bars(ax: Axes, answer: Endurance) -> None:
    """Share of damage of each event of a duty, or of each swing of a waveform."""
    if answer.parts:
        rows = [(f"{part.name} × {number(float(part.count))}", part.share) for part in answer.parts]
    else:
        rows = [(f"peak at {seconds(event.time)}", event.share) for event in answer.events]
    rows = sorted(rows, key=lambda row: -row[1])[:_BARS]
    names = [name if len(name) <= _NAME else name[: _NAME - 1] + "…" for name, _ in rows]
    at = np.arange(len(rows), dtype=np.float64)
    shares = np.array([100.0 * share for _, share in rows])
    ax.barh(at, shares, 0.6, facecolor=ACCENTS[1], edgecolor="white", hatch="////", lw=0.0)
    for y, share in zip(at, shares, strict=True):
        told = f"{number(float(share), 2)} %" if share >= 0.1 else "under 0.1 %"
        ax.annotate(told, (share, y), xytext=(4, 0), va="center",
                    textcoords="offset points", fontsize=SIZE - 1, color=INK)  # fmt: skip
    ax.set_yticks(at, names)
    ax.set_ylim(max(len(rows), 2) - 0.5, -0.5)
    ax.set_xlim(0.0, 115.0)
    ax.set_xlabel("share of damage (%)")


def _lives(ax: Axes, answer: Endurance) -> None:
    """Cycles to failure: band and median, B10 with its confidence, the bare rule."""
    ax.set_xscale("log")
    ax.plot([answer.cycles_low, answer.cycles_high], [1.0, 1.0], color=ACCENTS[0], lw=7.0,
            alpha=0.3, solid_capstyle="butt")  # fmt: skip
    ax.plot([answer.cycles], [1.0], marker="|", ms=13, mew=2.2, color=ACCENTS[0])
    ax.plot([answer.b10_low, answer.b10], [0.0, 0.0], color=ACCENTS[2], lw=7.0, alpha=0.3,
            solid_capstyle="butt")  # fmt: skip
    ax.plot([answer.b10], [0.0], marker="|", ms=13, mew=2.2, color=ACCENTS[2])
    low, high = min(answer.cycles_low, answer.b10_low), answer.cycles_high
    ax.set_xlim(low / 2.0, 2.0 * high)
    if math.isfinite(answer.rule_cycles) and low / 2.0 < answer.rule_cycles < 2.0 * high:
        ax.axvline(answer.rule_cycles, color=INK, lw=1.0, ls=LINES[1])
        ax.annotate("bare rule", (answer.rule_cycles, 1.5), xytext=(3, 0), fontsize=SIZE - 1,
                    textcoords="offset points", va="center", color=QUIET)  # fmt: skip
    ax.set_yticks([1.0, 0.0], ["90 % of lives,\nmedian", "B10, and with\n95 % confidence"])
    ax.set_ylim(-0.7, 1.8)
    ax.grid(True, axis="x", color=FAINT, lw=0.7)
    plain_decades(ax.xaxis)
    word = "from pulse tests" if answer.tests else "no pulse tests: for comparing duties only"
    ax.set_xlabel(f"cycles to failure ({word})")
