"""`fusetherm screen`: which of the fuses in a folder suit these captures and this conductor."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..errors import CalibrationError, FileError, SolveError
from ..written import measure, number
from . import options
from .output import announce_compilation, echo, echo_cautions, echo_notes, echo_table, shown, tell
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.screen import Screen

_WORDS = {"suits": "suits", "marginal": "marginal", "not_shown": "not shown", "does_not": "no"}


@click.command("screen", cls=Reported)
@click.argument("folder", type=options.PATH)
@click.option("--capture", "captures", type=options.PATH, multiple=True, required=True,
              metavar="FILE", help="A current to carry (CSV), once or more.")  # fmt: skip
@click.option("--section", required=True, metavar="SIZE",
              help='Section of the conductor with its unit, "2.5 mm2" or "AWG 14".')  # fmt: skip
@click.option("--insulation", required=True, metavar="NAME",
              help="Kind of insulation, such as pvc-105 or iso-class-c.")  # fmt: skip
@click.option("--bundle", required=True, type=int, metavar="N",
              help="Wires bunched together that carry current at once; 1 alone.")  # fmt: skip
@click.option("--ambient-c", required=True, type=float, metavar="C",
              help="Hottest air at the fuse, in °C.")  # fmt: skip
@click.option("--coldest-c", required=True, type=float, metavar="C",
              help="Coldest air at the fuse, in °C.")  # fmt: skip
@click.option("--wire-ambient-c", required=True, type=float, metavar="C",
              help="Hottest place the conductor may be in, in °C.")  # fmt: skip
@click.option("--material", type=click.Choice(["copper", "aluminium"]), default="copper",
              show_default=True, help="Metal of the conductor.")  # fmt: skip
@options.circuit
@click.option("--arcing-allowance", type=float, metavar="FACTOR",
              help="Operating over pre-arcing I²t, for times below 100 ms.")  # fmt: skip
@click.option("--cycles", type=options.ABOVE_ZERO, metavar="N",
              help="How often each capture has to be borne.")  # fmt: skip
@click.option("--period-s", type=options.ABOVE_ZERO, metavar="S",
              help="From one capture to its next in s; its length if not given.")  # fmt: skip
@options.reading
@options.connection("installed")
@options.contact
@options.as_json
def command(
    folder: Path,
    captures: tuple[Path, ...],
    section: str,
    insulation: str,
    bundle: int,
    ambient_c: float,
    coldest_c: float,
    wire_ambient_c: float,
    material: Literal["copper", "aluminium"],
    strongest_v: float | None,
    strongest_mohm: float | None,
    weakest_v: float | None,
    weakest_mohm: float | None,
    length_m: float | None,
    return_mohm: float | None,
    arcing_allowance: float | None,
    cycles: float | None,
    period_s: float | None,
    connection: Literal["installed", "test"],
    contact: Literal["new", "worn"],
    as_json: bool,
    **reading: Any,
) -> None:
    """Which fuses of FOLDER carry every capture, with margin, and protect the conductor?

    FOLDER holds definitions (.toml). Exit status: 0 one suits; none: 4 one was not shown, 10
    one is marginal, 20.
    """
    from ..conductor.insulation import insulation as insulation_of
    from ..conductor.sections import read_section
    from ..conductor.wire import Wire, continuous_current
    from .protect import circuit_of

    circuit = circuit_of(
        {
            "--strongest-v": strongest_v, "--strongest-mohm": strongest_mohm,
            "--weakest-v": weakest_v, "--weakest-mohm": weakest_mohm, "--length-m": length_m,
        }, return_mohm,
    )  # fmt: skip
    metal_section, gauge = read_section(section)
    wire = Wire(
        section=metal_section, gauge=gauge, insulation=insulation_of(insulation), bundle=bundle,
        material=material, make="rigid" if material == "aluminium" else "flexible",
    )  # fmt: skip
    continuous_current(wire, wire_ambient_c)  # refuse before any long work
    records = [options.read(path, **reading) for path in captures]
    fuses = _definitions(folder)
    announce_compilation()
    from ..answers.cautions import CAUTIONS
    from ..answers.screen import screen
    from ..calibration.stored import cached_fit

    fits, failed = [], []
    for fuse in fuses:
        try:
            fits.append(cached_fit(fuse, contact=contact))
        except (CalibrationError, SolveError) as fault:
            failed.append((fuse.id, str(fault).splitlines()[0]))
    answer = screen(
        fits, records, wire=wire, ambient_c=ambient_c, coldest_c=coldest_c,
        wire_ambient_c=wire_ambient_c, circuit=circuit, arcing_allowance=arcing_allowance,
        period=period_s, least_cycles=cycles, connection=connection,
    )  # fmt: skip
    unfitted = [{"fuse": name, "why": why} for name, why in failed]

    def words() -> None:
        print_screen(answer)
        for name, why in failed:
            echo(f"{shown(name)} could not be fitted: {why}", "  ")
        echo_cautions(CAUTIONS)

    tell(as_json, lambda: answer.to_json() | {"unfitted": unfitted, "cautions": CAUTIONS}, words)
    click.get_current_context().exit(answer.exit_status)


def _definitions(folder: Path) -> Any:
    """Definitions of a folder, in the order of their names."""
    from ..fuse.definition import load_fuses

    if not folder.is_dir():
        raise FileError("folder-missing", "there is no such folder", path=folder,
                        mend="give the folder that holds the definitions")  # fmt: skip
    paths = sorted(folder.glob("*.toml"))
    if not paths:
        raise FileError("no-definitions", "the folder holds no definition", path=folder,
                        expected="one .toml file or more")  # fmt: skip
    return load_fuses(paths)


def print_screen(answer: Screen) -> None:
    """Print the choice: those that suit first in words, then all in a table."""
    names = ", ".join(shown(one.name) for one in answer.suitable)
    echo(f"SUITS: {names}" if names else "NONE SUITS")
    echo(
        f"the conductor carries {measure(answer.conductor_limit, 'A')} for ever at "
        f"{measure(answer.wire_ambient_c, '°C')}; fuses at {measure(answer.coldest_c, '°C')} to "
        f"{measure(answer.ambient_c, '°C')}", "  "
    )  # fmt: skip
    rows = [
        [
            shown(one.name),
            measure(one.rated_current, "A"),
            _WORDS[one.suits],
            "-" if one.spare is None else number(one.spare),
            "-" if one.cycles is None else number(one.cycles),
            one.protection.replace("_", " "),
        ]
        for one in answer.candidates
    ]
    echo_table(["fuse", "rated", "suits", "margin over need", "cycles", "conductor"], rows)
    for one in answer.candidates:
        if one.suits != "suits":
            echo(f"{shown(one.name)}: {'; '.join(one.reasons)}", "  ")
    echo_notes(answer.notes)
