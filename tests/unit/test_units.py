"""units.py: kelvin and degrees Celsius, texts with units."""

from __future__ import annotations

import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fusetherm import units
from fusetherm.errors import InputError
from fusetherm.units import ambient_notes, celsius, kelvin, quantity, unit_scale


def test_docstring_examples() -> None:
    tried = doctest.testmod(units)
    assert tried.attempted > 0
    assert tried.failed == 0


@given(st.floats(-273.15, 5000.0))
def test_celsius_undoes_kelvin(temperature_c: float) -> None:
    assert celsius(kelvin(temperature_c)) == pytest.approx(temperature_c, abs=1e-12)


def test_absolute_zero_is_the_lowest() -> None:
    assert kelvin(-273.15) == 0.0
    with pytest.raises(InputError, match="ambient is -274") as caught:
        kelvin(-274.0, "ambient")
    assert caught.value.code == "below-absolute-zero"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_temperature_must_be_finite(value: float) -> None:
    with pytest.raises(InputError) as caught:
        kelvin(value)
    assert caught.value.code == "temperature-not-finite"


def test_hot_ambient_is_remarked_as_a_slip_of_unit() -> None:
    assert ambient_notes(200.0) == ()
    (note,) = ambient_notes(296.15)
    assert note.code == "ambient-looks-like-kelvin"
    assert "296.15 looks like kelvin; in degrees Celsius that is 23" in note.text


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("10 mV/A", "V/A", 0.01),
        ("100 mV/kA", "V/A", 1e-4),
        ("1V/A", "V/A", 1.0),
        ("-3.5e-1 kA", "A", -350.0),
        ("25 ms", "s", 0.025),
        ("2 µs", "s", 2e-6),
        ("0.4 mΩ", "Ω", 4e-4),
        ("0.4 mohm", "ohm", 4e-4),
        ("20 MHz", "Hz", 2e7),
        ("3 mm", "m", 3e-3),
    ],
)
def test_quantity(text: str, unit: str, value: float) -> None:
    assert quantity(text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "text", ["10", "mV/A", "10 mV", "10 A/mV", "1,5 V/A", "1.2.3 V/A", "10 xV/A", ""]
)
def test_quantity_refuses_what_is_no_ratio(text: str) -> None:
    with pytest.raises(InputError) as caught:
        quantity(text, "V/A")
    assert caught.value.code == "quantity-unreadable"


def test_scale_needs_a_unit_known_here() -> None:
    assert unit_scale("kA", "A") == 1000.0
    assert unit_scale("aA", "A") is None
    with pytest.raises(ValueError, match="furlong"):
        unit_scale("m", "furlong")
