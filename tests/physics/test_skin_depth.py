"""Chopped currents above the skin-depth limit are noted.

Skin depth of copper at 100 kHz: .21 mm (handbook value, from memory).
"""

import pytest

import fusetherm as ft
from fusetherm.current.shapes import chopped


@pytest.mark.parametrize(
    ("diameter", "frequency", "noted"),
    [(1e-3, 100e3, True), (0.40e-3, 100e3, False), (0.44e-3, 100e3, True), (1e-3, 10e3, False)],
)
def test_skin_depth_is_noted(diameter: float, frequency: float, noted: bool) -> None:
    model = ft.FuseModel(ft.round_wire(ft.metal("copper"), diameter, 20e-3))
    run = ft.simulate(model, chopped(5.0, 0.5, frequency, 0.01))
    assert ("skin-depth" in {note.code for note in run.notes}) is noted
