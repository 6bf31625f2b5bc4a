"""The melting element: sections of strip or wire in a row, and their mesh.

An element is described as its maker would draw it: straight or tapered strips, notches,
round wires, end to end. Lengths are developed lengths: a stamped bridge counts along the
metal, not along the straight line. Where the width steps, the current spreads in two
dimensions; a one-dimensional strip leaves that out, and `spreading_squares` puts it back.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..physics.dissolution import Dissolution
from ..physics.metals import Metal

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

#: Cells of an element, unless said otherwise.
CELLS = 64
#: A narrow section gets this many times the cells of a wide one.
_NARROW_WEIGHT = 2
#: Mean over smallest cell length, at most, in a section beside a bridge. Its first cell is the
#: geometric mean of the bridge's cells and its own: nearer to the bridge's, currents of many times
#: the minimum gain and those near it lose (studied on eleven elements, benchmarks/mesh.py).
_GRADING = 3.5


def spreading_squares(ratio: float) -> float:
    """Extra resistance of a symmetric step in width, in squares of the strip [-].

    Parameters
    ----------
    ratio : float
        Wide over narrow width, at least 1.

    Returns
    -------
    float
        Squares to add: the step's resistance is ``squares * rho / thickness``.

    Notes
    -----
    Conformal map of a step in a strip of constant thickness,

    .. math:: n = \\frac{1}{2\\pi}\\left[\\frac{a^2+1}{a}\\ln\\frac{a+1}{a-1}
              - 2\\ln\\frac{4a}{a^2-1}\\right]

    with a the ratio of widths; a symmetric step is two one-sided ones side by side. The
    3 : 1 step gives .239, about a quarter square.

    References
    ----------
    The step discontinuity of a parallel-plate line, N. Marcuvitz, Waveguide Handbook,
    1951, section 5.26 (from memory), read as a resistance by duality.

    Examples
    --------
    >>> round(spreading_squares(3.0), 3)
    0.239
    >>> spreading_squares(1.0)
    0.0
    """
    a = float(ratio)
    if a < 1.0:
        raise InputError("ratio-below-one", f"width ratio is {a:g}", expected="wide over narrow")
    if a - 1.0 < 1e-9:
        return 0.0
    bracket = (a * a + 1.0) / a * math.log((a + 1.0) / (a - 1.0))
    bracket -= 2.0 * math.log(4.0 * a / (a * a - 1.0))
    return bracket / (2.0 * math.pi)


def _positive(kind: str, **values: float | None) -> None:
    for name, value in values.items():
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise InputError(
                "not-positive", f"{kind}: {name} is {value}", expected="a positive length in metres"
            )


@runtime_checkable
class Profile(Protocol):
    """A piece of element: what the mesh asks of it, against the distance x from its start."""

    @property
    def length(self) -> float:
        """Developed length [m]."""
        ...

    def area(self, x: Floats) -> Floats:
        """Cross-section [m²] at x [m]."""
        ...

    def perimeter(self, x: Floats) -> Floats:
        """Wetted perimeter [m] at x [m]."""
        ...


@dataclass(frozen=True, slots=True)
class Section:
    """A piece of strip of constant thickness.

    Parameters
    ----------
    length, width, thickness : float
        Developed length, width and thickness [m].
    end_width : float, optional
        Width at the far end, for a straight taper [m].
    middle_width : float, optional
        Width in the middle, for a notch rounded like a cosine [m].

    Examples
    --------
    >>> notch = Section(length=2e-3, width=2e-3, thickness=0.1e-3, middle_width=0.5e-3)
    >>> float(notch.area(np.array([1e-3]))[0] * 1e6).__round__(6)
    0.05
    """

    length: float
    width: float
    thickness: float
    end_width: float | None = None
    middle_width: float | None = None

    def __post_init__(self) -> None:
        _positive(
            "Section",
            length=self.length,
            width=self.width,
            thickness=self.thickness,
            end_width=self.end_width,
            middle_width=self.middle_width,
        )
        if self.end_width is not None and self.middle_width is not None:
            raise InputError(
                "taper-and-notch",
                "a section has both end_width and middle_width",
                expected="one of them",
                mend="split it in two sections",
            )

    def breadth(self, x: Floats) -> Floats:
        """Width [m] at x [m]."""
        s = np.asarray(x, dtype=float) / self.length
        if self.end_width is not None:
            return self.width + (self.end_width - self.width) * s
        if self.middle_width is not None:
            depth = self.width - self.middle_width
            return self.width - 0.5 * depth * (1.0 + np.cos(2.0 * np.pi * (s - 0.5)))
        return np.full_like(s, self.width)

    def area(self, x: Floats) -> Floats:
        """Cross-section [m²] at x [m]."""
        return self.breadth(x) * self.thickness

    def perimeter(self, x: Floats) -> Floats:
        """Perimeter [m] at x [m]: both faces and both edges."""
        return 2.0 * (self.breadth(x) + self.thickness)


@dataclass(frozen=True, slots=True)
class RoundSection:
    """A piece of round wire.

    Parameters
    ----------
    length, diameter : float
        Length and diameter [m].
    """

    length: float
    diameter: float

    def __post_init__(self) -> None:
        _positive("RoundSection", length=self.length, diameter=self.diameter)

    def area(self, x: Floats) -> Floats:
        """Cross-section [m²] at x [m]."""
        return np.full_like(np.asarray(x, dtype=float), math.pi * self.diameter**2 / 4.0)

    def perimeter(self, x: Floats) -> Floats:
        """Perimeter [m] at x [m]."""
        return np.full_like(np.asarray(x, dtype=float), math.pi * self.diameter)


@dataclass(frozen=True, slots=True)
class Mesh:
    """Cells of an element; every array has one entry a cell, from left to right.

    Cells are aligned to the section's edges, with a fixed count a section, so that
    answers stay smooth in the lengths. Integrals over cells are exact (Gauss-Legendre).
    """

    position: Floats = field(metadata={"units": "m", "long_name": "centre of the cell"})
    length: Floats = field(metadata={"units": "m", "long_name": "length of the cell"})
    volume: Floats = field(metadata={"units": "m3", "long_name": "volume of the cell"})
    shape: Floats = field(metadata={"units": "m-1", "long_name": "integral of dx/A over the cell"})
    left_shape: Floats = field(
        metadata={"units": "m-1", "long_name": "its part left of the centre"}
    )
    right_shape: Floats = field(metadata={"units": "m-1", "long_name": "its part on the right"})
    side: Floats = field(metadata={"units": "m2", "long_name": "side area of the cell"})
    section: Integers = field(metadata={"units": "1", "long_name": "number of the section"})


@dataclass(frozen=True, slots=True)
class Spot:
    """A drop of low-melting alloy over the whole of one section.

    Parameters
    ----------
    section : int
        Number of the section it covers, from 0 at the left.
    dissolution : Dissolution
        What it does to the metal under it once it is molten.
    """

    section: int
    dissolution: Dissolution


@dataclass(frozen=True)
class Element:
    """A melting element of one metal.

    Parameters
    ----------
    metal : Metal
        What it is made of.
    sections : sequence of Section or RoundSection
        From the left terminal to the right one.
    break_length : float, optional
        Molten length at which the liquid column parts [m]; see Notes.
    spreading : bool
        Add the two-dimensional spreading resistance where the width of a strip steps.
    spot : Spot, optional
        Drop of alloy that dissolves the section under it.

    Notes
    -----
    A liquid column is unstable once it is longer than its circumference (Plateau and
    Rayleigh), so the break length is by default the perimeter of the narrowest
    cross-section. A bridge shorter than that parts when it is molten from edge to edge,
    after the growth time of the instability,
    ``capillary_time = 2.9 sqrt(density a³ / surface_tension)`` with a the radius of a
    circle of the same area.

    References
    ----------
    Lord Rayleigh, Phil. Mag. 34 (1892) 145-154 (largest growth rate
    0.343 sqrt(surface_tension / (density a³)); from memory).
    """

    metal: Metal
    sections: tuple[Section | RoundSection, ...]
    break_length: float | None = None
    spreading: bool = True
    spot: Spot | None = None

    def __init__(
        self,
        metal: Metal,
        sections: Sequence[Section | RoundSection],
        break_length: float | None = None,
        spreading: bool = True,
        spot: Spot | None = None,
    ) -> None:
        if len(sections) == 0:
            raise InputError("no-sections", "an element without sections", expected="at least one")
        if spot is not None and not 0 <= spot.section < len(sections):
            raise InputError(
                "spot-off-the-element",
                f"a spot on section {spot.section} of {len(sections)}",
                expected=f"a number from 0 to {len(sections) - 1}",
            )
        _positive("Element", break_length=break_length)
        object.__setattr__(self, "metal", metal)
        object.__setattr__(self, "sections", tuple(sections))
        object.__setattr__(self, "break_length", break_length)
        object.__setattr__(self, "spreading", spreading)
        object.__setattr__(self, "spot", spot)

    @property
    def length(self) -> float:
        """Developed length [m]."""
        return sum(s.length for s in self.sections)

    @property
    def thickness(self) -> float:
        """Smallest thickness of its sections, a wire's diameter [m]."""
        return min(s.thickness if isinstance(s, Section) else s.diameter for s in self.sections)

    def narrowest(self) -> tuple[float, float]:
        """Smallest cross-section [m²] and the perimeter there [m]."""
        return self._narrowest

    @cached_property
    def _narrowest(self) -> tuple[float, float]:
        best = (math.inf, math.inf)
        for s in self.sections:
            x = np.linspace(0.0, s.length, 65)
            area = s.area(x)
            i = int(np.argmin(area))
            if area[i] < best[0]:
                best = (float(area[i]), float(s.perimeter(x)[i]))
        return best

    @property
    def parting_length(self) -> float:
        """Molten length at which the column parts [m]."""
        return self.narrowest()[1] if self.break_length is None else self.break_length

    @property
    def capillary_time(self) -> float:
        """Time a molten bridge takes to part [s]."""
        radius = math.sqrt(self.narrowest()[0] / math.pi)
        return 2.9 * math.sqrt(self.metal.density * radius**3 / self.metal.surface_tension)

    def bridges(self) -> tuple[int, ...]:
        """Numbers of the sections that are narrower than the widest part: its bridges."""
        return self._bridges

    @cached_property
    def _bridges(self) -> tuple[int, ...]:
        means = [s.volume_mean for s in map(_Means.of, self.sections)]
        widest = max(means)
        return tuple(i for i, a in enumerate(means) if a < 0.95 * widest)

    def shape_integral(self) -> float:
        """Integral of dx/A along the element, spreading included [1/m]."""
        return float(np.sum(self.mesh(CELLS).shape))

    def cold_resistance(self, temperature_k: float = 293.15) -> float:
        """Resistance at one temperature [ohm], of the element alone."""
        return float(self.metal.resistivity(temperature_k)) * self.shape_integral()

    def mesh(self, cells: int = CELLS) -> Mesh:
        """Mesh of the element with about `cells` cells.

        Parameters
        ----------
        cells : int
            Cells wanted in all; each section takes its share, an even number.

        Returns
        -------
        Mesh
            Cells aligned to the sections' edges, refined towards the narrow ones.
        """
        narrow = set(self.bridges())
        weights = [_NARROW_WEIGHT if i in narrow else 1 for i in range(len(self.sections))]
        unit = cells / sum(weights)
        counts = [max(2, 2 * round(0.5 * unit * w)) for w in weights]
        nodes, weight = _gauss()
        parts: list[tuple[Floats, ...]] = []
        numbers: list[Integers] = []
        start = 0.0
        for i, s in enumerate(self.sections):
            count = counts[i]
            beside = [j for j in (i - 1, i + 1) if j in narrow and i not in narrow]
            finest = 1.0
            if len(beside) == 1:
                bridge = self.sections[beside[0]]
                finest = math.sqrt(bridge.length / counts[beside[0]] / s.length / count)
                finest = max(finest, 1.0 / (_GRADING * count))
            edges = _edges(count, finest, beside == [i - 1]) * s.length
            middle = 0.5 * (edges[1:] + edges[:-1])
            width = np.diff(edges)
            left = edges[:-1, None] + 0.25 * width[:, None] * (nodes + 1.0)
            right = middle[:, None] + 0.25 * width[:, None] * (nodes + 1.0)
            half = 0.25 * width
            a_left, a_right = s.area(left), s.area(right)
            volume = half * (a_left @ weight + a_right @ weight)
            left_shape = half * ((1.0 / a_left) @ weight)
            right_shape = half * ((1.0 / a_right) @ weight)
            side = half * (s.perimeter(left) @ weight + s.perimeter(right) @ weight)
            extra = self._spreading(i, np.column_stack((edges[:-1], middle, edges[1:])))
            left_shape += extra[:, 1] - extra[:, 0]
            right_shape += extra[:, 2] - extra[:, 1]
            parts.append((start + middle, width, volume, left_shape, right_shape, side))
            numbers.append(np.full(count, i, dtype=np.int64))
            start += s.length
        position, length, volume, left_shape, right_shape, side = (
            np.concatenate(column) for column in zip(*parts, strict=True)
        )
        return Mesh(
            position=position,
            length=length,
            volume=volume,
            shape=left_shape + right_shape,
            left_shape=left_shape,
            right_shape=right_shape,
            side=side,
            section=np.concatenate(numbers),
        )

    def _spreading(self, index: int, x: Floats) -> Floats:
        """Share of spreading resistance between a section's start and x, as shape [1/m].

        A step crowds the current on its wide side and relaxes over the decay length of
        the first symmetric mode of the wide strip, ``width / (2 pi)``; the extra shape is
        laid out there with that exponential, so that the mesh has nothing to lump.
        """
        total = np.zeros_like(x)
        section = self.sections[index]
        if not self.spreading or not isinstance(section, Section):
            return total
        ends = (section.breadth(np.array([0.0]))[0], section.breadth(np.array([section.length]))[0])
        for own, neighbour, at_start in ((ends[0], index - 1, True), (ends[1], index + 1, False)):
            if not 0 <= neighbour < len(self.sections):
                continue
            other = self.sections[neighbour]
            if not isinstance(other, Section):
                continue
            edge = np.array([other.length if at_start else 0.0])
            narrow = float(other.breadth(edge)[0])
            if own <= narrow:
                continue
            squares = spreading_squares(float(own) / narrow)
            decay = float(own) / (2.0 * math.pi)
            whole = -math.expm1(-section.length / decay)
            if at_start:
                share = -np.expm1(-x / decay) / whole
            else:
                share = 1.0 + np.expm1(-(section.length - x) / decay) / whole
            total += squares / min(section.thickness, other.thickness) * share
        return total


@dataclass(frozen=True, slots=True)
class _Means:
    """Mean cross-section of a profile [m²], by its volume."""

    volume_mean: float

    @classmethod
    def of(cls, profile: Profile) -> _Means:
        x = np.linspace(0.0, profile.length, 65)
        return cls(float(np.mean(profile.area(x))))


@lru_cache(maxsize=1)
def _gauss() -> tuple[Floats, Floats]:
    """Nodes and weights of Gauss-Legendre quadrature over half a cell."""
    nodes, weight = np.polynomial.legendre.leggauss(6)
    return nodes, weight


def _edges(count: int, finest: float, towards_left: bool) -> Floats:
    """Cell edges on 0..1, growing away from a bridge at one end.

    Parameters
    ----------
    count : int
        Cells.
    finest : float
        Length of the cell at the bridge [-]; an even mesh when it is no smaller than the mean.
    towards_left : bool
        Whether the bridge lies at the left end.
    """
    ratio = _growth(count, finest)
    lengths = ratio ** np.arange(count)
    if not towards_left:
        lengths = lengths[::-1]
    edges = np.concatenate(([0.0], np.cumsum(lengths)))
    return np.asarray(edges / edges[-1], dtype=np.float64)


@lru_cache(maxsize=256)
def _growth(count: int, finest: float) -> float:
    """Ratio q of neighbouring cells so that the first of ``count`` is ``finest`` of the whole.

    ``finest (1 + q + ... + q^(count - 1)) = 1``, by bisection; q at least 1.
    """
    low, high = 1.0, 30.0 ** (1.0 / (count - 1))  # the mean is then 8.5 times the first
    for _ in range(40):
        q = 0.5 * (low + high)
        whole = float(np.sum(q ** np.arange(count)))
        low, high = (q, high) if finest * whole < 1.0 else (low, q)
    return low


def round_wire(metal: Metal, diameter: float, length: float) -> Element:
    """Element of plain round wire.

    Parameters
    ----------
    metal : Metal
        What it is made of.
    diameter, length : float
        Diameter and length between the terminals [m].
    """
    return Element(metal, (RoundSection(length=length, diameter=diameter),))
