"""Commands whose answer can be kept as a page, with ``--report``."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..errors import FileError
from .options import PATH
from .output import echo, kept, shown

if TYPE_CHECKING:
    from ..show.page.page import Input

#: Place of the command's own words in a context.
_ARGUMENTS = "fusetherm.arguments"
#: What a file is called, where its parameter takes several.
_ROLES = {"captures": "capture", "fuses": "fuse"}
#: Parameters that are written to, not read.
_OUTPUTS = ("figure", "report", "output", "csv", "netcdf")


class Reported(click.Command):
    """A command with ``--report FILE``: it answers as always, and writes a page of the answer."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.params.append(
            click.Option(
                ["--report"], type=PATH, metavar="FILE", expose_value=False, callback=_keep_path,
                help="Write the answer as a page of its own (.html).",
            )
        )  # fmt: skip
        if not any(parameter.name == "replace" for parameter in self.params):
            self.params.append(
                click.Option(
                    ["--replace"], is_flag=True, help="Replace files that exist.",
                    expose_value=False, callback=_keep_replace,
                )
            )  # fmt: skip

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse, and remember the words."""
        ctx.meta[_ARGUMENTS] = tuple(args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Answer; with ``--report`` keep what is said for the page."""
        path: Path | None = ctx.meta.get("report")
        if path is None:
            return super().invoke(ctx)
        if ctx.params.get("as_json"):
            raise click.UsageError("--report and --json cannot both be given; ask twice.")
        from ..files import check_output, write_atomic

        check_output(path, replace=_replaces(ctx))
        words = plain_words(ctx.meta[_ARGUMENTS])
        with kept(ctx) as said:
            status = _status(super().invoke, ctx)
        from datetime import UTC, datetime

        from ..show.page.page import Page
        from .main import versions

        name = ctx.info_name or ""
        page = Page(
            title=f"fusetherm {name}: " + ", ".join(shown(path.name) for _, path in _paths(ctx)),
            items=said.items,
            figures=[(_caption(ctx), svg) for svg in said.figures],
            fit=_fit(ctx),
            inputs=tuple(inputs_of(ctx)),
            command=name,
            arguments=words,
            answer=answer_of(said.answer),
            versions=versions(),
            day=datetime.now(UTC).date().isoformat(),
        )
        write_atomic(path, page.html(), replace=_replaces(ctx))
        echo(f"report written to {shown(path)}")
        ctx.exit(status)


def answer_of(data: dict[str, Any]) -> dict[str, Any]:
    """The answer of a command as plain data, without the files it wrote."""
    return {name: value for name, value in data.items() if name not in ("outputs", *_OUTPUTS)}


def _keep_path(ctx: click.Context, _: click.Parameter, value: Path | None) -> None:
    ctx.meta["report"] = value
    if value is not None and value.suffix.lower() not in (".html", ".htm"):
        raise click.BadParameter(f"a page ends in .html, not in {value.suffix or 'nothing'!r}")


def _keep_replace(ctx: click.Context, _: click.Parameter, value: bool) -> None:
    ctx.meta["replace"] = value


def _replaces(ctx: click.Context) -> bool:
    return bool(ctx.params.get("replace") or ctx.meta.get("replace"))


def _status(invoke: Any, ctx: click.Context) -> int:
    """Exit status of an answer."""
    try:
        invoke(ctx)
    except click.exceptions.Exit as done:
        return done.exit_code
    return 0


def plain_words(words: tuple[str, ...]) -> list[str]:
    """Words of a command without what it was told to write."""
    found: list[str] = []
    skip = False
    for word in words:
        if skip or word == "--replace":
            skip = False
        elif word in ("--report", "--figure", "--csv", "--netcdf"):
            skip = True
        elif not word.startswith(("--report=", "--figure=", "--csv=", "--netcdf=")):
            found.append(word)
    return found


def _caption(ctx: click.Context) -> str:
    """What the figure of a command shows, from its first line of help."""
    return f"Figure of {ctx.info_name}: {ctx.command.get_short_help_str(100)}"


def inputs_of(ctx: click.Context) -> Iterator[Input]:
    """Files a command read, with their hashes; after each the files it names, if it is a plan."""
    from ..show.page.page import Input

    found: list[tuple[str, Path]] = []
    for role, file in _given(ctx):
        found += [(role, file), *((f"{key} it names", named) for key, named in _named_in(file))]
    for role, file in dict.fromkeys(found):
        yield Input(
            role, shown(os.path.normpath(file)), hashlib.sha256(file.read_bytes()).hexdigest()
        )


def _paths(ctx: click.Context) -> Iterator[tuple[str, Path]]:
    """Paths a command was given to read, each with the name of its parameter."""
    for parameter in ctx.command.params:
        name = parameter.name or ""
        if isinstance(parameter.type, click.Path) and name not in _OUTPUTS:
            value = ctx.params.get(name)
            for path in value if isinstance(value, tuple) else (value,):
                if isinstance(path, Path):
                    yield name, path


def _given(ctx: click.Context) -> Iterator[tuple[str, Path]]:
    """Files a command was given, by role; of a folder its definitions and fit files."""
    for name, path in _paths(ctx):
        if path.is_dir():
            yield from (("fuse of the folder", file) for file in sorted(path.glob("*.toml")))
        elif name == "capture" and path.suffix.lower() == ".toml":
            yield "duty", path
        else:
            yield _ROLES.get(name, name.replace("_", " ")), path


def _named_in(file: Path) -> list[tuple[str, Path]]:
    """Captures and fuses that a plan or a duty names, from its own folder."""
    from ..fuse.records import parse, read_text

    if file.suffix.lower() != ".toml":
        return []  # a capture, which may be long
    try:
        values, _ = parse(read_text(file), file, kind="plan")
    except FileError:
        return []  # one of a folder that the command itself passed over
    return [
        (key, file.parent / table[key])
        for tables in values.values()
        if isinstance(tables, list)
        for table in tables
        if isinstance(table, dict)
        for key in ("capture", "fuse")
        if isinstance(table.get(key), str) and (file.parent / table[key]).is_file()
    ]


def _fit(ctx: click.Context) -> list[tuple[str, str]]:
    """How well the fuse of a command is known, where it has one."""
    path = ctx.params.get("fuse")
    if not isinstance(path, Path):
        return []
    from ..calibration.stored import fit_or_definition
    from ..written import number, percent

    fit = fit_or_definition(path, contact=ctx.params.get("contact") or "new")
    band = fit.band
    shares = ", ".join(f"{name} {percent(share)}" for name, share in band.shares)
    return [
        ("family", fit.family.name),
        ("published", f"{len(fit.residuals)} numbers, the curve met to "
                      f"{percent(fit.rms_current)} rms in current"),
        ("left to priors", ", ".join(fit.diagnosis.prior_dominated) or "nothing"),
        ("band", f"{percent(band.level)} of units lie within {number(band.low, 3)} to "
                 f"{number(band.high, 3)} of the median current, the widest over the published "
                 f"range ({shares})"),
    ]  # fmt: skip
