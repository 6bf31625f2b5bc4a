"""Selectivity: edges, states, adiabatic limit, captures, words, statuses."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm.answers.curve import time_current_curve
from fusetherm.answers.late import Arc
from fusetherm.answers.selectivity import _state, selectivity
from fusetherm.cli.main import program
from fusetherm.current.capture import read_capture
from fusetherm.current.sampled import constant
from fusetherm.current.waveform import Waveform
from fusetherm.demo import definitions
from fusetherm.errors import InputError
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.metals import metal
from fusetherm.solver.run import simulate


def wire(diameter: float) -> FuseModel:
    return FuseModel(round_wire(metal("copper"), diameter, 20e-3))


THIN, THICK = wire(0.2e-3), wire(0.4e-3)


@pytest.fixture(scope="module")
def far_apart() -> Any:
    return selectivity(THICK, THIN, prospective=2000.0, arcing_allowance=2.0)


def test_a_wire_of_twice_the_diameter_stays_whole(far_apart: Any) -> None:
    assert far_apart.verdict == "selective"
    assert far_apart.exit_status == 0
    there = np.isfinite(far_apart.downstream_late)
    early = np.where(np.isfinite(far_apart.upstream_early), far_apart.upstream_early, math.inf)
    assert np.all(early[there] > 2.0 * far_apart.downstream_late[there])


def test_edges_leave_the_median_between_them(far_apart: Any) -> None:
    there = np.isfinite(far_apart.downstream_late)
    assert np.all(far_apart.downstream_late[there] > far_apart.downstream_middle[there])
    melts = np.isfinite(far_apart.upstream_middle)
    assert np.all(far_apart.upstream_early[melts] < far_apart.upstream_middle[melts])


def test_edges_are_runs_of_a_shifted_current(far_apart: Any) -> None:
    i = int(np.flatnonzero(np.isfinite(far_apart.downstream_late))[5])
    amps = far_apart.current[i] * math.exp(-2.3263478740408408 * 0.03)
    run = simulate(THIN, constant(amps, 10.0 * far_apart.downstream_late[i]), ambient_c=23.0)
    assert run.pre_arcing_time == pytest.approx(far_apart.downstream_late[i], rel=1e-3)


def test_turned_round_the_upstream_fuse_opens_first() -> None:
    found = selectivity(THIN, THICK, prospective=2000.0, arcing_allowance=2.0)
    assert found.verdict == "not_selective"
    assert found.exit_status == 20
    assert set(found.states) == {"upstream"}


def test_alike_fuses_overlap() -> None:
    found = selectivity(wire(0.21e-3), THIN, prospective=500.0, arcing_allowance=1.0)
    assert found.verdict == "not_selective"
    assert "overlap" in found.states
    assert any("the bands overlap" in reason for reason in found.reasons)


def test_short_times_are_not_shown_without_an_allowance(far_apart: Any) -> None:
    found = selectivity(THICK, THIN, prospective=2000.0)
    assert found.verdict == "not_shown"
    assert found.exit_status == 4
    short = found.downstream_late < 0.1
    assert all((s == "not_shown") == bool(b) for s, b in zip(found.states, short, strict=True))
    assert np.array_equal(found.downstream_late, far_apart.downstream_late, equal_nan=True)
    # an allowance that eats the whole distance, 16 times in the adiabatic limit
    eaten = selectivity(THICK, THIN, prospective=2000.0, arcing_allowance=20.0)
    assert eaten.verdict == "not_selective"


def test_load_and_heat_upstream_bring_the_fuses_nearer(far_apart: Any) -> None:
    hot = selectivity(THICK, THIN, prospective=2000.0, arcing_allowance=2.0,
                      upstream_ambient_c=85.0, load=20.0)  # fmt: skip
    both = np.isfinite(far_apart.upstream_early)
    assert np.all(hot.upstream_early[both] < far_apart.upstream_early[both])
    assert np.array_equal(hot.downstream_late, far_apart.downstream_late, equal_nan=True)


def test_captures_are_judged_by_what_was_let_through() -> None:
    short, long = constant(200.0, 1e-3), constant(200.0, 5.0)
    both = selectivity(THICK, THIN, prospective=300.0, arcing_allowance=2.0, waveform=long)
    assert both.capture == "selective"
    none = selectivity(THICK, THIN, prospective=300.0, arcing_allowance=2.0, waveform=short)
    assert none.capture == "neither"
    assert none.reasons[0] == "the capture: neither opens"
    turned = selectivity(THIN, THICK, prospective=400.0, arcing_allowance=2.0, waveform=long)
    assert turned.capture == "upstream"


def test_a_clipped_capture_shows_no_selectivity(tmp_path: Path) -> None:
    time = np.linspace(0.0, 0.02, 400)
    sine = np.minimum(100.0 * np.sin(np.pi * time / 0.02), 70.0)
    path = tmp_path / "a.csv"
    rows = "".join(f"{t:.6g},{i:.6g}\n" for t, i in zip(time, sine, strict=True))
    path.write_text("time (s),current (A)\n" + rows)
    asked = {"prospective": 300.0, "arcing_allowance": 2.0}
    states = []
    for real in (True, False):
        capture = read_capture(path, flat_top_is_real=real)
        found = selectivity(THICK, THIN, waveform=capture, **asked)  # type: ignore[arg-type]
        states.append((found.capture, found.verdict))
        assert ("clipped-record" in {note.code for note in found.notes}) != real
    assert states == [("neither", "selective"), ("clipped", "not_shown")]
    assert found.reasons[0].startswith("the capture: the record is clipped")


def test_a_load_before_the_fault_does_not_hide_how_short_it_is() -> None:
    # a second of load, then a fault that the thin wire ends within milliseconds
    fault = Waveform(time=[0.0, 1.0, 1.0, 2.0], current=[2.0, 2.0, 300.0, 300.0])
    asked = {"prospective": 300.0, "waveform": fault}
    run = simulate(THIN, fault, ambient_c=23.0)
    assert run.pre_arcing_time is not None
    assert 1.0 < run.pre_arcing_time < 1.05
    assert selectivity(THICK, THIN, **asked).capture == "not_shown"  # type: ignore[arg-type]
    states = [
        selectivity(THICK, THIN, arcing_allowance=a, **asked).capture  # type: ignore[arg-type]
        for a in (2.0, 20.0)
    ]
    # 16 times in the adiabatic limit: an allowance of 20 eats the whole distance
    assert states == ["selective", "overlap"]


@pytest.mark.parametrize(
    ("times", "allowance", "state"),
    [
        ((math.inf, math.inf, math.inf, math.inf), None, "neither"),
        ((5.0, math.inf, math.inf, math.inf), None, "selective"),
        ((5.0, 6.0, 7.0, 9.0), None, "selective"),
        ((5.0, 8.0, 7.0, 9.0), None, "overlap"),
        ((10.0, 12.0, 7.0, 9.0), None, "upstream"),
        ((math.inf, math.inf, 7.0, 9.0), None, "upstream"),
        ((0.01, 0.02, 0.03, 0.05), None, "not_shown"),
        ((0.01, 0.02, 0.03, 0.05), 1.4, "selective"),
        ((0.01, 0.02, 0.03, 0.05), 1.6, "overlap"),
        # above .1 s an allowance goes on counting on that of .1 s: nothing jumps there
        ((0.09, 0.099, 0.19, 0.3), 2.0, "overlap"),
        ((0.09, 0.101, 0.2, 0.3), 2.0, "overlap"),
        ((0.09, 0.101, 0.202, 0.3), 2.0, "selective"),
    ],
)
def test_states(times: tuple[float, ...], allowance: float | None, state: str) -> None:
    middle, late, early, upstream = times
    assert _state(100.0, middle, late, early, upstream, Arc(allowance=allowance)) == state


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"prospective": 1.0}, "prospective-too-small"),
        ({"prospective": 100.0, "arcing_allowance": 0.5}, "arcing-allowance"),
        ({"prospective": 100.0, "load": -1.0}, "negative"),
        ({"prospective": 100.0, "load": 1e3}, "preload-melts"),
        ({"prospective": 100.0, "upstream_ambient_c": 1200.0}, "ambient-above-melting"),
    ],
)
def test_questions_without_sense_are_refused(change: dict[str, Any], code: str) -> None:
    with pytest.raises(InputError) as refusal:
        selectivity(THICK, THIN, **change)
    assert refusal.value.code == code


def test_command(tmp_path: Any) -> None:
    fuses, picture = definitions(), tmp_path / "a.svg"
    main, branch = str(fuses["inverter_feed_40A"]), str(fuses["bilge_pump_10A"])
    asked = ["selectivity", main, branch, "--prospective-a", "500", "--hottest-c", "60"]
    done = CliRunner().invoke(program, [*asked, "--arcing-allowance", "2",
                                        "--figure", str(picture)])  # fmt: skip
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("SELECTIVE: bilge_pump_10A below inverter_feed_40A")
    assert "23 °C assumed: coldest air" in done.stdout
    assert done.stdout.count("certification") == 1
    assert "earliest begins to melt" in picture.read_text(encoding="utf-8")
    done = CliRunner().invoke(program, [*asked, "--json"])
    assert done.exit_code == 4
    data = json.loads(done.stdout)
    assert (data["schema"], data["verdict"]) == ("fusetherm/selectivity/1", "not_shown")
    assert data["pairs"][0]["ranges"][-1]["state"] == "not_shown"
    assert CliRunner().invoke(program, ["selectivity", main, "--prospective-a", "5"]).exit_code == 2


def test_a_fit_has_the_edges_of_its_draws_and_units_at_each_current(fitted: Any) -> None:
    amps = 120.0
    found = selectivity(fitted, wire(0.3e-3), prospective=500.0, connection="test")
    i = int(np.argmin(np.abs(found.current - amps)))
    current = float(found.current[i])
    curve = time_current_curve(fitted, currents=[current, 500.0])
    # one upstream unit in a hundred begins to melt as the median one does at this much more
    factor = math.exp(2.3263478740408408 * math.hypot(curve.unit_sd[0, 0], curve.known_sd[0, 0]))
    onset = time_current_curve(fitted, currents=[current * factor]).onset_time[0, 0]
    assert found.upstream_early[i] == pytest.approx(onset, rel=0.01)
    # and not as the widest band would have it, which is that of another current
    widest = math.exp(2.3263478740408408 * fitted.band_in("test").sd)
    assert widest / factor > 1.005
