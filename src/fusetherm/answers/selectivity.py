"""Selectivity: of two fuses in series on one fault, does the downstream one open alone."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from ..calibration.unit_spread import UNIT_SPREAD
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..fuse.model import FuseModel
from ..labelled import described
from ..solver.integrate import Ambient, ConstantBlock, integrate
from ..solver.network import Network, build_network
from ..solver.run import simulate
from ..solver.steady import branch_of, steady_of
from ..threads import each
from ..units import REFERENCE_AMBIENT_C, ambient_notes, kelvin, takes
from ..written import measure, seconds
from .curve import LONGEST, TOLERANCE, time_current_curve
from .late import ARC_COUNTS, EDGE_QUANTILE, Arc, late_factors
from .record_remarks import clipped
from .subject import ConnectionName, Subject, cells_of, model_of, refuse_molten, subject_notes

if TYPE_CHECKING:
    from ..labelled import Dataset

Floats = npt.NDArray[np.float64]
#: What is found at one current, or for one capture.
State = Literal["selective", "overlap", "upstream", "neither", "not_shown", "clipped"]
Verdict = Literal["selective", "not_selective", "not_shown"]

#: Currents between the downstream fuse's minimum fusing current and the prospective one.
POINTS = 40
#: How far below the former they begin, as a share.
_BEGIN = 0.95
_SAID = {
    "selective": "the downstream fuse opens, the upstream one stays whole",
    "overlap": "either may open: the bands overlap",
    "upstream": "the upstream fuse opens first",
    "neither": "neither opens",
    "not_shown": f"the downstream fuse parts within {seconds(ARC_COUNTS)}, and the arc that "
    "follows is not known: state an allowance for it",
    "clipped": "the record is clipped: more flowed than was recorded",
}


@dataclass(frozen=True, slots=True)
class Stretch:
    """Range of fault currents in which one thing holds [A]."""

    low: float
    high: float
    state: State


@dataclass(frozen=True, kw_only=True)
class Selectivity:
    """Two fuses in series against the fault current.

    Times are nan where nothing happens. ``downstream_late`` is when all but one in a hundred
    downstream units have parted, ``upstream_early`` when the first in a hundred upstream
    units begins to melt; the middle ones are those of the median units, until they part.
    """

    upstream: str
    downstream: str
    verdict: Verdict
    current: Floats = field(metadata=described("fault current", "A", ("current",)))
    downstream_middle: Floats = field(
        metadata=described("pre-arcing time of the downstream fuse", "s", ("current",))
    )
    downstream_late: Floats = field(
        metadata=described("latest pre-arcing time of the downstream fuse", "s", ("current",))
    )
    upstream_early: Floats = field(
        metadata=described("earliest onset of the upstream fuse", "s", ("current",))
    )
    upstream_middle: Floats = field(
        metadata=described("pre-arcing time of the upstream fuse", "s", ("current",))
    )
    states: tuple[State, ...]
    capture: State | None
    notes: tuple[Note, ...]
    question: dict[str, Any]

    @property
    def exit_status(self) -> int:
        """0 selective, 20 not selective, 4 not shown."""
        return {"selective": 0, "not_selective": 20, "not_shown": 4}[self.verdict]

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """Ranges of current from point to point, in rising order."""
        found: list[Stretch] = []
        for current, state in zip(self.current.tolist(), self.states, strict=True):
            if found and found[-1].state == state:
                found[-1] = Stretch(found[-1].low, current, state)
            else:
                found.append(Stretch(current, current, state))
        return tuple(found)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Ranges in words, and the nearest approach of the edges."""
        words = []
        if self.capture is not None:
            words.append(f"the capture: {_SAID[self.capture]}")
        for s in self.stretches:
            low, high = measure(s.low, "A"), measure(s.high, "A")
            words.append(f"{low if low == high else f'{low} to {high}'}: {_SAID[s.state]}")
        ratio = self.upstream_early / self.downstream_late
        if np.isfinite(ratio).any():
            i = int(np.nanargmin(ratio))
            words.append(
                f"nearest at {measure(float(self.current[i]), 'A')}: the latest downstream unit "
                f"parts at {seconds(float(self.downstream_late[i]))}, the earliest upstream one "
                f"begins to melt at {seconds(float(self.upstream_early[i]))}"
            )
        return tuple(words)

    def configuration(self) -> str:
        """The question, as JSON."""
        names = {"upstream": self.upstream, "downstream": self.downstream}
        return json.dumps(names | self.question)

    def to_xarray(self) -> Dataset:
        """Dataset against current."""
        from ..labelled import to_dataset

        return to_dataset(self, self.configuration())

    def plot(self, ax: Any = None) -> Any:
        """Figure of both fuses' times, edges and ranges."""
        from importlib import import_module

        # the floor of figures lies above this one, so it is asked for by name
        return import_module("fusetherm.show.plots_selectivity").plot_selectivity(self, ax=ax)


@dataclass(frozen=True, slots=True)
class _Fuse:
    """One of the fuses at its ambient, after its load."""

    model: FuseModel
    network: Network
    ambient_c: float
    load: float
    cells: int

    @classmethod
    def of(
        cls, subject: Subject, connection: ConnectionName, ambient_c: float, load: float
    ) -> _Fuse:
        model, cells = model_of(subject, connection), cells_of(subject)
        refuse_molten(model, ambient_c)
        network = build_network(model, ambient_k=kelvin(ambient_c, "ambient"), cells=cells)
        return cls(model, network, ambient_c, load, cells)

    def begin(self, factor: float) -> Floats:
        """State after the load of a unit that feels a factor on the current."""
        steady = steady_of(self.network, self.load * factor, kelvin(self.ambient_c))
        if steady is None:
            raise InputError(
                "preload-melts",
                f"the load of {measure(self.load, 'A')} before the fault melts an early unit of "
                "the upstream fuse",
                expected="a load that it carries",
            )
        return steady.state

    def times(self, current: float, factor: float, begin: Floats) -> tuple[float, float]:
        """Onset and pre-arcing time of a unit that feels a factor on the current [s]."""
        solution = integrate(
            self.network,
            iter((ConstantBlock((current * factor) ** 2, LONGEST, 0.0),)),
            begin,
            Ambient(np.array([0.0]), np.array([kelvin(self.ambient_c)])),
            until=LONGEST,
            tolerance=TOLERANCE,
            integrator="rodas3",
        )
        onset, parted = solution.onset_time, solution.parted_time
        return (math.inf if onset is None else onset), (math.inf if parted is None else parted)

    def times_of(self, waveform: Waveform, factor: float) -> tuple[float, float]:
        """The same for a capture [s]."""
        run = simulate(
            self.model,
            waveform.scaled(factor),
            ambient_c=self.ambient_c,
            start=self.load * factor if self.load else None,
            cells=self.cells,
        )
        onset, parted = run.onset_time, run.pre_arcing_time
        return (math.inf if onset is None else onset), (math.inf if parted is None else parted)


@dataclass(frozen=True, slots=True)
class _Edge:
    """Current of a median unit over that of one in a hundred, against current [-].

    Of a fit it is found current by current from its draws and units, as for a curve; below the
    minimum fusing current it is that of the minimum fusing current.
    """

    current: Floats
    factor: Floats

    @classmethod
    def of(
        cls, subject: Subject, connection: ConnectionName, ambient_c: float, currents: Floats
    ) -> _Edge:
        if isinstance(subject, FuseModel):
            return cls(currents, np.full(len(currents), math.exp(EDGE_QUANTILE * UNIT_SPREAD)))
        curve = time_current_curve(
            subject, ambient_c=ambient_c, currents=currents, connection=connection
        )
        return cls(currents, late_factors(curve))

    def at(self, current: float) -> float:
        """Factor at a current [-]."""
        return float(np.interp(math.log(current), np.log(self.current), self.factor))

    @property
    def widest(self) -> float:
        """The largest of them [-]."""
        return float(self.factor.max())


@takes(prospective="A", upstream_ambient_c="degC", downstream_ambient_c="degC", load="A")
def selectivity(
    upstream: Subject,
    downstream: Subject,
    *,
    prospective: float,
    upstream_ambient_c: float = REFERENCE_AMBIENT_C,
    downstream_ambient_c: float = REFERENCE_AMBIENT_C,
    load: float = 0.0,
    arcing_allowance: float | None = None,
    waveform: Waveform | None = None,
    connection: ConnectionName = "installed",
) -> Selectivity:
    """Whether the downstream fuse opens before the upstream one begins to melt.

    Parameters
    ----------
    upstream, downstream : FuseModel or Calibration
        Nearer to the source, nearer to the fault.
    prospective : float
        Largest fault current [A].
    upstream_ambient_c, downstream_ambient_c : float
        The hottest credible air at the first, the coldest at the second [degC].
    load : float
        Steady current of the upstream fuse before the fault [A].
    arcing_allowance : float, optional
        Operating over pre-arcing I²t of the downstream fuse, 1 or more. Without it nothing is
        shown where that fuse parts within 0.1 s.
    waveform : Waveform, optional
        A fault as measured or drawn, judged besides.
    connection : {"installed", "test"}
        Connection of calibrations.

    Returns
    -------
    Selectivity

    Raises
    ------
    InputError
        ``prospective-too-small``, ``arcing-allowance``, ``negative``, ``preload-melts``,
        ``ambient-above-melting``.

    Notes
    -----
    Selective is a current at which the operating I²t of the latest downstream unit stays
    below the I²t at which the earliest upstream unit begins to melt; a fuse that has begun
    to melt is aged even if it holds. The allowance counts on what flows in the last 0.1 s
    before parting. Edges leave one unit in a hundred beyond them: of a fit by its draws and
    units at each current, for a capture by the widest of these; of a bare model by 3 %. Where
    the edges cross and the median units keep their order they overlap; else the upstream
    fuse opens first. A clipped record shows no selectivity.
    """
    if not (math.isfinite(load) and load >= 0.0):
        raise InputError("negative", f"a load before of {load} A", expected="zero or more")
    arc = Arc(allowance=arcing_allowance)
    up = _Fuse.of(upstream, connection, upstream_ambient_c, load)
    down = _Fuse.of(downstream, connection, downstream_ambient_c, 0.0)
    least = math.sqrt(branch_of(down.network, kelvin(downstream_ambient_c)).largest)
    if not (math.isfinite(prospective) and prospective > least):
        raise InputError(
            "prospective-too-small",
            f"a prospective current of {measure(prospective, 'A')}, and the downstream fuse "
            f"carries {measure(least, 'A')} for ever",
            expected="a fault current that opens the downstream fuse",
        )
    currents = np.geomspace(_BEGIN * least, prospective, POINTS)
    early_edge = _Edge.of(
        upstream, connection, upstream_ambient_c, np.unique([*currents, load or currents[0]])
    )
    late_edge = _Edge.of(downstream, connection, downstream_ambient_c, currents)
    loaded = early_edge.at(load) if load else 1.0
    hot, warm, cold = up.begin(loaded), up.begin(1.0), down.begin(1.0)

    def one(i: int) -> tuple[float, float, float, float]:
        current = float(currents[i])
        return (
            down.times(current, 1.0, cold)[1],
            down.times(current, 1.0 / late_edge.at(current), cold)[1],
            up.times(current, early_edge.at(current), hot)[0],
            up.times(current, 1.0, warm)[1],
        )

    times = np.array(each(one, POINTS))
    states = tuple(
        _state(current, middle, late, early, upper, arc)
        for current, (middle, late, early, upper) in zip(
            currents.tolist(), times.tolist(), strict=True
        )
    )
    found = (
        None
        if waveform is None
        else _captured(up, down, waveform, arc, early_edge.widest, late_edge.widest)
    )
    remarks = () if waveform is None else waveform.notes
    if found in ("selective", "neither") and clipped(remarks):
        found = "clipped"
    notes = tuple(
        dict.fromkeys(
            (*subject_notes(upstream, connection), *subject_notes(downstream, connection),
             *ambient_notes(upstream_ambient_c), *ambient_notes(downstream_ambient_c), *remarks)
        )
    )  # fmt: skip
    times[np.isinf(times)] = math.nan
    return Selectivity(
        upstream=up.model.name,
        downstream=down.model.name,
        verdict=_verdict(states, found),
        current=currents,
        downstream_middle=times[:, 0],
        downstream_late=times[:, 1],
        upstream_early=times[:, 2],
        upstream_middle=times[:, 3],
        states=states,
        capture=found,
        notes=notes,
        question={
            "prospective_A": prospective,
            "upstream_ambient_C": upstream_ambient_c,
            "downstream_ambient_C": downstream_ambient_c,
            "load_A": load,
            "arcing_allowance": arcing_allowance,
            "connection": connection,
        },
    )


def _state(
    current: float, middle: float, late: float, early: float, upstream: float, arc: Arc
) -> State:
    """What holds at one constant current, at which times compare as Joule integrals do."""
    if math.isinf(middle) and math.isinf(early):
        return "neither"
    if math.isinf(late) and math.isinf(early):
        # some downstream units open, no upstream one: whatever happens, it happens downstream
        return "selective"
    if arc.cleared(current, late) < early:
        return "not_shown" if late < ARC_COUNTS and not arc.stated else "selective"
    return "overlap" if middle <= upstream else "upstream"


def _captured(
    up: _Fuse, down: _Fuse, waveform: Waveform, arc: Arc, above: float, below: float
) -> State:
    """What holds for a capture: Joule integrals until the one has cleared, the other melts.

    The earliest unit upstream feels its current `above` times, the latest downstream a
    `below`-th of it.
    """
    middle, late = (down.times_of(waveform, f)[1] for f in (1.0, 1.0 / below))
    early, upstream = up.times_of(waveform, above)[0], up.times_of(waveform, 1.0)[1]
    if math.isinf(early) or math.isinf(late):
        return _state(waveform.peak, middle, late, early, upstream, arc)
    parted = waveform.i2t(0.0, late)
    # in the time its peak would have taken, so that a load before the fault does not hide it
    quick = parted < ARC_COUNTS * waveform.peak**2
    arcing = ((arc.allowance or 1.0) - 1.0) * waveform.i2t(max(0.0, late - ARC_COUNTS), late)
    if parted + arcing < waveform.i2t(0.0, early):
        return "not_shown" if quick and not arc.stated else "selective"
    return "overlap" if middle <= upstream else "upstream"


def _verdict(states: tuple[State, ...], found: State | None) -> Verdict:
    every = {*states, *(() if found is None else (found,))}
    if every & {"overlap", "upstream"}:
        return "not_selective"
    return "not_shown" if every & {"not_shown", "clipped"} or every == {"neither"} else "selective"
