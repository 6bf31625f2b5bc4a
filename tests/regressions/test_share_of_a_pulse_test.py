"""A share of 20 percent in a file is a fifth of the melting I²t, not a five-hundredth."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

import fusetherm as ft
from fusetherm.answers.cold_pulses import law_of

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"
TESTED = """
[[pulse_test]]
share_of_melting_i2t_percent = 20
pulses = 100000
duration_s = 0.01
source = "invented"
"""


def test_a_fifth_of_the_melting_i2t_is_a_fifth(tmp_path: Path) -> None:
    file = tmp_path / "tested.toml"
    file.write_text(EXAMPLE.read_text(encoding="utf-8") + TESTED, encoding="utf-8")
    # without a published melting I²t that of the model is taken
    definition = replace(ft.load_fuse(file), melting_integrals=())
    wire = ft.FuseModel(ft.round_wire(ft.metal("copper"), 3e-4, 0.05))
    law = law_of(wire, definition, 32, 0)
    # Onderdonk's equation (from memory): I²t goes with ln(1 + rise / (234 + start)), copper melts
    # at 1083 degC; its heat of melting is not in it, nor does heat flow away in 10 ms.
    melt = math.log(1.0 + 1060.0 / 257.0)
    rise = 257.0 * math.expm1(0.2 * melt)
    assert law.pivot_swing == pytest.approx(rise, rel=0.15)
    assert law.median_cycles == pytest.approx(1e5, rel=0.1)
