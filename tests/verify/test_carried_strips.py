"""The strips' carried values made anew with scikit-fem: quadratic elements along the strip.

T(x) of a strip of section A and perimeter p, terminals as lumps at both ends:

    d c A dT/dt = (A k T')' + I² rho / A - film p (T - Ta)
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu, spsolve
from skfem import (
    Basis,
    BilinearForm,
    ElementLineP2,
    ElementQuad2,
    LinearForm,
    MeshLine,
    MeshQuad,
    condense,
    solve,
)
from skfem.models.poisson import laplace

from fusetherm.verify import cases

Floats = npt.NDArray[np.float64]
CARRIED = {one.id: one.expected for one in cases()}
AMBIENT_K = 293.15


@dataclass(frozen=True)
class Strip:
    """Half of a symmetric strip, from its middle to a terminal; lengths in m, SI."""

    half: float
    width: float
    middle: float
    notch: float  # half length of the notch
    thickness: float
    density: float
    heat: float
    k: tuple[float, float]
    rho: tuple[float, float]
    film: float
    terminal: tuple[float, float] | None  # J/K, W/K; None: held at ambient
    melts_k: float

    def area(self, x: Floats) -> Floats:
        depth = 0.5 * (self.width - self.middle) * (1.0 + np.cos(np.pi * x / self.notch))
        return self.thickness * (self.width - np.where(x < self.notch, depth, 0.0))

    def perimeter(self, x: Floats) -> Floats:
        return 2.0 * (self.area(x) / self.thickness + self.thickness)

    def conductivity(self, t: Floats) -> Floats:
        return self.k[0] + self.k[1] * (t - 293.15)

    def resistivity(self, t: Floats) -> Floats:
        return self.rho[0] * (1.0 + self.rho[1] * (t - 293.15))


HELD = Strip(5e-3, 2e-3, 0.5e-3, 1e-3, 0.1e-3, 8960.0, 385.0, (401.0, -0.06), (1.72e-8, 0.00393),
             50.0, None, 1357.77)  # fmt: skip
COPPER = Strip(5e-3, 2e-3, 0.5e-3, 1e-3, 0.1e-3, 8960.0, 385.0, (401.0, -0.06), (1.72e-8, 0.00393),
               50.0, (2.0, 0.05), 1357.77)  # fmt: skip
ZINC = Strip(6e-3, 3e-3, 1e-3, 2e-3, 0.3e-3, 7134.0, 390.0, (116.0, -0.04), (5.9e-8, 0.0042),
             30.0, (3.0, 0.08), 692.677)  # fmt: skip


class Model:
    """The strip on `elements` quadratic elements, half of them in the notch."""

    def __init__(self, strip: Strip, elements: int = 48) -> None:
        self.strip = strip
        inner = np.linspace(0.0, strip.notch, elements // 2 + 1)
        outer = np.linspace(strip.notch, strip.half, elements // 2 + 1)[1:]
        self.basis = Basis(MeshLine(np.concatenate((inner, outer))), ElementLineP2(), intorder=8)
        places = self.basis.doflocs[0]
        self.middle, self.end = int(np.argmin(places)), int(np.argmax(places))

        @LinearForm
        def gained(v: Any, w: Any) -> Any:
            area, t = strip.area(w.x[0]), np.asarray(w.t)
            made = w.current**2 * strip.resistivity(t) / area
            lost = strip.film * strip.perimeter(w.x[0]) * (t - AMBIENT_K)
            return (made - lost) * v - area * strip.conductivity(t) * w.t.grad[0] * v.grad[0]

        @BilinearForm
        def stored(u: Any, v: Any, w: Any) -> Any:
            return strip.density * strip.heat * strip.area(w.x[0]) * u * v

        self.gained, self.stored = gained, stored

    def rate(self, t: Floats, current: float) -> Floats:
        """Heat into each shape function [W]."""
        at = self.basis.interpolate(t)
        out = np.asarray(self.gained.assemble(self.basis, t=at, current=current))
        if self.strip.terminal:
            out[self.end] -= self.strip.terminal[1] * (t[self.end] - AMBIENT_K)
        return out

    def drop(self, t: Floats, current: float) -> float:
        """Over both halves [V]."""
        x, values = self.basis.global_coordinates()[0], self.basis.interpolate(t)
        density = self.strip.resistivity(np.asarray(values)) / self.strip.area(np.asarray(x))
        return 2.0 * current * float(np.sum(density * self.basis.dx))

    @functools.cached_property
    def free(self) -> npt.NDArray[np.int64]:
        held = [] if self.strip.terminal else [self.end]
        return np.setdiff1d(np.arange(self.basis.N), held)

    def steady(self, current: float) -> Floats:
        """Newton with differences for the Jacobian, from ambient up in steps of the current."""
        t = np.full(self.basis.N, AMBIENT_K)
        for share in np.linspace(0.25, 1.0, 4):
            for _ in range(60):
                residual = self.rate(t, share * current)[self.free]
                step = spsolve(self.jacobian(t, share * current), residual)
                t[self.free] -= step
                if np.max(np.abs(step)) < 1e-9:
                    break
        return t

    def jacobian(self, t: Floats, current: float) -> csc_matrix:
        """Banded: P2 shape functions meet those of their element and its neighbours."""
        order = np.argsort(self.basis.doflocs[0])
        matrix = np.zeros((self.basis.N, self.basis.N))
        base, width = self.rate(t, current), 5
        for start in range(width):
            group = order[start::width]
            moved = t.copy()
            moved[group] += 1e-4
            change = (self.rate(moved, current) - base) / 1e-4
            for dof in group:
                at = int(np.flatnonzero(order == dof)[0])
                near = order[max(at - 2, 0) : at + 3]
                matrix[near, dof] = change[near]
        return csc_matrix(matrix[np.ix_(self.free, self.free)])

    def fusing(self, low: float, high: float) -> tuple[float, Floats]:
        """Current at which the middle just melts, and the profile."""

        def excess(current: float) -> float:
            return float(self.steady(current)[self.middle] - self.strip.melts_k)

        current = float(brentq(excess, low, high, xtol=1e-6))
        return current, self.steady(current)

    def run(self, current: float, until: float, times: Floats | None = None) -> Any:
        """Transient until the middle melts, by scipy's Radau."""
        mass = self.stored.assemble(self.basis).tolil()
        if self.strip.terminal:
            mass[self.end, self.end] += self.strip.terminal[0]
        factor = splu(csc_matrix(mass)[np.ix_(self.free, self.free)].tocsc())
        whole = np.full(self.basis.N, AMBIENT_K)

        def full(y: Floats) -> Floats:
            whole[self.free] = y
            return whole

        def rate(_: float, y: Floats) -> Floats:
            return np.asarray(factor.solve(self.rate(full(y), current)[self.free]))

        def jacobian(_: float, y: Floats) -> Floats:
            dense = np.asarray(self.jacobian(full(y).copy(), current).todense())
            return np.asarray(factor.solve(dense))

        def melts(_: float, y: Floats) -> float:
            return float(full(y)[self.middle] - self.strip.melts_k)

        melts.terminal = True  # type: ignore[attr-defined]
        return solve_ivp(rate, (0.0, until), whole[self.free].copy(), method="Radau", rtol=1e-7,
                         atol=1e-5, jac=jacobian, events=melts, t_eval=times)  # fmt: skip


def test_steady_states_and_minimum_fusing_currents() -> None:
    for name, strip, low, high in (("copper", COPPER, 80.0, 89.0), ("zinc", ZINC, 75.0, 84.0)):
        model = Model(strip)
        current, profile = model.fusing(low, high)
        assert CARRIED[f"strip-minimum-current-{name}"] == pytest.approx(current, rel=2e-6)
        assert CARRIED[f"strip-terminal-{name}"] == pytest.approx(profile[model.end], rel=5e-6)


@pytest.mark.parametrize(
    ("name", "strip", "current"), [("copper-held", HELD, 100.0), ("copper", COPPER, 60.0)]
)
def test_profiles(name: str, strip: Strip, current: float) -> None:
    model = Model(strip)
    profile = model.steady(current)
    hottest, drop = profile[model.middle], model.drop(profile, current)
    assert CARRIED[f"strip-steady-{name}-temperature"] == pytest.approx(hottest, rel=2e-6)
    assert CARRIED[f"strip-steady-{name}-drop"] == pytest.approx(drop, rel=2e-6)
    if strip.terminal:
        terminals = 2.0 * strip.terminal[1] * (profile[model.end] - AMBIENT_K)
        assert CARRIED["strip-side-loss"] == pytest.approx(current * drop - terminals, rel=1e-5)


@pytest.mark.parametrize(
    ("id", "strip", "current"),
    [
        ("strip-onset-copper-held-130a", HELD, 130.0),
        ("strip-onset-copper-held-600a", HELD, 600.0),
        ("strip-onset-zinc-91a", ZINC, 91.0),
        ("strip-onset-zinc-496a", ZINC, 496.0),
        ("strip-curve-zinc-165a", ZINC, 165.0),
    ],
)
def test_onsets(id: str, strip: Strip, current: float) -> None:
    value = CARRIED[id]
    assert isinstance(value, float)
    found = Model(strip).run(current, 2.0 * value).t_events[0]
    assert value == pytest.approx(float(found[0]), rel=5e-5)


def test_step_on_terminals() -> None:
    model = Model(COPPER)
    times = np.array([0.01, 1.0, 200.0])
    found = model.run(60.0, 200.0, times).y
    for time, middle, terminal in zip(times, found[model.middle], found[model.end], strict=True):
        assert CARRIED[f"strip-step-middle-{1e3 * time:g}ms"] == pytest.approx(middle, rel=1e-5)
        if time >= 1.0:
            id = f"strip-step-terminal-{1e3 * time:g}ms"
            assert CARRIED[id] == pytest.approx(terminal, rel=5e-6)


def test_spreading() -> None:
    # upper half of a strip that narrows from 3 to 1, one potential at each end; graded towards
    # the re-entrant corner
    grade = np.linspace(0.0, 1.0, 31) ** 4
    x = np.unique(np.concatenate((-6.0 * grade, 4.0 * grade)))
    y = np.unique(np.concatenate((1.0 - grade, 1.0 + 2.0 * grade)))
    mesh = MeshQuad.init_tensor(x, y)
    cx, cy = mesh.p[:, mesh.t].mean(axis=1)
    basis = Basis(mesh.restrict(np.flatnonzero(~((cx > 0.0) & (cy > 1.0)))), ElementQuad2())
    matrix = laplace.assemble(basis)
    left = basis.get_dofs(lambda p: np.isclose(p[0], -6.0)).flatten()
    right = basis.get_dofs(lambda p: np.isclose(p[0], 4.0)).flatten()
    u = basis.zeros()
    u[left] = 1.0
    u = solve(*condense(matrix, x=u, D=np.concatenate((left, right))))
    squares = 0.5 / float(u @ (matrix @ u)) - (6.0 / 6.0 + 4.0 / 2.0)
    assert CARRIED["notch-spreading-three-to-one"] == pytest.approx(squares, abs=2e-6)
