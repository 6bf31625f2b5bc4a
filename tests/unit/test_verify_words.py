"""Texts of the rows."""

from __future__ import annotations

import math
from typing import Any

import pytest

from fusetherm.verify import Case, words
from fusetherm.verify.case import case


def one(value: float = 1.0, **different: Any) -> Case:
    about: dict[str, Any] = {
        "unit": "A2 s/mm4", "expected": 2.0, "relative": 0.05, "source": "a book",
        "origin": "read", "calls": "len", "topic": "sums",
    }  # fmt: skip
    return case("one", "a row", **{**about, **different})(lambda: value)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"), (102539.8, "102540"), (1.5e-7, "1.5·10⁻⁷"), (2.5e12, "2.5·10¹²"),
        (-math.inf, "no lower limit"), (math.nan, "-"),
    ],
)  # fmt: skip
def test_numbers(value: float, text: str) -> None:
    assert words.number(value) == text


def test_errors_bear_what_they_are_measured_in() -> None:
    assert words.error_text(one(2.02).run()) == "+1 %"
    assert words.tolerance_text(one()) == "5 %"
    absolute = one(1.9, relative=None, absolute=0.2)
    assert words.error_text(absolute.run()) == "-0.1 A²s/mm⁴"
    assert words.tolerance_text(absolute) == "0.2 A²s/mm⁴"


@pytest.mark.parametrize(
    ("ends", "text", "inside"),
    [
        ((1.0, 2.0), "1 to 2", 1.5),
        ((1.0, math.inf), "> 1", 3.0),
        ((-math.inf, 2.0), "< 2", 1.0),
    ],
)
def test_bands(ends: tuple[float, float], text: str, inside: float) -> None:
    band = one(inside, expected=ends, relative=None, unit="s")
    assert words.expected_text(band) == text
    assert words.tolerance_text(band) == ""
    assert words.error_text(band.run()) == "inside"


def test_a_value_outside_a_band_tells_how_far() -> None:
    assert words.error_text(one(2.5, expected=(1.0, 2.0), relative=None, unit="s").run()) == (
        "+0.5 s"
    )


def test_sources_say_once_how_they_were_come_by() -> None:
    assert words.source_text(one()) == "a book (read)"
    assert words.source_text(one(source="a book, read")) == "a book, read"
    assert words.source_text(one(source="a book, from memory", origin="memory")) == (
        "a book, from memory"
    )
    assert words.source_text(one(source="mpmath, 25 digits", origin="computed")) == (
        "mpmath, 25 digits"
    )
    assert words.source_text(one(source="I² T", origin="computed")) == "I² T (computed apart)"
    assert words.source_text(one(source="computed with ht", origin="memory")) == (
        "computed with ht (from memory)"
    )
