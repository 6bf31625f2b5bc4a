"""The style of the figures: quiet, readable in grey and by the colour-blind.

Black and grey first, three colours that stay apart for the colour-blind, and a line style or
marker of its own for everything, so that a grey print says the same. No state of `pyplot` is
touched: a figure is an object, made, returned and forgotten.
"""

from __future__ import annotations

import math
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, NullFormatter

from ..written import number

INK, QUIET, FAINT = "#1a1a1a", "#6b6b6b", "#d9d9d9"
#: Blue, vermilion and green that the colour-blind tell apart (Okabe & Ito, Color Universal
#: Design, 2008; values from memory), dark enough for a grey print.
ACCENTS = ("#0072b2", "#d55e00", "#007a5a")
LINES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (1.2, 1.4)), (0, (6, 2, 1.2, 2)), (0, (3, 1.5)))
SIZE = 9.0


def figure_of(ax: Axes | None, width: float, height: float) -> tuple[Figure, Axes]:
    """The figure of given axes, or a new one of a size [inch] with axes of its own."""
    if ax is not None:
        return whole(ax), ax
    figure = blank(width, height)
    return figure, figure.subplots()


def blank(width: float, height: float) -> Figure:
    return Figure(figsize=(width, height), layout="constrained", facecolor="white")


def whole(ax: Axes) -> Figure:
    figure = ax.get_figure(root=True)
    assert figure is not None, "the axes belong to no figure"
    return figure


def dress(ax: Axes) -> None:
    """The common style."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set(color=QUIET, linewidth=0.8)
    ax.tick_params(which="both", labelsize=SIZE, color=QUIET, labelcolor=INK, direction="out")
    for axis in (ax.xaxis, ax.yaxis):
        axis.label.set(fontsize=SIZE, color=INK)
    ax.title.set_color(INK)


def legend(ax: Axes, place: Literal["center right", "upper right", "lower left"]) -> None:
    box = ax.legend(
        loc=place, fontsize=SIZE - 1, frameon=True, framealpha=0.92, edgecolor="none",
        handlelength=3.0, borderpad=0.3,
    )  # fmt: skip
    box.set_zorder(6)


def currents(ax: Axes) -> None:
    """Plain numbers and a decade grid on a logarithmic axis of currents."""
    ax.grid(True, which="major", color=FAINT, lw=0.9)
    ax.set_axisbelow(True)
    low, high = ax.get_xlim()
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    wide = high / low > 100.0
    steps = (1,) if high / low > 5e3 else (1, 2, 5) if wide else (1, 1.5, 2, 3, 4, 5, 7)
    marks = [m * 10.0**d for d in decades for m in steps]
    ax.xaxis.set_major_locator(FixedLocator([m for m in marks if low <= m <= high]))
    plain_decades(ax.xaxis)


def plain_decades(axis: Any) -> None:
    """Plain numbers on a logarithmic axis, small ticks between."""
    axis.set_minor_locator(LogLocator(subs=tuple(range(2, 10)), numticks=100))
    axis.set_minor_formatter(NullFormatter())
    axis.set_major_formatter(FuncFormatter(lambda value, _: _plain(value)))


def counts(axis: Any, top: float) -> None:
    """Plain numbers on a logarithmic axis of whole numbers, more than one even on a short one."""
    steps = (1,) if top > 200.0 else (1, 2, 5)
    marks = [m * 10.0**d for d in range(math.ceil(math.log10(top)) + 1) for m in steps]
    axis.set_major_locator(FixedLocator([m for m in marks if m <= top]))
    plain_decades(axis)


def paper(ax: Axes) -> None:
    """Log-log paper: plain numbers at 1, 2 and 5 in current and at each decade in time."""
    ax.grid(True, which="minor", color=FAINT, lw=0.4)
    currents(ax)
    ax.yaxis.set_major_locator(LogLocator(numticks=100))
    plain_decades(ax.yaxis)


def bounds(values: list[Any], room: float) -> tuple[float, float]:
    """Lowest and highest positive value, with room on both sides."""
    pool: npt.NDArray[np.float64] = np.concatenate(
        [np.asarray(v, dtype=float) for v in values] or [np.empty(0)]
    )
    pool = pool[np.isfinite(pool) & (pool > 0.0)]
    if pool.size == 0:
        return 0.1, 10.0
    return float(pool.min()) / room, float(pool.max()) * room


def _plain(value: float) -> str:
    """A tick as a person writes it: 0.001, 20, 10000; powers of ten beyond."""
    exponent = round(math.log10(value))
    return number(value, 6) if 1e-4 <= value < 5e4 else f"$10^{{{exponent}}}$"
