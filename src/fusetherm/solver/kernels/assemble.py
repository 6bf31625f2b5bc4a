"""Right side and Jacobian of the network, kept apart in a part without and a part per I².

    du_i/dt = f0_i(u, T_amb) + I² g_i(u)

f0 holds conduction and losses, g the Joule heat of one square ampere, both over the
node's heat capacity. A new I² therefore refreshes right side and Jacobian without a new
assembly.
"""

from __future__ import annotations

from ...compiled import kernel, merged
from .layout import (
    ACTIVATION,
    CONDUCTANCE,
    END_SHAPE,
    FILM_AMBIENT,
    FILM_AREA,
    FILM_FOLLOWS,
    FILM_INDEX,
    FILM_LOW,
    FILM_STEP_INV,
    GAIN,
    INVERSE_CAPACITY,
    KIRCHHOFF,
    LINK_KIND,
    LINK_LEFT,
    LINK_RESISTANCE,
    LINK_RIGHT,
    MATERIAL,
    NEEDS_K,
    OPEN,
    RADIATION,
    RADIATIVE,
    RATE,
    REACTION_ONSET,
    RESISTANCE,
    RESISTANCE_SLOPE,
    SHAPE,
    SPOT,
    TO_AMBIENT,
    TO_PREVIOUS,
    TO_SHARED,
    Arrays,
    Floats,
)
from .material import conductivity_of_metal, dissolution, state_of_metal

# rows of the (ROWS, N) scratch array
F0, G, LOWER, DIAGONAL, UPPER, DG, AMBIENT_SLOPE, LOSS_ROW, GEN_ROW, T_, DT_ = range(11)
THETA, DTHETA, K_, DK_, OHMS, PULL = range(11, 17)
ROWS = 17


@merged
def film_flux(
    temperature: float, ambient: float, film: Floats, scale: Floats
) -> tuple[float, float]:
    """Heat flux by natural convection [W/m²] and its slope, from the table of one surface.

    The table was made for one ambient; another ambient shifts it, so that the flux stays
    zero at ambient. A table that does not follow the ambient belongs to air of its own.
    """
    shift = scale[FILM_FOLLOWS] * (ambient - scale[FILM_AMBIENT])
    x = (temperature - shift - scale[FILM_LOW]) * scale[FILM_STEP_INV]
    j = int(x) if x > 0.0 else 0
    if j >= film.shape[0]:
        j = film.shape[0] - 1
    z = x - j
    c = film[j]
    if z < 0.0:
        return c[0] + c[1] * z, c[1] * scale[FILM_STEP_INV]
    if z > 1.0:
        end = c[0] + c[1] + c[2] + c[3]
        slope = c[1] + 2.0 * c[2] + 3.0 * c[3]
        return end + slope * (z - 1.0), slope * scale[FILM_STEP_INV]
    return (
        c[0] + z * (c[1] + z * (c[2] + z * c[3])),
        scale[FILM_STEP_INV] * (c[1] + z * (2.0 * c[2] + z * 3.0 * c[3])),
    )


@kernel
def assemble(
    u: Floats,
    ambient: float,
    net: Arrays,
    w: Floats,
    border_column: Floats,
    border_row: Floats,
    corner: Floats,
    jacobian: float,
) -> tuple[float, float]:
    """Fill the scratch rows at state u; return heat lost [W] and resistance of the chain [ohm].

    Parameters
    ----------
    u : (N,) state [K]
    ambient : ambient temperature [K]
    net : Arrays
    jacobian : 1 with Jacobian, 0 without; a float, since a flag would compile a copy for each
    w : (ROWS, N) scratch; on return F0, G and, with `jacobian`, the bands
        LOWER[i] = df_i/du_{i-1}, DIAGONAL, UPPER[i] = df_i/du_{i+1} of f0, DG = dg_i/du_i,
        AMBIENT_SLOPE = df0/dT_amb, LOSS_ROW and GEN_ROW the gradients of loss and of resistance;
        OHMS the resistance of each node [ohm]; local nodes have LOWER = df_i/dT of their
        inner neighbour, UPPER towards the outer one, and PULL what they do to others: of a
        cell its slope with its first shell, of the last shell the body's slope with it, of a
        spot the cell's dg/du
    border_column : (k, n) df_i/du_shared
    border_row : (k, n) df_shared/du_i
    corner : (k, k) df_shared/du_shared
    """
    node = net.node
    kinds = net.kind
    border = net.border
    table = net.table
    metal = net.metal
    n = border.shape[2]
    k = border.shape[1]
    total = node.shape[1]
    loss = 0.0
    ohms = 0.0
    for i in range(total):
        m = kinds[MATERIAL, i]
        if m >= 0:
            t, dt, theta, dtheta, rho, drho = state_of_metal(u[i], table[m], metal[m])
            w[THETA, i] = theta
            w[DTHETA, i] = dtheta
            r = rho * node[SHAPE, i]
            dr = drho * node[SHAPE, i]
            if kinds[SPOT, i] >= 0:
                risen = 1.0 + node[GAIN, kinds[SPOT, i]] * u[kinds[SPOT, i]]
                r *= risen
                dr *= risen
            if kinds[NEEDS_K, i] == 1:
                kk, dkk = conductivity_of_metal(u[i], table[m], metal[m])
                w[K_, i] = kk
                w[DK_, i] = dkk
        else:
            t = u[i]
            dt = 1.0
            r = node[RESISTANCE, i] * (1.0 + node[RESISTANCE_SLOPE, i] * (t - 293.15))
            dr = node[RESISTANCE, i] * node[RESISTANCE_SLOPE, i]
            w[K_, i] = 1.0
            w[DK_, i] = 0.0
        w[T_, i] = t
        w[DT_, i] = dt
        ohms += r
        w[OHMS, i] = r
        w[G, i] = r * node[INVERSE_CAPACITY, i]
        over = t - ambient
        q = node[TO_AMBIENT, i] * over
        dq = node[TO_AMBIENT, i]
        dq_ambient = dq
        dq_dk = 0.0
        if node[RADIATION, i] > 0.0:
            q += node[RADIATION, i] * (t**4 - ambient**4)
            dq += 4.0 * node[RADIATION, i] * t**3
            dq_ambient += 4.0 * node[RADIATION, i] * ambient**3
        if node[FILM_AREA, i] > 0.0:
            j = kinds[FILM_INDEX, i]
            flux, slope = film_flux(t, ambient, net.film[j], net.film_scale[j])
            q += node[FILM_AREA, i] * flux
            dq += node[FILM_AREA, i] * slope
            dq_ambient += node[FILM_AREA, i] * slope * net.film_scale[j, FILM_FOLLOWS]
        if node[END_SHAPE, i] > 0.0:
            conductance = w[K_, i] / node[END_SHAPE, i]
            q += conductance * over
            dq += conductance
            dq_ambient += conductance
            dq_dk = over / node[END_SHAPE, i] * w[DK_, i]
        loss += q
        w[F0, i] = -q
        if jacobian > 0.0:
            dq_du = dq * dt + dq_dk
            w[LOSS_ROW, i] = dq_du
            w[GEN_ROW, i] = dr
            w[DG, i] = dr * node[INVERSE_CAPACITY, i]
            w[DIAGONAL, i] = -dq_du
            w[LOWER, i] = 0.0
            w[UPPER, i] = 0.0
            w[AMBIENT_SLOPE, i] = dq_ambient
    for i in range(n - 1):
        kind = kinds[LINK_KIND, i]
        if kind == OPEN:
            continue
        if kind == KIRCHHOFF:
            inv = 1.0 / node[LINK_LEFT, i]
            q = (w[THETA, i] - w[THETA, i + 1]) * inv
            left = w[DTHETA, i] * inv
            right = w[DTHETA, i + 1] * inv
        else:
            k0 = w[K_, i]
            k1 = w[K_, i + 1]
            drop = w[T_, i] - w[T_, i + 1]
            g = 1.0 / (
                node[LINK_LEFT, i] / k0 + node[LINK_RESISTANCE, i] + node[LINK_RIGHT, i] / k1
            )
            q = g * drop
            left = g * w[DT_, i] + drop * g * g * node[LINK_LEFT, i] / (k0 * k0) * w[DK_, i]
            right = (
                g * w[DT_, i + 1] - drop * g * g * node[LINK_RIGHT, i] / (k1 * k1) * w[DK_, i + 1]
            )
        w[F0, i] -= q
        w[F0, i + 1] += q
        if jacobian > 0.0:
            w[DIAGONAL, i] -= left
            w[UPPER, i] += right
            w[DIAGONAL, i + 1] -= right
            w[LOWER, i + 1] += left
    for b in range(k):
        t_b = w[T_, n + b]
        t_b3 = t_b**3
        f_b = w[F0, n + b]
        diagonal_b = 0.0
        inv_b = node[INVERSE_CAPACITY, n + b]
        for i in range(n):
            t = w[T_, i]
            c = border[CONDUCTANCE, b, i]
            e = border[RADIATIVE, b, i]
            t3 = t * t * t
            q = c * (t - t_b) + e * (t * t3 - t_b * t_b3)
            w[F0, i] -= q
            f_b += q
            if jacobian > 0.0:
                here = (c + 4.0 * e * t3) * w[DT_, i]
                there = c + 4.0 * e * t_b3
                w[DIAGONAL, i] -= here
                diagonal_b -= there
                border_column[b, i] = there * node[INVERSE_CAPACITY, i]
                border_row[b, i] = here * inv_b
        for other in range(k):
            if other != b:
                link = net.shared_links[b, other]
                f_b -= link * (t_b - w[T_, n + other])
                if jacobian > 0.0:
                    diagonal_b -= link
                    corner[b, other] = link * inv_b
        w[F0, n + b] = f_b
        if jacobian > 0.0:
            w[DIAGONAL, n + b] += diagonal_b
    layers = net.shells.shape[1]
    for s in range(net.shells.shape[0]):
        cell = net.shells[s, 0]
        before = cell
        step = w[DT_, cell]  # of the inner temperature with its state
        for j in range(1, layers):
            i = net.shells[s, j]
            g = node[TO_PREVIOUS, i]
            q = g * (w[T_, before] - w[T_, i])
            w[F0, before] -= q
            w[F0, i] += q
            if jacobian > 0.0:
                w[DIAGONAL, before] -= g * step
                w[DIAGONAL, i] -= g
                w[LOWER, i] = g
                if before == cell:
                    w[PULL, cell] = g * node[INVERSE_CAPACITY, cell]
                else:
                    w[UPPER, before] = g
            before = i
            step = 1.0
        if k > 0:
            g = node[TO_SHARED, before]
            q = g * (w[T_, before] - w[T_, n])
            w[F0, before] -= q
            w[F0, n] += q
            if jacobian > 0.0:
                w[DIAGONAL, before] -= g
                w[DIAGONAL, n] -= g
                w[UPPER, before] = g
                w[PULL, before] = g * node[INVERSE_CAPACITY, n]
    for s in range(net.spots.shape[0]):
        cell = net.spots[s, 0]
        i = net.spots[s, 1]
        rate, slope = dissolution(
            w[T_, cell], node[RATE, i], node[ACTIVATION, i], node[REACTION_ONSET, i]
        )
        w[F0, i] = rate
        if jacobian > 0.0:
            w[LOWER, i] = slope
            w[GEN_ROW, i] = w[OHMS, cell] * node[GAIN, i] / (1.0 + node[GAIN, i] * u[i])
            w[PULL, i] = w[GEN_ROW, i] * node[INVERSE_CAPACITY, cell]
    for i in range(total):
        inv = node[INVERSE_CAPACITY, i]
        w[F0, i] *= inv
        if jacobian > 0.0:
            w[AMBIENT_SLOPE, i] *= inv
            w[DIAGONAL, i] *= inv
            w[LOWER, i] *= inv
            w[UPPER, i] *= inv
    if jacobian > 0.0:
        for b in range(k):
            corner[b, b] = w[DIAGONAL, n + b]
    return loss, ohms
