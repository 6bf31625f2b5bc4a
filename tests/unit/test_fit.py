"""The fit against a fuse whose truth is known: curve, what lies off it, remarks and economy."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fusetherm.calibration import residual
from fusetherm.calibration.fit import Calibration, calibrate
from fusetherm.calibration.residual import Bench
from fusetherm.errors import CalibrationError
from fusetherm.fuse.consistency import MINIMUM_POINTS
from fusetherm.fuse.published import (
    Curve,
    CurvePoint,
    Hold,
    LeastCurrent,
    ReRating,
    ReRatingPoint,
    VoltageDrop,
)
from fusetherm.solver.steady import minimum_fusing_current
from fusetherm.written import number


def codes(fit: Calibration) -> list[str]:
    return [note.code for note in fit.notes]


def with_points(definition: Any, *points: tuple[float, float]) -> Any:
    curve = Curve(
        time_kind="pre-arcing", ambient_c=23.0, source="x",
        points=tuple(CurvePoint(current=i, time=t) for i, t in points),
    )  # fmt: skip
    return replace(definition, curve=curve)


def test_the_curve_comes_back(published: Any, fitted: Calibration) -> None:
    assert fitted.rms_current < 0.005
    bench = Bench.of(fitted.model, 23.0, fitted.cells)
    for (current, time), r in zip(published.points, fitted.residuals, strict=True):
        assert r.observed == pytest.approx(current)
        x, _ = bench.current_at(time, math.log(current))
        assert x - math.log(current) == pytest.approx(r.relative, abs=5e-4)


@pytest.mark.parametrize("ambient_c", [-20.0, 23.0, 85.0])
def test_the_minimum_fusing_current_comes_back(
    published: Any, fitted: Calibration, ambient_c: float
) -> None:
    true = minimum_fusing_current(published.truth, ambient_c=ambient_c)
    assert minimum_fusing_current(fitted.model, ambient_c=ambient_c) == pytest.approx(
        true, rel=0.02
    )


def test_a_point_left_out_is_predicted(published: Any) -> None:
    left_out = published.points[5]
    rest = [p for p in published.points if p != left_out]
    fit = calibrate(with_points(published.definition, *rest))
    x, _ = Bench.of(fit.model, 23.0, 64).current_at(left_out[1], 4.5)
    assert x == pytest.approx(math.log(left_out[0]), abs=0.01)


def test_parameters_say_what_the_data_did(fitted: Calibration) -> None:
    share = {p.name: p.prior_share for p in fitted.parameters}
    assert share["half_element_resistance"] < 0.3 < 0.95 < share["half_body_heat_capacity"]
    for p, prior in zip(fitted.parameters, fitted.priors, strict=True):
        assert p.low < p.value < p.high
        assert 0.0 < p.prior_share <= 1.0
        assert p.prior_centre == prior.centre
    assert all(abs(r) > 0.5 for _, _, r in fitted.correlations)
    assert np.all(np.linalg.eigvalsh(fitted.covariance) > 0.0)


def test_the_mode_is_where_the_gradient_of_the_cost_vanishes(
    published: Any, fitted: Calibration
) -> None:
    # the cost, with the weights of the fit, rises from the mode along every score
    weights = np.array([r.in_spreads / r.relative for r in fitted.residuals])

    def cost(z: Any) -> float:
        bench = Bench.of(replace(fitted, scores=z).model, 23.0, fitted.cells)
        off = [bench.current_at(t, math.log(i))[0] - math.log(i) for i, t in published.points]
        return float(np.sum((np.array(off) * weights) ** 2) + z @ z)

    here, sd = cost(fitted.scores), np.sqrt(np.diag(fitted.covariance))
    for j in range(len(sd)):
        step = np.zeros(len(sd))
        step[j] = sd[j]
        assert cost(fitted.scores + step) > here - 0.05
        assert cost(fitted.scores - step) > here - 0.05


def test_same_question_same_answer(published: Any, fitted: Calibration) -> None:
    assert np.array_equal(calibrate(published.definition).scores, fitted.scores)


def test_a_fit_takes_few_runs(published: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    # about 1.5 ms each: 1,100 on two cores keep ten points below a second
    runs = []

    def counted(*arguments: Any, **options: Any) -> Any:
        runs.append(1)
        return integrate(*arguments, **options)

    integrate = residual.integrate
    monkeypatch.setattr(residual, "integrate", counted)
    calibrate(published.definition)
    assert 100 < len(runs) < 1100


def test_connections_and_worn_contacts(published: Any, fitted: Calibration) -> None:
    # the thicker installed cable raises the minimum fusing current, worn contacts lower it
    test, installed = (minimum_fusing_current(m) for m in (fitted.model, fitted.installed))
    assert installed > 1.05 * test
    worn = calibrate(published.definition, contact="worn")
    assert np.array_equal(worn.scores, fitted.scores)
    assert minimum_fusing_current(worn.model) == test
    assert minimum_fusing_current(worn.installed) < 0.97 * installed
    stated = replace(published.definition.installed_connection, contact_resistance=0.2e-3)
    kept = replace(worn, definition=replace(worn.definition, installed_connection=stated))
    assert kept.installed.left.contact is not None
    assert kept.installed.left.contact.resistance == 0.2e-3


def test_too_few_points(published: Any) -> None:
    assert MINIMUM_POINTS == 4
    three = published.points[2:5]
    with pytest.raises(CalibrationError, match="times at 4 currents or more"):
        calibrate(with_points(published.definition, *three, three[-1]))
    calibrate(with_points(published.definition, *published.points[2:6]))


def test_a_contradiction_is_remarked_on(published: Any, fitted: Calibration) -> None:
    assert codes(fitted) == []
    points = list(published.points)
    points[4] = (points[4][0], 6.0 * points[4][1])
    assert "poor-fit" in codes(calibrate(with_points(published.definition, *points)))


def test_gates_and_drops_that_disagree_are_remarked_on(published: Any) -> None:
    gates = ("iso8820-3-high-current-blade",)
    slow = [(i, 30.0 * t) for i, t in published.points[2:]]
    fit = calibrate(replace(with_points(published.definition, *slow), gates=gates))
    assert "outside-limit" in codes(fit)
    current = 1.3 * minimum_fusing_current(fit.model)
    drop = VoltageDrop(voltage=0.05, current=current, measured_at="blades", source="x")
    fit = calibrate(replace(published.definition, voltage_drops=(drop,)))
    assert "drop-contradicts-curve" in codes(fit)


def test_a_drop_above_its_maximum_is_told_in_millivolts(published: Any) -> None:
    rated = published.definition.rated_current
    most = VoltageDrop(
        voltage=0.01, current=rated, measured_at="blades", stated_as="maximum", source="x"
    )
    fit = calibrate(replace(published.definition, voltage_drops=(most,)))
    (note,) = [note for note in fit.notes if note.code == "outside-limit"]
    (off,) = [r for r in fit.residuals if r.kind == "drop"]
    assert off.fitted > 0.01
    assert f"has {number(1e3 * off.fitted)} mV there" in note.text


def test_a_limit_that_is_kept_changes_nothing(published: Any, fitted: Calibration) -> None:
    least = minimum_fusing_current(fitted.model)
    held = Hold(current=0.9 * least, time=1e5, source="x")
    fit = calibrate(replace(published.definition, holds=(held,)))
    assert np.array_equal(fit.scores, fitted.scores)
    assert not any(r.bound for r in fit.residuals)


def test_a_hold_above_the_minimum_fusing_current_lifts_it(
    published: Any, fitted: Calibration
) -> None:
    least = minimum_fusing_current(fitted.model)
    held = Hold(current=1.03 * least, time=1e5, source="x")
    fit = calibrate(replace(published.definition, holds=(held,)))
    assert 1.01 * least < minimum_fusing_current(fit.model) < 1.03 * least
    (limit,) = [r for r in fit.residuals if r.bound]
    assert limit.relative < 0.0
    kept = calibrate(replace(published.definition, minimum_fusing=LeastCurrent(
        current=1.02 * least, tolerance=0.002, source="x")))  # fmt: skip
    assert minimum_fusing_current(kept.model) == pytest.approx(1.02 * least, rel=2e-3)


def test_a_measured_re_rating_of_fusing_currents_is_met(
    published: Any, fitted: Calibration
) -> None:
    def ratio(fit: Calibration) -> float:
        hot = minimum_fusing_current(fit.model, ambient_c=85.0)
        return hot / minimum_fusing_current(fit.model)

    point = ReRatingPoint(ambient_c=85.0, factor=ratio(fitted) + 0.01)
    stated = ReRating(points=(point,), criterion="fusing", source="x")
    fit = calibrate(replace(published.definition, re_rating=stated))
    assert ratio(fitted) < ratio(fit) < point.factor


def test_configuration_names_its_inputs(fitted: Calibration) -> None:
    made = fitted.configuration()
    assert made["definition_hash"] == fitted.definition.definition_hash
    assert made["family_hash"] == fitted.family.family_hash
    assert (made["cells"], made["contact"]) == (fitted.cells, "new")


def test_a_mesh_too_coarse_for_the_element_is_remarked_on(fitted: Calibration) -> None:
    assert "coarse-mesh" not in codes(fitted)
    coarse = calibrate(fitted.definition, cells=32)
    (note,) = [note for note in coarse.notes if note.code == "coarse-mesh"]
    assert note.text.startswith("32 cells are few")
