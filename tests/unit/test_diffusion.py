"""physics/diffusion.py: half-space, slab and melting fronts."""

from __future__ import annotations

import doctest
import math

import pytest

from fusetherm.physics import diffusion
from fusetherm.physics.diffusion import (
    neumann_lambda,
    semi_infinite_flux,
    slab_flux,
    stefan_lambda,
)


def test_docstring_examples() -> None:
    tried = doctest.testmod(diffusion)
    assert tried.attempted > 0
    assert tried.failed == 0


def test_a_thick_slab_is_a_half_space() -> None:
    # early: the far face is not felt
    fourier = 0.01
    assert slab_flux(1.0, fourier) == pytest.approx(
        semi_infinite_flux(0.0, fourier, 1.0, 1.0, 1.0), rel=1e-10
    )
    assert slab_flux(0.7, fourier) == pytest.approx(
        semi_infinite_flux(0.3, fourier, 1.0, 1.0, 1.0), rel=1e-7
    )


def test_a_slab_late_rises_as_a_lump_with_a_parabola() -> None:
    assert slab_flux(1.0, 3.0) == pytest.approx(3.0 + 1.0 / 3.0, rel=1e-12)
    assert slab_flux(0.0, 3.0) == pytest.approx(3.0 - 1.0 / 6.0, rel=1e-12)


def test_half_space_rise_fades_with_depth() -> None:
    rises = [semi_infinite_flux(x, 0.01, 1e7, 385.0, 1.11e-4) for x in (0.0, 1e-3, 3e-3, 9e-3)]
    assert rises == sorted(rises, reverse=True)
    assert rises[-1] < 1e-3 * rises[0]


def test_fronts_of_small_stefan_number() -> None:
    assert stefan_lambda(1e-6) == pytest.approx(math.sqrt(1e-6 / 2.0), rel=1e-6)
    assert neumann_lambda(1.0, 0.0) == stefan_lambda(1.0)
    assert neumann_lambda(1.0, 3.0) < neumann_lambda(1.0, 1.0) < stefan_lambda(1.0)
