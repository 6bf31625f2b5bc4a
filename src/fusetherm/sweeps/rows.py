"""One block of a sweep: the rows of some numbers, each simulated by itself."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from ..current.shapes import constant
from ..current.waveform import Waveform
from ..errors import FusethermError, SolveError
from ..fuse.model import FuseModel
from ..solver.run import Run, simulate
from .plan import MIDDLE, Work

Rows = npt.NDArray[np.int64]

#: What became of a row; 0 stands for a row that is missing from a merged result.
STATUSES = ("missing", "held", "melted", "opened", "failed")
MISSING, HELD, MELTED, OPENED, FAILED = range(5)
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
    kept: Any = lru_cache(maxsize=64)(lambda *unit: unit_model(work, *unit))
    status = np.zeros(len(rows), np.int8)
    values = {name: np.full(len(rows), np.nan) for name in RESULTS}
    reasons: dict[int, tuple[str, str]] = {}
    for i, row in enumerate(rows.tolist()):
        at = {name: column[i].item() for name, column in axes.items()}
        try:
            run = _run(work, kept(at["fuse"], at["draw"], at["unit"]), at)
        except FusethermError as fault:
            status[i], reasons[row] = FAILED, (fault.code, fault.found)
            continue
        except Exception as fault:  # one row must not end a sweep of a million
            text = f"{type(fault).__name__}: {fault}"
            status[i], reasons[row] = FAILED, ("row-failed", text)
            continue
        status[i] = OPENED if run.opened else HELD if run.onset_time is None else MELTED
        for name, column in values.items():
            found = getattr(run, name)
            column[i] = np.nan if found is None else found
    return Solved(rows, status, values, reasons)


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


def unit_model(work: Work, fuse: str, draw: int, unit: int) -> FuseModel:
    """Model of a unit: its scores come from the seed of the sweep and its number alone."""
    kind = work.fuses[fuse]
    model = kind.models[draw]
    if unit == MIDDLE:
        return model
    scores = np.random.default_rng([work.seed, unit]).standard_normal(len(kind.spread.sd))
    return kind.spread.unit(model, scores)


def waveform_of(work: Work, at: Mapping[str, Any]) -> Waveform:
    """Current of a row."""
    if "current" in at:
        return constant(at["current"], at["duration"])
    wave = work.waveforms[at["waveform"]]
    return wave if at["factor"] == 1.0 else wave.scaled(at["factor"])


def _run(work: Work, model: FuseModel, at: Mapping[str, Any]) -> Run:
    run = simulate(
        model,
        waveform_of(work, at),
        ambient_c=at["ambient_c"],
        start=at["preload"] or None,
        after=work.after,
        tolerance=work.tolerance,
        cells=work.fuses[at["fuse"]].cells,
        trace="peaks",
    )
    if not math.isfinite(run.peak_temperature_c):
        raise SolveError("row-not-finite", "the peak temperature is not a number")
    return run
