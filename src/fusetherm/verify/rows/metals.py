"""Metals: what the tables say, and specific actions of heating and melting."""

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


def _scalar(name: str, what: str, unit: str, expected: float, within: float, source: str) -> Case:
    @case(
        f"metal-{what.lower().replace(' ', '-')}-{name}",
        f"{name}: {what}",
        unit=unit,
        expected=expected,
        relative=within,
        source=source,
        origin="read",
        calls="fusetherm.metal",
    )
    def measured() -> float:
        one = metal(name)
        return {
            "melting point": one.solidus_k,
            "heat of fusion": one.latent_heat,
            "density": one.density,
            "conductivity at 300 K": one.conductivity(300.0),
        }[what]

    return measured


def _scalars(name: str, melts: float, heat: float, density: float, conducts: float) -> list[Case]:
    chemicals = "read through chemicals 1.5.2 (CRC Handbook)"
    return [
        _scalar(name, "melting point", "K", melts, 5e-5, chemicals),
        _scalar(name, "heat of fusion", "J/kg", heat, 1e-3, chemicals),
        _scalar(name, "density", "kg/m3", density, 5e-3, "read through periodictable 2.1.0"),
        _scalar(name, "conductivity at 300 K", "W/m/K", conducts, 1e-2,
                "read through mendeleev 1.3.0"),
    ]  # fmt: skip


ROWS = (
    _total_action("copper", 102539.8),
    _total_action("zinc", 14685.0),
    *_scalars("zinc", 692.677, 108106.45, 7133.0, 116.0),
    *_scalars("copper", 1357.77, 208667.74, 8960.0, 401.0),
    *_scalars("silver", 1234.93, 104757.47, 10500.0, 429.0),
)
