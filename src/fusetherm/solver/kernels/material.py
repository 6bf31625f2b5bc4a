"""Temperature, conductivity integral and resistivity of a metal from its enthalpy."""

from __future__ import annotations

import numpy as np

from ...compiled import kernel, merged
from ...packed import three_cubics, three_slopes
from .layout import (
    DT_DU_LIQUID,
    K_LIQUID,
    K_SOLID,
    QUANTITIES,
    RHO_LIQUID,
    RHO_SLOPE_LIQUID,
    RHO_SOLID,
    SOLID_CORNER,
    T_LIQUIDUS,
    T_SOLIDUS,
    TABLE_COLUMNS,
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
    q = QUANTITIES
    solid = metal[U_STEP_INV] * (c[q] + 2.0 * c[2 * q] + 3.0 * c[3 * q])
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
        z = max(x - j, 0.0)
        below = min(x - j, 0.0) / metal[U_STEP_INV]  # the table, where it goes straight on
        place = j * TABLE_COLUMNS
        t, theta, rho = three_cubics(table, place, z)
        dt, dtheta, drho = three_slopes(table, place, z, metal[U_STEP_INV])
        return t + below * dt, dt, theta + below * dtheta, dtheta, rho + below * drho, drho
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


@kernel
def beyond_solid(
    u: float, table: Floats, metal: Floats
) -> tuple[float, float, float, float, float, float]:
    """As `state_of_metal` of a solid that goes straight on from its solidus, without melting."""
    place = (table.shape[0] - 1) * TABLE_COLUMNS
    over = u - metal[U_SOLIDUS]
    t, theta, rho = three_cubics(table, place, 1.0)
    dt, dtheta, drho = three_slopes(table, place, 1.0, metal[U_STEP_INV])
    return t + over * dt, dt, theta + over * dtheta, dtheta, rho + over * drho, drho


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
        z = max(x - j, 0.0)
        step_inv = metal[U_STEP_INV]
        place = j * TABLE_COLUMNS
        dt, dtheta, _ = three_slopes(table, place, z, step_inv)
        k = dtheta / dt
        if x < 0.0:
            return k, 0.0
        c = table[j]
        q = QUANTITIES
        bend_t = (2.0 * c[2 * q] + 6.0 * z * c[3 * q]) * step_inv
        bend_theta = (2.0 * c[2 * q + 1] + 6.0 * z * c[3 * q + 1]) * step_inv
        return k, (bend_theta - k * bend_t) / dt * step_inv
    if u < metal[U_LIQUIDUS]:
        slope = (metal[K_LIQUID] - metal[K_SOLID]) / (metal[U_LIQUIDUS] - metal[U_SOLIDUS])
        return metal[K_SOLID] + slope * (u - metal[U_SOLIDUS]), slope
    return metal[K_LIQUID], 0.0
