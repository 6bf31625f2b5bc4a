"""Numbers as people write them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fusetherm.written import apart, counted, measure, number, percent


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (5.7, "5.7"), (110.2, "110"), (-1.2384, "-1.24"), (24410.6, "24400"),
     (999_600.0, "1·10⁶"), (0.9996, "1"), (1.2e-7, "1.2·10⁻⁷"), (419.52700000000004, "420")],
)  # fmt: skip
def test_three_digits_count(value: float, text: str) -> None:
    assert number(value) == text


@given(st.floats(1e-4, 9e5), st.integers(1, 6))
def test_what_is_written_is_the_number_to_its_digits(value: float, digits: int) -> None:
    text = number(value, digits)
    assert "e" not in text
    assert float(text.replace("·10⁶", "e6")) == pytest.approx(
        value, rel=0.5001 * 10.0 ** (1 - digits)
    )


def test_what_is_no_number_is_said_so() -> None:
    assert (number(math.nan), number(math.inf)) == ("not a number", "no limit")


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(0.000226, "s", "226 µs"), (0.9999, "s", "1 s"), (9.9996e-4, "s", "1 ms"),
     (1e-3, "s", "1 ms"), (3e-10, "s", "0.3 ns"), (0.368, "A", "0.368 A"),
     (0.0813, "A", "0.0813 A"), (-0.0082, "A", "-8.2 mA"), (12_345.0, "A", "12.3 kA"),
     (0.0, "A", "0 A"), (2e4, "Hz", "20 kHz"), (0.0303, "m", "30.3 mm"),
     (419.52700000000004, "A²s", "420 A²s"), (255_300.0, "A²s", "255000 A²s"),
     (-40.0, "°C", "-40 °C")],
)  # fmt: skip
def test_units_take_the_prefix_that_reads_best(value: float, unit: str, text: str) -> None:
    assert measure(value, unit) == text


def test_shares_have_no_exponent() -> None:
    assert [percent(x) for x in (1.1, 0.0086, 0.9, 12.345, 1e-6)] == [
        "110 %", "0.86 %", "90 %", "1230 %", "0.0001 %",
    ]  # fmt: skip


def test_numbers_that_differ_look_different() -> None:
    assert apart(125.3, 125.0) == ("125.3", "125.0")
    assert apart(125.04, 125.0) == ("125.04", "125.00")
    assert apart(125.0, 125.0) == ("125", "125")
    assert apart(1.118, 1.1199, 2) == ("1.118", "1.120")
    assert apart(131.2, 125.0) == ("131", "125")


def test_one_is_no_plural() -> None:
    assert [counted(n, "edge") for n in (0, 1, 2, 1200)] == [
        "0 edges", "1 edge", "2 edges", "1,200 edges",
    ]  # fmt: skip
