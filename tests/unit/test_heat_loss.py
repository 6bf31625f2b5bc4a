"""physics/heat_loss.py: limits, symmetries and the values a body is built on."""

from __future__ import annotations

import doctest
import math
from typing import Literal

import numpy as np
import pytest
from scipy.special import ellipk

from fusetherm.physics import heat_loss
from fusetherm.physics.heat_loss import (
    air,
    cylinder_film_coefficient,
    effective_emissivity,
    gap_conductance_concentric,
    gap_conductance_strip_in_bore,
    grey_radiation,
    nusselt_horizontal_cylinder_churchill_chu,
    nusselt_horizontal_cylinder_morgan,
    nusselt_horizontal_plate_mcadams,
    plate_film_coefficient,
    radiation_coefficient,
    rayleigh,
)


def test_docstring_examples() -> None:
    tried = doctest.testmod(heat_loss)
    assert tried.attempted > 0
    assert tried.failed == 0


def test_air_of_arrays_and_its_own_consistency() -> None:
    film = np.array([233.15, 350.0, 640.0])
    gas = air(film)
    assert gas.prandtl == pytest.approx(gas.kinematic_viscosity / gas.thermal_diffusivity)
    assert gas.expansion == pytest.approx(1.0 / film)
    assert air(640.0).conductivity == pytest.approx(np.asarray(gas.conductivity)[2])
    assert type(air(640.0).conductivity) is float


def test_air_holds_its_end_values() -> None:
    assert air(2000.0).conductivity == pytest.approx(air(1400.0).conductivity)
    assert air(150.0).conductivity == pytest.approx(air(200.0).conductivity)


def test_rayleigh_forgets_the_sign_and_grows_with_the_cube() -> None:
    rest = (2e-5, 3e-5, 3e-3)
    assert rayleigh(0.1, -50.0, *rest) == rayleigh(0.1, 50.0, *rest)
    assert rayleigh(0.2, 50.0, *rest) == pytest.approx(8.0 * rayleigh(0.1, 50.0, *rest))


def test_a_cylinder_at_rest_still_conducts() -> None:
    assert nusselt_horizontal_cylinder_churchill_chu(0.0, 0.7) == pytest.approx(0.36)
    still = cylinder_film_coefficient(1e-3, 300.0, 300.0)
    assert still == pytest.approx(0.36 * 0.02638 / 1e-3)


def test_thin_wires_have_large_film_coefficients() -> None:
    thin, thick = cylinder_film_coefficient(np.array([0.1e-3, 5e-3]), 400.0, 300.0)
    assert thin > 8.0 * thick


def test_morgan_takes_arrays_over_all_its_ranges() -> None:
    low = np.array([1e-3, 1.0, 1e3, 1e5, 1e9])
    one_by_one = [nusselt_horizontal_cylinder_morgan(float(r)) for r in low]
    assert nusselt_horizontal_cylinder_morgan(low) == pytest.approx(one_by_one)
    assert np.all(np.diff(one_by_one) > 0.0)


def test_mcadams_changes_law_at_ten_million() -> None:
    assert nusselt_horizontal_plate_mcadams(1e7, "up") == pytest.approx(0.54 * 1e7**0.25)
    assert nusselt_horizontal_plate_mcadams(1.1e7, "up") == pytest.approx(0.15 * 1.1e7 ** (1 / 3))
    both = nusselt_horizontal_plate_mcadams(np.array([1e5, 1e8]), "down")
    assert both == pytest.approx([0.27 * 1e5**0.25, 27.0])


@pytest.mark.parametrize(("hot_side", "cold_side"), [("up", "down"), ("down", "up")])
def test_a_cold_plate_is_a_hot_one_upside_down(
    hot_side: Literal["up", "down"], cold_side: Literal["up", "down"]
) -> None:
    hot = plate_film_coefficient(0.02, 340.0, 300.0, hot_side)
    cold = plate_film_coefficient(0.02, 300.0, 340.0, cold_side)
    assert hot == pytest.approx(cold, rel=1e-12)


def test_vertical_plate_lies_between_the_level_sides() -> None:
    down, vertical, up = (
        plate_film_coefficient(0.05, 350.0, 296.0, p) for p in ("down", "vertical", "up")
    )
    assert down < vertical < up


def test_radiation_coefficient_times_difference_is_radiation() -> None:
    hot = np.array([310.0, 500.0, 900.0])
    flux = grey_radiation(hot, 300.0, 0.3)
    assert radiation_coefficient(hot, 300.0, 0.3) * (hot - 300.0) == pytest.approx(flux)
    assert grey_radiation(300.0, 400.0, 0.3) == -grey_radiation(400.0, 300.0, 0.3)
    close = 4.0 * 0.3 * heat_loss.STEFAN_BOLTZMANN * 300.0**3
    assert radiation_coefficient(300.0, 300.0, 0.3) == pytest.approx(close, rel=1e-14)


def test_effective_emissivity_between_its_limits() -> None:
    assert effective_emissivity(0.2, 1.0, 1.0) == pytest.approx(0.2)
    plates = 1.0 / (1.0 / 0.2 + 1.0 / 0.9 - 1.0)
    assert effective_emissivity(0.2, 0.9, 1.0) == pytest.approx(plates)
    assert plates < effective_emissivity(0.2, 0.9, 0.3) < 0.2


def test_concentric_gap_becomes_a_plane_layer() -> None:
    inner, gap = 0.1, 1e-5
    plane = 0.03 * math.pi * inner / gap
    assert gap_conductance_concentric(inner, inner + 2 * gap, 1.0, 0.03) == pytest.approx(
        plane, rel=2e-4
    )


@pytest.mark.parametrize(
    ("ratio", "error"), [(0.1, 1e-6), (0.5, 1e-4), (0.7, 2.5e-3), (0.8, 1e-2), (0.85, 2e-2)]
)
def test_strip_in_bore_against_the_conformal_map(ratio: float, error: float) -> None:
    # Slit in the unit circle: z -> z^2 makes it twice Groetzsch's ring of modulus ratio^2,
    # with the shape factor 8 K/K' (classical; Ahlfors, Conformal Invariants, from memory).
    q = ratio**2
    exact = 8.0 * ellipk(q**2) / ellipk(1.0 - q**2)
    assert gap_conductance_strip_in_bore(ratio, 0.0, 1.0, 1.0) == pytest.approx(exact, rel=error)


def test_gap_conductances_of_usual_bodies() -> None:
    # The sizes and bands of the design: 3 mm strip .14 to .18, 0.1 to 0.3 mm wire in a 4 mm
    # bore .065 to .11 W/m/K, gas at 400 to 600 K.
    strip = gap_conductance_strip_in_bore(3e-3, 0.3e-3, 6e-3, air(400.0).conductivity)
    wires = gap_conductance_concentric(
        np.array([0.1e-3, 0.3e-3]), 4e-3, 1.0, air(500.0).conductivity
    )
    assert 0.14 < strip < 0.18
    assert wires == pytest.approx([0.068, 0.097], abs=2e-3)
