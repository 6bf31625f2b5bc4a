"""Families with a spot or with sand: a truth of the family comes back from ten points."""

from __future__ import annotations

import math
from dataclasses import replace
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm.calibration.build import model_of_parameters, values_of
from fusetherm.calibration.fit import calibrate
from fusetherm.calibration.residual import Bench
from fusetherm.calibration.stored import load_fit, save_fit
from fusetherm.cli.main import program
from fusetherm.errors import InputError
from fusetherm.fuse.definition import Definition
from fusetherm.fuse.family import load_family
from fusetherm.fuse.published import Curve, CurvePoint

CELLS = 32


def published(family: str, rating: float, size: str) -> tuple[Bench, Definition]:
    """A truth half a prior deviation from the centres, and its curve of ten points."""
    kind = load_family(family)
    bare = Definition(id="a", family=family, size=size, rated_current=rating, source="invented")
    scores = 0.5 * np.random.default_rng(1).standard_normal(len(kind.parameters))
    truth = model_of_parameters(bare, kind, values_of(kind.priors(bare), scores))
    bench = Bench.of(truth, 23.0, CELLS)
    points = tuple(
        CurvePoint(current=float(i), time=math.exp(bench.log_time(math.log(i), 1e6)))
        for i in math.exp(bench.least) * np.geomspace(1.06, 8.0, 10)
    )
    curve = Curve(time_kind="pre-arcing", ambient_c=23.0, source="x", points=points)
    return bench, replace(bare, curve=curve)


@pytest.mark.parametrize(
    ("family", "rating", "size"),
    [
        ("tin-spot-wire", 2.0, "5x20"),
        ("wire-in-sand", 2.0, "5x20"),
        ("tin-spot-strip", 63.0, "22x58"),
    ],
)
def test_a_truth_of_the_family_comes_back(family: str, rating: float, size: str) -> None:
    truth, definition = published(family, rating, size)
    fit = calibrate(definition, cells=CELLS)
    assert fit.rms_current < 0.003
    bench = Bench.of(fit.model, 23.0, CELLS)
    off = []
    for x in truth.least + np.log(np.geomspace(1.1, 7.0, 5)):
        time = math.exp(truth.log_time(float(x), 1e6))
        off.append(bench.current_at(time, float(x))[0] - float(x))
    assert np.sqrt(np.mean(np.square(off))) < 0.01
    assert bench.least == pytest.approx(truth.least, abs=0.02)


def test_a_family_given_to_the_fit_is_found_again(tmp_path: Path) -> None:
    _, definition = published("tin-spot-wire", 2.0, "5x20")
    shipped = resources.files("fusetherm.fuse").joinpath("families", "tin-spot-wire.toml")
    text = shipped.read_text(encoding="utf-8")
    own = tmp_path / "own.toml"
    own.write_text(text.replace("centre = 0.05\n", "centre = 0.08\n"), encoding="utf-8")
    fuse, out = tmp_path / "fuse.toml", tmp_path / "fuse.fit.json"
    fuse.write_text(definition.to_toml(), encoding="utf-8")
    run = CliRunner().invoke(program, ["fit", str(fuse), "--family", str(own), "-o", str(out)])
    assert run.exit_code == 0, run.output
    fit = load_fit(out)
    assert fit.family == load_family(own)
    assert fit.definition.family == "tin-spot-wire"
    (centre,) = [p.prior_centre for p in fit.parameters if p.name == "spot_rate"]
    assert centre == pytest.approx(0.08)
    moved = tmp_path / "other"
    moved.mkdir()
    save_fit(fit, moved / "a.json")
    assert load_fit(moved / "a.json").family == fit.family
    own.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="fit-stale"):
        load_fit(out)


def test_a_family_file_that_is_wrong_is_refused_by_the_command(tmp_path: Path) -> None:
    _, definition = published("tin-spot-wire", 2.0, "5x20")
    fuse, own = tmp_path / "fuse.toml", tmp_path / "own.toml"
    fuse.write_text(definition.to_toml(), encoding="utf-8")
    own.write_text("schema_version = 1\n", encoding="utf-8")
    run = CliRunner().invoke(program, ["fit", str(fuse), "--family", str(own)])
    assert run.exit_code == 3
    assert "own.toml" in run.stderr
    assert "missing" in run.stderr
