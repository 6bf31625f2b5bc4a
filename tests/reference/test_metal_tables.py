"""Property tables against libraries and handbooks that others made.

Where a table was itself read through one of these libraries, the check guards against slips of
copying; the other rows are independent.
"""

from __future__ import annotations

import functools
import warnings
from typing import Any

import chemicals
import numpy as np
import periodictable
import pytest
from thermo.heat_capacity import HeatCapacitySolid

from fusetherm.physics.metals import METALS, metal

CAS = {
    "zinc": "7440-66-6",
    "copper": "7440-50-8",
    "silver": "7440-22-4",
    "aluminium": "7429-90-5",
    "tin": "7440-31-5",
    "lead": "7439-92-1",
    "nickel": "7440-02-0",
}
pure = pytest.mark.parametrize("name", CAS)


@functools.cache
def _element(symbol: str) -> Any:
    with warnings.catch_warnings():
        # mendeleev's database layer may announce its own deprecations
        warnings.simplefilter("ignore", DeprecationWarning)
        import mendeleev

        return mendeleev.element(symbol)


def test_all_pure_metals_are_checked() -> None:
    assert set(CAS) == set(METALS) - {"brass"}


@pure
def test_melting_and_boiling_points(name: str) -> None:
    # chemicals (CRC_INORG)
    one = metal(name)
    assert one.solidus_k == one.liquidus_k
    assert one.solidus_k == pytest.approx(chemicals.Tm(CAS[name]), abs=0.05)
    assert one.boiling_k == pytest.approx(chemicals.Tb(CAS[name]), rel=1e-3)


@pure
def test_latent_heat(name: str) -> None:
    # chemicals (CRC); compilations differ by up to 6 %
    per_kg = chemicals.Hfus(CAS[name]) / chemicals.MW(CAS[name]) * 1e3
    assert metal(name).latent_heat == pytest.approx(per_kg, rel=1e-3)


@pure
def test_latent_heat_by_another_compilation(name: str) -> None:
    # mendeleev, kJ/mol
    one = metal(name)
    element = _element(one.symbol)
    per_kg = element.fusion_heat / element.atomic_weight * 1e6
    assert one.latent_heat == pytest.approx(per_kg, rel=0.06)


@pure
def test_density(name: str) -> None:
    # periodictable and mendeleev, g/cm3; cast or worked
    one = metal(name)
    library = getattr(periodictable, one.symbol).density
    assert one.density == pytest.approx(1e3 * library, rel=5e-3)
    assert one.density == pytest.approx(1e3 * _element(one.symbol).density, rel=5e-3)


@pure
def test_conductivity_and_specific_heat_at_room_temperature(name: str) -> None:
    # mendeleev, 300 K and 298 K
    one = metal(name)
    element = _element(one.symbol)
    assert one.conductivity(300.0) == pytest.approx(element.thermal_conductivity, rel=1e-2)
    assert one.specific_heat(298.15) == pytest.approx(
        1e3 * element.specific_heat_capacity, rel=1e-2
    )


@pytest.mark.parametrize(
    ("name", "method"),
    [
        ("zinc", "JANAF"),
        ("copper", "JANAF"),
        ("copper", "PERRY151"),
        ("silver", "PERRY151"),
        ("silver", "UNARY"),
        ("aluminium", "WEBBOOK_SHOMATE"),
        ("tin", "UNARY"),
        ("lead", "JANAF"),
        ("nickel", "UNARY"),
    ],
)
def test_specific_heat_against_thermo(name: str, method: str) -> None:
    # thermo.heat_capacity.HeatCapacitySolid; sources differ 1-3 % near melting
    one, library = metal(name), HeatCapacitySolid(CASRN=CAS[name])
    molar = chemicals.MW(CAS[name]) * 1e-3
    for temperature in (298.15, 400.0, 600.0, 800.0, 1000.0, 1200.0):
        if temperature < one.solidus_k:
            expected = library.calculate(temperature, method)
            assert one.specific_heat(temperature) * molar == pytest.approx(expected, rel=0.025)


@pytest.mark.parametrize(
    ("name", "method"),
    [
        ("zinc", "JANAF"),
        ("copper", "JANAF"),
        ("silver", "PERRY151"),
        ("aluminium", "JANAF"),
        ("tin", "UNARY"),
        ("lead", "JANAF"),
        ("nickel", "PERRY151"),
    ],
)
def test_enthalpy_rise_to_melting_against_thermo(name: str, method: str) -> None:
    one = metal(name)
    rise = HeatCapacitySolid(CASRN=CAS[name]).calculate_integral(298.15, one.solidus_k, method)
    molar = chemicals.MW(CAS[name]) * 1e-3
    assert one.enthalpy(one.solidus_k) * molar == pytest.approx(rise, rel=0.015)


# CRC Handbook, "Electrical resistivity of pure metals", 1e-8 ohm m at 273, 293, 298, 300 K:
# silver and aluminium read in a public copy; the others, and all above 300 K, from memory.
CRC_RESISTIVITY = {
    "copper": {273.0: 1.543, 293.0: 1.678, 298.0: 1.712, 300.0: 1.725, 350.0: 2.063, 400.0: 2.402},
    "silver": {200.0: 1.029, 273.0: 1.467, 293.0: 1.587, 298.0: 1.617, 300.0: 1.629},
    "aluminium": {273.0: 2.417, 293.0: 2.650, 298.0: 2.709, 300.0: 2.733},
    "nickel": {273.0: 6.16, 293.0: 6.93, 298.0: 7.12, 300.0: 7.2, 400.0: 11.8, 600.0: 25.5},
}


@pytest.mark.parametrize(
    ("name", "temperature", "expected"),
    [(n, t, v) for n, row in CRC_RESISTIVITY.items() for t, v in row.items()],
)
def test_resistivity_of_the_handbook(name: str, temperature: float, expected: float) -> None:
    tolerance = 0.03 if name == "nickel" else 0.01
    assert 1e8 * metal(name).resistivity(temperature) == pytest.approx(expected, rel=tolerance)


def test_aluminium_below_its_table() -> None:
    # The table starts at 273 K; its straight continuation meets the read value at 200 K
    # (CRC Handbook, as above).
    assert metal("aluminium").resistivity(200.0) == pytest.approx(1.587e-8, rel=0.02)


def test_copper_near_melting() -> None:
    # Matula, J. Phys. Chem. Ref. Data 8 (1979) 1147, from memory
    copper = metal("copper")
    for temperature, expected in {1000.0: 6.858, 1200.0: 8.626, 1357.6: 10.171}.items():
        assert 1e8 * copper.resistivity(temperature) == pytest.approx(expected, rel=0.015)
    assert 1e8 * copper.liquid_resistivity == pytest.approx(21.01, rel=0.015)


# Liquid-metal compilations (Faber; Smithells), from memory; compilations differ by 8 %.
@pytest.mark.parametrize(
    ("name", "ratio"),
    [
        ("copper", 2.07),
        ("silver", 2.09),
        ("aluminium", 2.2),
        ("zinc", 2.24),
        ("tin", 2.1),
        ("lead", 1.94),
        ("nickel", 1.33),
    ],
)
def test_liquid_resistivity_ratio(name: str, ratio: float) -> None:
    assert metal(name).liquid_resistivity_ratio == pytest.approx(ratio, rel=0.08)


# Incropera & DeWitt, Table A.1, W/m/K at 300, 400, 600, 800, 1000, 1200 K: read in public
# copies, zinc from memory.
INCROPERA = {
    "copper": [401, 393, 379, 366, 352, 339],
    "silver": [429, 425, 412, 396, 379, 361],
    "aluminium": [237, 240, 231, 218],
    "zinc": [116, 111, 103],
    "tin": [66.6, 62.2],
    "lead": [35.3, 34.0, 31.4],
    "nickel": [90.7, 80.2, 65.6],
}


@pytest.mark.parametrize("name", INCROPERA)
def test_conductivity_of_the_handbook(name: str) -> None:
    row = INCROPERA[name]
    temperature = np.array([300.0, 400.0, 600.0, 800.0, 1000.0, 1200.0])[: len(row)]
    assert metal(name).conductivity(temperature) == pytest.approx(row, rel=0.02)


def test_nickel_was_lowered_by_no_more_than_it_says() -> None:
    # Incropera & DeWitt, Table A.1, read; the table's source tells of up to 7 %
    nickel = metal("nickel")
    for temperature, read in {800.0: 67.6, 1000.0: 71.8, 1200.0: 76.2, 1500.0: 82.6}.items():
        assert 0.93 * read < nickel.conductivity(temperature) < read


def test_conductivity_of_zinc_by_another_compilation() -> None:
    # Ho, Powell & Liley, J. Phys. Chem. Ref. Data 1 (1972) 279, read as the published fit
    # k = 116.8392 + 1.2743e-2 T - 5.778175e-5 T^2 W/m/K, 100 to 693 K
    temperature = np.linspace(250.0, 692.0, 9)
    fit = 116.8392 + 1.2743e-2 * temperature - 5.778175e-5 * temperature**2
    assert metal("zinc").conductivity(temperature) == pytest.approx(fit, rel=0.02)


def test_copper_specific_heat_of_a_measured_file() -> None:
    # AAGAN/ScientificSoftware, data/copper_heat_capacity_vs_temperature.csv, read
    for temperature, expected in {300.0: 386.0, 350.0: 392.0, 400.0: 397.0}.items():
        assert metal("copper").specific_heat(temperature) == pytest.approx(expected, rel=0.01)


# From the handbook rows above, 1e-8 W ohm/K2 at 300 K
@pytest.mark.parametrize(
    ("name", "lorenz"),
    [
        ("silver", 2.3295),
        ("aluminium", 2.1591),
        ("zinc", 2.3432),
        ("lead", 2.5063),
        ("nickel", 2.1768),
    ],
)
def test_lorenz_number_at_room_temperature(name: str, lorenz: float) -> None:
    assert 1e8 * metal(name).lorenz_number(300.0) == pytest.approx(lorenz, rel=0.03)


def test_cable_copper_has_more_resistivity_than_the_pure_metal() -> None:
    # IEC 60028 annealed copper standard: 1.7241e-8 ohm m at 20 degC, 0.00393 1/K, 8890 kg/m3;
    # resistivity and coefficient read in a public copy of IEC 60287, Table 1
    copper = metal("copper")
    pure_metal = copper.resistivity(293.15)
    assert 0.97 < pure_metal / 1.7241e-8 < 1.0
    slope = copper.resistivity_table.slope(293.15)
    assert slope / pure_metal == pytest.approx(0.00393, rel=0.04)
    assert copper.density == pytest.approx(8890.0, rel=0.01)


def test_cartridge_brass() -> None:
    # ASM/Smithells, from memory: 6.2e-8 ohm m at 20 degC, 120 W/m/K, 375 J/kg/K, 8530 kg/m3,
    # 915 to 955 degC; 380 J/kg/K at 300 K read in Incropera & DeWitt
    brass = metal("CuZn30")
    assert brass.resistivity(293.15) == pytest.approx(6.2e-8, rel=0.05)
    assert brass.conductivity(293.15) == pytest.approx(120.0, rel=0.05)
    assert brass.specific_heat(293.15) == pytest.approx(375.0, rel=0.05)
    assert brass.density == pytest.approx(8530.0, rel=0.05)
    assert (brass.solidus_k, brass.liquidus_k) == pytest.approx((1188.15, 1228.15), abs=5.0)


# Heat-transfer handbooks, from memory; a factor 1.5 between sources
@pytest.mark.parametrize(
    ("name", "bright", "oxidised"),
    [
        ("copper", 0.03, 0.6),
        ("silver", 0.02, None),
        ("aluminium", 0.04, None),
        ("zinc", 0.05, 0.25),
        ("tin", 0.05, None),
    ],
)
def test_emissivities(name: str, bright: float, oxidised: float | None) -> None:
    one = metal(name)
    assert bright / 1.5 < one.emissivity_bright < bright * 1.5
    assert oxidised is None or oxidised / 1.5 < one.emissivity_oxidised < oxidised * 1.5
