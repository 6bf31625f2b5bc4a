"""The figure of two fuses in series."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from .style import ACCENTS, INK, LINES, QUIET, SIZE, bounds, dress, figure_of, legend, paper

if TYPE_CHECKING:
    from ..answers.selectivity import Selectivity

#: Stretches that are not selective: what the legend says, colour, and hatching for a grey print.
_SHADES = {
    "overlap": ("either may open first", ACCENTS[1], "//"),
    "upstream": ("upstream opens first", ACCENTS[1], "x"),
    "neither": ("neither opens", QUIET, ""),
    "not_shown": ("not shown", QUIET, ".."),
}


def plot_selectivity(answer: Selectivity, *, ax: Axes | None = None) -> Figure:
    """Times of two fuses in series against the fault current, where they are selective.

    Parameters
    ----------
    answer : Selectivity
        What `selectivity` gave.
    ax : matplotlib axes, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    figure, ax = figure_of(ax, 6.4, 6.0)
    ax.set_xscale("log")
    ax.set_yscale("log")
    x = answer.current
    for name, middle, edge, said, colour, own, line in (
        (answer.upstream, answer.upstream_middle, answer.upstream_early,
         "earliest begins to melt", INK, LINES[0], LINES[1]),
        (answer.downstream, answer.downstream_middle, answer.downstream_late,
         "latest parts", ACCENTS[0], LINES[3], LINES[2]),
    ):  # fmt: skip
        ax.plot(x, middle, color=colour, lw=1.6, ls=own, label=f"{name}, median parts")
        ax.plot(x, edge, color=colour, lw=1.1, ls=line, label=f"{name}, {said}")
    said_once: set[str] = set()
    for stretch in answer.stretches:
        if stretch.state in _SHADES:
            word, colour, hatch = _SHADES[stretch.state]
            ax.axvspan(stretch.low, max(stretch.high, 1.02 * stretch.low), lw=0, zorder=0.5,
                       facecolor=(colour, 0.12), edgecolor=(colour, 0.45), hatch=hatch,
                       label=None if word in said_once else word)  # fmt: skip
            said_once.add(word)
    times = [answer.upstream_middle, answer.upstream_early, answer.downstream_middle,
             answer.downstream_late]  # fmt: skip
    ax.set_xlim(float(x[0]), float(x[-1]))
    ax.set_ylim(*bounds([t[np.isfinite(t)] for t in times], 2.0))
    ax.set_xlabel("fault current (A)")
    ax.set_ylabel("time (s)")
    ax.set_title(f"{answer.downstream} below {answer.upstream}", loc="left", fontsize=SIZE + 1)
    dress(ax)
    paper(ax)
    legend(ax, "lower left")  # below falling curves nothing lies there
    return figure
