"""Nuisances: each changes what it says, by as much, and nothing at 0."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fusetherm.calibration.nuisances import (
    INSTALLED_CABLE,
    NUISANCES,
    SCORES,
    TEST_CABLE,
    altered,
)  # fmt: skip
from fusetherm.fuse.element import Element, RoundSection, Spot
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.dissolution import spot_law
from fusetherm.physics.metals import metal

NAMES = [n.name for n in NUISANCES]
SHAPE = "taper of the notch, or onset of a spot"


def one(model: Any, name: str, score: float) -> Any:
    return NUISANCES[NAMES.index(name)].change(model, score)


@pytest.mark.parametrize("nuisance", NUISANCES, ids=lambda n: n.name)
def test_each_changes_the_model_and_both_ways(published: Any, nuisance: Any) -> None:
    model = published.truth
    up, down = nuisance.change(model, 1.0), nuisance.change(model, -1.0)
    assert up != model
    one_sided = nuisance.name in (SHAPE, "radiation to the body")
    assert (up != down) != (nuisance.name == "radiation to the body")
    if not one_sided and nuisance.name != "blade to body":
        assert nuisance.change(model, 0.0).element.mesh(16).volume.sum() == pytest.approx(
            model.element.mesh(16).volume.sum()
        )


def test_properties_move_where_they_say(published: Any) -> None:
    metal = published.truth.element.metal
    bent = one(published.truth, "resistivity near melting", 1.0).element.metal
    assert bent.resistivity(293.15) == pytest.approx(metal.resistivity(293.15), rel=1e-3)
    assert bent.resistivity(metal.solidus_k) == pytest.approx(
        1.0202 * metal.resistivity(metal.solidus_k), rel=2e-3
    )
    fused = one(published.truth, "heat of melting", -1.0).element.metal
    assert fused.latent_heat == pytest.approx(metal.latent_heat * np.exp(-0.03))
    liquid = one(published.truth, "resistivity of the liquid", 1.0).element.metal
    assert liquid.liquid_resistivity_ratio > metal.liquid_resistivity_ratio > 1.0


def test_a_taper_keeps_length_and_ends(published: Any) -> None:
    element = published.truth.element
    tapered = one(published.truth, SHAPE, 2.0).element
    assert len(tapered.sections) == 5
    assert tapered.length == pytest.approx(element.length)
    assert tapered.narrowest() == pytest.approx(element.narrowest())
    assert sum(s.length for s in tapered.sections[1:4]) == pytest.approx(element.sections[1].length)
    for score in (-2.0, 0.0, 0.2):
        assert one(published.truth, SHAPE, score) == published.truth


def test_a_spot_begins_to_dissolve_elsewhere_and_keeps_its_sections() -> None:
    element = Element(
        metal("silver"),
        (RoundSection(5e-3, 1e-4), RoundSection(2e-3, 1e-4), RoundSection(5e-3, 1e-4)),
        spot=Spot(1, spot_law(metal("silver"))),
    )
    moved = one(FuseModel(element), SHAPE, -2.0).element
    assert moved.sections == element.sections
    assert moved.spot.dissolution.onset_k == pytest.approx(494.0 - 2.0 * 3.0)


def test_uneven_contacts_keep_their_product(published: Any) -> None:
    sides = one(published.truth, "uneven contacts", 1.0)
    product = sides.left.contact.resistance * sides.right.contact.resistance
    assert product == pytest.approx(published.truth.left.contact.resistance**2)
    assert sides.right.contact.resistance > 1.5 * sides.left.contact.resistance


@pytest.mark.parametrize(("connection", "moves"), [("test", False), ("installed", True)])
def test_only_cables_nobody_states_are_moved(published: Any, connection: Any, moves: bool) -> None:
    scores = np.zeros(SCORES)
    scores[[TEST_CABLE, INSTALLED_CABLE]] = 1.0
    fuse = published.definition
    plain = altered(published.truth, np.zeros(SCORES), fuse, connection)
    assert altered(published.truth, scores, fuse, connection) == plain
    model = replace(
        published.truth,
        left=replace(published.truth.left, cable=replace(
            published.truth.left.cable, insulation_diameter=None)),
    )  # fmt: skip
    silent = replace(fuse, installed_connection=None)
    moved = altered(model, scores, silent, connection).left.cable
    assert (moved.section != model.left.cable.section) == moves
