"""Answers kept as pages: whole, escaped, and read back to the same numbers."""

from __future__ import annotations

import hashlib
import json
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from fusetherm.cli.main import COMMANDS, program
from fusetherm.cli.reported import Reported, inputs_of
from fusetherm.cli.reproduce import differences
from fusetherm.errors import FileError
from fusetherm.show.page.page import Input, Item, Page, inline, recorded

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"
HOSTILE = '</script><img src=x onerror="alert(1)">&'


class Elements(HTMLParser):
    """Names of the elements of a page, and its texts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.texts: list[str] = []  # those that are read: no script, no style
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)

    def handle_data(self, data: str) -> None:
        if self.names[-1:] not in (["script"], ["style"]):
            self.texts.append(data)


def page_of(**changes: Any) -> Page:
    told: dict[str, Any] = {
        "title": "a title",
        "items": [
            Item("verdict", ("CARRIES", "a fuse")),
            Item("text", ("because",)),
            Item("pairs", ("how near", "2 times", "element", "92 °C")),
            Item("text", ("between",)),
            Item("table", ("°C", "A", "23", "40"), 2),
            Item("note", ("a remark", "some-code")),
            Item("caution", ("take care",)),
        ],
        "figures": [],
        "fit": [("family", "zinc-strip")],
        "inputs": [Input("fuse", "f.toml", "ab" * 32)],
        "command": "carry",
        "arguments": ["a b.csv", "--ambient-c", "85"],
        "answer": {"margin_current": 2.0, "none": None},
        "versions": {"fusetherm": "0"},
        "day": "2000-01-01",
    }
    return Page(**(told | changes))


def test_a_page_says_everything_verdict_first() -> None:
    texts = " ".join(Elements(page_of().html()).texts)
    order = ["CARRIES", "because", "take care", "how near", "between", "23", "a remark",
             "zinc-strip", "f.toml", "abab", "fusetherm carry 'a b.csv' --ambient"]  # fmt: skip
    places = [texts.index(word) for word in order]
    assert places == sorted(places)
    assert "http" not in texts.replace("http-equiv", "")


def test_each_of_several_verdicts_keeps_its_reasons() -> None:
    two = [("verdict", "CARRIES", "pump"), ("text", "by far"), ("verdict", "OPENS", "lamp"),
           ("text", "after 2 s"), ("pairs", "outside", "45 °C")]  # fmt: skip
    page = page_of(title="no name", items=[Item(kind, tuple(texts)) for kind, *texts in two])  # type: ignore[arg-type]
    texts = " ".join(Elements(page.html()).texts)
    places = [texts.index(word) for word in ("pump", "by far", "lamp", "after 2 s", "outside")]
    assert places == sorted(places)


def test_nothing_in_a_page_comes_from_elsewhere() -> None:
    page = page_of().html()
    assert not {"link", "img", "iframe", "object"} & set(Elements(page).names)
    assert "src=" not in page
    assert "http" not in page


def test_bad_input_114_markup_in_names_is_text() -> None:
    hostile = page_of(
        title=HOSTILE,
        items=[Item("verdict", (HOSTILE, HOSTILE)), Item("note", (HOSTILE, HOSTILE))],
        inputs=[Input(HOSTILE, HOSTILE, "0")],
        arguments=[HOSTILE],
        answer={HOSTILE: HOSTILE},
    ).html()
    found, plain = Elements(hostile), Elements(page_of().html())
    assert "img" not in found.names
    assert found.names.count("script") == plain.names.count("script") == 2
    assert found.texts.count(HOSTILE) >= 3


def test_the_record_comes_back(tmp_path: Path) -> None:
    path, page = tmp_path / "a.html", page_of(answer={"a": [1.25, None, HOSTILE]})
    path.write_text(page.html(), encoding="utf-8")
    assert recorded(path) == page.record


@pytest.mark.parametrize("text", ["", "<html></html>", page_of().html().replace("report/1", "x/1"),
                                  page_of().html().replace('"inputs"', '"in"')])  # fmt: skip
def test_another_file_is_no_report(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.html"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError, match="no-report"):
        recorded(path)


def test_a_drawing_fits_the_page() -> None:
    svg = '<?xml version="1.0"?>\n<svg width="9pt" height="5pt" viewBox="0 0 9 5"><g/></svg>'
    assert inline(svg) == '<svg viewBox="0 0 9 5"><g/></svg>'


def test_differences_are_found_and_rounding_is_not() -> None:
    before = {"a": [1.0, {"b": None}], "c": "x", "made_with": 1}
    assert list(differences(before, {"a": [1.0 + 1e-12, {"b": None}], "c": "x"})) == []
    now = {"a": [1.001, {"b": 2}], "c": "y", "d": True}
    assert [place for place, _, _ in differences(before, now)] == ["a[0]", "a[1].b", "c", "d"]
    assert list(differences([1], [1, 2], "l")) == [("l", [1], [1, 2])]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(program, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Result]:
    """A capture of a hostile name, the page of its verdict, and what was printed."""
    folder = tmp_path_factory.mktemp("report")
    capture, page = folder / "<b>pulse & co.csv", folder / "a.html"
    rows = "".join(f"{0.01 * k:g},{125 if 20 <= k < 40 else 5}\n" for k in range(100))
    capture.write_text("time (s),current (A)\n" + rows, encoding="utf-8")
    return capture, page, run("carry", capture, "--fuse", EXAMPLE, "--report", page)


def test_a_verdict_as_a_page(kept: tuple[Path, Path, Result]) -> None:
    capture, page, done = kept
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("CARRIES")
    assert f"report written to {page}" in done.stdout.replace("\n  ", " ")
    text = page.read_text(encoding="utf-8")
    assert len(text) < 400_000
    found = Elements(text)
    assert "b" not in found.names
    assert found.names.count("svg") == 1
    told = " ".join(" ".join(found.texts).split())
    for line in ("CARRIES", "how near", "Never fit a larger fuse", capture.name, "sha256"):
        assert line in told, line
    assert told.count("Never fit a larger fuse") == 1
    # the figure in words, for those who do not see it
    assert ": current (A) against time (s)." in text
    assert "(hottest point of the element, hotter blade)" in text
    answer = recorded(page)["answer"]
    asked = json.loads(run("carry", capture, "--fuse", EXAMPLE, "--json").stdout)
    assert asked.pop("figure") is None
    assert list(differences(answer, asked)) == []


def test_long_tables_fold_and_wide_ones_are_reached_by_keyboard() -> None:
    def page(rows: int) -> str:
        cells = ("current (A)", "cause", *("5", "a cause that takes many words to tell") * rows)
        return Page(
            title="t", items=[Item("table", cells, 2)], figures=[("c", "<svg></svg>")], fit=[],
            inputs=[], command="curve", arguments=[], answer={}, versions={}, day="",
        ).html()  # fmt: skip

    short, long = page(5), page(60)
    assert ("<details>" in short, "all 60 rows" in long) == (False, True)
    assert 'tabindex="0" role="region" aria-label="table of current (A), cause"' in short
    assert short.count('<td class="words">') == 5
    assert 'aria-label="c"' in short


def test_a_page_is_reproduced_or_said_not_to_be(kept: tuple[Path, Path, Result]) -> None:
    capture, page, _ = kept
    done = run("reproduce", page)
    assert done.exit_code == 0, done.output
    assert "every number comes out again" in done.stdout
    other = page.with_name("other.html")
    factor = recorded(page)["answer"]["margin_current"]
    text = page.read_text(encoding="utf-8")
    other.write_text(text.replace(f'"margin_current": {factor}', '"margin_current": 9.5'))
    done = run("reproduce", other)
    assert done.exit_code == 1, done.output
    assert "margin_current: 9.5 then" in done.stdout
    before = capture.read_bytes()
    try:
        capture.write_bytes(before + b"\n")
        done = run("reproduce", page)
        assert (done.exit_code, "input-changed" in done.stderr) == (3, True)
        capture.unlink()
        done = run("reproduce", page)
        assert (done.exit_code, "input-missing" in done.stderr) == (3, True)
    finally:
        capture.write_bytes(before)


def test_report_is_the_same_page(kept: tuple[Path, Path, Result]) -> None:
    capture, page, _ = kept
    other = page.with_name("again.html")
    done = run("report", other, "carry", capture, "--fuse", EXAMPLE)
    assert done.exit_code == 0, done.output
    assert other.read_text(encoding="utf-8") == page.read_text(encoding="utf-8")
    done = run("report", other, "carry", capture, "--fuse", EXAMPLE)
    assert (done.exit_code, "output-exists" in done.stderr) == (6, True)
    assert run("report", other, "inspect", capture).exit_code == 2
    done = run("carry", capture, "--fuse", EXAMPLE, "--report", "a.txt")
    assert (done.exit_code, "ends in .html" in done.stderr) == (2, True)


def test_files_that_a_plan_names_are_inputs(tmp_path: Path) -> None:
    plan, capture = tmp_path / "box.toml", tmp_path / "pump.csv"
    capture.write_text("time (s),current (A)\n0,1\n1,1\n", encoding="utf-8")
    way = f'[[way]]\nfuse = "{EXAMPLE}"\n'
    plan.write_text(f'{way}capture = "pump.csv"\n{way}current_A = 3\n', encoding="utf-8")
    command = program.get_command(click.Context(program), "fusebox")
    assert command is not None
    found = list(inputs_of(command.make_context("fusebox", [str(plan)])))
    assert [(one.role, Path(one.name)) for one in found] == [
        ("plan", plan), ("capture it names", capture), ("fuse it names", EXAMPLE),
    ]  # fmt: skip
    assert found[2].sha256 == hashlib.sha256(EXAMPLE.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("command", "arguments"),
    [
        ("carry", ["a.csv", "--figure", "mine.svg", "--replace"]),
        ("curve", ["a.toml", "--csv=mine.csv"]),
        ("fit", ["a.toml", "--output", "mine.json"]),
        ("no-command", []),
    ],
)
def test_a_page_from_elsewhere_cannot_write_a_file(
    tmp_path: Path, command: str, arguments: list[str]
) -> None:
    path = tmp_path / "a.html"
    page = page_of(command=command, arguments=arguments, inputs=[])
    path.write_text(page.html(), encoding="utf-8")
    done = run("reproduce", path)
    assert (done.exit_code, "no-report" in done.stderr) == (3, True)


def test_which_commands_have_a_report() -> None:
    context = click.Context(program)
    commands = {name: program.get_command(context, name) for name in COMMANDS}
    reported = {name for name, command in commands.items() if isinstance(command, Reported)}
    assert reported == {
        "carry", "curve", "drive", "drop", "endure", "explain", "fusebox", "protect", "rerate",
        "screen", "selectivity", "spread",
    }  # fmt: skip
