"""The program: commands load lazily, errors become statuses and messages without traceback."""

from __future__ import annotations

import subprocess
import sys
import warnings
from importlib import import_module

import click
import pytest
from click.testing import CliRunner

from fusetherm.cli.main import COMMANDS, program, status_of
from fusetherm.errors import (
    CalibrationError,
    FileError,
    FusethermError,
    InputError,
    SolveError,
    WriteError,
)


def test_help_lists_every_command_without_importing_it() -> None:
    code = (
        "import sys; from fusetherm.cli.main import program\n"
        "try: program(['--help'])\n"
        "except SystemExit as end: assert end.code == 0\n"
        "heavy = {'numpy', 'numba', 'scipy', 'matplotlib', 'xarray', 'pydantic'}\n"
        "sys.exit(str(heavy & set(sys.modules) or ''))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=False, capture_output=True, text=True, encoding="utf-8"
    )
    assert done.returncode == 1, "sys.exit of an empty text"
    assert done.stderr.strip() == ""
    for name in COMMANDS:
        assert f"  {name}" in done.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help_of_its_own(name: str) -> None:
    command = import_module(f"fusetherm.cli.{name}").command
    assert command.name == name
    done = CliRunner().invoke(program, [name, "--help"])
    assert done.exit_code == 0
    assert "--json" in done.output or name == "report"  # whose answer is a page


def test_versions_of_the_stack_are_told() -> None:
    done = CliRunner().invoke(program, ["--version"])
    assert done.exit_code == 0
    assert done.output.startswith("fusetherm 0.")
    for name in ("python", "numpy", "scipy", "numba", "xarray", "matplotlib"):
        assert f"\n{name} " in done.output
    assert "missing" not in done.output


def test_misspelt_command_is_a_usage_error_with_a_suggestion() -> None:
    done = CliRunner().invoke(program, ["cary"])
    assert done.exit_code == 2
    assert "'carry'" in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (InputError("x", "y"), 3),
        (FileError("x", "y", path="z"), 3),
        (CalibrationError("too-few-observations", "y"), 3),
        (SolveError("x", "y"), 5),
        (WriteError("write-failed", "y"), 6),
        (InputError("output-exists", "y"), 6),
    ],
)
def test_errors_become_statuses(
    error: FusethermError, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert status_of(error) == status

    @click.command("warm")
    def failing() -> None:
        raise error

    monkeypatch.setattr("fusetherm.cli.warm.command", failing)
    done = CliRunner().invoke(program, ["warm"])
    assert done.exit_code == status
    assert done.stdout == ""
    assert done.stderr.startswith("error: ")
    assert error.code in done.stderr
    assert "Traceback" not in done.stderr
    shown = CliRunner().invoke(program, ["--debug", "warm"])
    assert shown.exception is error


def test_stopping_is_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command("warm")
    def stopped() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("fusetherm.cli.warm.command", stopped)
    done = CliRunner().invoke(program, ["warm"])
    assert done.exit_code == 130
    assert done.stderr == "stopped; files are written whole or not at all\n"


@pytest.fixture(autouse=True)
def _keep_warning_filters() -> object:
    """The program quiets its own family of warnings for its process."""
    with warnings.catch_warnings():
        yield


@pytest.mark.parametrize(
    ("words", "offered"),
    [("fusetherm ca", "plain,carry"), ("fusetherm inspect --ac", "--ac-clamp")],
)
def test_shells_complete_commands_and_options(words: str, offered: str) -> None:
    done = CliRunner().invoke(
        program, prog_name="fusetherm",
        env={"_FUSETHERM_COMPLETE": "bash_complete", "COMP_WORDS": words,
             "COMP_CWORD": str(words.count(" "))},
    )  # fmt: skip
    assert done.exit_code == 0
    assert offered in done.output
