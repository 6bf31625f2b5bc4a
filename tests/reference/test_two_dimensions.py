"""What an element in one dimension neglects: stamped bridges against fields in two dimensions.

A zinc strip, 3 mm wide and .3 mm thick, 4 mm on either side of a bridge of 1 mm. Source of the
expected values: finite elements made here with scikit-fem (quadratic quadrilaterals, graded
towards the corner, a quarter of the strip), electrical and thermal field coupled by rho(T),
ends held, no loss from the sides; trapezoidal steps. The numbers of docs/limits.md are these.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import brentq
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementQuad2, LinearForm, MeshQuad
from skfem.helpers import dot, grad

from fusetherm import Element, FuseModel, Section, Waveform, metal, simulate, steady_state
from fusetherm.physics.tables import Table
from fusetherm.solver.steady import minimum_fusing_current

Floats = npt.NDArray[np.float64]
RHO, SLOPE, K, HEAT, DENSITY = 5.9e-8, 0.0042, 110.0, 390.0, 7134.0
MELTS, AMBIENT = 692.68, 293.15
WIDE, NARROW, THICK, SIDE = 3e-3, 1e-3, 0.3e-3, 4e-3


def straight(at_293: float, slope: float = 0.0) -> Table:
    ends = (200.0, 2000.0)
    return Table(ends, tuple(at_293 + slope * (t - 293.15) for t in ends), "here")


ZINC = replace(
    metal("zinc"),
    density=DENSITY,
    solidus_k=MELTS,
    liquidus_k=MELTS,
    resistivity_table=straight(RHO, RHO * SLOPE),
    conductivity_table=straight(K),
    specific_heat_table=straight(HEAT),
)


def resistivity(kelvin: Floats) -> Floats:
    return RHO * (1.0 + SLOPE * (kelvin - 293.15))


def toward(a: float, b: float, cells: int, smallest: float) -> Floats:
    """Edges from a to b, growing from the smallest cell at b."""
    if cells * smallest >= abs(b - a):
        return np.linspace(a, b, cells + 1)
    q = brentq(lambda q: smallest * (q**cells - 1.0) / (q - 1.0) - abs(b - a), 1.0 + 1e-9, 10.0)
    x = np.append(0.0, np.cumsum(q ** np.arange(cells)))
    return b + (a - b) * (x / x[-1])[::-1]


class Fields:
    """Electrical and thermal field in a quarter of the strip; x from the held end, y from the axis.

    The bridge is stepped with sharp corners, or with ``notch`` rounded like a cosine.
    """

    def __init__(self, bridge: float, notch: bool = False) -> None:
        self.half = SIDE + 0.5 * bridge
        mesh = self.rounded(bridge) if notch else self.stepped(bridge)
        self.basis = Basis(mesh, ElementQuad2())
        x, y = self.basis.doflocs
        held, middle = x < 1e-12, x > self.half - 1e-12
        self.middle = np.flatnonzero(middle)
        self.axis = self.middle[np.argmin(y[middle])]
        self.free, self.inner = np.flatnonzero(~held), np.flatnonzero(~held & ~middle)
        self.stiffness = BilinearForm(lambda u, v, w: K * dot(grad(u), grad(v))).assemble(
            self.basis
        )
        self.mass = BilinearForm(lambda u, v, w: DENSITY * HEAT * u * v).assemble(self.basis)
        self.conducts = BilinearForm(
            lambda u, v, w: dot(grad(u), grad(v)) / resistivity(w["kelvin"])
        )
        self.joule = LinearForm(
            lambda v, w: dot(grad(w["volt"]), grad(w["volt"])) / resistivity(w["kelvin"]) * v
        )

    @staticmethod
    def stepped(bridge: float) -> MeshQuad:
        finest, cells = 10e-6, 10
        corner = SIDE, 0.5 * NARROW
        x = np.append(
            toward(0.0, corner[0], cells, finest),
            toward(SIDE + 0.5 * bridge, corner[0], cells, finest)[-2::-1],
        )
        y = np.append(
            toward(0.0, corner[1], cells, finest),
            toward(0.5 * WIDE, corner[1], cells, finest)[-2::-1],
        )
        mesh = MeshQuad.init_tensor(x, y)
        at = mesh.p[:, mesh.t].mean(axis=1)
        return mesh.restrict(np.flatnonzero((at[0] < corner[0]) | (at[1] < corner[1])))

    @staticmethod
    def rounded(notch: float) -> MeshQuad:
        x = np.append(np.linspace(0.0, SIDE, 13), np.linspace(SIDE, SIDE + 0.5 * notch, 25)[1:])
        mesh = MeshQuad.init_tensor(x, np.linspace(0.0, 0.5, 10))
        p = mesh.p.copy()
        share = np.maximum(p[0] - SIDE, 0.0) / notch
        p[1] *= NARROW + (WIDE - NARROW) * np.cos(np.pi * share) ** 2
        return MeshQuad(p, mesh.t)

    def heat(self, kelvin: Floats, current: float) -> tuple[Floats, float]:
        """Joule heat as a load, and the resistance of the whole strip [ohm]."""
        field = self.basis.interpolate(kelvin)
        matrix = self.conducts.assemble(self.basis, kelvin=field)
        volt = np.zeros(self.basis.N)
        volt[self.middle] = 1.0
        inner = self.inner
        volt[inner] = splu(matrix[inner][:, inner].tocsc()).solve(-(matrix @ volt)[inner])
        conductance = 2.0 * THICK * float(volt @ (matrix @ volt))  # of one half
        load = self.joule.assemble(self.basis, kelvin=field, volt=self.basis.interpolate(volt))
        return load * (current / conductance) ** 2, 2.0 / conductance

    def shape(self) -> float:
        """Cold resistance over rho [1/m]."""
        cold = np.full(self.basis.N, 293.15)
        return self.heat(cold, 0.0)[1] / RHO

    def steady(self, current: float) -> float:
        """Hottest temperature of the steady state [K]."""
        free, kelvin = self.free, np.full(self.basis.N, AMBIENT)
        conducts = splu(self.stiffness[free][:, free].tocsc())
        for _ in range(200):
            load, _ = self.heat(kelvin, current)
            new = np.full(self.basis.N, AMBIENT)
            new[free] += conducts.solve(load[free])
            change = float(np.max(np.abs(new - kelvin)))
            kelvin = new
            if change < 1e-6:
                return float(kelvin.max())
        pytest.fail(f"no steady state at {current} A")

    def onset(self, current: float, guess: float, steps: int = 60) -> tuple[float, float]:
        """When the hottest point and the middle of the axis begin to melt [s]."""
        free, dt, melts = self.free, guess / steps, MELTS - AMBIENT
        ahead, behind = (self.mass / dt + s * 0.5 * self.stiffness for s in (1.0, -1.0))
        solve = splu(ahead[free][:, free].tocsc()).solve
        rise, t = np.zeros(self.basis.N), 0.0
        load = self.heat(rise + AMBIENT, current)[0]
        hottest = math.nan
        while t < 3.0 * guess:
            new, after = rise, load
            for _ in range(3):
                right = behind @ rise + 0.5 * (load + after)
                new = np.zeros_like(rise)
                new[free] = solve(right[free])
                after = self.heat(new + AMBIENT, current)[0]
            if math.isnan(hottest) and new.max() >= melts:
                hottest = t + dt * (melts - rise.max()) / (new.max() - rise.max())
            if new[self.axis] >= melts:
                a, b = rise[self.axis], new[self.axis]
                return hottest, float(t + dt * (melts - a) / (b - a))
            rise, load, t = new, after, t + dt
        pytest.fail(f"no onset at {current} A")


def model(bridge: float, *, spreading: bool = True, notch: bool = False) -> FuseModel:
    side = Section(SIDE, WIDE, THICK)
    middle = Section(bridge, NARROW, THICK)
    if notch:
        middle = Section(bridge, WIDE, THICK, middle_width=NARROW)
    return FuseModel(Element(ZINC, (side, middle, side), spreading=spreading))


@lru_cache
def fields(bridge: float, notch: bool = False) -> Fields:
    return Fields(bridge, notch)


@lru_cache
def least(bridge: float) -> float:
    return minimum_fusing_current(model(bridge), ambient_c=AMBIENT - 273.15, cells=512)


def late(bridge: float, factor: float) -> tuple[float, float]:
    """How much later melting begins in one dimension than at the hottest point, and the axis."""
    current = factor * least(bridge)
    run = simulate(
        model(bridge), Waveform(time=[0.0, 100.0], current=[current] * 2),
        ambient_c=AMBIENT - 273.15, cells=512, tolerance=1e-6,
    )  # fmt: skip
    assert run.onset_time is not None
    hottest, axis = fields(bridge).onset(current, run.onset_time)
    return run.onset_time / hottest - 1.0, run.onset_time / axis - 1.0


@pytest.mark.parametrize(
    ("bridge", "without"), [(0.5e-3, -0.131), (1e-3, -0.115), (2e-3, -0.093), (4e-3, -0.067)]
)
def test_resistance_with_spreading_is_that_of_two_dimensions(bridge: float, without: float) -> None:
    exact = fields(bridge).shape()
    assert model(bridge).element.shape_integral() == pytest.approx(exact, rel=5e-4)
    bare = model(bridge, spreading=False).element.shape_integral()
    assert bare / exact - 1.0 == pytest.approx(without, abs=1e-3)


@pytest.mark.parametrize("bridge", [0.5e-3, 1e-3, 2e-3])
def test_steady_state_is_that_of_two_dimensions(bridge: float) -> None:
    current = 0.9 * least(bridge)
    steady = steady_state(model(bridge), current, ambient_c=AMBIENT - 273.15, cells=512)
    assert steady is not None
    here = steady.peak_temperature_c + 273.15 - AMBIENT
    assert here == pytest.approx(fields(bridge).steady(current) - AMBIENT, rel=1.5e-3)


@pytest.mark.parametrize(
    ("bridge", "factor", "share"),
    [
        (0.5e-3, 3.0, 0.60),
        (1e-3, 1.1, 0.07),
        (1e-3, 2.0, 0.27),
        (1e-3, 5.0, 0.12),
        (2e-3, 2.0, 0.13),
        (4e-3, 2.0, 0.04),
    ],
)
def test_short_bridges_begin_to_melt_earlier_in_two_dimensions(
    bridge: float, factor: float, share: float
) -> None:
    hottest, axis = late(bridge, factor)
    assert hottest == pytest.approx(share, abs=0.006)
    assert 0.0 < axis <= hottest


def test_at_ten_times_the_axis_agrees_and_the_corner_is_ahead() -> None:
    hottest, axis = late(1e-3, 10.0)
    assert abs(axis) < 2e-3
    assert hottest == pytest.approx(0.05, abs=0.006)


@pytest.mark.parametrize(("notch", "short"), [(2e-3, -0.067), (4e-3, -0.035), (8e-3, -0.014)])
def test_a_rounded_notch_has_no_spreading(notch: float, short: float) -> None:
    here = model(notch, notch=True).element.shape_integral()
    assert here / fields(notch, notch=True).shape() - 1.0 == pytest.approx(short, abs=1.5e-3)
