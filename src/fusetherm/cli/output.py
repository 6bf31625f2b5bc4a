"""What the commands print: text for people, one JSON object for programs."""

from __future__ import annotations

import json
import math
import re
import sys
import tempfile
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..errors import Argument, Note, Spelling

if TYPE_CHECKING:
    import subprocess

    from ..show.page.page import Item, Kind

WIDTH = 88
#: A blank between a number and its unit, where no line may end.
_BOUND = re.compile(r"(?<=\d) (?=[^\s\d]{1,4}(?:[\s,;:.)]|$))")
#: Time the kernels take to compile, for the announcement [s] (measured on two cores).
COMPILE_TIME = 7
#: The same for those of several runs side by side [s].
LANES_TIME = 4


#: Colours of the verdicts.
_COLOURS = {
    "carries": "green", "protected": "green", "selective": "green",
    "marginal": "yellow", "not_shown": "yellow",
    "opens": "red", "not_protected": "red", "not_selective": "red",
}  # fmt: skip
#: Place in a context of what its command says, while it is kept.
_KEPT = "fusetherm.kept"


@dataclass
class Kept:
    """What a command says, for a page: item by item, as plain data, and drawn (SVG)."""

    items: list[Item] = field(default_factory=list)
    answer: dict[str, Any] = field(default_factory=dict)
    figures: list[str] = field(default_factory=list)


@contextmanager
def kept(context: click.Context) -> Iterator[Kept]:
    """Keep what a command says while this is open, besides its being printed."""
    said = Kept()
    context.meta[_KEPT] = said
    try:
        yield said
    finally:
        del context.meta[_KEPT]


def _now_kept() -> Kept | None:
    context = click.get_current_context(silent=True)
    return None if context is None else context.meta.get(_KEPT)


def _keep(kind: Kind, texts: Iterable[str], columns: int = 1) -> None:
    said = _now_kept()
    if said is not None:
        from ..show.page.page import Item

        texts = tuple(printable(text) for text in texts)
        if any(texts):
            said.items.append(Item(kind, texts, columns))


def draw(figure: Path | None, replace: bool, plot: Callable[[], Any]) -> None:
    """Draw an answer where a file, or a page, wants it.

    Parameters
    ----------
    figure : Path or None
        File to write.
    replace : bool
        Whether a file of that name may be replaced.
    plot : callable
        Gives the figure.
    """
    said = _now_kept()
    if figure is None and said is None:
        return
    from ..show.plots import save_figure

    drawn = plot()
    if figure is not None:
        save_figure(drawn, figure, replace)
    if said is not None:
        with tempfile.TemporaryDirectory() as folder:
            path = save_figure(drawn, Path(folder) / "figure.svg")
            said.figures.append(path.read_text(encoding="utf-8"))


def tell(
    as_json: bool,
    data: Callable[[], Mapping[str, Any]],
    words: Callable[[], None],
    outputs: Iterable[Path | None] = (),
) -> None:
    """Tell an answer: as one JSON object, or in words, and for a page as both.

    Parameters
    ----------
    as_json : bool
        Whether it is asked for as data.
    data : callable
        Gives it as plain data.
    words : callable
        Prints it.
    outputs : iterable of Path or None
        Files written besides, named after the words.
    """
    said = _now_kept()
    if said is not None:
        said.answer = json_ready(data())
    if as_json:
        echo_json(data())
        return
    words()
    for path in outputs:
        if path is not None:
            click.echo(wrapped(f"written to {shown(path)}", "", "  "))


def printable(text: str) -> str:
    """Text in which control characters are spelt out, so that a name cannot drive a terminal.

    Examples
    --------
    >>> printable("a\\x1b[31mb")
    'a\\\\x1b[31mb'
    """
    return "".join(c if c.isprintable() or c == "\n" else repr(c)[1:-1] for c in text)


def shown(name: object) -> str:
    """A path or name on one line.

    Examples
    --------
    >>> shown(Path("two\\nlines.csv"))
    'two\\\\nlines.csv'
    """
    return printable(str(name)).replace("\n", "\\n")


def json_ready(value: Any) -> Any:
    """Value of plain JSON kinds: arrays as lists, paths as texts, NaN and infinities as None.

    Examples
    --------
    >>> json_ready({"a": (1, float("nan")), "b": Path("x.csv")})
    {'a': [1, None], 'b': 'x.csv'}
    """
    if isinstance(value, Mapping):
        return {str(key): json_ready(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [json_ready(item) for item in value]
    if hasattr(value, "tolist"):  # numpy, without importing it
        return json_ready(value.tolist())
    if isinstance(value, float):
        # Twelve digits: what lies beyond is rounding, as in 419.52700000000004.
        return float(format(value, ".12g")) if math.isfinite(value) else None
    return str(value) if isinstance(value, Path) else value


def echo_json(value: Mapping[str, Any]) -> None:
    """Print one JSON object."""
    text = json.dumps(json_ready(value), indent=2, ensure_ascii=False, allow_nan=False)
    # A file name that is no text holds half characters: write those as JSON escapes.
    click.echo("".join(c if not 0xD800 <= ord(c) < 0xE000 else f"\\u{ord(c):04x}" for c in text))


def wrapped(text: str, first: str, rest: str) -> str:
    """A paragraph in lines, in which a number and its unit stay together."""
    bound = _BOUND.sub("\N{NO-BREAK SPACE}", printable(text))
    lines = textwrap.fill(
        bound, WIDTH, initial_indent=first, subsequent_indent=rest,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    return lines.replace("\N{NO-BREAK SPACE}", " ")


def echo_verdict(verdict: str, about: str, reasons: Iterable[str] = ()) -> None:
    """Print the word of a verdict, what it is about, and why."""
    word = verdict.replace("_", " ").upper()
    click.echo(click.style(word, fg=_COLOURS[verdict], bold=True) + f": {printable(about)}")
    _keep("verdict", (word, about))
    for reason in reasons:
        echo(reason, "  ")


def echo_cautions(cautions: Iterable[str]) -> None:
    """Print the cautions, as one paragraph."""
    text = " ".join(cautions)
    click.echo(wrapped(text, "", ""))
    _keep("caution", (text,))


def echo(text: str = "", indent: str = "", hang: str = "  ") -> None:
    """Print a paragraph, wrapped, with control characters spelt out."""
    _keep("text", (text,))
    for line in printable(text).split("\n"):
        click.echo(wrapped(line, indent, indent + hang))


def echo_pairs(pairs: Iterable[tuple[str, str]]) -> None:
    """Print names and values in two columns; an empty value leaves its line out."""
    told = [(name, value) for name, value in pairs if value]
    _keep("pairs", (text for pair in told for text in pair))
    wide = max((len(name) for name, _ in told), default=0) + 2
    for name, value in told:
        lead = f"  {name:<{wide}}"
        click.echo(wrapped(value, lead, " " * len(lead)))


def echo_table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print columns of texts, right-aligned."""
    table = [list(head), *(list(row) for row in rows)]
    _keep("table", (cell for row in table for cell in row), len(head))
    wide = [max(len(row[i]) for row in table) for i in range(len(head))]
    for row in table:
        click.echo("  " + "  ".join(f"{cell:>{w}}" for cell, w in zip(row, wide, strict=True)))


def echo_notes(notes: Iterable[Note]) -> None:
    """Print notes, one a paragraph."""
    context = click.get_current_context(silent=True)
    spell = spelling(None if context is None else context.command)
    for note in notes:
        told = note.told(spell)
        click.echo(wrapped(f"note: {told} [{note.code}]", "  ", "    "))
        _keep("note", (told, note.code))


def spelling(command: click.Command | None) -> Spelling:
    """How a command spells an argument: the option whose parameter has its name."""
    named = {} if command is None else {parameter.name: parameter for parameter in command.params}

    def spell(argument: Argument) -> str:
        option = named.get(argument.name)
        if not isinstance(option, click.Option):
            return ""
        word = max(option.opts, key=len)
        if option.is_flag:
            return word
        if argument.value is None:
            return f"{word} {option.metavar or '...'}"
        value = str(argument.value)
        plain = value.replace(".", "").replace("-", "").isalnum()
        return f"{word} {value}" if plain else f'{word} "{value}"'

    return spell


def announce_compilation(lanes: bool = False) -> None:
    """Say on the error stream that the first use compiles, when it does.

    Parameters
    ----------
    lanes : bool
        Whether runs are to be followed side by side, as in sweeps.
    """
    from ..compiled import CACHE_VARIABLE, cache_folder, is_warm

    cold = not is_warm()
    time = COMPILE_TIME if cold else 0
    if lanes and not is_warm("advance_lanes"):
        time += LANES_TIME
    if not time:
        return
    once = "compiling once"
    if cache_folder() is None:
        once = f"compiling, since no folder keeps what was compiled (see {CACHE_VARIABLE})"
    click.echo(f"{once}, about {time} s ...", err=True)
    sys.stderr.flush()
    command = click.get_current_context(silent=True)
    if cold and command is not None and cache_folder() is not None:
        from ..threads import cores

        if cores() > 1:
            from ..solver.warming import begin_aside

            aside = begin_aside(everything=lanes)
            command.call_on_close(lambda: _joined(aside))


def _joined(aside: subprocess.Popen[bytes]) -> None:
    """Wait for a process that helps, unless nobody waits for its help any more."""
    if isinstance(sys.exception(), KeyboardInterrupt):
        aside.terminate()
    aside.wait()
