"""The place a fuse sits in: its parts against their limits, and what may flow for long."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..current.waveform import Waveform
from ..errors import Note
from ..fuse.model import COPPER_CONDUCTIVITY, FuseModel, Side
from ..solver.network import Network, build_network
from ..solver.run import Run
from ..solver.steady import Branch, branch_of, steady_of
from ..units import REFERENCE_AMBIENT_C, kelvin

#: Share of the re-rated current a continuous load may take (common practice, no source).
CONTINUOUS_SHARE = 0.75
#: Terminal time constants after which a load counts as long: the holder's temperatures decide
#: as well, and its RMS is a continuous load. By one the blades of the demo's fuses have made
#: about .6 of their steady rise, too much to trust to a limit nobody stated.
TERMINAL_CONSTANTS = 1.0
#: Windows that begin within the length of one, and stretches of a record looked at in all, in
#: search of the largest RMS.
_OVERLAP, _LOOKS = 4, 4000
#: Part of the holder and the key of its limit in a definition; lower case in `Limits`.
LIMIT_KEYS = {
    "blade": "blade_C",
    "clip": "clip_C",
    "body": "body_C",
    "cable": "cable_insulation_C",
}


@dataclass(frozen=True, slots=True)
class Check:
    """One temperature against its limit.

    Attributes
    ----------
    name : str
        Part.
    value_c : float
        Highest temperature [degC].
    limit_c : float or None
        Limit [degC]; None where none is stated.
    """

    name: str
    value_c: float
    limit_c: float | None

    @property
    def ok(self) -> bool | None:
        """Whether the limit is kept; None without a limit."""
        return None if self.limit_c is None else self.value_c <= self.limit_c


def checks_of(run: Run) -> tuple[Check, ...]:
    """Blade, clip, body and cable of a run, as far as its model has them, against their limits."""
    peaks, limits = run.peak_node_temperature_c, run.question.model.limits
    found = []
    for part, key in LIMIT_KEYS.items():
        values = [v for name, v in peaks.items() if name.split("_")[0] == part]
        if values:
            found.append(Check(part, max(values), getattr(limits, key.lower())))
    return tuple(found)


def unlimited(checks: tuple[Check, ...], keys_of: str) -> Note | None:
    """Note on the parts whose limits are not stated, each by its key; None when all are.

    Parameters
    ----------
    checks : tuple of Check
        Parts the model has.
    keys_of : {"definition", "model"}
        Where the keys to state are.
    """
    missing = [check.name for check in checks if check.limit_c is None]
    if not missing:
        return None
    keys = [LIMIT_KEYS[part] for part in missing]
    place = "under [limits] of the definition"
    if keys_of == "model":
        keys, place = [key.lower() for key in keys], "in Limits of the model"
    parts = ", ".join("cable insulation" if part == "cable" else part for part in missing)
    return Note(
        "limits-missing",
        f"no temperature limit is stated for {parts}: state {', '.join(keys)} {place}",
    )


def terminal_time_constant(model: FuseModel) -> float:
    """Time constant of the slower side's terminal with the heat of its cable [s].

    Returns
    -------
    float
        Mean response time of a blade to heat set free in it; of the body where no side has
        a blade; 0 for a bare element between held ends.

    Notes
    -----
    With ``v`` the steady rise of each place over that of the blade, and ``G`` the conductance
    from the blade to ambient, the area over the step response of a linear network is
    ``tau = sum(C v²) / G`` (the first moment of its impulse response; Elmore 1948, from
    memory). The cable, a fin of ``m = sqrt(g / (k A))`` with an adiabatic end, adds

        ``C = c' [tanh(m l) / (2 m) + l / (2 cosh²(m l))]``

    per squared rise of the clip. The last part of a step response is slower, ``c' / g``, the
    cable's own; by then the terminal has nearly arrived.
    """
    constants = [_constant_of(side) for side in (model.left, model.right)]
    longest = max(constants)
    body = model.body
    if longest == 0.0 and body is not None and body.conductance > 0.0:
        return body.heat_capacity / body.conductance
    return longest


def _constant_of(side: Side) -> float:
    if side.blade is None:
        return 0.0
    capacity, conductance = side.blade.heat_capacity, side.blade.to_ambient
    if side.clip is not None and side.contact is not None:
        outer, leaving = side.clip.heat_capacity, side.clip.to_ambient
        if side.cable is not None:
            cable, loss = side.cable, side.cable.loss_per_length
            m = math.sqrt(loss / (COPPER_CONDUCTIVITY * cable.section))
            bent = math.tanh(m * cable.length)
            leaving += loss * bent / m
            held = bent / (2.0 * m) + 0.5 * cable.length * (1.0 - bent * bent)
            outer += cable.heat_capacity_per_length * held
        through = side.contact.conductance
        share = through / (through + leaving)
        capacity += share * share * outer
        conductance += share * leaving
    return capacity / conductance if conductance > 0.0 else 0.0


@dataclass(frozen=True)
class Site:
    """A model at an ambient: what it carries for ever, and what may flow for long.

    Parameters
    ----------
    model : FuseModel
    ambient_c : float
        Ambient [degC].
    cells : int
        Cells of the element.
    """

    model: FuseModel
    ambient_c: float
    cells: int

    @cached_property
    def ambient_k(self) -> float:
        """Ambient [K]."""
        return kelvin(self.ambient_c, "ambient")

    @cached_property
    def network(self) -> Network:
        """Network of the model."""
        return build_network(self.model, ambient_k=self.ambient_k, cells=self.cells)

    @cached_property
    def branch(self) -> Branch:
        """Its steady states."""
        return branch_of(self.network, self.ambient_k)

    def carries(self, current: float) -> bool:
        """Whether a steady state exists at a current [A]."""
        return current == 0.0 or current * current <= self.branch.largest

    @cached_property
    def continuous_limit(self) -> float | None:
        """Three quarters of the rated current, re-rated at equal hot spot [A]."""
        model = self.model
        if model.rated_current is None:
            return None
        reference = Site(model, REFERENCE_AMBIENT_C, self.cells)
        rated = steady_of(reference.network, model.rated_current, reference.ambient_k)
        # a connection in which the rating itself melts the fuse: re-rate at the melting point
        metal = self.network.metal
        solidus_k = model.element.metal.solidus_k
        hot_k = solidus_k if rated is None else kelvin(rated.peak_temperature_c)
        hot, cold = metal.state(min(hot_k, solidus_k - 1e-3)), metal.state(self.ambient_k)
        if hot <= cold:
            return 0.0
        targets = np.concatenate(([cold], self.branch.targets))
        squares = np.concatenate(([0.0], self.branch.squares))
        return CONTINUOUS_SHARE * math.sqrt(float(np.interp(hot, targets, squares)))


def lasting_current(capture: Waveform, window: float) -> float:
    """Largest RMS of a waveform over a window of time [A]; 0 where it is shorter than that.

    Parameters
    ----------
    capture : Waveform
    window : float
        Length of the window [s].

    Notes
    -----
    Windows begin a quarter of their length apart. Of a long record those of the heaviest
    stretches are looked at first: a stretch is halved, the half with the larger mean square
    next, and one that cannot hold a heavier window than the best is dropped.
    """
    span = capture.duration
    if window <= 0.0 or span < window:
        return 0.0
    count = max(math.ceil(_OVERLAP * (span - window) / window), 1)
    starts = span - window

    def heat(first: int, last: int) -> float:
        """Joule integral of all windows that begin from one start to another."""
        return capture.i2t(starts * (first / count), starts * (last / count) + window)

    best, looks = 0.0, 0
    stretches = [(-1.0, capture.i2t(), 0, count)]
    while stretches and looks < _LOOKS:
        _, whole, first, last = heapq.heappop(stretches)
        if whole <= best:
            continue
        if first == last:
            best = whole
            continue
        middle = (first + last) // 2
        for a, b in ((first, middle), (middle + 1, last)):
            looks += 1
            part = heat(a, b)
            length = starts * ((b - a) / count) + window
            heapq.heappush(stretches, (-part / length, part, a, b))
    return math.sqrt(best / window)
