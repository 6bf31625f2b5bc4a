"""`fusetherm spread`: how many units of this fuse begin to melt under this capture?"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..units import REFERENCE_AMBIENT_C
from ..written import measure, number, percent
from . import options
from .output import announce_compilation, echo, echo_cautions, echo_notes, echo_pairs, shown, tell
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.spread import Spread
    from ..calibration.fit import Calibration


@click.command("spread", cls=Reported)
@click.argument("capture", type=options.PATH)
@options.fuse
@options.ambient
@options.reading
@options.preload
@options.after
@options.connection("installed")
@options.contact
@options.as_json
def command(
    capture: Path,
    fuse: Path,
    ambient_c: float | None,
    preload_a: float | None,
    after: Literal["zero", "hold"],
    connection: Literal["installed", "test"],
    contact: str,
    as_json: bool,
    **reading: Any,
) -> None:
    """How many units of the fuse begin to melt under the current of CAPTURE?

    Units differ, and their median is known only so well: both are told apart.

    Exit status: 0; 4 when the record is clipped, for more flowed than it shows.
    """
    record = options.read(capture, **reading)
    announce_compilation()
    from ..answers.record_remarks import clipped
    from ..answers.spread import spread
    from ..calibration.stored import fit_or_definition

    fit = fit_or_definition(fuse, contact=contact)
    found = spread(
        fit,
        record,
        ambient_c=REFERENCE_AMBIENT_C if ambient_c is None else ambient_c,
        start=preload_a or None,
        after=after,
        connection=connection,
    )
    tell(
        as_json,
        lambda: found.to_json() | {
            "fuse": fit.definition.id, "capture": record.path, "capture_sha256": record.sha256,
            "ambient_C": ambient_c, "preload_A": preload_a, "after": after,
            "connection": connection,
        },
        lambda: print_spread(
            found, fit, capture=record.path, ambient_c=ambient_c, connection=connection
        ),
    )  # fmt: skip
    click.get_current_context().exit(4 if clipped(found.notes) else 0)


#: Where the differences of units come from.
_SOURCES = {"assumed": "assumed", "band": "from the published band"}


def print_spread(
    found: Spread, fit: Calibration, *, capture: str, ambient_c: float | None, connection: str
) -> None:
    """Print the share of units, how sure it is, and what it rests on."""
    from ..calibration.band import CONFIDENCE

    share = shares(found.share)
    melt = "no unit begins to melt" if share == "none" else f"{share} of units begin to melt"
    echo(f"{fit.definition.id}, {shown(capture)}: {melt}")
    low, high = shares(found.share_low), shares(found.share_high)
    edges = f": {low}" if low == high else f" {low} to {high}"
    most = "no more than one unit in a million million"
    if math.isfinite(found.one_in):
        most = f"no more than one unit in {counting(found.one_in)}"
    ambient = measure(REFERENCE_AMBIENT_C if ambient_c is None else ambient_c, "°C", 6)
    echo_pairs((
        ("share", f"{percent(found.level)} band of it{edges}"),
        ("sure", f"{percent(CONFIDENCE)} confident that {most} begins to melt"),
        ("median", f"begins to melt at {number(found.current_factor)} times this current"),
        ("units", f"differ by {percent(found.unit_sd)} in current (standard deviation), "
                  f"{_SOURCES[fit.units.source]}; their median is known to "
                  f"{percent(found.known_sd)}"),
        ("conditions", f"ambient {ambient}{' (assumed)' if ambient_c is None else ''}, "
                       f"{connection} connection, new fuse"),
    ))  # fmt: skip
    if found.notes:
        click.echo()
    echo_notes(found.notes)
    click.echo()
    echo_cautions(found.cautions)


def shares(share: float) -> str:
    """A share of units as a person says it."""
    if share >= 1e-3:
        return percent(share)
    return "none" if share < 1e-12 else f"one in {counting(1.0 / share)}"


def counting(units: float) -> str:
    """A number of units, to two digits."""
    rounded = round(units, 1 - math.floor(math.log10(units)))
    if rounded >= 1e6:
        return f"{number(rounded / 1e6, 2)} million"
    return f"{rounded:,.0f}" if rounded >= 10.0 else number(units, 2)
