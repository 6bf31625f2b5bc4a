"""Metals: specific action to the melting point and of the melting plateau."""

from __future__ import annotations

from ...physics.metals import melting_action, metal, specific_action
from ..case import Case, case

_MM4 = 1e-12  # from A2 s/m4 to A2 s/mm4
_SOURCE = (
    "computed apart: specific heat from JANAF through thermo 0.6.1, resistivity and latent heat "
    "from CRC and Matula"
)


def _total_action(name: str, expected: float) -> Case:
    @case(
        f"metal-total-action-{name}",
        f"{name}: action from 25 °C until all is molten, without loss",
        unit="A2 s/mm4",
        expected=expected,
        relative=0.05,
        source=_SOURCE,
        origin="computed",
        calls="fusetherm.physics.metals.specific_action",
    )
    def measured() -> float:
        one = metal(name)
        return (specific_action(one, 298.15) + melting_action(one)) * _MM4

    return measured


ROWS = (_total_action("copper", 102539.8), _total_action("zinc", 14685.0))
