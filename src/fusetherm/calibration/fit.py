"""The fit: posterior mode of the family's quantities under what is published of one fuse."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..errors import CalibrationError, Note
from ..fuse.consistency import MINIMUM_POINTS
from ..fuse.definition import Definition
from ..fuse.element import CELLS
from ..fuse.family import Family, family_of
from ..fuse.model import FuseModel
from ..fuse.prior import Prior
from ..physics.kohlrausch import hot_spot_ceiling
from ..solver.steady import cells_for
from ..written import measure, number, percent
from .band import Band, band_of
from .build import connection_notes, model_of_parameters, values_of
from .observations import SHOWN_UNITS, observations_of
from .residual import Bench
from .search import ROUNDS, Problem, Settled, settle

Floats = npt.NDArray[np.float64]

#: Misfits above which a fit is remarked on: rms in current [-], one point in its spreads.
_POOR_RMS, _POOR_POINT = 0.03, 4.0
#: A limit counts as kept within this share of its spread.
_LIMIT_KEPT = 0.5


@dataclass(frozen=True, slots=True)
class FittedParameter:
    """One fitted quantity.

    Attributes
    ----------
    name, unit : str
        What it is, SI.
    value : float
        Posterior mode.
    low, high : float
        One standard deviation of the posterior to either side.
    prior_centre : float
        Median of the prior.
    prior_share : float
        Posterior over prior standard deviation: near 1 the data say nothing about it.
    reason : str
        Where the prior comes from.
    """

    name: str
    unit: str
    value: float
    low: float
    high: float
    prior_centre: float
    prior_share: float
    reason: str


@dataclass(frozen=True, slots=True)
class PointResidual:
    """How far the fitted model is from one observation.

    Attributes
    ----------
    kind, label, bound : str
        See `Observation`.
    observed, fitted : float
        Current [A] for times and fusing currents, ratio [-], drop [V], rise [K].
    relative : float
        ln(fitted / observed), 0 for a limit that is kept [-].
    in_spreads : float
        The same over its standard deviation [-].
    """

    kind: str
    label: str
    observed: float
    fitted: float
    relative: float
    in_spreads: float
    bound: str = ""


@dataclass(frozen=True)
class Calibration:
    """A fitted fuse: model, parameters, how well they fit and what the data left open.

    Attributes
    ----------
    definition : Definition
        What was fitted.
    family : Family
        Whose priors helped.
    scores : (p,) array
        Fitted quantities, in prior standard deviations from their centres.
    covariance : (p, p) array
        Posterior covariance of the scores (Laplace).
    """

    definition: Definition
    family: Family
    priors: tuple[Prior, ...] = field(repr=False)
    scores: Floats = field(repr=False)
    covariance: Floats = field(repr=False)
    residuals: tuple[PointResidual, ...] = field(repr=False)
    cells: int
    contact: Literal["new", "worn"]
    notes: tuple[Note, ...] = field(repr=False)

    @property
    def model(self) -> FuseModel:
        """Model in the test connection, the one the curve belongs to."""
        return self.connected("test")

    @property
    def installed(self) -> FuseModel:
        """Model in the installed connection; the test connection when none is stated."""
        return self.connected("installed")

    def connected(self, connection: Literal["test", "installed"]) -> FuseModel:
        """Model in one of the two connections."""
        values = values_of(self.priors, self.scores)
        if connection == "installed" and self.contact == "worn":
            worn = self.family.priors(self.definition, "worn", stated=False)
            values |= {p.name: p.centre for p in worn if p.name == "contact_resistance"}
        return model_of_parameters(self.definition, self.family, values, connection)

    @property
    def parameters(self) -> tuple[FittedParameter, ...]:
        """Fitted quantities with their spreads and what the prior did for them."""
        sd = np.sqrt(np.diag(self.covariance))
        return tuple(
            FittedParameter(
                name=p.name,
                unit=p.unit,
                value=p.value(float(z)),
                low=p.value(float(z - s)),
                high=p.value(float(z + s)),
                prior_centre=p.centre,
                prior_share=float(min(s, 1.0)),
                reason=" ".join(p.reason.split()),
            )
            for p, z, s in zip(self.priors, self.scores, sd, strict=True)
        )

    @property
    def rms_current(self) -> float:
        """Root mean square residual of the curve in current [-]."""
        found = [r.relative for r in self.residuals if r.kind == "time" and not r.bound]
        return math.sqrt(sum(x * x for x in found) / len(found)) if found else math.nan

    @property
    def correlations(self) -> tuple[tuple[str, str, float], ...]:
        """Pairs of quantities whose posterior correlation exceeds .5, strongest first."""
        sd = np.sqrt(np.diag(self.covariance))
        r = self.covariance / np.outer(sd, sd)
        names = [p.name for p in self.priors]
        pairs = [
            (names[i], names[j], float(r[i, j]))
            for i in range(len(names))
            for j in range(i)
            if abs(r[i, j]) > 0.5
        ]
        return tuple(sorted(pairs, key=lambda pair: -abs(pair[2])))

    @property
    def band(self) -> Band:
        """Spread of every answer in current; a fixed, documented one until draws replace it."""
        return self.band_in("installed")

    def band_in(self, connection: Literal["test", "installed"]) -> Band:
        """The same for one of the two connections."""
        return band_of(self.definition, self.rms_current, connection)

    def report(self) -> str:
        """What the fit found, in plain text."""
        from .report import text_report

        return text_report(self)

    def configuration(self) -> dict[str, Any]:
        """What the fit was made with."""
        return {
            "definition": self.definition.id,
            "definition_hash": self.definition.definition_hash,
            "family": self.family.name,
            "family_hash": self.family.family_hash,
            "cells": self.cells,
            "contact": self.contact,
        }


def calibrate(
    definition: Definition,
    *,
    family: Family | None = None,
    contact: Literal["new", "worn"] = "new",
    cells: int = CELLS,
) -> Calibration:
    """Fit a fuse model to what is published.

    Parameters
    ----------
    definition : Definition
        What is published.
    family : Family, optional
        Whose priors to use; by default the definition's.
    contact : {"new", "worn"}
        State of the installed contacts where the definition states no resistance for them.
    cells : int
        Cells of the element, also for predictions.

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        ``too-few-observations``, or ``current-not-found`` for a point out of all reach.

    Notes
    -----
    Posterior mode by Levenberg-Marquardt on the scores z, which have a standard normal
    prior: minimise ``sum ((ln I_fit - ln I) / sigma)² + sum z²``; the Jacobian is taken by
    differences and updated by Broyden's rule while steps succeed. The fit is that of new
    contacts in the test connection; worn ones belong to the installed connection.
    """
    family = family_of(definition) if family is None else family
    observations = observations_of(definition)
    currents = {o.current for o in observations if o.kind == "time" and not o.bound}
    if len(currents) < MINIMUM_POINTS:
        raise CalibrationError(
            "too-few-observations",
            f"{definition.id}: times at {len(currents)} currents",
            expected=f"times at {MINIMUM_POINTS} currents or more",
            mend="add points of the published curve",
        )
    priors = family.priors(definition)
    problem = Problem.of(definition, family, priors, observations, cells)
    mode = settle(problem)
    scaled = problem.steering(mode.table, mode.fitted)
    covariance = np.linalg.inv(scaled.T @ scaled + np.eye(len(priors)))
    residuals = _residuals(problem, mode)
    notes = definition.notes + connection_notes(definition)
    if not mode.done:
        text = f"the fit was still improving after {ROUNDS} rounds; its spreads may be off"
        notes += (Note("fit-not-settled", text),)
    fit = Calibration(
        definition,
        family,
        priors,
        mode.z,
        np.asarray(covariance, dtype=np.float64),
        residuals,
        cells,
        contact,
        notes,
    )
    notes += _misfit_notes(fit) + _limit_notes(fit) + _ceiling_notes(fit) + _mesh_notes(fit)
    return replace(fit, notes=notes)


def _residuals(problem: Problem, mode: Settled) -> tuple[PointResidual, ...]:
    """Residual of each observation; of the limits, those found broken on the way."""
    off = problem.off(mode.fitted)
    return tuple(
        PointResidual(
            kind=o.kind,
            label=o.label,
            observed=o.published,
            fitted=math.exp(mode.fitted[i]),
            relative=float(off[i]),
            in_spreads=float(off[i] * problem.weights[i]),
            bound=o.bound,
        )
        for i, o in enumerate(problem.observations)
        if problem.watched[i]
    )


def _misfit_notes(calibration: Calibration) -> tuple[Note, ...]:
    """A note when no fuse of the family meets what is published."""
    worst = max(calibration.residuals, key=lambda r: abs(r.in_spreads))
    rms = calibration.rms_current
    if rms <= _POOR_RMS and abs(worst.in_spreads) <= _POOR_POINT:
        return ()
    text = (
        f"no fuse of family {calibration.family.name} meets all that is published: "
        f"{percent(rms)} rms in current, and {worst.label} is off by "
        f"{percent(worst.relative)}, {number(abs(worst.in_spreads), 2)} spreads"
    )
    return (Note("poor-fit", text),)


def _mesh_notes(calibration: Calibration) -> tuple[Note, ...]:
    """A note when the mesh was too coarse for the fitted element, whose sizes then absorbed it."""
    wanted = cells_for(calibration.model)
    if wanted <= calibration.cells:
        return ()
    text = (
        f"{calibration.cells} cells are few for the fitted element: its sizes took up what the "
        f"mesh left out; {wanted} cells would leave less than .01 % in the minimum fusing current"
    )
    return (Note("coarse-mesh", text),)


def _limit_notes(calibration: Calibration) -> tuple[Note, ...]:
    """Notes on limits the fitted model does not keep."""
    notes = []
    for r in calibration.residuals:
        if not r.bound or abs(r.in_spreads) < _LIMIT_KEPT:
            continue
        unit, _ = SHOWN_UNITS[r.kind]
        text = f"{r.label}: the fitted model has {measure(r.fitted, unit)} there"
        if r.kind == "time":
            text = (
                f"{r.label}: the fitted curve parts then at {measure(r.fitted, 'A')}, and the "
                f"limit is set at {measure(r.observed, 'A')}"
            )
        notes.append(Note("outside-limit", text))
    return tuple(notes)


def _ceiling_notes(calibration: Calibration) -> tuple[Note, ...]:
    """A published drop bounds the hot spot; a curve that melts below it contradicts it."""
    definition = calibration.definition
    metal = calibration.model.element.metal
    least = Bench.of(calibration.model, 23.0, calibration.cells).least
    notes = []
    for drop in definition.voltage_drops:
        ceiling = hot_spot_ceiling(metal, drop.voltage, drop.ambient_c + 273.15)
        if math.log(drop.current) > least and math.isfinite(ceiling):
            text = (
                f"a drop of {measure(drop.voltage, 'V')} allows no hot spot above "
                f"{number(ceiling - 273.15)} °C, yet the curve melts the element at "
                f"{measure(drop.current, 'A')}"
            )
            notes.append(Note("drop-contradicts-curve", text))
    return tuple(notes)
