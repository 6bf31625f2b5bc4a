"""Time-current characteristics of a model, at any ambient."""

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

from ..calibration.band import CONFIDENCE, QUANTILE_90, one_in_factor, spread_of
from ..calibration.fit import Calibration
from ..calibration.residual import Bench
from ..errors import InputError, Note
from ..files import write_atomic
from ..fuse.consistency import check_range
from ..fuse.model import FuseModel
from ..labelled import described
from ..solver.integrate import Ambient, ConstantBlock, integrate
from ..solver.network import build_network
from ..solver.steady import branch_of
from ..threads import each
from ..units import REFERENCE_AMBIENT_C, ambient_notes, kelvin, takes
from .subject import (
    NO_BAND,
    ConnectionName,
    Subject,
    cells_of,
    configuration_of,
    model_of,
    refuse_molten,
    worn_notes,
)

if TYPE_CHECKING:
    from ..labelled import Dataset

Floats = npt.NDArray[np.float64]

#: Tolerance of the runs, that of the fit.
TOLERANCE = 1e-4
#: A current that has not parted the element by then is said not to [s].
LONGEST = 1e5
#: Currents of a curve without a list of its own, for each ambient.
POINTS = 32
#: Currents of a grid nearer to one another than this share are one.
ALIKE = 1e-4
#: Places of the curve at which its band is found, besides the minimum fusing current; how far
#: above it they begin, as a share of it; and the last step of their search [ln A].
_PLACES, _APART, _AGREEMENT = 6, 1.02, 5e-3
#: How near to the minimum fusing current they begin, as a share of it.
NEAREST = 0.003


@dataclass(frozen=True, kw_only=True)
class TimeCurrentCurve:
    """Pre-arcing and onset times against constant current from cold, at each ambient.

    A time is nan where the current does not part (or begin to melt) the element. The band is
    that of the current which parts it at the time shown; 1 for a bare model, and below the
    minimum fusing current that of the minimum fusing current.
    """

    name: str
    connection: str
    ambient_c: Floats = field(metadata=described("ambient temperature", "degC", ("ambient_c",)))
    current: Floats = field(metadata=described("current", "A", ("current",)))
    pre_arcing_time: Floats = field(
        metadata=described("pre-arcing time", "s", ("ambient_c", "current"))
    )
    onset_time: Floats = field(
        metadata=described("time to the onset of melting", "s", ("ambient_c", "current"))
    )
    minimum_fusing_current: Floats = field(
        metadata=described("minimum fusing current", "A", ("ambient_c",))
    )
    band_low: Floats = field(
        metadata=described(
            "lower edge of the band, factor on current", "1", ("ambient_c", "current")
        )
    )
    band_high: Floats = field(
        metadata=described(
            "upper edge of the band, factor on current", "1", ("ambient_c", "current")
        )
    )
    unit_sd: Floats = field(
        metadata=described(
            "standard deviation of ln current from unit to unit", "1", ("ambient_c", "current")
        )
    )
    known_sd: Floats = field(
        metadata=described(
            "standard deviation of ln current of what is not known", "1", ("ambient_c", "current")
        )
    )
    rated_current: float | None
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(default_factory=dict, repr=False)

    def early_current(self, one_in: float, confidence: float = CONFIDENCE) -> Floats:
        """Current that parts no more than one unit in so many by the time of each point [A].

        Parameters
        ----------
        one_in : float
            Units of which no more than one has parted by then, 2 or more.
        confidence : float
            Probability with which that is said [-].

        Returns
        -------
        (ambients, currents) array
            Population and knowledge are taken apart, see `one_in_factor`.

        Raises
        ------
        InputError
            ``no-band`` for a bare model, ``one-in-too-few``, ``confidence-out-of-range``.
        """
        if not self.unit_sd.any():
            raise InputError(
                "no-band",
                f"{self.name} is a bare model, of which no spread is known",
                expected="a curve of a calibration",
                mend="calibrate a definition and ask for its curve",
            )
        if not (math.isfinite(one_in) and one_in >= 2.0):
            raise InputError("one-in-too-few", f"one unit in {one_in}", expected="2 or more")
        if not 0.5 <= confidence < 1.0:
            raise InputError(
                "confidence-out-of-range", f"a confidence of {confidence}", expected=".5 to 1"
            )
        factor = one_in_factor(self.unit_sd, self.known_sd, one_in, confidence)
        return np.asarray(self.current / factor)

    def configuration(self) -> str:
        """What the curve was made with, as JSON."""
        return json.dumps(
            {
                "fuse": self.name,
                "connection": self.connection,
                "tolerance": TOLERANCE,
                **self.made_with,
            }
        )

    def to_xarray(self) -> Dataset:
        """Dataset with coordinates ambient_c and current."""
        from ..labelled import to_dataset

        return to_dataset(self, self.configuration())

    def write_netcdf(self, path: str | Path, *, replace: bool = False) -> None:
        """Write a NetCDF file."""
        from ..labelled import write_netcdf

        write_netcdf(self.to_xarray(), path, replace=replace)

    def rows(self) -> list[dict[str, Any]]:
        """One dict an ambient and current; None where nothing melts."""

        def value(x: float) -> float | None:
            return float(x) if math.isfinite(x) else None

        return [
            {
                "ambient_C": float(a),
                "current_A": float(c),
                "pre_arcing_time_s": value(self.pre_arcing_time[i, j]),
                "onset_time_s": value(self.onset_time[i, j]),
                "band_low": float(self.band_low[i, j]),
                "band_high": float(self.band_high[i, j]),
                "unit_sd": float(self.unit_sd[i, j]),
                "known_sd": float(self.known_sd[i, j]),
            }
            for i, a in enumerate(self.ambient_c)
            for j, c in enumerate(self.current)
        ]

    def to_csv(self, path: str | Path, *, replace: bool = False) -> None:
        """Write a CSV file, one row an ambient and current, empty where nothing melts."""
        text = io.StringIO()
        rows = self.rows()
        writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        write_atomic(Path(path), text.getvalue(), replace=replace)

    def plot(self, ax: Any = None) -> Any:
        """Log-log figure of the curve."""
        from importlib import import_module

        # the floor of figures lies above this one, so it is asked for by name
        return import_module("fusetherm.show.plots").plot_curve(self, ax=ax)


def _grid(least: Floats, top: float) -> Floats:
    """Currents [A] from just above each minimum fusing current to the top, dense where steep.

    Where the grids of several ambients meet, currents that are alike become one.
    """
    top = max(top, 3.0 * float(least.max()))
    grids = [i * (1.0 + np.geomspace(NEAREST, top / i - 1.0, POINTS)) for i in least]
    merged = np.sort(np.concatenate(grids))
    kept: list[float] = []
    for current in merged[merged < top * (1.0 - ALIKE)].tolist():
        if not kept or current > kept[-1] * (1.0 + ALIKE):
            kept.append(current)
    return np.array([*kept, top], dtype=np.float64)


def _spreads(
    fit: Calibration,
    connection: ConnectionName,
    ambient_c: float,
    currents: Floats,
    times: Floats,
    least: float,
) -> tuple[Floats, Floats]:
    """Standard deviations of ln current at each point's time, of units and of knowledge [-].

    They are found at a few of the points.

    Just above the minimum fusing current the minimum fusing currents themselves are compared,
    and between the places the spread is a straight line in ln current.
    """
    draws, units = fit.models(connection), fit.units.units(fit.connected(connection))
    models = (*draws, *units)
    places = np.flatnonzero(np.isfinite(times) & (currents > _APART * least))
    if len(places) > _PLACES:
        places = places[np.linspace(0, len(places) - 1, _PLACES).round().astype(int)]

    def one(i: int) -> Floats:
        bench = Bench.of(models[i], ambient_c, fit.cells)
        found = [bench.least - math.log(least)]
        for j in places:
            x = math.log(float(currents[j]))
            found.append(bench.current_at(float(times[j]), x, None, _AGREEMENT)[0] - x)
        return np.array(found)

    off = np.array(each(one, len(models)))
    bands = [spread_of(off[: len(draws), k], off[len(draws) :, k]) for k in range(off.shape[1])]
    at = np.concatenate(([0.0], np.log(currents[places] / least)))
    here = np.log(np.maximum(currents / least, 1.0))
    return (
        np.interp(here, at, [band.unit_sd for band in bands]),
        np.interp(here, at, [band.known_sd for band in bands]),
    )


@takes(ambient_c="degC", currents="A")
def time_current_curve(
    subject: Subject,
    *,
    ambient_c: float | Sequence[float] = REFERENCE_AMBIENT_C,
    currents: Sequence[float] | Floats | None = None,
    connection: ConnectionName = "test",
) -> TimeCurrentCurve:
    """Time-current characteristic of a model or a fitted fuse.

    Parameters
    ----------
    subject : FuseModel or Calibration
    ambient_c : float or sequence of float
        Ambients [degC].
    currents : sequence of float, optional
        Currents [A]; by default from just above the lowest minimum fusing current to ten
        times the rated current, or three times the highest minimum fusing current.
    connection : {"test", "installed"}
        Connection of a calibration; a published curve belongs to the test connection.

    Returns
    -------
    TimeCurrentCurve
        Times are nan where the current never melts the element, or not within 1e5 s. Where
        answers lie outside the published curve its notes say so.

    Raises
    ------
    InputError
        ``current-not-positive``, ``ambient-above-melting``, ``ambient-missing``.
    """
    model, cells = model_of(subject, connection), cells_of(subject)
    ambients = np.atleast_1d(np.asarray(ambient_c, dtype=float))
    if ambients.ndim != 1 or not len(ambients):
        raise InputError(
            "ambient-missing", "no ambient was given", expected="one ambient, or a list of them"
        )
    bare = isinstance(subject, FuseModel)
    notes: tuple[Note, ...] = (NO_BAND,) if bare else worn_notes(subject, connection)
    for a in ambients:
        refuse_molten(model, float(a))
        notes += ambient_notes(float(a))
    kelvins = [kelvin(float(a), "ambient") for a in ambients]
    networks = [build_network(model, ambient_k=t, cells=cells) for t in kelvins]
    least = np.array(
        [math.sqrt(branch_of(n, t).largest) for n, t in zip(networks, kelvins, strict=True)]
    )
    if currents is None:
        top = 10.0 * (model.rated_current or float(least.min()))
        grid = _grid(least, top)
    else:
        grid = np.asarray(currents, dtype=float).ravel()
    if len(grid) == 0 or not np.all(np.isfinite(grid) & (grid > 0.0)):
        raise InputError(
            "current-not-positive",
            "a curve was asked for a current that is not positive",
            expected="currents above 0 A",
        )
    times = np.full((2, len(ambients), len(grid)), np.nan)

    def one(index: int) -> None:
        i, j = divmod(index, len(grid))
        if grid[j] <= least[i]:
            return
        ambient = Ambient(np.array([0.0]), np.array([kelvins[i]]))
        solution = integrate(
            networks[i],
            iter((ConstantBlock(float(grid[j]) ** 2, LONGEST, 0.0),)),
            networks[i].state(kelvins[i]),
            ambient,
            until=LONGEST,
            tolerance=TOLERANCE,
            integrator="rodas3",
        )
        for row, time in enumerate((solution.parted_time, solution.onset_time)):
            if time is not None:
                times[row, i, j] = time

    each(one, len(ambients) * len(grid))
    unit_sd, known_sd = np.zeros_like(times[0]), np.zeros_like(times[0])
    if not isinstance(subject, FuseModel):
        for i, ambient in enumerate(ambients):
            unit_sd[i], known_sd[i] = _spreads(
                subject, connection, float(ambient), grid, times[0, i], float(least[i])
            )
        parts = np.isfinite(times[0])
        notes += check_range(
            subject.definition, current=grid[parts.any(axis=0)], time=times[0][parts]
        )
    sd = np.hypot(unit_sd, known_sd)
    return TimeCurrentCurve(
        name=model.name,
        connection=connection,
        ambient_c=ambients,
        current=grid,
        pre_arcing_time=times[0],
        onset_time=times[1],
        minimum_fusing_current=least,
        band_low=np.exp(-QUANTILE_90 * sd),
        band_high=np.exp(QUANTILE_90 * sd),
        unit_sd=unit_sd,
        known_sd=known_sd,
        rated_current=model.rated_current,
        notes=tuple(dict.fromkeys(notes)),
        made_with=configuration_of(subject),
    )
