"""Priors: value and score are each other's inverse, and keep their bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fusetherm.fuse.prior import PARAMETER_UNITS, Prior

LOG = Prior("lateral_loss", 0.16, 0.5, "W/(m K)", "log", "none")
BOUNDED = Prior("contact_heat_share", 3.0, 0.8, "1", "log", "none", lower=1.0)
LOGIT = Prior("notch_area_ratio", 0.6, 0.7, "1", "logit", "none")


@pytest.mark.parametrize("prior", [LOG, BOUNDED, LOGIT])
def test_value_and_score(prior: Prior) -> None:
    assert prior.value(0.0) == pytest.approx(prior.centre, rel=1e-15)
    scores = np.linspace(-4.0, 4.0, 17)
    values = prior.value(scores)
    assert np.all(np.diff(values) > 0)
    np.testing.assert_allclose(prior.score(values), scores, atol=1e-12)
    assert isinstance(prior.value(1.0), float)
    assert isinstance(prior.score(prior.centre), float)


def test_one_deviation() -> None:
    assert LOG.value(1.0) == pytest.approx(0.16 * math.exp(0.5))
    assert BOUNDED.value(1.0) == pytest.approx(1.0 + 2.0 * math.exp(0.8))
    assert LOGIT.value(1.0) == pytest.approx(1 / (1 + 4 / 6 * math.exp(-0.7)))


def test_bounds_hold_far_out() -> None:
    assert BOUNDED.value(-30.0) >= 1.0
    assert 0.0 < LOGIT.value(-30.0) < LOGIT.value(30.0) <= 1.0


def test_units_are_named() -> None:
    assert PARAMETER_UNITS["half_element_resistance"] == "ohm"
    assert PARAMETER_UNITS["half_body_conductance"] == "W/K"
    assert PARAMETER_UNITS["contact_heat_share"] == "1"
    assert len(PARAMETER_UNITS) == 17
