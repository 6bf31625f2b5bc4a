"""Parts of the model: contacts, cables, sides, connections."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fusetherm import FuseModel, InputError, metal, round_wire
from fusetherm.fuse.model import HELD, Blade, Body, Cable, Clip, Contact, Limits, Side, Surroundings

WIRE = round_wire(metal("copper"), 0.3e-3, 20e-3)


@pytest.mark.parametrize(
    ("milliohm", "conductance"), [(0.1, 0.09), (0.5, 0.017), (1.0, 0.009), (2.0, 0.004)]
)
def test_metallic_contact_by_wiedemann_franz(milliohm: float, conductance: float) -> None:
    # Sommerfeld's number at about 350 K, rounded to a digit or two: by hand
    contact = Contact(milliohm * 1e-3, heat_factor=1.0)
    assert contact.conductance == pytest.approx(conductance, rel=0.15)
    assert Contact(milliohm * 1e-3, heat_factor=3.0).conductance == pytest.approx(
        3.0 * contact.conductance
    )


@pytest.mark.parametrize(
    ("section", "fin", "least", "most"), [(6e-6, 0.02, 130.0, 210.0), (0.75e-6, 0.006, 36.0, 44.0)]
)
def test_cable_as_a_fin(section: float, fin: float, least: float, most: float) -> None:
    """Heat a long cable draws for each kelvin, and the time in which it follows.

    Estimates by hand: about .02 W/K and 130 to 210 s for 6 mm², 40 s for .75 mm². The fin of
    .75 mm² is .006 W/K and not, as once estimated, .005: with 40 s that would leave 0.8 J/m/K
    to the insulation, a wall of .12 mm, and the thinnest of ISO 6722-1 has .20 mm.
    """
    cable = Cable(section)
    conduction = 391.0 * section
    assert math.sqrt(conduction * cable.loss_per_length) == pytest.approx(fin, rel=0.15)
    assert least < cable.heat_capacity_per_length / cable.loss_per_length < most


@pytest.mark.parametrize(
    ("section", "largest"),
    [(0.75, 1.9), (1.0, 2.1), (1.5, 2.4), (2.5, 3.0), (4.0, 3.7), (6.0, 4.3)],
)
def test_cable_of_thin_wall(section: float, largest: float) -> None:
    # largest outer diameters of ISO 6722-1, thin wall, from memory
    assert 0.9 * largest < Cable(section * 1e-6).outer_diameter * 1e3 < largest


def test_insulation_holds_no_air_between_the_wires() -> None:
    # 84 wires of .30 mm in a circle of .75 fill, IEC 60853-2 for PVC
    copper = 84 * math.pi * 0.3e-3**2 / 4
    wall = math.pi * (4.3e-3**2) / 4 - copper / 0.75
    by_hand = copper * 8890 * 385 + wall * 1.7e6
    assert Cable(copper, 1.0, 4.3e-3).heat_capacity_per_length == pytest.approx(by_hand)
    # wires that just fit their insulation leave it no volume
    tight = Cable(6e-6, 1.0, 2.8e-3)
    assert tight.heat_capacity_per_length == pytest.approx(6e-6 * 8890 * 385)


@pytest.mark.parametrize(("section", "film"), [(0.75e-6, 23.0), (6e-6, 17.0), (50e-6, 13.5)])
def test_film_coefficient_of_a_cable_in_still_air(section: float, film: float) -> None:
    # by hand at 33 degC: k .0265, nu 1.64e-5, alpha 2.32e-5, Pr .707; radiation 5.9 W/m²/K
    cable = Cable(section)
    rayleigh = 9.81 / 306.15 * 20.0 * cable.outer_diameter**3 / (1.64e-5 * 2.32e-5)
    nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / 1.202) ** 2
    assert cable.film == pytest.approx(0.0265 / cable.outer_diameter * nusselt + 5.9, rel=0.02)
    assert cable.film == pytest.approx(film, rel=0.02)
    assert Cable(section, film_coefficient=12.0).film == 12.0


def test_connection_changes_all_but_the_fuse() -> None:
    fuse = FuseModel(WIRE, Body(), Side(Blade(0.7)), Side(Blade(0.8)), rated_current=5.0)
    outer = Side(Blade(99.0), Contact(), Clip(), Cable(2.5e-6))
    there = fuse.connected(outer, outer, Limits(clip_c=120.0))
    assert there.left.blade == Blade(0.7)
    assert there.right.blade == Blade(0.8)
    assert there.left.cable == Cable(2.5e-6)
    assert there.limits.clip_c == 120.0
    assert fuse.connected(outer, outer).limits == fuse.limits
    assert (there.element, there.body, there.rated_current) == (WIRE, Body(), 5.0)


def test_cold_resistance_counts_blades() -> None:
    blade = Side(Blade(resistance=0.2e-3))
    assert FuseModel(WIRE, None, blade, HELD).cold_resistance() == pytest.approx(
        WIRE.cold_resistance() + 0.2e-3
    )


def test_sides_hang_together() -> None:
    with pytest.raises(InputError, match="no blade"):
        Side(None, Contact(), Clip())
    with pytest.raises(InputError, match="contact"):
        Side(Blade(), Contact())
    with pytest.raises(InputError, match="clip"):
        Side(Blade(), cable=Cable(1e-6))


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_sizes_are_checked(bad: float) -> None:
    for make in (
        lambda: Body(heat_capacity=bad),
        lambda: Body(element_loss=bad),
        lambda: Blade(heat_capacity=bad),
        lambda: Blade(resistance=bad),
        lambda: Contact(resistance=bad),
        lambda: Clip(to_ambient=bad),
        lambda: Cable(6e-6, length=bad),
        lambda: Cable(6e-6, film_coefficient=bad),
        lambda: Surroundings(emissivity=bad),
    ):
        with pytest.raises(InputError):
            make()


def test_cable_needs_room_for_its_copper_and_two_cells() -> None:
    with pytest.raises(InputError, match="insulation diameter"):
        Cable(6e-6, insulation_diameter=2e-3)
    with pytest.raises(InputError, match="cells"):
        Cable(6e-6, cells=1)


@pytest.mark.parametrize("section", [-1.0, 0.0, float("nan")])
def test_cable_without_section_is_refused(section: float) -> None:
    with pytest.raises(InputError, match="section"):
        Cable(section)


@pytest.mark.parametrize(("ambient_c", "ratio"), [(-40.0, 0.83), (23.0, 1.0), (85.0, 1.255)])
def test_a_film_follows_the_ambient(ambient_c: float, ratio: float) -> None:
    """4 mm, 20 K above the air, against the `ht` library's Churchill and Chu, and radiation."""
    from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu

    def film(air: float) -> float:
        surface, mean = air + 20.0, air + 10.0
        # air: Sutherland's law and a straight conductivity, good to 1 % here
        viscosity = 1.458e-6 * mean**1.5 / (mean + 110.4) * mean * 287.05 / 101325.0
        conductivity = 0.02624 * (mean / 300.0) ** 0.8646
        grashof = 9.81 / mean * 20.0 * 4e-3**3 / viscosity**2
        nusselt = Nu_horizontal_cylinder_Churchill_Chu(0.71, grashof)
        sigma = 5.670374419e-8
        radiated = 0.9 * sigma * (surface**2 + air**2) * (surface + air)
        return float(nusselt * conductivity / 4e-3 + radiated)

    cable = Cable(6e-6, insulation_diameter=4e-3)
    air = ambient_c + 273.15
    assert cable.film_at(air) / cable.film == pytest.approx(film(air) / film(296.15), rel=0.01)
    assert cable.film_at(air) / cable.film == pytest.approx(ratio, rel=0.01)
    assert replace(cable, film_coefficient=12.0).film_at(air) == 12.0
    bent = replace(cable, film_factor=0.8, film_slope=1e-3)
    expected = 0.8 * math.exp(1e-3 * (ambient_c - 23.0)) * cable.film_at(air)
    assert bent.film_at(air) == pytest.approx(expected)


def test_a_body_follows_the_ambient() -> None:
    body = Body(conductance=0.01, conductance_slope=0.004)
    assert body.conductance_at(296.15) == 0.01
    assert body.conductance_at(358.15) == pytest.approx(0.01 * math.exp(0.248))
    assert Body(conductance=0.01).conductance_at(358.15) == 0.01
