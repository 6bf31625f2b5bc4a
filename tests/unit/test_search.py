"""The search of the fit: its Jacobian against differences of solved currents, its steps."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fusetherm.calibration.observations import observations_of
from fusetherm.calibration.residual import spread
from fusetherm.calibration.search import Problem, Settled, settle


def problem_of(published: Any, fitted: Any, cells: int | None = None) -> Problem:
    observations = observations_of(published.definition)
    return Problem.of(
        published.definition, fitted.family, fitted.priors, observations, cells or fitted.cells
    )


def test_jacobian_is_that_of_the_solved_currents(published: Any, fitted: Any) -> None:
    # a fine mesh: the melting front moves on cell by cell, which on the usual mesh leaves steps
    # of 4e-4 in ln t, as much as a contact moves the times above a second
    problem = problem_of(published, fitted, cells=256)
    z = np.zeros(len(fitted.priors))
    here = problem.fitted(z)
    table = problem.jacobian(z, here)
    for j in (0, 1, 4, 9):  # resistance, length, lateral loss, contact
        step = np.zeros(len(z))
        step[j] = 0.1
        solved = (problem.fitted(z + step) - problem.fitted(z - step)) / 0.2
        scale = np.max(np.abs(solved))
        # the currents of the shortest point are known so little that moving another quantity by a
        # hundredth moves this derivative by up to .008 there, whatever it is of
        near = np.full(len(here), 0.06 * scale)
        near[-1] = max(near[-1], 0.008)
        assert np.all(np.abs(table[:, j] - solved) <= near)


def test_weights_follow_the_slopes_at_each_jacobian_only(published: Any, fitted: Any) -> None:
    problem = problem_of(published, fitted)
    z = np.zeros(len(fitted.priors))
    here = problem.fitted(z)
    assert np.all(problem.weights == 1.0)
    problem.jacobian(z, here)
    expected = [
        1.0 / spread(o, s) for o, s in zip(problem.observations, problem.slopes, strict=True)
    ]
    assert problem.weights == pytest.approx(np.array(expected))
    before = problem.weights.copy()
    problem.fitted(z + 0.1)
    assert np.array_equal(problem.weights, before)


def test_slight_entries_are_not_differenced_anew(published: Any, fitted: Any) -> None:
    problem = problem_of(published, fitted)
    z = np.zeros(len(fitted.priors))
    here = problem.fitted(z)
    first = problem.jacobian(z, here)
    slight = np.abs(first * problem.weights[:, None]) < 0.05
    assert 0.1 < np.mean(slight) < 0.8
    problem.last = np.where(slight, 1e-9, first)
    again = problem.jacobian(z, here)
    assert np.all(again[slight] == 1e-9)
    assert again[~slight] == pytest.approx(first[~slight])


def test_settles_on_the_mode_from_the_centres(published: Any, fitted: Any) -> None:
    problem = problem_of(published, fitted)
    mode = settle(problem)
    assert mode.done
    assert np.array_equal(mode.z, fitted.scores)
    assert np.max(np.abs(mode.fitted - problem.published())) < 0.01


def test_a_start_that_meets_the_data_worse_than_the_centres_do_is_not_taken(
    published: Any, fitted: Any
) -> None:
    problem = problem_of(published, fitted)
    start = np.zeros(len(fitted.priors))
    start[[0, 2]] = 2.0, -3.0  # twice the resistance nearly all in a narrow notch
    assert np.array_equal(settle(problem, start).z, fitted.scores)


def test_a_descent_with_an_implausible_end_is_repeated(
    published: Any, fitted: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    starts = []

    def stuck(problem: Problem, z: Any) -> Settled:
        starts.append(z)
        # far off at first, then where the fit belongs
        end = fitted.scores if len(starts) == 2 else 2.0 + 0.0 * z
        here = problem.fitted(end)
        return Settled(end, here, problem.jacobian(end, here), True)

    monkeypatch.setattr("fusetherm.calibration.search._descent", stuck)
    monkeypatch.setattr("fusetherm.calibration.search._HOPELESS", 1e9)
    problem = problem_of(published, fitted)
    mode = settle(problem)
    assert len(starts) == 2  # the second is plausible
    assert not np.any(starts[0])
    assert 0.2 < np.std(starts[1]) < 1.5
    assert np.array_equal(mode.z, fitted.scores)
    # the problem goes on with the weights of the mode that was taken
    assert problem.slopes[0] == pytest.approx(fitted.posterior.problem.slopes[0], rel=0.05)
