"""Cases of the verification: what passes, what fails, and what is no sound case."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fusetherm import InputError
from fusetherm.verify import Case
from fusetherm.verify.case import case

SOUND: dict[str, Any] = {
    "unit": "A", "expected": 100.0, "source": "made up", "origin": "computed", "calls": "len",
}  # fmt: skip


def giving(value: float, **different: Any) -> Case:
    return case("one", "of a test", **{**SOUND, **different})(lambda: value)


@pytest.mark.parametrize(
    ("different", "value", "error", "passed"),
    [
        ({"relative": 0.01}, 100.9, 0.009, True),
        ({"relative": 0.01}, 98.9, -0.011, False),
        ({"relative": 0.01, "expected": -100.0}, -100.9, -0.009, True),
        ({"relative": 0.01, "expected": -100.0}, -98.9, 0.011, False),
        ({"absolute": 0.5}, 100.4, 0.4, True),
        ({"absolute": 0.5}, 99.4, -0.6, False),
        ({"absolute": 0.5, "expected": 0.0}, -0.4, -0.4, True),
        ({"expected": (1.0, 2.0)}, 1.0, 0.0, True),
        ({"expected": (1.0, 2.0)}, 2.0, 0.0, True),
        ({"expected": (1.0, 2.0)}, 0.75, -0.25, False),
        ({"expected": (1.0, 2.0)}, 2.25, 0.25, False),
        ({"expected": (1.0, math.inf)}, 1e300, 0.0, True),
        ({"expected": (1.0, math.inf)}, math.inf, 0.0, True),
        ({"expected": (-math.inf, 1.0)}, 2.0, 1.0, False),
    ],
)
def test_error_and_verdict(
    different: dict[str, Any], value: float, error: float, passed: bool
) -> None:
    row = giving(value, **different).run()
    assert row.passed is passed
    assert row.error == pytest.approx(error, abs=1e-12)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("different", [{"relative": 0.5}, {"absolute": 1e9}, {"expected": (1, 2)}])
def test_what_is_no_number_fails(different: dict[str, Any], value: float) -> None:
    assert not giving(value, **different).run().passed


def test_the_band_of_a_tolerance() -> None:
    assert giving(0.0, relative=0.01).band == (99.0, 101.0)
    assert giving(0.0, expected=-100.0, relative=0.01).band == (-101.0, -99.0)
    assert giving(0.0, absolute=0.5).band == (99.5, 100.5)


def test_what_is_raised_becomes_a_failed_row() -> None:
    def raising() -> float:
        raise InputError("not-positive", "a length below zero")

    row = case("one", "of a test", relative=0.1, **SOUND)(raising).run()
    assert not row.passed
    assert math.isnan(row.got)
    assert "InputError" in row.failure
    assert "a length below zero" in row.failure


def test_a_warning_made_an_error_becomes_a_failed_row() -> None:
    def warning() -> float:
        import warnings

        warnings.warn("beyond the table", stacklevel=1)
        return 100.0

    assert not case("one", "of a test", relative=0.1, **SOUND)(warning).run().passed


def test_an_interruption_is_no_failed_row() -> None:
    def interrupted() -> float:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        case("one", "of a test", relative=0.1, **SOUND)(interrupted).run()


@pytest.mark.parametrize(
    ("different", "expected"),
    [
        ({}, "tolerance above zero"),
        ({"relative": 0.0}, "tolerance above zero"),
        ({"relative": -0.1}, "tolerance above zero"),
        ({"absolute": math.inf}, "tolerance above zero"),
        ({"absolute": math.nan}, "tolerance above zero"),
        ({"relative": 0.1, "absolute": 0.1}, "a relative or an absolute one"),
        ({"relative": 0.1, "expected": 0.0}, "absolute tolerance about zero"),
        ({"relative": 0.1, "expected": math.nan}, "finite"),
        ({"relative": 0.1, "expected": math.inf}, "finite"),
        ({"expected": (2.0, 1.0)}, "lower end first"),
        ({"expected": (1.0, 1.0)}, "lower end first"),
        ({"expected": (1.0, math.nan)}, "two numbers"),
        ({"expected": (1.0, 2.0), "relative": 0.1}, "without a tolerance"),
        ({"relative": 0.1, "source": " "}, "a source"),
        ({"relative": 0.1, "origin": "heard"}, "read, computed or memory"),
    ],
)
def test_cases_that_are_not_sound_are_refused(different: dict[str, Any], expected: str) -> None:
    with pytest.raises(InputError, match=expected) as caught:
        giving(1.0, **different)
    assert caught.value.code == "case-not-sound"


def test_the_topic_is_the_file_of_the_rows() -> None:
    measure: Callable[[], float] = lambda: 1.0  # noqa: E731
    measure.__module__ = "fusetherm.verify.rows.long_wires"
    one = case("one", "of a test", relative=0.1, **SOUND)(measure)
    assert one.topic == "long wires"
    assert giving(1.0, relative=0.1, topic="sums").topic == "sums"


def test_a_case_is_frozen() -> None:
    one = giving(1.0, relative=0.1)
    with pytest.raises(AttributeError):
        one.tolerance = 2.0  # type: ignore[misc]
    assert replace(one, tolerance=0.2).tolerance == 0.2
