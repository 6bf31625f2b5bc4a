"""Any bytes give a record or a refusal with a code, in bounded time and memory."""

from __future__ import annotations

import gzip
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fusetherm import demo
from fusetherm.current.capture import read_capture
from fusetherm.errors import FileError, InputError
from fusetherm.fuse.definition import load_fuse, loads

FIXTURES = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150)

CAPTURE = b"""Recorder 7
Sample Interval,1e-03,s
Time (s),Current (A),Clamp (mV)
0,1.5,15
0.001,2.5,25
0.002,-3.5,-35
0.003,2,20
"""
DEFINITION = demo.definitions()["inverter_feed_40A"].read_bytes()

CELLS = st.one_of(
    st.sampled_from([
        "0", "1", "2.5", "-1e3", "1e999", "", "nan", "inf", "OL", "1,5", "1.234,5", "0x1p3", '"1"',
        '"', "#", "\u2212", "12:30:05", "12:30:06.5", "2024-05-01 12:30:05", "1/2/2024 1:00:00",
        "Time (s)", "Current (A)", "s", "A", "(ms)", "I_rms (A)", "Sample Interval", "1 ms", "t",
    ]),
    st.floats(width=32).map(repr),
    st.text(max_size=6),
)  # fmt: skip
TABLES = st.builds(
    lambda rows, mark, end: end.join(mark.join(row) for row in rows).encode("utf-8", "replace"),
    st.lists(st.lists(CELLS, max_size=4), max_size=12),
    st.sampled_from([",", ";", "\t", " "]),
    st.sampled_from(["\n", "\r\n", "\r"]),
)
OPTIONS: list[dict[str, Any]] = [
    {},
    {"clamp": "10 mV/A", "gaps": "hold", "missing": "hold", "zero": "0 s : 1 s"},
    {"time": 0, "current": 1, "time_unit": "s", "current_unit": "A", "missing": "linear"},
    {"interval": "1 ms", "current_unit": "A", "gaps": "linear", "bandwidth_hz": 1e3},
    {"ac_clamp": True, "current": -1},
]


@st.composite
def damaged(draw: st.DrawFn, good: bytes) -> bytes:
    """A good file with some bytes changed, taken out, put in or said twice."""
    data = bytearray(good)
    for _ in range(draw(st.integers(0, 6))):
        at = draw(st.integers(0, len(data)))
        to = min(at + draw(st.integers(0, 20)), len(data))
        what = draw(st.sampled_from(["cut", "bytes", "again", "text"]))
        if what == "cut":
            del data[at:to]
        elif what == "again":
            data[at:at] = data[at:to]
        elif what == "bytes":
            data[at:to] = draw(st.binary(max_size=8))
        else:
            data[at:to] = draw(CELLS).encode("utf-8", "replace")
    return bytes(data)


def assert_told(refusal: InputError) -> None:
    """A refusal has a code and says something, and not the whole file over again."""
    assert refusal.code
    assert refusal.found
    assert len(str(refusal)) < 5000


def read(path: Path, data: bytes, options: dict[str, Any]) -> None:
    path.write_bytes(data)
    try:
        record = read_capture(path, most_rows=100_000, **options)
    except InputError as refusal:
        assert_told(refusal)
        return
    assert record.duration > 0.0
    record.summary()


def define(path: Path, data: bytes) -> None:
    path.write_bytes(data)
    try:
        fuse = load_fuse(path)
    except FileError as refusal:
        assert_told(refusal)
        return
    assert loads(fuse.to_toml()) == fuse


@FIXTURES
@given(
    data=st.one_of(TABLES, damaged(CAPTURE), st.binary(max_size=200)),
    options=st.sampled_from(OPTIONS),
    packed=st.sampled_from([False, False, False, True]),
)
def test_any_bytes_are_a_capture_or_refused(
    tmp_path: Path, data: bytes, options: dict[str, Any], packed: bool
) -> None:
    read(tmp_path / "a.csv", gzip.compress(data) if packed else data, options)


@FIXTURES
@given(data=damaged(gzip.compress(CAPTURE)))
def test_any_damage_to_an_archive_is_refused(tmp_path: Path, data: bytes) -> None:
    read(tmp_path / "a.csv.gz", data, {})


@FIXTURES
@given(data=st.one_of(damaged(DEFINITION), st.binary(max_size=200)))
def test_any_bytes_are_a_definition_or_refused(tmp_path: Path, data: bytes) -> None:
    define(tmp_path / "a.toml", data)


HARD = {
    "quotes": b'"' * 500_000,
    "commas": b"," * 500_000,
    "digits": b"0,1\n" + b"9" * 500_000,
    "clock digits": b"Time,I (A)\n" + b"1:" * 250_000,
    "statement": b"Sample rate" + b" " * 500_000,
    "blanks": b" " * 400_000 + b"x\n",
    "endless cell": b"Time (s),I (A)\n0,1\n1," + b"x" * 300_000 + b"\n2,3\n",
    "endless name": b"Time (s)," + b"x" * 200_000 + b"\n0,1\n1,2\n",
    "short lines": b"\n" * 500_000,
    "brackets": b"[" * 200_000,
    "braces": b"a = " + b"{a=" * 100_000,
    "nested list": b"schema_version = 1\na = " + b"[" * 100_000 + b"]" * 100_000,
    "nested text": b"a = '''" + b"'" * 300_000,
    "keys": b"".join(b"k%d = 1\n" % k for k in range(20_000)),
    "quoted dots": b'"a"' + b'."a"' * 100_000 + b" = 1\n",
    "digits of a whole number": b"schema_version = 1" + b"0" * 100_000,
    "a number past floats": DEFINITION.replace(
        b"rated_current_A = 40", b"rated_current_A = 0x" + b"F" * 100_000
    ),
    "dotted in a list": b"a = [" + b"{a" + b".a" * 100_000 + b" = 1}]\n",
    "deep, not endless": b"schema_version = 1\na = " + b"[" * 200 + b"]" * 200,
    "dotted": b"a" + b".a" * 100_000 + b" = 1\n",
}


@pytest.mark.parametrize("name", HARD)
def test_hostile_files_take_bounded_time_and_memory(tmp_path: Path, name: str) -> None:
    """Half a megabyte of one thing: nothing quadratic, nothing recursive."""
    data = HARD[name]
    read(tmp_path / "first.csv", CAPTURE, {})  # libraries are loaded at first use
    define(tmp_path / "first.toml", DEFINITION)
    tracemalloc.start()
    begin = time.process_time()
    try:
        read(tmp_path / "a.csv", data, {})
        define(tmp_path / "a.toml", data)
        spent, peak = time.process_time() - begin, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 200e6
    assert spent < 20.0
