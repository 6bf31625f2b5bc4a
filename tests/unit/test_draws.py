"""Draws: a linear problem's posterior, fuses that meet what is published, the same each time."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fusetherm.calibration.draws import DRAWS, Draws, drawn, seed_of
from fusetherm.calibration.fit import calibrate
from fusetherm.calibration.nuisances import SCORES
from fusetherm.calibration.residual import Bench
from fusetherm.errors import CalibrationError
from fusetherm.solver.steady import minimum_fusing_current


class Line:
    """A problem that is a matrix: ln fitted = table z."""

    def __init__(self, table: Any, noise: float) -> None:
        self.table, self.weights = table, np.full(len(table), 1.0 / noise)
        self.guesses = self.slopes = np.zeros(len(table))
        self.observations = [type("O", (), {"bound": ""})() for _ in table]

    def fitted(self, z: Any, expected: Any = None) -> Any:
        return self.table @ z

    def off(self, fitted: Any) -> Any:
        return fitted

    def steering(self, table: Any, fitted: Any) -> Any:
        return table * self.weights[:, None]


def test_draws_of_a_line_are_its_posterior(monkeypatch: pytest.MonkeyPatch) -> None:
    """Covariance of the linear Gaussian posterior, (J'J + 1)^-1 (textbook, no source)."""
    monkeypatch.setattr("fusetherm.calibration.draws.replace", lambda problem, **_: problem)
    table = np.array([[1.0, 0.5, 0.0], [0.2, -0.4, 0.1]])
    problem: Any = Line(table, 0.3)
    mode: Any = type("M", (), {"z": np.zeros(3), "fitted": np.zeros(2), "table": table})()
    draws = drawn(problem, mode, 4000, 7)
    scaled = table / 0.3
    expected = np.linalg.inv(scaled.T @ scaled + np.eye(3))
    assert np.cov(draws.scores.T) == pytest.approx(expected, abs=0.06)
    assert np.mean(draws.scores, axis=0) == pytest.approx(np.zeros(3), abs=0.06)


def test_draws_meet_what_is_published_within_its_noise(published: Any, fitted: Any) -> None:
    assert fitted.draws.count == DRAWS
    time, current = published.points[5][1], published.points[5][0]
    found = [
        Bench.of(model, 23.0, 64).current_at(time, math.log(current))[0] - math.log(current)
        for model in fitted.models("test")
    ]
    assert 0.001 < float(np.std(found)) < 0.01  # a tabulated point is good to .8 % or so
    assert abs(float(np.mean(found))) < 0.006


def test_draws_differ_off_the_curve(fitted: Any) -> None:
    ratios = [
        minimum_fusing_current(m, ambient_c=125.0) / minimum_fusing_current(m)
        for m in fitted.models("test")[:12]
    ]
    assert 0.001 < float(np.std(ratios)) < 0.02


def test_the_same_question_has_the_same_draws(published: Any, fitted: Any) -> None:
    again = calibrate(published.definition).draws
    assert np.array_equal(again.scores, fitted.draws.scores)
    assert again.seed == seed_of(fitted.configuration()) == fitted.draws.seed
    assert seed_of({"a": 1}) != seed_of({"a": 2})


def test_a_fit_without_the_means_says_so(fitted: Any) -> None:
    bare = replace(fitted, posterior=None)
    with pytest.raises(CalibrationError, match="no-draws"):
        bare.draws  # noqa: B018
    kept = Draws(np.zeros((2, 11)), np.zeros((2, SCORES)), 3)
    assert replace(bare, kept=kept).draws is kept


def test_worn_contacts_are_drawn_worn(published: Any, fitted: Any) -> None:
    installed = replace(published.definition.installed_connection, contact_resistance=None)
    worn = calibrate(replace(published.definition, installed_connection=installed), contact="worn")
    centre = worn.installed.left.contact
    assert centre is not None
    found = [m.left.contact.resistance for m in worn.models("installed") if m.left.contact]
    assert np.median(found) == pytest.approx(centre.resistance, rel=0.3)
    # as widely as the family says, and with the mean of both sides: uneven ones cancel
    means = [
        0.5 * math.log(m.left.contact.resistance * m.right.contact.resistance)
        for m in worn.models("installed")
        if m.left.contact and m.right.contact
    ]
    sd = next(p.sd for p in worn.priors if p.name == "contact_resistance")
    assert np.std(means) == pytest.approx(sd, rel=0.35)
