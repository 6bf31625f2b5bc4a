"""Models from a definition and the values of the fitted quantities."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from fusetherm.calibration.build import (
    assumed_section,
    connection_notes,
    element_of,
    model_of_parameters,
    side_of,
    values_of,
)
from fusetherm.errors import InputError
from fusetherm.fuse.definition import Connection, ConnectionSide, Geometry, GeometrySection
from fusetherm.fuse.family import element_metal, load_family
from fusetherm.physics.metals import metal


@pytest.fixture(scope="module")
def values(fitted: Any) -> dict[str, float]:
    return values_of(fitted.priors, [0.0] * len(fitted.priors))


def test_values_at_zero_scores_are_the_centres(fitted: Any, values: dict[str, float]) -> None:
    assert values == {p.name: pytest.approx(p.centre) for p in fitted.priors}
    moved = values_of(fitted.priors, [1.0] * len(fitted.priors))
    for p in fitted.priors:
        if p.transform == "log" and p.lower == 0.0:
            assert moved[p.name] == pytest.approx(p.centre * math.exp(p.sd))


@pytest.mark.parametrize(("rated", "section"), [(3.0, 0.5), (40.0, 6.0), (100.0, 16.0), (9e3, 120)])
def test_assumed_section(rated: float, section: float) -> None:
    assert assumed_section(rated) == pytest.approx(section * 1e-6)


def test_fitted_strip_has_the_resistance_asked_for(fitted: Any, values: dict[str, float]) -> None:
    element = element_of(fitted.definition, fitted.family, metal("zinc"), values)
    assert element.length == pytest.approx(2.0 * values["half_element_length"])
    assert element.cold_resistance() == pytest.approx(
        2.0 * values["half_element_resistance"], rel=2e-3
    )
    outer, notch, _ = element.sections
    assert notch.width / outer.width == pytest.approx(values["notch_area_ratio"])
    assert notch.length / element.length == pytest.approx(values["notch_length_fraction"])
    assert notch.thickness == 0.5e-3


def test_fitted_wire_has_the_resistance_asked_for(fitted: Any) -> None:
    family = load_family("wire-in-body")
    fuse = replace(fitted.definition, family="wire-in-body", size=None, rated_current=3.15)
    values = values_of(family.priors(fuse), [0.0] * len(family.parameters))
    element = element_of(fuse, family, element_metal(fuse, family), values)
    assert element.cold_resistance() == pytest.approx(
        2.0 * values["half_element_resistance"], rel=2e-3
    )
    ratio = (element.sections[1].diameter / element.sections[0].diameter) ** 2
    assert ratio == pytest.approx(values["notch_area_ratio"])


def test_stated_thickness_and_drawn_sections_win(fitted: Any, values: dict[str, float]) -> None:
    thin = replace(fitted.definition, geometry=Geometry(thickness=0.4e-3, source="x"))
    element = element_of(thin, fitted.family, metal("zinc"), values)
    assert {s.thickness for s in element.sections} == {0.4e-3}
    parts = (
        GeometrySection(length=5e-3, width=4e-3, thickness=0.3e-3),
        GeometrySection(length=2e-3, diameter=1e-3),
    )
    drawn = replace(fitted.definition, geometry=Geometry(source="x", sections=parts))
    element = element_of(drawn, fitted.family, metal("zinc"), values)
    assert element.length == pytest.approx(7e-3)
    assert element.sections[1].diameter == 1e-3


def test_a_size_without_thickness_is_refused(fitted: Any, values: dict[str, float]) -> None:
    sizes = tuple(replace(size, thickness=None) for size in fitted.family.sizes)
    family = replace(fitted.family, sizes=sizes)
    with pytest.raises(InputError, match="thickness-unknown"):
        element_of(fitted.definition, family, metal("zinc"), values)


def test_sides_take_what_the_connection_states(fitted: Any, values: dict[str, float]) -> None:
    connection = Connection(
        cable_section=10e-6, contact_resistance=0.7e-3, source="x",
        right=ConnectionSide(cable_section=4e-6),
    )  # fmt: skip
    fuse = replace(fitted.definition, installed_connection=connection)
    left, right = (side_of(fuse, connection, which, values) for which in ("left", "right"))
    assert left.cable
    assert right.cable
    assert left.contact
    assert (left.cable.section, right.cable.section) == (10e-6, 4e-6)
    assert left.contact.resistance == 0.7e-3
    tested = side_of(fuse, fuse.test_connection, "left", values)
    assert tested.contact
    assert tested.contact.resistance == values["contact_resistance"]
    assert tested.cable
    assert tested.cable.insulation_diameter == 4.4e-3


def test_model_carries_limits_rating_and_the_connection_asked_for(
    fitted: Any, values: dict[str, float]
) -> None:
    def section(fuse: Any, connection: Any) -> float:
        cable = model_of_parameters(fuse, fitted.family, values, connection).left.cable
        assert cable
        return float(cable.section)

    fuse = fitted.definition
    model = model_of_parameters(fuse, fitted.family, values)
    assert (model.rated_current, model.name) == (40.0, "known-40A")
    assert (model.limits.blade_c, model.limits.cable_insulation_c) == (130.0, 105.0)
    assert (section(fuse, "test"), section(fuse, "installed")) == (6e-6, 10e-6)
    assert section(replace(fuse, installed_connection=None), "installed") == 6e-6
    neither = replace(fuse, installed_connection=None, test_connection=None)
    assert section(neither, "test") == assumed_section(40.0)
    assert [n.code for n in connection_notes(neither)] == [
        "test-connection-assumed", "installed-connection-assumed",
    ]  # fmt: skip
    assert connection_notes(fuse) == ()
