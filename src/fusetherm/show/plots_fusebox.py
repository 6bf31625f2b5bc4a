"""The figure of a fuse box: its airs over time, what heats it, and what grouping costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from .style import ACCENTS, FAINT, INK, LINES, QUIET, SIZE, dress

if TYPE_CHECKING:
    from ..answers.fusebox import FuseBox

Floats = npt.NDArray[np.float64]

#: Ways named in the upper panel, the hottest first; further ones are drawn without a name.
_NAMED = 4
#: Longest name for which there is room beside the panel.
_NAME = 14
#: Peaks from which a hot spot is drawn as the band of its swing.
_PEAKS = 8


def plot_fusebox(answer: FuseBox, *, figure: Figure | None = None) -> Figure:
    """Airs and hot spots over time, heat of each way, and the grouping factor.

    Parameters
    ----------
    answer : FuseBox
        What `fusebox` gave.
    figure : matplotlib figure, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    if figure is None:
        figure = Figure(figsize=(8.0, 6.8))
    cells = figure.add_gridspec(
        2, 4, left=0.1, right=0.97, top=0.95, bottom=0.08, hspace=0.32, wspace=1.0,
        height_ratios=(1.25, 1.0),
    )  # fmt: skip
    top, left, right = (
        figure.add_subplot(cells[0, :3]),
        figure.add_subplot(cells[1, :2]),
        figure.add_subplot(cells[1, 2:]),
    )
    _courses(answer, top)
    _heaters(answer, left)
    _grouping(answer, right)
    for ax in (top, left, right):
        dress(ax)
        ax.grid(True, color=FAINT, lw=0.9)
        ax.set_axisbelow(True)
    # beside the panel: the courses fill it
    top.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=SIZE - 1, frameon=False,
               handlelength=2.2)  # fmt: skip
    return figure


def _courses(answer: FuseBox, ax: Axes) -> None:
    minutes = answer.time / 60.0
    order = np.argsort(-np.nan_to_num(answer.hot_spot_c).max(axis=1))
    for rank, i in enumerate(order.tolist()):
        named = rank < _NAMED
        colour = (INK, *ACCENTS)[rank % (1 + len(ACCENTS))] if named else QUIET
        line = LINES[rank % len(LINES)]
        name = str(answer.way[i])
        hot = answer.hot_spot_c[i]
        band = _swings(hot)
        short = name if len(name) <= _NAME else f"{name[: _NAME - 6]}…{name[-5:]}"
        label = f"{short}, hot spot" if named else "other hot spots" if rank == _NAMED else None
        if band is None:
            ax.plot(minutes, hot, color=colour, lw=1.5 if named else 0.8, ls=line, label=label)
        else:
            ax.fill_between(minutes, *band, color=colour, alpha=0.22, lw=0)
            for edge, said in zip(band, (None, label and f"{short}, its swing"), strict=True):
                ax.plot(minutes, edge, color=colour, lw=1.2, ls=line, label=said)
        ax.plot(minutes, answer.air_c[i], color=colour, lw=0.9, ls=line, alpha=0.6)
        if np.isfinite(answer.onset_time[i]):
            ax.axvline(answer.onset_time[i] / 60.0, color=colour, lw=0.8, ls=":")
    ax.plot(minutes, answer.box_air_c, color=QUIET, lw=2.2, label="air of the box")
    ax.axhline(answer.outside_c, color=QUIET, lw=0.9, ls="--", label="outside")
    ax.set_xlim(0.0, float(minutes[-1]))
    ax.set_xlabel("time (min)")
    ax.set_ylabel("temperature (°C)")
    ax.set_title("hot spots; thin: the air at each fuse", loc="left", fontsize=SIZE + 1)


def _swings(hot: Floats) -> tuple[Floats, Floats] | None:
    """Lowest and highest of a trace with many peaks, which as a line would be a smear.

    Of a cycle and its neighbours: the times of the trace seldom lie on a peak.
    """
    above = hot > 0.5 * (hot.min() + hot.max())
    begins = np.flatnonzero(~above[:-1] & above[1:])
    if begins.size < _PEAKS:
        return None
    middle, at = 0.5 * (begins[:-1] + begins[1:]), np.arange(hot.size)
    edges = []
    for fold in (np.minimum, np.maximum):
        own = np.pad(fold.reduceat(hot, begins)[:-1], 1, mode="edge")
        edges.append(np.interp(at, middle, fold(fold(own[:-2], own[1:-1]), own[2:])))
    low, high = edges
    return low, high


def _heaters(answer: FuseBox, ax: Axes) -> None:
    order = np.argsort(answer.cooler_without)
    values = answer.cooler_without[order]
    rows = np.arange(len(order))
    ax.barh(rows, values, color=ACCENTS[0], height=0.36)
    ax.set_yticks([])
    for row, i in enumerate(order.tolist()):
        # above its bar, so that a long name has room
        ax.text(0.01, row + 0.22, str(answer.way[i]), transform=ax.get_yaxis_transform(),
                fontsize=SIZE - 1, color=INK, va="bottom")  # fmt: skip
    ax.set_ylim(-0.5, len(order) - 0.2)
    ax.set_xlim(min(0.0, 1.1 * float(values.min())), max(1.15 * float(values.max()), 1e-3))
    ax.set_xlabel("air of the box, cooler without its load (K)")
    ax.set_title("what heats the box", loc="left", fontsize=SIZE + 1)


def _grouping(answer: FuseBox, ax: Axes) -> None:
    if not np.isfinite(answer.group_factor).any():
        ax.text(0.5, 0.5, "no grouping factor", ha="center", transform=ax.transAxes, color=QUIET)
        ax.set_title("grouping factor", loc="left", fontsize=SIZE + 1)
        return
    ax.plot(answer.group_count, answer.group_factor, color=INK, marker="o", ms=4, lw=1.2)
    lowest = float(np.nanmin(answer.group_factor))
    ax.set_xlim(0.7, float(answer.group_count[-1]) + 0.3)
    ax.set_ylim(max(0.0, 1.0 - 1.6 * (1.0 - lowest) - 0.01), 1.0 + 0.1 * (1.0 - lowest) + 0.005)
    ax.set_xticks(answer.group_count)
    ax.set_xlabel("loaded ways")
    ax.set_ylabel("factor on the current of one alone (-)")
    ax.set_title("grouping factor, all loaded alike", loc="left", fontsize=SIZE + 1)
