"""Figures: what stands on them, and that files are whole."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from fusetherm.answers.curve import TimeCurrentCurve, time_current_curve
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError
from fusetherm.fuse.definition import load_fuse
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.metals import metal
from fusetherm.show.plots import plot_capture, plot_curve, save_figure
from fusetherm.show.plots_fit import plot_fit
from fusetherm.show.series import Event
from fusetherm.solver.run import Run, simulate

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"
MODEL = FuseModel(element=round_wire(metal("copper"), 2e-4, 0.02), name="a wire")


@pytest.fixture(scope="module")
def carried() -> Run:
    wave = Waveform(time=[0, 0.5, 0.5, 0.51, 0.51, 2], current=[5, 5, 30, 30, 5, 5])
    return simulate(MODEL, wave)


@pytest.fixture(scope="module")
def opened() -> Run:
    return simulate(MODEL, Waveform(time=[0, 2], current=[60, 60]))


@pytest.fixture(scope="module")
def curve() -> TimeCurrentCurve:
    return time_current_curve(MODEL, ambient_c=[-40.0, 85.0], currents=[30.0, 50.0, 100.0])


def texts(figure: Figure) -> str:
    found = [t.get_text() for ax in figure.axes for t in ax.texts]
    for ax in figure.axes:
        legend = ax.get_legend()
        found += [] if legend is None else [t.get_text() for t in legend.get_texts()]
        found += [ax.get_title(loc="left"), ax.get_xlabel(), ax.get_ylabel()]
    return "\n".join(found)


def test_capture_shows_current_temperature_and_melting_point(carried: Run) -> None:
    figure = plot_capture(carried)
    upper, lower = figure.axes
    assert (upper.get_ylabel(), lower.get_ylabel()) == ("current (A)", "temperature (°C)")
    assert lower.get_xlabel() == "time (s)"
    assert "copper melts at 1085 °C" in texts(figure)
    (melting,) = [x for x in lower.lines if set(np.round(np.ravel(x.get_ydata()))) == {1085.0}]
    assert melting.get_linestyle() != "-"
    assert max(np.max(x.get_ydata()) for x in upper.lines) == pytest.approx(30.0)
    hottest = max(np.max(x.get_ydata()) for x in lower.lines if x is not melting)
    assert hottest == pytest.approx(carried.peak_temperature_c, abs=0.5)
    assert upper.get_xlim() == lower.get_xlim() == (0.0, 2.0)


def test_capture_marks_melting_and_parting(opened: Run, carried: Run) -> None:
    assert {"melting begins", "parts"} <= set(texts(plot_capture(opened)).split("\n"))
    assert "parts" not in texts(plot_capture(carried)).split("\n")
    verdict = SimpleNamespace(run=opened)
    assert "parts" in texts(plot_capture(verdict))  # type: ignore[arg-type]


def test_time_axis_takes_a_unit_that_fits() -> None:
    short = simulate(MODEL, Waveform(time=[0, 0.02], current=[5, 5]))
    assert plot_capture(short).axes[1].get_xlabel() == "time (ms)"
    long = simulate(MODEL, Waveform(time=[0, 30000.0], current=[1, 1]))
    assert plot_capture(long).axes[1].get_xlabel() == "time (h)"


def test_figures_go_where_asked(carried: Run, curve: TimeCurrentCurve) -> None:
    figure = Figure()
    upper, lower, third = figure.subplots(3)
    assert plot_capture(carried, (upper, lower)) is figure
    assert plot_curve(curve, ax=third) is figure
    assert len(figure.axes) == 3


def test_curve_holds_computed_published_and_event(curve: TimeCurrentCurve) -> None:
    event = Event(current=70.0, duration=0.004)
    figure = plot_curve(curve, load_fuse(EXAMPLE), event)
    (ax,) = figure.axes
    assert (ax.get_xscale(), ax.get_yscale()) == ("log", "log")
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("current (A)", "pre-arcing time (s)")
    words = texts(figure)
    assert "computed, −40 °C" in words
    assert "computed, 85 °C" in words
    assert "published pre-arcing times, 23 °C" in words
    assert "70 A rms for 4 ms" in words
    lines = {str(line.get_label()): line for line in ax.lines}
    drawn = lines["computed, 85 °C"]
    assert np.ravel(drawn.get_ydata()) == pytest.approx(
        curve.pre_arcing_time[1][np.isfinite(curve.pre_arcing_time[1])]
    )
    published = lines["published pre-arcing times, 23 °C"]
    assert (54.0, 600.0) in set(zip(*published.get_data(), strict=True))
    bars = [line for line in ax.lines if list(np.ravel(line.get_ydata())) == [0.2, 0.36]]
    assert len(bars) == 1  # the one point with shortest and longest time
    low, high = ax.get_xlim()
    bottom, top = ax.get_ylim()
    assert low < 40.0 < high
    assert bottom < 0.004 < 300.0 < top


def test_each_ambient_has_a_line_style_of_its_own(curve: TimeCurrentCurve) -> None:
    (ax,) = plot_curve(curve).axes
    computed = [x for x in ax.lines if str(x.get_label()).startswith("computed")]
    assert len({str(x.get_linestyle()) for x in computed}) == 2 or len(
        {str(x._dash_pattern) for x in computed}  # type: ignore[attr-defined]
    ) == 2  # fmt: skip
    least = [x for x in ax.lines if len(set(np.ravel(x.get_xdata()))) == 1]
    at = {float(np.ravel(x.get_xdata())[0]) for x in least if len(np.ravel(x.get_xdata())) == 2}
    assert at >= {float(c) for c in curve.minimum_fusing_current}


def test_curve_where_nothing_melts_still_draws() -> None:
    curve = time_current_curve(MODEL, currents=[1.0])
    assert np.isnan(curve.pre_arcing_time).all()
    assert plot_curve(curve, event=Waveform(time=[0, 1], current=[0, 0])).axes


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_saved_figure_is_whole_and_the_same_each_time(
    ending: str, carried: Run, tmp_path: Path
) -> None:
    one, two = tmp_path / f"one.{ending}", tmp_path / f"two.{ending}"
    assert save_figure(plot_capture(carried), one) == one
    save_figure(plot_capture(carried), two)
    assert one.read_bytes() == two.read_bytes()
    assert one.stat().st_size > 5000
    assert sorted(p.name for p in tmp_path.iterdir()) == [one.name, two.name]


def test_saving_refuses_what_it_should(carried: Run, tmp_path: Path) -> None:
    figure = plot_capture(carried)
    with pytest.raises(InputError, match="figure-format"):
        save_figure(figure, tmp_path / "a.bmp")
    with pytest.raises(InputError, match="figure-format"):
        save_figure(figure, tmp_path / "a")
    there = tmp_path / "a.PNG"
    there.write_text("mine")
    with pytest.raises(InputError, match="output-exists"):
        save_figure(figure, there)
    assert there.read_text() == "mine"
    save_figure(figure, there, replace=True)
    assert there.read_bytes().startswith(b"\x89PNG")


def test_no_state_of_pyplot_is_touched() -> None:
    import subprocess
    import sys

    code = "import sys, fusetherm.show.plots; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_fit_shows_each_point_twice(fitted: Any) -> None:
    figure = plot_fit(fitted)
    text = texts(figure)
    assert "published less predicted from the others" in text
    (ax,) = figure.axes
    (marks,) = [x for x in ax.lines if x.get_marker() == "x"]
    assert len(marks.get_xdata()) == len(fitted.definition.curve.points)
    again = Figure()
    own = again.subplots()
    assert plot_fit(fitted, own) is again
