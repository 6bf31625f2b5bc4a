"""Conductors: sections and gauges, insulation, steady currents, heating, damage."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fusetherm.conductor.damage import damage_curve, heating, hottest_through, start_temperature
from fusetherm.conductor.insulation import INSULATIONS, Insulation, insulation
from fusetherm.conductor.sections import (
    IEC_60228,
    conductor_resistance,
    gauge_diameter,
    gauge_section,
    read_section,
)
from fusetherm.conductor.wire import (
    Wire,
    continuous_current,
    steady_current,
    steady_temperature,
    thermal,
)
from fusetherm.errors import InputError
from fusetherm.physics.fins import Fin, fin_steady, fin_transient

PVC = insulation("pvc-70")


def wire(section_mm2: float = 2.5, **more: object) -> Wire:
    values = {"insulation": PVC, "bundle": 1} | more
    return Wire(section=section_mm2 * 1e-6, **values)  # type: ignore[arg-type]


# sections ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("section", "rigid", "flexible", "tinned"),
    [
        (0.5, 36.0, 39.0, 40.1),
        (1.5, 12.1, 13.3, 13.7),
        (2.5, 7.41, 7.98, 8.21),
        (10.0, 1.83, 1.91, 1.95),
        (35.0, 0.524, 0.554, 0.565),
        (95.0, 0.193, 0.206, 0.210),
    ],
)
def test_resistances_are_those_of_iec_60228(
    section: float, rigid: float, flexible: float, tinned: float
) -> None:
    # IEC 60228 via mycableengineering.com and etechnik-synergie.com, read
    for make, expected in (("rigid", rigid), ("flexible", flexible), ("tinned", tinned)):
        got = 1e3 * conductor_resistance(section * 1e-6, "copper", make)  # type: ignore[arg-type]
        assert got == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("gauge", "diameter_mm", "section_mm2", "ohm_per_km"),
    [
        (8, 3.2636432058836333, 8.365564060081022, 2.0609488943215406),
        (14, 1.627726633791505, 2.080907717098377, 8.285326570868262),
        (30, 0.2546390029766585, 0.05092601946355177, 338.54992362675324),
    ],
)
def test_gauges_are_those_of_astm_b258(
    gauge: int, diameter_mm: float, section_mm2: float, ohm_per_km: float
) -> None:
    # d = 0.127 mm * 92^((36 - n)/39), rho = 0.017241 ohm mm²/m, solid, computed apart
    assert 1e3 * gauge_diameter(gauge) == pytest.approx(diameter_mm, rel=1e-9)
    assert 1e6 * gauge_section(gauge) == pytest.approx(section_mm2, rel=1e-9)
    solid = conductor_resistance(gauge_section(gauge), gauge=gauge) / 1.02
    assert 1e3 * solid == pytest.approx(ohm_per_km, rel=1e-9)


def test_no_standard_conductor_is_better_than_its_metal() -> None:
    for (material, make), table in IEC_60228.items():
        bulk = {"copper": 17.241, "aluminium": 28.264}[material]
        sections = np.array(list(table))
        ratio = np.array(list(table.values())) * sections / bulk
        assert np.all(ratio > 1.0), (material, make)
        # tin is a poorer conductor; below .5 mm² the names of sections are rounded coarsely
        most = 1.2 if make == "tinned" else 1.17
        assert np.all(ratio[sections >= 0.5] < most), (material, make)
        assert np.all(ratio < 1.23), (material, make)
        assert np.all(np.diff(list(table.values())) < 0.0)


@pytest.mark.parametrize(
    ("text", "section_mm2", "gauge"),
    [("2.5 mm2", 2.5, None), ("0.75mm²", 0.75, None), ("AWG 10", 5.26115, 10),
     ("14 awg", 2.08091, 14), ("AWG 2/0", 67.43, -1)],
)  # fmt: skip
def test_sections_are_read_with_their_unit(
    text: str, section_mm2: float, gauge: int | None
) -> None:
    section, found = read_section(text)
    assert 1e6 * section == pytest.approx(section_mm2, rel=1e-4)
    assert found == gauge


@pytest.mark.parametrize(
    ("text", "code"),
    [("2.5", "section-unreadable"), ("mm2", "section-unreadable"), ("14 mm2", "section-or-gauge"),
     ("AWG 2.5", "section-or-gauge"), ("AWG 99", "section-or-gauge"),
     ("25000 mm2", "section-outside")],
)  # fmt: skip
def test_a_gauge_is_not_taken_for_a_section(text: str, code: str) -> None:
    with pytest.raises(InputError) as refused:
        read_section(text)
    assert refused.value.code == code


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"section_mm2": 2.5e6}, "section-outside"),
        ({"bundle": 0}, "bundle-count"),
        ({"length": -1.0}, "not-positive"),
        ({"material": "aluminium"}, "conductor-make"),
        ({"outer_diameter": 1e-3}, "insulation-inside-copper"),
    ],
)
def test_impossible_wires_are_refused(values: dict[str, object], code: str) -> None:
    with pytest.raises(InputError) as refused:
        wire(**values)  # type: ignore[arg-type]
    assert refused.value.code == code


# insulation --------------------------------------------------------------------------------


def test_limits_fall_with_time_and_each_has_a_source() -> None:
    for kind in INSULATIONS.values():
        rungs = kind.rungs
        assert [r.after for r in rungs] == [0.0, *(r.until for r in rungs[:-1])]
        assert all(a.limit_c >= b.limit_c for a, b in pairwise(rungs))
        assert rungs[-1].limit_c == kind.class_c
        assert all(r.source for r in rungs)


def test_classes_are_those_of_iso_6722() -> None:
    # ISO 6722 / ISO 19642-1, from memory: classes A to H
    classes = [INSULATIONS[f"iso-class-{letter}"].class_c for letter in "abcdefgh"]
    assert classes == [85, 100, 125, 150, 175, 200, 225, 250]


def test_unknown_insulation_names_the_nearest() -> None:
    with pytest.raises(InputError, match="did you mean pvc-70"):
        insulation("pvc70")
    with pytest.raises(InputError) as refused:
        Insulation("odd", 100.0, 90.0, "")
    assert refused.value.code == "insulation-limits"


@pytest.mark.parametrize(
    ("name", "start_c", "material", "expected"),
    [
        ("pvc-70", 70.0, "copper", 115.0),
        ("xlpe-90", 90.0, "copper", 143.0),
        ("xlpe-90", 90.0, "aluminium", 94.0),
        ("rubber-60", 60.0, "aluminium", 93.0),
        ("pvc-70", 30.0, "copper", 143.0),
    ],
)
def test_k_follows_from_the_start_and_the_limit(
    name: str, start_c: float, material: str, expected: float
) -> None:
    # IEC 60364-4-43 and -5-54: printed values
    make = "rigid" if material == "aluminium" else "flexible"
    one = wire(25.0, insulation=insulation(name), material=material, make=make)
    assert 1e-6 * one.k(start_c) == pytest.approx(expected, rel=6e-3)


def test_a_hotter_start_leaves_a_smaller_k() -> None:
    # 226 sqrt(ln((234.5 + 160)/(234.5 + start))), the formula of IEC 60364-5-54, computed apart
    for name, expected in (("iso-class-a", 103.78), ("pvc-105", 87.56)):
        one = wire(insulation=insulation(name))
        assert 1e-6 * one.k(one.insulation.class_c) == pytest.approx(expected, rel=3e-3)
    assert wire().k(170.0) == 0.0


# steady ------------------------------------------------------------------------------------


def plain(length: float | None = None, **more: object) -> Wire:
    """A wire with a fixed film and hardly any insulation, for closed forms."""
    thin = Insulation("thin", 100.0, 160.0, "invented", 1e-2, 1e3)
    return wire(
        0.5, insulation=thin, film_coefficient=30.0, length=length, outer_diameter=1e-3, **more
    )


def fin_of(one: Wire, ambient_c: float) -> Fin:
    numbers = thermal(one, ambient_c)
    return Fin(
        area=one.section,
        perimeter=math.pi * one.shape.outer_diameter,
        half_length=numbers.half_length,
        conductivity=391.0,
        resistivity=one.resistance(ambient_c) * one.section,
        temperature_coefficient=1.0 / (numbers.beta + ambient_c),
        film_coefficient=30.0,
    )


@pytest.mark.parametrize("length", [0.06, 0.2, 0.6])
def test_between_cooled_ends_it_is_the_fin_of_the_closed_form(length: float) -> None:
    one = plain(length)
    fin = fin_of(one, 30.0)
    current = steady_current(one, 80.0, 30.0)
    # second order in 32 cells
    assert fin_steady(fin, current).centre == pytest.approx(50.0, rel=1e-3)
    assert steady_temperature(one, current, 30.0) == pytest.approx(80.0, abs=1e-5)


def test_its_heating_is_that_of_the_fin_too() -> None:
    one = plain(0.1)
    fin = fin_of(one, 30.0)
    for time in (1.0, 5.0, 20.0):
        solution, _ = heating(one, 20.0, ambient_c=30.0, until=time)
        centre, _ = fin_transient(fin, 20.0, time, one.conductor.volumetric_heat)
        assert solution.y[0, -1] - 30.0 == pytest.approx(centre, rel=2e-3)


def test_a_long_wire_carries_least_and_a_bundle_less() -> None:
    alone = continuous_current(wire(), 30.0)
    short = [continuous_current(wire(length=length), 30.0) for length in (0.1, 0.3, 1.0, 30.0)]
    assert all(a > b for a, b in pairwise(short))
    assert short[-1] == pytest.approx(alone, rel=1e-6)
    # IEC 60364-5-52, factors for bunched circuits, from memory
    assert continuous_current(wire(bundle=3), 30.0) / alone == pytest.approx(0.7, abs=0.02)
    assert continuous_current(wire(bundle=10), 30.0) < continuous_current(wire(bundle=9), 30.0)


@pytest.mark.parametrize(
    ("section", "table"), [(1.5, 17.5), (2.5, 24.0), (4.0, 32.0), (6.0, 41.0), (10.0, 57.0)]
)
def test_in_air_it_carries_about_what_the_tables_allow(section: float, table: float) -> None:
    # IEC 60364-5-52, two loaded conductors of PVC in conduit, 30 °C, read in a stored table;
    # a pair in free air of thinner insulation lies near it
    pair = continuous_current(wire(section, make="rigid", bundle=2), 30.0)
    alone = continuous_current(wire(section, make="rigid"), 30.0)
    assert 0.85 * table < pair < table * 1.1 < 1.3 * table
    assert table < alone


def test_an_ambient_above_the_class_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        continuous_current(wire(), 85.0)
    assert refused.value.code == "ambient-above-insulation"


# damage ------------------------------------------------------------------------------------


def test_short_times_are_adiabatic() -> None:
    # S = I sqrt(t)/k: 2.5 mm² of copper in PVC at 1 kA, .0827 s, IEC 60364-4-43, k = 115; a
    # conductor whose resistance is that of its section alone
    one = wire(gauge=99)
    found = damage_curve(one, [1000.0], ambient_c=69.9999, load=0.0)
    assert found.start_c == pytest.approx(70.0, abs=1e-3)
    # 2 % for the lay of the strands make it sooner, heat into the insulation later
    assert found.time[0] == pytest.approx(0.08265625, rel=0.03)
    standard = damage_curve(wire(), [1000.0], ambient_c=69.9999)
    ratio = 17.241e-9 / 2.5e-6 / conductor_resistance(2.5e-6)
    assert standard.time[0] == pytest.approx(0.08265625 * ratio, rel=0.03)


def test_damage_is_the_first_limit_passed() -> None:
    one = wire()
    currents = np.geomspace(20.0, 3000.0, 25)
    found = damage_curve(one, currents, ambient_c=30.0, load=15.0)
    assert 30.0 < found.start_c < 70.0
    there = np.isfinite(found.time)
    assert np.array_equal(there, currents > found.continuous)
    assert np.all(np.diff(found.time[there]) <= 0.0)
    most = one.withstand(found.start_c) * (1.0 + 1e-9)
    assert np.all((found.time * currents**2)[found.time < 5.0] <= most)
    rungs = one.insulation.rungs
    for current, time, rung in zip(currents, found.time, found.rung, strict=True):
        if rung < 0:
            continue
        solution, _ = heating(
            one, float(current), ambient_c=30.0, start_c=found.start_c, until=time
        )
        hot = solution.y[0, -1]
        limit = rungs[rung]
        if limit.after < time < limit.until and current**2 * time < 0.999 * one.withstand(
            found.start_c
        ):
            assert hot == pytest.approx(limit.limit_c, abs=0.01)


def test_just_above_its_limit_a_wire_lasts_days() -> None:
    one = wire()
    edge = continuous_current(one, 30.0)
    found = damage_curve(one, [1.01 * edge, 1.1 * edge, 1.5 * edge], ambient_c=30.0)
    assert found.rung == (3, 3, 1) or found.rung[0] == 3
    assert found.time[0] == pytest.approx(240.0 * 3600.0)


@settings(max_examples=15)
@given(
    section=st.floats(0.3, 50.0),
    larger=st.floats(1.05, 3.0),
    current=st.floats(5.0, 2000.0),
    ambient_c=st.floats(-20.0, 60.0),
)
def test_more_metal_or_a_cooler_place_never_shortens_it(
    section: float, larger: float, current: float, ambient_c: float
) -> None:
    def time(of: Wire, at: float) -> float:
        return float(damage_curve(of, [current], ambient_c=at).time[0])

    base = time(wire(section), ambient_c)
    assert time(wire(section * larger), ambient_c) >= base * (1.0 - 1e-4)
    assert time(wire(section), ambient_c - 15.0) >= base * (1.0 - 1e-4)
    assert time(wire(section, bundle=4), ambient_c) <= base * (1.0 + 1e-4)


def test_a_course_of_current_is_followed() -> None:
    one = wire()
    time, hot = hottest_through(
        one, lambda t: 60.0 if t < 10.0 else 0.0, 100.0, ambient_c=30.0, start_c=30.0, max_step=0.5
    )
    peak = float(time[np.argmax(hot)])
    assert peak == pytest.approx(10.0, abs=0.6)
    steady = heating(one, 60.0, ambient_c=30.0, until=10.0)[0].y[0, -1]
    assert hot.max() == pytest.approx(steady, abs=0.5)
    assert hot[-1] < 0.5 * (hot.max() + 30.0)


def test_start_is_the_load_before_but_never_above_the_class() -> None:
    one = wire()
    assert start_temperature(one, 0.0, 30.0) == 30.0
    assert start_temperature(one, 500.0, 30.0) == 70.0
    with pytest.raises(InputError):
        start_temperature(one, -1.0, 30.0)
