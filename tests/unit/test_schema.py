"""Faults of kind, sign and spelling in definition files: code, line, key and mend of each."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fusetherm.errors import FileError
from fusetherm.fuse.definition import definition_schema, loads
from fusetherm.fuse.family import Family
from fusetherm.fuse.schema import json_schema

HERE = Path(__file__).parent
EXAMPLE = (HERE.parent / "data" / "example_high_current_blade_40A.toml").read_text(encoding="utf-8")


def fault(old: str, new: str) -> FileError:
    """The refusal of the example with one text exchanged, its line checked against ``new``."""
    assert EXAMPLE.count(old) >= 1, old
    with pytest.raises(FileError) as caught:
        loads(EXAMPLE.replace(old, new, 1), path="fuse.toml")
    assert caught.value.path == "fuse.toml"
    assert caught.value.expected
    assert caught.value.mend
    return caught.value


def line_of(text: str, start: str = "") -> int:
    """Line of a text in the example, after another."""
    return EXAMPLE[: EXAMPLE.index(text, EXAMPLE.index(start))].count("\n") + 1


@pytest.mark.parametrize(
    ("old", "new", "mend"),
    [
        ("rated_current_A", "rated_curent_A", "did you mean rated_current_A?"),
        ("terminal_rise_K", "terminal_rise_C", "did you mean terminal_rise_K?"),
        ("[test_connection]", "[test_conection]", "did you mean test_connection?"),
        ("time_s = 130", "times_s = 130", "did you mean time_s?"),
        ("id =", "notch_width_mm = 1\nid =", "it belongs in [geometry]"),
        ("id =", "zebra = 1\nid =", "remove it"),
    ],
)
def test_bad_input_73_unknown_key(old: str, new: str, mend: str) -> None:
    error = fault(old, new)
    assert error.code == "unknown-key"
    assert error.line == line_of(old)
    assert error.mend.startswith(mend)


def test_bad_input_74_missing_unit() -> None:
    error = fault("rated_current_A", "rated_current")
    assert error.code == "missing-unit"
    assert error.line == line_of("rated_current_A")
    assert "write rated_current_A" in error.mend


def test_bad_input_74_other_unit_is_not_taken_for_the_right_one() -> None:
    error = fault("cold_resistance_mohm = 1.24", "cold_resistance_ohm = 0.00124")
    assert error.code == "unknown-key"
    assert "cold_resistance_mohm" in error.mend


@pytest.mark.parametrize("table", ["[cold_resistance]", "[curve]", "[limits]", "[geometry]"])
def test_bad_input_74_missing_source(table: str) -> None:
    head, _, tail = EXAMPLE.partition(table)
    before, _, after = tail.partition("source =")
    text = head + table + before + after.partition("\n")[2]
    with pytest.raises(FileError) as caught:
        loads(text, path="fuse.toml")
    assert caught.value.code == "missing-source"
    assert caught.value.line == line_of(table)
    assert caught.value.key == f"{table.strip('[]')}.source"


@pytest.mark.parametrize("value", ["0", "-1.7", "0.0"])
@pytest.mark.parametrize(
    "old", ["cold_resistance_mohm = 1.24", "length_mm = 28", "time_s = 130", "rated_current_A = 40"]
)
def test_bad_input_75_zero_or_negative(old: str, value: str) -> None:
    key = old.partition(" ")[0]
    error = fault(old, f"{key} = {value}")
    assert (error.code, error.line) == ("not-positive", line_of(old))
    assert error.key.endswith(key)


@pytest.mark.parametrize("value", ["inf", "-inf", "nan", "1e999"])
def test_bad_input_76_not_finite(value: str) -> None:
    error = fault("time_s = 130", f"time_s = {value}")
    assert (error.code, error.line) == ("not-finite", line_of("time_s = 130"))
    assert error.key == "curve.point[2].time_s"


@pytest.mark.parametrize("value", ['"40"', '"40 A"', '"40,0"'])
def test_bad_input_77_number_as_text(value: str) -> None:
    error = fault("rated_current_A = 40", f"rated_current_A = {value}")
    assert (error.code, error.line) == ("number-as-text", line_of("rated_current_A"))
    assert error.mend.startswith("remove the quotes")


def test_bad_input_84_curve_ambient_absent() -> None:
    start = EXAMPLE.index("[curve]")
    text = EXAMPLE[:start] + EXAMPLE[start:].replace("ambient_C = 23\n", "", 1)
    with pytest.raises(FileError) as caught:
        loads(text)
    assert caught.value.code == "missing-ambient"
    assert caught.value.line == line_of("[curve]")


@pytest.mark.parametrize(
    ("old", "new", "code", "mend"),
    [
        ('"pre-arcing"', '"melting"', "unknown-choice", "did you mean 'pre-arcing'?"),
        ('measured_at = "blades"', 'measured_at = "blade"', "unknown-choice", "did you mean"),
        ('measured_at = "blades"', 'measured_at = "hand"', "unknown-choice", "choose one"),
        ("blade_C = 130", "blade_C = -300", "below-absolute-zero", "check the sign"),
        ("factor = 0.85", "factor = 85", "out-of-bounds", "check the value"),
        ('id = "example-high-current-blade-40A"', 'id = ""', "empty-text", "say it"),
        ("rated_current_A = 40", "rated_current_A = true", "wrong-kind", "see"),
        ('id = "example-high-current-blade-40A"', "id = 40", "wrong-kind", "see"),
        ("gates = [", "gates = [1, ", "wrong-kind", "see"),
        ("[limits]", "[[limits]]", "wrong-kind", "see"),
        ('measured_at = "blades"', "", "missing-key", "add measured_at"),
    ],
)
def test_other_faults(old: str, new: str, code: str, mend: str) -> None:
    error = fault(old, new)
    assert error.code == code
    assert error.mend.startswith(mend)
    assert error.line is not None


def test_missing_table_key_has_no_line_of_its_own() -> None:
    error = fault('family = "zinc-strip"', "")
    assert (error.code, error.key) == ("missing-key", "family")
    assert error.line is None


def test_further_faults_are_counted_with_their_lines() -> None:
    text = EXAMPLE.replace("= 1.24", "= -1").replace("length_mm = 28", "length_mm = 0")
    with pytest.raises(FileError) as caught:
        loads(text)
    assert caught.value.line == line_of("= 1.24")
    assert f"1 more to mend in this file (line {line_of('length_mm = 28')})" in caught.value.mend


def test_published_schema_is_current() -> None:
    file = HERE.parents[1] / "docs" / "definition.schema.json"
    # When it is not: write definition_schema() there, indented by two.
    assert json.loads(file.read_text(encoding="utf-8")) == json.loads(
        json.dumps(definition_schema())
    )


def test_schema_says_what_is_allowed() -> None:
    schema = definition_schema()
    assert schema["additionalProperties"] is False
    assert schema["title"] == "fusetherm fuse definition"
    assert schema["required"] == ["schema_version", "id", "family", "rated_current_A", "source"]
    assert schema["properties"]["rated_current_A"]["exclusiveMinimum"] == 0.0
    one, several = schema["properties"]["voltage_drop"]["anyOf"]
    assert (several["type"], several["items"]) == ("array", one)
    assert '"null"' not in json.dumps(schema)
    assert schema["$defs"]["VoltageDrop"]["properties"]["ambient_C"]["default"] == 23.0
    assert "lower" in json_schema(Family)["$defs"]["Parameter"]["properties"]
