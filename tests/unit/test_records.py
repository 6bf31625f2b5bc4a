"""Records: between SI in Python and the units of a file."""

# ruff: noqa: RUF009  (keyed makes a dataclass field)

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from fusetherm.errors import FileError
from fusetherm.fuse.records import (
    contents,
    keyed,
    parse,
    read_text,
    record_hash,
    record_of,
    scaled,
    toml_text,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A table."""

    width: float = keyed("width_mm", "Width [mm].")


@dataclass(frozen=True, slots=True, kw_only=True)
class Whole:
    """A file."""

    area: float = keyed("area_mm2", "Area [mm²].")
    share: float | None = keyed("share_percent", "Share [percent].", default=None)
    names: tuple[str, ...] = keyed("names", "Names.", default=())
    count: int = keyed("count", "Count.", default=1)
    parts: tuple[Part, ...] = keyed("part", "Parts.", default=())
    one: Part | None = keyed("one", "One part.", default=None)
    remark: str = "no key"


WHOLE = Whole(area=2.5e-6, share=0.1, names=('a "b"\\\n\x7f\t', "µ"), parts=(Part(width=1e-3),) * 2)


@pytest.mark.parametrize(
    ("key", "written", "value"),
    [("mohm", 1.7, 1.7e-3), ("mm2", 0.1, 1e-7), ("mm", 0.3, 3e-4), ("percent", 10.0, 0.1)],
)
def test_units_of_keys_become_si_without_a_last_digit_off(
    key: str, written: float, value: float
) -> None:
    exponent = {"mohm": -3, "mm": -3, "mm2": -6, "percent": -2}[key]
    assert scaled(written, exponent) == value
    assert scaled(value, -exponent) == written


def test_toml_text_reads_back_equal() -> None:
    values, _ = parse(toml_text(WHOLE), "x.toml")
    assert record_of(Whole, values) == WHOLE
    assert values["area_mm2"] == 2.5
    assert values["part"] == [{"width_mm": 1}, {"width_mm": 1}]


def test_one_table_where_several_may_stand() -> None:
    values, _ = parse("area_mm2 = 1.0\n[part]\nwidth_mm = 2.0\n", "x.toml")
    assert record_of(Whole, values).parts == (Part(width=2e-3),)


def test_absent_values_are_left_out() -> None:
    assert contents(Whole(area=1e-6)) == {"area_mm2": 1.0, "count": 1}


def test_hash_follows_the_content_only() -> None:
    again = Whole(**{name: getattr(WHOLE, name) for name in ("area", "share", "names", "parts")})
    assert record_hash(again) == record_hash(WHOLE)
    assert record_hash(Whole(area=2.6e-6)) != record_hash(Whole(area=2.5e-6))
    # A value that is stated and equal to the default says the same as one left out.
    assert record_hash(Whole(area=1e-6, count=1)) == record_hash(Whole(area=1e-6))


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nb = 1,5\n", 2),
        ("a = 1\na = 2\n", 2),
        ("a = 1\n\n[curve\n", 3),
        ('a = 1\nb = "open', 2),
        ("a = 1\n[t]\nx = ", 3),
    ],
)
def test_syntax_errors_name_the_line(text: str, line: int) -> None:
    with pytest.raises(FileError) as caught:
        parse(text, "x.toml")
    assert (caught.value.code, caught.value.line, caught.value.path) == (
        "toml-syntax",
        line,
        "x.toml",
    )


def test_line_ends_of_windows_are_one_line_each() -> None:
    _, places = parse("a = 1\r\n[t]\r\nb = 2\r\n", "x.toml")
    assert places.line(("t", "b")) == 3


def test_read_text(tmp_path: Path) -> None:
    file = tmp_path / "µ.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_text(file) == "a = 1\n"
    file.write_bytes(b"a = 1\n# \xb5\n")
    with pytest.raises(FileError) as caught:
        read_text(file)
    assert (caught.value.code, caught.value.line) == ("not-utf-8", 2)
    for path, code in ((tmp_path, "folder-as-file"), (tmp_path / "a.toml", "file-missing")):
        with pytest.raises(FileError) as caught:
            read_text(path)
        assert caught.value.code == code
        assert caught.value.path == str(path)
