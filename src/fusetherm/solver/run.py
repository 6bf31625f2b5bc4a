"""`simulate`: a model, a waveform and an ambient in, a `Run` out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from ..current.ends import end_level
from ..current.trains import Train, trains
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..fuse.model import FuseModel, refuse_other
from ..labelled import described
from ..units import REFERENCE_AMBIENT_C, ZERO_CELSIUS_K, ambient_notes, kelvin, magnitude, takes
from ..written import html_table, measure, number, seconds
from .integrate import (
    Ambient,
    Block,
    ConstantBlock,
    Progress,
    Solution,
    enthalpy_share,
    integrate,
    raise_nothing,
    setting_of,
)
from .kernels import advance as loop
from .kernels.events import ONSET, event_value
from .kernels.layout import U_LIQUIDUS, U_SOLIDUS
from .methods import METHODS
from .network import Network, build_network
from .remarks import cycle_notes, frequencies_noted, melt_notes, skin_notes
from .steady import branch_of, cells_for, steady_of

if TYPE_CHECKING:
    from ..labelled import Dataset

Floats = npt.NDArray[np.float64]
AmbientLike = float | Sequence[tuple[float, float]]

#: Default error a step, relative to 150 K plus the rise above ambient.
TOLERANCE = 1e-4
#: How long a held current is followed when no steady state exists and none was asked for [s].
HOLD_LIMIT = 1e6
#: How long when one exists [s].
STEADY_LIMIT = 1e4


@dataclass(frozen=True, slots=True)
class State:
    """State of a network, a start for another run of the same network.

    Attributes
    ----------
    u : (N,) array
        Enthalpy over reference specific heat of element cells, temperature of lumps [K].
    cells : int
        Cells of the element it belongs to.
    melted : bool
        Whether the element has begun to melt on the way here; it may be solid again.
    """

    u: Floats
    cells: int
    melted: bool = False


@dataclass(frozen=True, slots=True)
class ErrorEstimate:
    """Differences to a second pass at a tenth of the tolerance and twice the cells.

    Attributes
    ----------
    peak_temperature : float
        Change of the peak temperature [K].
    onset_time, pre_arcing_time : float or None
        Relative changes [-]; None where the event did not happen in both passes.
    """

    peak_temperature: float
    onset_time: float | None
    pre_arcing_time: float | None


@dataclass(frozen=True, kw_only=True)
class Run:
    """One simulation: what happened, when and where, with traces against time.

    Trace arrays have one entry an accepted step.
    """

    name: str
    ambient_c: float = field(metadata=described("ambient temperature at the start", "degC"))
    duration: float = field(metadata=described("time covered", "s"))
    opened: bool = field(metadata=described("whether the element parted", "1"))
    onset_time: float | None = field(
        metadata=described("time at which the hottest point began to melt", "s")
    )
    pre_arcing_time: float | None = field(
        metadata=described("time at which the element parted", "s")
    )
    peak_temperature_c: float = field(
        metadata=described("highest temperature of the element", "degC")
    )
    peak_time: float = field(metadata=described("time of the peak", "s"))
    peak_position: float = field(metadata=described("place of the peak along the element", "m"))
    melting_share: float = field(
        metadata=described("share of the enthalpy to full melting at the peak", "1")
    )
    onset_share: float = field(
        metadata=described("enthalpy rise at the peak over that to the onset of melting", "1")
    )
    dissolved_share: float = field(
        metadata=described("share of the cross-section a spot has dissolved", "1")
    )
    i2t: float = field(metadata=described("Joule integral up to the end or the opening", "A2 s"))
    energy: float = field(metadata=described("heat generated", "J"))
    conservation: float = field(
        metadata=described("heat made less lost less stored, relative", "1")
    )
    electrical_balance: float = field(
        metadata=described("electrical work less lost less stored, relative", "1")
    )
    ripple: float = field(metadata=described("largest averaged swing inside a period", "K"))
    time: Floats = field(metadata=described("time", "s", ("time",)), repr=False)
    current: Floats = field(
        metadata=described("magnitude of the current at the end of the step", "A", ("time",)),
        repr=False,
    )
    element_temperature_c: Floats = field(
        metadata=described("hottest point of the element", "degC", ("time",)), repr=False
    )
    element_voltage: Floats = field(
        metadata=described("drop over the element", "V", ("time",)), repr=False
    )
    node_temperature_c: dict[str, Floats] = field(repr=False)
    position: Floats = field(
        metadata=described("distance along the element", "m", ("position",)), repr=False
    )
    peak_profile_c: Floats = field(
        metadata=described("profile of the element at its peak", "degC", ("position",)), repr=False
    )
    final_state: State = field(repr=False)
    steps: int
    rejected: int
    jumped: int
    notes: tuple[Note, ...]
    question: Question = field(repr=False)

    @property
    def peak_node_temperature_c(self) -> dict[str, float]:
        """Highest temperature of each node beside the element [degC]."""
        return {name: float(np.max(values)) for name, values in self.node_temperature_c.items()}

    def error_estimate(self) -> ErrorEstimate:
        """Compare with a second pass at a tenth of the tolerance and twice the cells."""
        q = self.question
        fine = simulate(
            q.model,
            q.waveform,
            ambient_c=q.ambient_c,
            start=None if isinstance(q.start, State) else q.start,
            after=q.after,
            until=q.until,
            integrator=q.integrator,
            tolerance=0.1 * q.tolerance,
            cells=2 * q.cells,
            jump=q.jump,
            to=q.to,
        )

        def change(a: float | None, b: float | None) -> float | None:
            return None if a is None or b is None or b == 0.0 else abs(a - b) / b

        return ErrorEstimate(
            peak_temperature=abs(self.peak_temperature_c - fine.peak_temperature_c),
            onset_time=change(self.onset_time, fine.onset_time),
            pre_arcing_time=change(self.pre_arcing_time, fine.pre_arcing_time),
        )

    def _repr_html_(self) -> str:
        return html_table(self.name or "run", (
            ("ambient", f"{number(self.ambient_c, 4)} °C"),
            ("time covered", seconds(self.duration)),
            ("begins to melt", seconds(self.onset_time)),
            ("parts", seconds(self.pre_arcing_time)),
            ("hottest point", f"{number(self.peak_temperature_c, 4)} °C "
                              f"at {seconds(self.peak_time)}"),
            ("I²t", measure(self.i2t, "A²s")),
            ("remarks", "; ".join(note.text for note in self.notes)),
        ))  # fmt: skip

    def to_xarray(self) -> Dataset:
        """Traces and scalars as a Dataset with units.

        ``run.to_xarray().drop_dims("position").to_dataframe()`` is a table of pandas of it.
        """
        from ..labelled import to_dataset

        dataset = to_dataset(self)
        for name, values in self.node_temperature_c.items():
            dataset[f"{name}_temperature_c"] = (
                ("time",),
                values,
                {"units": "degC", "long_name": f"temperature of {name.replace('_', ' ')}"},
            )
        return dataset


@dataclass(frozen=True, slots=True)
class Question:
    """The arguments a run answers, kept so that it can be asked again."""

    model: FuseModel
    waveform: Waveform
    ambient_c: AmbientLike
    start: State | float | None
    after: Literal["zero", "hold"]
    until: float | None
    integrator: str
    tolerance: float
    cells: int
    jump: bool = True
    to: Literal["end", "onset"] = "end"


@takes(start="A", until="s")
def simulate(
    model: FuseModel,
    waveform: Waveform,
    *,
    ambient_c: AmbientLike = REFERENCE_AMBIENT_C,
    start: State | float | None = None,
    after: Literal["zero", "hold"] = "zero",
    until: float | None = None,
    to: Literal["end", "onset"] = "end",
    integrator: str = "rodas3",
    tolerance: float = TOLERANCE,
    cells: int | None = None,
    progress: Progress | None = None,
    jump: bool = True,
    trace: Literal["all", "peaks"] = "all",
) -> Run:
    """Temperature, onset and opening of a fuse under a current waveform.

    Parameters
    ----------
    model : FuseModel
        Fuse and connection.
    waveform : Waveform
        Current [A] against time [s]; only its square heats.
    ambient_c : float or sequence of (time, temperature)
        Ambient [degC], constant or straight between points [s, degC].
    start : State or float, optional
        State to start from, or a steady current [A] that was on for ever before; it adds
        nothing to the waveform. By default everything starts at ambient.
    after : {"zero", "hold"}
        Current after the waveform's end: zero, or held at the level of its end: the last
        value of a drawn current, the RMS of the last stretch of a measured one.
    until : float, optional
        Time to stop [s]; by default the waveform's end, or with "hold" until the element
        parts when no steady state exists for the held current.
    to : {"end", "onset"}
        Whether to go on into the melt, up to the opening, or to end where melting begins, in a
        tenth of the steps where that is all that is asked.
    integrator : str
        ``"rodas3"`` (compiled, default), ``"rodas4"`` (compiled, for tight tolerances),
        ``"LSODA"``, ``"BDF"`` or ``"Radau"`` (scipy, the reference).
    tolerance : float
        Error a step, relative to 150 K plus the rise above ambient.
    cells : int, optional
        Cells of the element; by default `cells_for` the model.
    progress : callable, optional
        Called with the time reached [s] now and then.
    jump : bool
        Jump over cycles of long repeats (64 and more) that the cycles simulated foretell, see
        Notes; False simulates each. The scipy integrators always simulate each.
    trace : {"all", "peaks"}
        What the trace keeps: every step, or, in a memory that does not grow with the record, the
        first and the last and those in which a temperature or resistance is highest. The scipy
        integrators keep every step.

    Returns
    -------
    Run

    Raises
    ------
    InputError
        For arguments that cannot be used.
    SolveError
        When the integration cannot be finished.

    Notes
    -----
    A long repeat is followed by its cycle map: the state after ``m`` more cycles is foretold by
    the map linearised along one simulated cycle, one cycle is simulated there, and what its
    change differs from the foretold one corrects the leap and bounds the next. A leap is taken
    when a quarter of its correction is below .03 K in every state (at the usual tolerance) and
    nothing melts or parts after it that had not before; otherwise it is shortened, so that an
    opening lies in simulated cycles. Slow states (body, cable, ambient, a spot's dissolution)
    are followed on the way. The trace holds the simulated cycles.
    """
    refuse_other(model)
    if not isinstance(waveform, Waveform):
        raise InputError(
            "not-a-waveform",
            f"the current is given as {type(waveform).__name__}",
            expected="a Waveform, such as Waveform(time=..., current=...) or read_capture(...)",
        )
    if trace not in ("all", "peaks"):
        raise InputError("unknown-trace", f"trace is {trace!r}", expected="'all' or 'peaks'")
    check_course(after, to)
    if until is not None and not (math.isfinite(until) and until > 0.0):
        raise InputError("until-not-positive", f"until is {until}", expected="a time above 0 s")
    ambient = _ambient(ambient_c)
    cells = cells or cells_for(model)
    network = build_network(model, ambient_k=ambient.first_k, cells=cells)
    u = start_state(network, start, ambient.first_k)
    if to == "onset" and event_value(ONSET, u, network.arrays, setting_of(network, TOLERANCE)) >= 0:
        raise InputError(
            "start-molten",
            "the run begins in a state in which the element melts",
            expected="a start below the melting point for a run to its onset",
            mend="leave `to` away",
        )
    blocks: Iterator[Block | Train]
    blocks = trains(waveform) if jump and integrator in METHODS else waveform.blocks()
    end, blocks, notes = _plan(network, waveform, blocks, after, until, ambient)
    frequencies: list[float] = []
    blocks = frequencies_noted(blocks, frequencies)
    solution = integrate(
        network,
        blocks,
        u,
        ambient,
        until=end,
        tolerance=tolerance,
        integrator=integrator,
        progress=progress,
        jump=jump,
        peaks=trace == "peaks",
        to_onset=to == "onset",
    )
    question = Question(
        model, waveform, ambient_c, start, after, until, integrator, tolerance, cells, jump, to
    )
    notes += ambient_notes(ambient.first_k - ZERO_CELSIUS_K)
    notes += skin_notes(model, max(frequencies, default=0.0))
    return _run(network, solution, question, ambient, notes)


def _ambient(ambient_c: AmbientLike) -> Ambient:
    if not isinstance(ambient_c, Sequence):
        ambient_c = magnitude(ambient_c, "degC", "ambient_c")
    if isinstance(ambient_c, (int, float)):
        return Ambient(np.array([0.0]), np.array([kelvin(ambient_c, "ambient")]))
    told = [(magnitude(t, "s", "time"), magnitude(c, "degC", "ambient_c")) for t, c in ambient_c]
    points = np.array([(float(t), kelvin(c, "ambient")) for t, c in told]).reshape(-1, 2)
    if len(points) == 0 or np.any(np.diff(points[:, 0]) <= 0.0):
        raise InputError(
            "ambient-not-increasing",
            "the times of the ambient do not increase",
            expected="pairs of time [s] and temperature [°C] in order of time",
        )
    return Ambient(points[:, 0], points[:, 1])


def check_course(after: str, to: str) -> None:
    """Refuse words that do not say what flows after a waveform, or where a run ends."""
    if after not in ("zero", "hold"):
        raise InputError("unknown-after", f"after is {after!r}", expected="'zero' or 'hold'")
    if to not in ("end", "onset"):
        raise InputError("unknown-to", f"to is {to!r}", expected="'end' or 'onset'")


def start_state(network: Network, start: State | float | None, ambient_k: float) -> Floats:
    if start is None:
        return network.state(ambient_k)
    if isinstance(start, State):
        if len(start.u) != network.size:
            raise InputError(
                "state-of-another-network",
                f"the state has {len(start.u)} values, the network {network.size}",
                expected="a state of the same model and cells",
            )
        return np.array(start.u)
    steady = steady_of(network, float(start), ambient_k)
    if steady is None:
        raise InputError(
            "no-steady-start",
            f"no steady state exists at {measure(float(start), 'A')}",
            expected="a start current below the minimum fusing current",
        )
    return steady.state


def carries_for_ever(network: Network, current: float, ambient_k: float) -> bool:
    """Whether a steady state exists at a current [A] and an ambient [K]."""
    return branch_of(network, ambient_k).largest >= current * current


def hold_time(steady: bool) -> float:
    """How long a held current is followed [s]."""
    return STEADY_LIMIT if steady else HOLD_LIMIT


def _plan(
    network: Network,
    waveform: Waveform,
    blocks: Iterator[Block | Train],
    after: str,
    until: float | None,
    ambient: Ambient,
) -> tuple[float, Iterator[Block | Train], tuple[Note, ...]]:
    """End of the run, blocks that cover it, and notes."""
    span = float(waveform.duration)
    held = 0.0
    notes: tuple[Note, ...] = ()
    if after == "hold":
        held = end_level(waveform).current
    if until is not None:
        end = until
    elif after == "hold" and held != 0.0:
        steady = carries_for_ever(network, held, float(ambient.temperature_k[-1]))
        end = span + hold_time(steady)
        if steady:
            text = f"a steady state exists at the held {measure(abs(held), 'A')}"
            notes = (Note("steady-state-exists", text),)
    else:
        end = span
    if end <= 0.0:
        raise_nothing()
    tail = ConstantBlock(held * held, max(end - span, 0.0), span)
    if tail.duration > 0.0:
        blocks = itertools.chain(blocks, (tail,))
    return end, blocks, notes


def _run(
    network: Network,
    solution: Solution,
    question: Question,
    ambient: Ambient,
    notes: tuple[Note, ...],
) -> Run:
    trace = solution.trace
    current = np.sqrt(np.maximum(trace[:, loop.ROW_SQUARED], 0.0))
    scalars = network.metal.scalars
    cold = network.metal.state(ambient.first_k)
    peak_profile = network.temperature_k(solution.peak_state)
    dissolved = network.dissolved(solution.state)
    onset_share = float(enthalpy_share(solution.peak_u, cold, scalars[U_SOLIDUS]))
    return Run(
        name=network.model.name,
        ambient_c=ambient.first_k - ZERO_CELSIUS_K,
        duration=solution.end_time,
        opened=solution.parted_time is not None,
        onset_time=solution.onset_time,
        pre_arcing_time=solution.parted_time,
        peak_temperature_c=solution.peak_k - ZERO_CELSIUS_K,
        peak_time=solution.peak_time,
        peak_position=solution.peak_position,
        melting_share=float(enthalpy_share(solution.peak_u, cold, scalars[U_LIQUIDUS])),
        onset_share=max(onset_share, dissolved),
        dissolved_share=dissolved,
        i2t=solution.action,
        energy=solution.joule,
        conservation=solution.conservation,
        electrical_balance=solution.electrical_balance,
        ripple=solution.ripple,
        time=trace[:, loop.ROW_TIME],
        current=current,
        element_temperature_c=trace[:, loop.ROW_PEAK] - ZERO_CELSIUS_K,
        element_voltage=current * trace[:, loop.ROW_ELEMENT_OHMS],
        node_temperature_c={
            name: trace[:, loop.ROW_FIXED + i] - ZERO_CELSIUS_K
            for i, name in enumerate(solution.watched)
        },
        position=network.mesh.position,
        peak_profile_c=peak_profile[network.first : network.last + 1] - ZERO_CELSIUS_K,
        final_state=State(
            solution.state,
            question.cells,
            melted=solution.onset_time is not None
            or (isinstance(question.start, State) and question.start.melted),
        ),
        steps=solution.steps,
        rejected=solution.rejected,
        jumped=solution.jumped,
        notes=notes
        + melt_notes(solution, scalars, question.to)
        + cycle_notes(question.waveform, solution),
        question=question,
    )
