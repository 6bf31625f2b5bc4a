"""One block of a sweep: the rows of some numbers, each simulated by itself."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import FusethermError, SolveError
from ..solver.batch import SOUND, Scenario, results_of, run_lanes, structure
from ..solver.run import Run, simulate
from .plan import Work
from .scenarios import Scenarios

Rows = npt.NDArray[np.int64]

#: What became of a row; 0 stands for a row that is missing from a merged result.
STATUSES = ("missing", "held", "melted", "opened", "failed")
MISSING, HELD, MELTED, OPENED, FAILED = range(5)
#: Rows that run side by side before an interrupt is heard.
_AT_ONCE = 128
#: Result -> long name and unit.
RESULTS: Mapping[str, tuple[str, str]] = {
    "onset_time": ("time at which the hottest point began to melt", "s"),
    "pre_arcing_time": ("time at which the element parted", "s"),
    "peak_temperature_c": ("highest temperature of the element", "degC"),
    "peak_time": ("time of the peak", "s"),
    "melting_share": ("share of the enthalpy to full melting at the peak", "1"),
    "onset_share": ("enthalpy rise at the peak over that to the onset of melting", "1"),
    "dissolved_share": ("share of the cross-section a spot has dissolved", "1"),
    "i2t": ("Joule integral up to the end or the opening", "A2 s"),
    "energy": ("heat generated", "J"),
    "duration": ("time covered", "s"),
    "conservation": ("heat made less lost less stored, relative", "1"),
}
#: Name of a result in the dataset, where an axis has the same.
NAMES: Mapping[str, str] = {"duration": "time_covered"}


@dataclass(frozen=True, slots=True)
class Solved:
    """Results of some rows.

    Attributes
    ----------
    rows : (n,) array
        Their numbers.
    status : (n,) array
        Place in `STATUSES`.
    values : dict of str to (n,) array
        By the names of `RESULTS`; NaN where the status says that there is none.
    reasons : dict of int to (code, text)
        Why rows failed, by row.
    """

    rows: Rows
    status: npt.NDArray[np.int8]
    values: dict[str, npt.NDArray[np.float64]]
    reasons: dict[int, tuple[str, str]]


def solve_rows(work: Work, rows: Rows) -> Solved:
    """Simulate some rows of a sweep, one thread, each row from its own numbers alone.

    A row that cannot be computed fails with its reason and leaves the others alone.

    Parameters
    ----------
    work : Work
        The sweep.
    rows : (n,) array
        Numbers of the rows.

    Returns
    -------
    Solved
    """
    axes = work.values(rows)
    found = Solved(
        rows,
        np.zeros(len(rows), np.int8),
        {name: np.full(len(rows), np.nan) for name in RESULTS},
        {},
    )
    shared = Scenarios(work)
    lanes: dict[Any, list[tuple[int, Scenario]]] = {}
    alone = []
    asked = [{name: column[i].item() for name, column in axes.items()} for i in range(len(rows))]
    for i, at in enumerate(asked):
        try:
            scenario = shared.scenario(at)
        except Exception:  # asked again by itself, where its reason is taken down
            scenario = None
        if scenario is None:
            alone.append(i)
        else:
            lanes.setdefault(structure(scenario.network), []).append((i, scenario))
    for members in lanes.values():
        for k in range(0, len(members), _AT_ONCE):
            alone += _side_by_side(work, members[k : k + _AT_ONCE], found)
    for i in alone:
        _by_itself(shared, asked[i], i, found)
    return found


def _side_by_side(work: Work, members: list[tuple[int, Scenario]], found: Solved) -> list[int]:
    """Simulate rows of one structure together; places of those to be asked again alone."""
    scenarios = [scenario for _, scenario in members]
    places = np.array([i for i, _ in members])
    try:
        done = run_lanes(scenarios, tolerance=work.tolerance, to_onset=work.to == "onset")
    except Exception:  # each is asked alone, where its reason is taken down
        return [i for i, _ in members]
    results = results_of(scenarios, done)
    sound = np.isin(done.outcome, SOUND) & np.isfinite(results["peak_temperature_c"])
    melted = ~np.isnan(results["onset_time"])
    opened = ~np.isnan(results["pre_arcing_time"])
    status = np.where(opened, OPENED, np.where(melted, MELTED, HELD))
    found.status[places[sound]] = status[sound]
    for name, column in found.values.items():
        column[places[sound]] = results[name][sound]
    return [int(i) for i in places[~sound]]


def _by_itself(shared: Scenarios, at: Mapping[str, Any], i: int, found: Solved) -> None:
    """Simulate one row, or take down why it cannot be."""
    try:
        run = _run(shared, at)
    except FusethermError as fault:
        found.status[i], found.reasons[int(found.rows[i])] = FAILED, (fault.code, fault.found)
        return
    except Exception as fault:  # one row must not end a sweep of a million
        text = f"{type(fault).__name__}: {fault}"
        found.status[i], found.reasons[int(found.rows[i])] = FAILED, ("row-failed", text)
        return
    found.status[i] = OPENED if run.opened else HELD if run.onset_time is None else MELTED
    for name, column in found.values.items():
        value = getattr(run, name)
        column[i] = np.nan if value is None else value


def failed(rows: Rows, code: str, text: str) -> Solved:
    """Rows that failed, all for one reason."""
    return Solved(
        rows,
        np.full(len(rows), FAILED, np.int8),
        {name: np.full(len(rows), np.nan) for name in RESULTS},
        dict.fromkeys(rows.tolist(), (code, text)),
    )


def joined(parts: list[Solved]) -> Solved:
    """Parts of one block, in their order."""
    reasons: dict[int, tuple[str, str]] = {}
    for part in parts:
        reasons |= part.reasons
    return Solved(
        np.concatenate([part.rows for part in parts]),
        np.concatenate([part.status for part in parts]),
        {name: np.concatenate([part.values[name] for part in parts]) for name in RESULTS},
        reasons,
    )


def _run(shared: Scenarios, at: Mapping[str, Any]) -> Run:
    work = shared.work
    run = simulate(
        shared.model(at),
        shared.waveform(at),
        ambient_c=at["ambient_c"],
        start=at["preload"] or None,
        after=work.after,
        to=work.to,
        tolerance=work.tolerance,
        cells=work.fuses[at["fuse"]].cells,
        trace="peaks",
    )
    if not math.isfinite(run.peak_temperature_c):
        raise SolveError("row-not-finite", "the peak temperature is not a number")
    return run
