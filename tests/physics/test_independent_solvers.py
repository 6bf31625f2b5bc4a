"""Melting and peaks against scipy's Radau and SUNDIALS' CVODE, on two right sides.

One right side is that of the network. The other is written here, on its own, in numpy: an
enthalpy method on equal cells, with its own material law, geometry, terminals, body and rule of
parting. Radau runs at rtol 1e-11, CVODE at 1e-10. Every time, and every peak as a rise above
ambient, agrees to 1e-5 with RODAS4 or RODAS3 at a tolerance of 1e-7; most do to 1e-8. A peak
inside a step of a bent current is known to some .1 K only, whatever the tolerance: the heat
of the bend is left out of the step's inner life. It took 1e-7 for that, not for the times.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar
from sksundae.cvode import CVODE

from fusetherm import Element, FuseModel, Metal, Section, Waveform, metal, simulate
from fusetherm.fuse.element import RoundSection
from fusetherm.fuse.model import Blade, Body, Clip, Contact, Side, Surroundings
from fusetherm.physics.tables import Table
from fusetherm.solver.integrate import assembled, scratch_of, setting_of
from fusetherm.solver.kernels.assemble import F0, G
from fusetherm.solver.kernels.events import ONSET, PARTED, event_value
from fusetherm.solver.network import build_network
from fusetherm.solver.steady import minimum_fusing_current

Floats = npt.NDArray[np.float64]
CELLS = 32
AMBIENT_K = 296.15
SIGMA = 5.670374419e-8
LORENZ = 2.44300406e-8  # pi²/3 (k_B/e)² [V²/K²]


# ---------------------------------------------------------------- what both programs are told


@dataclass(frozen=True)
class Stuff:
    """A metal of straight lines; rho and k about 293.15 K, rises by the kelvin."""

    density: float
    heat: float
    rho: float
    rho_rise: float
    k: float
    k_rise: float
    solidus: float
    liquidus: float
    latent: float
    ratio: float  # of the resistivities, liquid over solid
    heat_liquid: float
    k_liquid: float

    @property
    def melting(self) -> tuple[float, float]:
        """Enthalpy at solidus and liquidus, over that of a kelvin of the solid [K]."""
        return self.solidus, self.liquidus + self.latent / self.heat

    def as_metal(self) -> Metal:
        def line(start: float, rise: float) -> Table:
            ends = (200.0, 2500.0)
            return Table(ends, tuple(start + rise * (t - 293.15) for t in ends), "here")

        return replace(
            metal("zinc"),
            density=self.density,
            solidus_k=self.solidus,
            liquidus_k=self.liquidus,
            boiling_k=3500.0,
            latent_heat=self.latent,
            liquid_resistivity_ratio=self.ratio,
            liquid_specific_heat=self.heat_liquid,
            liquid_conductivity=self.k_liquid,
            resistivity_table=line(self.rho, self.rho_rise),
            conductivity_table=line(self.k, self.k_rise),
            specific_heat_table=line(self.heat, 0.0),
        )


@dataclass(frozen=True)
class End:
    """Blade, and with a contact a clip beyond it."""

    heat: float
    loss: float
    ohms: float = 0.0
    ohms_rise: float = 0.0
    contact: float = 0.0
    clip_heat: float = 0.0
    clip_loss: float = 0.0

    def as_side(self) -> Side:
        blade = Blade(self.heat, self.loss, self.ohms, self.ohms_rise)
        if self.contact == 0.0:
            return Side(blade)
        return Side(blade, Contact(self.contact, 2.0), Clip(self.clip_heat, self.clip_loss))


@dataclass(frozen=True)
class Piece:
    """An element between its ends; an end of None is held at ambient.

    ``profile`` gives width and thickness of a strip at a share of its length, or twice the
    diameter of a wire.
    """

    stuff: Stuff
    section: Section | RoundSection
    profile: Callable[[Floats], tuple[Floats, float]]
    breaks_at: float
    left: End | None = None
    right: End | None = None
    film: float = 0.0
    emissivity: float = 0.0
    # body: heat capacity, to ambient, gas by length, emissivity of the element in it
    body: tuple[float, float, float, float] | None = None

    @property
    def length(self) -> float:
        return self.section.length

    def as_model(self) -> FuseModel:
        held = Side(None)
        return FuseModel(
            Element(self.stuff.as_metal(), (self.section,), break_length=self.breaks_at),
            None if self.body is None else Body(*self.body),
            held if self.left is None else self.left.as_side(),
            held if self.right is None else self.right.as_side(),
            Surroundings(film_coefficient=self.film, emissivity=self.emissivity),
        )


ZINC = Stuff(7134.0, 390.0, 5.9e-8, 2.5e-10, 116.0, -0.04, 692.68, 692.68, 1.08e5, 2.1, 480.0, 50.0)
COPPER = Stuff(
    8960.0, 385.0, 1.72e-8, 6.8e-11, 401.0, -0.06, 1357.77, 1357.77, 2.05e5, 2.0, 495.0, 160.0
)
ALLOY = Stuff(8000.0, 220.0, 1.3e-7, 4.5e-10, 60.0, 0.01, 490.0, 540.0, 5e4, 1.6, 250.0, 30.0)


def cosine(width: float, middle: float, thick: float) -> Callable[[Floats], tuple[Floats, float]]:
    return lambda s: (middle + (width - middle) * np.cos(np.pi * s) ** 2, thick)


def taper(start: float, end: float, thick: float) -> Callable[[Floats], tuple[Floats, float]]:
    return lambda s: (start + (end - start) * s, thick)


PIECES = {
    "plain zinc, blade": Piece(
        ZINC, Section(10e-3, 2e-3, 0.3e-3), taper(2e-3, 2e-3, 0.3e-3), 1.5e-3,
        right=End(0.5, 0.05), film=40.0,
    ),
    "notched zinc, terminals and body": Piece(
        ZINC, Section(12e-3, 3e-3, 0.3e-3, middle_width=1e-3), cosine(3e-3, 1e-3, 0.3e-3), 1.0e-3,
        left=End(0.4, 0.02, 1e-4, 3.9e-3, 0.2e-3, 1.0, 0.05),
        right=End(0.3, 0.03, 2e-4, 3.9e-3, 0.3e-3, 1.5, 0.04),
        body=(0.5, 0.012, 0.15, 0.3),
    ),
    "tapered alloy": Piece(
        ALLOY, Section(15e-3, 2e-3, 0.2e-3, end_width=1e-3), taper(2e-3, 1e-3, 0.2e-3), 2e-3,
        left=End(0.2, 0.03), right=End(0.2, 0.03), film=25.0, emissivity=0.4,
    ),
    "copper wire": Piece(
        COPPER, RoundSection(20e-3, 0.3e-3), lambda s: (0.0 * s + 0.3e-3, 0.0), 1e-3,
        film=30.0, emissivity=0.6,
    ),
}  # fmt: skip


@lru_cache
def least(name: str) -> float:
    """Minimum fusing current [A], a scale for the currents of the cases."""
    return minimum_fusing_current(
        PIECES[name].as_model(), ambient_c=AMBIENT_K - 273.15, cells=CELLS
    )


@dataclass(frozen=True)
class Case:
    """A piece, and a current: straight between points of time [s] and multiples of the least."""

    piece: str
    points: tuple[tuple[float, float], ...]
    opens: bool = True

    def wave(self) -> Waveform:
        time, factor = zip(*self.points, strict=True)
        return Waveform(time=time, current=[x * least(self.piece) for x in factor])


def steady(factor: float, span: float) -> tuple[tuple[float, float], ...]:
    return (0.0, factor), (span, factor)


DECAY = tuple((t, 7.0 * float(np.exp(-t / 20e-3))) for t in np.linspace(0.0, 0.12, 13))
SINE = tuple((t, 6.0 * float(np.sin(np.pi * t / 0.02))) for t in np.linspace(0.0, 0.02, 17))
CASES = {
    "1.1 x, plain zinc": Case("plain zinc, blade", steady(1.1, 60.0)),
    "1.5 x, notched zinc": Case("notched zinc, terminals and body", steady(1.5, 60.0)),
    "2 x, alloy": Case("tapered alloy", steady(2.0, 60.0)),
    "3 x, copper wire": Case("copper wire", steady(3.0, 20.0)),
    "5 x, notched zinc": Case("notched zinc, terminals and body", steady(5.0, 2.0)),
    "10 x, alloy": Case("tapered alloy", steady(10.0, 2.0)),
    "30 x, plain zinc": Case("plain zinc, blade", steady(30.0, 1.0)),
    "30 x, copper wire": Case("copper wire", steady(30.0, 1.0)),
    "preload, then 1.6 x": Case(
        "notched zinc, terminals and body", ((0.0, 0.7), (40.0, 0.7), (40.0, 1.6), (100.0, 1.6))
    ),
    "ramp": Case("tapered alloy", ((0.0, 0.2), (20.0, 3.0))),
    "decay": Case("plain zinc, blade", DECAY, opens=False),
    "decay that opens": Case("copper wire", tuple((t, 2.0 * f) for t, f in DECAY)),
    "half sine": Case("tapered alloy", tuple((t, 0.8 * f) for t, f in SINE), opens=False),
    "half sine that melts in part": Case("notched zinc, terminals and body", SINE, opens=False),
    "pulse on load": Case(
        "copper wire",
        ((0.0, 0.5), (3.0, 0.5), (3.0, 3.0), (3.06, 3.0), (3.06, 0.5), (4.0, 0.5)),
        opens=False,
    ),
}


# ---------------------------------------------------------------- right sides


class Network:
    """The right side and the rules of the package's network."""

    def __init__(self, piece: Piece) -> None:
        self.network = build_network(piece.as_model(), ambient_k=AMBIENT_K, cells=CELLS)
        self.z = scratch_of(self.network, 1)
        self.setting = setting_of(self.network, 1e-9)
        self.start = self.network.state(AMBIENT_K)
        self.cells = slice(self.network.first, self.network.last + 1)
        self.melting = piece.stuff.melting

    def rate(self, squared: float, y: Floats) -> Floats:
        z, u = self.z, np.array(y)
        assembled(self.network, u, AMBIENT_K, z)
        out: Floats = z.work[0, F0] + squared * z.work[0, G]
        return out

    def melts(self, y: Floats) -> float:
        return float(event_value(ONSET, np.array(y), self.network.arrays, self.setting))

    def parts(self, y: Floats) -> float:
        return float(event_value(PARTED, np.array(y), self.network.arrays, self.setting))


class Apart:
    """The same piece by a program of its own; v is the enthalpy over density and heat [K]."""

    def __init__(self, piece: Piece) -> None:
        self.piece, self.melting, n = piece, piece.stuff.melting, CELLS
        self.dx = piece.length / n
        nodes, weights = np.polynomial.legendre.leggauss(12)

        def integral(of: Callable[[Floats], Floats], start: Floats, span: float) -> Floats:
            x = start[:, None] + 0.5 * span * (nodes + 1.0)
            return np.asarray(0.5 * span * (of(x / piece.length) @ weights))

        begin = self.dx * np.arange(n)
        left = integral(lambda s: 1.0 / self.area(s), begin, 0.5 * self.dx)
        right = integral(lambda s: 1.0 / self.area(s), begin + 0.5 * self.dx, 0.5 * self.dx)
        self.volume = integral(self.area, begin, self.dx)
        self.side = integral(self.perimeter, begin, self.dx)
        self.shape = left + right
        self.between = right[:-1] + left[1:]
        self.at_ends = left[0], right[-1]
        # cells, then the lumps: blade and clip on the left, on the right, body
        lumps = []
        for end in (piece.left, piece.right):
            if end is not None:
                lumps += [end.heat] + ([end.clip_heat] if end.contact > 0.0 else [])
        if piece.body is not None:
            lumps.append(piece.body[0])
        self.lump_heat = np.array(lumps)
        self.start = np.full(n + len(lumps), AMBIENT_K)
        self.cells = slice(0, n)

    def area(self, s: Floats) -> Floats:
        width, thick = self.piece.profile(s)
        return width * thick if thick > 0.0 else 0.25 * np.pi * width**2

    def perimeter(self, s: Floats) -> Floats:
        width, thick = self.piece.profile(s)
        return 2.0 * (width + thick) if thick > 0.0 else np.pi * width

    def metal(self, v: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """T, rho, k, and int k dT from the solidus."""
        of, (solid, liquid) = self.piece.stuff, self.melting
        share = np.clip((v - solid) / (liquid - solid), 0.0, 1.0)
        span = of.liquidus - of.solidus
        below, above = np.minimum(v, solid), v - liquid
        k_s = of.k + of.k_rise * (solid - 293.15)
        rho_s = of.rho + of.rho_rise * (solid - 293.15)
        # the corner at the liquidus is rounded over 1 K to either side
        flat, steep = span / (liquid - solid), of.heat / of.heat_liquid
        over = flat * above + 0.25 * (steep - flat) * (above + 1.0) ** 2
        over = np.where(above < 1.0, over, steep * above)
        wet = above > -1.0
        kelvin = np.where(wet, of.liquidus + over, below + span * share)
        rho = of.rho + of.rho_rise * (below - 293.15) + (of.ratio - 1.0) * rho_s * share
        rho = rho * (1.0 + np.maximum(above, 0.0) * steep / of.liquidus)
        k = np.where(
            v <= solid, of.k + of.k_rise * (below - 293.15), k_s + (of.k_liquid - k_s) * share
        )
        cold = (of.k - 293.15 * of.k_rise) * (below - solid)
        cold = cold + 0.5 * of.k_rise * (below**2 - solid**2)
        mush = span * share * (k_s + 0.5 * (of.k_liquid - k_s) * share)
        full = 0.5 * span * (k_s + of.k_liquid) + of.k_liquid * over
        # where melting begins the slope falls over .1 K, and what lies beyond stays higher
        w = np.clip(v - solid, 0.0, 0.1)
        lift = (1.0 - flat) * (w - w**2 / 0.2)
        return kelvin + lift, rho, k, np.where(wet, full, cold + mush) + k_s * lift

    def rate(self, squared: float, y: Floats) -> Floats:
        p, n = self.piece, CELLS
        kelvin, rho, k, theta = self.metal(y[:n])
        flow = np.zeros(n + 1)  # rightwards [W]
        flow[1:n] = (theta[:-1] - theta[1:]) / self.between
        heat = squared * rho * self.shape
        lump = np.zeros(len(y) - n)
        at = 0
        for end, cell, face, sign in ((p.left, 0, 0, -1.0), (p.right, n - 1, n, 1.0)):
            across = k[cell] / self.at_ends[0 if cell == 0 else 1]
            if end is None:
                flow[face] = sign * across * (kelvin[cell] - AMBIENT_K)
                continue
            blade = y[n + at]
            out = across * (kelvin[cell] - blade)
            flow[face] = sign * out
            ohms = end.ohms * (1.0 + end.ohms_rise * (blade - 293.15)) + 0.5 * end.contact
            lump[at] += out + squared * ohms - end.loss * (blade - AMBIENT_K)
            if end.contact > 0.0:
                clip = y[n + at + 1]
                given = 2.0 * LORENZ * 320.0 / end.contact * (blade - clip)
                lump[at] -= given
                lump[at + 1] += given + 0.5 * squared * end.contact
                lump[at + 1] -= end.clip_loss * (clip - AMBIENT_K)
                at += 1
            at += 1
        if p.body is None:
            lost = p.film * self.side * (kelvin - AMBIENT_K)
            lost = lost + p.emissivity * SIGMA * self.side * (kelvin**4 - AMBIENT_K**4)
        else:
            _, to_ambient, gas, emissivity = p.body
            body = y[-1]
            lost = gas * self.dx * (kelvin - body)
            lost = lost + emissivity * SIGMA * self.side * (kelvin**4 - body**4)
            lump[-1] += lost.sum() - to_ambient * (body - AMBIENT_K)
        heat = (heat - np.diff(flow) - lost) / (p.stuff.density * p.stuff.heat * self.volume)
        return np.concatenate((heat, lump / self.lump_heat))

    def melts(self, y: Floats) -> float:
        return crest(y[:CELLS]) - self.melting[0]

    def liquid(self, cells: Floats) -> float:
        """Liquid [m] in a front's cell, the first of those outwards from it.

        The mush ahead is a straight line, from half a cell outside the front's cell; the y it
        fills is the root of (liquid - mean) dx = (liquid - mush) y - slope y² / 2.
        """
        solid, molten = self.melting
        mean = cells[0]
        mush = max(cells[1], solid) if len(cells) > 1 else solid
        beyond = max(cells[2], solid) if len(cells) > 2 else mush  # the element ends before
        slope = max(mush - beyond, 0.0) / self.dx
        edge = mush + 0.5 * self.dx * slope
        roots = np.roots([-0.5 * slope, molten - edge, (mean - molten) * self.dx])
        y = min((r.real for r in roots if r.real > 0.0), default=self.dx)
        return float(self.dx - min(max(y, 0.0), self.dx))

    def parts(self, y: Floats) -> float:
        v, molten = y[:CELLS], self.melting[1]
        hot = int(np.argmax(v))
        if v[hot] <= molten:
            return -1.0
        length = self.dx
        for outwards in (v[:hot][::-1], v[hot + 1 :]):
            share = 1.0
            for k, mean in enumerate(outwards):
                share *= 1.0 if mean > molten else self.liquid(outwards[k : k + 3]) / self.dx
                length += share * self.dx
        return float(length / self.piece.breaks_at - 1.0)


RightSide = Network | Apart


def crest(v: Floats) -> float:
    """v at the vertex of the parabola through the hottest cell and its neighbours."""
    i = int(np.argmax(v))
    if i in (0, len(v) - 1):
        return float(v[i])
    a, b, c = v[i - 1 : i + 2]
    return float(b + (c - a) ** 2 / (8.0 * (2.0 * b - a - c)))


def summit(v: Floats, melting: tuple[float, float]) -> float:
    """The crest, but the hottest cell alone where latent heat lies between it and a neighbour."""
    i = int(np.argmax(v))
    if 0 < i < len(v) - 1 and v[i] > melting[0] and min(v[i - 1], v[i + 1]) <= melting[1]:
        return float(v[i])
    return crest(v)


# ---------------------------------------------------------------- solvers

Rate = Callable[[float, Floats], Floats]
Event = Callable[[Floats], float]


def by_radau(
    rate: Rate, begin: float, end: float, y: Floats, event: Event
) -> tuple[Floats, Floats, bool]:
    def passes(t: float, y: Floats) -> float:
        return event(y)

    passes.terminal = True  # type: ignore[attr-defined]
    passes.direction = 1.0  # type: ignore[attr-defined]
    sol = solve_ivp(
        rate, (begin, end), y, method="Radau", rtol=1e-11, atol=1e-9, events=passes,
        first_step=min(1e-7, 0.1 * (end - begin)),
    )  # fmt: skip
    assert sol.success, sol.message
    return sol.t, sol.y.T, sol.status == 1


def by_cvode(
    rate: Rate, begin: float, end: float, y: Floats, event: Event
) -> tuple[Floats, Floats, bool]:
    def fill(t: float, y: Floats, out: Floats) -> None:
        out[:] = rate(t, y)

    def passes(t: float, y: Floats, out: Floats) -> None:
        out[0] = event(y)

    passes.terminal = [True]  # type: ignore[attr-defined]
    passes.direction = [1]  # type: ignore[attr-defined]
    solver = CVODE(
        fill, rtol=1e-10, atol=1e-8, eventsfn=passes, num_events=1, max_num_steps=200_000
    )
    sol = solver.solve(np.array([begin, end]), y)
    assert sol.success, sol.message
    # its list of event times runs on from solve to solve; the last time of the solution does not
    return sol.t, sol.y, bool(sol.t[-1] < end)


SOLVERS = {"Radau": by_radau, "CVODE": by_cvode}


@dataclass(frozen=True)
class Found:
    """Onset and parting [s], None where they do not happen, and the largest v [K]."""

    onset: float | None
    parted: float | None
    peak: float


def pieces_of(case: Case) -> Iterator[tuple[float, float, float, float]]:
    """Begin, end, and the currents there, of every straight piece."""
    scale = least(case.piece)
    for (a, i), (b, j) in itertools.pairwise(case.points):
        if b > a:
            yield a, b, i * scale, j * scale


def march(case: Case, side: RightSide, solver: str) -> Found:
    y, onset, peak = side.start, None, 0.0
    for begin, end, first, last in pieces_of(case):

        def rate(
            t: float, y: Floats, a: float = begin, b: float = end, i: float = first, j: float = last
        ) -> Floats:
            return side.rate((i + (j - i) * (t - a) / (b - a)) ** 2, y)

        at = begin
        while at < end:
            event = side.melts if onset is None else side.parts
            t, states, hit = SOLVERS[solver](rate, at, end, y, event)
            peak = max(peak, highest(side, rate, t, states))
            at, y = float(t[-1]), states[-1].copy()
            if hit and onset is None:
                onset = at
            elif hit:
                return Found(onset, at, peak)
    return Found(onset, None, peak)


def highest(side: RightSide, rate: Rate, t: Floats, states: Floats) -> float:
    """Largest v over the steps of a solver, between them by a cubic through states and rates."""
    tops = [summit(y[side.cells], side.melting) for y in states]
    i = int(np.argmax(tops))
    best = tops[i]
    for a, b in ((i - 1, i), (i, i + 1)):
        if a < 0 or b >= len(t):
            continue
        h, u, w = t[b] - t[a], states[a], states[b]
        f, g = rate(t[a], u), rate(t[b], w)

        def negative(
            x: float,
            h: float = h, u: Floats = u, w: Floats = w, f: Floats = f, g: Floats = g,
        ) -> float:  # fmt: skip
            up = x * x * (3.0 - 2.0 * x)
            inner = h * x * (1.0 - x) * ((1.0 - x) * f - x * g)
            return -summit((u + up * (w - u) + inner)[side.cells], side.melting)

        best = max(best, -float(minimize_scalar(negative, bounds=(0.0, 1.0), method="bounded").fun))
    return best


# ---------------------------------------------------------------- agreement


@lru_cache
def found(name: str) -> dict[str, Found]:
    """Onset, parting and peak of a case, by both solvers on both right sides."""
    case = CASES[name]
    piece = PIECES[case.piece]
    return {
        f"{solver}, {side.__name__}": march(case, side(piece), solver)
        for solver in SOLVERS
        for side in (Network, Apart)
    }


def ours(name: str, integrator: str, tolerance: float) -> Found:
    case = CASES[name]
    piece = PIECES[case.piece]
    run = simulate(
        piece.as_model(), case.wave(), ambient_c=AMBIENT_K - 273.15, cells=CELLS,
        integrator=integrator, tolerance=tolerance,
    )  # fmt: skip
    rise = run.onset_share * (piece.stuff.solidus - AMBIENT_K)
    return Found(run.onset_time, run.pre_arcing_time, AMBIENT_K + rise)


def differences(one: Found, other: Found) -> list[float]:
    """Relative differences of the times and of the rise of the peak."""
    out = [abs(one.peak - other.peak) / (other.peak - AMBIENT_K)]
    for a, b in ((one.onset, other.onset), (one.parted, other.parted)):
        assert (a is None) == (b is None)
        if a is not None and b is not None:
            out.append(abs(a - b) / b)
    return out


@pytest.mark.parametrize("name", CASES)
def test_independent_solvers_agree_with_each_other(name: str) -> None:
    reference, *others = found(name).values()
    assert (reference.parted is not None) == CASES[name].opens
    for other in others:
        assert max(differences(other, reference)) < 1e-6


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize(
    ("integrator", "tolerance"), [("rodas4", 1e-9), ("rodas4", 1e-7), ("rodas3", 1e-7)]
)
def test_onset_parting_and_peak_to_1e_5(name: str, integrator: str, tolerance: float) -> None:
    here = ours(name, integrator, tolerance)
    for other in found(name).values():
        assert max(differences(here, other)) < 1e-5


@pytest.mark.parametrize("name", [name for name, case in CASES.items() if case.opens])
def test_times_at_the_default_tolerance_to_a_quarter_per_mille(name: str) -> None:
    _, *times = differences(ours(name, "rodas3", 1e-4), found(name)["Radau, Apart"])
    assert max(times) < 2.5e-4


def test_a_difference_would_be_seen() -> None:
    # a conductivity off by 1e-4 moves the onset near the least current by more than asked for
    name = "1.1 x, plain zinc"
    piece = PIECES[CASES[name].piece]
    off = replace(piece, stuff=replace(piece.stuff, k=piece.stuff.k * (1.0 + 1e-4)))
    moved = march(CASES[name], Apart(off), "CVODE")
    assert max(differences(moved, found(name)["CVODE, Apart"])[1:]) > 1e-4
