"""The ways of a fuse box: each a fuse with its load, and what it gives to the air around it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ...calibration.fit import Calibration
from ...current.ends import end_level
from ...current.sampled import constant
from ...current.waveform import Waveform
from ...errors import InputError
from ...fuse.model import FuseModel, Side
from ...solver.flows import flows_of, heat_made, times_of, traced_flows, watching_losses
from ...solver.integrate import Ambient, integrate
from ...solver.kernels.advance import ROW_PEAK
from ...solver.network import build_network
from ...solver.run import TOLERANCE
from ...solver.steady import branch_of, steady_at, steady_of
from ...units import REFERENCE_AMBIENT_C, ZERO_CELSIUS_K, kelvin
from ...written import seconds
from ..subject import Subject, cells_of, model_of, refuse_molten
from .air import means

Floats = npt.NDArray[np.float64]
After = Literal["zero", "hold", "repeat"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way of a fuse box: a fuse, its place and its load.

    Parameters
    ----------
    name : str
        Name of the circuit.
    subject : FuseModel or Calibration
        The fuse; a calibration is taken in its installed connection.
    load : float or Waveform
        Current that flows for ever [A], or a waveform that begins when all is cold.
    after : {"zero", "hold", "repeat"}, optional
        What follows a waveform: nothing, the level of its end, or itself again for ever.
    period : float, optional
        From start to start of a repeated waveform [s]; its duration by default.
    place, row : int
        Where it sits; places next to each other in a row, and rows in a place, are neighbours.
    cable_inside : float
        Length of each cable that lies in the box [m]; the rest lies in the air outside.
    """

    name: str
    subject: Subject
    load: float | Waveform
    after: After | None = None
    period: float | None = None
    place: int
    row: int = 1
    cable_inside: float = 0.0

    def __post_init__(self) -> None:
        if isinstance(self.load, Waveform):
            if self.after not in ("zero", "hold", "repeat"):
                raise InputError(
                    "after-missing",
                    f"way {self.name!r} has a waveform, and what follows it is not said",
                    expected="after: 'zero', 'hold' or 'repeat'",
                    mend="say what flows when the record has ended",
                )
            self._check_period(self.load)
        elif not math.isfinite(self.load):
            raise InputError(
                "current-not-finite",
                f"way {self.name!r}: a load of {self.load} A",
                expected="a current in A",
            )
        if not (math.isfinite(self.cable_inside) and self.cable_inside >= 0.0):
            raise InputError(
                "negative",
                f"way {self.name!r}: {self.cable_inside} m of cable inside",
                expected="zero or more",
            )

    def _check_period(self, load: Waveform) -> None:
        if self.period is None:
            return
        if self.after != "repeat":
            raise InputError(
                "period-without-repeat",
                f"way {self.name!r} has a period, and what follows its waveform is {self.after!r}",
                expected="a period of a waveform that is repeated",
                mend="leave the period out, or repeat the waveform",
            )
        if not (math.isfinite(self.period) and self.period >= load.duration):
            raise InputError(
                "period-too-short",
                f"way {self.name!r}: a period of {seconds(self.period)} for a waveform of "
                f"{seconds(load.duration)}",
                expected="a period not shorter than the waveform",
                mend="cut the waveform, or lengthen the period",
            )

    @property
    def lasting_current(self) -> float:
        """Constant current of the same heat as what flows in the long run [A]."""
        if not isinstance(self.load, Waveform):
            return abs(float(self.load))
        if self.after == "hold":
            return abs(end_level(self.load).current)
        if self.after == "repeat":
            return math.sqrt(self.load.i2t() / (self.period or self.load.duration))
        return 0.0

    @property
    def length(self) -> float:
        """Duration of its waveform [s]; 0 for a constant current."""
        return self.load.duration if isinstance(self.load, Waveform) else 0.0

    def course(self, duration: float) -> Waveform:
        """Its current over a duration [s]."""
        if not isinstance(self.load, Waveform):
            return constant(abs(float(self.load)), duration)
        load = self.load
        if self.after == "repeat":
            cycle = self.period or load.duration
            load = load.repeated(max(math.ceil(duration / cycle * (1.0 - 1e-12)), 1), self.period)
        rest = duration - load.duration
        if rest > 0.0:
            load = load.then(constant(self.lasting_current, rest))
        return load


@dataclass(frozen=True)
class LeadingOut(Calibration):
    """A calibration whose installed cables leave a box for other air."""

    air_c: float = REFERENCE_AMBIENT_C
    inside: float = 0.0

    @classmethod
    def of(cls, fit: Calibration, air_c: float, inside: float) -> LeadingOut:
        """The same fit with its cables led out of a box."""
        values: dict[str, Any] = {f.name: getattr(fit, f.name) for f in fields(Calibration)}
        values["kept"] = fit.draws
        return cls(**values, air_c=air_c, inside=inside)

    def connected_at(
        self, scores: Floats, worn_score: float, connection: Literal["test", "installed"]
    ) -> FuseModel:
        model = super().connected_at(scores, worn_score, connection)
        return led_out(model, self.air_c, self.inside) if connection == "installed" else model


def led_out(model: FuseModel, air_c: float, inside: float) -> FuseModel:
    """A model whose cables lie in other air than the fuse, but for a length inside [m]."""

    def one(side: Side) -> Side:
        if side.cable is None:
            return side
        return replace(side, cable=replace(side.cable, air_c=air_c, inside=inside))

    return replace(model, left=one(model.left), right=one(model.right))


@dataclass(frozen=True, slots=True)
class Rest:
    """A fuse at rest in its air.

    Attributes
    ----------
    to_box, to_outside : float
        Heat to the air of its place, and by its cables to the outside [W].
    made : float
        Heat its current makes in it [W].
    hot_c : float
        Hottest point of the element [degC].
    carries : bool
        Whether the current has a steady state; if not, the values are those of the largest
        current that has one.
    """

    to_box: float
    to_outside: float
    made: float
    hot_c: float
    carries: bool


@dataclass(frozen=True, slots=True)
class Course:
    """A fuse over time.

    Attributes
    ----------
    heat : (t - 1,) array
        Mean heat to its air over each interval [W].
    hot_c : (t,) array
        Hottest point, the highest since the time before [degC]; nan from the parting on.
    onset, parted : float or None
        [s].
    balance : float
        Heat made less lost less stored, relative [-].
    """

    heat: Floats
    hot_c: Floats
    onset: float | None
    parted: float | None
    balance: float


@dataclass(frozen=True)
class BoxedFuse:
    """The fuse of a way as it sits in its box."""

    way: Way
    subject: Subject
    model: FuseModel
    cells: int
    outside_k: float
    _known: dict[tuple[float, float], Rest] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, way: Way, outside_c: float) -> BoxedFuse:
        """Fuse of a way whose cables lead to the outside."""
        subject = way.subject
        led: Subject
        if isinstance(subject, FuseModel):
            led = led_out(subject, outside_c, way.cable_inside)
        else:
            led = LeadingOut.of(subject, outside_c, way.cable_inside)
        model = model_of(led)
        refuse_molten(model, outside_c)
        cells = cells_of(subject)
        return cls(way, led, model, cells, kelvin(outside_c))

    def rest(self, air_k: float, current: float) -> Rest:
        """The fuse at rest in air [K] under a current [A]."""
        key = (air_k, current)
        if key not in self._known:
            self._known[key] = rest_of(self.model, self.cells, air_k, current)
        return self._known[key]

    def reference_hot_c(self, rated: float) -> float:
        """Hot spot at the rated current in 23 degC all round [degC]; at most the melting point."""
        plain = led_out(self.model, REFERENCE_AMBIENT_C, 0.0)
        return rest_of(plain, self.cells, kelvin(REFERENCE_AMBIENT_C), rated).hot_c

    def run(self, grid: Floats, air_k: Floats, settled_k: float) -> Course:
        """The fuse over time from all at the outside's temperature.

        Parameters
        ----------
        grid, air_k : (t,) arrays
            Times [s] and its air at them [K].
        settled_k : float
            Air for which its surfaces are taken [K].
        """
        end = float(grid[-1])
        network = watching_losses(build_network(self.model, ambient_k=settled_k, cells=self.cells))
        load = self.way.course(end)
        ambient = Ambient(grid, air_k)
        solution = integrate(
            network,
            iter(load.blocks()),
            network.state(self.outside_k),
            ambient,
            until=end,
            tolerance=TOLERANCE,
            integrator="rodas3",
        )
        time = times_of(solution)
        flows = traced_flows(network, solution, np.interp(time, grid, air_k))
        hot = solution.trace[:, ROW_PEAK] - ZERO_CELSIUS_K
        heat = means(time, flows.to_ambient, grid)
        if solution.end_time < end:
            # an opened fuse gives off no more: what it holds is lost from the account, a little
            heat = means(np.append(time, [time[-1] * (1.0 + 1e-12), end]),
                         np.append(flows.to_ambient, [0.0, 0.0]), grid)  # fmt: skip
        return Course(
            heat,
            _highest(time, hot, grid),
            solution.onset_time,
            solution.parted_time,
            solution.conservation,
        )


def _highest(time: Floats, value: Floats, grid: Floats) -> Floats:
    """Highest value of each interval that ends at a time of the grid, nan beyond the last."""
    out = np.interp(grid, time, value)
    place = np.searchsorted(grid, time)
    inside = place < len(grid)
    np.maximum.at(out, place[inside], value[inside])
    out[grid > time[-1] * (1.0 + 1e-9)] = math.nan
    return out


def rest_of(model: FuseModel, cells: int, air_k: float, current: float) -> Rest:
    """A model at rest in air [K] under a current [A], see `Rest`."""
    network = build_network(model, ambient_k=air_k, cells=cells)
    state = steady_of(network, current, air_k)
    carries = state is not None
    if state is None:
        branch = branch_of(network, air_k)
        top = int(np.argmax(branch.squares))
        current = math.sqrt(float(branch.squares[top]))
        state = steady_at(network, branch.states[top], current, air_k)
    flows = flows_of(network, network.temperature_k(state.state), air_k)
    to_box, outside = float(flows.to_ambient), float(flows.to_air)
    return Rest(
        to_box, outside, heat_made(network, state.state, current), state.peak_temperature_c, carries
    )
