"""Guides of docs/: every command runs on the demo's files and prints what the page shows."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from fusetherm.calibration.stored import cached_fit
from fusetherm.cli.main import program

DOCS = Path(__file__).parents[2] / "docs"
#: Fenced blocks: language and text.
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
#: A command of the program, to the end of its line or of the last one that a backslash joins.
_COMMAND = re.compile(r"^fusetherm (?:.*\\\n)*.*", re.MULTILINE)
#: In text on a page: lines of the output that are left out.
_CUT = "...\n"
_NUMBER = re.compile(r"(?<![\w.])-?\d[\d,]*(?:\.\d+)?")
#: Statuses of an answer; all others are errors.
ANSWERED = (0, 4, 10, 20)
#: Pages whose commands name files of the reader's, or are run by other tests.
ELSEWHERE = {"bench_recipe", "first_visit", "verification"}
#: Ten seconds and more: run with ``-m slow``.
SLOW = {"fusebox"}


def pages() -> dict[str, str]:
    """Pages with commands to run, by name."""
    found = {}
    for path in sorted(DOCS.glob("*.md")):
        text = path.read_text(encoding="utf-8")
        if any(kind == "sh" and _COMMAND.search(block) for kind, block in _BLOCK.findall(text)):
            found[path.stem] = text
    return {name: text for name, text in found.items() if name not in ELSEWHERE}


PAGES = pages()


@pytest.fixture(scope="module")
def boat(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of the demo's files."""
    folder = tmp_path_factory.mktemp("guides") / "boat"
    done = CliRunner().invoke(program, ["demo", "--files", "--out", str(folder)])
    assert done.exit_code == 0, done.output
    return folder


def near(shown: str, printed: str) -> bool:
    """Whether two numbers differ by no more than 1 %, or by one in the last digit shown."""
    digit = 10.0 ** -len(shown.partition(".")[2])
    apart = abs(float(shown.replace(",", "")) - float(printed.replace(",", "")))
    return apart <= max(0.01 * abs(float(shown.replace(",", ""))), 1.001 * digit)


def alike(shown: str, printed: str) -> bool:
    """Whether two words are the same but for numbers that are near: libraries move those."""
    if _NUMBER.sub("#", shown) != _NUMBER.sub("#", printed):
        return False
    return all(map(near, _NUMBER.findall(shown), _NUMBER.findall(printed)))


def lacking(text: str, output: str) -> str:
    """The first passage of a page that an output lacks, in order; empty when it has all.

    Lines may break elsewhere, as a digit more makes them.
    """
    words, place = output.split(), 0
    for passage in filter(None, text.split(_CUT)):
        wanted = passage.split()
        for at in range(place, len(words) - len(wanted) + 1):
            if all(map(alike, wanted, words[at : at + len(wanted)])):
                place = at + len(wanted)
                break
        else:
            return passage
    return ""


def test_a_passage_that_is_not_printed_is_found() -> None:
    output = "first 1.20 V\nsecond\nthird 1,000\n"
    assert lacking("first  1.21 V\n...\nthird 1,009\n", output) == ""
    assert lacking("first 1.22 V\n", output)
    assert lacking("first 1.20 A\n", output)
    assert lacking("first 1.20 V\nthird 1,000\n", output)
    assert lacking("third 1,000\n...\nfirst 1.20 V\n", output) == "first 1.20 V\n"
    assert lacking("third 1,011\n", output)


@pytest.mark.parametrize(
    "page",
    [
        pytest.param(page, marks=[pytest.mark.slow, pytest.mark.timeout(900)])
        if page in SLOW
        else page
        for page in PAGES
    ],
)
def test_commands_print_what_the_page_shows(
    page: str, boat: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(boat)
    # `fit` always fits; that the cache holds what it would find is tested elsewhere
    monkeypatch.setattr(
        "fusetherm.calibration.fit.calibrate",
        lambda fuse, *, family=None, contact="new": cached_fit(fuse, contact),
    )
    output, commands, compared = "", 0, 0
    for language, text in _BLOCK.findall(PAGES[page]):
        if language == "toml" and text.startswith("# "):
            name = text.split()[1]
            (boat / name).write_text(text, encoding="utf-8")
        elif language == "sh":
            for line in _COMMAND.findall(text):
                words = shlex.split(line.replace("\\\n", " "))[1:]
                if "demo" in words:
                    continue  # the fixture
                done = CliRunner().invoke(program, words)
                assert done.exit_code in ANSWERED, f"{line}\n{done.output}"
                output, commands = done.stdout, commands + 1
        elif language == "text":
            assert lacking(text, output) == "", f"{page}: not printed, of\n{output}"
            compared += 1
    assert commands
    assert compared
