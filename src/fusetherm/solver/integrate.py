"""Two integrators behind one face: the compiled Rosenbrock stepper and scipy's solvers.

Both take the same network and the same blocks of squared current, and give a `Solution`.
The scipy path goes segment by segment, so that it cannot step over a pulse either; it is
the reference, and refuses waveforms of very many segments.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NoReturn, Protocol

import numpy as np
import numpy.typing as npt

from ..current.trains import Train
from ..errors import InputError, SolveError
from .kernels import advance as loop
from .kernels.arrow import SPIKE
from .kernels.assemble import ROWS, G, assemble
from .kernels.events import hottest
from .kernels.layout import POSITION, U_SOLIDUS, Setting
from .kernels.rosenbrock import SCALAR_ROWS, STAGE, Scratch
from .methods import METHODS
from .network import Network

Floats = npt.NDArray[np.float64]

#: Integrators by name.
INTEGRATORS = ("rodas3", "rodas4", "LSODA", "BDF", "Radau")
#: Accepted steps a kernel call may take before it returns (progress, Ctrl-C).
STEP_BUDGET = 20_000
#: Rows of the trace buffer.
TRACE_ROWS = 4096
#: Swing inside a step that may be averaged away at a tolerance of 1e-4 and above, in proportion
#: less below it, since it leaves an error behind [K]; over whole periods, where the half swing is
#: added back to the peak [K].
RIPPLE_BOUND = 0.3
PERIODIC_BOUND = 2.0
#: Scale of the error test [K]: error <= tolerance * (ERROR_SCALE + rise above ambient).
ERROR_SCALE = 150.0


class Block(Protocol):
    """Squared current of a stretch of time, see fusetherm.current."""

    @property
    def time(self) -> Floats: ...
    @property
    def s0(self) -> Floats: ...
    @property
    def s1(self) -> Floats: ...
    @property
    def s2(self) -> Floats: ...
    @property
    def repeats(self) -> int: ...
    @property
    def start(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Ambient:
    """Ambient temperature against time: straight between points, constant outside.

    Parameters
    ----------
    time : (m,) [s]
    temperature_k : (m,) [K]
    """

    time: Floats
    temperature_k: Floats

    def pieces(self, start: float, end: float) -> Iterator[tuple[float, float, float]]:
        """(end, temperature at the piece's start, rate) of straight pieces over start..end."""
        if len(self.time) == 1:
            yield end, float(self.temperature_k[0]), 0.0
            return
        inner = self.time[(self.time > start) & (self.time < end)]
        edges = [start, *inner.tolist(), end]
        for a, b in itertools.pairwise(edges):
            t_a = float(np.interp(a, self.time, self.temperature_k))
            t_b = float(np.interp(b, self.time, self.temperature_k))
            yield b, t_a, (t_b - t_a) / (b - a)

    @property
    def first_k(self) -> float:
        """Ambient at the start [K]."""
        if len(self.time) == 1:
            return float(self.temperature_k[0])
        return float(np.interp(0.0, self.time, self.temperature_k))


@dataclass(frozen=True, slots=True)
class Solution:
    """What an integrator returns; times in seconds, temperatures in kelvin.

    ``trace`` has one row an accepted step: time, I² [A²], hottest point [K], resistance of
    the chain and of the element [ohm], then the temperatures of the watched nodes [K].
    """

    trace: Floats
    watched: tuple[str, ...]
    state: Floats
    peak_state: Floats
    onset_time: float | None
    bridge_time: float | None
    parted_time: float | None
    end_time: float
    peak_k: float
    peak_u: float
    peak_time: float
    peak_position: float
    joule: float
    lost: float
    stored: float
    electric: float
    action: float
    ripple: float
    steps: int
    rejected: int
    ambient_k: float
    heat_capacity: float  # of all nodes together [J/K]
    jumped: int = 0  # cycles of long repeats that were not simulated

    @property
    def conservation(self) -> float:
        """``|made - lost - stored| / (made + |stored|)``, heats [-].

        The denominator is at least the heat of a millikelvin in every node: below that there
        is nothing to balance but rounding.
        """
        return float(imbalance(self.joule, self.lost, self.stored, self.heat_capacity))

    @property
    def electrical_balance(self) -> float:
        """``|work - lost - stored| / (work + |stored|)``, work int I V dt by quadrature [-].

        Denominator as in `conservation`.
        """
        return float(imbalance(self.electric, self.lost, self.stored, self.heat_capacity))


def imbalance(made: Any, lost: Any, stored: Any, heat_capacity: float) -> Any:
    """``|made - lost - stored| / (made + |stored|)`` of heats [J]; numbers or arrays.

    The denominator is at least the heat of a millikelvin in every node [J/K].
    """
    scale = np.maximum(np.abs(made) + np.abs(stored), 1e-3 * heat_capacity)
    return np.abs(made - lost - stored) / scale


def enthalpy_share(u: Any, cold: Any, goal: Any) -> Any:
    """Rise of u from cold over that to a goal [-]; numbers or arrays."""
    return (u - cold) / (goal - cold)


Progress = Callable[[float], None]


def setting_of(network: Network, tolerance: float, to_onset: bool = False) -> Setting:
    """What stays fixed during a run of this network."""
    element = network.model.element
    return Setting(
        first=network.first,
        last=network.last,
        bridges=len(element.bridges()),
        break_length=element.parting_length,
        capillary_time=element.capillary_time,
        tolerance=tolerance,
        floor=ERROR_SCALE,
        ripple_bound=ripple_bound(tolerance),
        periodic_bound=PERIODIC_BOUND,
        to_onset=int(to_onset),
    )


def ripple_bound(tolerance: float) -> float:
    """Swing inside a step that may be averaged away at a tolerance [K]."""
    return RIPPLE_BOUND * min(1.0, tolerance / 1e-4)


def scratch_of(network: Network, stages: int) -> Scratch:
    """Working arrays of one run."""
    total, k, n = network.size, network.shared, network.chain
    return Scratch(
        work=np.zeros((2, ROWS, total)),
        vector=np.zeros((STAGE + stages, total)),
        border=np.zeros((2, k, n)),
        square=np.zeros((2, k, k)),
        lu=np.zeros((SPIKE + 2 * k, total)),
        scalar=np.zeros((SCALAR_ROWS, max(k, stages, 2))),
    )


def assembled(
    network: Network, u: Floats, ambient_k: float, z: Scratch, *, jacobian: bool = False
) -> tuple[float, float]:
    """Heat lost [W] and resistance of the chain [ohm] at a state.

    Parameters
    ----------
    network : Network
    u : (N,) array
        State [K].
    ambient_k : float
        [K]
    z : Scratch
        Its first assembly is filled, and with `jacobian` its border and corner.
    """
    loss, ohms = assemble(
        u, ambient_k, network.arrays, z.work[0], z.border[0], z.border[1], z.square[0],
        float(jacobian), 0.0,
    )  # fmt: skip
    return float(loss), float(ohms)


def sensitivity(network: Network) -> float:
    """Fastest rise of u in the element for a Joule integral, at the melting point [K/(A² s)]."""
    cells = slice(network.first, network.last + 1)
    u = np.full(network.size, network.metal.scalars[U_SOLIDUS])
    z = scratch_of(network, 1)
    assembled(network, u, network.ambient_k, z)
    return float(z.work[0, G, cells].max())


@dataclass(frozen=True, slots=True)
class ConstantBlock:
    """A stretch of constant current.

    Parameters
    ----------
    squared : float
        I² [A²].
    duration, start : float
        Length and first instant [s].
    """

    squared: float
    duration: float
    start: float
    repeats: int = 1

    @property
    def time(self) -> Floats:
        """Breakpoints [s]."""
        return np.array([0.0, self.duration])

    @property
    def s0(self) -> Floats:
        """I² [A²]."""
        return np.array([self.squared])

    @property
    def s1(self) -> Floats:
        """Slope of I² [A²/s]."""
        return np.zeros(1)

    @property
    def s2(self) -> Floats:
        """Half the second derivative of I² [A²/s²]."""
        return np.zeros(1)


def check_tolerance(tolerance: float) -> None:
    """Refuse a tolerance that no integrator can meet or that says nothing."""
    if not 0.0 < tolerance <= 0.1:
        raise InputError(
            "tolerance-out-of-range", f"tolerance is {tolerance}", expected="above 0, at most .1"
        )


def integrate(
    network: Network,
    blocks: Iterator[Block | Train],
    start: Floats,
    ambient: Ambient,
    *,
    until: float,
    tolerance: float,
    integrator: str,
    progress: Progress | None = None,
    jump: bool = True,
    peaks: bool = False,
    to_onset: bool = False,
) -> Solution:
    """Integrate a network through blocks of squared current.

    Parameters
    ----------
    network : Network
    blocks : iterator of Block or Train
        Contiguous from time 0; trains for the compiled integrators only.
    start : (N,) array
        State at time 0 [K].
    ambient : Ambient
    until : float
        Time at which to stop [s].
    tolerance : float
        Error a step, relative to 150 K plus the rise.
    integrator : str
        One of `INTEGRATORS`.
    progress : callable, optional
        Called with the time reached [s].
    jump : bool
        Jump over cycles of long repeats; the compiled integrators only.
    peaks : bool
        Keep only the rows of the trace in which something is at its highest; the compiled
        integrators only.
    to_onset : bool
        End where melting begins.

    Returns
    -------
    Solution

    Raises
    ------
    SolveError
        When the step size collapses or a value is not finite.
    InputError
        When the integrator is unknown, or refuses the waveform.
    """
    if integrator not in INTEGRATORS:
        raise InputError(
            "unknown-integrator",
            f"integrator {integrator!r}",
            expected="one of " + ", ".join(INTEGRATORS),
        )
    check_tolerance(tolerance)
    if integrator in METHODS:
        from .walk import walked

        return walked(
            network, blocks, start, ambient, until, tolerance, integrator, progress, jump, peaks,
            to_onset,
        )  # fmt: skip
    from .reference import integrate_with_scipy

    plain = (block for block in blocks if not isinstance(block, Train))
    return integrate_with_scipy(
        network, plain, start, ambient, until, tolerance, integrator, progress, to_onset
    )


def fresh_clock(ambient: Ambient) -> Floats:
    clock = np.zeros(loop.CLOCK_SIZE)
    clock[loop.ONSET_TIME : loop.PARTED_TIME + 1] = np.nan
    clock[loop.PEAK_U] = -np.inf
    clock[loop.AMBIENT] = ambient.first_k
    return clock


def raise_nothing() -> NoReturn:
    raise InputError(
        "waveform-without-duration",
        "the waveform has no duration",
        expected="a waveform, or an `until`",
    )


def raise_stalled(network: Network, solution: Solution, u: Floats, outcome: int) -> None:
    hot, _, _ = hottest(u, network.first, network.last, network.arrays.node[POSITION])
    squared = float(solution.trace[-1, loop.ROW_SQUARED])
    last = "at the first step" if solution.steps == 0 else f"{np.sqrt(max(squared, 0.0)):.4g} A"
    what = "the step size collapsed" if outcome == loop.STALLED else "a value is not finite"
    raise SolveError(
        "solver-stalled",
        f"{what} at {solution.end_time:.6g} s, element cell {hot - network.first}, "
        f"{solution.trace[-1, loop.ROW_PEAK] - 273.15:.1f} °C, {last}",
        run=solution,
        expected="a finite state",
        mend="check sizes and currents of the model; a looser tolerance seldom helps",
    )


def solution_of(
    network: Network,
    clock: Floats,
    count: npt.NDArray[np.int64],
    trace: Floats,
    names: tuple[str, ...],
    u: Floats,
    peak_state: Floats,
    start: Floats,
    jumped: int = 0,
) -> Solution:
    now = clock.tolist()
    heat = network.heat_capacity

    def when(index: int) -> float | None:
        return None if math.isnan(now[index]) else now[index]

    return Solution(
        trace=trace,
        watched=names,
        state=u,
        peak_state=peak_state,
        onset_time=when(loop.ONSET_TIME),
        bridge_time=when(loop.BRIDGE_TIME),
        parted_time=when(loop.PARTED_TIME),
        end_time=float(trace[-1, loop.ROW_TIME]),
        peak_k=now[loop.PEAK_T],
        peak_u=now[loop.PEAK_U],
        peak_time=now[loop.PEAK_TIME],
        peak_position=now[loop.PEAK_X],
        joule=now[loop.JOULE],
        lost=now[loop.LOST],
        stored=float(np.dot(heat, u - start)),
        electric=now[loop.ELECTRIC],
        action=now[loop.ACTION],
        ripple=now[loop.RIPPLE],
        steps=int(count[loop.STEPS]),
        rejected=int(count[loop.REJECTED]),
        ambient_k=now[loop.AMBIENT],
        heat_capacity=float(heat.sum()),
        jumped=jumped,
    )
