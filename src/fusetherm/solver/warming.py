"""Compiling ahead: small runs that touch every kernel, so that no later run waits for one."""

from __future__ import annotations

import subprocess
import sys

import numpy as np

from ..compiled import prepare
from ..current.trains import Train
from ..current.waveform import Waveform
from ..fuse.element import round_wire
from ..fuse.model import FuseModel
from ..physics.metals import metal
from .batch import Scenario, run_lanes
from .integrate import Ambient, ConstantBlock, fresh_clock, integrate, setting_of
from .kernels.advance import note_peak
from .kernels.events import ONSET, event_share
from .network import build_network
from .pieces import piece_of
from .run import simulate
from .steady import minimum_fusing_current, steady_state


def _wire() -> FuseModel:
    return FuseModel(element=round_wire(metal("copper"), 1e-4, 0.02), name="warm")


def _still(ambient_k: float) -> Ambient:
    return Ambient(np.array([0.0]), np.array([ambient_k]))


def exercise() -> None:
    """Run every kernel once: transient, melting, steady state, start, repeats."""
    model = _wire()
    least = minimum_fusing_current(model, ambient_c=23.0)
    steady_state(model, 0.5 * least, ambient_c=23.0)
    pulse = Waveform(time=[0.0, 0.5, 0.5, 60.0], current=[least, least, 4 * least, 4 * least])
    for integrator in ("rodas3", "rodas4"):
        simulate(model, pulse, start=0.3 * least, integrator=integrator)
    simulate(model, pulse.scaled(0.1).repeated(1000, period=100.0))


def exercise_lanes() -> None:
    """Run what follows several runs side by side, for sweeps."""
    network = build_network(_wire(), ambient_k=296.15, cells=8)
    course = Waveform(time=[0.0, 0.1], current=[0.1, 0.1]).blocks()
    pieces = tuple(piece_of(block) for block in course if not isinstance(block, Train))
    run_lanes([Scenario(network, pieces, 1.0, network.state(296.15), 0.1)], tolerance=1e-3)


def exercise_events() -> None:
    """Compile what finds events and peaks, which the stepping loop needs last."""
    network = build_network(_wire(), ambient_k=296.15, cells=8)
    setting = setting_of(network, 1e-4)
    cold, hot = network.state(296.15), network.state(296.15) + 2000.0
    rate, out = hot - cold, np.zeros(network.size)
    prepare(event_share, ONSET, 1.0, cold, rate, hot, rate, network.arrays, setting, out)
    clock = fresh_clock(_still(296.15))
    prepare(note_peak, cold, 0.0, 0.0, setting, network.arrays, clock)


def exercise_aside(everything: bool = False) -> None:
    """Compile events and then the stepping loop, while another process compiles the rest.

    What one compiles the other waits for, so that nothing is compiled twice.

    Parameters
    ----------
    everything : bool
        Compile all that single runs need, where the other has the long kernel of sweeps to compile.
    """
    exercise_events()
    # not by `simulate`, which asks for a steady state first: the other process compiles that
    network, ambient = build_network(_wire(), ambient_k=296.15, cells=8), _still(296.15)
    block = ConstantBlock(0.01, 0.1, 0.0)
    integrate(
        network, iter((block,)), network.state(296.15), ambient, until=0.1, tolerance=1e-3,
        integrator="rodas3",
    )  # fmt: skip
    if everything:
        exercise()


def begin_aside(everything: bool = False) -> subprocess.Popen[bytes]:
    """Let a second process compile a part meanwhile, and return it; both write to one cache.

    Nothing depends on it: a kernel that is not there when it is needed is compiled as usual.

    Parameters
    ----------
    everything : bool
        As of `exercise_aside`.
    """
    code = f"from fusetherm.solver.warming import exercise_aside as run; run({everything})"
    quiet = subprocess.DEVNULL
    return subprocess.Popen([sys.executable, "-c", code], stdin=quiet, stdout=quiet, stderr=quiet)
