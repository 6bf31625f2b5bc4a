"""The fit: posterior mode of the family's quantities under what is published of one fuse."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..errors import CalibrationError, Note
from ..fuse.consistency import MINIMUM_POINTS, helpful_currents
from ..fuse.definition import Definition
from ..fuse.element import CELLS
from ..fuse.family import Family, family_of
from ..fuse.model import FuseModel
from ..fuse.prior import Prior
from ..units import REFERENCE_AMBIENT_C
from ..written import html_table, measure, percent
from .band import Ask, Band, asked
from .build import connection_notes, model_of_parameters, values_of
from .diagnosis import Diagnosis, Worth, diagnosis, worth
from .draws import Draws, Posterior, seed_of
from .nuisances import WORN_CONTACT, altered
from .observations import curve_times, observations_of
from .remarks import remarks
from .residual import Bench
from .search import ROUNDS, Problem, Settled, settle
from .unit_spread import ASSUMED, UnitSpread, unit_spread

Floats = npt.NDArray[np.float64]

#: Posterior over prior spread above which a quantity counts as left to its prior.
PRIOR_DOMINATED = 0.8
#: Step of the quantities units differ in, for differences [ln].
_UNIT_STEP = 0.05


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
    jacobian : (n, p) array
        d residual in spreads / d score, one row for each of `residuals`.
    units : UnitSpread
        How units differ.
    kept : Draws or None
        Draws of a fit file; `draws` makes its own otherwise.
    posterior : Posterior or None
        Where the fit ended, for its draws; None when it was read from a file.
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
    jacobian: Floats = field(repr=False)
    units: UnitSpread = field(default=UnitSpread(dict(ASSUMED), "assumed"), repr=False)
    kept: Draws | None = field(default=None, repr=False)
    posterior: Posterior | None = field(default=None, repr=False, compare=False)

    def _repr_html_(self) -> str:
        return html_table(self.definition.title or self.definition.id, (
            ("fitted fuse", self.definition.id),
            ("rated current", measure(self.definition.rated_current, "A")),
            ("family", self.family.name),
            ("published numbers", f"{len(self.residuals)}"),
            ("misfit of the curve", f"{percent(self.rms_current)} of the current"),
            ("installed contacts", self.contact),
            ("remarks", "; ".join(note.text for note in self.notes)),
        ))  # fmt: skip

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
        return self.connected_at(self.scores, 0.0, connection)

    def connected_at(
        self, scores: Floats, worn_score: float, connection: Literal["test", "installed"]
    ) -> FuseModel:
        """Model of scores; a worn contact lies at a score of its own prior, not of the fit's."""
        values = values_of(self.priors, scores)
        if connection == "installed" and self.contact == "worn":
            worn = self.family.priors(self.definition, "worn", stated=False)
            name = "contact_resistance"
            values |= {p.name: p.value(worn_score) for p in worn if p.name == name}
        return model_of_parameters(self.definition, self.family, values, connection)

    @property
    def draws(self) -> Draws:
        """Draws of the fit, made when first asked for; the same inputs give the same draws."""
        if self.kept is not None:
            return self.kept
        if self.posterior is None:
            raise CalibrationError(
                "no-draws",
                f"{self.definition.id}: the fit has no draws, and not what it takes to make them",
                expected="a fit of `calibrate`, or a fit file",
            )
        return self.posterior.draws

    def models(self, connection: Literal["test", "installed"]) -> tuple[FuseModel, ...]:
        """Models of the draws in one of the two connections."""
        return self._installed_models if connection == "installed" else self._test_models

    @cached_property
    def _test_models(self) -> tuple[FuseModel, ...]:
        return self._drawn_models("test")

    @cached_property
    def _installed_models(self) -> tuple[FuseModel, ...]:
        return self._drawn_models("installed")

    def _drawn_models(self, connection: Literal["test", "installed"]) -> tuple[FuseModel, ...]:
        return tuple(
            altered(
                self.connected_at(z, float(nuisances[WORN_CONTACT]), connection),
                nuisances,
                self.definition,
                connection,
            )
            for z, nuisances in zip(self.draws.scores, self.draws.nuisances, strict=True)
        )

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
        """Band on a current in the installed connection, see `band_in`."""
        return self.band_in("installed")

    def band_for(self, ask: Ask, connection: Literal["test", "installed"]) -> Band:
        """Band of the answer to a question, which is asked of the fit, its draws and its units.

        Parameters
        ----------
        ask : callable
            Gives a positive, finite answer for a model.
        connection : {"test", "installed"}
            The connection it is asked for.
        """
        model = self.connected(connection)
        return asked(ask, model, self.models(connection), self.units.units(model))

    def band_in(self, connection: Literal["test", "installed"]) -> Band:
        """Band on a current over the published range at 23 degC, the widest found in it.

        For answers that have no question of their own to ask of the draws.
        """
        return self._installed_band if connection == "installed" else self._test_band

    @cached_property
    def _test_band(self) -> Band:
        return self._widest_band("test")

    @cached_property
    def _installed_band(self) -> Band:
        return self._widest_band("installed")

    def _widest_band(self, connection: Literal["test", "installed"]) -> Band:
        points = () if self.definition.curve is None else self.definition.curve.points
        times = [t for p in points for t in (p.time, p.min_time, p.max_time) if t is not None]

        def least(model: FuseModel) -> float:
            return math.exp(Bench.of(model, REFERENCE_AMBIENT_C, self.cells).least)

        def shortest(model: FuseModel) -> float:
            bench = Bench.of(model, REFERENCE_AMBIENT_C, self.cells)
            start = math.log(max(p.current for p in points))
            return math.exp(bench.current_at(min(times), start, None, 5e-3)[0])

        asks = (least, shortest) if times else (least,)
        bands = [self.band_for(ask, connection) for ask in asks]
        return max(bands, key=lambda band: band.sd)

    @cached_property
    def diagnosis(self) -> Diagnosis:
        """What the fit knows and what it does not."""
        return diagnosis(self, PRIOR_DOMINATED)

    def worth(
        self, ask: Ask, connection: Literal["test", "installed"] = "installed"
    ) -> tuple[Worth, ...]:
        """What one further datum would do to the spread of an answer, see `diagnosis.worth`."""
        return worth(self, ask, connection)

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
    currents = {o.current for o in curve_times(definition)}
    if len(currents) < MINIMUM_POINTS:
        wanted = helpful_currents(currents, definition.rated_current)
        listed = ", ".join(measure(current, "A", 2) for current in wanted)
        raise CalibrationError(
            "too-few-observations",
            f"{definition.id}: times at {len(currents)} currents",
            expected=f"times at {MINIMUM_POINTS} currents or more",
            mend=f"add points of the published curve, near {listed} they help most",
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
        scaled[problem.watched],
        _units_of(definition, problem, mode),
    )
    fit = replace(fit, posterior=Posterior(problem, mode, seed_of(fit.configuration())))
    return replace(fit, notes=notes + remarks(fit))


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


def _units_of(definition: Definition, problem: Problem, mode: Settled) -> UnitSpread:
    """Spread of units from the points of the curve that have both limits."""
    curve = definition.curve
    points = () if curve is None else curve.points
    both = [p for p in points if None not in (p.min_time, p.max_time)]
    if curve is None or not both:
        return UnitSpread(dict(ASSUMED), "assumed")
    model = problem.model(mode.z)
    bench = Bench.of(model, curve.ambient_c, problem.cells)
    moved = UnitSpread(dict.fromkeys(ASSUMED, _UNIT_STEP), "assumed").units(model)
    others = [Bench.of(other, curve.ambient_c, problem.cells) for other in moved]
    rows, widths = [], []
    for point in both:
        assert point.min_time is not None
        assert point.max_time is not None
        time = point.time or math.sqrt(point.min_time * point.max_time)
        x, slope = bench.current_at(time, math.log(point.current))
        there = [other.current_at(time, x, slope)[0] for other in others]
        rows.append([(y - x) / _UNIT_STEP for y in there])
        widths.append(0.5 * math.log(point.max_time / point.min_time) / -slope)
    return unit_spread(np.array(rows), np.array(widths))
