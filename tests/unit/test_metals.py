"""physics/metals.py and metal_data.py: lookup, tables of every metal, alloys, actions."""

from __future__ import annotations

import dataclasses
import doctest
import math
import pickle
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from fusetherm.errors import InputError
from fusetherm.physics import metals
from fusetherm.physics.constants import SOMMERFELD_LORENZ
from fusetherm.physics.metals import (
    METALS,
    Metal,
    Table,
    alloy,
    melting_action,
    metal,
    specific_action,
)

every_metal = pytest.mark.parametrize("one", METALS.values(), ids=METALS)

SOLDER: dict[str, Any] = {
    "name": "solder",
    "resistivity_20": 12.3e-8,
    "temperature_coefficient": 3.5e-3,
    "density": 7360.0,
    "solidus_c": 217.0,
    "liquidus_c": 221.0,
    "latent_heat": 58e3,
    "specific_heat": 230.0,
}


def test_docstring_examples() -> None:
    tried = doctest.testmod(metals)
    assert tried.attempted > 0
    assert tried.failed == 0


def test_the_metals_are_there() -> None:
    wanted = {"zinc", "copper", "silver", "aluminium", "tin", "lead", "nickel", "brass"}
    assert set(METALS) == wanted
    with pytest.raises(TypeError):
        METALS["gold"] = METALS["zinc"]  # type: ignore[index]


@every_metal
def test_every_number_has_a_source(one: Metal) -> None:
    for field in dataclasses.fields(one):
        if field.name not in ("name", "symbol", "sources"):
            assert one.source(field.name), field.name


@every_metal
def test_tables_reach_from_the_cold_to_the_melting_point(one: Metal) -> None:
    tables = (one.resistivity_table, one.conductivity_table, one.specific_heat_table)
    for table in tables:
        assert table.temperature_k[0] <= 273.15
        assert table.temperature_k[-1] == pytest.approx(one.solidus_k, rel=2e-3)
        assert np.all(table(np.linspace(218.0, one.liquidus_k, 99)) > 0.0)


@every_metal
def test_lorenz_number_is_that_of_a_metal(one: Metal) -> None:
    # Wiedemann-Franz: 2.44e-8 for free electrons; handbooks give 2.1 to 2.8e-8 (Kittel,
    # Introduction to Solid State Physics, table of Lorenz numbers, from memory).
    for temperature in (t for t in one.table_temperatures_k if t <= one.solidus_k):
        assert 2.0e-8 < one.lorenz_number(temperature) < 2.8e-8, temperature


@every_metal
def test_resistivity_rises_and_the_liquid_is_worse(one: Metal) -> None:
    assert np.all(np.diff(one.resistivity_table.value) > 0.0)
    assert one.liquid_resistivity == one.liquid_resistivity_ratio * one.resistivity(one.solidus_k)
    assert one.liquid_resistivity > one.resistivity(one.solidus_k)
    assert one.emissivity_bright < one.emissivity_oxidised


@every_metal
def test_liquid_obeys_wiedemann_franz_roughly(one: Metal) -> None:
    lorenz = one.liquid_conductivity * one.liquid_resistivity / one.liquidus_k
    assert lorenz == pytest.approx(SOMMERFELD_LORENZ, rel=0.25)


@every_metal
def test_enthalpy_is_the_integral_of_specific_heat(one: Metal) -> None:
    assert one.enthalpy(298.15) == 0.0
    hot = one.solidus_k + 50.0
    knots = [t for t in one.specific_heat_table.temperature_k if 298.15 < t < hot]
    expected = quad(one.specific_heat, 298.15, hot, points=knots, limit=200)[0]
    assert one.enthalpy(hot) == pytest.approx(expected, rel=1e-10)
    assert one.enthalpy(250.0) < 0.0


def test_arrays_and_scalars_agree() -> None:
    zinc = metal("zinc")
    temperature = np.array([220.0, 296.15, 650.0, 800.0])
    for law in (zinc.resistivity, zinc.conductivity, zinc.specific_heat, zinc.enthalpy):
        assert law(temperature) == pytest.approx([law(float(t)) for t in temperature], rel=1e-14)
        assert type(law(300.0)) is float


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("zinc", "zinc"),
        ("Zn", "zinc"),
        (" COPPER ", "copper"),
        ("cuzn30", "brass"),
        ("aluminum", "aluminium"),
    ],
)
def test_lookup(name: str, found: str) -> None:
    assert metal(name) is METALS[found]


def test_unknown_metal_says_what_may_be_meant() -> None:
    with pytest.raises(InputError, match="did you mean 'copper'") as caught:
        metal("coper")
    assert caught.value.code == "metal-unknown"
    with pytest.raises(InputError, match="alloy"):
        metal("xyz")


def test_metals_are_values() -> None:
    zinc = metal("zinc")
    thin = dataclasses.replace(zinc, latent_heat=1e5)
    assert thin != zinc
    assert pickle.loads(pickle.dumps(zinc)) == zinc
    assert hash(dataclasses.replace(zinc)) == hash(zinc)
    with pytest.raises(dataclasses.FrozenInstanceError):
        zinc.density = 1.0  # type: ignore[misc]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"density": -1.0}, "metal-value-not-positive"),
        ({"latent_heat": math.nan}, "metal-value-not-positive"),
        ({"solidus_k": 700.0}, "melting-range-order"),
        ({"boiling_k": 600.0}, "melting-range-order"),
        ({"emissivity_oxidised": 1.2}, "emissivity-above-one"),
    ],
)
def test_unsound_metals_are_refused(change: dict[str, Any], code: str) -> None:
    with pytest.raises(InputError) as caught:
        dataclasses.replace(metal("zinc"), **change)
    assert caught.value.code == code


def test_specific_action_adds_up_and_changes_sign() -> None:
    silver = metal("silver")
    whole = specific_action(silver, 298.15)
    parts = specific_action(silver, 298.15, 612.3) + specific_action(silver, 612.3)
    assert parts == pytest.approx(whole, rel=1e-12)
    assert specific_action(silver, silver.solidus_k, 298.15) == pytest.approx(-whole, rel=1e-12)


def test_melting_action_lies_between_its_bounds() -> None:
    zinc = metal("zinc")
    solid, mixed, liquid = (melting_action(zinc, m) for m in ("solid", "mixed", "liquid"))
    assert liquid < mixed < solid
    assert solid / liquid == pytest.approx(zinc.liquid_resistivity_ratio, rel=1e-12)
    same = dataclasses.replace(zinc, liquid_resistivity_ratio=1.0)
    nearly = dataclasses.replace(zinc, liquid_resistivity_ratio=1.0 + 1e-7)
    assert melting_action(same) == pytest.approx(melting_action(same, "solid"), rel=1e-14)
    assert melting_action(nearly) == pytest.approx(melting_action(same), rel=1e-6)


def test_alloy_is_the_line_it_was_given() -> None:
    solder = alloy(**SOLDER)
    assert solder.resistivity(293.15) == pytest.approx(12.3e-8, rel=1e-12)
    assert solder.resistivity(393.15) == pytest.approx(12.3e-8 * 1.35, rel=1e-12)
    assert solder.specific_heat(450.0) == 230.0
    assert (solder.solidus_k, solder.liquidus_k) == (490.15, 494.15)
    assert solder.symbol == "solder"
    assert solder.source("density") == "given by the user"
    assert solder.source("boiling_k") == "assumed by default"


def test_alloy_takes_its_conductivity_from_wiedemann_franz_and_says_so() -> None:
    solder = alloy(**SOLDER)
    inside = np.linspace(210.0, 494.0, 57)
    assert solder.lorenz_number(inside) == pytest.approx(SOMMERFELD_LORENZ, rel=2e-4)
    assert "Wiedemann-Franz" in solder.source("conductivity_table")
    assert "Wiedemann-Franz" in solder.source("liquid_conductivity")
    lorenz = solder.liquid_conductivity * solder.liquid_resistivity / solder.solidus_k
    assert lorenz == pytest.approx(SOMMERFELD_LORENZ, rel=1e-12)


def test_alloy_with_everything_given() -> None:
    table = Table((273.15, 473.15), (64.0, 58.0), "invented")
    full = alloy(
        **SOLDER,
        conductivity=table,
        boiling_c=2200.0,
        liquid_specific_heat=250.0,
        liquid_conductivity=30.0,
        symbol="SnAg",
        source="invented",
    )
    assert full.conductivity(373.15) == pytest.approx(61.0)
    assert full.boiling_k == 2473.15
    assert (full.liquid_specific_heat, full.liquid_conductivity) == (250.0, 30.0)
    assert {full.source("boiling_k"), full.source("liquid_conductivity")} == {"invented"}
    assert alloy(**SOLDER, conductivity=60.0).conductivity(450.0) == 60.0


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"resistivity_20": 0.0}, "metal-value-not-positive"),
        ({"temperature_coefficient": 0.39}, "resistivity-not-positive"),
        ({"temperature_coefficient": math.nan}, "resistivity-not-positive"),
        ({"liquidus_c": 200.0}, "melting-range-order"),
        ({"solidus_c": -300.0}, "below-absolute-zero"),
        ({"solidus_c": -273.15}, "metal-value-not-positive"),
        ({"specific_heat": -1.0}, "property-table-unsound"),
        ({"conductivity": -5.0}, "metal-value-not-positive"),
        ({"liquid_resistivity_ratio": 0.0}, "metal-value-not-positive"),
        ({"liquid_specific_heat": 0.0}, "metal-value-not-positive"),
    ],
)
def test_unsound_alloys_are_refused(change: dict[str, Any], code: str) -> None:
    with pytest.raises(InputError) as caught:
        alloy(**{**SOLDER, **change})
    assert caught.value.code == code
