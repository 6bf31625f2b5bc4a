"""What the commands print: safe on a terminal, valid JSON, times as people say them."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from fusetherm import written
from fusetherm.cli import output
from fusetherm.errors import Note


def test_control_characters_are_spelt_out() -> None:
    assert output.printable("a\x1b[2Jb\rc\nd °C ²") == "a\\x1b[2Jb\\rc\nd °C ²"
    assert output.shown(Path("x\ny\x07.csv")) == "x\\ny\\x07.csv"


def test_json_holds_plain_finite_values(capsys: pytest.CaptureFixture[str]) -> None:
    output.echo_json({
        "a": np.array([1.0, math.nan]), "b": (math.inf, np.float64(2.5), np.int64(3)),
        "c": {"d": Path("x.csv"), "e": None, "f": True}, "g": "°C",
    })  # fmt: skip
    text = capsys.readouterr().out
    assert "°C" in text
    assert json.loads(text, parse_constant=pytest.fail) == {
        "a": [1.0, None], "b": [None, 2.5, 3], "c": {"d": "x.csv", "e": None, "f": True},
        "g": "°C",
    }  # fmt: skip


def test_json_survives_names_that_are_no_text(capsys: pytest.CaptureFixture[str]) -> None:
    name = b"caf\xe9.csv".decode("utf-8", "surrogateescape")
    output.echo_json({"path": name})
    assert json.loads(capsys.readouterr().out)["path"] == name


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, "never"), (math.nan, "never"), (0.0, "0 s"), (2.5e-6, "2.5 µs"), (0.0123, "12.3 ms"),
     (8.4, "8.4 s"), (0.9999, "1 s"), (299.0, "299 s"), (600.0, "10 min"),
     (5400.0, "1.5 h"), (172800.0, "2 d")],
)  # fmt: skip
def test_times_as_people_say_them(value: float | None, text: str) -> None:
    assert written.seconds(value) == text


def test_a_number_stays_with_its_unit(capsys: pytest.CaptureFixture[str]) -> None:
    output.echo("it takes " * 9 + "320 A, then 4 °C or 25 A²s and 90 % " * 9)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 3
    assert not any(line[-1].isdigit() for line in lines)
    assert max(map(len, lines)) <= output.WIDTH


def test_json_has_no_digits_of_rounding(capsys: pytest.CaptureFixture[str]) -> None:
    output.echo_json({"melting": 692.677 - 273.15, "small": 1.25e-9})
    assert capsys.readouterr().out.split() == [
        "{",
        '"melting":',
        "419.527,",
        '"small":',
        "1.25e-09",
        "}",
    ]


def test_tables_pairs_and_notes_line_up(capsys: pytest.CaptureFixture[str]) -> None:
    output.echo_table(["a", "long"], [["1", "2"], ["333", "4"]])
    output.echo_pairs([("one", "x"), ("empty", ""), ("three", "y " * 60)])
    output.echo_notes([Note("a-code", "some words")])
    lines = capsys.readouterr().out.splitlines()
    assert lines[:3] == ["    a  long", "    1     2", "  333     4"]
    assert lines[3] == "  one    x"
    assert not any("empty" in line for line in lines)
    assert lines[5].startswith("         y")
    assert lines[-1] == "  note: some words [a-code]"
    assert max(len(line) for line in lines) <= output.WIDTH


@pytest.mark.parametrize(("warm", "said"), [(True, ""), (False, "compiling once, about ")])
def test_compilation_is_announced_when_it_comes(
    warm: bool, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("fusetherm.compiled.is_warm", lambda: warm)
    output.announce_compilation()
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(said)
    assert bool(printed.err) is bool(said)


@pytest.mark.parametrize(
    ("names", "time"),
    [
        ((), output.COMPILE_TIME + output.LANES_TIME),
        (("*",), output.LANES_TIME),
        (("advance_lanes",), output.COMPILE_TIME),
        (("*", "advance_lanes"), 0),
    ],
)
def test_compilation_for_sweeps_has_its_own_time(
    names: tuple[str, ...], time: int, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.setattr("fusetherm.compiled.is_warm", lambda name="*": name in names)
    output.announce_compilation(lanes=True)
    assert (f"about {time} s" if time else "") in capsys.readouterr().err


def test_bad_input_116_a_cache_that_cannot_be_written_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from fusetherm import compiled

    monkeypatch.setattr(compiled, "cache_folder", lambda: None)
    monkeypatch.setattr(compiled, "is_warm", lambda: False)
    output.announce_compilation()
    told = capsys.readouterr().err
    assert told.startswith("compiling, since no folder keeps what was compiled")
    assert compiled.CACHE_VARIABLE in told
