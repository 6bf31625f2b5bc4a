"""Sections, wires, spreading resistance and the mesh."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from fusetherm import Element, InputError, Section, metal, round_wire
from fusetherm.fuse.element import Profile, RoundSection, spreading_squares

COPPER = metal("copper")
TAPER = Section(5e-3, 3e-3, 0.2e-3, end_width=1e-3)
NOTCH = Section(2e-3, 2e-3, 0.1e-3, middle_width=0.5e-3)
PLAIN = Section(4e-3, 3e-3, 0.2e-3)
BRIDGE = Section(2e-3, 1e-3, 0.2e-3)


@pytest.mark.parametrize("section", [PLAIN, TAPER, NOTCH, RoundSection(3e-3, 0.5e-3)])
@pytest.mark.parametrize("cells", [16, 64])
def test_integrals_of_the_mesh_are_exact(section: Profile, cells: int) -> None:
    mesh = Element(COPPER, (section,)).mesh(cells)  # type: ignore[arg-type]
    for values, integrand in (
        (mesh.volume, lambda x: float(section.area(np.array([x]))[0])),
        (mesh.shape, lambda x: 1.0 / float(section.area(np.array([x]))[0])),
        (mesh.side, lambda x: float(section.perimeter(np.array([x]))[0])),
    ):
        whole, _ = quad(integrand, 0.0, section.length, epsrel=1e-11)
        assert values.sum() == pytest.approx(whole, rel=1e-9)
    assert mesh.length.sum() == pytest.approx(section.length, rel=1e-12)
    assert mesh.shape == pytest.approx(mesh.left_shape + mesh.right_shape)


def test_resistance_of_a_taper_is_the_logarithm() -> None:
    expected = 5e-3 * math.log(3.0) / (0.2e-3 * 2e-3)
    assert Element(COPPER, (TAPER,)).shape_integral() == pytest.approx(expected, rel=1e-9)


def test_cold_resistance_of_a_wire() -> None:
    wire = round_wire(COPPER, 0.5e-3, 40e-3)
    area = math.pi * 0.25e-6 / 4.0
    assert wire.cold_resistance(300.0) == pytest.approx(COPPER.resistivity(300.0) * 40e-3 / area)


def test_cells_keep_to_the_edges_and_their_number_to_the_sections() -> None:
    element = Element(COPPER, (PLAIN, BRIDGE, PLAIN))
    mesh = element.mesh(64)
    counts = np.bincount(mesh.section)
    assert counts.tolist() == [16, 32, 16]
    longer = Element(COPPER, (Section(40e-3, 3e-3, 0.2e-3), BRIDGE, PLAIN)).mesh(64)
    assert np.bincount(longer.section).tolist() == counts.tolist()
    for number, section in enumerate(element.sections):
        assert mesh.length[mesh.section == number].sum() == pytest.approx(section.length)
    # finest beside the bridge
    first = mesh.length[mesh.section == 0]
    assert np.all(np.diff(first) < 0.0)
    beside = mesh.length[mesh.section == 1][0]
    assert beside < first[-1] < first.mean()
    assert first.mean() / first[-1] < 3.51


def test_bridges_are_the_narrow_sections() -> None:
    assert Element(COPPER, (PLAIN, BRIDGE, PLAIN)).bridges() == (1,)
    assert Element(COPPER, (PLAIN,)).bridges() == ()


@pytest.mark.parametrize("ratio", [1.0, 1.5, 3.0, 20.0])
def test_spreading_goes_into_the_wide_side(ratio: float) -> None:
    wide = Section(8e-3, ratio * 1e-3, 0.2e-3)
    without = Element(COPPER, (wide, BRIDGE), spreading=False).mesh(64)
    with_it = Element(COPPER, (wide, BRIDGE)).mesh(64)
    extra = with_it.shape - without.shape
    assert extra.sum() == pytest.approx(spreading_squares(ratio) / 0.2e-3, rel=1e-9)
    assert np.all(extra[with_it.section == 1] == 0.0)
    assert np.all(extra >= 0.0)


def test_spreading_squares_grow_and_are_small_for_small_steps() -> None:
    values = [spreading_squares(r) for r in (1.0, 1.1, 2.0, 3.0, 10.0)]
    assert values == sorted(values)
    assert values[1] < 0.01
    with pytest.raises(InputError, match="ratio"):
        spreading_squares(0.5)


def test_parting_length_and_capillary_time() -> None:
    wire = round_wire(metal("zinc"), 0.4e-3, 10e-3)
    assert wire.parting_length == pytest.approx(math.pi * 0.4e-3)
    zinc = metal("zinc")
    growth = 0.343 * math.sqrt(zinc.surface_tension / (zinc.density * 0.2e-3**3))
    assert wire.capillary_time == pytest.approx(1.0 / growth, rel=0.01)
    assert Element(zinc, (PLAIN,), break_length=1e-3).parting_length == 1e-3


def test_narrowest_finds_a_notch() -> None:
    area, perimeter = Element(COPPER, (PLAIN, NOTCH)).narrowest()
    assert area == pytest.approx(0.5e-3 * 0.1e-3)
    assert perimeter == pytest.approx(2.0 * 0.6e-3)


@pytest.mark.parametrize("bad", [0.0, -1e-3, math.nan, math.inf])
def test_sizes_are_positive(bad: float) -> None:
    with pytest.raises(InputError, match="length"):
        Section(bad, 1e-3, 1e-3)
    with pytest.raises(InputError, match="diameter"):
        RoundSection(1e-3, bad)
    with pytest.raises(InputError, match="break_length"):
        Element(COPPER, (PLAIN,), break_length=bad)


def test_refuses_nothing_and_too_much() -> None:
    with pytest.raises(InputError, match="sections"):
        Element(COPPER, ())
    with pytest.raises(InputError, match="both"):
        Section(1e-3, 1e-3, 1e-3, end_width=2e-3, middle_width=1e-3)
