"""The steady branch of long wires ended one point early, and nothing said so.

On a flat profile rounding lifted cells above the melting point, where Newton's method has no
next move. The minimum fusing current was then that of the point before: 3 to 5 % low.
"""

from __future__ import annotations

from typing import Any

import pytest

from fusetherm import FuseModel, SolveError, metal, minimum_fusing_current, round_wire
from fusetherm.fuse.model import Surroundings
from fusetherm.solver import steady
from fusetherm.solver.network import build_network


def wire(diameter: float) -> FuseModel:
    around = Surroundings(natural_convection=True, emissivity=0.6)
    return FuseModel(round_wire(metal("copper"), diameter, 1.0), surroundings=around)


@pytest.mark.parametrize("cells", [64, 128, 256, 512])
@pytest.mark.parametrize("diameter", [0.1e-3, 0.5e-3, 1e-3, 2e-3])
def test_the_branch_reaches_the_melting_point(diameter: float, cells: int) -> None:
    network = build_network(wire(diameter), ambient_k=293.15, cells=cells)
    assert len(steady.branch_of(network, 293.15).squares) == steady.BRANCH_POINTS


@pytest.mark.parametrize(("diameter", "current"), [(0.5e-3, 24.742), (1e-3, 64.069)])
def test_minimum_fusing_current_of_an_endless_wire(diameter: float, current: float) -> None:
    # computed with ht 1.2.0 (Churchill and Chu) and CoolProp 8.0.0, as in the reference tests
    assert minimum_fusing_current(wire(diameter), ambient_c=20.0, cells=256) == pytest.approx(
        current, rel=1e-3
    )


def test_a_branch_that_is_lost_is_said_to_be(monkeypatch: pytest.MonkeyPatch) -> None:
    real, calls = steady.steady, []

    def lost(*arguments: Any) -> tuple[int, float]:
        calls.append(arguments)
        return (1, arguments[1]) if len(calls) == 5 else real(*arguments)

    monkeypatch.setattr(steady, "steady", lost)
    with pytest.raises(SolveError, match="after 4 of 16") as caught:
        minimum_fusing_current(wire(1e-3), ambient_c=20.0, cells=64)
    assert caught.value.code == "steady-branch-lost"
