"""Why a fuse opened: shares that add up, worn contacts, the look of the fuse."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from fusetherm.answers.appearance import READINGS
from fusetherm.answers.explain import Explanation, explain
from fusetherm.answers.subject import model_of
from fusetherm.answers.worn import contact_scenarios, resistances, with_contacts
from fusetherm.current.sampled import constant
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError
from fusetherm.fuse.definition import Connection
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import FuseModel
from fusetherm.physics.metals import metal
from fusetherm.solver.run import simulate

#: A load of 30 A with a start in it, then an overload.
OVERLOAD = Waveform(time=[0, 60, 60, 61, 61, 90, 90, 400], current=[30, 30, 90, 90, 30, 30, 75, 75])
WIRE = FuseModel(element=round_wire(metal("copper"), 2e-4, 0.02), name="a wire")


def rises(found: Explanation) -> dict[str, float]:
    return {one.kind: one.rise for one in found.causes}


@pytest.fixture(scope="module")
def opened(fitted: Any) -> Explanation:
    return explain(fitted, OVERLOAD, ambient_c=60.0, outdoor_c=30.0, load=30.0,
                   contacts=(1.5e-3, None), appearance="clean_gap")  # fmt: skip


def test_shares_sum_to_the_rise_that_the_run_has(opened: Explanation) -> None:
    run = opened.verdict.run
    melting_c = run.question.model.element.metal.solidus_k - 273.15
    assert opened.verdict.verdict == "opens"
    assert opened.time == run.onset_time
    assert opened.temperature_c == pytest.approx(melting_c, abs=0.2)
    assert math.fsum(one.rise for one in opened.causes) == pytest.approx(
        run.element_temperature_c[run.time >= run.onset_time][0] - 23.0, abs=0.5
    )
    kinds = [one.kind for one in opened.causes]
    assert kinds == ["load", "pulse", "pulse", "outdoors", "box", "contacts"]
    assert sum(opened.share(kind) for kind in set(kinds)) == pytest.approx(1.0)
    # the overload took it there, the start a minute before hardly counts any more
    start, overload = (one.rise for one in opened.causes if one.kind == "pulse")
    assert overload > 20.0 * abs(start)
    # the air outdoors is 7 K above the reference, and 30 K more are the box
    assert rises(opened)["box"] / rises(opened)["outdoors"] == pytest.approx(30.0 / 7.0, rel=0.05)


def test_the_instant_is_the_one_of_the_run(fitted: Any) -> None:
    found = explain(fitted, OVERLOAD.cut(0.0, 80.0), ambient_c=60.0, load=30.0)
    run = simulate(fitted.installed, OVERLOAD.cut(0.0, 80.0), ambient_c=60.0, cells=fitted.cells)
    assert found.time == run.peak_time
    assert found.temperature_c == pytest.approx(run.peak_temperature_c, abs=0.05)
    assert not found.contacts_asked
    assert "contacts" not in rises(found)
    assert "opening-not-explained" in {note.code for note in found.notes}


def test_heat_that_only_adds_up_is_shared_by_the_squares() -> None:
    # in a millisecond nothing flows off: the rise goes with (6 A + 4 A)², of which the load has
    # 6² + 6·4 and the rest 4² + 6·4 by Shapley's rule
    found = explain(WIRE, constant(10.0, 1e-3), ambient_c=23.0, load=6.0)
    by = rises(found)
    assert 0.1 < found.rise < 1.9  # a kelvin or so: resistance hardly rises
    assert by["load"] / found.rise == pytest.approx(0.6, abs=2e-3)
    assert by["pulse"] / found.rise == pytest.approx(0.4, abs=2e-3)
    assert by["air"] == pytest.approx(0.0, abs=1e-9)
    load, pulse, _ = found.causes
    assert load.alone / found.rise == pytest.approx(0.36, abs=3e-3)
    assert load.last / found.rise == pytest.approx(0.84, abs=3e-3)
    assert pulse.alone < pulse.rise < pulse.last


def test_a_load_before_belongs_to_the_load(fitted: Any) -> None:
    pulse = Waveform(time=[0, 2, 2, 10], current=[100, 100, 20, 20])
    cold = explain(fitted, pulse, ambient_c=23.0, load=20.0)
    warm = explain(fitted, pulse, ambient_c=23.0, load_before=20.0)
    assert warm.load == cold.load == 20.0
    assert rises(warm)["load"] > rises(cold)["load"] + 10.0
    assert "for long before" in warm.causes[0].name


def test_pulses_beyond_three_are_told_together(fitted: Any) -> None:
    one = Waveform(time=[0, 1, 1, 1.05, 1.05, 2], current=[10, 10, 80, 80, 10, 10])
    found = explain(fitted, one.repeated(6), ambient_c=23.0)
    assert [c.kind for c in found.causes] == [
        "load", "pulse", "pulse", "pulse", "other pulses", "air",
    ]  # fmt: skip
    assert math.fsum(c.rise for c in found.causes) == pytest.approx(found.rise)


def test_worn_contacts_each_side_its_own(fitted: Any) -> None:
    new = fitted.installed
    left, right = resistances(new)
    worn = model_of(with_contacts(fitted, 1e-3, 1e-3))
    assert resistances(worn) == (1e-3, 1e-3)

    def run(model: FuseModel) -> Any:
        return simulate(model, constant(60.0, 30.0), cells=fitted.cells)

    rows = contact_scenarios(new, worn, run, ambient_c=23.0, cells=fitted.cells)
    assert [(one.side, one.effect) for one in rows] == [
        ("none", "new"),
        *((side, effect) for side in ("left", "right")
          for effect in ("heat of its own", "heat held back", "both")),
        ("both", "both"),
    ]  # fmt: skip
    by = {(one.side, one.effect): one for one in rows}
    fresh, both = by["none", "new"], by["both", "both"]
    assert (fresh.hot_spot, fresh.terminal) == (0.0, 0.0)
    assert (fresh.resistance_left, fresh.resistance_right) == (left, right)
    # the fuse is the same on both sides
    for effect in ("heat of its own", "heat held back", "both"):
        one, other = by["left", effect], by["right", effect]
        assert one.hot_spot == pytest.approx(other.hot_spot, rel=1e-6)
    own, back, one = (by["left", e] for e in ("heat of its own", "heat held back", "both"))
    assert 0.0 < own.hot_spot < one.hot_spot < both.hot_spot
    assert 0.0 < back.terminal < one.terminal
    assert both.least < one.least < min(own.least, back.least) < fresh.least
    # heat of its own keeps the new conductance, heat held back the new resistance
    assert own.resistance_left == 1e-3
    assert back.resistance_left == left


def test_a_worn_contact_opens_what_a_new_one_carries(fitted: Any) -> None:
    stated = with_contacts(fitted, 1e-3, 1e-3)
    assert explain(stated, constant(40.0, 5.0), ambient_c=23.0).contacts == ()
    found = explain(fitted, constant(44.0, 5e3), ambient_c=23.0, contacts=(2e-3, 2e-3))
    assert found.verdict.verdict == "opens"
    fresh, *_, both = found.contacts
    assert fresh.onset_time is None
    assert both.pre_arcing_time == found.verdict.run.pre_arcing_time
    assert found.share("contacts") > 0.1


def test_worn_contacts_of_the_family(fitted: Any) -> None:
    found = explain(replace(fitted, contact="worn"), constant(50.0, 600.0), ambient_c=23.0)
    assert found.contacts_asked
    assert found.contact_ohms[0] > 2.0 * resistances(fitted.installed)[0]
    assert rises(found)["contacts"] > 0.0
    new = explain(fitted, constant(50.0, 600.0), ambient_c=23.0)
    assert new.contacts[-1].hot_spot == pytest.approx(found.contacts[-1].hot_spot)


def test_contacts_in_the_test_connection_are_said_to_change_nothing(fitted: Any) -> None:
    found = explain(fitted, constant(44.0, 10.0), ambient_c=23.0, contacts=(2e-3, None),
                    connection="test")  # fmt: skip
    assert not found.contacts_asked
    assert [note.code for note in found.notes].count("worn-without-effect") == 1


def test_a_side_not_told_stays_as_it_is(fitted: Any) -> None:
    tested = Connection(contact_resistance=5e-4, source="invented")
    alone = replace(fitted, definition=replace(
        fitted.definition, test_connection=tested, installed_connection=None
    ))  # fmt: skip
    _, right = resistances(alone.installed)
    assert resistances(model_of(with_contacts(alone, 2e-3, None))) == (2e-3, right)


@pytest.mark.parametrize(
    ("amps", "seconds", "agreeing"),
    [
        (60.0, 1e3, {"clean_gap"}),
        (3000.0, 1.0, {"blackened"}),
        (20.0, 10.0, {"unmelted_break"}),
    ],
)
def test_the_look_of_the_fuse(fitted: Any, amps: float, seconds: float, agreeing: set[str]) -> None:
    seen = {
        name: explain(fitted, constant(amps, seconds), ambient_c=23.0, appearance=name).appearance
        for name in READINGS
    }
    assert {name for name, one in seen.items() if one is not None and one.agrees} == agreeing
    assert all(one is not None and one.reason for one in seen.values())


def test_one_side_shows_a_contact(fitted: Any) -> None:
    found = explain(fitted, constant(44.0, 5e3), ambient_c=23.0, contacts=(2e-3, None),
                    appearance="one_side")  # fmt: skip
    assert found.appearance is not None
    assert found.appearance.agrees
    assert "hotter than the other" in found.appearance.reason


def test_place_and_length_of_the_melt(fitted: Any, opened: Explanation) -> None:
    middle = explain(fitted, constant(60.0, 1e3), ambient_c=23.0).melt
    assert middle is not None
    assert middle.position == pytest.approx(0.5 * middle.element_length, rel=0.01)
    assert 0.0 < middle.length < middle.element_length
    # a hot contact on the left draws the melt to the left
    aside = opened.melt
    assert aside is not None
    assert aside.position < middle.position
    assert aside.current == pytest.approx(75.0)


def test_nothing_flows_nothing_to_share(fitted: Any) -> None:
    found = explain(fitted, constant(0.0, 1.0), ambient_c=23.0)
    assert found.rise == 0.0
    assert found.share("load") == 0.0
    assert found.to_json()["causes"][0]["share"] is None


@pytest.mark.parametrize(
    ("model", "more", "code"),
    [
        (None, {"appearance": "green"}, "appearance-unknown"),
        (None, {"contacts": (0.0, None)}, "not-positive"),
        (WIRE, {"contacts": (1e-3, None)}, "contact-missing"),
        (None, {"outdoor_c": -300.0}, "below-absolute-zero"),
        (None, {"load_before": 90.0}, "no-steady-start"),
    ],
)
def test_what_cannot_be_is_refused(
    fitted: Any, model: FuseModel | None, more: dict[str, Any], code: str
) -> None:
    with pytest.raises(InputError) as refusal:
        explain(model or fitted, constant(10.0, 1.0), **({"ambient_c": 23.0} | more))
    assert refusal.value.code == code


def test_figure_names_every_cause(opened: Explanation) -> None:
    figure = opened.plot()
    (ax,) = figure.axes
    assert [t.get_text() for t in ax.get_yticklabels()] == [one.name for one in opened.causes]
    assert "begins to melt" in ax.get_title(loc="left")
    widths = [bar.get_width() for bar in ax.patches]
    assert math.fsum(widths) == pytest.approx(opened.rise)
