"""physics/wire_laws.py: the handbook laws against each other."""

from __future__ import annotations

import doctest

import pytest

from fusetherm.physics import wire_laws
from fusetherm.physics.metals import metal, specific_action
from fusetherm.physics.wire_laws import (
    CABLE_CONDUCTORS,
    PREECE_CONSTANTS,
    adiabatic_k,
    insulated_cable_action,
    onderdonk_action,
    preece_current,
    preece_diameter,
)


def test_docstring_examples() -> None:
    tried = doctest.testmod(wire_laws)
    assert tried.attempted > 0
    assert tried.failed == 0


@pytest.mark.parametrize("constant", PREECE_CONSTANTS.values(), ids=PREECE_CONSTANTS)
def test_preece_there_and_back(constant: float) -> None:
    assert preece_diameter(preece_current(0.7e-3, constant), constant) == pytest.approx(0.7e-3)


def test_adiabatic_laws_of_copper_agree() -> None:
    # The formulas stand for cable copper (2.7 % more resistivity than the pure metal of the
    # tables, less density), so they lie below the tables, by at most 8 %.
    start, end = 348.15, 423.15
    tables = specific_action(metal("copper"), start, end)
    for law in (
        insulated_cable_action(start, end),
        onderdonk_action(start, end),
        adiabatic_k(CABLE_CONDUCTORS["copper"], start, end) ** 2,
    ):
        assert 0.92 * tables < law < tables


def test_adiabatic_laws_of_aluminium_agree() -> None:
    start, end = 348.15, 423.15
    tables = specific_action(metal("aluminium"), start, end)
    assert insulated_cable_action(start, end, "aluminium") == pytest.approx(tables, rel=0.1)
    assert adiabatic_k(CABLE_CONDUCTORS["aluminium"], start, end) ** 2 == pytest.approx(
        tables, rel=0.1
    )


def test_actions_add_up() -> None:
    parts = onderdonk_action(298.15, 700.0) + onderdonk_action(700.0)
    assert onderdonk_action(298.15) == pytest.approx(parts, rel=1e-12)
    k2 = [
        adiabatic_k(CABLE_CONDUCTORS["lead"], a, b) ** 2
        for a, b in ((300.0, 350.0), (350.0, 400.0), (300.0, 400.0))
    ]
    assert k2[2] == pytest.approx(k2[0] + k2[1], rel=1e-12)
