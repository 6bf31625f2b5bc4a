"""Metals sampled against enthalpy, the form in which the kernels read them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from ..physics.metals import Metal
from .kernels.layout import (
    DT_DU_LIQUID,
    K_LIQUID,
    K_SOLID,
    METAL_COLUMNS,
    QUANTITIES,
    RHO_LIQUID,
    RHO_SLOPE_LIQUID,
    RHO_SOLID,
    T_LIQUIDUS,
    T_SOLIDUS,
    TABLE_COLUMNS,
    TABLE_INTERVALS,
    THETA_SOLIDUS,
    U_BOILING,
    U_LIQUIDUS,
    U_LOW,
    U_SOLIDUS,
    U_STEP_INV,
)

Floats = npt.NDArray[np.float64]

#: Lowest temperature of the property tables [K]; colder ambients are refused, since straight
#: on from here a resistivity would soon be negative.
TABLE_LOW_K = 200.0
#: Reference temperature of lumped resistances and of c_ref [K].
REFERENCE_K = 293.15


@dataclass(frozen=True, slots=True)
class MetalTable:
    """A metal sampled against enthalpy, as the kernels read it."""

    table: Floats  # (intervals, TABLE_COLUMNS)
    scalars: Floats  # (METAL_COLUMNS,)
    reference_heat: float  # c_ref [J/kg/K]
    knots_u: Floats
    knots_k: Floats  # temperature at the knots [K]

    def state(self, temperature_k: float) -> float:
        """u of the solid at a temperature [K]; above the solidus the solid's edge."""
        t_low, u_low = self.knots_k[0], self.knots_u[0]
        if temperature_k <= t_low:
            slope = self.table[0, QUANTITIES] * self.scalars[U_STEP_INV]
            return float(u_low + (temperature_k - t_low) / slope)
        if temperature_k >= self.scalars[T_SOLIDUS]:
            return float(self.scalars[U_SOLIDUS])
        j = int(np.searchsorted(self.knots_k, temperature_k, side="right")) - 1
        j = min(j, len(self.table) - 1)
        c = self.table[j, ::QUANTITIES]
        z = (temperature_k - c[0]) / (self.knots_k[j + 1] - c[0])
        for _ in range(20):  # Newton on a monotone cubic
            value = c[0] + z * (c[1] + z * (c[2] + z * c[3])) - temperature_k
            z -= value / (c[1] + z * (2.0 * c[2] + z * 3.0 * c[3]))
        return float(self.knots_u[j] + z / self.scalars[U_STEP_INV])


@lru_cache(maxsize=64)
def metal_table(metal: Metal) -> MetalTable:
    """Property tables of a metal against enthalpy, sampled once.

    Between knots a cubic Hermite from exact values and slopes: temperature, conductivity
    integral Theta = int k dT and resistivity.
    """
    c_ref = metal.specific_heat(REFERENCE_K)
    zero = metal.enthalpy(REFERENCE_K)
    # u is REFERENCE_K at REFERENCE_K, so that u reads like a temperature
    dense = np.linspace(TABLE_LOW_K, metal.solidus_k, 2001)
    u_dense = REFERENCE_K + (metal.enthalpy(dense) - zero) / c_ref
    knots = np.linspace(u_dense[0], u_dense[-1], TABLE_INTERVALS + 1)
    temperature = np.interp(knots, u_dense, dense)
    for _ in range(4):
        wrong = REFERENCE_K + (metal.enthalpy(temperature) - zero) / c_ref - knots
        temperature -= wrong * c_ref / metal.specific_heat(temperature)
    temperature[0], temperature[-1] = TABLE_LOW_K, metal.solidus_k
    dt_du = c_ref / metal.specific_heat(temperature)
    k = metal.conductivity(temperature)
    theta = metal.conductivity_table.integral(TABLE_LOW_K, temperature)
    rho = metal.resistivity(temperature)
    drho_dt = metal.resistivity_table.slope(temperature)
    step = knots[1] - knots[0]
    table = np.zeros((TABLE_INTERVALS, TABLE_COLUMNS))
    for column, value, slope in (
        (0, temperature, dt_du),
        (1, theta, k * dt_du),
        (2, rho, drho_dt * dt_du),
    ):
        table[:, column::QUANTITIES] = hermite(value, slope * step)
    scalars = np.zeros(METAL_COLUMNS)
    scalars[U_LOW] = knots[0]
    scalars[U_STEP_INV] = 1.0 / step
    scalars[U_SOLIDUS] = knots[-1]
    scalars[U_LIQUIDUS] = knots[-1] + metal.latent_heat / c_ref
    if metal.liquidus_k > metal.solidus_k:
        # latent heat is spread over the range, on top of the sensible heat of the solid
        span = metal.specific_heat(metal.solidus_k) * (metal.liquidus_k - metal.solidus_k)
        scalars[U_LIQUIDUS] += span / c_ref
    scalars[T_SOLIDUS] = metal.solidus_k
    scalars[T_LIQUIDUS] = metal.liquidus_k
    scalars[RHO_SOLID] = rho[-1]
    scalars[RHO_LIQUID] = rho[-1] * metal.liquid_resistivity_ratio
    scalars[THETA_SOLIDUS] = theta[-1]
    scalars[K_SOLID] = k[-1]
    scalars[K_LIQUID] = metal.liquid_conductivity
    scalars[DT_DU_LIQUID] = c_ref / metal.liquid_specific_heat
    # liquid metals: resistivity rises slowly; Wiedemann-Franz with constant k asks for 1/T
    scalars[RHO_SLOPE_LIQUID] = 1.0 / metal.liquidus_k
    scalars[U_BOILING] = (
        scalars[U_LIQUIDUS] + (metal.boiling_k - metal.liquidus_k) / scalars[DT_DU_LIQUID]
    )
    return MetalTable(table, scalars, c_ref, knots, temperature)


def hermite(value: Floats, slope: Floats) -> Floats:
    """Cubic coefficients on each interval from values and slopes per interval at the knots."""
    a, b = value[:-1], value[1:]
    p, q = slope[:-1], slope[1:]
    rise = b - a
    return np.column_stack((a, p, 3.0 * rise - 2.0 * p - q, p + q - 2.0 * rise))
