"""`fusetherm protect`: does this fuse protect this conductor?"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from ..errors import InputError
from ..written import measure, number, seconds
from . import options
from .output import (
    announce_compilation,
    draw,
    echo_cautions,
    echo_notes,
    echo_pairs,
    echo_verdict,
    shown,
    tell,
)
from .reported import Reported

if TYPE_CHECKING:
    from ..answers.protection import Protection
    from ..conductor.circuit import Circuit


@click.command("protect", cls=Reported)
@click.argument("fuse", type=options.PATH)
@click.option("--section", required=True, metavar="SIZE",
              help='Section of the conductor with its unit, "2.5 mm2" or "AWG 14".')  # fmt: skip
@click.option("--insulation", required=True, metavar="NAME",
              help="Kind of insulation, such as pvc-105 or iso-class-c.")  # fmt: skip
@click.option("--bundle", required=True, type=int, metavar="N",
              help="Wires bunched together that carry current at once; 1 alone.")  # fmt: skip
@click.option("--fuse-ambient-c", required=True, type=float, metavar="C",
              help="Coldest place the fuse may be in, in °C.")  # fmt: skip
@click.option("--wire-ambient-c", required=True, type=float, metavar="C",
              help="Hottest place the conductor may be in, in °C.")  # fmt: skip
@click.option("--material", type=click.Choice(["copper", "aluminium"]), default="copper",
              show_default=True, help="Metal of the conductor.")  # fmt: skip
@click.option("--make", type=click.Choice(["rigid", "flexible", "tinned"]),
              help="Classes 1 and 2, class 5 plain or tinned of IEC 60228.  "
              "[default: flexible; aluminium rigid]")  # fmt: skip
@click.option("--outer-diameter-mm", type=options.ABOVE_ZERO, metavar="MM",
              help="Over the insulation, in mm; that of a thin wall if not given.")  # fmt: skip
@click.option("--cooled-length-m", type=options.ABOVE_ZERO, metavar="M",
              help="Between ends held at ambient, in m; else a long wire.")  # fmt: skip
@click.option("--load-a", type=click.FloatRange(min=0.0), metavar="A",
              help="Current in the conductor before, in A; else the fuse's rating.")  # fmt: skip
@options.circuit
@click.option("--gates", multiple=True, metavar="NAME",
              help="Gates of the fuse's class; else those of its definition.")  # fmt: skip
@click.option("--arcing-allowance", type=float, metavar="FACTOR",
              help="Operating over pre-arcing I²t, for times below 100 ms.")  # fmt: skip
@click.option("--operating-i2t-a2s", type=options.ABOVE_ZERO, metavar="A2S",
              help="Largest published operating I²t of the fuse, in A²s.")  # fmt: skip
@click.option("--parallel", type=click.IntRange(min=1), default=1, metavar="N",
              help="Fuses side by side; of more than one nothing is shown.")  # fmt: skip
@click.option("--fault", type=options.PATH, metavar="CAPTURE",
              help="A fault current (CSV), followed through wire and fuse.")  # fmt: skip
@options.reading
@options.connection("installed")
@options.contact
@options.figure
@options.replace
@options.as_json
def command(
    fuse: Path,
    section: str,
    insulation: str,
    bundle: int,
    fuse_ambient_c: float,
    wire_ambient_c: float,
    material: Literal["copper", "aluminium"],
    make: Literal["rigid", "flexible", "tinned"] | None,
    outer_diameter_mm: float | None,
    cooled_length_m: float | None,
    load_a: float | None,
    strongest_v: float | None,
    strongest_mohm: float | None,
    weakest_v: float | None,
    weakest_mohm: float | None,
    length_m: float | None,
    return_mohm: float | None,
    gates: tuple[str, ...],
    arcing_allowance: float | None,
    operating_i2t_a2s: float | None,
    parallel: int,
    fault: Path | None,
    connection: Literal["installed", "test"],
    contact: str,
    figure: Path | None,
    replace: bool,
    as_json: bool,
    **reading: Any,
) -> None:
    """Does the fuse end every current before it damages the conductor?

    FUSE is a definition (.toml) or a fit file (.json). Exit status: 0 protected, 20 not
    protected, 4 not shown.
    """
    from ..conductor.insulation import insulation as kind
    from ..conductor.sections import read_section
    from ..conductor.wire import Wire

    options.check_figure(figure, replace=replace)
    area, gauge = read_section(section)
    wire = Wire(
        section=area,
        gauge=gauge,
        insulation=kind(insulation),
        bundle=bundle,
        material=material,
        make=make or ("rigid" if material == "aluminium" else "flexible"),
        outer_diameter=None if outer_diameter_mm is None else 1e-3 * outer_diameter_mm,
        length=cooled_length_m,
    )
    circuit = circuit_of(
        {
            "--strongest-v": strongest_v, "--strongest-mohm": strongest_mohm,
            "--weakest-v": weakest_v, "--weakest-mohm": weakest_mohm, "--length-m": length_m,
        }, return_mohm,
    )  # fmt: skip
    course = None if fault is None else options.read(fault, **reading)
    announce_compilation()
    from ..answers.conductor import protect
    from ..calibration.stored import fit_or_definition

    fit = fit_or_definition(fuse, contact=contact)
    found = protect(
        fit,
        wire,
        fuse_ambient_c=fuse_ambient_c,
        wire_ambient_c=wire_ambient_c,
        circuit=circuit,
        load=load_a,
        gates=gates or None,
        operating_i2t=operating_i2t_a2s,
        arcing_allowance=arcing_allowance,
        fault=course,
        parallel=parallel,
        connection=connection,
    )

    def plot() -> Any:
        from ..show.plots_conductor import plot_protection

        return plot_protection(found)

    draw(figure, replace, plot)
    tell(
        as_json, lambda: found.to_json() | {"figure": figure, "connection": connection},
        lambda: print_protection(found), (figure,),
    )  # fmt: skip
    click.get_current_context().exit(found.exit_status)


def circuit_of(given: dict[str, float | None], return_mohm: float | None) -> Circuit | None:
    """The circuit of the options, all of them or none."""
    missing = [name for name, value in given.items() if value is None]
    if len(missing) == len(given) and return_mohm is None:
        return None
    if missing:
        raise InputError(
            "circuit-incomplete",
            f"the circuit is given without {', '.join(missing)}",
            expected="voltage and resistance of the strongest and the weakest source, and the "
            "length of the wire",
            mend="give them all, or none",
        )
    from ..conductor.circuit import Circuit

    volts, ohms, low_volts, high_ohms, length = (value or 0.0 for value in given.values())
    return Circuit(
        strongest_voltage=volts,
        strongest_resistance=1e-3 * ohms,
        weakest_voltage=low_volts,
        weakest_resistance=1e-3 * high_ohms,
        length=length,
        return_resistance=None if return_mohm is None else 1e-3 * return_mohm,
    )


def print_protection(found: Protection) -> None:
    """Print a protection: the word, why, both verdicts, the conditions, the caution."""
    wire = found.wire
    size = f"{number(1e6 * wire.section)} mm² of {wire.material}"
    about = f"{shown(found.name)} and {size}, {wire.insulation.name}"
    echo_verdict(found.verdict, about, found.reasons)
    click.echo()
    far, fault = found.far_end, found.fault
    fitted = found.fitted_verdict.replace("_", " ")
    echo_pairs((
        ("this fuse", f"{fitted}; the latest of 100 is sure to open above "
                      f"{measure(found.late_least, 'A')}"),
        ("its class", _class(found)),
        ("conductor", _conductor(found)),
        ("before", f"{measure(found.load, 'A')} in the conductor, at {number(found.start_c)} °C "
                   "when the fault begins; fuse from cold"),
        ("short circuit", f"withstands {measure(wire.withstand(found.start_c), 'A²s')} "
                          f"(k = {number(1e-6 * wire.k(found.start_c))} A·s½/mm² from "
                          f"{number(found.start_c)} to "
                          f"{number(wire.insulation.short_circuit_c, 6)} °C)"),
        ("far end", "" if far is None else
                    f"a short draws {measure(far.current, 'A')} on the weakest source: ends "
                    f"within {seconds(far.cleared)}, damage after {seconds(far.damaged)}"
                    if math.isfinite(far.cleared) else
                    f"a short draws {measure(far.current, 'A')} and may flow for ever"),
        ("strongest", "" if found.prospective is None else
                      f"{measure(found.prospective, 'A')} right behind the fuse"),
        ("fault given", "" if fault is None else
                        f"conductor up to {number(fault.peak_c)} °C; the fuse parts: "
                        f"{seconds(fault.parted)}"),
        ("conditions", f"fuse {measure(found.fuse_ambient_c, '°C', 6)} (coldest), conductor "
                       f"{measure(found.wire_ambient_c, '°C', 6)} (hottest), new fuse"),
    ))  # fmt: skip
    if found.notes:
        click.echo()
    echo_notes(found.notes)
    click.echo()
    echo_cautions(found.cautions)


def _class(found: Protection) -> str:
    verdict = found.class_verdict.replace("_", " ")
    if found.class_least is None:
        return f"{verdict}; no gates stated"
    names = ", ".join(found.class_names)
    return (
        f"{verdict}; {names} allows a fuse never to open up to "
        f"{measure(found.class_least, 'A')} at this ambient"
    )


def _conductor(found: Protection) -> str:
    wire = found.wire
    laid = "alone" if wire.bundle == 1 else f"in a bundle of {wire.bundle}"
    ends = "" if wire.length is None else f", {measure(wire.length, 'm')} between cooled ends"
    return (
        f"carries {measure(found.conductor_limit, 'A')} at "
        f"{number(wire.insulation.class_c, 6)} °C in still air, {laid}{ends}"
    )
