"""What took a fuse's hottest point to where it melts: a bar for each cause."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..written import measure, number, percent, seconds
from .style import ACCENTS, INK, LINES, QUIET, SIZE, dress, figure_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..answers.explain import Explanation


def plot_explanation(found: Explanation, ax: Axes | None = None) -> Figure:
    """Shares of the causes in the rise, with what each makes alone and adds last.

    Parameters
    ----------
    found : Explanation
        What `explain` gave.
    ax : matplotlib axes, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    causes = found.causes
    figure, ax = figure_of(ax, 6.8, 1.5 + 0.55 * len(causes))
    rows = range(len(causes))
    rise = found.rise
    ax.barh(rows, [one.rise for one in causes], height=0.5, color=ACCENTS[1], alpha=0.8,
            label="share")  # fmt: skip
    for row, one in zip(rows, causes, strict=True):
        low, high = sorted((one.alone, one.last))
        ax.plot([low, high], [row, row], color=INK, lw=1.0, marker="|", ms=9,
                label="alone, and added last" if row == 0 else None)  # fmt: skip
        share = f", {percent(one.rise / rise)}" if rise else ""
        ax.annotate(
            f"{measure(one.rise, 'K')}{share}".replace("-", "−"), (max(high, one.rise, 0.0), row),
            xytext=(7, 0), textcoords="offset points", va="center", fontsize=SIZE - 1, color=INK,
            bbox={"fc": "white", "ec": "none", "pad": 1.0}, zorder=4,
        )  # fmt: skip
    ax.axvline(0.0, color=QUIET, lw=0.8)
    ax.axvline(rise, color=INK, lw=1.0, ls=LINES[2])
    ax.annotate(
        f"all together {measure(rise, 'K')}", (rise, 1.0), xycoords=("data", "axes fraction"),
        xytext=(-3, -2), textcoords="offset points", ha="right", va="top", fontsize=SIZE - 1,
        color=QUIET,
    )  # fmt: skip
    ax.set_yticks(list(rows), [one.name for one in causes])
    ax.set_ylim(len(causes) - 0.4, -0.9)
    ax.set_xlim(right=1.25 * max(rise, *(max(one.last, one.alone) for one in causes)))
    ax.set_xlabel("rise of the element's hottest point over 23 °C (K)")
    run = found.verdict.run
    what = "begins to melt" if run.onset_time is not None else "peaks"
    ax.set_title(
        f"{run.name} {what} at {seconds(found.time)}, {number(found.temperature_c)} °C",
        loc="left", fontsize=SIZE + 1,
    )  # fmt: skip
    dress(ax)
    # below the axis: above it the title needs the room
    ax.legend(loc="upper right", bbox_to_anchor=(1.0, -0.5 / (0.4 + 0.45 * len(causes))), ncols=2,
              fontsize=SIZE - 1, frameon=False, borderpad=0.0)  # fmt: skip
    return figure
