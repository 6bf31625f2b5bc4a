"""Checks of kind, sign and spelling of a TOML file against a record, and its JSON Schema.

The home of pydantic, imported only when a file is read: models are made from the fields of
the record classes, and what pydantic finds is put into the words of fusetherm.
"""

from __future__ import annotations

from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Annotated, Any, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, create_model

from ..errors import FileError
from .records import Shape, keyed_fields, shapes
from .toml_lines import Places, dotted


class _OneOrMany:
    """Lets a list of tables be written as one table, in the check and in the schema."""

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: Any) -> dict[str, Any]:
        several: dict[str, Any] = handler(core)
        return {"anyOf": [several["items"], several]}


def _listed(value: object) -> object:
    return [value] if isinstance(value, dict) else value


@cache
def file_model(record: type) -> type[BaseModel]:
    """Pydantic model of the table a record is read from.

    Parameters
    ----------
    record : type
        Record class.

    Returns
    -------
    type
        Model with the keys of the file; unknown keys are refused, nothing is coerced.
    """
    fields: dict[str, Any] = {}
    for field in keyed_fields(record):
        about = field.metadata
        shape = shapes(record)[field.name]
        limits = {"gt": about["above"], "ge": about["least"], "le": about["most"]}
        limits = {name: limit for name, limit in limits.items() if limit is not None}
        kind = _annotation(shape, limits)
        required = field.default is field.default_factory  # both MISSING
        plain = isinstance(field.default, str | float | int)
        extra: Any = {"default": field.default} if plain else None
        default: Any = ... if required else None
        fields[about["key"]] = (
            kind if required else kind | None,
            Field(default, description=about["about"], json_schema_extra=extra),
        )
    model: type[BaseModel] = create_model(
        record.__name__,
        __config__=ConfigDict(extra="forbid", strict=True),
        __doc__=(record.__doc__ or "").partition("\n")[0],
        **fields,
    )
    return model


def _annotation(shape: Shape, limits: dict[str, Any]) -> Any:
    """Annotation of one key."""
    kind: Any = shape.kind
    if shape.is_record:
        kind = file_model(kind)
    elif kind is float:
        kind = Annotated[float, Field(allow_inf_nan=False, **limits)]
    elif kind is int:
        kind = Annotated[int, Field(**limits)]
    elif kind is str:
        kind = Annotated[str, Field(min_length=1)]
    if not shape.many:
        return kind
    if shape.is_record:
        return Annotated[list[kind], BeforeValidator(_listed), _OneOrMany]
    return list[kind]


def check(record: type, values: dict[str, Any], places: Places, path: str | Path) -> None:
    """Refuse values of a file that do not fit a record, naming the first fault.

    Parameters
    ----------
    record : type
        Record class.
    values : dict
        Values as the TOML reader gives them.
    places : Places
        Lines of the keys.
    path : str or Path
        The file, for messages.

    Raises
    ------
    FileError
        ``unknown-key``, ``missing-unit``, ``missing-source``, ``missing-ambient``,
        ``missing-key``, ``not-positive``, ``below-absolute-zero``, ``out-of-bounds``,
        ``not-finite``, ``number-as-text``, ``unknown-choice``, ``empty-text`` or
        ``wrong-kind``.
    """
    try:
        file_model(record).model_validate(values)
    except ValidationError as refusal:
        faults = [_fault(record, fault, places, path) for fault in refusal.errors()]
        # A key misspelt is also a key missing; the misspelling is the one to tell.
        faults.sort(key=lambda fault: (fault.code not in _SPELLING, fault.line or 0))
        first = faults[0]
        if len(faults) > 1:
            lines = sorted({fault.line for fault in faults[1:] if fault.line is not None})
            where = f" (line {', '.join(map(str, lines))})" if lines else ""
            first.mend += f"; {len(faults) - 1} more to mend in this file{where}"
        raise first from None


_SPELLING = ("unknown-key", "missing-unit")
_MISSING = {"source": "missing-source", "ambient_C": "missing-ambient"}
#: Words of the trade for the times of a curve that are not the ones of the file.
_SYNONYMS = {"melting": "pre-arcing", "clearing": "operating", "opening": "operating"}
_KINDS = {"float": "a number", "int": "a whole number", "string": "a text in quotes"}


def _fault(record: type, fault: Any, places: Places, path: str | Path) -> FileError:
    """What pydantic found at one key, in our words."""
    place = tuple(part for part in fault["loc"] if isinstance(part, int) or "[" not in part)
    key = str(next(part for part in reversed(place) if isinstance(part, str)))
    kind, value, context = fault["type"], fault["input"], fault.get("ctx", {})
    table = dotted(place[:-1])

    def error(code: str, found: str, expected: str, mend: str) -> FileError:
        line = places.line(place)
        return FileError(
            code, found, path=path, line=line, key=dotted(place), expected=expected, mend=mend
        )

    if kind == "extra_forbidden":
        return error(*_unknown(record, place, key, table))
    if kind == "missing":
        code = _MISSING.get(key, "missing-key")
        within = f"in [{table}]" if table else "at the top of the file"
        about = _about(record, place)
        return error(code, f"{key} is missing", f"{key} {within}: {about}", f"add {key} = ...")
    shown = f"{key} = {value!r}"
    if kind in ("greater_than", "greater_than_equal", "less_than_equal"):
        (limit,) = context.values()
        sign = {"greater_than": "above", "greater_than_equal": "at least"}.get(kind, "at most")
        if key.endswith("_C"):
            code, mend = "below-absolute-zero", "check the sign and the unit"
        elif kind == "less_than_equal":
            code, mend = "out-of-bounds", "check the value and the unit of the key"
        else:
            code, mend = "not-positive", "leave the key out when the value is not known"
        return error(code, shown, f"a number {sign} {limit:g}", mend)
    if kind == "finite_number":
        mend = "leave the key out when the value is not known"
        return error("not-finite", shown, "a finite number", mend)
    if kind == "string_too_short":
        return error("empty-text", shown, "a text that is not empty", "say it in a few words")
    if kind == "literal_error":
        choices = _choices(record, place)
        word = _SYNONYMS.get(str(value).casefold(), str(value))
        meant = get_close_matches(word, choices, 1, 0.6)
        mend = f"did you mean {meant[0]!r}?" if meant else "choose one of these"
        return error("unknown-choice", shown, f"one of {', '.join(map(repr, choices))}", mend)
    base = kind.partition("_")[0]
    if base in ("float", "int") and isinstance(value, str):
        return error("number-as-text", shown, "a number", "remove the quotes")
    expected = _KINDS.get(base, f"a table [{dotted(place)}]")
    return error("wrong-kind", shown[:80], expected, "see the documentation of the file")


def _unknown(record: type, place: tuple[Any, ...], key: str, table: str) -> tuple[str, ...]:
    """Code, found, expected and mend for a key that is not known."""
    owner = _owner(record, place)
    known = [field.metadata["key"] for field in keyed_fields(owner)] if owner else []
    within = f"[{table}]" if table else "the top of the file"
    for other in known:
        stem = other.rpartition("_")[0]
        if stem and stem == key:
            found = f"{key} has no unit"
            return "missing-unit", found, other, f"write {other}; no unit is assumed"
    meant = get_close_matches(key, known, 1, 0.6)
    if meant:
        mend = f"did you mean {meant[0]}?"
    else:
        homes = [f"[{name}]" for name in _homes(record, key) if name != table]
        mend = f"it belongs in {' or '.join(homes)}" if homes else "remove it"
    return "unknown-key", f"{key} is not a key of {within}", ", ".join(known), mend


def _owner(record: type, place: tuple[Any, ...]) -> type | None:
    """Record class of the table that holds the last key of a place."""
    for name in (part for part in place[:-1] if isinstance(part, str)):
        field = next((f for f in keyed_fields(record) if f.metadata["key"] == name), None)
        if field is None or not shapes(record)[field.name].is_record:
            return None
        record = shapes(record)[field.name].kind
    return record


def _field(record: type, place: tuple[Any, ...]) -> tuple[Any, Shape] | None:
    """Field and shape of the key at a place."""
    names = tuple(part for part in place if isinstance(part, str))
    owner = _owner(record, names)
    for field in keyed_fields(owner) if owner else ():
        if field.metadata["key"] == names[-1]:
            return field, shapes(owner)[field.name]
    return None


def _about(record: type, place: tuple[Any, ...]) -> str:
    found = _field(record, place)
    return str(found[0].metadata["about"]) if found else ""


def _choices(record: type, place: tuple[Any, ...]) -> list[str]:
    found = _field(record, place)
    return [str(choice) for choice in get_args(found[1].kind)] if found else []


def _homes(record: type, key: str, table: str = "") -> list[str]:
    """Tables in which a key would be known."""
    homes = []
    for field in keyed_fields(record):
        shape = shapes(record)[field.name]
        if field.metadata["key"] == key and table:
            homes.append(table)
        if shape.is_record:
            name = field.metadata["key"]
            homes += _homes(shape.kind, key, f"{table}.{name}" if table else name)
    return homes


def json_schema(record: type) -> dict[str, Any]:
    """JSON Schema of the file of a record."""
    schema: dict[str, Any] = _without_null(file_model(record).model_json_schema())
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    return schema


def _without_null(node: Any) -> Any:
    """A schema in which an absent key is left out: TOML has no null."""
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {
        name: _without_null(value)
        for name, value in node.items()
        if (name, value) != ("default", None)
    }
    choices = [choice for choice in kept.get("anyOf", ()) if choice != {"type": "null"}]
    if len(choices) == 1:
        del kept["anyOf"]
        return {**choices[0], **kept}
    return {**kept, "anyOf": choices} if choices else kept
