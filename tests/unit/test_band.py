"""Bands: their parts and shares, their edges, and how often they hold."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from fusetherm.calibration.band import (
    FIT,
    LEVEL,
    UNIT,
    asked,
    band_of,
    spread_of,
    student_quantile,
    swelling,
)


def test_parts_add_in_squares() -> None:
    band = band_of([(UNIT, 0.03**2), (FIT, 0.04**2), ("nothing", 0.0)])
    assert band.sd == pytest.approx(0.05)
    assert dict(band.shares) == pytest.approx({UNIT: 0.36, FIT: 0.64})
    assert (band.unit_sd, band.known_sd) == (pytest.approx(0.03), pytest.approx(0.04))
    assert band_of([]).sd == 0.0


def test_edges_hold_nine_tenths() -> None:
    # standard normal: 90 % lie within 1.6449 standard deviations (tables, from memory)
    band = band_of([(UNIT, 0.03**2)])
    inside = math.erf(math.log(band.high) / band.sd / math.sqrt(2.0))
    assert inside == pytest.approx(band.level, abs=1e-9)
    assert band.low == pytest.approx(1.0 / band.high)


def test_widened_by_another_source() -> None:
    band = band_of([(UNIT, 0.03**2)])
    wider = band.widened("clamp gain", 0.04)
    assert wider.sd == pytest.approx(0.05)
    assert dict(wider.shares)["clamp gain"] == pytest.approx(0.64)
    assert band.widened("nothing", 0.0) is band


@pytest.mark.parametrize("count", [4, 32])
def test_few_draws_hold_as_often_as_they_say(count: int) -> None:
    """Student's t: of many bands from a few normal draws nine in ten hold another one."""
    rng = np.random.default_rng(3)
    draws, other = rng.standard_normal((20_000, count)), rng.standard_normal(20_000)
    sd = np.array([spread_of(row, np.zeros(0)).sd for row in draws[:4000]])
    held = np.abs(other[:4000]) < 1.6448536 * sd
    assert np.mean(held) == pytest.approx(LEVEL, abs=0.015)
    assert swelling(count) > swelling(10 * count) > 1.0


def test_draws_off_the_centre_widen() -> None:
    off = np.full(8, 0.03)
    assert spread_of(off, np.zeros(0)).sd == pytest.approx(0.03 * swelling(8))
    units = np.array([0.03, -0.04])
    assert spread_of(np.zeros(4), units).sd == pytest.approx(0.05)


def test_a_question_is_asked_of_every_model(published: Any, fitted: Any) -> None:
    seen = []

    def ask(model: Any) -> float:
        seen.append(model)
        return float(model.body.conductance)

    draws, units = fitted.models("test"), fitted.units.units(fitted.model)
    model = fitted.model
    band = asked(ask, model, draws, units)
    assert set(map(id, seen)) == set(map(id, (model, *draws, *units)))
    off = [math.log(m.body.conductance / model.body.conductance) for m in draws]
    assert band.known_sd == pytest.approx(math.sqrt(np.mean(np.square(off))) * swelling(len(draws)))
    assert band.unit_sd == pytest.approx(0.1)  # the conductance moves with the loss of heat


@pytest.mark.parametrize("share", [0.5, 0.75, 0.95, 0.975, 0.9995])
def test_quantiles_of_student_s_t(share: float) -> None:
    """Those of scipy; of one and two degrees of freedom in closed form."""
    from scipy.stats import t

    for freedom in (*range(1, 12), 24, 31, 32, 100):
        expected = t.ppf(share, freedom)
        assert student_quantile(share, freedom) == pytest.approx(expected, rel=1e-12, abs=1e-15)
    assert student_quantile(share, 1) == pytest.approx(
        math.tan(math.pi * (share - 0.5)), rel=1e-12, abs=1e-15
    )
    odds = 4.0 * share * (1.0 - share)
    assert student_quantile(share, 2) == pytest.approx(
        (2.0 * share - 1.0) * math.sqrt(2.0 / odds), rel=1e-12, abs=1e-15
    )
