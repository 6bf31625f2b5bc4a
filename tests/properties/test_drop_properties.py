"""Reading with a meter: more millivolts are never less current, and it leads back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fusetherm.answers.drop import drop
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.metals import metal
from fusetherm.solver.steady import minimum_fusing_current


@settings(max_examples=15)
@given(
    name=st.sampled_from(["zinc", "copper", "silver", "tin"]),
    diameter=st.floats(0.1e-3, 1e-3),
    ambient_c=st.floats(-40.0, 125.0),
    shares=st.lists(st.floats(0.01, 0.98), min_size=2, max_size=5, unique=True),
)
def test_more_millivolts_more_current(
    name: str, diameter: float, ambient_c: float, shares: list[float]
) -> None:
    wire = FuseModel(round_wire(metal(name), diameter, 20e-3))
    least = minimum_fusing_current(wire, ambient_c=ambient_c)
    amps = least * np.array(sorted(shares))
    table = drop(wire, currents=amps, ambient_c=ambient_c)
    assert np.all(np.diff(table.voltage) > 0.0)
    assert np.all(table.voltage < table.melting_voltage)
    back = drop(wire, voltages=table.voltage, ambient_c=ambient_c)
    assert back.current == pytest.approx(amps, rel=1e-7)
    assert np.all(table.ceiling_c >= table.hot_spot_c - 0.05)
