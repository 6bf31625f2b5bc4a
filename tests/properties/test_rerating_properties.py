"""Re-rating: hotter never carries more, whatever the wire and its rating."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fusetherm.answers.rerating import rerate
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import Blade, FuseModel, Side, Surroundings
from fusetherm.physics.metals import metal
from fusetherm.solver.steady import minimum_fusing_current


@settings(max_examples=15)
@given(
    name=st.sampled_from(["zinc", "copper", "silver"]),
    diameter=st.floats(0.1e-3, 1e-3),
    share=st.floats(0.2, 0.95),
    ambients=st.lists(st.floats(-40.0, 125.0), min_size=2, max_size=5, unique=True),
)
def test_hotter_never_carries_more(
    name: str, diameter: float, share: float, ambients: list[float]
) -> None:
    ends = Side(Blade(heat_capacity=1e-6))
    around = Surroundings(film_coefficient=30.0)
    wire = FuseModel(round_wire(metal(name), diameter, 20e-3), None, ends, ends, around)
    rated = share * minimum_fusing_current(wire)
    found = rerate(wire, ambient_c=sorted(ambients), rated_current=rated)
    for values in (found.continuous_current, found.minimum_fusing_current):
        assert np.all(np.diff(values) <= 1e-6 * values[:-1])
    assert np.all(found.continuous_current < found.minimum_fusing_current)
