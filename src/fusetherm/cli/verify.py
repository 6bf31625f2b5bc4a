"""`fusetherm verify`: the shipped table of checks, measured here and now."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from . import options
from .output import announce_compilation, echo, echo_json, echo_pairs, echo_table, printable, shown

if TYPE_CHECKING:
    from ..verify import Case, Row, Verification

#: Exit status when a row failed.
FAILED = 1


@click.command("verify")
@click.option("--topic", metavar="TOPIC", help="Only the rows of one topic.")
@click.option("--html", type=options.PATH, metavar="FILE", help="Write the table as one page.")
@options.replace
@options.as_json
@click.pass_context
def command(
    ctx: click.Context, topic: str | None, html: Path | None, replace: bool, as_json: bool
) -> None:
    """Compare fusetherm with values that it did not make; status 1 when a row fails."""
    from ..files import check_output, write_atomic

    if html is not None:
        check_output(html, replace=replace)
    announce_compilation()
    from ..verify import cases, run_cases

    every = cases()
    lay = _Layout(every)
    result = run_cases(every, topic=topic, progress=None if as_json else lay.print_row)
    if html is not None:
        from ..verify.page import html as page

        write_atomic(html, page(result), replace=replace)
    if as_json:
        echo_json({**result.to_data(), "html": html})
    else:
        _summary(result)
        if html is not None:
            echo(f"written to {shown(html)}")
    ctx.exit(0 if result.passed else FAILED)


class _Layout:
    """Widths of the columns, known before the first row is measured."""

    def __init__(self, cases: tuple[Case, ...]) -> None:
        self.id = max((len(one.id) for one in cases), default=0)

    def print_row(self, row: Row) -> None:
        """One line: mark, name, value with unit, error and tolerance."""
        from ..verify import words

        mark = "ok  " if row.passed else "FAIL"
        got = f"{words.number(row.got)} {words.unit_text(row.case.unit)}".rstrip()
        allowed = words.tolerance_text(row.case) or words.expected_text(row.case)
        line = f"{mark} {row.case.id:<{self.id}}  {got:<20}  {words.error_text(row):>12}"
        click.echo(printable(f"{line}  of {allowed}" if not row.failure else line).rstrip())


def _summary(result: Verification) -> None:
    """Counts by topic, then the failed rows at length."""
    from ..verify import words

    click.echo()
    echo_table(
        ["topic", "rows", "failed", "time"],
        [
            (name, str(len(rows)), str(sum(not row.passed for row in rows)),
             f"{sum(row.seconds for row in rows):.1f} s")
            for name, rows in result.topics.items()
        ],
    )  # fmt: skip
    for row in result.failed:
        unit = words.unit_text(row.case.unit)
        click.echo()
        echo(f"FAILED {row.case.id}: {row.case.what}")
        echo_pairs(
            (
                ("expected", f"{words.expected_text(row.case)} {unit}".rstrip()),
                ("got", row.failure or f"{words.number(row.got)} {unit}".rstrip()),
                ("error", "" if row.failure else words.error_text(row)),
                ("tolerance", words.tolerance_text(row.case)),
                ("calls", row.case.calls),
                ("source", words.source_text(row.case)),
            )
        )
    click.echo()
    count, solved = len(result.rows), len(result.integrated)
    end = "all passed" if result.passed else f"{len(result.failed)} failed"
    echo(f"{count} rows, {solved} of them through a solver: {end} ({result.seconds:.1f} s)")
    echo(", ".join(f"{name} {number}" for name, number in result.versions.items()))
