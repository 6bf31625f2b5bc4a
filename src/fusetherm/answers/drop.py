"""Reading a fuse with a meter: the current from the millivolts across it, and back."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..calibration.band import LEVEL, Band, spread_of
from ..calibration.fit import Calibration
from ..errors import InputError, Note
from ..files import write_atomic
from ..fuse.model import FuseModel
from ..fuse.published import MeasuredAt
from ..labelled import described
from ..physics.kohlrausch import hot_spot_ceiling
from ..solver.network import build_network
from ..solver.steady import branch_of
from ..threads import each
from ..units import REFERENCE_AMBIENT_C, ZERO_CELSIUS_K, ambient_notes, kelvin, takes
from ..written import measure, percent, seconds
from .holder import terminal_time_constant
from .subject import (
    ConnectionName,
    Subject,
    cells_of,
    configuration_of,
    model_of,
    refuse_molten,
    subject_notes,
)

if TYPE_CHECKING:
    from ..labelled import Dataset

Floats = npt.NDArray[np.float64]

#: Points of the steady branch: between fewer a cubic spline misses the hot spot of a pure metal
#: by tenths of a kelvin.
_POINTS = 48
#: Shares of the minimum fusing current of a table without a list of its own.
SHARES = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
#: Share of contacts in a drop from which it says more of them than of the current [-].
_CONTACTS = 0.5
#: Self-heating from which a reading is worth waiting for [-].
_SELF_HEATING = 0.1
#: Terminal time constants after which a reading is steady to 5 %.
_CONSTANTS = 3.0


@dataclass(frozen=True, kw_only=True)
class DropTable:
    """Drops across a fuse against steady currents, with where each may lie.

    One row a current. ``voltage_low`` and ``voltage_high`` say where the drop of one unit
    lies at that current, ``current_low`` and ``current_high`` where the current lies when the
    drop is read on one unit. ``cold_voltage`` is read just after switching on.
    """

    name: str
    connection: str
    ambient_c: float
    measured_at: MeasuredAt
    current: Floats = field(metadata=described("steady current", "A", ("current",)))
    current_low: Floats = field(metadata=described("its lower edge", "A", ("current",)))
    current_high: Floats = field(metadata=described("its upper edge", "A", ("current",)))
    voltage: Floats = field(metadata=described("voltage drop", "V", ("current",)))
    voltage_low: Floats = field(metadata=described("its lower edge", "V", ("current",)))
    voltage_high: Floats = field(metadata=described("its upper edge", "V", ("current",)))
    cold_voltage: Floats = field(
        metadata=described("voltage drop just after switching on", "V", ("current",))
    )
    hot_spot_c: Floats = field(metadata=described("hottest point", "degC", ("current",)))
    ceiling_c: Floats = field(
        metadata=described("hottest point the drop allows", "degC", ("current",))
    )
    contact_share: Floats = field(metadata=described("share of contacts", "1", ("current",)))
    wait: float
    melting_voltage: float
    rated_current: float | None
    level: float
    sources: tuple[tuple[str, float], ...]
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(default_factory=dict, repr=False)

    def configuration(self) -> str:
        """What the table was made with, as JSON."""
        head = {"fuse": self.name, "connection": self.connection, "ambient_c": self.ambient_c}
        return json.dumps(head | {"measured_at": self.measured_at} | self.made_with)

    def to_xarray(self) -> Dataset:
        """Dataset against current."""
        from ..labelled import to_dataset

        return to_dataset(self, self.configuration())

    def rows(self) -> list[dict[str, float | None]]:
        """One dict a current; None where the drop would allow melting."""
        columns = {
            "current_A": self.current,
            "current_A_low": self.current_low,
            "current_A_high": self.current_high,
            "drop_mV": 1e3 * self.voltage,
            "drop_mV_low": 1e3 * self.voltage_low,
            "drop_mV_high": 1e3 * self.voltage_high,
            "cold_drop_mV": 1e3 * self.cold_voltage,
            "hot_spot_C": self.hot_spot_c,
            "ceiling_C": self.ceiling_c,
            "contact_share": self.contact_share,
        }
        return [
            {key: float(v[i]) if math.isfinite(v[i]) else None for key, v in columns.items()}
            for i in range(len(self.current))
        ]

    def to_csv(self, path: str | Path, *, replace: bool = False) -> None:
        """Write a CSV file, one row a current."""
        text = io.StringIO()
        rows = self.rows()
        writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        write_atomic(Path(path), text.getvalue(), replace=replace)

    def plot(self, ax: Any = None) -> Any:
        """Figure of the drop against current."""
        from importlib import import_module

        # the floor of figures lies above this one, so it is asked for by name
        return import_module("fusetherm.show.plots").plot_drop(self, ax=ax)


@dataclass(frozen=True, slots=True)
class _Line:
    """Resistance between the points of the meter along the steady branch.

    Attributes
    ----------
    squares, resistance : (p,) array
        I² [A²], and drop over current [ohm], from no current to the minimum fusing current.
    targets : (p,) array
        State of the hottest cell, by which the branch is followed.
    hot, ends : (p,) and (p, 2) arrays
        Hottest cell and the element's ends [K].
    contacts : float
        Of both sides, where the meter spans them [ohm].
    """

    squares: Floats
    resistance: Floats
    targets: Floats
    hot: Floats
    ends: Floats
    contacts: float

    @classmethod
    def of(cls, model: FuseModel, ambient_c: float, cells: int, measured_at: MeasuredAt) -> _Line:
        ambient_k = kelvin(ambient_c, "ambient")
        network = build_network(model, ambient_k=ambient_k, cells=cells)
        branch = branch_of(network, ambient_k, _POINTS)
        last = int(np.argmax(branch.squares)) + 1
        states = np.vstack((network.state(ambient_k), branch.states[:last]))
        kelvins = np.array([network.temperature_k(u) for u in states])
        profile = kelvins[:, network.first : network.last + 1]
        rho = model.element.metal.resistivity(profile)
        resistance = np.asarray(rho @ network.mesh.shape, dtype=float)
        ends, contacts = np.full((len(states), 2), ambient_k), 0.0
        for k, (name, side) in enumerate((("left", model.left), ("right", model.right))):
            if side.blade is None:
                continue
            blade_k = kelvins[:, network.nodes[f"blade_{name}"]]
            ends[:, k] = blade_k
            if measured_at != "element":
                slope = side.blade.resistance_slope
                resistance = resistance + side.blade.resistance * (1 + slope * (blade_k - 293.15))
            if measured_at == "clips" and side.contact is not None:
                contacts += side.contact.resistance
        squares = np.concatenate(([0.0], branch.squares[:last]))
        cold = float(states[0][network.first])
        targets = np.concatenate(([cold], branch.targets[:last]))
        return cls(squares, resistance + contacts, targets, profile.max(axis=1), ends, contacts)

    @property
    def least(self) -> float:
        """Minimum fusing current [A]."""
        return math.sqrt(float(self.squares[-1]))

    @property
    def melting_voltage(self) -> float:
        """Drop at the minimum fusing current [V]."""
        return self.least * float(self.resistance[-1])

    def along(self, values: Floats, current: float) -> float:
        """A quantity of the branch at a current, that of the end above it.

        Along the state of the hottest cell all is smooth, at a fold of the current as well.
        """
        from scipy.interpolate import CubicSpline
        from scipy.optimize import brentq

        squares, squared = CubicSpline(self.targets, self.squares), current * current
        at = float(self.targets[-1])
        if squared < self.squares[-1]:
            at = float(brentq(lambda u: squares(u) - squared, self.targets[0], at, xtol=1e-10))
        return float(CubicSpline(self.targets, values)(at))

    def voltage_at(self, current: float) -> float:
        """Drop at a current [V]; that of the minimum fusing current above it."""
        return min(current, self.least) * self.along(self.resistance, current)

    def current_at(self, voltage: float) -> float:
        """Current with a drop [A]; the minimum fusing current above its own drop."""
        from scipy.optimize import brentq

        if voltage >= self.melting_voltage:
            return self.least
        return float(brentq(lambda i: self.voltage_at(i) - voltage, 0.0, self.least, xtol=1e-12))


@takes(currents="A", voltages="V", ambient_c="degC", meter_sd="V")
def drop(
    subject: Subject,
    *,
    currents: Sequence[float] | Floats | None = None,
    voltages: Sequence[float] | Floats | None = None,
    ambient_c: float = REFERENCE_AMBIENT_C,
    measured_at: MeasuredAt = "blades",
    meter_sd: float = 0.0,
    connection: ConnectionName = "installed",
) -> DropTable:
    """Millivolts across a fuse against its steady current, either way, with bands.

    Parameters
    ----------
    subject : FuseModel or Calibration
        A bare model gives no band.
    currents : sequence of float, optional
        Currents whose drops are asked for [A].
    voltages : sequence of float, optional
        Readings whose currents are asked for [V], instead; with neither, a table up to .9
        times the minimum fusing current.
    ambient_c : float
        Of the air at the fuse [degC].
    measured_at : {"blades", "clips", "element"}
        Where the tips of the meter touch; clips take in both contacts.
    meter_sd : float
        Standard deviation of the meter [V].
    connection : {"installed", "test"}
        Connection of a calibration.

    Returns
    -------
    DropTable

    Raises
    ------
    InputError
        ``current-not-positive``, ``drop-not-positive``, ``drop-beyond-melting``,
        ``current-melts``, ``ambient-above-melting``.

    Notes
    -----
    ``V = I R(I²)`` along the steady branch, with the resistance of the hot element, of the
    blades and, between the clips, of the contacts. V rises with I throughout, so that one
    steady current belongs to a reading. Before the terminals are warm a reading is smaller:
    down to that of the cold fuse.

    The ceiling is that of Kohlrausch, ``V² = 8 ∫ ρ k dT`` from the blades to the hottest
    point: whatever the shape, the drop allows no more.
    """
    if currents is not None and voltages is not None:
        raise InputError(
            "drop-both-ways",
            "currents and voltages were asked for at once",
            expected="one of the two",
        )
    model, cells = model_of(subject, connection), cells_of(subject)
    refuse_molten(model, ambient_c)
    notes = subject_notes(subject, connection) + ambient_notes(ambient_c)
    line = _Line.of(model, ambient_c, cells, measured_at)
    amps = _asked(line, currents, voltages)
    volts = np.array([line.voltage_at(i) for i in amps])
    bands = _bands(subject, connection, ambient_c, measured_at, amps, volts, meter_sd, line)
    factors = np.array([[[b.low, b.high] for b in side] for side in bands])
    cold = amps * line.resistance[0]
    share = line.contacts * amps / volts
    wait = _CONSTANTS * terminal_time_constant(model)
    notes += _reading_notes(amps, volts, cold, share, wait)
    metal = model.element.metal
    ceilings = [
        hot_spot_ceiling(
            metal,
            float(v),
            (line.along(line.ends[:, 0], float(i)), line.along(line.ends[:, 1], float(i))),
        )
        for i, v in zip(amps, volts, strict=True)
    ]
    return DropTable(
        name=getattr(getattr(subject, "definition", None), "id", "") or model.name,
        connection=connection if isinstance(subject, Calibration) else "of the model",
        ambient_c=float(ambient_c),
        measured_at=measured_at,
        current=amps,
        current_low=amps * factors[1, :, 0],
        current_high=amps * factors[1, :, 1],
        voltage=volts,
        voltage_low=volts * factors[0, :, 0],
        voltage_high=volts * factors[0, :, 1],
        cold_voltage=cold,
        hot_spot_c=np.array([line.along(line.hot, float(i)) for i in amps]) - ZERO_CELSIUS_K,
        ceiling_c=np.array(ceilings) - ZERO_CELSIUS_K,
        contact_share=share,
        wait=wait,
        melting_voltage=line.melting_voltage,
        rated_current=model.rated_current,
        level=LEVEL if isinstance(subject, Calibration) or meter_sd > 0.0 else 0.0,
        sources=bands[1][int(np.argmax([b.sd for b in bands[1]]))].shares,
        notes=notes,
        made_with=configuration_of(subject) | {"meter_sd_V": meter_sd},
    )


def _asked(
    line: _Line,
    currents: Sequence[float] | Floats | None,
    voltages: Sequence[float] | Floats | None,
) -> Floats:
    """Currents of the rows [A]."""
    if voltages is not None:
        volts = np.asarray(voltages, dtype=float).ravel()
        if not len(volts) or not np.all(np.isfinite(volts) & (volts > 0.0)):
            raise InputError(
                "drop-not-positive",
                "a reading is not above zero",
                expected="millivolts above zero",
                mend="exchange the tips of the meter if the sign is wrong",
            )
        if volts.max() > line.melting_voltage:
            raise InputError(
                "drop-beyond-melting",
                f"a reading of {measure(1e3 * float(volts.max()), 'mV')}, and the element melts at "
                f"{measure(1e3 * line.melting_voltage, 'mV')}: no steady current gives it",
                expected="a reading below that",
                mend="check where the tips touch and the range of the meter; a bad contact or a "
                "break in the element reads high",
            )
        return np.array([line.current_at(float(v)) for v in volts])
    if currents is None:
        return line.least * np.array(SHARES)
    amps = np.asarray(currents, dtype=float).ravel()
    if not len(amps) or not np.all(np.isfinite(amps) & (amps > 0.0)):
        raise InputError(
            "current-not-positive",
            "a drop was asked for a current that is not positive",
            expected="currents above 0 A",
        )
    if amps.max() > line.least:
        raise InputError(
            "current-melts",
            f"a current of {measure(float(amps.max()), 'A')} melts the element in the end: its "
            f"minimum fusing current here is {measure(line.least, 'A')}",
            expected="currents that the fuse carries",
        )
    return amps


def _bands(
    subject: Subject,
    connection: ConnectionName,
    ambient_c: float,
    measured_at: MeasuredAt,
    amps: Floats,
    volts: Floats,
    meter_sd: float,
    line: _Line,
) -> tuple[list[Band], list[Band]]:
    """Bands of the drop at each current, and of the current at each drop."""
    bands = [[Band(0.0, LEVEL, ()) for _ in amps] for _ in range(2)]
    if isinstance(subject, Calibration):
        fitted = subject.connected(connection)
        draws, units = subject.models(connection), subject.units.units(fitted)
        models = (*draws, *units)

        def one(k: int) -> Floats:
            its = _Line.of(models[k], ambient_c, subject.cells, measured_at)
            return np.log(
                [
                    [its.voltage_at(float(i)) for i in amps] / volts,
                    [its.current_at(float(v)) for v in volts] / amps,
                ]
            )

        off, n = np.array(each(one, len(models))), len(draws)
        bands = [
            [spread_of(off[:n, k, j], off[n:, k, j]) for j in range(len(amps))] for k in range(2)
        ]
    if meter_sd > 0.0:
        # d ln I / d ln V along the branch takes the meter's error to the current
        step = 1e-3
        slopes = [
            math.log(line.voltage_at(i) / line.voltage_at(i * (1.0 - step))) / -math.log1p(-step)
            for i in amps.tolist()
        ]
        relative = (meter_sd / volts).tolist()
        bands = [
            [b.widened("meter", r) for b, r in zip(bands[0], relative, strict=True)],
            [
                b.widened("meter", r / max(s, 0.5))
                for b, r, s in zip(bands[1], relative, slopes, strict=True)
            ],
        ]
    return bands[0], bands[1]


def _reading_notes(
    amps: Floats, volts: Floats, cold: Floats, share: Floats, wait: float
) -> tuple[Note, ...]:
    """What makes a reading ambiguous."""
    notes: tuple[Note, ...] = ()
    heated = volts / cold - 1.0
    i = int(np.argmax(heated))
    if heated[i] > _SELF_HEATING:
        early = float(amps[i] * volts[i] / cold[i])
        text = (
            f"{measure(1e3 * float(volts[i]), 'mV')} is {measure(float(amps[i]), 'A')} once the "
            f"fuse is warm, after about {seconds(wait)}; just after switching on it would be "
            f"{measure(early, 'A')}"
        )
        notes += (Note("reading-not-steady", text),)
    i = int(np.argmax(share))
    if share[i] > _CONTACTS:
        text = (
            f"contacts make up to {percent(float(share[i]))} of the drop: it says more of them "
            "than of the current; put the tips on the blades"
        )
        notes += (Note("contact-dominates", text),)
    return notes
