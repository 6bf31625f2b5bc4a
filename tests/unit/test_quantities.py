"""Quantities with a unit of their own, and the tables of pandas and xarray, as arguments."""

from __future__ import annotations

import datetime
from typing import Any

import numpy as np
import pandas as pd
import pint
import pytest
import xarray as xr

import fusetherm as ft
from fusetherm.current.shapes import exponential_decay, half_sine
from fusetherm.errors import InputError
from fusetherm.units import magnitude, takes

UNITS: Any = pint.UnitRegistry()
MODEL = ft.FuseModel(element=ft.round_wire(ft.metal("copper"), 2e-4, 0.02), name="a wire")
SQUARE = ft.Waveform(time=[0, 0, 0.02, 0.02], current=[0, 125, 125, 0])


def of(value: Any, unit: str) -> Any:
    return UNITS.Quantity(value, unit)


def test_a_waveform_of_quantities() -> None:
    wave = ft.Waveform(time=of([0, 0, 20, 20], "ms"), current=of([0, 0.125, 0.125, 0], "kA"))
    assert wave.i2t() == pytest.approx(SQUARE.i2t(), rel=1e-14)
    each = ft.Waveform(time=[of(0, "s"), of(20, "ms")], current=[of(1, "A"), of(1, "A")])
    assert each.duration == 0.02
    assert half_sine(of(0.1, "kA"), of(10, "ms")).peak == pytest.approx(100.0)
    tail = exponential_decay(100.0, time_constant=of(10, "ms"))
    assert tail.duration == pytest.approx(exponential_decay(100.0, 0.01).duration)
    assert SQUARE.repeated(10, period=of(1.5, "min")).duration == 900.0
    assert SQUARE.i2t(of(10, "ms")) == pytest.approx(0.5 * SQUARE.i2t())
    assert float(SQUARE.current(of(10, "ms"))) == 125.0


def test_temperatures_are_taken_to_degrees_celsius() -> None:
    plain = ft.minimum_fusing_current(MODEL, ambient_c=85.0)
    assert ft.minimum_fusing_current(MODEL, ambient_c=of(85.0, "degC")) == plain
    hot = ft.minimum_fusing_current(MODEL, ambient_c=of(358.15, "K"))
    assert hot == pytest.approx(plain, rel=1e-9)
    assert ft.minimum_fusing_current(MODEL, ambient_c=of(185.0, "degF")) == pytest.approx(plain)


@pytest.mark.parametrize(
    ("value", "unit"),
    [(of(5.0, "A"), "s"), (of(5.0, "delta_degC"), "degC"), (of(5.0, "s"), "degC"),
     (of(5.0, ""), "A"), (of([1.0, 2.0], "V"), "A"), (datetime.timedelta(seconds=1), "A"),
     (pd.date_range("2020-01-01", periods=2), "s"), ("60", "degC"), ("25 ms", "s")],
)  # fmt: skip
def test_another_kind_is_refused_by_name(value: Any, unit: str) -> None:
    with pytest.raises(InputError, match="the argument is") as caught:
        magnitude(value, unit, "the argument")
    assert caught.value.code == "wrong-dimension"
    assert unit in caught.value.expected


def test_answers_take_quantities_and_refuse_others() -> None:
    plain = ft.simulate(MODEL, SQUARE, ambient_c=60.0, start=1.0, until=0.05)
    run = ft.simulate(
        MODEL, SQUARE, ambient_c=of(333.15, "K"), start=of(1000, "mA"), until=of(50, "ms")
    )
    assert run.peak_temperature_c == pytest.approx(plain.peak_temperature_c, abs=1e-6)
    curve = ft.time_current_curve(MODEL, ambient_c=of(23.0, "degC"), currents=of([0.1, 0.2], "kA"))
    assert list(curve.current) == pytest.approx([100.0, 200.0])
    with pytest.raises(InputError, match="until is 5 "):
        ft.simulate(MODEL, SQUARE, until=of(5, "A"))
    with pytest.raises(InputError, match="ambient_c is"):
        ft.carry(MODEL, SQUARE, ambient_c=of(5, "A"))


def test_a_ramp_of_the_ambient_takes_times_and_temperatures() -> None:
    ramp = [(0.0, 23.0), (0.02, 85.0)]
    plain = ft.simulate(MODEL, SQUARE, ambient_c=ramp)
    assert plain.ambient_c == 23.0
    told = [(of(0.0, "s"), of(23.0, "degC")), (of(20, "ms"), of(358.15, "K"))]
    run = ft.simulate(MODEL, SQUARE, ambient_c=told)
    assert run.peak_temperature_c == pytest.approx(plain.peak_temperature_c, abs=1e-6)
    with pytest.raises(InputError, match="time is"):
        ft.simulate(MODEL, SQUARE, ambient_c=[(of(0.0, "A"), 23.0), (1.0, 30.0)])


def test_tables_of_pandas_and_xarray_go_in_and_out() -> None:
    series = pd.Series([0.0, 12.5, 12.5], index=[0.0, 0.01, 0.02])
    wave = ft.Waveform(time=series.index, current=series)
    array = xr.DataArray(series.values, coords={"time": series.index.values}, dims="time")
    assert ft.Waveform(time=array.time, current=array).fingerprint == wave.fingerprint
    frame = ft.simulate(MODEL, wave).to_xarray().drop_dims("position").to_dataframe()
    assert frame.index.name == "time"
    assert frame["element_temperature_c"].iloc[0] == pytest.approx(23.0)
    again = ft.Waveform(time=frame.index, current=frame["current"])
    # the trace has the ends of steps, three in the ramp: its heat is the record's to their length
    assert again.i2t() == pytest.approx(wave.i2t(), rel=0.1)


@pytest.mark.parametrize(
    "time",
    [pd.to_timedelta([0, 10, 20], unit="ms"), np.array([0, 10, 20], "timedelta64[ms]"),
     pd.to_timedelta([0, 10, 20], unit="ms").to_series(),
     [datetime.timedelta(milliseconds=k) for k in (0, 10, 20)]],
    ids=["index", "array", "series", "list"],
)  # fmt: skip
def test_time_differences_are_seconds(time: Any) -> None:
    """As plain numbers, those of pandas are a million times as long, or a billion."""
    wave = ft.Waveform(time=time, current=[0, 125, 125])
    assert wave.duration == pytest.approx(0.02, rel=1e-12)


def test_units_are_of_parameters_that_there_are() -> None:
    with pytest.raises(AssertionError):
        takes(amperes="A")(lambda current: current)


def test_what_is_no_fuse_or_current_is_refused_by_name() -> None:
    fuse: Any = ft.load_fuse(next(iter(ft.demo.definitions().values())))
    series: Any = [0.0, 1.0]
    for ask, code in (
        (lambda: ft.carry(fuse, SQUARE, ambient_c=23.0), "not-a-fuse"),
        (lambda: ft.margin(fuse, SQUARE), "not-a-fuse"),
        (lambda: ft.time_current_curve(fuse), "not-a-fuse"),
        (lambda: ft.simulate(fuse, SQUARE), "not-a-model"),
        (lambda: ft.minimum_fusing_current(fuse), "not-a-model"),
        (lambda: ft.simulate(MODEL, series), "not-a-waveform"),
    ):
        with pytest.raises(InputError) as caught:
            ask()
        assert caught.value.code == code
