"""Metals of fuse elements and conductors: their properties against temperature."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from ..errors import InputError
from ..units import kelvin
from .constants import SOMMERFELD_LORENZ
from .metal_data import ROWS
from .tables import Array, Table, Value, quadrature

__all__ = ["METALS", "Metal", "Table", "alloy", "melting_action", "metal", "specific_action"]

#: Zero of the solid's enthalpy [K] (25 degC, the reference of thermochemical tables).
ENTHALPY_ZERO_K = 298.15

_SCALARS = (
    "density",
    "solidus_k",
    "liquidus_k",
    "boiling_k",
    "latent_heat",
    "liquid_resistivity_ratio",
    "liquid_specific_heat",
    "liquid_conductivity",
    "surface_tension",
    "emissivity_bright",
    "emissivity_oxidised",
)


@dataclass(frozen=True)
class Metal:
    """A metal or alloy: scalars, three tables and the source of each.

    Parameters
    ----------
    name, symbol : str
        Plain name and chemical symbol or trade designation.
    density : float
        Density at 293 K [kg/m3]. Kept at all temperatures: the mass of a piece does not change.
    solidus_k, liquidus_k : float
        Melting range [K]; a pure metal has one melting point, both are equal.
    boiling_k : float
        Boiling point at 101325 Pa [K].
    latent_heat : float
        Heat of fusion [J/kg].
    liquid_resistivity_ratio : float
        Resistivity of the liquid over that of the solid at the melting point [-].
    liquid_specific_heat : float
        Specific heat of the liquid [J/kg/K].
    liquid_conductivity : float
        Thermal conductivity of the liquid at the melting point [W/m/K].
    surface_tension : float
        Surface tension of the liquid at the melting point [N/m].
    emissivity_bright, emissivity_oxidised : float
        Total hemispherical emissivity of a bright and of an oxidised surface [-].
    resistivity_table, conductivity_table, specific_heat_table : Table
        Electrical resistivity [ohm m], thermal conductivity [W/m/K] and specific heat
        [J/kg/K] of the solid.
    sources : tuple of (str, str)
        Name of a scalar and its source.

    Raises
    ------
    InputError
        When a scalar is not positive and finite, or solidus, liquidus and boiling point are
        not in that order.

    Notes
    -----
    The methods follow the solid, also above the melting point (a straight line beyond the
    last point of the table): what the liquid fraction does to them is the solver's business.

    Examples
    --------
    >>> zinc = metal("zinc")
    >>> round(1e8 * zinc.resistivity(300.0), 2)
    6.06
    """

    name: str
    symbol: str
    density: float
    solidus_k: float
    liquidus_k: float
    boiling_k: float
    latent_heat: float
    liquid_resistivity_ratio: float
    liquid_specific_heat: float
    liquid_conductivity: float
    surface_tension: float
    emissivity_bright: float
    emissivity_oxidised: float
    resistivity_table: Table
    conductivity_table: Table
    specific_heat_table: Table
    sources: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        for field in _SCALARS:
            _require_positive(f"{field} of {self.name}", getattr(self, field))
        if not self.solidus_k <= self.liquidus_k < self.boiling_k:
            raise InputError(
                "melting-range-order",
                f"{self.name}: solidus {self.solidus_k:g} K, liquidus {self.liquidus_k:g} K, "
                f"boiling point {self.boiling_k:g} K",
                expected="solidus <= liquidus < boiling point",
            )
        if max(self.emissivity_bright, self.emissivity_oxidised) > 1.0:
            raise InputError(
                "emissivity-above-one",
                f"{self.name}: emissivity {self.emissivity_bright:g} bright, "
                f"{self.emissivity_oxidised:g} oxidised",
                expected="a value between 0 and 1",
            )

    def resistivity(self, temperature_k: Value) -> Value:
        """Electrical resistivity of the solid [ohm m]."""
        return self.resistivity_table(temperature_k)

    def conductivity(self, temperature_k: Value) -> Value:
        """Thermal conductivity of the solid [W/m/K]."""
        return self.conductivity_table(temperature_k)

    def specific_heat(self, temperature_k: Value) -> Value:
        """Specific heat of the solid [J/kg/K]."""
        return self.specific_heat_table(temperature_k)

    def enthalpy(self, temperature_k: Value) -> Value:
        """Specific enthalpy of the solid above 298.15 K [J/kg]."""
        return self.specific_heat_table.integral(ENTHALPY_ZERO_K, temperature_k)

    def lorenz_number(self, temperature_k: Value) -> Value:
        """Lorenz number k rho / T of the tables [W ohm/K2]."""
        return self.conductivity(temperature_k) * self.resistivity(temperature_k) / temperature_k

    @property
    def liquid_resistivity(self) -> float:
        """Electrical resistivity of the liquid at the melting point [ohm m]."""
        return self.liquid_resistivity_ratio * self.resistivity(self.solidus_k)

    @property
    def table_temperatures_k(self) -> tuple[float, ...]:
        """Temperatures of the three tables together, increasing [K]."""
        tables = (self.resistivity_table, self.conductivity_table, self.specific_heat_table)
        return tuple(sorted({t for table in tables for t in table.temperature_k}))

    def source(self, field: str) -> str:
        """Source of a scalar or of a table, empty when none is stated."""
        table = getattr(self, field, None)
        return table.source if isinstance(table, Table) else dict(self.sources).get(field, "")


def specific_action(metal: Metal, start_k: float, end_k: float | None = None) -> float:
    """Specific action of the solid: integral of J^2 dt that heats it without loss [A2 s/m4].

    Parameters
    ----------
    metal : Metal
    start_k : float
        Temperature at the start [K].
    end_k : float, optional
        Temperature at the end [K]; the solidus when left out.

    Returns
    -------
    float
        A piece of cross-section A needs I^2 t = A^2 times this value.

    Notes
    -----
    .. math:: K = \\int_{T_1}^{T_2} \\frac{d\\, c(T)}{\\rho(T)}\\, dT

    Examples
    --------
    >>> copper = metal("copper")
    >>> round(specific_action(copper, 298.15) / 1e16, 1)  # 1e4 A2 s/mm4
    9.0
    """
    end = metal.solidus_k if end_k is None else end_k

    def integrand(temperature: Array) -> Array:
        return metal.density * metal.specific_heat(temperature) / metal.resistivity(temperature)

    return quadrature(integrand, start_k, end, metal.table_temperatures_k)


def melting_action(
    metal: Metal, liquid_model: Literal["mixed", "solid", "liquid"] = "mixed"
) -> float:
    """Specific action of melting: integral of J^2 dt that supplies the latent heat [A2 s/m4].

    Parameters
    ----------
    metal : Metal
    liquid_model : {"mixed", "solid", "liquid"}
        Resistivity while melting: a mean of solid and liquid weighted with the liquid
        fraction, or that of the solid or of the liquid throughout (the two bounds).

    Returns
    -------
    float

    Notes
    -----
    With the mixed resistivity, :math:`d L \\ln(\\rho_l/\\rho_s)/(\\rho_l-\\rho_s)`.

    Examples
    --------
    >>> copper = metal("copper")
    >>> melting_action(copper, "liquid") < melting_action(copper) < melting_action(copper, "solid")
    True
    """
    solid, liquid = metal.resistivity(metal.solidus_k), metal.liquid_resistivity
    step = liquid - solid
    if liquid_model == "solid":
        mean = 1.0 / solid
    elif liquid_model == "liquid":
        mean = 1.0 / liquid
    elif abs(step) < 1e-9 * solid:  # the quotient below loses its digits
        mean = 1.0 / solid
    else:
        mean = math.log(liquid / solid) / step
    return metal.density * metal.latent_heat * mean


def alloy(
    *,
    name: str,
    resistivity_20: float,
    temperature_coefficient: float,
    density: float,
    solidus_c: float,
    liquidus_c: float,
    latent_heat: float,
    specific_heat: float,
    conductivity: float | Table | None = None,
    boiling_c: float | None = None,
    liquid_resistivity_ratio: float = 2.0,
    liquid_specific_heat: float | None = None,
    liquid_conductivity: float | None = None,
    surface_tension: float = 0.5,
    emissivity_bright: float = 0.05,
    emissivity_oxidised: float = 0.4,
    symbol: str = "",
    source: str = "given by the user",
) -> Metal:
    """Metal from the few numbers a supplier states for an alloy.

    Parameters
    ----------
    name : str
    resistivity_20 : float
        Electrical resistivity at 20 degC [ohm m].
    temperature_coefficient : float
        Its temperature coefficient, referred to 20 degC [1/K].
    density : float
        [kg/m3].
    solidus_c, liquidus_c : float
        Melting range [degC].
    latent_heat : float
        [J/kg].
    specific_heat : float
        Of the solid [J/kg/K].
    conductivity : float or Table, optional
        Thermal conductivity [W/m/K]; from Wiedemann-Franz when left out.
    boiling_c : float, optional
        [degC]; 1500 K above the liquidus when left out (a placeholder, no source).
    liquid_resistivity_ratio : float
        Liquid over solid at the melting point [-] (2.0: usual for simple metals, from memory).
    liquid_specific_heat : float, optional
        [J/kg/K]; that of the solid when left out.
    liquid_conductivity : float, optional
        [W/m/K]; from Wiedemann-Franz when left out.
    surface_tension : float
        [N/m] (0.5: soft-solder alloys, from memory).
    emissivity_bright, emissivity_oxidised : float
        [-] (from memory, bare metals).
    symbol : str
        Designation; the name when left out.
    source : str
        Source of the numbers given.

    Returns
    -------
    Metal

    Raises
    ------
    InputError
        When a number is not positive, the range is reversed, or the resistivity does not stay
        positive down to 200 K.

    Notes
    -----
    .. math:: \\rho(T) = \\rho_{20}\\,[1 + \\alpha\\,(T - 293.15\\,\\mathrm{K})], \\qquad
              k(T) = L\\,T/\\rho(T)

    with Sommerfeld's Lorenz number; an alloy's lattice carries some more heat.

    Examples
    --------
    >>> solder = alloy(
    ...     name="tin-silver", resistivity_20=12.3e-8, temperature_coefficient=3.5e-3,
    ...     density=7360.0, solidus_c=221.0, liquidus_c=221.0, latent_heat=58e3,
    ...     specific_heat=230.0,
    ... )
    >>> round(solder.conductivity(293.15), 1)
    58.2
    """
    solidus, liquidus = kelvin(solidus_c, "solidus"), kelvin(liquidus_c, "liquidus")
    for what, value in (
        ("resistivity at 20 °C", resistivity_20),
        ("ratio of liquid to solid resistivity", liquid_resistivity_ratio),
        ("solidus in kelvin", solidus),
        ("liquidus in kelvin", liquidus),
    ):
        _require_positive(f"{what} of {name}", value)

    def resistivity(temperature: float) -> float:
        return resistivity_20 * (1.0 + temperature_coefficient * (temperature - 293.15))

    lowest = min(200.0, 0.9 * solidus)
    if not (math.isfinite(temperature_coefficient) and resistivity(lowest) > 0.0):
        raise InputError(
            "resistivity-not-positive",
            f"{name}: temperature coefficient {temperature_coefficient:g} 1/K",
            expected=f"a resistivity that stays positive down to {lowest:g} K",
            mend="give it per kelvin and referred to 20 °C, for example 0.0039 for copper",
        )
    points = tuple(lowest + (liquidus - lowest) * i / 16.0 for i in range(17))
    if conductivity is None:
        law = f"Wiedemann-Franz with Sommerfeld's Lorenz number, from the resistivity {source}"
        values = tuple(SOMMERFELD_LORENZ * t / resistivity(t) for t in points)
        heat_conduction = Table(points, values, law)
    elif isinstance(conductivity, Table):
        heat_conduction = conductivity
    else:
        _require_positive(f"conductivity of {name}", conductivity)
        heat_conduction = Table((293.15,), (conductivity,), source)
    molten = SOMMERFELD_LORENZ * solidus / (liquid_resistivity_ratio * resistivity(solidus))
    chosen = {
        "boiling_k": (
            None if boiling_c is None else kelvin(boiling_c, "boiling point"),
            liquidus + 1500.0,
            "assumed by default",
        ),
        "liquid_specific_heat": (liquid_specific_heat, specific_heat, "assumed as of the solid"),
        "liquid_conductivity": (
            liquid_conductivity,
            molten,
            "Wiedemann-Franz from the liquid's resistivity",
        ),
    }
    sources = dict.fromkeys(_SCALARS, source)
    sources |= {field: law for field, (given, _, law) in chosen.items() if given is None}
    filled = {
        field: usual if given is None else given for field, (given, usual, _) in chosen.items()
    }
    return Metal(
        name=name,
        symbol=symbol or name,
        density=density,
        solidus_k=solidus,
        liquidus_k=liquidus,
        latent_heat=latent_heat,
        liquid_resistivity_ratio=liquid_resistivity_ratio,
        surface_tension=surface_tension,
        emissivity_bright=emissivity_bright,
        emissivity_oxidised=emissivity_oxidised,
        resistivity_table=Table(
            (lowest, liquidus), (resistivity(lowest), resistivity(liquidus)), source
        ),
        conductivity_table=heat_conduction,
        specific_heat_table=Table((293.15,), (specific_heat,), source),
        sources=tuple(sources.items()),
        **filled,
    )


def metal(name: str) -> Metal:
    """Metal of a name or symbol, in any case.

    Parameters
    ----------
    name : str
        A key of :data:`METALS` (``"zinc"``) or a symbol (``"Zn"``, ``"CuZn30"``).

    Returns
    -------
    Metal

    Raises
    ------
    InputError
        When there is no such metal.

    Examples
    --------
    >>> metal("Cu").name
    'copper'
    """
    wanted = name.strip().casefold()
    wanted = {"aluminum": "aluminium"}.get(wanted, wanted)
    for key, one in METALS.items():
        if wanted in (key, one.symbol.casefold()):
            return one
    near = difflib.get_close_matches(wanted, METALS, 1)
    raise InputError(
        "metal-unknown",
        f"no metal is called {name!r}",
        expected=f"one of {', '.join(METALS)}, or a chemical symbol",
        mend=f"did you mean {near[0]!r}?" if near else "describe it with alloy(...)",
    )


def _require_positive(what: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(
            "metal-value-not-positive", f"{what} is {value:g}", expected="a positive, finite value"
        )


#: The metals with tables, by name.
METALS: Mapping[str, Metal] = MappingProxyType({row["name"]: Metal(**row) for row in ROWS})
