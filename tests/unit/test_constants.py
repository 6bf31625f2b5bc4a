"""physics/constants.py: the values and how they hang together."""

from __future__ import annotations

import math

import pytest
from scipy import constants as scipy_constants

from fusetherm.physics import constants


def test_exact_constants_agree_with_scipy() -> None:
    # scipy.constants carries the CODATA tables.
    assert scipy_constants.k == constants.BOLTZMANN
    assert scipy_constants.e == constants.ELEMENTARY_CHARGE
    assert scipy_constants.g == constants.STANDARD_GRAVITY


def test_stefan_boltzmann_follows_from_the_exact_constants() -> None:
    k, h, c = scipy_constants.k, scipy_constants.h, scipy_constants.c
    expected = 2.0 * math.pi**5 * k**4 / (15.0 * h**3 * c**2)
    assert pytest.approx(expected, rel=1e-10) == constants.STEFAN_BOLTZMANN
