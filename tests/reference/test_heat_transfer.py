"""Heat losses against ht, CoolProp and a textbook example."""

from __future__ import annotations

import math

import CoolProp.CoolProp as coolprop
import ht
import numpy as np
import pytest

from fusetherm.physics.closed_forms import PREECE_CONSTANTS, preece_current
from fusetherm.physics.heat_loss import (
    STEFAN_BOLTZMANN,
    air,
    cylinder_film_coefficient,
    grey_radiation,
    nusselt_horizontal_cylinder_churchill_chu,
    nusselt_horizontal_cylinder_morgan,
    nusselt_horizontal_plate_mcadams,
    nusselt_vertical_plate_churchill_chu,
    rayleigh,
)
from fusetherm.physics.metals import metal

RAYLEIGH = [1e-4, 1e-2, 1.0, 1e2, 1e4, 1e6, 1e9]


def _air(what: str, temperature: float) -> float:
    return float(coolprop.PropsSI(what, "T", temperature, "P", 101325.0, "Air"))


@pytest.mark.parametrize("temperature", np.linspace(205.0, 1400.0, 12))
def test_air_against_coolprop(temperature: float) -> None:
    gas = air(float(temperature))
    k, nu = _air("CONDUCTIVITY", temperature), _air("VISCOSITY", temperature)
    density, heat = _air("DMASS", temperature), _air("CPMASS", temperature)
    assert gas.conductivity == pytest.approx(k, rel=0.01)
    assert gas.kinematic_viscosity == pytest.approx(nu / density, rel=0.01)
    assert gas.thermal_diffusivity == pytest.approx(k / density / heat, rel=0.01)
    assert gas.prandtl == pytest.approx(nu * heat / k, rel=0.01)
    assert gas.expansion == pytest.approx(
        _air("ISOBARIC_EXPANSION_COEFFICIENT", temperature), rel=0.01
    )


@pytest.mark.parametrize("ra", RAYLEIGH)
def test_horizontal_cylinder_against_ht(ra: float) -> None:
    # ht takes Prandtl and Grashof numbers
    ours = nusselt_horizontal_cylinder_churchill_chu(ra, 0.7)
    assert ours == pytest.approx(ht.Nu_horizontal_cylinder_Churchill_Chu(0.7, ra / 0.7), rel=1e-9)
    morgan = nusselt_horizontal_cylinder_morgan(ra)
    # ht rounds the power 1/3 of the last range to .333
    assert morgan == pytest.approx(ht.Nu_horizontal_cylinder_Morgan(0.7, ra / 0.7), rel=1e-2)


# computed with ht 1.2.0, Pr 0.7
@pytest.mark.parametrize(
    ("ra", "churchill_chu", "morgan"),
    [
        (1e-4, 0.4477492023273452, 0.39564326104696945),
        (1e-2, 0.5609395886731684, 0.5159411552431763),
        (1.0, 0.8480981481808835, 1.02),
        (1e2, 1.6677306101529974, 2.020314243631145),
        (1e4, 4.366386507381124, 4.8),
        (1e6, 14.51019084744473, 15.17893276880822),
    ],
)
def test_horizontal_cylinder_values(ra: float, churchill_chu: float, morgan: float) -> None:
    assert nusselt_horizontal_cylinder_churchill_chu(ra, 0.7) == pytest.approx(
        churchill_chu, rel=1e-6
    )
    if ra not in (1e-2, 1e2):  # borders of two ranges: either may be meant
        assert nusselt_horizontal_cylinder_morgan(ra) == pytest.approx(morgan, rel=1e-6)


@pytest.mark.parametrize(
    ("ra", "value"),
    [(1e2, 2.3201369697044614), (1e4, 5.425290974340113), (1e9, 122.61505766333607)],
)
def test_vertical_plate(ra: float, value: float) -> None:
    # computed with ht 1.2.0, Pr 0.7
    ours = nusselt_vertical_plate_churchill_chu(ra, 0.7)
    assert ours == pytest.approx(value, rel=1e-6)
    assert ours == pytest.approx(ht.Nu_vertical_plate_Churchill(0.7, ra / 0.7))


@pytest.mark.parametrize(
    ("ra", "facing", "value"),
    [
        (1e5, "up", 9.602708814210184),
        (1e6, "up", 17.07629936490925),
        (1e6, "down", 8.538149682454625),
        (1e8, "down", 27.0),
    ],
)
def test_level_plate(ra: float, facing: str, value: float) -> None:
    # computed with ht 1.2.0 (McAdams)
    assert nusselt_horizontal_plate_mcadams(ra, facing) == pytest.approx(value, rel=1e-6)  # type: ignore[arg-type]


def test_horizontal_pipe_of_the_textbook() -> None:
    # Incropera & DeWitt, Example 9.4, from memory: 0.1 m, 165 degC in 23 degC, emissivity 0.85
    ra = rayleigh(0.1, 142.0, 22.8e-6, 32.8e-6, 2.725e-3) * 9.8 / 9.80665
    assert ra == pytest.approx(5.073e6, rel=2e-3)
    nusselt = nusselt_horizontal_cylinder_churchill_chu(5.073e6, 0.697)
    assert nusselt == pytest.approx(23.08806394799524, rel=1e-3)  # computed with ht 1.2.0
    assert nusselt == pytest.approx(23.3, rel=0.015)
    film = nusselt * 0.0313 / 0.1
    assert film == pytest.approx(7.29, rel=0.015)
    total = math.pi * 0.1 * (film * 142.0 + grey_radiation(438.0, 296.0, 0.85))
    assert total == pytest.approx(766.0, rel=0.015)


def test_the_same_pipe_with_our_air() -> None:
    assert cylinder_film_coefficient(0.1, 438.15, 296.15) == pytest.approx(7.29, rel=0.02)


def test_thin_wires_and_the_spread_of_correlations() -> None:
    # computed with ht 1.2.0: 400 K in 300 K, k 0.030, nu 20.92e-6, alpha 29.9e-6, Pr 0.70, g 9.8
    for diameter, churchill_chu, morgan in (
        (0.5e-3, 47.66724693839246, 56.1605080798223),
        (0.1e-3, 159.99396066085967, 147.9717080708116),
    ):
        ra = rayleigh(diameter, 100.0, 20.92e-6, 29.9e-6, 1.0 / 350.0) * 9.8 / 9.80665
        film = nusselt_horizontal_cylinder_churchill_chu(ra, 0.70) * 0.030 / diameter
        assert film == pytest.approx(churchill_chu, rel=1e-4)
        other = nusselt_horizontal_cylinder_morgan(ra) * 0.030 / diameter
        assert other == pytest.approx(morgan, rel=1e-4)
        assert cylinder_film_coefficient(diameter, 400.0, 300.0) == pytest.approx(
            churchill_chu, rel=0.01
        )


def test_radiation_against_ht() -> None:
    # ht 1.2.0 has sigma of CODATA 2014: 1.3e-6 less
    assert grey_radiation(400.0, 300.0, 1.0) == pytest.approx(992.314225, rel=2e-6)
    assert grey_radiation(1000.0, 293.15, 0.03) == pytest.approx(1688.5471388369135, rel=2e-6)
    assert grey_radiation(700.0, 300.0, 0.4) == pytest.approx(ht.q_rad(0.4, 700.0, 300.0), rel=3e-6)
    assert STEFAN_BOLTZMANN == 5.670374419e-08  # CODATA 2018, from memory


# Computed with ht 1.2.0 and CoolProp 8.0.0: infinite bare copper wire at 1357.77 K in 293.15 K,
# 10.171e-8 ohm m, air at film temperature, no end cooling; emissivity 0.1 and 0.6
@pytest.mark.parametrize(
    ("diameter", "bright", "dark"),
    [(0.1e-3, 2.8228, 3.2095), (0.5e-3, 17.905, 24.742), (1.0e-3, 42.099, 64.069)],
)
def test_minimum_fusing_current_of_a_bare_wire(diameter: float, bright: float, dark: float) -> None:
    hot, ambient = 1357.77, 293.15
    film = cylinder_film_coefficient(diameter, hot, ambient)
    resistance = metal("copper").resistivity(hot) / (math.pi * diameter**2 / 4.0)
    for emissivity, expected in ((0.1, bright), (0.6, dark)):
        loss = film * (hot - ambient) + grey_radiation(hot, ambient, emissivity)
        current = math.sqrt(math.pi * diameter * loss / resistance)
        assert current == pytest.approx(expected, rel=0.01)
        # Preece's law is a yardstick: correlations lie between 0.5 and 1.3 of it
        assert 0.5 < current / preece_current(diameter, PREECE_CONSTANTS["copper"]) < 1.3
