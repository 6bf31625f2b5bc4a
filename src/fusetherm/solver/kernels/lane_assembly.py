"""Right side and Jacobian of `LANES` networks at once; the equations are those of `assemble`.

What a metal does at a state is looked up lane by lane, everything else is computed in packs.
Both must stay the same physics: a test holds them together.
"""

from __future__ import annotations

from ...compiled import kernel, merged
from ...packed import (
    LANES,
    all_between,
    cubic_slopes,
    cubics,
    everywhere,
    larger,
    load,
    load_fourth,
    store,
    where_above,
    whole,
)
from .assemble import (
    DG,
    DIAGONAL,
    DK_,
    DT_,
    DTHETA,
    F0,
    GEN_ROW,
    K_,
    LOSS_ROW,
    LOWER,
    T_,
    THETA,
    UPPER,
    G,
    film_flux,
)
from .lane_layout import (
    ALONG,
    AMBIENT_K,
    CHAIN_OHMS,
    HELD,
    HOT_CELL,
    HOT_U,
    INSIDE,
    LOST_POWER,
    PLACE,
    SENSITIVITY,
    TABLE_END,
    TABLE_LOW,
    TABLE_PLACE,
    TABLE_STEP_INV,
    Lanes,
    Networks,
)
from .layout import (
    END_SHAPE,
    FILM_AREA,
    FILM_INDEX,
    INVERSE_CAPACITY,
    KIRCHHOFF,
    LINK_INVERSE,
    LINK_KIND,
    LINK_LEFT,
    LINK_RESISTANCE,
    LINK_RIGHT,
    MATERIAL,
    NEEDS_K,
    OPEN,
    RADIATION,
    RESISTANCE,
    RESISTANCE_SLOPE,
    SHAPE,
    TABLE_COLUMNS,
    TO_AMBIENT,
    Floats,
    Integers,
)
from .material import beyond_solid, conductivity_of_metal, state_of_metal

# parts of `Lanes.four`: temperature, conductivity integral, resistivity
PART_T, PART_THETA, PART_RHO = range(3)


@merged
def materials(
    states: Floats, networks: Networks, of: Integers, w: Floats, s: Lanes, slopes: float
) -> None:
    """What the metals and the surfaces do at the states, looked up lane by lane.

    Of each metal cell temperature, conductivity integral and resistivity in ``s.four[0]``, their
    slopes in ``s.four[1]``; flux of a film in `F0`, its slope in `LOSS_ROW`.
    """
    total = states.shape[1]
    zero = everywhere(0.0)
    last = everywhere(float(networks.table.shape[2] - 1))
    behind = 4 * LANES * total  # the slopes follow the values
    for i in range(total):
        m = networks.kind[MATERIAL, i]
        if m >= 0:
            x = (load(states, 0, i) - load(s.metal, TABLE_LOW, m)) * load(
                s.metal, TABLE_STEP_INV, m
            )
            j = whole(x)
            j = where_above(j, last, last, j)
            store(s.metal, PLACE, m, load(s.metal, TABLE_PLACE, m) + float(TABLE_COLUMNS) * j)
            store(s.metal, INSIDE, m, x - j)
            solid = all_between(x, zero, load(s.metal, TABLE_END, m))
            if not solid:
                store(s.metal, ALONG, m, x)
            for lane in range(LANES):
                # a lane's own state decides, whatever its neighbours do
                if solid or 0.0 <= s.metal[ALONG, m, lane] <= s.metal[TABLE_END, m, lane]:
                    at = 4 * (i * LANES + lane)
                    place = int(s.metal[PLACE, m, lane])
                    z = s.metal[INSIDE, m, lane]
                    cubics(networks.table, place, z, s.four, at)
                    if slopes > 0.0:
                        d = s.metal[TABLE_STEP_INV, m, lane]
                        cubic_slopes(networks.table, place, z, d, s.four, at + behind)
                    continue
                which = of[lane]
                if s.scalar[0, HELD, lane] > 0.0 and s.metal[ALONG, m, lane] > 0.0:
                    t, dt, theta, dtheta, rho, drho = beyond_solid(
                        states[0, i, lane], networks.table[which, m], networks.metal[which, m]
                    )
                else:
                    t, dt, theta, dtheta, rho, drho = state_of_metal(
                        states[0, i, lane], networks.table[which, m], networks.metal[which, m]
                    )
                s.four[0, i, lane, PART_T] = t
                s.four[0, i, lane, PART_THETA] = theta
                s.four[0, i, lane, PART_RHO] = rho
                s.four[1, i, lane, PART_T] = dt
                s.four[1, i, lane, PART_THETA] = dtheta
                s.four[1, i, lane, PART_RHO] = drho
            if networks.kind[NEEDS_K, i] == 1:
                for lane in range(LANES):
                    which = of[lane]
                    k, dk = conductivity_of_metal(
                        states[0, i, lane], networks.table[which, m], networks.metal[which, m]
                    )
                    w[K_, i, lane] = k
                    w[DK_, i, lane] = dk
        if networks.node[0, FILM_AREA, i] > 0.0:
            j = networks.kind[FILM_INDEX, i]
            for lane in range(LANES):
                which = of[lane]
                t = s.four[0, i, lane, PART_T] if m >= 0 else states[0, i, lane]
                flux, slope = film_flux(
                    t,
                    s.scalar[0, AMBIENT_K, lane],
                    networks.film[which, j],
                    networks.film_scale[which, j],
                )
                w[F0, i, lane] = flux
                w[LOSS_ROW, i, lane] = slope


@kernel
def assemble_lanes(
    states: Floats, networks: Networks, of: Integers, w: Floats, s: Lanes, slopes: float
) -> None:
    """Fill the scratch rows of every lane at a state; see `assemble`.

    Parameters
    ----------
    states : (1, N, LANES) states [K]; a slice, since the number of a row would be compiled in
    networks, of : networks, and which is whose lane's
    w : (ROWS, N, LANES) filled
    s : working arrays; the heat lost, the resistance of the chain and, with slopes, the bands of
        the border and the largest sensitivity are left there; the ambient stands still
    slopes : 1 with Jacobian, 0 without
    """
    kinds = networks.kind
    n = s.coupling.shape[1]
    k = s.square.shape[1]
    total = states.shape[1]
    materials(states, networks, of, w, s, slopes)
    behind = 4 * LANES * total
    ambient = load(s.scalar, 0, AMBIENT_K)
    ambient_3 = ambient * ambient * ambient
    zero = everywhere(0.0)
    one = everywhere(1.0)
    loss = zero
    ohms = zero
    for i in range(total):
        inverse = load(s.node, INVERSE_CAPACITY, i)
        dt = one
        if kinds[MATERIAL, i] >= 0:
            at = 4 * LANES * i
            t = load_fourth(s.four, at, 0)
            store(w, THETA, i, load_fourth(s.four, at, 1))
            shape = load(s.node, SHAPE, i)
            r = load_fourth(s.four, at, 2) * shape
            dr = zero
            if slopes > 0.0:
                dt = load_fourth(s.four, at + behind, 0)
                store(w, DT_, i, dt)
                store(w, DTHETA, i, load_fourth(s.four, at + behind, 1))
                dr = load_fourth(s.four, at + behind, 2) * shape
        else:
            t = load(states, 0, i)
            cold = load(s.node, RESISTANCE, i)
            dr = cold * load(s.node, RESISTANCE_SLOPE, i)
            r = cold + dr * (t - 293.15)
            if slopes > 0.0:
                store(w, DT_, i, one)
        store(w, T_, i, t)
        ohms = ohms + r
        store(w, G, i, r * inverse)
        over = t - ambient
        conductance = load(s.node, TO_AMBIENT, i)
        q = conductance * over
        dq = conductance
        dq_dk = zero
        if networks.node[0, RADIATION, i] > 0.0:
            radiation = load(s.node, RADIATION, i)
            t_3 = t * t * t
            q = q + radiation * (t_3 * t - ambient_3 * ambient)
            dq = dq + 4.0 * radiation * t_3
        if networks.node[0, FILM_AREA, i] > 0.0:
            area = load(s.node, FILM_AREA, i)
            slope = area * load(w, LOSS_ROW, i)
            q = q + area * load(w, F0, i)
            dq = dq + slope
        if networks.node[0, END_SHAPE, i] > 0.0:
            end = one / load(s.node, END_SHAPE, i)
            through = end
            if kinds[MATERIAL, i] >= 0:
                through = load(w, K_, i) * end
                dq_dk = over * end * load(w, DK_, i)
            q = q + through * over
            dq = dq + through
        loss = loss + q
        store(w, F0, i, zero - q)
        if slopes > 0.0:
            dq_du = dq * dt + dq_dk
            store(w, LOSS_ROW, i, dq_du)
            store(w, GEN_ROW, i, dr)
            store(w, DG, i, dr * inverse)
            store(w, DIAGONAL, i, zero - dq_du)
    store(s.scalar, 0, LOST_POWER, loss)
    store(s.scalar, 0, CHAIN_OHMS, ohms)
    sensitivity = zero
    flow = zero  # from the node before into this one [W]
    into = zero  # its slopes with the states of the node before and of this one [W/K]
    out_of = zero
    for i in range(n):
        f = load(w, F0, i) + flow
        diagonal = zero
        if slopes > 0.0:
            diagonal = load(w, DIAGONAL, i) - out_of
        lower = into
        kind = kinds[LINK_KIND, i]
        flow = zero
        into = zero
        out_of = zero
        if kind == KIRCHHOFF:
            inv = load(s.node, LINK_INVERSE, i)
            flow = (load(w, THETA, i) - load(w, THETA, i + 1)) * inv
            if slopes > 0.0:
                into = load(w, DTHETA, i) * inv
                out_of = load(w, DTHETA, i + 1) * inv
        elif kind != OPEN:
            k0 = one
            k1 = one
            dk0 = zero
            dk1 = zero
            if kinds[MATERIAL, i] >= 0:
                k0 = load(w, K_, i)
                dk0 = load(w, DK_, i)
            if kinds[MATERIAL, i + 1] >= 0:
                k1 = load(w, K_, i + 1)
                dk1 = load(w, DK_, i + 1)
            shape_0 = load(s.node, LINK_LEFT, i)
            shape_1 = load(s.node, LINK_RIGHT, i)
            drop = load(w, T_, i) - load(w, T_, i + 1)
            g = one / (shape_0 / k0 + load(s.node, LINK_RESISTANCE, i) + shape_1 / k1)
            flow = g * drop
            if slopes > 0.0:
                steep = drop * g * g
                into = g * load(w, DT_, i) + steep * shape_0 / (k0 * k0) * dk0
                out_of = g * load(w, DT_, i + 1) - steep * shape_1 / (k1 * k1) * dk1
        f = f - flow
        diagonal = diagonal - into
        inverse = load(s.node, INVERSE_CAPACITY, i)
        t = load(w, T_, i)
        for b in range(k):
            t_b = load(w, T_, n + b)
            c = load(s.coupling, b, i)
            e = load(s.coupling, k + b, i)
            t3 = t * t * t
            t_b3 = t_b * t_b * t_b
            q = c * (t - t_b) + e * (t * t3 - t_b * t_b3)
            f = f - q
            store(w, F0, n + b, load(w, F0, n + b) + q)
            if slopes > 0.0:
                here = (c + 4.0 * e * t3) * load(w, DT_, i)
                there = c + 4.0 * e * t_b3
                diagonal = diagonal - here
                store(w, DIAGONAL, n + b, load(w, DIAGONAL, n + b) - there)
                store(s.coupling, 2 * k + b, i, there * inverse)
                store(s.coupling, 3 * k + b, i, here * load(s.node, INVERSE_CAPACITY, n + b))
        store(w, F0, i, f * inverse)
        if slopes > 0.0:
            store(w, DIAGONAL, i, diagonal * inverse)
            store(w, LOWER, i, lower * inverse)
            store(w, UPPER, i, out_of * inverse)
            sensitivity = larger(load(w, G, i), sensitivity)
    for b in range(k):
        t_b = load(w, T_, n + b)
        f = load(w, F0, n + b)
        inverse = load(s.node, INVERSE_CAPACITY, n + b)
        linked = zero
        for other in range(k):
            if other != b:
                link = load(s.square, b, other)
                f = f - link * (t_b - load(w, T_, n + other))
                linked = linked + link
                if slopes > 0.0:
                    store(s.square, k + b, other, link * inverse)
        store(w, F0, n + b, f * inverse)
        if slopes > 0.0:
            diagonal = (load(w, DIAGONAL, n + b) - linked) * inverse
            store(w, DIAGONAL, n + b, diagonal)
            store(s.square, k + b, b, diagonal)
            sensitivity = larger(load(w, G, n + b), sensitivity)
    if slopes > 0.0:
        store(s.scalar, 0, SENSITIVITY, sensitivity)


@merged
def find_hottest(states: Floats, first: int, last: int, s: Lanes) -> None:
    """Leave the hottest cell of the element and its u, for every lane."""
    top = load(states, 0, first)
    cell = everywhere(float(first))
    for i in range(first + 1, last + 1):
        u = load(states, 0, i)
        cell = where_above(u, top, everywhere(float(i)), cell)
        top = where_above(u, top, u, top)
    store(s.scalar, 0, HOT_U, top)
    store(s.scalar, 0, HOT_CELL, cell)
