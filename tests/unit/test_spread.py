"""Shares of units that begin to melt: against units drawn one by one, and at the extremes."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm.answers.margin import CONFIDENCE, margin
from fusetherm.answers.spread import below, spread
from fusetherm.calibration.nuisances import SCORES
from fusetherm.calibration.stored import save_fit
from fusetherm.cli.main import program
from fusetherm.cli.spread import counting, shares
from fusetherm.current.waveform import Waveform
from fusetherm.solver.run import simulate

PULSE = Waveform(time=[0, 0, 0.5, 0.5, 1.0], current=[0, 100, 100, 0, 0])


@pytest.fixture(scope="module")
def factor(fitted: Any) -> float:
    return margin(fitted, PULSE, duration=False).current_factor


def test_below_is_the_normal_law() -> None:
    for score in (-3.719, -1.0, 0.0, 1.645):
        assert below(score) == pytest.approx(NormalDist().cdf(score), rel=1e-9)


@pytest.mark.parametrize("off", [-0.03, 0.0, 0.03])
def test_shares_are_those_of_units_drawn_one_by_one(fitted: Any, factor: float, off: float) -> None:
    """Two hundred units of drawn thickness, notch and loss of heat, each run by itself."""
    known = replace(fitted, kept=replace(fitted.draws, scores=fitted.scores[None, :],
                                         nuisances=np.zeros((1, SCORES))))  # fmt: skip
    wave = PULSE.scaled(factor * math.exp(off))
    found = spread(known, wave)
    rng = np.random.default_rng(2)
    melted = 0
    for _ in range(200):
        model = fitted.units.unit(known.installed, rng.standard_normal(3))
        melted += simulate(model, wave, cells=known.cells).onset_time is not None
    # three standard deviations of two hundred coins
    allowed = 3.0 * math.sqrt(found.share * (1.0 - found.share) / 200.0) + 0.01
    assert melted / 200.0 == pytest.approx(found.share, abs=allowed)


def test_population_and_knowledge_are_apart(fitted: Any, factor: float) -> None:
    found = spread(fitted, PULSE.scaled(factor / 1.1))
    assert found.share_low < found.share < found.share_high
    m = math.log(found.current_factor)
    normal = NormalDist()
    weakest = (-m + normal.inv_cdf(CONFIDENCE) * found.known_sd) / found.unit_sd
    assert 1.0 / found.one_in == pytest.approx(normal.cdf(weakest), rel=1e-6)
    # at the factor needed for 1 in 10,000 it says 1 in 10,000
    near = margin(fitted, PULSE, duration=False)
    just = spread(fitted, PULSE.scaled(near.current_factor / near.needed))
    assert just.one_in == pytest.approx(10_000.0, rel=0.1)


def test_more_current_melts_more_units(fitted: Any, factor: float) -> None:
    found = [spread(fitted, PULSE.scaled(factor * k)).share for k in (0.8, 0.95, 1.0, 1.05, 1.3)]
    assert found == sorted(found)
    assert found[2] == pytest.approx(0.5, abs=0.02)
    far = spread(fitted, PULSE.scaled(1e-3))
    assert far.to_json()["one_in"] is None
    json.dumps(far.to_json(), allow_nan=False)


def test_command(fitted: Any, tmp_path: Path, factor: float) -> None:
    fit = save_fit(fitted, tmp_path / "f.fit.json")
    capture = tmp_path / "c.csv"
    amperes = 100.0 * factor / 1.05
    rows = "".join(f"{t / 1000:g},{amperes if 100 <= t < 600 else 0:g}\n" for t in range(1000))
    capture.write_text("time (s),current (A)\n" + rows, encoding="utf-8")
    arguments = ["spread", str(capture), "--fuse", str(fit), "--gaps", "hold"]
    done = CliRunner().invoke(program, arguments)
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "of units begin to melt" in said
    assert "95 % confident that no more than one unit in" in said
    assert "23 °C (assumed)" in said
    assert "Never fit a larger fuse" in said
    data = json.loads(CliRunner().invoke(program, [*arguments, "--json"]).output)
    assert data["schema"] == "fusetherm/spread/1"
    assert 0.0 < data["melting_share_low"] < data["melting_share"] < data["melting_share_high"] < 1


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.5, "50 %"), (0.012, "1.2 %"), (2.5e-4, "one in 4,000"), (1e-8, "one in 100 million"),
     (0.0, "none")],
)  # fmt: skip
def test_shares_in_words(share: float, text: str) -> None:
    assert shares(share) == text
    assert counting(1234.0) == "1,200"
