"""Time-current curves: shape, agreement with `simulate`, files."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fusetherm.answers.curve import ALIKE, time_current_curve
from fusetherm.calibration.residual import Bench
from fusetherm.current.sampled import constant
from fusetherm.errors import InputError
from fusetherm.solver.run import simulate
from fusetherm.solver.steady import minimum_fusing_current

AMBIENTS = (-40.0, 23.0, 85.0)


@pytest.fixture(scope="module")
def curve(published: Any) -> Any:
    currents = np.concatenate([[20.0, 40.0], np.geomspace(46.0, 600.0, 12)])
    return time_current_curve(published.truth, ambient_c=AMBIENTS, currents=currents)


def test_more_current_or_a_warmer_place_parts_sooner(curve: Any) -> None:
    for times in (curve.pre_arcing_time, curve.onset_time):
        finite = np.where(np.isnan(times), np.inf, times)
        assert np.all(np.diff(finite[:, 2:], axis=1)[np.isfinite(finite[:, 2:-1])] < 0.0)
        with np.errstate(invalid="ignore"):
            warmer = np.diff(finite, axis=0)
        assert np.all((warmer < 0.0) | np.isnan(warmer))
    both = ~np.isnan(curve.pre_arcing_time)
    assert np.all(curve.onset_time[both] < curve.pre_arcing_time[both])


def test_nothing_melts_below_the_minimum_fusing_current(curve: Any, published: Any) -> None:
    for i, ambient_c in enumerate(AMBIENTS):
        least = curve.minimum_fusing_current[i]
        assert least == pytest.approx(minimum_fusing_current(published.truth, ambient_c=ambient_c))
        melts = ~np.isnan(curve.onset_time[i])
        assert np.array_equal(melts, curve.current > least)
    assert np.all(np.diff(curve.minimum_fusing_current) < 0.0)


@pytest.mark.parametrize("at", [6, 13])
def test_times_are_those_of_simulate(curve: Any, published: Any, at: int) -> None:
    time = curve.pre_arcing_time[2, at]
    run = simulate(published.truth, constant(curve.current[at], 2.0 * time), ambient_c=85.0)
    assert run.pre_arcing_time == pytest.approx(time, rel=1e-3)
    assert run.onset_time == pytest.approx(curve.onset_time[2, at], rel=1e-3)


def test_the_published_curve_comes_back(fitted: Any, published: Any) -> None:
    currents = [i for i, _ in published.points]
    curve = time_current_curve(fitted, currents=currents)
    slope = np.gradient(np.log([t for _, t in published.points]), np.log(currents))
    off = np.log(curve.pre_arcing_time[0] / [t for _, t in published.points]) / slope
    assert np.max(np.abs(off)) < 0.01


def test_default_currents_begin_just_above_the_least(fitted: Any) -> None:
    curve = time_current_curve(fitted)
    least = curve.minimum_fusing_current[0]
    assert 1.0 < curve.current[0] / least < 1.01
    assert curve.current[-1] == 400.0
    assert np.all(np.isfinite(curve.pre_arcing_time))


def test_default_currents_of_several_ambients_are_never_alike(fitted: Any) -> None:
    curve = time_current_curve(fitted, ambient_c=[-40.0, 23.0, 23.001, 85.0])
    assert np.all(curve.current[1:] / curve.current[:-1] > 1.0 + ALIKE)
    assert curve.current[-1] == 400.0
    assert len(curve.current) < 100  # those of 23 degC and those beside them are one
    for least in curve.minimum_fusing_current:
        assert np.any(np.abs(curve.current / least - 1.003) < 2 * ALIKE)


def test_outside_the_published_curve_it_says_so(fitted: Any, published: Any) -> None:
    inside = time_current_curve(fitted, currents=[published.points[4][0]])
    assert inside.notes == ()
    beyond = time_current_curve(fitted, currents=[2.0 * published.points[-1][0]])
    assert {n.code for n in beyond.notes} == {"outside-fitted-range"}
    bare = time_current_curve(published.truth, currents=[900.0], ambient_c=[230.0, 230.5])
    assert [n.code for n in bare.notes].count("no-band") == 1


def test_early_units_drawn_one_by_one(fitted: Any) -> None:
    """A hundred and fifty units of drawn thickness, notch and loss of heat, one in four early."""
    curve = time_current_curve(fitted, currents=[100.0])
    early = math.log(float(curve.early_current(4.0, 0.5)[0, 0]))
    time, rng = float(curve.pre_arcing_time[0, 0]), np.random.default_rng(5)
    units = [fitted.units.unit(fitted.model, rng.standard_normal(3)) for _ in range(150)]
    parted = [Bench.of(one, 23.0, fitted.cells).log_time(early, time) < math.inf for one in units]
    # three standard deviations of so many coins
    assert np.mean(parted) == pytest.approx(0.25, abs=3.0 * math.sqrt(0.25 * 0.75 / 150.0))


def test_early_units_are_rarer_or_surer_the_lower_the_current(fitted: Any, curve: Any) -> None:
    found = time_current_curve(fitted, currents=[60.0, 200.0])
    usual = found.early_current(10_000)
    assert np.all(found.early_current(1e6) < usual)
    assert np.all(found.early_current(10_000, 0.99) < usual)
    assert np.all(usual < found.current * found.band_low)
    for asked, code in (((1.0,), "one-in-too-few"), ((1e4, 1.0), "confidence-out-of-range")):
        with pytest.raises(InputError, match=code):
            found.early_current(*asked)
    with pytest.raises(InputError, match="no-band"):
        curve.early_current(100.0)


def test_csv_comes_back(curve: Any, tmp_path: Path) -> None:
    path = tmp_path / "curve.csv"
    curve.to_csv(path)
    with path.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == len(AMBIENTS) * len(curve.current)
    for name, values in (
        ("pre_arcing_time_s", curve.pre_arcing_time),
        ("onset_time_s", curve.onset_time),
    ):
        read = np.array([float(r[name]) if r[name] else math.nan for r in rows])
        assert np.array_equal(read.reshape(values.shape), values, equal_nan=True)
    with pytest.raises((InputError, OSError), match="output-exists"):
        curve.to_csv(path)


def test_netcdf_comes_back(fitted: Any, tmp_path: Path) -> None:
    import xarray

    curve = time_current_curve(fitted, ambient_c=[23.0, 60.0], currents=[30.0, 100.0])
    path = tmp_path / "curve.nc"
    curve.write_netcdf(path)
    with xarray.open_dataset(path) as data:
        assert np.array_equal(data["pre_arcing_time"].values, curve.pre_arcing_time, equal_nan=True)
        assert data["pre_arcing_time"].dims == ("ambient_c", "current")
        assert data["onset_time"].attrs["units"] == "s"
        assert float(data["minimum_fusing_current"].sel(ambient_c=60.0)) == pytest.approx(
            float(curve.minimum_fusing_current[1])
        )
        (made,) = (json.loads(v) for v in data.attrs.values() if str(v).startswith("{"))
    assert made["definition_hash"] == fitted.definition.definition_hash
    assert made["connection"] == "test"


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ({"currents": [0.0]}, "current-not-positive"),
        ({"currents": []}, "current-not-positive"),
        ({"currents": [math.nan]}, "current-not-positive"),
        ({"ambient_c": []}, "ambient-missing"),
        ({"ambient_c": [23.0, 500.0]}, "ambient-above-melting"),
        ({"ambient_c": -300.0}, "below-absolute-zero"),
    ],
)
def test_questions_without_an_answer(published: Any, options: Any, code: str) -> None:
    with pytest.raises(InputError, match=code):
        time_current_curve(published.truth, **options)
