"""Reading measured currents: what is understood, what is found, what is noted."""

from __future__ import annotations

import gzip
import hashlib
import math
import pickle
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import fusetherm as ft
from fusetherm.current.capture import Capture, read_capture
from fusetherm.current.quality import flat_tops
from fusetherm.current.timing import window
from fusetherm.current.units_written import has_only_units, name_and_unit, unit_kind

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Writes a file of the given text."""

    def make(text: str | bytes, encoding: str = "utf-8", name: str = "record.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
        return path

    return make


def codes(capture: Capture) -> set[str]:
    return {note.code for note in capture.notes}


ROWS = "0,1.5\n0.001,2.5\n0.002,-3.5\n"
PLAIN = "Time (s),Current (A)\n" + ROWS


def assert_plain(capture: Capture) -> None:
    np.testing.assert_allclose(capture.time, [0.0, 1e-3, 2e-3], rtol=1e-15)
    np.testing.assert_allclose(capture.values, [1.5, 2.5, -3.5], rtol=1e-15)


def test_a_plain_record(write: Write) -> None:
    path = write(PLAIN)
    capture = read_capture(path)
    assert_plain(capture)
    assert isinstance(capture, ft.Waveform)
    assert capture.path == str(path)
    assert capture.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    layout = capture.record.layout
    assert (layout.delimiter, layout.decimal, layout.encoding) == (",", ".", "utf-8")
    assert (layout.header_row, layout.unit_row, layout.first_row) == (1, None, 2)
    assert capture.sample_rate == pytest.approx(1000.0)
    assert not capture.time.flags.writeable


@pytest.mark.parametrize(
    "head",
    [
        "t [ms];I [mA]",
        "Time / ms;Current / mA",
        "Time/ms;Current/mA",
        "time_ms;current_mA",
        "Time in ms;Current in mA",
        "Time;Current\nms;mA",
        "Time;Current\n(ms);(mA)",
        "# Time (ms);Current (mA)",
        "Recorder 7\nSamples;3;\n\nTime (ms);Current (mA)",
    ],
)
def test_units_in_the_head_or_below_it(write: Write, head: str) -> None:
    capture = read_capture(write(head + "\n0;1500\n1;2500\n2;-3500\n"))
    assert_plain(capture)
    assert capture.record.time_column.unit == "ms"
    assert capture.record.current_column.unit == "mA"


@pytest.mark.parametrize(
    ("unit", "factor"), [("A", 1.0), ("kA", 1e3), ("mA", 1e-3), ("Amps", 1.0), ("µA", 1e-6)]
)
def test_bad_input_38_prefixes_of_current(write: Write, unit: str, factor: float) -> None:
    capture = read_capture(write(f"Time (µs),Current ({unit})\n0,1\n1,2\n2,3\n"))
    np.testing.assert_allclose(capture.values, [factor, 2 * factor, 3 * factor], rtol=1e-15)
    assert capture.duration == pytest.approx(2e-6, rel=1e-15)


def test_units_written() -> None:
    assert name_and_unit("I_total [kA]") == ("I_total", "kA")
    assert name_and_unit("Channel A") == ("Channel A", "")
    assert unit_kind("min") == ("s", 60.0)
    assert unit_kind("°C") is None
    assert has_only_units(("s", "A", ""))
    assert not has_only_units(("s", "phase"))
    assert not has_only_units(("", ""))


@pytest.mark.parametrize(
    ("clamp", "code"),
    [("banana", "clamp-unreadable"), ("1e999 V/A", "clamp-unreadable"), ("0 V/A", "clamp-zero")],
)
@pytest.mark.parametrize("unit", ["A", "mV"])
def test_a_ratio_is_read_whether_needed_or_not(
    write: Write, clamp: str, code: str, unit: str
) -> None:
    with pytest.raises(ft.InputError) as caught:
        read_capture(write(PLAIN.replace("(A)", f"({unit})")), clamp=clamp)
    assert caught.value.code == code


def test_a_ratio_with_volts_and_amperes_leaves_a_choice(write: Write) -> None:
    """Else the voltage in the next column is divided by the ratio and taken for a current."""
    path = write("t (s),Supply (V),Pump (A)\n0,12,1\n1,12,2\n")
    with pytest.raises(ft.InputError) as caught:
        read_capture(path, clamp="10 mV/A")
    assert caught.value.code == "several-currents"
    assert read_capture(path).peak == 2.0
    assert read_capture(path, clamp="10 mV/A", current=1).peak == pytest.approx(1200.0)


def test_clamp_turns_volts_into_amperes(write: Write) -> None:
    path = write("Time (s),Ch 1 (mV)\n0,15\n0.001,25\n0.002,-35\n")
    assert_plain(read_capture(path, clamp="10 mV/A"))
    assert_plain(read_capture(path, clamp="0.01 V/A"))
    assert read_capture(path, clamp="10 mV/A").record.clamp == 0.01
    with pytest.raises(ft.InputError, match="clamp-zero"):
        read_capture(path, clamp="0 mV/A")


def test_columns_by_name_and_by_place(write: Write) -> None:
    path = write(
        "n,Time (s),Pump (A),Fan (A),Temp (°C)\n"
        + "".join(f"{k},{k * 0.001},{k},{10 * k},20\n" for k in range(5))
    )
    for key in ("Fan", "Fan (A)", "fan (a)", 3):
        assert read_capture(path, current=key).peak == 40.0
    assert read_capture(path, current="Pump", time=1).peak == 4.0
    for key, code in (
        ("Lamp", "no-such-column"),
        (9, "no-such-column"),
        ("Temp", "unit-contradicts"),
        ("Time", "same-column"),
    ):
        with pytest.raises(ft.FileError) as caught:
            read_capture(path, current=key, time="Time")
        assert caught.value.code == code
        assert caught.value.line == 1


def test_zero_window_and_trigger_time(write: Write) -> None:
    rng = np.random.default_rng(3)
    time = np.arange(-2000, 3000) * 1e-4
    noise = rng.normal(0.0, 0.05, time.size)
    current = 0.4 + noise + np.where(time >= 0, 20.0, 0.0)
    path = write(
        "t (s),I (A)\n" + "".join(f"{t:.4f},{i:.6f}\n" for t, i in zip(time, current, strict=True))
    )
    capture = read_capture(path, zero="-0.2 s : -1 ms")
    assert capture.record.original_start == pytest.approx(-0.2)
    assert capture.time[0] == 0.0
    assert capture.record.offset_removed == pytest.approx(0.4, abs=0.005)
    assert capture.noise_sd == pytest.approx(0.05, rel=0.1)
    assert capture.record.noise_source == "zero window"
    assert capture.offset_sd == pytest.approx(0.05 / math.sqrt(1991), rel=0.1)
    assert float(np.mean(capture.values[:1991])) == pytest.approx(0.0, abs=1e-9)
    assert "zero-offset" not in codes(capture)
    assert capture.i2t() - capture.i2t_noise_bias == pytest.approx(400.0 * 0.3, rel=2e-3)


def test_noise_bias_is_what_noise_adds_on_average(write: Write) -> None:
    rng = np.random.default_rng(5)
    n = 40_000
    for smooth, kernel in ((False, [1.0]), (True, np.ones(8) / math.sqrt(8.0))):
        noise = np.convolve(rng.normal(0.0, 0.5, n + 7), kernel, "valid")[:n]
        path = write(
            "t (s),I (A)\n" + "".join(f"{k * 1e-4:.4f},{i:.6f}\n" for k, i in enumerate(noise))
        )
        capture = read_capture(path, zero=(0.0, 4.0))
        assert capture.i2t() == pytest.approx(capture.i2t_noise_bias, rel=0.02)
        share = capture.i2t_noise_bias / (capture.noise_sd**2 * capture.duration)
        assert share == pytest.approx(0.96 if smooth else 0.667, abs=0.02)


def test_what_is_made_of_a_capture_keeps_its_record(write: Write) -> None:
    capture = read_capture(
        write(PLAIN), noise_sd=0.2, offset_sd=0.1, gain_tolerance=0.01, bandwidth_hz=2e4
    )
    double = capture.scaled(-2.0)
    assert isinstance(double, Capture)
    assert (double.noise_sd, double.offset_sd, double.gain_tolerance) == (0.4, 0.2, 0.01)
    assert capture.cut(0.0, 0.001).sha256 == capture.sha256
    assert capture.repeated(5, period=1.0).notes == capture.notes
    assert pickle.loads(pickle.dumps(capture)).fingerprint == capture.fingerprint
    assert capture.fingerprint != double.fingerprint
    assert capture.bandwidth_hz == 2e4


def test_summary(write: Write) -> None:
    time = np.arange(1000) * 1e-3
    current = np.where((time >= 0.4) & (time < 0.5), 100.0, 25.0) + 0.1 * np.sin(1e3 * time)
    path = write(
        "t (s);I (A)\n" + "".join(f"{t:.3f};{i:.4f}\n" for t, i in zip(time, current, strict=True))
    )
    capture = read_capture(path)
    summary = capture.summary()
    assert summary.columns == ("t (s)", "I (A)")
    assert summary.delimiter == ";"
    assert summary.samples == 1000
    assert summary.sample_rate == pytest.approx(1000.0)
    assert summary.jitter == pytest.approx(0.0, abs=1e-9)
    assert summary.base_load == pytest.approx(25.0, abs=0.1)
    assert summary.threshold == pytest.approx(62.5, abs=0.2)
    assert summary.longest_pulse.start == pytest.approx(0.4, abs=1e-3)
    assert summary.longest_pulse.duration == pytest.approx(0.1, abs=1e-3)
    assert summary.i2t == capture.i2t()
    assert summary.peak == summary.highest == capture.peak
    assert capture.summary(threshold=200.0).longest_pulse is None


def test_base_load_is_weighted_by_time(write: Write) -> None:
    # Three samples of the load over 9 s, six of a pulse within 1 s.
    path = write("t (s),I (A)\n0,5\n4.5,5\n9,5\n9.1,50\n9.2,50\n9.4,50\n9.6,50\n9.8,50\n10,50\n")
    assert read_capture(path, gaps="linear").summary().base_load == pytest.approx(5.0)


def test_windows() -> None:
    assert window("-5 ms : 0.2 s") == (-0.005, 0.2)
    assert window((0, 1)) == (0.0, 1.0)
    for text, code in (
        ("0 s", "window-unreadable"),
        ("2 s : 1 s", "window-reversed"),
        ("0 : 1", "window-unreadable"),
    ):
        with pytest.raises(ft.InputError) as caught:
            window(text)
        assert caught.value.code == code


def test_options_are_checked(write: Write) -> None:
    path = write(PLAIN)
    for options, code in (
        ({"gaps": "ignore"}, "policy-unknown"),
        ({"missing": "drop"}, "policy-unknown"),
        ({"noise_sd": -1.0}, "not-positive"),
        ({"gain_tolerance": math.nan}, "not-finite"),
        ({"bandwidth_hz": 0.0}, "not-positive"),
        ({"zero": "1 s : 2 s"}, "zero-window-empty"),
        ({"clamp": "10 mA"}, "clamp-unreadable"),
        ({"time_unit": "furlong"}, "unit-unknown"),
    ):
        given = path if "clamp" not in options else write("t (s),u (V)\n0,1\n1,2\n", name="u.csv")
        with pytest.raises(ft.InputError) as caught:
            read_capture(given, **options)
        assert caught.value.code == code


def test_flat_tops_of_clipped_and_of_honest_records() -> None:
    time = np.linspace(0.0, 1.0, 500)
    sine = 100.0 * np.sin(math.pi * time)
    assert flat_tops(np.minimum(sine, 80.0)) > 100
    assert flat_tops(-np.minimum(sine, 80.0)) > 100
    assert flat_tops(sine) == 0
    # A converter of few bits rounds its crest: no clipping.
    assert flat_tops(np.round(sine / 2.0) * 2.0) == 0
    # A rectangle stands still at every level: no proof.
    assert flat_tops(np.where((time > 0.3) & (time < 0.6), 125.0, 0.0)) == 0
    # The same rectangle on a noisy base, its top without noise, is clipped.
    noisy = np.where((time > 0.3) & (time < 0.6), 140.0, 0.0)
    noisy = noisy + np.random.default_rng(2).normal(0.0, 1.0, time.size)
    assert flat_tops(np.minimum(noisy, 125.0)) > 100
    assert flat_tops(noisy) == 0


def test_gzip_hash_is_that_of_the_file(write: Write) -> None:
    path = write(gzip.compress(PLAIN.encode()), name="record.csv.gz")
    assert read_capture(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(("resting", "noted"), [(1.0, False), (25.0, True)])
def test_a_zero_window_over_a_load_is_remarked(tmp_path: Path, resting: float, noted: bool) -> None:
    time = np.arange(400) * 1e-3
    current = np.where(time < 0.2, resting, 100.0 + resting)
    path = tmp_path / "a.csv"
    rows = "\n".join(f"{t:.3f},{i:.2f}" for t, i in zip(time, current, strict=True))
    path.write_text(f"Time (s),Current (A)\n{rows}\n", encoding="utf-8")
    found = codes(read_capture(path, zero="0 s : 0.19 s"))
    assert ("zero-window-loaded" in found) is noted
