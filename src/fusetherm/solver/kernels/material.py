"""Temperature, conductivity integral and resistivity of a metal from its enthalpy."""

from __future__ import annotations

import numpy as np

from ...compiled import kernel, merged
from .layout import (
    DT_DU_LIQUID,
    K_LIQUID,
    K_SOLID,
    RHO_LIQUID,
    RHO_SLOPE_LIQUID,
    RHO_SOLID,
    SOLID_CORNER,
    T_LIQUIDUS,
    T_SOLIDUS,
    THETA_SOLIDUS,
    U_LIQUIDUS,
    U_LOW,
    U_SOLIDUS,
    U_STEP_INV,
    Floats,
)

#: Half width, in u, over which the corner from melting to liquid is rounded [K]. At the sharp
#: corner a cell's stiffness jumps, and a molten zone in near balance then chatters in steps
#: of microseconds; rounded by 1 K the pre-arcing times moved by 3e-6, and .1 K did not help.
CORNER = 1.0


@merged
def begun_to_melt(u: float, table: Floats, metal: Floats) -> tuple[float, float]:
    """What the corner where melting begins adds to T, and to dT/du, beyond the solidus."""
    c = table[table.shape[0] - 1]
    solid = metal[U_STEP_INV] * (c[1] + 2.0 * c[2] + 3.0 * c[3])
    scale = 1.0 / (metal[U_LIQUIDUS] - metal[U_SOLIDUS])
    fall = solid - (metal[T_LIQUIDUS] - metal[T_SOLIDUS]) * scale
    share = (u - metal[U_SOLIDUS]) / SOLID_CORNER
    if share >= 1.0:
        return 0.5 * fall * SOLID_CORNER, 0.0
    return fall * SOLID_CORNER * share * (1.0 - 0.5 * share), fall * (1.0 - share)


@kernel
def state_of_metal(
    u: float, table: Floats, metal: Floats
) -> tuple[float, float, float, float, float, float]:
    """T, dT/du, Theta, dTheta/du, rho, drho/du of one metal at u = h / c_ref.

    Solid: cubic on a uniform grid. Melting range: liquid fraction phi rises linearly
    with enthalpy; T, rho and k mix linearly in phi. Liquid: constant specific heat and
    conductivity, resistivity linear in T.
    """
    if u <= metal[U_SOLIDUS]:
        x = (u - metal[U_LOW]) * metal[U_STEP_INV]
        j = int(x) if x > 0.0 else 0
        if j >= table.shape[0]:
            j = table.shape[0] - 1
        z = x - j
        d = metal[U_STEP_INV]
        c = table[j]
        if z < 0.0:  # below the table: straight on
            return (
                c[0] + c[1] * z,
                c[1] * d,
                c[4] + c[5] * z,
                c[5] * d,
                c[8] + c[9] * z,
                c[9] * d,
            )
        return (
            c[0] + z * (c[1] + z * (c[2] + z * c[3])),
            d * (c[1] + z * (2.0 * c[2] + z * (3.0 * c[3]))),
            c[4] + z * (c[5] + z * (c[6] + z * c[7])),
            d * (c[5] + z * (2.0 * c[6] + z * (3.0 * c[7]))),
            c[8] + z * (c[9] + z * (c[10] + z * c[11])),
            d * (c[9] + z * (2.0 * c[10] + z * (3.0 * c[11]))),
        )
    bend, dbend = begun_to_melt(u, table, metal)
    span_t = metal[T_LIQUIDUS] - metal[T_SOLIDUS]
    scale = 1.0 / (metal[U_LIQUIDUS] - metal[U_SOLIDUS])
    phi = (u - metal[U_SOLIDUS]) * scale
    rise = metal[RHO_LIQUID] - metal[RHO_SOLID]
    slope = metal[DT_DU_LIQUID]
    over = u - metal[U_LIQUIDUS]
    theta_liquid = metal[THETA_SOLIDUS] + 0.5 * span_t * (metal[K_SOLID] + metal[K_LIQUID])
    if u < metal[U_LIQUIDUS] - CORNER:
        k = metal[K_SOLID] + (metal[K_LIQUID] - metal[K_SOLID]) * phi
        mean_k = metal[K_SOLID] + 0.5 * (metal[K_LIQUID] - metal[K_SOLID]) * phi
        return (
            metal[T_SOLIDUS] + span_t * phi + bend,
            span_t * scale + dbend,
            metal[THETA_SOLIDUS] + span_t * phi * mean_k + metal[K_SOLID] * bend,
            span_t * scale * k + metal[K_SOLID] * dbend,
            metal[RHO_SOLID] + rise * phi,
            rise * scale,
        )
    # rounded corner, then straight on: T(u) with slope rising from the melting range's to the
    # liquid's over two half widths
    if over < CORNER:
        start = span_t * scale
        x = over + CORNER
        dt = start + 0.5 * (slope - start) / CORNER * x
        above = start * over + 0.25 * (slope - start) / CORNER * x * x
    else:
        dt = slope
        above = slope * over
    if over < 0.0:
        rho = metal[RHO_SOLID] + rise * phi
        drho = rise * scale
    else:
        drho = metal[RHO_LIQUID] * metal[RHO_SLOPE_LIQUID] * slope
        rho = metal[RHO_LIQUID] + drho * over
    return (
        metal[T_LIQUIDUS] + above + bend,
        dt,
        theta_liquid + metal[K_LIQUID] * above + metal[K_SOLID] * bend,
        metal[K_LIQUID] * dt,
        rho,
        drho,
    )


#: A reaction comes up over this many kelvins above its onset, so that steps need not stop there.
REACTION_RAMP = 2.0


@merged
def dissolution(
    temperature: float, rate: float, activation: float, onset: float
) -> tuple[float, float]:
    """Rate at which a molten spot dissolves its cell, and its slope with temperature.

    ``rate exp[-activation (1/T - 1/600 K)]`` above the onset, zero below it.
    """
    over = (temperature - onset) / REACTION_RAMP
    if over <= 0.0:
        return 0.0, 0.0
    full = rate * np.exp(-activation * (1.0 / temperature - 1.0 / 600.0))
    slope = full * activation / (temperature * temperature)
    if over >= 1.0:
        return full, slope
    share = over * over * (3.0 - 2.0 * over)
    return share * full, share * slope + 6.0 * over * (1.0 - over) / REACTION_RAMP * full


@merged
def conductivity_of_metal(u: float, table: Floats, metal: Floats) -> tuple[float, float]:
    """Thermal conductivity k [W/m/K] and dk/du of one metal at u."""
    if u <= metal[U_SOLIDUS]:
        x = (u - metal[U_LOW]) * metal[U_STEP_INV]
        j = int(x) if x > 0.0 else 0
        if j >= table.shape[0]:
            j = table.shape[0] - 1
        z = x - j
        c = table[j]
        if z < 0.0:
            return c[5] / c[1], 0.0
        slope_t = c[1] + z * (2.0 * c[2] + z * (3.0 * c[3]))
        slope_theta = c[5] + z * (2.0 * c[6] + z * (3.0 * c[7]))
        bend_t = 2.0 * c[2] + 6.0 * z * c[3]
        bend_theta = 2.0 * c[6] + 6.0 * z * c[7]
        k = slope_theta / slope_t
        return k, (bend_theta - k * bend_t) / slope_t * metal[U_STEP_INV]
    if u < metal[U_LIQUIDUS]:
        slope = (metal[K_LIQUID] - metal[K_SOLID]) / (metal[U_LIQUIDUS] - metal[U_SOLIDUS])
        return metal[K_SOLID] + slope * (u - metal[U_SOLIDUS]), slope
    return metal[K_LIQUID], 0.0
