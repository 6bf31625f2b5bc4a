"""An answer as one HTML file that needs nothing else: words, figures, inputs, how to get it again.

The words are those the command printed, item by item; the figures are inline SVG whose metadata
say how to read a value off them; the answer's numbers stand in a block of JSON, from which
`recorded` reads them back.
"""

from __future__ import annotations

import html
import json
import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import dropwhile, takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from ...errors import FileError

if TYPE_CHECKING:
    from jinja2 import Template

SCHEMA = "fusetherm/report/1"
#: Where the record begins and ends in a page.
_RECORD = re.compile(
    r'<script type="application/json" id="fusetherm-record">(.*?)</script>', re.DOTALL
)
#: What `save_figure` says in an SVG about its axes.
_AXES = re.compile(r'\{"axes": \[.*?\]\}(?=\s*<)', re.DOTALL)
#: What a record keeps beside its schema.
_KEPT = {"command": str, "arguments": list, "inputs": list, "versions": dict, "answer": dict}

Kind = Literal["verdict", "text", "pairs", "table", "note", "caution"]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing an answer says.

    Attributes
    ----------
    kind : str
        "verdict" (word, about), "text" (one), "pairs" (name, value, name, value ...), "table"
        (cells), "note" (text, code), "caution" (one).
    texts : tuple of str
        What it says.
    columns : int
        Of a table, whose first row is its head.
    """

    kind: Kind
    texts: tuple[str, ...]
    columns: int = 1

    @property
    def rows(self) -> list[tuple[str, ...]]:
        """Texts of a table or of pairs, row by row."""
        wide = 2 if self.kind == "pairs" else self.columns
        return [self.texts[i : i + wide] for i in range(0, len(self.texts), wide)]


@dataclass(frozen=True, slots=True)
class Input:
    """A file an answer was made from.

    Attributes
    ----------
    role, name : str
        What it was, and its path as it was given.
    sha256 : str
        Of its bytes.
    """

    role: str
    name: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What a page shows and keeps.

    Attributes
    ----------
    title : str
        For the window.
    items : sequence of Item
        In the order of the command.
    figures : sequence of (str, str)
        Caption, and SVG.
    fit : sequence of (str, str)
        How well the fuse is known: name and value.
    inputs : sequence of Input
    command : str
        Name of the command.
    arguments : sequence of str
        What it was given.
    answer : dict
        Its answer as plain data.
    versions : dict of str to str
        Of what it was computed with.
    day : str
        When it was made.
    """

    title: str
    items: Sequence[Item]
    figures: Sequence[tuple[str, str]]
    fit: Sequence[tuple[str, str]]
    inputs: Sequence[Input]
    command: str
    arguments: Sequence[str]
    answer: dict[str, Any]
    versions: dict[str, str]
    day: str

    @property
    def record(self) -> dict[str, Any]:
        """What it takes to get the answer again, and the answer."""
        return {
            "schema": SCHEMA,
            "command": self.command,
            "arguments": list(self.arguments),
            "inputs": [{"role": i.role, "name": i.name, "sha256": i.sha256} for i in self.inputs],
            "versions": self.versions,
            "answer": self.answer,
        }

    def of(self, kind: str) -> list[Item]:
        """Items of a kind."""
        return [item for item in self.items if item.kind == kind]

    @property
    def lead(self) -> list[Item]:
        """Verdicts, each with what is said to it before the first table or pair: why."""
        shown = takewhile(lambda item: item.kind not in ("pairs", "table"), self.items)
        return [item for item in shown if item.kind in ("verdict", "text")]

    @property
    def body(self) -> list[Item]:
        """Tables and pairs, with what is said between them."""
        rest = dropwhile(lambda item: item.kind not in ("pairs", "table"), self.items)
        return [item for item in rest if item.kind in ("pairs", "table", "text")]

    @property
    def line(self) -> str:
        """The command as it is typed."""
        return shlex.join(["fusetherm", self.command, *self.arguments])

    def html(self) -> str:
        """The page."""
        record = json.dumps(self.record, ensure_ascii=True, allow_nan=False)
        return _template().render(
            page=self,
            figures=[(caption, alt(caption, svg), inline(svg)) for caption, svg in self.figures],
            # a text must not end the block early
            record=record.replace("<", "\\u003c"),
        )


def alt(caption: str, svg: str) -> str:
    """What a figure shows, for those who do not see it: its axes and the lines they hold."""
    told = _AXES.search(svg)
    if told is None:
        return caption
    words = [caption.rstrip(".")]
    for axes in json.loads(html.unescape(told.group()))["axes"]:
        over = f"{axes['y']} against {axes['x']}" if axes["y"] else axes["x"]
        lines = ", ".join(axes.get("lines", ()))
        words.append(f"{axes.get('title') or 'axes'}: {over}" + (f" ({lines})" if lines else ""))
    return ". ".join(words)


def inline(svg: str) -> str:
    """SVG as it stands inside a page: without prologue, as wide as the page allows."""
    body = svg[svg.index("<svg") :]
    head, rest = body.split(">", 1)
    head = re.sub(r'\s(width|height)="[^"]*"', "", head)
    return f"{head}>{rest}"


def recorded(path: Path) -> dict[str, Any]:
    """The record of a page.

    Parameters
    ----------
    path : Path
        A file that `Page.html` was written to.

    Returns
    -------
    dict
        As `Page.record`.

    Raises
    ------
    FileError
        ``no-report`` for any other file.
    """
    try:
        found = _RECORD.search(path.read_text(encoding="utf-8"))
        record = None if found is None else json.loads(found.group(1))
    except (OSError, ValueError) as error:
        raise FileError(
            "no-report", str(error), path=str(path), expected="a page that --report wrote"
        ) from error
    if (
        not isinstance(record, dict)
        or record.get("schema") != SCHEMA
        or any(not isinstance(record.get(key), kind) for key, kind in _KEPT.items())
    ):
        raise FileError(
            "no-report",
            "no record of an answer is in the file",
            path=str(path),
            expected="a page that --report wrote",
        )
    return record


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    place = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    folder = resources.files(__package__)
    place.globals["script"] = folder.joinpath("values.js").read_text(encoding="utf-8")
    return place.from_string(folder.joinpath("page.html").read_text(encoding="utf-8"))
