"""The networks, and every solver that goes from cold to the onset of melting on them.

A peer's answer is a time. It has variants, which are what a careful user would try: how the
Jacobian is given, the scale of the absolute tolerance, the highest order. All run in one
thread, on the same compiled right side, Jacobian and event (`callbacks.py`).
"""

from __future__ import annotations

import importlib.util
import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.integrate import odeint, solve_ivp
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.sparse import csc_matrix

from fusetherm import Element, FuseModel, Section, metal, minimum_fusing_current
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side
from fusetherm.solver.integrate import Ambient, ConstantBlock, integrate
from fusetherm.solver.network import build_network

from .callbacks import Callbacks, band_jacobian, dense_jacobian, excess, machine_code, rate
from .compiled_cvode import Session, library
from .ngspice import Circuit
from .ngspice import missing as no_ngspice

Floats = npt.NDArray[np.float64]
Variant = Mapping[str, Any]

AMBIENT_C = 23.0
AMBIENT_K = AMBIENT_C + 273.15
STRIP = (
    Section(4e-3, 3e-3, 0.3e-3),
    Section(2e-3, 1e-3, 0.3e-3),
    Section(4e-3, 3e-3, 0.3e-3),
)
_TERMINAL = Side(Blade(2.0, 0.15))
_FEED = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
#: "reference": a zinc strip of 10 mm with a notch of one third of the section, two terminals and
#: a body. "full": clips, contacts, cables and radiation besides.
NETWORKS = {
    "reference": FuseModel(
        Element(metal("zinc"), STRIP, spreading=False), Body(), _TERMINAL, _TERMINAL
    ),
    "full": FuseModel(Element(metal("zinc"), STRIP), Body(element_emissivity=0.1), _FEED, _FEED),
}
#: Absolute tolerances over the relative one [K].
SCALES = (300.0, 30.0)


class Case:
    """One network and mesh under a constant current, from cold to the onset of melting.

    Parameters
    ----------
    network : str
        One of `NETWORKS`.
    cells : int
        Of the element.
    factor : float
        Current over the minimum fusing current.
    """

    def __init__(self, network: str, cells: int, factor: float = 1.2) -> None:
        model = NETWORKS[network]
        self.current = factor * minimum_fusing_current(model, ambient_c=AMBIENT_C, cells=cells)
        self.net = build_network(model, ambient_k=AMBIENT_K, cells=cells)
        self.cold = self.net.state(AMBIENT_K)
        self.ambient = Ambient(np.array([0.0]), np.array([AMBIENT_K]))
        self.callbacks = Callbacks(self.net, self.current**2)
        self.far = 1e4  # end of those that stop at the onset by themselves
        self.exact = self.ours(1e-9, {"integrator": "rodas4"})
        self.far = 1.5 * self.exact
        self.within(1e-3)
        size, where = self.net.size, self.callbacks.data
        self._sessions: dict[str, Session] = {}
        self._circuit: Circuit | None = None
        state, out = np.empty(size), np.empty(size)
        dense, bands = np.zeros((size, size)), np.zeros((3, size))
        i = np.arange(size)
        n = self.net.chain
        pattern = (np.abs(i[:, None] - i[None, :]) < 2) | (i[:, None] >= n) | (i[None, :] >= n)
        self._pattern = np.nonzero(pattern.T)  # by columns

        # copies, since some callers hand out read-only arrays: another type to the compiler
        def right(t: float, y: Any) -> Floats:
            state[:] = y
            rate(state, out, where)
            return out.copy()

        def slopes(t: float, y: Any) -> Floats:
            state[:] = y
            dense_jacobian(state, dense, where)
            return dense

        def narrow(t: float, y: Any) -> Floats:
            state[:] = y
            band_jacobian(state, bands, where)
            return bands

        columns, rows = self._pattern
        starts = np.searchsorted(columns, np.arange(size + 1))

        def sparse(t: float, y: Any) -> Any:
            return csc_matrix((slopes(t, y)[rows, columns], rows, starts), shape=(size, size))

        def onset(t: float, y: Any) -> float:
            state[:] = y
            return float(excess(state, where))

        onset.terminal = True  # type: ignore[attr-defined]
        self.right, self.slopes, self.narrow, self.sparse = right, slopes, narrow, sparse
        self.onset = onset

    def within(self, error: float) -> None:
        """End runs that do not stop by themselves at the onset plus twice an error, relative."""
        self.span = (1.0 + 2.0 * error) * self.exact

    # ------------------------------------------------------------------ the solvers

    def ours(self, tolerance: float, how: Variant) -> float:
        """The package's integrator, with trace and quadratures, to the onset."""
        block = ConstantBlock(self.current**2, self.far, 0.0)
        solution = integrate(
            self.net, iter((block,)), self.cold, self.ambient, until=self.far,
            tolerance=tolerance, integrator=how["integrator"], to_onset=True,
        )  # fmt: skip
        return float("nan") if solution.onset_time is None else solution.onset_time

    def scipy(self, tolerance: float, how: Variant) -> float:
        """scipy's `solve_ivp`."""
        jacobian = {"none": None, "dense": self.slopes, "band": self.narrow, "sparse": self.sparse}
        more: dict[str, Any] = {"lband": 1, "uband": 1} if how.get("bands") else {}
        sol = solve_ivp(
            self.right, (0.0, self.far), self.cold, method=how["method"], rtol=tolerance,
            atol=tolerance * how["scale"], events=self.onset, jac=jacobian[how["jacobian"]],
            **more,
        )  # fmt: skip
        return float(sol.t_events[0][0]) if len(sol.t_events[0]) else float("nan")

    def odeint(self, tolerance: float, how: Variant) -> float:
        """scipy's older `odeint`: Fortran from output to output, here a few about the onset."""
        times = self._about_the_onset
        y, info = odeint(
            self.right, self.cold, times, Dfun=self.narrow, ml=1, mu=1, rtol=tolerance,
            atol=tolerance * how["scale"], tfirst=True, full_output=True, mxstep=100_000,
        )  # fmt: skip
        done = info["message"].startswith("Integration successful")
        return self._crossing(times, y) if done else float("nan")

    def numbalsoda(self, tolerance: float, how: Variant) -> float:
        """LSODA in C++ with compiled right side; it has no events and no Jacobian."""
        from numbalsoda import lsoda

        times = self._about_the_onset
        y, good = lsoda(
            machine_code()["right"].address, self.cold, times, self.callbacks.data,
            tolerance, tolerance * how["scale"], 100_000,
        )  # fmt: skip
        return self._crossing(times, y) if good else float("nan")

    @property
    def _about_the_onset(self) -> Floats:
        near = np.array([0.997, 0.998, 0.999, 1.0, 1.001])
        return np.concatenate(([0.0], near * self.exact))

    def _crossing(self, times: Floats, states: Floats) -> float:
        """Onset between outputs, by a cubic through them."""
        values = [self.onset(t, y) for t, y in zip(times[1:], states[1:], strict=True)]
        if not values[0] < 0.0 < values[-1]:
            return float("nan")
        curve = CubicSpline(times[1:], values)
        for i, (a, b) in enumerate(itertools.pairwise(values)):
            if a < 0.0 <= b:
                return float(brentq(curve, times[1 + i], times[2 + i]))
        return float("nan")

    def cvode_python(self, tolerance: float, how: Variant) -> float:
        """CVODE of scikit-sundae, with callbacks through Python."""
        from sksundae.cvode import CVODE

        where, state, out = self.callbacks.data, np.empty(self.net.size), np.empty(self.net.size)
        bands = np.zeros((3, self.net.size))
        i = np.arange(self.net.size)

        def right(t: float, y: Any, into: Any) -> None:
            state[:] = y
            rate(state, out, where)
            into[:] = out

        def slopes(t: float, y: Any, yp: Any, into: Any) -> None:
            into[:] = self.slopes(t, y)

        def narrow(t: float, y: Any, yp: Any, into: Any) -> None:
            state[:] = y
            band_jacobian(state, bands, where)
            into[i, i], into[i[1:], i[:-1]] = bands[1], bands[2, :-1]
            into[i[:-1], i[1:]] = bands[0, 1:]

        def onset(t: float, y: Any, into: Any) -> None:
            state[:] = y
            into[0] = excess(state, where)

        onset.terminal = [True]  # type: ignore[attr-defined]
        solver: dict[str, Any] = {"linsolver": how["solver"]}
        if how["solver"] == "band":
            solver |= {"lband": 1, "uband": 1}
        if how["jacobian"]:
            solver["jacfn"] = narrow if how["solver"] == "band" else slopes
        sol = CVODE(
            right, rtol=tolerance, atol=tolerance * how["scale"], eventsfn=onset, num_events=1,
            max_order=how["order"], max_num_steps=100_000, **solver,
        ).solve(np.array([0.0, self.far]), self.cold)  # fmt: skip
        # the list of events goes on from solve to solve; the solution ends at this one
        end = float(sol.t[-1])
        return end if abs(self.onset(end, sol.y[-1])) < 0.5 else float("nan")

    def cvode_compiled(self, tolerance: float, how: Variant) -> float:
        """CVODE with callbacks in machine code."""
        kind = how["solver"]
        if kind not in self._sessions:
            self._sessions[kind] = Session(self.callbacks, self.current**2, kind)
        return self._sessions[kind].onset(
            self.cold, self.far, tolerance, tolerance * how["scale"], order=how["order"],
            set_up_every=how["set_up_every"],
        )  # fmt: skip

    def ngspice(self, tolerance: float, how: Variant) -> float:
        """ngspice on a circuit of behavioural sources."""
        return self._as_circuit.onset(self.span, tolerance, how)

    def ngspice_seconds(self, tolerance: float, how: Variant) -> float:
        """Processor time of its analysis [s]."""
        return self._as_circuit.seconds(self.span, tolerance, how)

    @property
    def _as_circuit(self) -> Circuit:
        if self._circuit is None:
            block = ConstantBlock(self.current**2, self.exact, 0.0)
            there = integrate(
                self.net, iter((block,)), self.cold, self.ambient, until=self.exact,
                tolerance=1e-6, integrator="rodas4",
            )  # fmt: skip
            cells = there.state[self.net.first : self.net.last + 1]
            hot = self.net.first + int(np.argmax(cells))
            self._circuit = Circuit(self.net, self.current**2, self.cold, hot)
        return self._circuit


#: Tolerances tried, a quarter of a decade apart, and half of one for processes of their own.
GRID = tuple(10.0 ** (-k / 4) for k in range(8, 41))
COARSE = tuple(10.0 ** (-k / 2) for k in range(10, 18))


@dataclass(frozen=True)
class Peer:
    """A solver with the settings tried for it.

    Parameters
    ----------
    name : str
        As the tables have it.
    run : callable
        Of a case, a tolerance and a variant: time of the onset [s].
    variants : tuple of mapping
        Tried one by one, each with its cheapest tolerance.
    missing : str
        Why it cannot run here; empty when it can.
    seconds : callable, optional
        Its time [s], of the same arguments, when it is not this thread's.
    grid : tuple of float
        Tolerances tried, from loose to tight.
    most_cells : int
        Largest mesh tried.
    """

    name: str
    run: Callable[[Case, float, Variant], float]
    variants: tuple[Variant, ...]
    missing: str = ""
    seconds: Callable[[Case, float, Variant], float] | None = None
    grid: tuple[float, ...] = GRID
    most_cells: int = 1_000_000


def grid(**choices: tuple[Any, ...]) -> tuple[Variant, ...]:
    """Every combination of some choices."""
    return tuple(
        dict(zip(choices, one, strict=True)) for one in itertools.product(*choices.values())
    )


def _absent(module: str, package: str) -> str:
    return "" if importlib.util.find_spec(module) else f"{package} is not installed"


def _scipy(method: str, jacobians: tuple[str, ...], bands: bool = False) -> tuple[Variant, ...]:
    return grid(method=(method,), jacobian=jacobians, scale=SCALES, bands=(bands,))


OURS = "fusetherm"
LSODA = "LSODA, Jacobian"
CVODE_PYTHON = "CVODE, Python callbacks"
CVODE_COMPILED = "CVODE, compiled"


def peers() -> tuple[Peer, ...]:
    """Ourselves first, then every peer, also those that cannot run here."""
    no_sundae = _absent("sksundae", "scikit-sundae")
    built = library()
    compiled = []
    for kind, text in (
        ("arrow", "our own O(n) elimination"),
        ("KLU", "KLU, sparse"),
        ("band", "band, border left out"),
        ("dense", "dense"),
    ):
        absent = "" if kind in built.kinds else built.said if not built.handle else "KLU is missing"
        variants = grid(solver=(kind,), scale=SCALES, order=(5, 4, 3), set_up_every=(20, 5))
        compiled.append(Peer(f"{CVODE_COMPILED}: {text}", Case.cvode_compiled, variants, absent))
    return (
        Peer(OURS, Case.ours, grid(integrator=("rodas3", "rodas4"))),
        Peer(f"{LSODA}, dense", Case.scipy, _scipy("LSODA", ("dense",))),
        Peer(f"{LSODA}, band", Case.scipy, _scipy("LSODA", ("band",), bands=True)),
        Peer(
            "LSODA, differences",
            Case.scipy,
            _scipy("LSODA", ("none",)) + _scipy("LSODA", ("none",), bands=True),
        ),
        Peer("LSODA by odeint, band", Case.odeint, grid(scale=SCALES)),
        Peer("BDF, Jacobian", Case.scipy, _scipy("BDF", ("dense", "sparse"))),
        Peer("Radau, Jacobian", Case.scipy, _scipy("Radau", ("dense", "sparse"))),
        Peer(
            f"{CVODE_PYTHON}: band", Case.cvode_python,
            grid(solver=("band",), jacobian=(True, False), scale=SCALES, order=(5, 3)), no_sundae,
        ),
        Peer(
            f"{CVODE_PYTHON}: dense", Case.cvode_python,
            grid(solver=("dense",), jacobian=(True, False), scale=SCALES, order=(5, 3)), no_sundae,
        ),
        *compiled,
        Peer(
            "numbalsoda", Case.numbalsoda, grid(scale=SCALES),
            _absent("numbalsoda", "numbalsoda"),
        ),
        Peer(
            "ngspice", Case.ngspice,
            grid(method=("gear", "trap"), maxord=(2,), trtol=(1, 7), scale=(300.0,)),
            no_ngspice(), Case.ngspice_seconds, COARSE, 64,
        ),
    )  # fmt: skip


def versions() -> dict[str, str]:
    """Versions of the solvers and of what they were compiled with."""
    found = {}
    for name in ("fusetherm", "numpy", "scipy", "numba", "scikit-sundae", "numbalsoda"):
        try:
            found[name] = version(name)
        except ImportError:
            continue
    if library().handle is not None:
        found["SUNDIALS with compiled callbacks"] = library().said
    return found
