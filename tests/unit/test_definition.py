"""Definition files: reading, writing, hash, versions, several at once."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from pathlib import Path

import pytest

from fusetherm.errors import FileError
from fusetherm.fuse.definition import (
    SCHEMA_VERSION,
    Connection,
    ConnectionSide,
    Definition,
    load_fuse,
    load_fuses,
    loads,
    migrated,
)
from fusetherm.fuse.toml_lines import Places

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"
MINIMAL = """schema_version = 1
id = "a"
family = "zinc-strip"
size = "medium-blade"
rated_current_A = 15
source = "invented"
"""


def test_values_are_si() -> None:
    fuse = load_fuse(EXAMPLE)
    assert fuse.path == str(EXAMPLE)
    assert (fuse.rated_current, fuse.rated_voltage, fuse.breaking_capacity) == (40.0, 32.0, 1000.0)
    assert fuse.cold_resistance is not None
    assert fuse.cold_resistance.resistance == 1.24e-3
    assert fuse.cold_resistance.tolerance == 0.1
    assert fuse.voltage_drops[0].voltage == 0.0725
    assert fuse.melting_integrals[0].i2t == 12000.0
    assert fuse.terminal_rises[0].rise == 75.0
    assert fuse.geometry is not None
    assert fuse.geometry.length == 0.028
    assert fuse.limits is not None
    assert fuse.limits.cable_insulation_c == 105.0
    assert fuse.curve is not None
    assert (fuse.curve.time_kind, fuse.curve.ambient_c) == ("pre-arcing", 23.0)
    assert [(p.current, p.time) for p in fuse.curve.points[:2]] == [(54.0, 600.0), (60.0, 130.0)]
    assert fuse.curve.points[7].max_time == 0.36
    assert fuse.re_rating is not None
    assert fuse.re_rating.points[1].factor == 0.85


def test_sides_may_differ() -> None:
    connection = load_fuse(EXAMPLE).installed_connection
    assert connection is not None
    left, right = connection.side("left"), connection.side("right")
    assert (left.cable_section, right.cable_section) == (6e-6, 10e-6)
    assert left.contact_resistance == right.contact_resistance == 0.25e-3
    plain = Connection(cable_section=1e-6, source="invented")
    assert plain.side("left") == ConnectionSide(cable_section=1e-6)


def test_written_definition_reads_back_equal() -> None:
    fuse = load_fuse(EXAMPLE)
    again = loads(fuse.to_toml())
    assert again == fuse
    assert again.definition_hash == fuse.definition_hash
    assert again.to_toml() == fuse.to_toml()


def test_hash_ignores_order_comments_and_place_of_the_file(tmp_path: Path) -> None:
    lines = MINIMAL.splitlines()
    moved = tmp_path / "other.toml"
    moved.write_text("# remark\n" + "\n".join(reversed(lines)), encoding="utf-8")
    one = loads(MINIMAL)
    assert load_fuse(moved).definition_hash == one.definition_hash
    assert loads(MINIMAL.replace("15", "15.0")).definition_hash == one.definition_hash
    assert loads(MINIMAL.replace("15", "20")).definition_hash != one.definition_hash


def test_definition_is_frozen() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        loads(MINIMAL).id = "b"  # type: ignore[misc]


def test_several_voltage_drops() -> None:
    drop = '[[voltage_drop]]\nvoltage_drop_mV = {}\ncurrent_A = {}\nmeasured_at = "clips"\n'
    drop += 'source = "invented"\n'
    fuse = loads(MINIMAL + drop.format(90, 15) + drop.format(50, 10))
    assert [(d.voltage, d.current) for d in fuse.voltage_drops] == [(0.09, 15.0), (0.05, 10.0)]


def test_bad_input_87_newer_schema() -> None:
    with pytest.raises(FileError) as caught:
        loads(MINIMAL.replace("schema_version = 1", f"schema_version = {SCHEMA_VERSION + 1}"))
    assert (caught.value.code, caught.value.line) == ("schema-too-new", 1)
    assert "newer fusetherm" in caught.value.mend


def test_bad_input_87_older_schema_is_migrated() -> None:
    def rename(values: dict[str, object]) -> dict[str, object]:
        return {{"rating_A": "rated_current_A"}.get(key, key): v for key, v in values.items()}

    old = {"schema_version": 1, "rating_A": 15, "id": "a"}
    steps = {1: rename, 2: lambda values: {**values, "added": 1}}
    values, (note,) = migrated(old, Places(""), "x.toml", version=3, steps=steps)
    assert values == {"schema_version": 3, "rated_current_A": 15, "id": "a", "added": 1}
    assert note.code == "schema-migrated"
    assert old["rating_A"] == 15
    assert migrated(values, Places(""), "x.toml", version=3, steps=steps) == (values, ())


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("schema_version = 0", "schema-unknown"),
        ("schema_version = -1", "schema-unknown"),
        ('schema_version = "1"', "wrong-kind"),
        ("schema_version = true", "wrong-kind"),
        ("", "missing-key"),
    ],
)
def test_bad_input_87_no_way_from_this_version(line: str, code: str) -> None:
    with pytest.raises(FileError) as caught:
        loads(MINIMAL.replace("schema_version = 1", line))
    assert (caught.value.code, caught.value.line) == (code, 1)


def test_bad_input_88_two_definitions_with_one_id(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("a.toml", "b.toml", "c.toml")]
    paths[0].write_text(MINIMAL, encoding="utf-8")
    paths[1].write_text(MINIMAL.replace('"a"', '"b"'), encoding="utf-8")
    paths[2].write_text("# again\n" + MINIMAL, encoding="utf-8")
    assert [fuse.id for fuse in load_fuses(paths[:2])] == ["a", "b"]
    with pytest.raises(FileError) as caught:
        load_fuses(paths)
    assert (caught.value.code, caught.value.line) == ("duplicate-id", 3)
    assert caught.value.path == str(paths[2])
    assert str(paths[0]) in caught.value.found


def test_family_file_beside_the_definition(tmp_path: Path) -> None:
    file = tmp_path / "fuse.toml"
    file.write_text(MINIMAL.replace('"zinc-strip"', '"own.toml"'), encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_fuse(file)
    assert caught.value.code == "file-missing"
    assert caught.value.path == str(tmp_path / "own.toml")


def test_reading_is_what_imports_pydantic() -> None:
    code = (
        "import sys, fusetherm.fuse.definition as d; assert 'pydantic' not in sys.modules;"
        "d.Definition(id='a', family='zinc-strip', rated_current=1.0, source='x').to_toml();"
        "assert 'pydantic' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_definition_made_in_python() -> None:
    fuse = Definition(id="a", family="zinc-strip", rated_current=40.0, source="invented")
    assert "rated_current_A = 40\n" in fuse.to_toml()
    assert loads(fuse.to_toml()) == fuse
