"""The fixed band: its parts, their shares, its edges."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from fusetherm.calibration.band import (
    CONNECTION_SPREAD,
    INSTALLED_SPREAD,
    MODEL_SPREAD,
    UNIT_SPREAD,
    band_of,
)


def test_parts_add_in_squares(published: Any) -> None:
    band = band_of(published.definition, 0.04)
    assert band.sd == pytest.approx(math.sqrt(UNIT_SPREAD**2 + MODEL_SPREAD**2 + 0.04**2))
    assert math.fsum(share for _, share in band.shares) == pytest.approx(1.0)
    assert dict(band.shares)["misfit of the curve"] == pytest.approx((0.04 / band.sd) ** 2)


def test_edges_hold_nine_tenths(published: Any) -> None:
    # standard normal: 90 % lie within 1.6449 standard deviations (tables, from memory)
    band = band_of(published.definition, math.nan)
    assert [name for name, _ in band.shares] == ["unit to unit", "model"]
    inside = math.erf(math.log(band.high) / band.sd / math.sqrt(2.0))
    assert inside == pytest.approx(band.level, abs=1e-9)
    assert band.low == pytest.approx(1.0 / band.high)


def test_silence_on_connections_widens(published: Any) -> None:
    fuse = published.definition
    known = band_of(fuse, 0.0).sd ** 2
    silent = replace(fuse, test_connection=None, installed_connection=None)
    both = known + CONNECTION_SPREAD**2 + INSTALLED_SPREAD**2
    assert band_of(silent, 0.0).sd ** 2 == pytest.approx(both)
    tested = band_of(silent, 0.0, "test")
    assert tested.sd**2 == pytest.approx(known + CONNECTION_SPREAD**2)


def test_widened_by_another_source(published: Any) -> None:
    band = band_of(published.definition, 0.0)
    wider = band.widened("clamp gain", 0.02)
    assert wider.sd == pytest.approx(math.hypot(band.sd, 0.02))
    assert dict(wider.shares)["clamp gain"] == pytest.approx((0.02 / wider.sd) ** 2)
    assert band.widened("nothing", 0.0) is band
