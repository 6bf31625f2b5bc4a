"""`fusetherm reproduce`: does the answer of a page come out again?"""

from __future__ import annotations

import hashlib
import io
import json
import math
from collections.abc import Iterator
from contextlib import redirect_stdout, suppress
from pathlib import Path
from typing import Any

import click

from ..errors import InputError
from .options import PATH, as_json
from .output import announce_compilation, echo, echo_json, shown
from .reported import Reported, answer_of, plain_words

#: Numbers that differ by less are the same: other machines round otherwise [-].
AGREE = 1e-9
#: What says how an answer was made, not what it is.
_APART = frozenset({"version", "versions", "configuration", "made_with"})


@click.command("reproduce")
@click.argument("page", type=PATH)
@as_json
@click.pass_context
def command(ctx: click.Context, page: Path, as_json: bool) -> None:
    """Ask again what PAGE, written by --report, answered, and compare every number.

    The files it was made from must lie where they lay. Exit status: 0 the same, 1 not.
    """
    from ..show.page.page import recorded
    from .main import program, versions

    record = recorded(page)
    for one in record["inputs"]:
        _same_file(one, page)
    asked = program.get_command(ctx, record["command"])
    if not isinstance(asked, Reported):
        raise InputError("no-report", f"{record['command']!r} is no command that writes a page")
    if plain_words(tuple(record["arguments"])) != record["arguments"]:
        # a page from elsewhere must not make this program write files
        raise InputError("no-report", "the arguments that the page keeps would write a file")
    announce_compilation()
    said = io.StringIO()
    with (
        redirect_stdout(said),
        asked.make_context(
            record["command"], [*record["arguments"], "--json"], parent=ctx.parent
        ) as inner,
        suppress(click.exceptions.Exit),
    ):
        asked.invoke(inner)
    found = list(differences(record["answer"], answer_of(json.loads(said.getvalue()))))
    moved = {
        name: (before, versions().get(name))
        for name, before in record["versions"].items()
        if versions().get(name) != before
    }
    if as_json:
        echo_json({
            "schema": "fusetherm/reproduce/1", "same": not found,
            "differences": [{"place": p, "then": a, "now": b} for p, a, b in found],
            "versions": moved,
        })  # fmt: skip
    else:
        echo(f"{shown(page)}: " + ("every number comes out again" if not found else
                                   f"{len(found)} numbers or texts differ"))  # fmt: skip
        for place, before, now in found[:20]:
            echo(f"{place}: {before} then, {now} now", "  ")
        for name, (before, now) in moved.items():
            echo(f"{name} was {before}, and is {now or 'missing'}", "  ")
    ctx.exit(1 if found else 0)


def _same_file(one: dict[str, str], page: Path) -> None:
    path = Path(one["name"])
    if not path.is_file():
        raise InputError(
            "input-missing",
            f"{one['name']}, which {page} was made from, is not there",
            expected="the file where it lay, seen from the present folder",
            mend="change to the folder the page was made in, or put the file back",
        )
    if hashlib.sha256(path.read_bytes()).hexdigest() != one["sha256"]:
        raise InputError(
            "input-changed",
            f"{one['name']} has changed since {page} was made from it",
            expected=f"a file with sha256 {one['sha256']}",
            mend="put the old file back, or make a new page",
        )


def differences(before: Any, now: Any, place: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Places where two answers differ by more than rounding, with what stands there."""
    if isinstance(before, dict) and isinstance(now, dict):
        for key in sorted({*before, *now} - _APART):
            yield from differences(before.get(key), now.get(key), f"{place}.{key}".lstrip("."))
    elif isinstance(before, list) and isinstance(now, list) and len(before) == len(now):
        for k, (a, b) in enumerate(zip(before, now, strict=True)):
            yield from differences(a, b, f"{place}[{k}]")
    elif _number(before) and _number(now):
        if not math.isclose(before, now, rel_tol=AGREE, abs_tol=1e-12):
            yield place, before, now
    elif before != now:
        yield place, before, now


def _number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
