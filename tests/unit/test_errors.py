"""errors.py: what messages say and where they can travel."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from fusetherm.errors import (
    CalibrationError,
    ExtrapolationWarning,
    FileError,
    FusethermError,
    FusethermWarning,
    InputError,
    Note,
    SolveError,
    UndeterminedWarning,
    WriteError,
)


def test_message_says_found_expected_and_mend() -> None:
    error = InputError("negative-length", "length is -1 mm", expected="> 0", mend="drop the sign")
    assert str(error).splitlines() == [
        "length is -1 mm [negative-length]",
        "  expected: > 0",
        "  to mend it: drop the sign",
    ]
    assert (error.code, error.found) == ("negative-length", "length is -1 mm")


def test_message_leaves_out_what_is_empty() -> None:
    assert str(InputError("odd", "it is odd")) == "it is odd [odd]"


def test_file_error_names_path_line_and_key() -> None:
    error = FileError("no-unit", "column has no unit", path=Path("a.csv"), line=3, key="current")
    assert str(error) == "a.csv, line 3, current: column has no unit [no-unit]"
    assert FileError("empty", "nothing in it", path="a.csv").where() == "a.csv"


def test_solve_error_carries_the_unfinished_run() -> None:
    run = object()
    assert SolveError("budget", "too many steps", run=run).run is run


@pytest.mark.parametrize(
    ("kind", "base"),
    [
        (InputError, ValueError),
        (FileError, InputError),
        (SolveError, RuntimeError),
        (CalibrationError, FusethermError),
        (WriteError, OSError),
        (WriteError, FusethermError),
        (ExtrapolationWarning, FusethermWarning),
        (UndeterminedWarning, FusethermWarning),
        (FusethermWarning, UserWarning),
    ],
)
def test_family(kind: type[Exception], base: type[Exception]) -> None:
    assert issubclass(kind, base)


@pytest.mark.parametrize(
    "error",
    [
        InputError("a", "b", expected="c", mend="d"),
        SolveError("a", "b", mend="d"),
        CalibrationError("a", "b"),
        WriteError("a", "b", expected="c"),
        FileError("a", "b", path="p", line=1, key="k", mend="d"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_errors_reach_another_process_whole(error: FusethermError) -> None:
    copy = pickle.loads(pickle.dumps(error))
    assert type(copy) is type(error)
    assert str(copy) == str(error)
    assert vars(copy) == vars(error)


def test_notes_compare_by_value() -> None:
    assert Note("clipped-record", "The record is clipped.") == Note(
        "clipped-record", "The record is clipped."
    )
