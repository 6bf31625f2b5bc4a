"""From a FuseModel to the arrays of a thermal network.

    m_i dh_i/dt = sum_j G_ij (T_j - T_i) + I² R_i(T_i, phi_i) - P_side,i(T_i, T_body, T_amb)

Chain nodes from left to right: cable (far end first), clip, blade, element cells, blade,
clip, cable. The body is a shared node tied to every element cell. The element's enthalpy is
carried as ``u = h / c_ref`` in kelvin, c_ref the specific heat at 293.15 K.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..fuse.element import CELLS, Element, Mesh
from ..fuse.model import (
    COPPER_CONDUCTIVITY,
    COPPER_RESISTIVITY,
    COPPER_SLOPE,
    Cable,
    FuseModel,
    Side,
)
from ..physics.constants import STEFAN_BOLTZMANN
from ..units import kelvin
from .cell_states import shells_of, spots_of
from .kernels.layout import (
    BRIDGE,
    CELL_LENGTH,
    DT_DU_LIQUID,
    EDGE_WEIGHT,
    END_SHAPE,
    FILM_AREA,
    FILM_COLUMNS,
    FILM_INDEX,
    FILM_LOW,
    FILM_STEP_INV,
    INVERSE_CAPACITY,
    KIND_ROWS,
    KIRCHHOFF,
    LINK_INVERSE,
    LINK_KIND,
    LINK_LEFT,
    LINK_RESISTANCE,
    LINK_RIGHT,
    LOSES,
    MATERIAL,
    NEEDS_K,
    NODE_ROWS,
    OPEN,
    POSITION,
    QUANTITIES,
    RADIATION,
    RESISTANCE,
    RESISTANCE_SLOPE,
    SERIES,
    SHAPE,
    SOLID_CORNER,
    SPOT_SCALE,
    T_LIQUIDUS,
    T_SOLIDUS,
    TABLE_INTERVALS,
    TO_AMBIENT,
    U_LIQUIDUS,
    U_LOW,
    U_SOLIDUS,
    U_STEP_INV,
    Arrays,
)
from .metal_table import TABLE_LOW_K, MetalTable, hermite, metal_table

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

#: Length of a cable's last cell over its first: with 16 cells a metre of 6 mm² draws within
#: .6 % of the exact fin in steady state, 1 % at 20 s and 2 % at 3 s.
_LAST_OVER_FIRST = 80.0
_FILM_LOW_K, _FILM_STEP, _FILM_INTERVALS = 180.0, 10.0, 162  # about where it begins [K]


@dataclass(frozen=True, slots=True)
class Network:
    """A thermal network: arrays for the kernels, and what its nodes are.

    Attributes
    ----------
    model : FuseModel
        Where it came from.
    arrays : Arrays
        Named tuple of arrays, see solver/kernels/layout.py.
    mesh : Mesh
        Mesh of the element.
    first, last : int
        First and last element cell in the chain.
    nodes : mapping of str to int
        Named nodes: ``blade_left``, ``clip_left``, ``cable_left`` (the cell next to the
        clip), the same on the right, and ``body``; only those that exist.
    ambient_k : float
        Ambient for which surface films were tabulated [K].
    heat_capacity : (N,) array
        Of every node at the reference [J/K]: stored heat is sum C u.
    """

    model: FuseModel
    arrays: Arrays
    mesh: Mesh
    first: int
    last: int
    nodes: Mapping[str, int]
    ambient_k: float
    metal: MetalTable = field(repr=False)
    heat_capacity: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        capacity = np.asarray(1.0 / self.arrays.node[INVERSE_CAPACITY], dtype=np.float64)
        capacity[self.arrays.spots[:, 1]] = 0.0
        object.__setattr__(self, "heat_capacity", capacity)

    @property
    def size(self) -> int:
        """Number of states."""
        return int(self.arrays.node.shape[1])

    @property
    def chain(self) -> int:
        """Number of nodes of the chain."""
        return int(self.arrays.border.shape[2])

    @property
    def shared(self) -> int:
        """Number of shared nodes."""
        return int(self.arrays.border.shape[1])

    def state(self, temperature_k: float) -> Floats:
        """State of a network that is everywhere at one temperature [K]."""
        u = np.full(self.size, float(temperature_k))
        u[self.first : self.last + 1] = self.metal.state(temperature_k)
        u[self.arrays.spots[:, 1]] = 0.0
        return u

    def dissolved(self, u: Floats) -> float:
        """Largest share of the cross-section that a spot has dissolved [-]."""
        return float(max(u[self.arrays.spots[:, 1]], default=0.0)) / SPOT_SCALE

    def temperature_k(self, u: Floats) -> Floats:
        """Temperature [K] of every node at a state."""
        out = np.array(u, dtype=float)
        s = self.metal.scalars
        v = out[self.first : self.last + 1]
        x = (v - s[U_LOW]) * s[U_STEP_INV]
        j = np.clip(x.astype(int), 0, TABLE_INTERVALS - 1)
        z, c = x - j, self.metal.table[j, ::QUANTITIES]
        solid = c[:, 0] + z * (c[:, 1] + np.maximum(z, 0.0) * (c[:, 2] + z * c[:, 3]))
        phi = (v - s[U_SOLIDUS]) / (s[U_LIQUIDUS] - s[U_SOLIDUS])
        melting = s[T_SOLIDUS] + (s[T_LIQUIDUS] - s[T_SOLIDUS]) * phi
        end = self.metal.table[-1, ::QUANTITIES]
        fall = s[U_STEP_INV] * (end[1] + 2.0 * end[2] + 3.0 * end[3])
        fall -= (s[T_LIQUIDUS] - s[T_SOLIDUS]) / (s[U_LIQUIDUS] - s[U_SOLIDUS])
        begun = np.clip(v - s[U_SOLIDUS], 0.0, SOLID_CORNER)
        lift = fall * (begun - begun**2 / (2.0 * SOLID_CORNER))
        liquid = s[T_LIQUIDUS] + (v - s[U_LIQUIDUS]) * s[DT_DU_LIQUID]
        out[self.first : self.last + 1] = np.where(
            v <= s[U_SOLIDUS], solid, lift + np.where(v < s[U_LIQUIDUS], melting, liquid)
        )
        return out


@dataclass(slots=True)
class _Chain:
    """Columns of the chain while it is put together."""

    capacity: list[float] = field(default_factory=list)
    resistance: list[float] = field(default_factory=list)
    slope: list[float] = field(default_factory=list)
    to_ambient: list[float] = field(default_factory=list)
    to_air: list[float] = field(default_factory=list)
    links: list[tuple[int, float, float, float]] = field(default_factory=list)
    names: dict[str, int] = field(default_factory=dict)

    def add(
        self,
        capacity: float,
        resistance: float,
        slope: float,
        to_ambient: float,
        to_air: float = 0.0,
    ) -> None:
        self.capacity.append(capacity)
        self.resistance.append(resistance)
        self.slope.append(slope)
        self.to_ambient.append(to_ambient)
        self.to_air.append(to_air)


def _outer_nodes(side: Side, which: str, ambient_k: float) -> _Chain:
    """Nodes of one side from the blade outwards, each with its link towards the element."""
    chain = _Chain()
    if side.blade is None:
        return chain
    blade, contact, clip, cable = side.blade, side.contact, side.clip, side.cable
    half_contact = 0.0 if contact is None else 0.5 * contact.resistance
    chain.names[f"blade_{which}"] = 0
    total = blade.resistance + half_contact
    slope = 0.0 if total == 0.0 else blade.resistance_slope * blade.resistance / total
    chain.add(blade.heat_capacity, total, slope, blade.to_ambient)
    if clip is None or contact is None:
        return chain
    chain.names[f"clip_{which}"] = 1
    chain.add(clip.heat_capacity, half_contact, 0.0, clip.to_ambient)
    chain.links.append((SERIES, 0.0, 1.0 / contact.conductance, 0.0))
    if cable is not None:
        chain.names[f"cable_{which}"] = 2
        _add_cable(chain, cable, ambient_k)
    return chain


def _add_cable(chain: _Chain, cable: Cable, ambient_k: float) -> None:
    """Cells of the cable, growing with the distance from the clip."""
    ratio = _LAST_OVER_FIRST ** (1.0 / (cable.cells - 1))
    lengths = ratio ** np.arange(cable.cells)
    lengths *= cable.length / lengths.sum()
    conduction = COPPER_CONDUCTIVITY * cable.section
    loss, outer_loss = cable.loss_per_length_at(ambient_k), 0.0
    inside = cable.length
    if cable.air_c is not None:
        inside, outer_loss = cable.inside, cable.loss_per_length_at(kelvin(cable.air_c))
    heat_capacity = cable.heat_capacity_per_length
    before = begin = 0.0
    for length in lengths:
        within = min(max(inside - begin, 0.0), length)
        chain.add(
            heat_capacity * length,
            COPPER_RESISTIVITY * length / cable.section,
            COPPER_SLOPE,
            loss * within,
            outer_loss * (length - within),
        )
        begin += length
        chain.links.append((SERIES, 0.0, (0.5 * before + 0.5 * length) / conduction, 0.0))
        before = length


def build_network(model: FuseModel, *, ambient_k: float, cells: int = CELLS) -> Network:
    """Network of a model.

    Parameters
    ----------
    model : FuseModel
        Fuse and connection.
    ambient_k : float
        Ambient for the laws of natural convection and of radiation to it [K].
    cells : int
        Cells of the element.

    Returns
    -------
    Network

    Raises
    ------
    InputError
        When the ambient lies above the element's melting point or below the tables.
    """
    element = model.element
    if ambient_k < TABLE_LOW_K:
        raise InputError(
            "ambient-below-tables",
            f"ambient of {ambient_k - 273.15:g} °C",
            expected=f"at least {TABLE_LOW_K - 273.15:g} °C, where the property tables begin",
            mend="check the sign and the unit",
        )
    if not ambient_k < element.metal.solidus_k:
        raise InputError(
            "ambient-above-melting",
            f"ambient of {ambient_k - 273.15:g} °C against a melting point of "
            f"{element.metal.solidus_k - 273.15:.0f} °C ({element.metal.name})",
            expected="an ambient below the melting point",
        )
    if element.spot is not None and ambient_k >= element.spot.dissolution.onset_k:
        onset_k = element.spot.dissolution.onset_k
        raise InputError(
            "ambient-above-melting",
            f"ambient of {ambient_k - 273.15:g} °C against {onset_k - 273.15:.0f} °C, at which the "
            "spot begins to dissolve the element",
            expected="an ambient below that",
        )
    mesh = element.mesh(cells)
    metal = metal_table(element.metal)
    count = len(mesh.position)
    left = _outer_nodes(model.left, "left", ambient_k)
    right = _outer_nodes(model.right, "right", ambient_k)
    n_left, n_right = len(left.capacity), len(right.capacity)
    n = n_left + count + n_right
    k = 0 if model.body is None else 1
    first, last = n_left, n_left + count - 1
    cells_slice = slice(first, last + 1)
    shells, shell_rows = shells_of(model.body, mesh, n + k, first)
    spots, spot_rows = spots_of(element, mesh, n + k + shells[:, 1:].size, first)
    total = n + k + shells[:, 1:].size + len(spots)

    def lay(name: str, middle: Floats | float, tail: float = 0.0) -> Floats:
        out = np.zeros(total)
        out[:n_left] = getattr(left, name)[::-1]
        out[cells_slice] = middle
        out[last + 1 : n] = getattr(right, name)
        out[n : n + k] = tail
        return out

    body = model.body
    capacity = lay(
        "capacity",
        element.metal.density * metal.reference_heat * mesh.volume,
        0.0 if body is None else body.heat_capacity,
    )
    capacity[n + k :] = 1.0
    to_ambient = lay("to_ambient", 0.0, 0.0 if body is None else body.conductance_at(ambient_k))
    shape = np.zeros(total)
    shape[cells_slice] = mesh.shape
    kind = np.full(n, OPEN, dtype=np.int64)
    link_inverse, link_left, link_middle, link_right = np.zeros((4, n))
    kind[first:last] = KIRCHHOFF
    link_inverse[first:last] = 1.0 / (mesh.right_shape[:-1] + mesh.left_shape[1:])
    for j, (link_kind, _, resistance, _) in enumerate(left.links):
        i = n_left - 2 - j
        kind[i], link_middle[i] = link_kind, resistance
    for j, (link_kind, _, resistance, _) in enumerate(right.links):
        i = last + 1 + j
        kind[i], link_middle[i] = link_kind, resistance
    end_shape, needs_k = np.zeros(total), np.zeros(total, dtype=np.int64)
    needs_k[[first, last]] = 1
    if n_left:
        kind[first - 1], link_right[first - 1] = SERIES, mesh.left_shape[0]
    else:
        end_shape[first] = mesh.left_shape[0]
    if n_right:
        kind[last], link_left[last] = SERIES, mesh.right_shape[-1]
    else:
        end_shape[last] = mesh.right_shape[-1]

    border, border_radiation = np.zeros((k, n)), np.zeros((k, n))
    radiation, film_area = np.zeros(total), np.zeros(total)
    film, film_scale = np.zeros((1, 1, 4)), np.zeros((1, FILM_COLUMNS))
    if body is not None:
        if body.filler is None:
            border[0, cells_slice] = body.element_loss * mesh.length
            emitted = body.element_emissivity * STEFAN_BOLTZMANN * mesh.side
            border_radiation[0, cells_slice] = emitted
        if n_left:
            border[0, first - 1] = body.blade_conductance
        if n_right:
            border[0, last + 1] = body.blade_conductance
    else:
        around = model.surroundings
        to_ambient[cells_slice] += around.film_coefficient * mesh.side
        radiation[cells_slice] = around.emissivity * STEFAN_BOLTZMANN * mesh.side
        if around.natural_convection:
            film, film_scale = _film_table(element, ambient_k)
            film_area[cells_slice] = mesh.side
    film_index = np.zeros(total, dtype=np.int64)
    if any(left.to_air) or any(right.to_air):
        film, film_scale = _with_airs(model, film, film_scale)
        film_area += lay("to_air", 0.0)
        film_index[:n_left], film_index[last + 1 : n] = 1, 2

    names = {name: n_left - 1 - i for name, i in left.names.items()}
    names |= {name: last + 1 + i for name, i in right.names.items()}
    if body is not None:
        names["body"] = n
    position = np.full(n, np.nan)
    position[cells_slice] = mesh.position
    cell_length = np.zeros(n)
    cell_length[cells_slice] = mesh.length
    bridge, edge_weight = _bridges(element, mesh, n, first)
    loses = (radiation > 0.0) | (film_area > 0.0) | (end_shape > 0.0)
    material = np.full(total, -1, dtype=np.int64)
    material[cells_slice] = 0
    node, kinds = np.zeros((NODE_ROWS, total)), np.zeros((KIND_ROWS, total), dtype=np.int64)
    for row, values in (
        (INVERSE_CAPACITY, 1.0 / capacity),
        (SHAPE, shape),
        (RESISTANCE, lay("resistance", 0.0)),
        (RESISTANCE_SLOPE, lay("slope", 0.0)),
        (TO_AMBIENT, to_ambient),
        (END_SHAPE, end_shape),
        (RADIATION, radiation),
        (FILM_AREA, film_area),
        (LINK_INVERSE, link_inverse),
        (LINK_LEFT, link_left),
        (LINK_RESISTANCE, link_middle),
        (LINK_RIGHT, link_right),
        (POSITION, position),
        (EDGE_WEIGHT, edge_weight),
        (CELL_LENGTH, cell_length),
    ):
        node[row, : len(values)] = values
    for local, rows in ((shells[:, 1:].ravel(), shell_rows), (spots[:, 1], spot_rows)):
        for row, values in rows.items():
            node[row, local] = values
    for row, numbers in (
        (MATERIAL, material),
        (FILM_INDEX, film_index),
        (NEEDS_K, needs_k),
        (LINK_KIND, kind),
        (BRIDGE, bridge),
        (LOSES, loses),
    ):
        kinds[row, : len(numbers)] = numbers
    arrays = Arrays(
        node=node,
        kind=kinds,
        border=np.stack((border, border_radiation)),
        shared_links=np.zeros((k, k)),
        shells=shells,
        spots=spots,
        table=metal.table[None, :, :],
        metal=metal.scalars[None, :],
        film=film,
        film_scale=film_scale,
    )
    return Network(
        model, arrays, mesh, first, last, MappingProxyType(names), float(ambient_k), metal
    )


def _bridges(element: Element, mesh: Mesh, n: int, first: int) -> tuple[Integers, Floats]:
    """Number of the bridge of each chain node, and the extrapolation weight at its edges."""
    bridge, weight = np.full(n, -1, dtype=np.int64), np.zeros(n)
    for number, section in enumerate(element.bridges()):
        cells = np.flatnonzero(mesh.section == section)
        bridge[first + cells] = number
        for edge, inner in ((cells[0], cells[1]), (cells[-1], cells[-2])):
            distance = abs(mesh.position[inner] - mesh.position[edge])
            weight[first + edge] = 0.5 * mesh.length[edge] / distance
    return bridge, weight


def _film_table(element: Element, ambient_k: float) -> tuple[Floats, Floats]:
    """Heat flux of natural convection against temperature, for a cylinder of equal perimeter.

    Ambient is a knot, so that the flux vanishes there to the last digit.
    """
    from ..physics.heat_loss import cylinder_film_coefficient

    diameter = element.narrowest()[1] / np.pi
    below = round((ambient_k - _FILM_LOW_K) / _FILM_STEP)
    knots = ambient_k + _FILM_STEP * np.arange(-below, _FILM_INTERVALS + 1 - below)
    flux = np.array(
        [
            cylinder_film_coefficient(diameter, float(t), ambient_k) * (t - ambient_k)
            if abs(t - ambient_k) > 1e-6
            else 0.0
            for t in knots
        ]
    )
    slope = np.gradient(flux, _FILM_STEP, edge_order=2)
    scale = np.zeros((1, FILM_COLUMNS))
    scale[0] = (knots[0], 1.0 / _FILM_STEP, ambient_k, 1.0)
    return hermite(flux, slope * _FILM_STEP)[None, :, :], scale


def _with_airs(model: FuseModel, film: Floats, film_scale: Floats) -> tuple[Floats, Floats]:
    """Film tables and a further one for the air around the cable of each side.

    That of a cable is a straight line of one watt a kelvin over air that does not follow the
    ambient; a conductance takes the place of the area.
    """
    films = np.zeros((3, *film.shape[1:]))
    scales = np.zeros((3, FILM_COLUMNS))
    films[0], scales[0] = film[0], film_scale[0]
    for row, side in ((1, model.left), (2, model.right)):
        if side.cable is None or side.cable.air_c is None:
            continue
        scales[row, FILM_LOW] = kelvin(side.cable.air_c)
        scales[row, FILM_STEP_INV] = 1.0 / _FILM_STEP
        films[row, :, 0] = _FILM_STEP * np.arange(films.shape[1])
        films[row, :, 1] = _FILM_STEP
    return films, scales
