"""Long bare wires in still air, natural convection and radiation at once."""

from __future__ import annotations

from ...fuse.element import round_wire
from ...fuse.model import FuseModel, Surroundings
from ...physics import heat_loss
from ...physics.metals import metal
from ...solver.steady import minimum_fusing_current
from ..case import Case, case


def _bare(diameter: float, emissivity: float, current: float) -> Case:
    size = f"{1e3 * diameter:g}"

    @case(
        f"wire-bare-{size.replace('.', '')}-{'bright' if emissivity < 0.3 else 'dark'}",
        f"copper wire of {size} mm, 1 m long, emissivity {emissivity:g}: minimum fusing current",
        unit="A",
        expected=current,
        relative=0.01,
        source="computed with ht 1.2.0 (Churchill and Chu) and air of CoolProp 8.0.0, endless wire",
        origin="computed",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        around = Surroundings(natural_convection=True, emissivity=emissivity)
        model = FuseModel(round_wire(metal("copper"), diameter, 1.0), surroundings=around)
        return minimum_fusing_current(model, ambient_c=20.0, cells=256)

    return measured


@case(
    "wire-textbook-pipe-film",
    "pipe of 0.1 m at 165 °C in air of 23 °C: film coefficient of natural convection",
    unit="W/m2/K",
    expected=7.29,
    relative=0.02,
    source="Incropera and DeWitt, example 9.4, from memory",
    origin="memory",
    calls="fusetherm.physics.heat_loss.cylinder_film_coefficient",
)
def _pipe() -> float:
    return float(heat_loss.cylinder_film_coefficient(0.1, 438.15, 296.15))


ROWS = (
    *(
        _bare(diameter, emissivity, current)
        for diameter, bright, dark in (
            (0.1e-3, 2.8228, 3.2095),
            (0.5e-3, 17.905, 24.742),
            (1.0e-3, 42.099, 64.069),
        )
        for emissivity, current in ((0.1, bright), (0.6, dark))
    ),
    _pipe,
)
