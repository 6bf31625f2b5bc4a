"""Messages name arguments as data, so that each face can spell them: no Python in the commands."""

from __future__ import annotations

import ast
import re
from importlib import import_module
from pathlib import Path

import pytest
from click.testing import CliRunner

from fusetherm.cli.main import COMMANDS, program
from fusetherm.cli.output import spelling
from fusetherm.errors import Argument

PACKAGE = Path(__file__).parents[2] / "src" / "fusetherm"
#: An argument as Python spells it.
PYTHON = re.compile(r"\b[a-z]\w*=(?:\.\.\.|[\"'\d{]|None|True|False)")
#: Parts whose texts reach the reader of a command.
FACED = ("current", "answers", "calibration", "fuse", "cli", "units.py", "files.py")


def sources() -> list[Path]:
    return [p for part in FACED for p in ([PACKAGE / part] if part.endswith(".py")
            else sorted((PACKAGE / part).rglob("*.py")))]  # fmt: skip


def named_arguments() -> set[str]:
    """Names of every `Argument` of the sources that are written out."""
    found = set()
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Argument":
                first = node.args[0]
                if isinstance(first, ast.Constant):
                    found.add(str(first.value))
    return found


@pytest.mark.parametrize("path", sources(), ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_no_message_spells_an_argument_as_python_does(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {
        ast.get_docstring(node, clean=False)
        for node in ast.walk(tree)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef))
    }
    texts = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value not in docs
    ]
    # within an f-string the text before a value ends in "="
    texts += [
        part.value + "{"
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for part, after in zip(node.values, node.values[1:], strict=False)
        if isinstance(part, ast.Constant)
        and isinstance(part.value, str)
        and isinstance(after, ast.FormattedValue)
    ]
    assert [text for text in texts if PYTHON.search(text)] == []


def test_every_argument_is_an_option_of_some_command() -> None:
    options = {p.name for name in COMMANDS
               for p in import_module(f"fusetherm.cli.{name}").command.params}  # fmt: skip
    named = named_arguments()
    assert {"clamp", "zero", "time", "current", "gaps"} <= named
    assert named - options == set()


def test_options_are_spelt_as_they_are_typed() -> None:
    spell = spelling(import_module("fusetherm.cli.carry").command)
    assert spell(Argument("clamp", "10 mV/A")) == '--clamp "10 mV/A"'
    assert spell(Argument("time", 0)) == "--time-column 0"
    assert spell(Argument("current")) == "--column NAME"
    assert spell(Argument("flat_top_is_real", True)) == "--flat-top-is-real"
    assert spell(Argument("nothing_of_the_kind", 1)) == ""
    assert spelling(None)(Argument("clamp", "10 mV/A")) == ""


@pytest.mark.parametrize(
    ("rows", "options", "said"),
    [
        ("time (s),u (mV)", (), '(--clamp "10 mV/A")'),
        ("time (s),a (A),b (A)", (), '(--column "a (A)" or --column "b (A)")'),
        ("time (s),a", (), "(--unit A)"),
        ("time,a (A)", (), "(--time-unit s)"),
        ("1,2", (), "(--time-column 0, --column 1, --time-unit s, --unit A)"),
        ("time (s),a (A)", ("--zero", "later"), '(--zero "0 s : 0.2 s")'),
        ("time (s),a (A)", ("--zero", "50 s : 60 s"), '(--zero "0 s : 300 ms")'),
        ("time (s),a (A)", ("--time-unit", "furlong"), "(--time-unit s)"),
    ],
)
def test_a_refusal_names_the_option_to_give(
    rows: str, options: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    width = rows.count(",")
    lines = [rows, *(f"{0.1 * n:.1f}" + ",1" * width for n in range(30))]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = CliRunner().invoke(program, ["inspect", str(path), *options])
    assert done.exit_code == 3, done.output
    assert said in " ".join(done.stderr.split())
    assert not PYTHON.search(done.stderr)


def test_a_remark_names_the_option_to_give(tmp_path: Path) -> None:
    lines = ["time (s),a (A)", *(f"{1e-3 * n:.3f},{1 if n < 500 else 50 + n % 3}"
                                 for n in range(1000))]  # fmt: skip
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = CliRunner().invoke(program, ["inspect", str(path)])
    assert '(--zero "0 s : 0.2 s") [zero-offset]' in " ".join(done.stdout.split())
