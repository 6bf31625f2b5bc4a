"""Selectivity: a thicker upstream wire, or a smaller allowance, never makes it worse."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fusetherm.answers.selectivity import selectivity
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.metals import metal

_ORDER = {"neither": 2, "selective": 2, "overlap": 1, "upstream": 0}


@settings(max_examples=6)
@given(
    ratio=st.floats(0.9, 2.0),
    more=st.floats(1.0, 1.5),
    allowance=st.floats(1.0, 5.0),
)
def test_a_thicker_upstream_wire_or_a_smaller_allowance_never_makes_it_worse(
    ratio: float, more: float, allowance: float
) -> None:
    def wire(diameter: float) -> FuseModel:
        return FuseModel(round_wire(metal("silver"), diameter, 15e-3))

    down = wire(0.2e-3)
    asked = ((ratio, allowance), (ratio * more, allowance), (ratio, 1.0 + 0.5 * (allowance - 1.0)))
    found = [
        selectivity(wire(0.2e-3 * r), down, prospective=800.0, arcing_allowance=a) for r, a in asked
    ]
    ranks = np.array([[_ORDER[s] for s in one.states] for one in found])
    assert np.all(ranks[1:] >= ranks[0])
