"""Metal tables against temperature: heat, resistivity, conductivity and their Lorenz number."""

from __future__ import annotations

from collections.abc import Callable

from ...physics.metals import Metal, metal
from ..case import Case, Origin, case

#: Molar masses [kg/mol], chemicals 1.5.2.
_MOLAR = {"copper": 63.546e-3, "silver": 107.8682e-3, "aluminium": 26.9815386e-3, "zinc": 65.38e-3}
_THERMO = "through thermo 0.6.1, read"


def _property(
    id: str, what: str, unit: str, name: str, value: Callable[[Metal], float],
    expected: float, within: float, source: str, origin: Origin = "read",
) -> Case:  # fmt: skip
    @case(
        f"property-{id}",
        f"{name}: {what}",
        unit=unit,
        expected=expected,
        relative=within,
        source=source,
        origin=origin,
        calls="fusetherm.Metal",
    )
    def measured() -> float:
        return value(metal(name))

    return measured


def _molar_heat(name: str, at_k: float, expected: float, book: str) -> Case:
    return _property(
        f"molar-heat-{name}-{at_k:g}k", f"molar heat capacity at {at_k:g} K", "J/mol/K", name,
        lambda one: one.specific_heat(at_k) * _MOLAR[name], expected, 0.025,
        f"{book} {_THERMO}",
    )  # fmt: skip


def _molar_rise(name: str, expected: float, book: str) -> Case:
    return _property(
        f"molar-enthalpy-{name}", "enthalpy from 25 °C to the melting point", "J/mol", name,
        lambda one: one.enthalpy(one.solidus_k) * _MOLAR[name], expected, 0.015,
        f"integral of {book} {_THERMO}",
    )  # fmt: skip


def _resistivity(
    name: str, at_k: float, expected: float, within: float, source: str, origin: Origin
) -> Case:
    return _property(
        f"resistivity-{name}-{at_k:g}k".replace(".", ""), f"resistivity at {at_k:g} K",
        "1e-8 ohm m", name, lambda one: 1e8 * one.resistivity(at_k), expected, within, source,
        origin,
    )  # fmt: skip


def _conductivity(name: str, at_k: float, expected: float, source: str, origin: Origin) -> Case:
    return _property(
        f"conductivity-{name}-{at_k:g}k", f"thermal conductivity at {at_k:g} K", "W/m/K", name,
        lambda one: one.conductivity(at_k), expected, 0.02, source, origin,
    )  # fmt: skip


def _lorenz(name: str, expected: float) -> Case:
    return _property(
        f"lorenz-{name}", "Lorenz number k rho / T at 300 K", "1e-8 W ohm/K2", name,
        lambda one: 1e8 * one.lorenz_number(300.0), expected, 0.03,
        "from handbook values of k and rho", "computed",
    )  # fmt: skip


_INCROPERA = "Incropera and DeWitt, Table A.1"

ROWS = (
    _molar_heat("copper", 800.0, 27.494, "JANAF"),
    _molar_heat("zinc", 600.0, 28.588, "JANAF"),
    _molar_heat("silver", 1200.0, 31.6122, "Unary database"),
    _molar_rise("silver", 26455.8, "Perry"),
    _molar_rise("aluminium", 17982.95, "JANAF"),
    _resistivity("copper", 400.0, 2.402, 0.01,
                 "Matula 1979 in a public file, AAGAN/ScientificSoftware, read", "read"),
    _resistivity("copper", 1200.0, 8.626, 0.015,
                 "Matula, J. Phys. Chem. Ref. Data 8 (1979) 1147, from memory", "memory"),
    _resistivity("nickel", 600.0, 25.5, 0.03,
                 "CRC Handbook, Electrical resistivity of pure metals, from memory", "memory"),
    _conductivity("copper", 1000.0, 352.0, f"{_INCROPERA}, read", "read"),
    _conductivity("zinc", 600.0, 103.0, f"{_INCROPERA}, from memory", "memory"),
    _property("copper-liquid-ratio", "resistivity of the liquid over that of the solid", "1",
              "copper", lambda one: one.liquid_resistivity_ratio, 2.07, 0.08,
              "Faber; Smithells, from memory", "memory"),
    _lorenz("silver", 2.3295),
    _lorenz("zinc", 2.3432),
)  # fmt: skip
