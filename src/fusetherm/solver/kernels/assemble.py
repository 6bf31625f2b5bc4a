"""Right side and Jacobian of the network, kept apart in a part without and a part per I².

    du_i/dt = f0_i(u, T_amb) + I² g_i(u)

f0 holds conduction and losses, g the Joule heat of one square ampere, both over the
node's heat capacity. A new I² therefore refreshes right side and Jacobian without a new
assembly.
"""

from __future__ import annotations

from ...compiled import kernel, merged
from ...packed import three_cubics, three_slopes
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
    LINK_INVERSE,
    LINK_KIND,
    LINK_LEFT,
    LINK_RESISTANCE,
    LINK_RIGHT,
    LOSES,
    MATERIAL,
    NEEDS_K,
    RADIATION,
    RADIATIVE,
    RATE,
    REACTION_ONSET,
    RESISTANCE,
    RESISTANCE_SLOPE,
    SERIES,
    SHAPE,
    TABLE_COLUMNS,
    TO_AMBIENT,
    TO_PREVIOUS,
    TO_SHARED,
    U_LOW,
    U_SOLIDUS,
    U_STEP_INV,
    Arrays,
    Floats,
)
from .material import beyond_solid, conductivity_of_metal, dissolution, state_of_metal
from .sums import summed

# rows of the (ROWS, N) scratch array
F0, G, LOWER, DIAGONAL, UPPER, DG, AMBIENT_SLOPE, LOSS_ROW, GEN_ROW, T_, DT_ = range(11)
THETA, DTHETA, K_, DK_, OHMS, PULL, FLOW = range(11, 18)
ROWS = 18


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


@merged
def lookups(u: Floats, net: Arrays, w: Floats, jacobian: float, held: float) -> float:
    """Temperature, conductivity and resistance of every node; resistance of the chain [ohm]."""
    node = net.node
    kinds = net.kind
    last = net.table.shape[1] - 1
    ohms = 0.0
    for i in range(node.shape[1]):
        m = kinds[MATERIAL, i]
        if m >= 0:
            metal = net.metal[m]
            x = (u[i] - metal[U_LOW]) * metal[U_STEP_INV]
            dt = 0.0
            dtheta = 0.0
            drho = 0.0
            if x >= 0.0 and u[i] <= metal[U_SOLIDUS]:
                j = min(int(x), last)
                place = (m * (last + 1) + j) * TABLE_COLUMNS
                t, theta, rho = three_cubics(net.table, place, x - j)
                if jacobian > 0.0:
                    dt, dtheta, drho = three_slopes(net.table, place, x - j, metal[U_STEP_INV])
            elif held > 0.0 and x > 0.0:
                t, dt, theta, dtheta, rho, drho = beyond_solid(u[i], net.table[m], metal)
            else:
                t, dt, theta, dtheta, rho, drho = state_of_metal(u[i], net.table[m], metal)
            w[THETA, i] = theta
            w[DTHETA, i] = dtheta
            r = rho * node[SHAPE, i]
            dr = drho * node[SHAPE, i]
            if kinds[NEEDS_K, i] == 1:
                k, dk = conductivity_of_metal(u[i], net.table[m], metal)
                w[K_, i] = k
                w[DK_, i] = dk
        else:
            t = u[i]
            dt = 1.0
            dr = node[RESISTANCE, i] * node[RESISTANCE_SLOPE, i]
            r = node[RESISTANCE, i] + dr * (t - 293.15)
            w[THETA, i] = 0.0
            w[DTHETA, i] = 0.0
            w[K_, i] = 1.0
            w[DK_, i] = 0.0
        w[T_, i] = t
        w[DT_, i] = dt
        w[OHMS, i] = r
        w[GEN_ROW, i] = dr
        ohms += r
    for s in range(net.spots.shape[0]):
        cell = net.spots[s, 0]
        i = net.spots[s, 1]
        risen = 1.0 + node[GAIN, i] * u[i]
        ohms += (risen - 1.0) * w[OHMS, cell]
        w[OHMS, cell] *= risen
        w[GEN_ROW, cell] *= risen
    return ohms


@merged
def losses(ambient: float, net: Arrays, w: Floats, jacobian: float) -> float:
    """Heat lost to ambient by every node, as its F0 [W]; their sum [W]. Joule heat with it."""
    node = net.node
    kinds = net.kind
    total = node.shape[1]
    for i in range(total):
        w[G, i] = w[OHMS, i] * node[INVERSE_CAPACITY, i]
        w[F0, i] = -node[TO_AMBIENT, i] * (w[T_, i] - ambient)
    if jacobian > 0.0:
        for i in range(total):
            w[DG, i] = w[GEN_ROW, i] * node[INVERSE_CAPACITY, i]
            w[AMBIENT_SLOPE, i] = node[TO_AMBIENT, i]
            w[LOSS_ROW, i] = node[TO_AMBIENT, i] * w[DT_, i]
    for i in range(total):
        if kinds[LOSES, i] == 0:
            continue
        t = w[T_, i]
        q = 0.0
        dq = 0.0
        dq_ambient = 0.0
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
            q += conductance * (t - ambient)
            dq += conductance
            dq_ambient += conductance
            dq_dk = (t - ambient) / node[END_SHAPE, i] * w[DK_, i]
        w[F0, i] -= q
        if jacobian > 0.0:
            w[AMBIENT_SLOPE, i] += dq_ambient
            w[LOSS_ROW, i] += dq * w[DT_, i] + dq_dk
    return -summed(w[F0], 0, total)


@merged
def along_chain(net: Arrays, w: Floats, jacobian: float) -> None:
    """Conduction between neighbours of the chain."""
    node = net.node
    n = net.border.shape[2]
    for i in range(n - 1):
        w[FLOW, i] = (w[THETA, i] - w[THETA, i + 1]) * node[LINK_INVERSE, i]
    if jacobian > 0.0:
        w[LOWER, 0] = 0.0
        w[UPPER, n - 1] = 0.0
        for i in range(n - 1):
            w[UPPER, i] = w[DTHETA, i + 1] * node[LINK_INVERSE, i]
            w[LOWER, i + 1] = w[DTHETA, i] * node[LINK_INVERSE, i]
    for i in range(n - 1):
        if net.kind[LINK_KIND, i] != SERIES:
            continue
        k0 = w[K_, i]
        k1 = w[K_, i + 1]
        drop = w[T_, i] - w[T_, i + 1]
        g = 1.0 / (node[LINK_LEFT, i] / k0 + node[LINK_RESISTANCE, i] + node[LINK_RIGHT, i] / k1)
        w[FLOW, i] = g * drop
        if jacobian > 0.0:
            steep = drop * g * g
            w[UPPER, i] = (
                g * w[DT_, i + 1] - steep * node[LINK_RIGHT, i] / (k1 * k1) * w[DK_, i + 1]
            )
            w[LOWER, i + 1] = g * w[DT_, i] + steep * node[LINK_LEFT, i] / (k0 * k0) * w[DK_, i]
    w[FLOW, n - 1] = 0.0
    w[F0, 0] -= w[FLOW, 0]
    for i in range(1, n):
        w[F0, i] += w[FLOW, i - 1] - w[FLOW, i]
    if jacobian > 0.0:
        for i in range(node.shape[1]):
            w[DIAGONAL, i] = -w[LOSS_ROW, i]
        w[DIAGONAL, n - 1] -= w[UPPER, n - 2] if n > 1 else 0.0
        for i in range(n - 1):
            w[DIAGONAL, i] -= w[LOWER, i + 1] + (w[UPPER, i - 1] if i > 0 else 0.0)


@merged
def to_shared(
    net: Arrays,
    w: Floats,
    border_column: Floats,
    border_row: Floats,
    corner: Floats,
    jacobian: float,
) -> None:
    """Conduction and radiation from the chain to the shared nodes, and between these."""
    node = net.node
    border = net.border
    n = border.shape[2]
    k = border.shape[1]
    for b in range(k):
        t_b = w[T_, n + b]
        t_b3 = t_b * t_b * t_b
        inv_b = node[INVERSE_CAPACITY, n + b]
        for i in range(n):
            t = w[T_, i]
            q = border[CONDUCTANCE, b, i] * (t - t_b) + border[RADIATIVE, b, i] * (
                t * t * t * t - t_b3 * t_b
            )
            w[FLOW, i] = q
            w[F0, i] -= q
        f_b = w[F0, n + b] + summed(w[FLOW], 0, n)
        if jacobian > 0.0:
            for i in range(n):
                t = w[T_, i]
                c = border[CONDUCTANCE, b, i]
                e = 4.0 * border[RADIATIVE, b, i]
                here = (c + e * (t * t * t)) * w[DT_, i]
                there = c + e * t_b3
                w[DIAGONAL, i] -= here
                w[FLOW, i] = there
                border_row[b, i] = here * inv_b
                border_column[b, i] = there * node[INVERSE_CAPACITY, i]
            w[DIAGONAL, n + b] -= summed(w[FLOW], 0, n)
        for other in range(k):
            if other != b:
                link = net.shared_links[b, other]
                f_b -= link * (t_b - w[T_, n + other])
                if jacobian > 0.0:
                    w[DIAGONAL, n + b] -= link
                    corner[b, other] = link * inv_b
        w[F0, n + b] = f_b


@merged
def to_local(u: Floats, net: Arrays, w: Floats, jacobian: float) -> None:
    """Conduction through the shells of filler, and dissolution by spots."""
    node = net.node
    n = net.border.shape[2]
    k = net.border.shape[1]
    if jacobian > 0.0:
        for i in range(n, node.shape[1]):
            w[LOWER, i] = 0.0
            w[UPPER, i] = 0.0
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
    held: float,
) -> tuple[float, float]:
    """Fill the scratch rows at state u; return heat lost [W] and resistance of the chain [ohm].

    Parameters
    ----------
    u : (N,) state [K]
    ambient : ambient temperature [K]
    net : Arrays
    jacobian : 1 with Jacobian, 0 without; a float, since a flag would compile a copy for each
    held : 1 where nothing melts, and the solid's properties go straight on beyond the solidus (but
        for the conductivity at the element's ends): so that a step over the onset sees nothing
        bend, and the onset is found on it; else 0
    w : (ROWS, N) scratch; on return F0, G and, with `jacobian`, the bands
        LOWER[i] = df_i/du_{i-1}, DIAGONAL, UPPER[i] = df_i/du_{i+1} of f0, DG = dg_i/du_i,
        AMBIENT_SLOPE = df0/dT_amb, LOSS_ROW and GEN_ROW the gradients of loss and of resistance;
        OHMS the resistance of each node [ohm]; FLOW is free between assemblies; local nodes have
        LOWER = df_i/dT of their inner neighbour, UPPER towards the outer one, and PULL what they do
        to others: of a cell its slope with its first shell, of the last shell the body's slope with
        it, of a spot the cell's dg/du
    border_column : (k, n) df_i/du_shared
    border_row : (k, n) df_shared/du_i
    corner : (k, k) df_shared/du_shared
    """
    ohms = lookups(u, net, w, jacobian, held)
    loss = losses(ambient, net, w, jacobian)
    along_chain(net, w, jacobian)
    to_shared(net, w, border_column, border_row, corner, jacobian)
    to_local(u, net, w, jacobian)
    node = net.node
    total = node.shape[1]
    for i in range(total):
        w[F0, i] *= node[INVERSE_CAPACITY, i]
    if jacobian > 0.0:
        n = net.border.shape[2]
        for row in range(LOWER, AMBIENT_SLOPE + 1):
            if row != DG:
                for i in range(total):
                    w[row, i] *= node[INVERSE_CAPACITY, i]
        for b in range(net.border.shape[1]):
            corner[b, b] = w[DIAGONAL, n + b]
    return loss, ohms
