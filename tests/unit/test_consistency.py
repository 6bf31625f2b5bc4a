"""Definitions that contradict themselves, and conditions they do not cover."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from fusetherm.errors import FileError
from fusetherm.fuse.consistency import check_range, helpful_currents
from fusetherm.fuse.definition import Definition, loads

DATA = Path(__file__).parents[1] / "data"
EXAMPLE = (DATA / "example_high_current_blade_40A.toml").read_text(encoding="utf-8")
ALLOY = """
[metal]
name = "my-alloy"
density_kg_per_m3 = 7100
solidus_C = 380
liquidus_C = 390
latent_heat_J_per_kg = 1.1e5
resistivity_ohm_m = 6.2e-8
temperature_coefficient_per_K = 0.0035
specific_heat_J_per_kgK = 390
source = "invented"
"""
WITH_ALLOY = EXAMPLE.replace('metal = "zinc"', 'metal = "my-alloy"') + ALLOY


def changed(old: str, new: str, text: str = EXAMPLE) -> Definition:
    """The example with one text exchanged."""
    assert old in text, old
    return loads(text.replace(old, new, 1), path="fuse.toml")


def fault(old: str, new: str, text: str = EXAMPLE) -> FileError:
    """Its refusal."""
    with pytest.raises(FileError) as caught:
        changed(old, new, text)
    assert caught.value.path == "fuse.toml"
    assert caught.value.expected
    return caught.value


def line_of(needle: str, text: str = EXAMPLE) -> int:
    return text[: text.index(needle)].count("\n") + 1


def codes(fuse: Definition) -> list[str]:
    return [note.code for note in fuse.notes]


def test_example_is_without_remark() -> None:
    assert loads(EXAMPLE).notes == ()
    assert loads(WITH_ALLOY).notes == ()


def test_bad_input_78_melting_point_below_ambient() -> None:
    error = fault("solidus_C = 380", "solidus_C = 20", WITH_ALLOY)
    assert (error.code, error.key) == ("melting-below-ambient", "metal.solidus_C")
    assert error.line == line_of("solidus_C", WITH_ALLOY)
    error = fault('time_kind = "pre-arcing"', 'time_kind = "operating"\nambient_C = 450\n#')
    assert error.code == "toml-syntax"  # ambient_C twice: the test below gives it once
    start = EXAMPLE.index("[curve]")
    text = EXAMPLE[:start] + EXAMPLE[start:].replace("ambient_C = 23", "ambient_C = 450", 1)
    with pytest.raises(FileError, match=r"zinc melts at 419\.5 °C, below an ambient of 450") as own:
        loads(text)
    assert own.value.key == "curve.ambient_C"


def test_bad_input_79_minimum_above_maximum() -> None:
    error = fault("max_time_s = 0.36", "max_time_s = 0.15")
    assert error.code == "minimum-above-maximum"
    assert error.key == "curve.point[8]"
    error = fault("min_time_s = 0.20", "min_time_s = 0.40")
    assert error.code == "minimum-above-maximum"


@pytest.mark.parametrize(("old", "new"), [("= 2.7", "= 8.8"), ("= 28", "= 280"), ("= 7.6", "= 29")])
def test_bad_input_80_curve_not_monotone(old: str, new: str) -> None:
    error = fault(f"time_s {old}", f"time_s {new}")
    assert error.code == "curve-not-monotone"
    assert error.key.endswith("time_s")
    assert error.line is not None


def test_bad_input_80_the_order_in_the_file_is_free() -> None:
    first = "[[curve.point]]\ncurrent_A = 60\ntime_s = 130\n"
    moved = EXAMPLE.replace(first, "").replace("[test_connection] ", f"{first}\n[test_connection] ")
    assert moved.index("current_A = 60") > moved.index("current_A = 400")
    assert loads(moved).notes == ()


def test_bad_input_81_opens_below_rating() -> None:
    fuse = changed("current_A = 54 ", "current_A = 39 ")
    # so little current through so little resistance could not melt it either
    assert codes(fuse) == ["opens-below-rating", "below-melting-voltage"]
    assert "39 A after 600 s" in fuse.notes[0].text


def test_bad_input_82_too_few_points() -> None:
    start, end = EXAMPLE.index("[[curve.point]]\ncurrent_A = 80"), EXAMPLE.index("[test_conn")
    error = fault(EXAMPLE[start:end], "")
    assert (error.code, error.line) == ("too-few-points", line_of("[curve]"))
    assert error.found.startswith("3 currents")
    assert "at least 4" in error.expected
    assert "add 1 more (near 240 A" in error.mend


def test_helpful_currents_lie_where_none_are() -> None:
    assert helpful_currents([], 40.0) == (54.0, 80.0, 140.0, 240.0)
    assert helpful_currents([50.0, 60.0], 40.0) == (140.0, 240.0)
    assert helpful_currents([54.0, 250.0, 150.0], 40.0) == (80.0,)
    assert helpful_currents([54.0, 80.0, 140.0, 240.0], 40.0) == ()


def test_bad_input_82_a_carried_current_is_no_point_to_fit() -> None:
    start, end = EXAMPLE.index("[[curve.point]]\ncurrent_A = 80"), EXAMPLE.index("[test_conn")
    carried = "[[curve.point]]\ncurrent_A = 44\nmin_time_s = 360000\n"
    assert fault(EXAMPLE[start:end], carried).code == "too-few-points"


def test_bad_input_83_conflicting_duplicates() -> None:
    error = fault("current_A = 60\ntime_s = 130", "current_A = 70\ntime_s = 130")
    assert error.code == "conflicting-duplicates"
    assert "70 A has 130 s and 28 s" in error.found
    assert error.key == "curve.point[3]"


def test_bad_input_83_equal_duplicates_are_remarked() -> None:
    fuse = changed("current_A = 60\ntime_s = 130", "current_A = 70\ntime_s = 28")
    assert codes(fuse) == ["duplicate-point"]


def test_bad_input_85_latent_heat_zero() -> None:
    fuse = changed("latent_heat_J_per_kg = 1.1e5", "latent_heat_J_per_kg = 0", WITH_ALLOY)
    assert codes(fuse) == ["latent-heat-zero"]
    with pytest.raises(FileError) as caught:
        changed("latent_heat_J_per_kg = 1.1e5", "latent_heat_J_per_kg = -1", WITH_ALLOY)
    assert caught.value.code == "not-positive"


def test_bad_input_86_hot_resistance_below_cold() -> None:
    fuse = changed("voltage_drop_mV = 72.5", "voltage_drop_mV = 45")
    assert codes(fuse) == ["hot-resistance-below-cold"]
    elsewhere = EXAMPLE.replace('measured_at = "blades" ', 'measured_at = "clips" ', 1)
    assert codes(changed("voltage_drop_mV = 72.5", "voltage_drop_mV = 45", elsewhere)) == []
    falling = changed("coefficient_per_K = 0.0035", "coefficient_per_K = -1e-4", WITH_ALLOY)
    # A resistance that falls also bounds the drop so low that nothing melts.
    assert codes(falling)[0] == "hot-resistance-below-cold"


def test_bad_input_89_kelvin_typed_for_celsius() -> None:
    hot = loads(EXAMPLE.replace("ambient_C = 23", "ambient_C = 296"))
    assert "ambient-looks-like-kelvin" in codes(hot)


def test_bad_input_92_outside_the_fitted_range() -> None:
    fuse = loads(EXAMPLE)
    assert check_range(fuse, current=[54.0, 400.0], time=[0.086, 600.0, math.inf]) == ()
    current, time = check_range(fuse, current=np.array([100.0, 45.0]), time=1000.0)
    assert (current.code, time.code) == ("outside-fitted-range", "outside-fitted-range")
    assert "45 A lies outside the curve fitted (54 A to 400 A)" in current.text
    assert "1000 s" in time.text
    start, end = EXAMPLE.index("[curve]"), EXAMPLE.index("[test_connection]")
    without = changed(EXAMPLE[start:end], "")
    assert [note.code for note in check_range(without, current=50.0)] == ["no-curve"]


def test_curve_or_connection_absent_is_remarked() -> None:
    start, end = EXAMPLE.index("[curve]"), EXAMPLE.index("[test_connection]")
    assert codes(changed(EXAMPLE[start:end], "")) == ["no-curve"]
    start, end = EXAMPLE.index("[test_connection]"), EXAMPLE.index("[installed_connection]")
    assert codes(changed(EXAMPLE[start:end], "")) == ["no-test-connection"]


def test_operating_times_below_arcing_are_remarked() -> None:
    short = EXAMPLE.replace("time_s = 0.086", "time_s = 0.009")
    assert codes(loads(short)) == []
    assert codes(changed('"pre-arcing"', '"operating"', short)) == ["arcing-in-curve"]


def test_drop_too_low_to_melt_is_remarked() -> None:
    # The millivolt ceiling: zinc of any shape between ends at 23 °C needs 196 mV to melt
    # (Kohlrausch relation with handbook k and rho). 54 A through .8 mohm, doubled by the
    # heat, stay well below.
    low = EXAMPLE.replace("= 1.24", "= 0.80").replace("terminal_rise_K = 75", "terminal_rise_K = 5")
    fuse = loads(low)
    assert codes(fuse) == ["below-melting-voltage"]
    assert "181" not in fuse.notes[0].text


@pytest.mark.parametrize(
    ("old", "new", "code", "key"),
    [
        ('"zinc-strip"', '"zinc-stripe"', "family-unknown", "family"),
        ('size = "high', 'size = "hihg', "size-unknown", "size"),
        ('gates = ["iso8820-3-high', 'gates = ["iso8820-3-hihg', "gates-unknown", "gates[1]"),
        ("-current-blade\"]", "-current-blade\", \"iec60127-2-sheet-1\"]", "gates-not-applicable",
         "gates[2]"),
        ('metal = "zinc"', 'metal = "zink"', "metal-unknown", "geometry.metal"),
        ("thickness_mm = 0.5", "width_mm = 2\nnotch_width_mm = 3", "geometry-contradicts",
         "geometry.notch_width_mm"),
        ("thickness_mm = 0.5", "width_mm = 2\nbore_mm = 1", "geometry-contradicts",
         "geometry.width_mm"),
        ("thickness_mm = 0.5", "notch_length_mm = 40", "geometry-contradicts",
         "geometry.notch_length_mm"),
        ("[limits]", "[[geometry.section]]\nlength_mm = 3\nwidth_mm = 2\n[limits]",
         "geometry-contradicts", "geometry.section[1]"),
        ("cable_section_mm2 = 6\ncable_length_m = 1.5", "cable_length_m = 1.5", "missing-key",
         "installed_connection"),
        ("time_s = 130", "", "missing-key", "curve.point[2]"),
    ],
)  # fmt: skip
def test_other_contradictions(old: str, new: str, code: str, key: str) -> None:
    error = fault(old, new)
    assert (error.code, error.key) == (code, key)
    assert error.line is not None


def test_liquidus_below_solidus() -> None:
    error = fault("liquidus_C = 390", "liquidus_C = 370", WITH_ALLOY)
    assert (error.code, error.key) == ("melting-range-order", "metal.liquidus_C")


def test_sections_that_do_not_add_up_are_remarked() -> None:
    section = "[[geometry.section]]\nlength_mm = 10\nwidth_mm = 2\nthickness_mm = 0.5\n"
    assert codes(changed("[limits]", f"{section}\n[limits]")) == ["lengths-differ"]
    assert codes(changed("[limits]", f"{section.replace('10', '28')}\n[limits]")) == []
