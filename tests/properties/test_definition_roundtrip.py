"""Definitions survive the way into a file and back; each key is found on its line."""

from __future__ import annotations

import dataclasses
import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from fusetherm.fuse.definition import Definition
from fusetherm.fuse.prior import Prior
from fusetherm.fuse.records import keyed_fields, record_hash, record_of, shapes, toml_text
from fusetherm.fuse.toml_lines import Path, Places

TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12)
#: Numbers of up to 15 digits, as a file holds them.
NUMBERS = st.builds(
    lambda digits, exponent: float(f"{digits}e{exponent}"),
    st.integers(1, 10**15 - 1),
    st.integers(-20, 6),
)


def values_of(record: type) -> st.SearchStrategy[dict[str, Any]]:
    """Values of a file of a record, bounds left aside."""
    always: dict[str, st.SearchStrategy[Any]] = {}
    sometimes: dict[str, st.SearchStrategy[Any]] = {}
    for field in keyed_fields(record):
        shape = shapes(record)[field.name]
        if shape.is_record:
            one: st.SearchStrategy[Any] = values_of(shape.kind)
        elif shape.kind is float:
            one = NUMBERS
        elif shape.kind is int:
            one = st.integers(1, 9)
        else:
            one = TEXTS
        required = field.default is dataclasses.MISSING
        if shape.many:
            one = st.lists(one, min_size=1, max_size=3)
        (always if required else sometimes)[field.metadata["key"]] = one
    return st.fixed_dictionaries(always, optional=sometimes)


@given(values_of(Definition))
def test_round_trip_is_exact(values: dict[str, Any]) -> None:
    fuse = record_of(Definition, values)
    text = toml_text(fuse)
    again = record_of(Definition, tomllib.loads(text))
    assert again == fuse
    assert record_hash(again) == record_hash(fuse)
    assert toml_text(again) == text


@given(values_of(Definition))
def test_every_key_is_found_on_its_line(values: dict[str, Any]) -> None:
    text = toml_text(record_of(Definition, values))
    places = Places(text)
    lines = text.split("\n")

    def walk(node: Any, path: Path) -> None:
        if path:
            line = places.lines[path]
            name = next(part for part in reversed(path) if isinstance(part, str))
            assert name in lines[line - 1]
        if isinstance(node, dict):
            for key, value in node.items():
                walk(value, (*path, key))
        elif isinstance(node, list):
            for index, value in enumerate(node):
                walk(value, (*path, index))

    walk(tomllib.loads(text), ())


KEYS = st.text("abc-_1", min_size=1, max_size=3)
VALUES = st.recursive(
    st.one_of(st.integers(), st.booleans(), TEXTS),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=3)),
    max_leaves=8,
)


def inline(value: Any) -> str:
    """A value as TOML writes it within one line, arrays broken over lines with remarks."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {inline(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[ # ] remark\n" + "".join(f" {inline(item)}, # [\n" for item in value) + "]"
    if isinstance(value, str):
        plain = "".join(f"\\U{ord(letter):08x}" for letter in value)
        return f'"{plain} # ] \\" }}"'
    return str(value).lower() if isinstance(value, bool) else str(value)


@given(
    st.dictionaries(KEYS, VALUES, max_size=4), st.lists(st.dictionaries(KEYS, VALUES), max_size=3)
)
def test_any_nesting_is_followed(top: dict[str, Any], tables: list[dict[str, Any]]) -> None:
    def pairs(table: dict[str, Any]) -> str:
        return "".join(f"{key} = {inline(value)}\n" for key, value in table.items())

    text = pairs(top) + "".join(f"[[tables.x]]\n{pairs(table)}" for table in tables)
    read = tomllib.loads(text)
    found: set[Path] = set()

    def walk(node: Any, path: Path) -> None:
        if path:
            found.add(path)
        if isinstance(node, dict):
            node = list(node.items())
        elif isinstance(node, list):
            node = list(enumerate(node))
        else:
            return
        for name, value in node:
            walk(value, (*path, name))

    walk(read, ())
    assert set(Places(text).lines) == found


@given(
    st.floats(0.01, 0.99),
    st.floats(0.05, 2.0),
    st.floats(-5.0, 5.0),
    st.sampled_from(["log", "logit"]),
)
def test_prior_inverts(centre: float, sd: float, score: float, transform: Any) -> None:
    prior = Prior("x", centre, sd, "1", transform, "none")
    value = prior.value(score)
    if not 1e-12 < value < 1 - 1e-12 and transform == "logit":
        return  # too near the bound for its distance to be kept in a float
    assert abs(prior.score(value) - score) < 1e-3
