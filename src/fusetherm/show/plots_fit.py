"""How a fit meets what is published: each point's residual, and each predicted from the others."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..written import percent
from .style import ACCENTS, FAINT, INK, QUIET, SIZE, currents, dress, figure_of, legend

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..calibration.fit import Calibration


def plot_fit(fit: Calibration, ax: Axes | None = None) -> Figure:
    """Residuals of the curve's points against current.

    Parameters
    ----------
    fit : Calibration
    ax : matplotlib axes, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    figure, ax = figure_of(ax, 6.4, 3.8)
    points = [r for r in fit.residuals if r.kind == "time" and not r.bound]
    current = np.array([r.observed for r in points])
    off = 100.0 * np.array([-r.relative for r in points])
    sd = np.array([abs(r.relative / r.in_spreads) if r.in_spreads else math.nan for r in points])
    left = {one.label: one for one in fit.diagnosis.left_out}
    alone = 100.0 * np.array([-left[r.label].relative for r in points])
    ax.axhline(0.0, color=QUIET, lw=0.8, zorder=1)
    ax.errorbar(
        current, off, 100.0 * sd, fmt="o", ms=5.5, mfc="white", mec=INK, mew=1.2, ecolor=FAINT,
        elinewidth=3.0, zorder=3, label="published less fitted, with the spread of the datum",
    )  # fmt: skip
    ax.plot(
        current, alone, "x", color=ACCENTS[1], ms=6, mew=1.5, zorder=4,
        label="published less predicted from the others",
    )  # fmt: skip
    ax.set_xscale("log")
    ax.set_xlabel("current (A)")
    ax.set_ylabel("off, in current (%)")
    ax.set_title(
        f"{fit.definition.id}: {percent(fit.rms_current)} rms fitted, "
        f"{percent(fit.diagnosis.rms_left_out)} rms left out", loc="left",
        fontsize=SIZE + 1,
    )  # fmt: skip
    top = 1.5 * float(np.nanmax(np.abs(np.concatenate((off, alone, 100.0 * sd)))))
    ax.set_ylim(-top, 1.35 * top)
    dress(ax)
    currents(ax)
    legend(ax, "upper right")
    return figure
