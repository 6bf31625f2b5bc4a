"""The figures of fusetherm, drawn with matplotlib and written whole or not at all."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..current.waveform import Waveform
from ..files import publish
from ..solver.run import Run
from ..units import ZERO_CELSIUS_K
from ..written import number, seconds
from .series import Event, current_trace, envelope, event_of, figure_ending
from .style import (
    ACCENTS,
    FAINT,
    INK,
    LINES,
    QUIET,
    SIZE,
    blank,
    bounds,
    dress,
    figure_of,
    legend,
    paper,
    plain_decades,
    whole,
)

if TYPE_CHECKING:
    from ..answers.carry import Verdict
    from ..answers.curve import TimeCurrentCurve
    from ..answers.drop import DropTable
    from ..answers.rerating import ReRated
    from ..calibration.curve_models.compare import CurveComparison
    from ..fuse.definition import Definition

#: Spans above which a time axis changes its unit: least span [s], unit, seconds in it.
_CLOCKS = ((2 * 86400.0, "d", 86400.0), (2 * 3600.0, "h", 3600.0), (300.0, "min", 60.0),
           (0.5, "s", 1.0), (0.0, "ms", 1e-3))  # fmt: skip
#: First and last bytes of a whole file.
_FORMATS = {
    ".png": (b"\x89PNG\r\n\x1a\n", b"IEND"),
    ".svg": (b"<?xml", b"</svg>"),
    ".pdf": (b"%PDF-", b"%%EOF"),
}


def plot_capture(result: Run | Verdict, axes: tuple[Axes, Axes] | None = None) -> Figure:
    """Current of a run above, temperature of the element below, on one time axis.

    Parameters
    ----------
    result : Run or Verdict
        What `simulate` or `carry` gave.
    axes : pair of matplotlib axes, optional
        Where to draw, upper and lower; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    run = result if isinstance(result, Run) else result.run
    waveform, metal = run.question.waveform, run.question.model.element.metal
    melting_c = metal.solidus_k - ZERO_CELSIUS_K
    if axes is None:
        figure = blank(6.8, 5.0)
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 1.25))
    else:
        upper, lower = axes
        figure = whole(upper)
    end = max(waveform.duration, run.duration)
    whole_end = round(end, 1 - math.floor(math.log10(end)))
    if end < whole_end < 1.002 * end:  # a record of 0.9999 s ends at a tick
        end = whole_end
    unit, second = next((u, s) for least, u, s in _CLOCKS if end >= least)

    time, current = current_trace(waveform)
    upper.axhline(0.0, color=FAINT, lw=0.8, zorder=0)
    upper.plot(time / second, current, color=INK, lw=0.9, solid_joinstyle="round")
    upper.set_ylabel("current (A)")
    upper.set_title(f"{run.name}, ambient {_celsius(run.ambient_c)}", loc="left", fontsize=SIZE + 1)

    time, hot = envelope(run.time, run.element_temperature_c)
    lower.plot(time / second, hot, color=ACCENTS[1], lw=1.5, label="hottest point of the element")
    blades = [v for k, v in run.node_temperature_c.items() if k.startswith("blade")]
    if blades:
        time, blade = envelope(run.time, np.max(blades, axis=0))
        lower.plot(time / second, blade, color=INK, lw=1.1, ls=LINES[1], label="hotter blade")
    lower.axhline(melting_c, color=INK, lw=1.0, ls=LINES[2])
    label = f"{metal.name} melts at {melting_c:.0f} °C"
    early = run.onset_time is not None and run.onset_time < 0.35 * end
    _along(lower, melting_c, label, right=early)
    bottom = min(float(run.element_temperature_c.min()), run.ambient_c)
    top = max(melting_c, float(hot.max()))
    lower.set_ylim(bottom - 0.04 * (top - bottom), top + 0.12 * (top - bottom))
    _mark_events(run, (upper, lower), end, second)
    if not run.opened:
        peak = (run.peak_time / second, run.peak_temperature_c)
        lower.plot(*peak, "o", ms=5, mfc="white", mec=ACCENTS[1], mew=1.3, clip_on=False, zorder=5)
        late = run.peak_time > 0.6 * end
        lower.annotate(
            f"peak {run.peak_temperature_c:.0f} °C", peak, xytext=(-8 if late else 8, 4),
            textcoords="offset points", ha="right" if late else "left", fontsize=SIZE, color=INK,
        )  # fmt: skip
    lower.set_xlabel(f"time ({unit})")
    lower.set_ylabel("temperature (°C)")
    lower.set_xlim(0.0, end / second)
    legend(lower, "center right")
    for ax in (upper, lower):
        dress(ax)
        ax.margins(x=0.0)
    upper.tick_params(labelbottom=False)
    return figure


def _mark_events(run: Run, axes: tuple[Axes, Axes], end: float, second: float) -> None:
    """Onset and parting as upright lines; what comes after parting is shaded."""
    for at, word, toward in (
        (run.onset_time, "melting begins", -1),
        (run.pre_arcing_time, "parts", 1),
    ):
        if at is None:
            continue
        for ax in axes:
            ax.axvline(at / second, color=QUIET, lw=0.9, ls=LINES[3], zorder=1)
            if toward > 0:
                ax.axvspan(at / second, end / second, color=FAINT, alpha=0.45, lw=0, zorder=0)
        side = 1 if at < 0.2 * end else -1 if at > 0.85 * end else toward
        axes[0].annotate(
            word, (at / second, 0.55 if toward < 0 else 0.4), xytext=(4 * side, 0),
            xycoords=("data", "axes fraction"), textcoords="offset points", va="center",
            ha="left" if side > 0 else "right", fontsize=SIZE - 1, color=INK,
            bbox={"fc": "white", "ec": "none", "pad": 0.8, "alpha": 0.85},
        )  # fmt: skip


def plot_curve(
    curve: TimeCurrentCurve,
    definition: Definition | None = None,
    event: Event | Waveform | Verdict | None = None,
    *,
    ax: Axes | None = None,
) -> Figure:
    """Time-current characteristic on log-log paper, with what is published and an event.

    Parameters
    ----------
    curve : TimeCurrentCurve
        Computed curves, one an ambient.
    definition : Definition, optional
        Its published points are marked, with their shortest and longest times.
    event : Event, Waveform or Verdict, optional
        A pulse placed on the plot: RMS current over its longest pulse against its duration.
    ax : matplotlib axes, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.

    Notes
    -----
    A pulse is compared with a curve for constant current from cold: a guide for the eye;
    the verdict comes from the simulation.
    """
    figure, ax = figure_of(ax, 6.4, 6.4)
    xs, ys = [], []
    ax.set_xscale("log")
    ax.set_yscale("log")
    for i, ambient_c in enumerate(curve.ambient_c):
        time, least = curve.pre_arcing_time[i], float(curve.minimum_fusing_current[i])
        style = {"color": (INK, *ACCENTS)[i % 4], "ls": LINES[i % len(LINES)]}
        there = np.isfinite(time)
        ax.plot(curve.current[there], time[there], lw=1.6, label=f"computed, {_celsius(ambient_c)}",
                marker="s" if there.sum() == 1 else "", ms=4, **style)  # fmt: skip
        low, high = curve.band_low[i][there], curve.band_high[i][there]
        if there.sum() > 1 and np.any(high > low):
            ax.fill_betweenx(
                time[there], curve.current[there] * low, curve.current[there] * high,
                color=style["color"], alpha=0.12, lw=0, zorder=1,
            )  # fmt: skip
        xs += [curve.current[there], [least]]
        ys.append(time[there])
        if math.isfinite(least):
            ax.axvline(least, 0.86, 1.0, lw=1.0, **style)
    if definition is not None and definition.curve is not None:
        points = definition.curve.points
        kind, ambient = definition.curve.time_kind, definition.curve.ambient_c
        _published(ax, definition, f"published {kind} times, {_celsius(ambient)}")
        xs.append([p.current for p in points])
        ys.append([t for p in points for t in (p.time, p.min_time, p.max_time) if t is not None])
    found = _event(event)
    if found is not None:
        at = (found.current, found.duration)
        text = f"{found.label}: {number(found.current)} A rms for {seconds(found.duration)}"
        ax.plot(*at, "D", ms=7.5, mfc=INK, mec="white", mew=1.0, ls="", label=text, zorder=5)
        xs.append([found.current])
        ys.append([found.duration])
    low, high = bounds(xs, 1.25)
    first, last = bounds(ys, 2.0)
    if last < 30.0 * first:  # at least two decades of time
        first, last = 10.0 ** math.floor(math.log10(first)), 10.0 ** math.ceil(math.log10(last))
    if curve.rated_current:
        low = min(low, 0.9 * curve.rated_current)
        ax.axvline(curve.rated_current, color=INK, lw=0.9, ls=LINES[2], zorder=1.5)
        ax.annotate(
            f"rated {number(curve.rated_current, 6)} A", (curve.rated_current, 0.01), rotation=90,
            xycoords=("data", "axes fraction"), xytext=(-3, 0), textcoords="offset points",
            ha="right", va="bottom", fontsize=SIZE - 1, color=QUIET,
        )  # fmt: skip
        low /= 1.12
    ax.set_xlim(low, high)
    ax.set_ylim(first, last)
    ax.set_xlabel("current (A)")
    ax.set_ylabel("pre-arcing time (s)")
    ax.set_title(f"{curve.name}, {curve.connection} connection", loc="left", fontsize=SIZE + 1)
    dress(ax)
    paper(ax)
    handle = ax.plot([], [], color=QUIET, lw=1.0, marker="|", ls="", ms=9, mew=1.0)[0]
    handle.set_label("minimum fusing current of each (marks at the top)")
    if np.any(curve.band_high > curve.band_low):
        ax.fill_between([], [], [], color=QUIET, alpha=0.25, lw=0, label="90 % of units")
    legend(ax, "upper right")
    return figure


def plot_rerating(answer: ReRated, *, ax: Axes | None = None) -> Figure:
    """Continuous currents against ambient, by each criterion, beside what melts the element.

    Parameters
    ----------
    answer : ReRated
        What `rerate` gave.
    ax : matplotlib axes, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    figure, ax = figure_of(ax, 6.8, 4.6)
    order = np.argsort(answer.ambient_c)
    t = answer.ambient_c[order]
    low, high = answer.practice
    ax.fill_between(t, low[order], high[order], color=ACCENTS[2], alpha=0.18, lw=0,
                    label="70 to 80 % of the continuous current, common practice")  # fmt: skip
    ax.plot(t, answer.minimum_fusing_current[order], color=ACCENTS[1], lw=1.3, ls=LINES[3],
            label="minimum fusing current: melts it in the end, no load")  # fmt: skip
    for values, label, line in (
        (answer.fusing_share_current, "same share of the minimum fusing current", LINES[4]),
        (answer.limit_current, "limit of a terminal or the insulation", LINES[1]),
        (answer.hot_spot_current, "same hot spot as rated", LINES[2]),
    ):
        if np.isfinite(values).any():
            ax.plot(t, values[order], color=QUIET, lw=1.1, ls=line, label=label)
    ax.plot(t, answer.continuous_current[order], color=INK, lw=1.8, label="continuous current")
    if np.any(answer.continuous_high > answer.continuous_low):
        ax.fill_between(t, answer.continuous_low[order], answer.continuous_high[order],
                        color=INK, alpha=0.12, lw=0)  # fmt: skip
    if np.isfinite(answer.published_current).any():
        ax.plot(t, answer.published_current[order], "o", ms=5, mfc="white", mec=INK, mew=1.2,
                label="published")  # fmt: skip
        # the difference: from what is published to the lowest of the criteria
        computed = np.nanmin([answer.hot_spot_current, answer.fusing_share_current,
                              answer.limit_current], axis=0)[order]  # fmt: skip
        ax.vlines(t, answer.published_current[order], computed, color=ACCENTS[0], lw=1.0)
    ax.set_ylim(bottom=0.0)
    ax.set_xlabel("air at the fuse (°C)")
    ax.set_ylabel("current (A)")
    ax.set_title(f"{answer.name}, {answer.connection} connection", loc="left", fontsize=SIZE + 1)
    dress(ax)
    ax.grid(True, color=FAINT, lw=0.6)
    ax.legend(loc="lower left", fontsize=SIZE - 1, frameon=True, framealpha=0.92, edgecolor="none")
    return figure


def plot_drop(table: DropTable, *, ax: Axes | None = None) -> Figure:
    """Millivolts across a fuse against its current, warm and just after switching on.

    Parameters
    ----------
    table : DropTable
        What `drop` gave.
    ax : matplotlib axes, optional
        Where to draw; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    figure, ax = figure_of(ax, 6.4, 4.4)
    order = np.argsort(table.current)
    x = table.current[order]
    few = len(x) <= 2  # points, for a line would claim what lies between
    warm, cold = 1e3 * table.voltage[order], 1e3 * table.cold_voltage[order]
    ax.plot(x, warm, color=INK, lw=1.6, ls="" if few else "-", marker="o" if few else "",
            label="warm, steady")  # fmt: skip
    if np.any(table.voltage_high > table.voltage_low):
        low, high = 1e3 * table.voltage_low[order], 1e3 * table.voltage_high[order]
        if few:
            ax.vlines(x, low, high, color=INK, alpha=0.3, lw=5.0, label="90 % of units")
        else:
            ax.fill_between(x, low, high, color=INK, alpha=0.12, lw=0, label="90 % of units")
    ax.plot(x, cold, color=QUIET, lw=1.1, ls="" if few else LINES[1], marker="x" if few else "",
            label="just after switching on")  # fmt: skip
    ax.axhline(1e3 * table.melting_voltage, color=ACCENTS[1], lw=1.1, ls=LINES[3],
               label="melts in the end, at more than this")  # fmt: skip
    ax.set_xlim(left=0.0)
    ax.set_ylim(bottom=0.0)
    ax.set_xlabel("current (A)")
    ax.set_ylabel(f"drop across the {table.measured_at} (mV)")
    ax.set_title(
        f"{table.name}, {table.connection} connection, {_celsius(table.ambient_c)}",
        loc="left", fontsize=SIZE + 1,
    )  # fmt: skip
    dress(ax)
    ax.grid(True, color=FAINT, lw=0.6)
    ax.legend(loc="center left", fontsize=SIZE - 1, frameon=True, framealpha=0.92, edgecolor="none")
    return figure


def plot_comparison(comparison: CurveComparison, axes: tuple[Axes, Axes] | None = None) -> Figure:
    """Curves of several models above, what they say of points left out below.

    Parameters
    ----------
    comparison : CurveComparison
        What `compare_curve_models` gave.
    axes : pair of matplotlib axes, optional
        Where to draw, upper and lower; a figure of its own otherwise.

    Returns
    -------
    matplotlib.figure.Figure
        Not shown, not saved.
    """
    from ..calibration.curve_models.compare import TITLES

    if axes is None:
        figure = blank(6.8, 7.0)
        upper, lower = figure.subplots(2, 1, height_ratios=(1.6, 1.0))
    else:
        upper, lower = axes
        figure = whole(upper)
    least, most = float(comparison.time.min()), float(comparison.time.max())
    times = np.geomspace(0.3 * least, 3.0 * most, 40)
    colours = (QUIET, INK, *ACCENTS, QUIET)
    for i, (name, model) in enumerate(zip(comparison.model, comparison.models, strict=True)):
        style = {"color": colours[i % len(colours)], "ls": LINES[i % len(LINES)], "lw": 1.2}
        currents = [model.current_at(float(t)) for t in times]
        upper.plot(currents, times, label=TITLES[name], **style)
        order = np.argsort(comparison.time)
        off = 100.0 * comparison.held_out_off[i][order]
        lower.plot(comparison.time[order], off, marker="osD^vP"[i % 6], ms=4, **style)
    upper.plot(comparison.current, comparison.time, "o", ms=5, mfc="white", mec=INK, zorder=5,
               label="published")  # fmt: skip
    upper.set_xscale("log")
    upper.set_yscale("log")
    upper.set_xlabel("current (A)")
    upper.set_ylabel("pre-arcing time (s)")
    upper.set_title(comparison.name, loc="left", fontsize=SIZE + 1)
    lower.axhline(0.0, color=FAINT, lw=0.8, zorder=0)
    lower.set_xscale("log")
    lower.set_yscale("symlog", linthresh=1.0)
    lower.set_xlabel("pre-arcing time (s)")
    lower.set_ylabel("off when left out (%)")
    for ax in (upper, lower):
        dress(ax)
    paper(upper)
    legend(upper, "upper right")
    lower.grid(True, color=FAINT, lw=0.6)
    plain_decades(lower.xaxis)
    lower.yaxis.set_major_formatter(lambda value, _: number(value, 3).replace("-", "−"))
    return figure


def save_figure(figure: Figure, path: str | Path, replace: bool = False) -> Path:
    """Write a figure whole or not at all; the same figure gives the same bytes.

    Parameters
    ----------
    figure : matplotlib figure
        What `plot_capture` or `plot_curve` returned.
    path : str or Path
        File ending in .png, .svg or .pdf.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The path written.

    Raises
    ------
    InputError
        ``figure-format``, or as `fusetherm.files.publish`.
    WriteError
        When it could not be written.
    """
    target = Path(path)
    ending = figure_ending(target)
    head, tail = _FORMATS[ending]
    endings: dict[str, dict[str, Any]] = {
        ".png": {"Software": None},
        # what it takes to read a value off the drawing
        ".svg": {"Date": None, "Description": json.dumps({"axes": _scales(figure)})},
        ".pdf": {"CreationDate": None},
    }
    undated = endings[ending]

    def fill(temporary: Path) -> None:
        with matplotlib.rc_context({"svg.hashsalt": "fusetherm"}), temporary.open("wb") as stream:
            figure.savefig(stream, format=ending[1:], dpi=160, metadata=undated)

    def check(temporary: Path) -> None:
        data = temporary.read_bytes()
        if not data.startswith(head) or tail not in data[-64:]:
            raise ValueError("the file is not a whole figure")

    return publish(target, fill, check, replace=replace)


def _scales(figure: Figure) -> list[dict[str, Any]]:
    """Titles, labels, lines, scales and limits of each axes."""
    legends = [ax.get_legend() for ax in figure.axes]
    return [
        {
            "title": ax.get_title(loc="left"),
            "lines": [text.get_text() for text in box.get_texts()] if box else [],
            "x": ax.get_xlabel() or figure.axes[-1].get_xlabel(), "y": ax.get_ylabel(),
            "xscale": ax.get_xscale(), "yscale": ax.get_yscale(),
            "xlim": [float(v) for v in ax.get_xlim()], "ylim": [float(v) for v in ax.get_ylim()],
        }
        for ax, box in zip(figure.axes, legends, strict=True)
    ]  # fmt: skip


def _along(ax: Axes, value: float, text: str, *, right: bool) -> None:
    """A label that sits on a horizontal line, at one of its ends."""
    ax.annotate(
        text, (0.99 if right else 0.01, value), xycoords=("axes fraction", "data"), xytext=(0, 2),
        textcoords="offset points", ha="right" if right else "left", va="bottom",
        fontsize=SIZE - 1, color=INK,
    )  # fmt: skip


def _published(ax: Axes, definition: Definition, label: str) -> None:
    assert definition.curve is not None
    points = definition.curve.points
    for p in points:
        ends = [t for t in (p.min_time, p.max_time) if t is not None]
        if len(ends) == 2:
            ax.plot([p.current] * 2, ends, color=QUIET, lw=1.0, marker="_", ms=7, mew=1.2, zorder=3)
        elif ends:
            # One limit alone: a triangle that points to where the time may lie.
            marker = "^" if p.max_time is None else "v"
            ax.plot(p.current, ends[0], marker, ms=5, color=QUIET, zorder=3)
    means = [(p.current, p.time) for p in points if p.time is not None]
    limits = not means
    ax.plot(
        [c for c, _ in means], [t for _, t in means], "_" if limits else "o", ms=6, mfc="white",
        mec=QUIET if limits else INK, mew=1.2, label=label, zorder=4,
    )  # fmt: skip


def _event(event: Event | Waveform | Verdict | None) -> Event | None:
    if event is None or isinstance(event, Event):
        return event
    return event_of(event if isinstance(event, Waveform) else event.run.question.waveform)


def _celsius(value: float) -> str:
    return f"{number(value, 6)} °C".replace("-", "−")
