"""Files that go wrong, and files that only look so; the numbers are those of the table."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import fusetherm as ft
from fusetherm.current.capture import Capture, read_capture

Write = Callable[..., Path]
HEAD = "Time (s),Current (A)\n"
PLAIN = HEAD + "0,1.5\n0.001,2.5\n0.002,-3.5\n"


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Writes a file of the given text."""

    def make(text: str | bytes, encoding: str = "utf-8", name: str = "record.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
        return path

    return make


def refused(path: Path, code: str, line: int | None = None, **options: object) -> ft.FileError:
    """The error of a file, with its code and line."""
    with pytest.raises(ft.FileError) as caught:
        read_capture(path, **options)  # type: ignore[arg-type]
    error = caught.value
    assert (error.code, error.line) == (code, line), str(error)
    assert error.path == str(path)
    assert error.expected or error.mend or code in ("folder-as-file", "line-too-long")
    return error


def assert_plain(capture: Capture) -> Capture:
    np.testing.assert_allclose(capture.time, [0.0, 1e-3, 2e-3], rtol=1e-15)
    np.testing.assert_allclose(capture.values, [1.5, 2.5, -3.5], rtol=1e-15)
    return capture


def codes(capture: Capture) -> set[str]:
    return {note.code for note in capture.notes}


def record(current: np.ndarray, step: float = 1e-3, form: str = "{:.6f}") -> str:
    return HEAD + "".join(f"{k * step:.6f},{form.format(i)}\n" for k, i in enumerate(current))


# Encoding and shape


def test_bad_input_01_empty_file(write: Write) -> None:
    refused(write(""), "empty-file")
    refused(write(b"\xef\xbb\xbf \r\n\n"), "empty-file")


def test_bad_input_02_header_only(write: Write) -> None:
    refused(write(HEAD), "no-data-rows")


def test_bad_input_03_byte_order_mark(write: Write) -> None:
    capture = assert_plain(read_capture(write(PLAIN, "utf-8-sig")))
    assert capture.record.time_column.name == "Time (s)"


def test_bad_input_04_utf_16(write: Write) -> None:
    assert_plain(read_capture(write(PLAIN, "utf-16")))
    many = "n,Time (s),Current (A)\n1,0,1.5\n2,0.001,2.5\n3,0.002,-3.5\n"
    assert_plain(read_capture(write(many, "utf-16")))


def test_bad_input_05_latin_1(write: Write) -> None:
    text = "Time (µs),Current (A),Shunt (µA)\n0,1.5,0\n1000,2.5,0\n2000,-3.5,0\n"
    capture = assert_plain(read_capture(write(text, "latin-1"), current="Current"))
    assert capture.record.layout.encoding == "latin-1"


def test_bad_input_06_nul_bytes(write: Write) -> None:
    refused(write(PLAIN.encode() + b"\0\0\0"), "nul-bytes")


@pytest.mark.parametrize("start", [b"PK\x03\x04", b"\x89HDF\r\n", b"\xd0\xcf\x11\xe0"])
def test_bad_input_07_renamed_spreadsheet(write: Write, start: bytes) -> None:
    refused(write(start + b"rest of it" * 9), "binary-file")


def test_bad_input_07_noise_of_bytes(write: Write) -> None:
    refused(write(bytes(range(1, 32)) * 50), "binary-file")


def test_bad_input_08_line_ends_of_carriage_returns(write: Write) -> None:
    assert_plain(read_capture(write(PLAIN.replace("\n", "\r"))))


def test_bad_input_09_mixed_line_ends(write: Write) -> None:
    for first, rest in (("\n", "\r\n"), ("\r\n", "\n"), ("\r", "\n")):
        head, _, body = PLAIN.partition("\n")
        capture = assert_plain(read_capture(write(head + first + body.replace("\n", rest))))
        assert capture.record.layout.first_row == 2


def test_bad_input_10_no_final_newline(write: Write) -> None:
    assert_plain(read_capture(write(PLAIN.rstrip("\n"))))


def test_bad_input_11_last_line_cut_off(write: Write) -> None:
    for rest in ("0.003", "0.003,"):
        capture = assert_plain(read_capture(write(PLAIN + rest)))
        assert codes(capture) == {"last-line-cut"}


def test_bad_input_12_gzip(write: Write) -> None:
    assert_plain(read_capture(write(gzip.compress(PLAIN.encode()), name="record.csv.gz")))
    refused(write(gzip.compress(PLAIN.encode() * 99)[:-30], name="cut.csv.gz"), "bad-gzip")


def test_bad_input_13_bomb(write: Write) -> None:
    path = write(gzip.compress(b"0,0\n" * 1_000_000), name="bomb.gz")
    refused(path, "too-large", most_rows=10_000)


def test_bad_input_14_endless_line(write: Write) -> None:
    refused(write(HEAD + "0," * 1_500_000), "line-too-long")


def test_bad_input_15_too_many_columns(write: Write) -> None:
    refused(write(",".join(["0"] * 1200) + "\n"), "too-many-columns")


# Separators and numbers


def test_bad_input_16_decimal_comma(write: Write) -> None:
    capture = read_capture(write("t (s);I (A)\n0;1,5\n0,001;2,5\n0,002;-3,5e0\n"))
    assert assert_plain(capture).record.layout.decimal == ","


def test_bad_input_16_decimal_comma_shown_late(write: Write) -> None:
    rows = "".join(f"{k};{k % 7}\n" for k in range(40_000))
    capture = read_capture(write("t (s);I (A)\n" + rows + "40000;2,5\n"))
    assert capture.values[-1] == 2.5


@pytest.mark.parametrize(
    "text",
    [
        HEAD + "0,000,1,25\n0,001,2,50\n",
        "0,000,1,25\n0,001,2,50\n",
        "a,b\n1,05,2,25\n1,06,3,50\n",
    ],
)
def test_bad_input_17_comma_as_both(write: Write, text: str) -> None:
    error = refused(
        write(text), "decimal-comma-ambiguous", 1 if text[0] == "0" else 2,
        time=0, current=1, time_unit="s", current_unit="A",
    )  # fmt: skip
    assert "';'" in error.mend


def test_bad_input_17_comma_as_both_sets_in_late(write: Write) -> None:
    rows = "".join(f"{k},1\n" for k in range(30_000))
    refused(write(HEAD + rows + "30000,5,1,5\n"), "decimal-comma-ambiguous", 30_002)


def test_bad_input_18_thousands(write: Write) -> None:
    refused(write("t (s);I (A)\n0,5;1.234,5\n1,5;1.234,5\n"), "thousands-separator", 2)
    refused(write("t (s);I (A)\n0,5;1,5\n1,5;1.234,5\n"), "thousands-separator", 3)


@pytest.mark.parametrize("mark", ["\t", "  ", " \t ", ";"])
def test_bad_input_19_tabs_and_blanks(write: Write, mark: str) -> None:
    assert_plain(read_capture(write(PLAIN.replace(",", mark))))


def test_bad_input_20_quoted_numbers(write: Write) -> None:
    text = '"Time (s)","Current (A)"\n"0","1.5"\n"0.001","2.5"\n"0.002","-3.5"\n'
    assert_plain(read_capture(write(text)))


def test_bad_input_21_trailing_separator(write: Write) -> None:
    assert_plain(read_capture(write(PLAIN.replace("\n", ",\n"))))


def test_bad_input_22_typographic_minus(write: Write) -> None:
    capture = assert_plain(read_capture(write(PLAIN.replace("-", "\u2212"))))
    assert codes(capture) == {"unicode-minus"}


def no_number(write: Write, cell: str, mend: str) -> None:
    """A cell is refused by line, column and text, in the middle of the file and at its head."""
    error = refused(write(PLAIN + f"0.003,{cell}\n0.004,1\n"), "text-cell", 5)
    assert cell in error.found
    assert error.key == "Current (A)"
    assert mend in error.mend
    assert refused(write(HEAD + f"0,1\n0.001,{cell}\n0.002,2\n"), "text-cell", 3)


def test_bad_input_23_full_width_digits(write: Write) -> None:
    no_number(write, "\uff11\uff12.\uff15", "plain digits 0 to 9")


@pytest.mark.parametrize("cell", ["0x1p3", "-0x1.8p+1", "0x1F", "1F4h"])
def test_bad_input_24_hexadecimal(write: Write, cell: str) -> None:
    no_number(write, cell, "decimal" if cell != "1F4h" else "mend the cell")


def test_bad_input_25_underscores(write: Write) -> None:
    no_number(write, "1_000", "underscores")


@pytest.mark.parametrize("cell", ["on", "12 A", "1.5e", "1,5"])
def test_bad_input_28_text_cell(write: Write, cell: str) -> None:
    if cell == "1,5":
        refused(write(PLAIN.replace(",", ";") + f"0.003;{cell}\n"), "mixed-decimals", 5)
        return
    no_number(write, cell, "unit" if cell == "12 A" else "mend the cell")


def test_bad_input_26_exponents_set_in(write: Write) -> None:
    capture = read_capture(write(PLAIN + "3.0E-03,1.25E+03\n"))
    assert capture.values[-1] == 1250.0


def over_range(write: Write, cell: str) -> None:
    for place, rows in ((5, f"0.003,{cell}\n0.004,1\n"), (6, f"0.003,1\n0.004,{cell}\n")):
        error = refused(write(PLAIN + rows), "over-range", place)
        assert cell in error.found
        assert "larger range" in error.mend
    # No policy for what is missing bridges it: the current was there, and large.
    refused(write(PLAIN + f"0.003,{cell}\n0.004,1\n"), "over-range", 5, missing="linear")


def test_bad_input_27_a_number_beyond_floats(write: Write) -> None:
    over_range(write, "1e999")


@pytest.mark.parametrize("cell", ["inf", "-Inf", "\u221e"])
def test_bad_input_58_infinities(write: Write, cell: str) -> None:
    over_range(write, cell)


@pytest.mark.parametrize("cell", ["OL", "O.L.", "****", "9.9E37", "Overflow"])
def test_bad_input_59_over_range_marks(write: Write, cell: str) -> None:
    over_range(write, cell)


def missing(write: Write, cell: str) -> None:
    path = write(HEAD + f"0,1\n0.001,3\n0.002,{cell}\n0.003,7\n")
    error = refused(path, "missing-value", 4)
    assert 'missing="linear" or missing="hold"' in str(error)
    linear = read_capture(path, missing="linear")
    assert linear.current(0.002) == pytest.approx(5.0)
    held = read_capture(path, missing="hold")
    assert held.current(0.002) == 3.0
    assert codes(held) == codes(linear) == {"missing-values"}


@pytest.mark.parametrize("cell", ["", " ", '""'])
def test_bad_input_29_an_empty_cell(write: Write, cell: str) -> None:
    missing(write, cell)


@pytest.mark.parametrize("cell", ["NaN", "nan", "n/a", "--", "NULL"])
def test_bad_input_57_a_current_that_is_no_number(write: Write, cell: str) -> None:
    missing(write, cell)


def test_bad_input_29_missing_time(write: Write) -> None:
    refused(write(PLAIN + ",5\n0.004,1\n"), "missing-time", 5, missing="linear")


def test_bad_input_30_short_row(write: Write) -> None:
    refused(write(PLAIN + "0.003\n0.004,1\n"), "short-row", 5)
    wide = "n,t (s),I (A),x\n1,0,1.5,0\n2,0.001,2.5\n3,0.002,1,0\n"
    refused(write(wide), "short-row", 3)


def test_bad_input_31_long_row(write: Write) -> None:
    refused(write(PLAIN + "0.003,1,2\n"), "long-row", 5)
    wide = "n,t (s),I (A),x\n1,0,1.5,0\n2,0.001,2.5,0,0\n3,0.002,1,0\n"
    refused(write(wide), "long-row", 3)


def test_bad_input_32_comments_in_the_data(write: Write) -> None:
    capture = read_capture(write(PLAIN.replace("0.001", "# paused\n0.001")))
    assert codes(assert_plain(capture)) == {"comment-lines"}
    assert "1 line " in capture.notes[0].text


def test_bad_input_33_header_again(write: Write) -> None:
    refused(write(PLAIN + PLAIN), "repeated-header", 5)


def test_bad_input_34_comma_in_a_quoted_header(write: Write) -> None:
    text = PLAIN.replace("Current (A)", '"Current, feed (A)"')
    capture = assert_plain(read_capture(write(text)))
    assert capture.record.current_column.name == "Current, feed (A)"


# Header and units


def test_bad_input_35_no_header(write: Write) -> None:
    path = write("0,1.5\n0.001,2.5\n0.002,-3.5\n")
    refused(path, "no-header", 1)
    given = {"time": 0, "current": 1}
    refused(path, "no-unit", 1, **given)
    assert_plain(read_capture(path, time=0, current=1, time_unit="s", current_unit="A"))


def test_bad_input_36_no_unit(write: Write) -> None:
    path = write(PLAIN.replace(" (A)", ""))
    error = refused(path, "no-unit", 1)
    assert error.key == "Current"
    assert_plain(read_capture(path, current_unit="A"))
    refused(write(PLAIN.replace(" (s)", "")), "no-unit", 1)


def test_bad_input_37_unit_row(write: Write) -> None:
    text = PLAIN.replace(HEAD, "Time,Current\n[s],[A]\n")
    capture = assert_plain(read_capture(write(text)))
    assert capture.record.layout.unit_row == 2


def test_bad_input_39_volts_without_ratio(write: Write) -> None:
    error = refused(write(PLAIN.replace("(A)", "(mV)")), "volts-without-ratio", 1)
    assert 'clamp="10 mV/A"' in str(error)


def test_bad_input_40_unit_contradicts(write: Write) -> None:
    refused(write(PLAIN), "unit-contradicts", 1, current_unit="mA")
    refused(write(PLAIN.replace("(s)", "(V)")), "unit-contradicts", 1, time="Time", current=1)
    two = PLAIN.replace(HEAD, HEAD + "s,mA\n")
    refused(write(two), "unit-contradicts", 2)


def test_bad_input_41_duplicate_names(write: Write) -> None:
    path = write("t (s),I (A),I (A)\n0,1,2\n1,2,3\n")
    refused(path, "duplicate-column", 1, current="I")
    assert read_capture(path, current=2).peak == 3.0


def test_bad_input_42_several_currents(write: Write) -> None:
    path = write("t (s),Pump (A),Fan (A)\n0,1,2\n1,2,3\n")
    error = refused(path, "several-currents", 1)
    assert 'current="Pump (A)" or current="Fan (A)"' in str(error)
    assert read_capture(path, current="Fan").peak == 3.0


def test_bad_input_44_ratio_for_amperes(write: Write) -> None:
    capture = assert_plain(read_capture(write(PLAIN), clamp="10 mV/A"))
    assert codes(capture) == {"scaling-already-applied"}


# Time


def test_bad_input_45_duplicate_stamps(write: Write) -> None:
    path = write(record(np.arange(40.0)) + "0.039000,5\n0.040000,5\n")
    error = refused(path, "duplicate-time", 42)
    assert error.key == "Time (s)"


def test_bad_input_46_time_backwards(write: Write) -> None:
    refused(write(PLAIN + "0.0015,1\n"), "time-backwards", 5)


def test_bad_input_46_line_counts_blank_lines(write: Write) -> None:
    refused(write(PLAIN.replace("0.001", "\n\n0.001") + "0.0015,1\n"), "time-backwards", 7)


def test_bad_input_47_time_restarts(write: Write) -> None:
    error = refused(write(PLAIN + "0,1\n0.001,2\n"), "time-restarts", 5)
    assert "2 segments" in error.found


def test_bad_input_48_gap(write: Write) -> None:
    rows = "".join(f"{k},{10 + k}\n" for k in range(10)) + "19,30\n20,30\n"
    path = write(HEAD + rows)
    refused(path, "gap", 12)
    held = read_capture(path, gaps="hold")
    assert held.current([18.9, 19.0]).tolist() == [19.0, 30.0]
    linear = read_capture(path, gaps="linear")
    assert linear.current(14.0) == pytest.approx(24.5)
    assert codes(held) == codes(linear) == {"gaps-bridged"}


def test_bad_input_50_clock_change(write: Write) -> None:
    rows = "".join(f"{k},1\n" for k in (86_397, 86_398, 86_399, 0, 1))
    refused(write(HEAD + rows), "time-backwards", 5)


def test_bad_input_51_stamps_with_too_few_digits(write: Write) -> None:
    current = np.sin(np.arange(300) / 20)
    rows = "".join(f"{k * 4e-4:.3f},{i:.6f}\n" for k, i in enumerate(current))
    capture = read_capture(write(HEAD + rows))
    assert "stamps-rebuilt" in codes(capture)
    assert capture.sample_rate == pytest.approx(2500.0, rel=5e-3)


def test_bad_input_52_time_before_the_trigger(write: Write) -> None:
    capture = assert_plain(read_capture(write(HEAD + "-0.001,1.5\n0,2.5\n0.001,-3.5\n")))
    assert capture.record.original_start == -0.001


def test_bad_input_53_one_sample(write: Write) -> None:
    refused(write(HEAD + "0,1\n"), "one-sample", 2)


def test_bad_input_54_constant_time(write: Write) -> None:
    refused(write(HEAD + "3,1\n3,2\n3,3\n"), "constant-time", 2)


def test_bad_input_55_irregular_sampling(write: Write) -> None:
    time = np.cumsum(np.random.default_rng(4).uniform(0.5, 1.5, 200))
    rows = "".join(f"{t:.6f},{t:.6f}\n" for t in time)
    capture = read_capture(write(HEAD + rows))
    assert capture.record.jitter == pytest.approx(1.0, abs=0.1)
    assert codes(capture) <= {"cut-off-pulse"}


def test_bad_input_56_sample_numbers(write: Write) -> None:
    refused(write("Sample,Current (A)\n1,1\n2,2\n"), "sample-numbers", 1)


# Current


def test_bad_input_60_clipping(write: Write) -> None:
    time = np.linspace(0.0, 1.0, 400)
    path = write(record(np.minimum(100.0 * np.sin(np.pi * time), 80.0)))
    capture = read_capture(path)
    assert capture.clipped
    assert codes(capture) == {"clipped-record"}
    assert "clipped-record" in {n.code for n in capture.repeated(3, period=9.0).notes}
    assert not read_capture(path, flat_top_is_real=True).clipped


def test_bad_input_61_zero_offset(write: Write) -> None:
    rng = np.random.default_rng(6)
    current = 0.8 + rng.normal(0.0, 0.1, 2000) + np.where(np.arange(2000) % 2000 > 1000, 60.0, 0)
    current[-200:] = 0.8
    capture = read_capture(write(record(current)))
    assert "zero-offset" in codes(capture)
    assert capture.record.offset_found == pytest.approx(0.8, abs=0.05)
    assert capture.record.offset_removed == 0.0
    assert capture.noise_sd == pytest.approx(0.1, rel=0.3)
    zeroed = read_capture(write(record(current)), zero="0 s : 0.9 s")
    assert "zero-offset" not in codes(zeroed)


def test_bad_input_63_reversed_clamp(write: Write) -> None:
    assert "reversed-clamp" in codes(read_capture(write(record(-np.arange(50.0)))))


def test_bad_input_66_quantisation(write: Write) -> None:
    wave = np.round(8 * np.sin(np.linspace(0, 20, 300)))
    assert "coarse-quantisation" in codes(read_capture(write(record(wave))))


def test_bad_input_67_sampling_too_slow(write: Write) -> None:
    wave = np.zeros(60)
    wave[30] = 90.0
    assert "sampling-too-slow" in codes(read_capture(write(record(wave))))


def test_bad_input_69_all_zeros(write: Write) -> None:
    assert codes(read_capture(write(record(np.zeros(20))))) == {"all-zeros"}


@pytest.mark.parametrize("flip", [1, -1])
def test_bad_input_70_pulse_cut_off(write: Write, flip: int) -> None:
    wave = np.exp(-np.arange(400) / 30.0) * 90.0
    capture = read_capture(write(record(wave[::flip])))
    assert codes(capture) == {"cut-off-pulse"}
    assert ("starts" if flip == 1 else "ends") in capture.notes[0].text


def test_paths_that_are_no_files(tmp_path: Path) -> None:
    refused(tmp_path, "folder-as-file")
    refused(tmp_path / "none.csv", "file-missing")


def test_bad_input_109_long_and_foreign_names(write: Write) -> None:
    assert_plain(read_capture(write(PLAIN, name="Einschaltstoß – 電流 " + "x" * 150 + ".csv")))


def test_one_edge_is_no_plural(write: Write) -> None:
    rows = "".join(f"{1e-3 * n:.3f},{0 if n < 20 else 50}\n" for n in range(40))
    notes = {n.code: n.text for n in read_capture(write(HEAD + rows)).notes}
    assert notes["sampling-too-slow"].startswith("1 edge of a single interval: ")
