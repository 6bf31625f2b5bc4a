"""Records: frozen dataclasses that know their keys in a TOML file.

A field made by :func:`keyed` carries its key of the file; the last part of the key is its
unit (``cold_resistance_mohm``), and the value in Python is in SI (degrees Celsius stay, and
say so in both names). From these fields alone come the reading, the checks of kind and sign
(``schema.py``), the writing and the hash, so that each quantity is described once.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import cache
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from ..errors import FileError
from .toml_lines import Places

Record = TypeVar("Record")

#: Characters of a file, and depth of its tables: far more than any definition has.
_LONGEST, _DEEPEST = 1_000_000, 12
#: A key of so many parts that the TOML reader would take minutes over it.
_PART = r"""(?:(?<![\w-])[\w-]+|"[^"\n]{0,200}"|'[^'\n]{0,200}')"""
_DOTTED = re.compile(rf"{_PART}(?:[ \t]*\.[ \t]*{_PART}){{30}}")

#: Powers of ten from the unit a key ends in to SI; any other ending is SI already.
EXPONENTS = {"mohm": -3, "mV": -3, "mm": -3, "mm2": -6, "percent": -2}

#: Digits a number of a file keeps. Every decimal of 15 digits survives the way through a
#: float64 and back (IEEE 754), so that reading, writing and reading again changes nothing.
DIGITS = 15


def keyed(
    key: str,
    about: str,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
    default: object = dataclasses.MISSING,
) -> Any:
    """Field of a record that has a key in the file.

    Parameters
    ----------
    key : str
        Key in the file, with its unit as the last part.
    about : str
        One sentence on what it is; also shown in the published schema.
    above, least, most : float, optional
        Bounds of the value as it is written in the file.
    default : object, optional
        Value when the key is absent; without it the key is required.

    Returns
    -------
    dataclasses.Field
        The field.
    """
    metadata = {"key": key, "about": about, "above": above, "least": least, "most": most}
    if default is dataclasses.MISSING:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


@dataclasses.dataclass(frozen=True, slots=True)
class Shape:
    """What a keyed field holds: its bare type, whether it may be absent, whether it is a list."""

    kind: Any
    optional: bool
    many: bool

    @property
    def is_record(self) -> bool:
        """Whether it holds a table (or a list of tables)."""
        return dataclasses.is_dataclass(self.kind)


@cache
def shapes(record: type) -> Mapping[str, Shape]:
    """Shape of each keyed field of a record class, by the field's name."""
    hints = get_type_hints(record)
    found = {}
    for field in keyed_fields(record):
        hint, optional, many = hints[field.name], False, False
        if get_origin(hint) in (UnionType, Union):
            (hint,) = (part for part in get_args(hint) if part is not NoneType)
            optional = True
        if get_origin(hint) is tuple:
            hint, many = get_args(hint)[0], True
        found[field.name] = Shape(hint, optional, many)
    return found


def keyed_fields(record: Any) -> Iterator[dataclasses.Field[Any]]:
    """Fields of a record (or its class) that have a key in the file."""
    return (field for field in dataclasses.fields(record) if "key" in field.metadata)


def unit_of(key: str) -> str:
    """Unit a key ends in, empty when it has none that is scaled."""
    ending = key.rpartition("_")[2]
    return ending if ending in EXPONENTS else ""


def scaled(value: float, exponent: int) -> float:
    """Value times a power of ten, exact for numbers of up to 15 digits.

    Examples
    --------
    >>> scaled(2.5, -6), 2.5 * 1e-6
    (2.5e-06, 2.4999999999999998e-06)
    """
    return float(Decimal(f"{value:.{DIGITS}g}").scaleb(exponent))


def _refuse_endless(text: str, path: str | Path) -> None:
    """Refuse what the TOML reader would take for ever, or all memory, to read."""
    if len(text) > _LONGEST:
        raise FileError(
            "too-large", f"{len(text) / 1e6:.1f} million characters of text", path=path,
            expected=f"at most {_LONGEST // 10**6} million: a definition has some hundred lines",
            mend="give the file of one fuse",
        )  # fmt: skip
    if _DOTTED.search(text):
        raise _too_deep(path)


def _too_deep(path: str | Path) -> FileError:
    return FileError(
        "toml-syntax",
        "tables or lists stand more than a dozen deep in one another",
        path=path,
        expected="key = value lines under [table] headers",
        mend="see the page of file formats for the tables there are",
    )


def _extent(values: object) -> tuple[int, bool]:
    """How deep tables and lists stand in one another, and whether an integer has over 64 bits."""
    deepest, level, endless = 0, [values], False
    while level := [
        item
        for value in level
        if isinstance(value, (dict, list))
        for item in (value.values() if isinstance(value, dict) else value)
    ]:
        deepest += 1
        endless = endless or any(isinstance(x, int) and x.bit_length() > 64 for x in level)
    return deepest, endless


#: Tables by which a file of another kind is known: key, what it is, the command that takes it.
_TABLES_OF_OTHERS = (
    ("event", "a duty", "endure"), ("way", "the plan of a fuse box", "fusebox"),
    ("waveform", "the plan of a sweep", "sweep"),
)  # fmt: skip


def parse(
    text: str, path: str | Path, *, kind: Literal["definition", "duty", "plan"] = "definition"
) -> tuple[dict[str, Any], Places]:
    """Values of a TOML text and the places of its keys.

    Parameters
    ----------
    text : str
        The text.
    path : str or Path
        Its file, for messages.
    kind : {"definition", "duty", "plan"}
        What it should be, for messages.

    Returns
    -------
    values : dict
        As the TOML reader gives them.
    places : Places
        Lines of the keys.

    Raises
    ------
    FileError
        ``too-large`` or ``toml-syntax``; ``not-a-definition``, ``not-a-duty`` or ``not-a-plan``
        for a file of another kind.
    """
    _refuse_endless(text, path)
    try:
        values = tomllib.loads(text)
        depth, endless = _extent(values)
        deep = depth > _DEEPEST
        if endless:
            raise ValueError
    except RecursionError:
        deep = True
    except ValueError as cause:
        if kind == "definition":
            _refuse_another_kind(text, path)
        else:
            _refuse_no(kind, text, path)
        message, _, place = str(cause).partition(" (at ")
        if not isinstance(cause, tomllib.TOMLDecodeError):
            message = "a whole number of more than 64 bits"
        digits = place.removeprefix("line ").partition(",")[0]
        end = text.rstrip().count("\n") + 1
        raise FileError(
            "toml-syntax",
            f"not valid TOML: {message[:1].lower()}{message[1:]}",
            path=path,
            line=int(digits) if digits.isdigit() else end,
            expected="key = value lines under [table] headers",
            mend="texts in quotes, numbers without, a decimal point, each key once",
        ) from None
    if deep:
        raise _too_deep(path)
    places = Places(text.replace("\r\n", "\n"))
    for key, what, takes in _TABLES_OF_OTHERS if kind == "definition" else ():
        if key in values:
            raise FileError(
                "not-a-definition", f"this is {what}, not a definition", path=path,
                line=places.line((key,)), key=key, expected="a definition",
                mend=f"give the definition here; `{takes}` takes {what}; keep such a "
                "file out of a folder that is screened",
            )  # fmt: skip
    return values, places


def _refuse_another_kind(text: str, path: str | Path) -> None:
    """Say what a file is that is no definition at all: a fit file, or a capture."""
    mend = "give the definition, a .toml file"
    if text.lstrip().startswith("{"):
        found = "this is JSON, not a definition"
        with contextlib.suppress(ValueError):
            content = json.loads(text)
            if str(content.get("schema", "")).startswith("fusetherm/fit/"):
                found = "this is a fit file, not a definition"
                source = content.get("definition_path") or "a .toml file"
                beside = Path(path).parent / str(source)
                source = beside if beside.is_file() else source
                mend = (
                    "give it to `carry` or `curve`, which take it as it is; to fit again, give "
                    f"the definition it was made from: {source}"
                )
    elif "=" not in text and text.strip():
        found = "no line says key = value: this is not a definition"
    else:
        return
    raise FileError("not-a-definition", found, path=path, expected="a definition", mend=mend)


def _refuse_no(kind: Literal["duty", "plan"], text: str, path: str | Path) -> None:
    """Say that a file is no duty or plan at all: JSON, or a capture."""
    if not text.lstrip().startswith("{") and ("=" in text or not text.strip()):
        return
    what = "this is JSON" if text.lstrip().startswith("{") else "no line says key = value"
    raise FileError(
        "not-a-duty" if kind == "duty" else "not-a-plan", f"{what}: this is not a {kind}",
        path=path, expected=f"a {kind}, a .toml file",
        mend="check which file it is; a duty's fuse has an option of its own",
    )  # fmt: skip


def read_text(path: str | Path) -> str:
    """Text of a UTF-8 file, without a byte-order mark.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    str
        Its text.

    Raises
    ------
    FileError
        ``file-missing``, ``folder-as-file``, ``file-unreadable`` or ``not-utf-8``.
    """
    file = Path(path)
    try:
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as cause:
        line = file.read_bytes()[: cause.start].count(b"\n") + 1
        raise FileError(
            "not-utf-8",
            f"byte {cause.start} is not UTF-8 text",
            path=path,
            line=line,
            expected="a TOML file in UTF-8",
            mend="save it as UTF-8",
        ) from None
    except OSError as cause:
        refuse_absent(file)
        found = cause.strerror or str(cause)
        raise FileError(
            "file-unreadable",
            found[:1].lower() + found[1:],
            path=path,
            expected="a TOML file",
            mend="check the path and the rights on it",
        ) from None


def refuse_absent(path: str | Path) -> None:
    """Refuse a path under which there is no file.

    Raises
    ------
    FileError
        ``folder-as-file`` or ``file-missing``.
    """
    if Path(path).is_dir():
        raise FileError("folder-as-file", "this is a folder", path=path, expected="a file")
    if not Path(path).exists():
        raise FileError("file-missing", "there is no such file", path=path, mend="check the path")


def record_of(record: type[Record], values: Mapping[str, Any], **more: Any) -> Record:
    """Record from checked values of a file, in SI.

    Parameters
    ----------
    record : type
        Class of the record.
    values : mapping
        Values by key; a list of tables may be written as one table.
    **more
        Fields that have no key.

    Returns
    -------
    Record
        The record; absent keys take their default.
    """
    arguments = dict(more)
    kind: type = record
    for field in keyed_fields(kind):
        value = values.get(field.metadata["key"])
        if value is None:
            continue
        shape = shapes(kind)[field.name]
        items = value if isinstance(value, list) else [value]
        if shape.is_record:
            items = [record_of(shape.kind, item) for item in items]
        elif shape.kind is float:
            exponent = EXPONENTS.get(unit_of(field.metadata["key"]), 0)
            items = [scaled(item, exponent) for item in items]
        arguments[field.name] = tuple(items) if shape.many else items[0]
    return record(**arguments)


def contents(record: Any) -> dict[str, Any]:
    """Values of a record as the file has them: by key, in the key's unit; absent ones left out."""
    values: dict[str, Any] = {}
    kind: type = type(record)
    for field in keyed_fields(record):
        value = getattr(record, field.name)
        if value is None or value == ():
            continue
        shape = shapes(kind)[field.name]
        items = list(value) if shape.many else [value]
        if shape.is_record:
            items = [contents(item) for item in items]
        elif shape.kind is float:
            exponent = EXPONENTS.get(unit_of(field.metadata["key"]), 0)
            items = [scaled(item, -exponent) for item in items]
        values[field.metadata["key"]] = items if shape.many else items[0]
    return values


def toml_text(record: Any) -> str:
    """TOML text of a record; reading it gives an equal record."""
    return "\n".join(_lines(contents(record), "")).strip("\n") + "\n"


def record_hash(record: Any) -> str:
    """SHA-256 of what a record says, whatever the order, comments or spelling of its file."""
    text = json.dumps(contents(record), sort_keys=True, ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _lines(table: Mapping[str, Any], name: str) -> Iterator[str]:
    """Lines of a table: first its own values, then the tables below it."""
    below = {key: value for key, value in table.items() if _is_table(value)}
    for key, value in table.items():
        if key not in below:
            yield f"{key} = {_literal(value)}"
    for key, value in below.items():
        path = f"{name}.{key}" if name else key
        many = isinstance(value, list)
        for item in value if many else [value]:
            yield ""
            yield f"[[{path}]]" if many else f"[{path}]"
            yield from _lines(item, path)


def _is_table(value: object) -> bool:
    return isinstance(value, dict) or (
        isinstance(value, list) and all(isinstance(item, dict) for item in value)
    )


def _literal(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, str):
        # A TOML basic string is a JSON string but for DEL, which TOML wants escaped.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_literal(item) for item in value) + "]"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)
