"""Parts of the model: contacts, cables, sides, connections."""

from __future__ import annotations

import math

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
    ("section", "fin", "least", "most"), [(6e-6, 0.02, 130.0, 260.0), (0.75e-6, 0.005, 40.0, 110.0)]
)
def test_cable_as_a_fin(section: float, fin: float, least: float, most: float) -> None:
    # order of magnitude from estimates by hand
    cable = Cable(section)
    conduction = 391.0 * section
    assert math.sqrt(conduction * cable.loss_per_length) == pytest.approx(fin, rel=0.15)
    assert least < cable.heat_capacity_per_length / cable.loss_per_length < most


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
