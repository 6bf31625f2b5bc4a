"""A conductor's damage over the latest that its fuse opens."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..written import measure, number
from .style import ACCENTS, INK, LINES, QUIET, SIZE, dress, figure_of, legend, paper

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..answers.protection import Protection

#: Shortest and longest time drawn [s].
_SHORTEST, _LONGEST = 1e-3, 1e6


def plot_protection(found: Protection, ax: Axes | None = None) -> Figure:
    """Damage curve of a conductor, late edge of the fuse and limit of its class.

    Parameters
    ----------
    found : Protection
        What `protect` gave.
    ax : matplotlib axes, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    figure, ax = figure_of(ax, 6.4, 6.4)
    ax.set_xscale("log")
    ax.set_yscale("log")
    current, damage = found.current, found.damage_time
    low, high = float(current[0]) / 1.3, float(current[-1]) * 1.15
    wire = found.wire
    there = np.isfinite(damage)
    ax.plot(
        current[there], damage[there], color=ACCENTS[1], lw=1.8, zorder=4,
        label=f"damages the conductor: {number(1e6 * wire.section)} mm², {wire.insulation.name}",
    )  # fmt: skip
    curve = found.median
    parts = np.isfinite(curve.pre_arcing_time[0])
    ax.plot(
        curve.current[parts], curve.pre_arcing_time[0][parts], color=QUIET, lw=1.0, ls=LINES[1],
        label=f"fuse parts, median, {number(found.fuse_ambient_c, 6)} °C".replace("-", "−"),
    )  # fmt: skip
    ends = np.isfinite(found.fuse_time)
    ax.plot(current[ends], found.fuse_time[ends], color=INK, lw=1.6,
            label="fuse has cleared, 99 % of units")  # fmt: skip
    by_class = np.isfinite(found.class_time)
    if by_class.any():
        ax.plot(current[by_class], found.class_time[by_class], color=ACCENTS[0], lw=1.3,
                ls=LINES[2], label="longest its class allows")  # fmt: skip
    shaded = False
    for gaps, cleared in ((found.gaps, found.fuse_time), (found.class_gaps, found.class_time)):
        for gap in gaps:
            here = there & (current >= gap.low) & (current <= gap.high)
            top = np.where(np.isfinite(cleared[here]), cleared[here], _LONGEST)
            ax.fill_between(
                current[here], damage[here], top, color=ACCENTS[1], alpha=0.13, lw=0, zorder=1,
                label=None if shaded else "gap: damaged before it is cleared",
            )  # fmt: skip
            shaded = True
    _upright(ax, found.rated_current, f"rated {measure(found.rated_current, 'A', 6)}", LINES[2])
    _upright(
        ax, found.conductor_limit, f"conductor carries {measure(found.conductor_limit, 'A')}",
        LINES[3],
    )  # fmt: skip
    if found.far_end is not None:
        _upright(
            ax, found.far_end.current,
            f"short at the far end {measure(found.far_end.current, 'A')}", LINES[4],
        )  # fmt: skip
        low = min(low, found.far_end.current / 1.15)
    finite = np.concatenate((damage[there], found.fuse_time[ends], [10.0]))
    ax.set_xlim(low, high)
    ax.set_ylim(max(float(finite.min()) / 2.0, _SHORTEST), _LONGEST)
    ax.set_xlabel("current (A)")
    ax.set_ylabel("time (s)")
    word = found.verdict.replace("_", " ")
    ax.set_title(f"{found.name}: conductor {word}", loc="left", fontsize=SIZE + 1)
    dress(ax)
    paper(ax)
    legend(ax, "upper right")
    return figure


def _upright(ax: Axes, at: float, text: str, style: Any) -> None:
    ax.axvline(at, color=INK, lw=0.9, ls=style, zorder=1.5)
    ax.annotate(
        text, (at, 0.01), rotation=90, xycoords=("data", "axes fraction"), xytext=(-3, 0),
        textcoords="offset points", ha="right", va="bottom", fontsize=SIZE - 1, color=QUIET,
        bbox={"fc": "white", "ec": "none", "pad": 0.8, "alpha": 0.85},
    )  # fmt: skip
