"""`fusetherm report`: the answer of another command, kept as a page."""

from __future__ import annotations

from pathlib import Path

import click

from .options import PATH


@click.command("report", context_settings={"ignore_unknown_options": True})
@click.argument("page", type=PATH)
@click.argument("words", nargs=-1, required=True, type=click.UNPROCESSED, metavar="COMMAND ...")
@click.pass_context
def command(ctx: click.Context, page: Path, words: tuple[str, ...]) -> None:
    """Write the answer of COMMAND, with its own arguments, to PAGE (.html).

    The same as COMMAND ... --report PAGE.
    """
    from .main import program
    from .reported import Reported

    asked = program.get_command(ctx, words[0])
    if not isinstance(asked, Reported):
        raise click.UsageError(f"{words[0]!r} has no report.")
    with asked.make_context(
        words[0], [*words[1:], "--report", str(page)], parent=ctx.parent
    ) as inner:
        asked.invoke(inner)
