"""Records without a column of seconds: sample numbers, a stated interval, times of the clock."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import fusetherm as ft
from fusetherm.cli.main import program
from fusetherm.current.capture import Capture, read_capture
from fusetherm.current.clock import Clock, is_clock
from fusetherm.current.clock import written as clock_text
from fusetherm.current.preamble import given_interval, stated_interval

Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Writes a file of the given text."""

    def make(text: str) -> Path:
        path = tmp_path / "record.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return make


def codes(capture: Capture) -> set[str]:
    return {note.code for note in capture.notes}


def refused(path: Path, code: str, line: int | None, **options: object) -> ft.FileError:
    with pytest.raises(ft.FileError) as caught:
        read_capture(path, **options)  # type: ignore[arg-type]
    assert (caught.value.code, caught.value.line) == (code, line), str(caught.value)
    assert caught.value.mend
    return caught.value


def assert_counted(capture: Capture, step: float) -> None:
    np.testing.assert_allclose(capture.time, [0.0, step, 2 * step], rtol=1e-14)
    np.testing.assert_allclose(capture.values, [1.5, 2.5, -3.5], rtol=1e-15)


# an interval above the numbers -------------------------------------------------------------------

ONE = "Current (A)\n1.5\n2.5\n-3.5\n"


@pytest.mark.parametrize(
    "line",
    ["Sample Interval,1e-05,s", "Sample interval (µs);10", "Sampling period: 10 us", "dt = 10 µs",
     "# Sampling rate: 100 kHz", "Sample Rate [Hz];100000", "sample rate,100 kS/s",
     'XINCR,"0.01",ms', "Samples per second\t100000", "Horizontal interval 10 µs"],
)  # fmt: skip
@pytest.mark.parametrize("rest", [ONE, "Current (A),\n1.5,\n2.5,\n-3.5,\n"])
def test_bad_input_43_interval_only_in_a_preamble(write: Write, line: str, rest: str) -> None:
    capture = read_capture(write(f"Recorder 7\n{line}\nRecord length,3\n{rest}"))
    assert_counted(capture, 1e-5)
    assert codes(capture) == {"samples-counted"}
    assert "line 2" in capture.notes[0].text
    assert "10 µs apart" in capture.notes[0].text


def test_bad_input_43_units_below_sample_numbers_and_volts(write: Write) -> None:
    text = "Sample Interval,2,ms\nSample,Clamp\n,mV\n1,15\n2,25\n3,-35\n"
    capture = read_capture(write(text), clamp="10 mV/A")
    assert_counted(capture, 2e-3)
    assert capture.record.time_column.name == "Sample"
    # Sample numbers tell gaps, which counted rows cannot.
    rows = "".join(f"{k},{k % 3}\n" for k in [*range(12), *range(40, 60)])
    refused(write("Sample Interval,2,ms\nSample,Current (A)\n" + rows), "gap", 15)


def test_bad_input_43_an_interval_without_unit(write: Write) -> None:
    path = write("Sample Interval,1e-05\n" + ONE)
    error = refused(path, "no-unit", 1)
    assert 'interval="1e-05 s"' in str(error)
    assert_counted(read_capture(path, time_unit="s"), 1e-5)
    assert_counted(read_capture(path, interval="20 us"), 2e-5)
    refused(write("Sample rate,50000\n" + ONE), "no-unit", 1, time_unit="s")


def test_bad_input_43_times_in_the_file_are_preferred(write: Write) -> None:
    text = "Sample Interval,7,s\nTime (s),Current (A)\n0,1.5\n0.001,2.5\n0.002,-3.5\n"
    capture = read_capture(write(text))
    assert_counted(capture, 1e-3)
    assert capture.notes == ()


def test_bad_input_43_a_statement_is_no_header(write: Write) -> None:
    path = write("Sample Interval,1e-05\n0,1.5\n1,2.5\n2,-3.5\n")
    refused(path, "no-header", 2)
    given = {"time": 0, "current": 1, "time_unit": "ms", "current_unit": "A"}
    assert_counted(read_capture(path, **given), 1e-3)  # type: ignore[arg-type]


def test_bad_input_43_an_empty_line_among_counted_samples(write: Write) -> None:
    """Left out, it would move all that follows."""
    refused(write(ONE.replace("2.5", "\n2.5")), "missing-value", 3, interval="1 ms")
    assert_counted(read_capture(write(ONE + "\n\n"), interval="1 ms"), 1e-3)


def test_bad_input_56_an_interval_given(write: Write) -> None:
    path = write("Sample,Current (A)\n1,1.5\n2,2.5\n3,-3.5\n")
    error = refused(path, "sample-numbers", 1)
    assert 'interval="10 µs"' in str(error)
    assert_counted(read_capture(path, interval="10 µs"), 1e-5)
    assert_counted(read_capture(path, interval="1 kHz"), 1e-3)
    assert_counted(read_capture(path, interval=0.5), 0.5)
    assert_counted(read_capture(path, interval="1 ms", time=0, current=1), 1e-3)
    refused(write(ONE), "no-time-column", 1)
    assert_counted(read_capture(write(ONE), interval="2 ms"), 2e-3)
    bare = write(ONE.partition("\n")[2])
    refused(bare, "no-unit", 1, interval="2 ms")
    assert_counted(read_capture(bare, interval="2 ms", current_unit="A"), 2e-3)


def test_an_interval_beside_times_is_refused(write: Write) -> None:
    path = write("Time (s),Current (A)\n0,1.5\n1,2.5\n")
    refused(path, "interval-beside-times", 1, interval="1 ms")


@pytest.mark.parametrize("text", ["10", "0 s", "-1 ms", "5 A", "0 Hz", "soon", 0.0, math.inf])
def test_intervals_that_are_none(text: str | float) -> None:
    with pytest.raises(ft.InputError) as caught:
        given_interval(text)
    assert caught.value.code == "interval-unreadable"


def test_statements() -> None:
    def seconds(*lines: str) -> float | None:
        found = stated_interval(lines)
        return None if found is None else found.seconds

    assert seconds("Sample interval,5", "Sample rate,1 MHz") == pytest.approx(1e-6)
    assert seconds("Sample interval,0,s", "dt = 3 ms") == pytest.approx(3e-3)
    assert math.isnan(seconds("dt,3"))  # type: ignore[arg-type]
    for line in ("Sampling,3,s", "dtx = 3 s", "Record length,1000", "Time (s),Current (A)", "fs"):
        assert seconds(line) is None, line


def test_the_command_gives_the_interval_too(write: Write) -> None:
    ask = ["inspect", str(write("Sample,Current (A)\n1,1.5\n2,2.5\n3,-3.5\n"))]
    done = CliRunner().invoke(program, ask)
    assert done.exit_code == 3
    assert '--interval "10 µs"' in done.stderr
    assert CliRunner().invoke(program, [*ask, "--interval", "10 us"]).exit_code == 0


# times of the clock ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "stamps"),
    [
        ("Time", ["12:30:05.000", "12:30:05.500", "12:30:06.000"]),
        ("Timestamp", ["2024-05-01T12:30:05Z", "2024-05-01T12:30:05.5Z", "2024-05-01T12:30:06Z"]),
        ("Date/Time", ["2024-12-31 23:59:59", "2024-12-31 23:59:59.5", "2025-01-01 00:00:00"]),
        ("when", ["28.02.2024 23:59:59.5", "29.2.2024 00:00:00", "29.2.2024 00:00:00.5"]),
        ("Time", ["11:59:59 AM", "11:59:59.5 AM", "12:00:00 PM"]),
        ("Time", ["0:00:01", "0:00:01.5", "0:00:02"]),
        ("Time (hh:mm:ss)", ["00:00:01.0", "00:00:01.5", "00:00:02.0"]),
        ("Time", ["5/13/2024 23:59:59.5", "5/14/2024 00:00:00.0", "5/14/2024 00:00:00.5"]),
        ("t", ["2024-05-01 12:00:00+02:00", "2024-05-01 10:00:00.5Z", "2024-05-01 10:00:01Z"]),
    ],
)
def test_bad_input_49_wall_clock_text(write: Write, head: str, stamps: list[str]) -> None:
    rows = "".join(f"{t};{i}\n" for t, i in zip(stamps, (1.5, 2.5, -3.5), strict=True))
    capture = read_capture(write(f"{head};Current (A)\n{rows}"))
    assert_counted(capture, 0.5)
    assert codes(capture) == {"clock-times"}
    assert capture.record.original_start == 0.0


def test_bad_input_49_digits_survive_a_date(write: Write) -> None:
    """Seconds since the year 1 would leave 7 µs to a float."""
    rows = "".join(f"2024-05-01 12:30:05.{k:06d},{k}\n" for k in (0, 1, 2))
    capture = read_capture(write("Time,I (A)\n" + rows))
    np.testing.assert_allclose(capture.time, [0.0, 1e-6, 2e-6], atol=1e-10)


def test_bad_input_49_faults_in_clock_cells(write: Write) -> None:
    head = "Time,Current (A)\n12:30:05,1\n12:30:06,2\n"
    assert refused(write(head + "noon,3\n"), "text-cell", 4).key == "Time"
    refused(write(head + "12:30:75,3\n"), "text-cell", 4)
    refused(write(head + ",3\n12:30:08,1\n"), "missing-time", 4)
    refused(write(head), "unit-contradicts", 2, time_unit="s")
    slash = "Time;Current (A)\n3/4/2024 23:59:59;1\n4/4/2024 00:00:00;2\n4/4/2024 00:00:01;2\n"
    assert "year-month-day" in refused(write(slash), "date-unclear", 3).mend
    refused(write("Time;I (A)\n31.02.2024 1:00:00;1\n1.3.2024 1:00:01;2\n"), "text-cell", 3)


def test_bad_input_49_a_zero_window_counts_from_the_first(write: Write) -> None:
    rows = "".join(f"10:00:{k:02d},{2 if k < 10 else 30}\n" for k in range(40))
    capture = read_capture(write("Time,I (A)\n" + rows), zero="0 s : 9 s")
    assert capture.record.offset_removed == 2.0


def test_bad_input_50_midnight_and_summer_time(write: Write) -> None:
    night = "Time,I (A)\n23:59:58,1\n23:59:59,1\n00:00:00,1\n00:00:01,1\n"
    error = refused(write(night), "time-backwards", 4)
    assert "from 23:59:59 to 00:00:00: midnight" in error.found
    assert "date and time" in error.mend
    summer = "Time,I (A)\n" + "".join(
        f"2024-10-27 02:59:{k},1\n" for k in (57, 58, 59)
    ) + "2024-10-27 02:00:00,1\n"  # fmt: skip
    error = refused(write(summer), "time-backwards", 5)
    assert "change of the clock" in error.found
    assert "universal time" in error.mend


def test_clock_texts() -> None:
    assert not any(map(is_clock, ("12:30", "12:61:00", "1.5", "2024-05-01", "25.5:00:00", "")))
    assert Clock().seconds("13:00:00 PM") is None
    assert Clock().seconds("100:00:00") == 360_000.0
    assert [clock_text(x) for x in (0.0, 59.25, 86_399.5)] == [
        "00:00:00", "00:00:59.25", "23:59:59.5",
    ]  # fmt: skip


@pytest.mark.parametrize("line", ["Sample Interval: 1,000 µs", "Sample Rate (Hz): 250,000"])
def test_a_comma_for_decimals_or_thousands_is_not_guessed(tmp_path: Path, line: str) -> None:
    path = tmp_path / "a.csv"
    rows = "current (A)\n1\n1\n2\n1\n"
    path.write_text(f"{line}\n{rows}", encoding="utf-8")
    with pytest.raises(ft.InputError) as caught:
        read_capture(path)
    assert caught.value.code == "decimal-comma-ambiguous"
    assert read_capture(path, interval="1 ms").time[-1] == pytest.approx(3e-3)
    path.write_text(f"{line}\nSample Period: 0,002 s\n{rows}", encoding="utf-8")
    assert read_capture(path).time[-1] == pytest.approx(6e-3)
