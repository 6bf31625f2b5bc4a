"""Melting without loss: the plateau, the molten length at parting, and a bridge that parts."""

from __future__ import annotations

from dataclasses import replace

from ...errors import SolveError
from ...fuse.element import Element, Section
from ...fuse.model import Blade, FuseModel, Side
from ...physics.metals import Metal, metal
from ...solver.run import Run, simulate
from ..case import Case, case
from ..models import constant, insulated_wire, straight

_PAPER = "closed form evaluated apart"


def _plain(conductivity: float = 400.0) -> Metal:
    """Copper with a straight resistivity, liquid of 2.07 times the solid's, and fixed heats."""
    return replace(
        metal("copper"),
        density=8960.0,
        solidus_k=1357.77,
        liquidus_k=1357.77,
        latent_heat=208668.0,
        liquid_resistivity_ratio=2.07,
        surface_tension=1.3,
        resistivity_table=straight(1.72e-8, 1.72e-8 * 0.00393),
        conductivity_table=straight(conductivity),
        specific_heat_table=straight(385.0),
        liquid_conductivity=conductivity,
    )


def _opened(run: Run) -> tuple[float, float]:
    """Onset and parting [s]."""
    if run.onset_time is None or run.pre_arcing_time is None:
        raise SolveError("no-melting", "the element did not part")
    return run.onset_time, run.pre_arcing_time


def _adiabatic(name: str, which: int, what: str, expected: float, tolerance: float) -> Case:
    @case(
        f"melting-adiabatic-{name}",
        f"copper of straight resistivity, .05 mm² without loss at 200 A: {what}",
        unit="s",
        expected=expected,
        relative=tolerance,
        source=_PAPER,
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        run = simulate(
            insulated_wire(_plain(), 0.05e-6), constant(200.0, 0.1), ambient_c=20.0,
            tolerance=1e-7, cells=8,
        )  # fmt: skip
        onset, parted = _opened(run)
        return (onset, parted - onset)[which]

    return measured


def _strip(*sections: Section) -> FuseModel:
    """Strip that conducts no heat to speak of and loses none."""
    ends = Side(Blade(heat_capacity=1e-12))
    return FuseModel(Element(_plain(1e-3), sections, spreading=False), None, ends, ends)


@case(
    "melting-wedge-parts",
    "wedge .1 mm thick, .5 to .65 mm wide over 10 mm, no loss at 200 A: time to parting",
    unit="s",
    expected=0.006589731897565081,
    relative=2e-3,
    source=f"action of melting where the molten length is the narrow end's perimeter; {_PAPER}",
    origin="computed",
    calls="fusetherm.simulate",
    integrates=True,
)
def _wedge() -> float:
    model = _strip(Section(10e-3, 0.5e-3, 0.1e-3, end_width=0.65e-3))
    run = simulate(model, constant(200.0, 1.0), ambient_c=20.0, tolerance=1e-6, cells=256)
    return _opened(run)[1]


@case(
    "melting-bridge-parts",
    "bridge 1 mm long, .5 by .1 mm, no loss at 200 A: time to parting",
    unit="s",
    expected=0.006480865362267843,
    relative=2e-3,
    source="action of melting, then 2.9 sqrt(density a³ / surface tension), Rayleigh 1892, "
    "from memory",
    origin="memory",
    calls="fusetherm.simulate",
    integrates=True,
)
def _bridge() -> float:
    wide = Section(3e-3, 2e-3, 0.1e-3)
    model = _strip(wide, Section(1e-3, 0.5e-3, 0.1e-3), wide)
    run = simulate(model, constant(200.0, 1.0), ambient_c=20.0, tolerance=1e-6)
    return _opened(run)[1]


ROWS = (
    _adiabatic("onset", 0, "time to the melting point", 0.005248603280949328, 1e-6),
    _adiabatic("plateau", 1, "time of the melting itself", 0.0008911120422840378, 1e-3),
    _wedge,
    _bridge,
)
