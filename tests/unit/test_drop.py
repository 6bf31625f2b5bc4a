"""Reading a fuse with a meter: both ways, bands, what makes it ambiguous, words and files."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm.answers.drop import drop
from fusetherm.cli.drop import print_drop
from fusetherm.cli.main import program
from fusetherm.demo import definitions
from fusetherm.errors import InputError
from fusetherm.fuse.model import Contact
from fusetherm.solver.steady import minimum_fusing_current, steady_state

AMPS = (5.0, 20.0, 40.0)


@pytest.fixture(scope="module")
def table(fitted: Any) -> Any:
    return drop(fitted, currents=AMPS)


def test_the_drop_is_that_of_the_steady_state(fitted: Any, table: Any) -> None:
    for i, amps in enumerate(AMPS):
        steady = steady_state(fitted.installed, amps, cells=fitted.cells)
        blades = sum(side.blade.resistance for side in (fitted.installed.left,
                                                        fitted.installed.right))  # fmt: skip
        assert blades == 0.0
        assert table.voltage[i] == pytest.approx(steady.element_voltage, rel=1e-4)
        assert table.hot_spot_c[i] == pytest.approx(steady.peak_temperature_c, abs=0.5)


def test_there_and_back(fitted: Any, table: Any) -> None:
    back = drop(fitted, voltages=table.voltage)
    assert back.current == pytest.approx(AMPS, rel=1e-9)
    assert back.current_low == pytest.approx(table.current_low)


def test_a_drop_rises_with_current_and_heat(fitted: Any, table: Any) -> None:
    assert np.all(np.diff(table.voltage) > 0.0)
    assert np.all(table.cold_voltage < table.voltage)
    hot = drop(fitted, currents=AMPS, ambient_c=85.0)
    assert np.all(hot.voltage > 1.15 * table.voltage)
    # zinc at 85 and at 23 °C: resistivity by the table
    metal = fitted.installed.element.metal
    ratio = metal.resistivity(358.15) / metal.resistivity(296.15)
    assert hot.cold_voltage / table.cold_voltage == pytest.approx(ratio, rel=1e-6)


def test_the_ceiling_lies_above_the_hot_spot(table: Any) -> None:
    assert np.all(table.ceiling_c >= table.hot_spot_c - 0.1)
    assert np.all(table.ceiling_c < table.hot_spot_c + 60.0)


def test_bands_hold_the_value_and_a_poor_meter_widens_them(fitted: Any, table: Any) -> None:
    for low, value, high in (
        (table.current_low, table.current, table.current_high),
        (table.voltage_low, table.voltage, table.voltage_high),
    ):
        assert np.all((low < value) & (value < high))
    poor = drop(fitted, currents=AMPS, meter_sd=1e-3)
    assert poor.current_low[0] < 0.9 * table.current_low[0]  # 1 mV is much of 7 mV
    assert poor.current_low[2] > 0.98 * table.current_low[2]
    assert "meter" in dict(poor.sources)
    bare = drop(fitted.installed, currents=AMPS)
    assert bare.level == 0.0
    assert np.array_equal(bare.current_low, bare.current_high)
    assert "no-band" in [n.code for n in bare.notes]


def test_contacts_count_between_the_clips_and_are_named(fitted: Any) -> None:
    model = fitted.installed
    worn = Contact(1.5e-3)
    model = replace(
        model, left=replace(model.left, contact=worn), right=replace(model.right, contact=worn)
    )
    at_clips = drop(model, currents=[10.0], measured_at="clips")
    at_blades = drop(model, currents=[10.0], measured_at="blades")
    assert at_clips.voltage - at_blades.voltage == pytest.approx(10.0 * 3e-3, rel=1e-6)
    assert at_clips.contact_share[0] == pytest.approx(0.03 / at_clips.voltage[0])
    assert "contact-dominates" in [n.code for n in at_clips.notes]
    assert "contact-dominates" not in [n.code for n in at_blades.notes]


def test_self_heating_makes_a_reading_wait(fitted: Any) -> None:
    codes = [[n.code for n in drop(fitted, currents=[i]).notes] for i in (3.0, 40.0)]
    assert "reading-not-steady" not in codes[0]
    assert "reading-not-steady" in codes[1]


@pytest.mark.parametrize(
    ("question", "code"),
    [
        ({"voltages": [0.0]}, "drop-not-positive"),
        ({"voltages": [0.5]}, "drop-beyond-melting"),
        ({"currents": [1e3]}, "current-melts"),
        ({"currents": [-1.0]}, "current-not-positive"),
        ({"currents": [1.0], "voltages": [0.01]}, "drop-both-ways"),
        ({"ambient_c": 450.0}, "ambient-above-melting"),
    ],
)
def test_questions_without_an_answer_are_refused(
    fitted: Any, question: dict[str, Any], code: str
) -> None:
    with pytest.raises(InputError) as refusal:
        drop(fitted, **question)
    assert refusal.value.code == code


def test_the_melting_drop_is_that_of_the_minimum_fusing_current(fitted: Any, table: Any) -> None:
    least = minimum_fusing_current(fitted.installed, cells=fitted.cells)
    found = drop(fitted, currents=[least * (1.0 - 1e-9)])
    assert found.voltage[0] == pytest.approx(table.melting_voltage, rel=1e-6)


def test_table_command_and_files(tmp_path: Any) -> None:
    path, rows, picture = definitions()["inverter_feed_40A"], tmp_path / "a.csv", tmp_path / "a.svg"
    asked = ["drop", str(path), "--csv", str(rows), "--figure", str(picture)]
    done = CliRunner().invoke(program, asked)
    assert done.exit_code == 0, done.output
    assert "23 °C assumed" in done.stdout
    assert done.stdout.count("certification") == 1
    with rows.open(encoding="utf-8") as stream:
        found = list(csv.DictReader(stream))
    assert len(found) == 12
    assert "melts in the end" in picture.read_text(encoding="utf-8")
    done = CliRunner().invoke(program, ["drop", str(path), "--drop-mv", "40", "--json"])
    data = json.loads(done.stdout)
    assert data["schema"] == "fusetherm/drop/1"
    assert data["drop_mV"][0] == pytest.approx(40.0)
    assert data["current_A_low"][0] < data["current_A"][0] < data["current_A_high"][0]
    done = CliRunner().invoke(program, ["drop", str(path), "--drop-mv", "400"])
    assert done.exit_code == 3
    assert "drop-beyond-melting" in done.stderr
    both = CliRunner().invoke(program, ["drop", str(path), "--drop-mv", "4", "--current-a", "4"])
    assert both.exit_code == 2


def test_words_name_where_the_tips_touch(fitted: Any, capsys: Any) -> None:
    print_drop(drop(fitted, currents=AMPS, measured_at="clips"))
    text = " ".join(capsys.readouterr().out.split())
    assert "between the clips, contacts included" in text
    assert "contacts make" in text
    assert drop(fitted, currents=AMPS).to_xarray().sizes["current"] == 3
