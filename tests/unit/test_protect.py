"""Conductor protection: the late edge, the class, gaps, far ends, what is never protected."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fusetherm.answers import conductor
from fusetherm.answers.cautions import CAUTIONS, CONDUCTOR_CAUTIONS
from fusetherm.answers.conductor import protect
from fusetherm.answers.curve import time_current_curve
from fusetherm.answers.late import Arc, ClassCurve, LateCurve
from fusetherm.answers.protection import Protection
from fusetherm.conductor.circuit import Circuit
from fusetherm.conductor.insulation import insulation
from fusetherm.conductor.wire import Wire, continuous_current, steady_temperature
from fusetherm.current.capture import read_capture
from fusetherm.current.sampled import constant
from fusetherm.errors import InputError
from fusetherm.fuse.gates import gate_table, gg_gates

BLADE = "iso8820-3-high-current-blade"
BOAT = Circuit(
    strongest_voltage=29.0,
    strongest_resistance=0.035,
    weakest_voltage=21.0,
    weakest_resistance=0.06,
    length=5.0,
)


def wire(section_mm2: float, name: str = "pvc-105", bundle: int = 1, **more: Any) -> Wire:
    return Wire(section=section_mm2 * 1e-6, insulation=insulation(name), bundle=bundle, **more)


@pytest.fixture(scope="module")
def fit(fitted: Any) -> Any:
    """The known fuse with everything stated that a decision needs."""
    stated = replace(fitted.definition, breaking_capacity=1000.0, gates=(BLADE,))
    return replace(fitted, definition=stated)


@pytest.fixture(autouse=True, scope="module")
def _one_curve() -> Any:
    """Curves of the same fuse in the same place are computed once."""
    made: dict[Any, Any] = {}

    def kept(subject: Any, **more: Any) -> Any:
        key = (id(subject), *more.values())
        if key not in made:
            made[key] = (time_current_curve(subject, **more), subject)  # an id is not given anew
        return made[key][0]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(conductor, "time_current_curve", kept)
        yield


def ask(fit: Any, of: Wire, **more: Any) -> Protection:
    values = {"fuse_ambient_c": -10.0, "wire_ambient_c": 50.0, "circuit": BOAT,
              "arcing_allowance": 2.0} | more  # fmt: skip
    return protect(fit, of, **values)


# the late edge and the class ---------------------------------------------------------------


def test_late_edge_is_the_99_percent_quantile_of_the_band(fit: Any) -> None:
    curve = time_current_curve(fit, ambient_c=23.0)
    late = LateCurve.of(curve)
    for i in (3, 15, 30):
        # the upper edge of a two-sided 90 % band lies 1.645 spreads off, 99 % 2.326
        factor = float(curve.band_high[0, i]) ** (2.3263478740408408 / 1.6448536269514722)
        at = float(curve.current[i]) * factor
        assert late.at(at) == pytest.approx(float(curve.pre_arcing_time[0, i]), rel=0.02)
    assert late.least > curve.minimum_fusing_current[0] * curve.band_high[0, 0]
    assert math.isinf(late.at(0.999 * late.least))
    top = float(late.current[-1])
    assert late.at(2.0 * top) == pytest.approx(late.at(top) / 4.0)
    assert np.all(np.diff(late.time) <= 0.0)


def test_class_holds_between_its_gates_by_its_joule_integral() -> None:
    # ISO 8820-3 type E, from memory: 1800 s at 1.35, 60 s at 2, 7 s at 3.5, 1 s at 6 × rated
    found = ClassCurve.of((gate_table(BLADE),), 40.0, 0.9)
    assert found is not None
    assert found.least == pytest.approx(54.0)
    assert math.isinf(found.at(53.9))
    assert found.at(54.0) == pytest.approx(1800.0)
    assert found.at(79.99) == pytest.approx(1800.0 * (54.0 / 79.99) ** 2)
    assert found.at(80.0) == pytest.approx(60.0)
    assert found.at(480.0) == pytest.approx(0.25)
    colder = ClassCurve.of((gate_table(BLADE),), 40.0, 1.05)
    assert colder is not None
    assert colder.least == pytest.approx(54.0 * 1.05)
    # IEC 60269-1 gG, from memory: 1.6 × rated within the conventional time of 1 h
    gg = ClassCurve.of((gg_gates(40.0),), 40.0, 1.0)
    assert gg is not None
    assert (gg.least, gg.at(64.0)) == (64.0, 3600.0)
    assert ClassCurve.of((gate_table("iso8820-3-miniature-blade"),), 40.0, 1.0) is None


def test_the_arc_counts_only_where_it_is_short_and_stated() -> None:
    assert Arc().cleared(100.0, 0.01) == 0.01
    assert Arc(allowance=2.0).cleared(100.0, 0.01) == 0.02
    assert Arc(allowance=2.0).cleared(100.0, 0.5) == 0.6
    assert Arc(allowance=2.0).cleared(100.0, math.inf) == math.inf
    assert Arc(operating_i2t=500.0).cleared(100.0, 0.01) == 0.05
    assert Arc(operating_i2t=5.0).cleared(100.0, 0.01) == 0.01


# verdicts ----------------------------------------------------------------------------------


def test_an_ample_conductor_is_protected(fit: Any) -> None:
    found = ask(fit, wire(16.0))
    assert (found.verdict, found.exit_status) == ("protected", 0), found.reasons
    assert found.fitted_verdict == found.class_verdict == "protected"
    assert found.gaps == found.class_gaps == ()
    assert np.all(found.fuse_time[np.isfinite(found.damage_time)] <= found.damage_time[
        np.isfinite(found.damage_time)])  # fmt: skip
    assert found.current[0] == pytest.approx(40.0)
    assert found.current[-1] == pytest.approx(29.0 / 0.035)


def test_a_gap_is_told_with_its_currents_and_times(fit: Any) -> None:
    found = ask(fit, wire(6.0, bundle=2))
    assert (found.verdict, found.exit_status) == ("not_protected", 20)
    gap = found.gaps[0]
    assert gap.low == pytest.approx(found.conductor_limit, rel=1e-5)
    assert gap.high == pytest.approx(found.late_least, rel=0.005)
    assert math.isinf(gap.cleared)
    assert "may flow for ever" in found.reasons[0]
    # at the worst current the wire ends above its class
    assert steady_temperature(found.wire, gap.worst, 50.0) > found.wire.insulation.class_c


def test_its_class_alone_may_leave_a_gap(fit: Any) -> None:
    # between the fuse's own edge and 1.35 × rated lies a wire that only this fuse protects
    late = ask(fit, wire(16.0), fuse_ambient_c=23.0).late_least
    assert late < 1.35 * 40.0
    sections = np.linspace(4.0, 12.0, 81).tolist()
    between = next(s for s in sections if continuous_current(wire(s), 50.0) > late)
    found = ask(fit, wire(between), fuse_ambient_c=23.0)
    assert found.fitted_verdict == "protected", found.reasons
    assert found.class_verdict == found.verdict == "not_protected"
    assert "its class leaves a gap" in found.reasons[0]


@pytest.mark.parametrize("more", [
    {}, {"arcing_allowance": None, "operating_i2t": 1.0}, {"load": 0.0}, {"gates": ()},
    {"circuit": None}, {"wire_ambient_c": 49.0, "fuse_ambient_c": 49.0}, {"connection": "test"},
])  # fmt: skip
def test_a_fuse_above_the_conductor_is_never_protected(fit: Any, more: dict[str, Any]) -> None:
    found = ask(fit, wire(2.5), **more)
    assert found.conductor_limit < 40.0
    assert found.verdict == found.fitted_verdict == found.class_verdict == "not_protected"
    assert found.exit_status == 20
    assert "no setting" in found.reasons[0]
    assert "fuse-above-conductor" in {n.code for n in found.notes}


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"circuit": None}, "source and loop"),
        ({"arcing_allowance": None}, "the arc that follows counts"),
        ({"gates": ()}, "no gates of its class"),
    ],
)
def test_what_is_not_known_is_not_protected(fit: Any, more: dict[str, Any], said: str) -> None:
    found = ask(fit, wire(16.0), **more)
    assert (found.verdict, found.exit_status) == ("not_shown", 4)
    assert said in " ".join(found.reasons)


@pytest.mark.parametrize("key", ["breaking_capacity", "rated_voltage"])
def test_unknown_capacity_or_voltage_is_never_protected(fit: Any, key: str) -> None:
    bare = replace(fit, definition=replace(fit.definition, **{key: None}))
    assert ask(bare, wire(16.0)).verdict == "not_shown"


def test_a_model_of_one_draw_is_never_protected(published: Any) -> None:
    found = ask(published.truth, wire(16.0), gates=(BLADE,))
    assert found.fitted_verdict == "protected"
    assert found.verdict == "not_shown"
    assert "no-band" in {n.code for n in found.notes}


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"arcing_allowance": 0.5}, "arcing-allowance"),
        ({"operating_i2t": -1.0}, "not-positive"),
        ({"wire_ambient_c": 120.0}, "ambient-above-insulation"),
        ({"fuse_ambient_c": 500.0}, "ambient-above-melting"),
        ({"gates": ("iso8820",)}, "gates-unknown"),
    ],
)
def test_what_cannot_be_is_refused(fit: Any, change: dict[str, Any], code: str) -> None:
    with pytest.raises(InputError) as refused:
        ask(fit, wire(16.0), **change)
    assert refused.value.code == code


def test_a_source_is_given_at_both_extremes() -> None:
    with pytest.raises(InputError) as refused:
        replace(BOAT, weakest_voltage=40.0)
    assert refused.value.code == "source-extremes"


def test_a_gap_between_two_currents_is_not_missed() -> None:
    def laid(currents: Any) -> Any:
        # damage drops a decade at 52.3 A, clearing at 52.6 A: a gap of half a per cent
        damaged = np.where(currents < 52.3, 1e3, 1e2)
        cleared = np.where(currents < 52.6, 5e2, 5e1)
        return np.array([damaged, cleared, cleared, np.full_like(currents, np.nan)])

    coarse = np.geomspace(40.0, 80.0, 12)
    rough = laid(coarse)
    assert conductor._gaps(coarse, rough[0], rough[2]) == ()
    fine, rows = conductor._refined(coarse, laid)
    (gap,) = conductor._gaps(fine, rows[0], rows[2])
    assert 52.3 <= gap.low <= gap.high <= 52.6
    assert len(fine) < 25


# far end and fault -------------------------------------------------------------------------


def test_a_far_short_that_never_opens_the_fuse_is_found(fit: Any) -> None:
    near = ask(fit, wire(16.0))
    assert near.far_end is not None
    # Ohm's law by hand: 21 V through source, fuse and two wires of 5 m at 105 °C
    loop = 2.0 * 5.0 * 1.21e-3 * (234.5 + 105.0) / 254.5
    assert near.far_end.current < 21.0 / (0.06 + loop)
    assert near.far_end.current > 0.9 * 21.0 / (0.06 + loop)
    assert near.far_end.cleared < 10.0
    far = ask(fit, wire(16.0), circuit=replace(BOAT, length=200.0))
    assert far.verdict == far.fitted_verdict == "not_protected"
    assert "far end" in far.reasons[0]
    assert far.far_end is not None
    assert math.isinf(far.far_end.cleared)
    assert "far-end-never-opens" in {n.code for n in far.notes}
    assert any("its class allows a fuse never to open" in reason for reason in far.reasons)
    assert far.class_verdict == "not_protected"


def test_a_clipped_fault_shows_nothing(fit: Any, tmp_path: Path) -> None:
    time = np.linspace(0.0, 0.02, 400)
    sine = np.minimum(100.0 * np.sin(np.pi * time / 0.02), 70.0)
    path = tmp_path / "a.csv"
    rows = "".join(f"{t:.6g},{i:.6g}\n" for t, i in zip(time, sine, strict=True))
    path.write_text("time (s),current (A)\n" + rows)
    whole = ask(fit, wire(16.0), fault=read_capture(path, flat_top_is_real=True))
    found = ask(fit, wire(16.0), fault=read_capture(path))
    assert (whole.verdict, found.verdict) == ("protected", "not_shown")
    assert "clipped" in found.reasons[0]
    assert "clipped-record" in {note.code for note in found.notes}
    harsh = ask(fit, wire(1.0), fault=read_capture(path))
    assert harsh.verdict == "not_protected"


def test_a_fault_given_is_followed_until_the_latest_fuse_parts(fit: Any) -> None:
    mild = ask(fit, wire(16.0), fault=constant(200.0, 30.0))
    assert mild.fault is not None
    assert mild.fault.parted is not None
    assert mild.fault.parted == pytest.approx(LateCurve.of(mild.median).at(200.0), rel=0.2)
    assert mild.fault.damaged is None
    assert mild.fault.peak_c < 160.0
    harsh = ask(fit, wire(1.0), fault=constant(200.0, 30.0))
    assert harsh.fault is not None
    assert harsh.fault.damaged is not None
    assert any("the fault given heats" in reason for reason in harsh.reasons)
    hold = ask(fit, wire(16.0), fault=constant(30.0, 5.0))
    assert hold.fault is not None
    assert hold.fault.parted is None


# monotone ----------------------------------------------------------------------------------


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    section=st.floats(1.0, 25.0),
    larger=st.floats(1.02, 2.0),
    bundle=st.integers(1, 4),
    name=st.sampled_from(["pvc-70", "pvc-105", "xlpe-90", "iso-class-c"]),
)
def test_a_larger_or_cooler_wire_never_loses_its_protection(
    fit: Any, section: float, larger: float, bundle: int, name: str
) -> None:
    # the loop is the same: a larger wire also raises the current at the far end
    base = ask(fit, wire(section, name, bundle))
    rank = {"not_protected": 0, "not_shown": 1, "protected": 2}
    assert rank[ask(fit, wire(section * larger, name, bundle)).verdict] >= rank[base.verdict]
    cooler = ask(fit, wire(section, name, bundle), wire_ambient_c=30.0)
    assert rank[cooler.verdict] >= rank[base.verdict]
    assert cooler.conductor_limit > base.conductor_limit


# as data -----------------------------------------------------------------------------------


def test_plain_data_and_the_cautions_once(fit: Any) -> None:
    found = ask(fit, wire(6.0), fault=constant(100.0, 5.0))
    data = found.to_json()
    assert data["schema"] == "fusetherm/protect/1"
    text = json.dumps(data, default=list, ensure_ascii=False)
    for sentence in CAUTIONS + CONDUCTOR_CAUTIONS:
        assert text.count(sentence) == 1
    assert {"verdict", "fitted_verdict", "class_verdict", "gaps", "conductor_limit_A",
            "prospective_current_A", "far_end", "fault",
            "class_opens_from_A"} <= set(data)  # fmt: skip
    assert len(data["current_A"]) == len(data["damage_time_s"]) == len(data["class_time_s"])


def test_remarks_on_odd_questions(fit: Any) -> None:
    found = ask(fit, wire(16.0), fuse_ambient_c=60.0)
    codes = {n.code for n in found.notes}
    assert {"ambients-crossed", "conductor-differs"} <= codes
    assert "conductor-differs" not in {n.code for n in ask(fit, wire(10.0)).notes}
