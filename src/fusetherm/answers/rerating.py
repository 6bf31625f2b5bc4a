"""Re-rating (derating): what a fuse carries for ever against ambient, by stated criteria."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..calibration.band import LEVEL, Band, spread_of
from ..calibration.fit import Calibration
from ..errors import InputError, Note
from ..fuse.model import FuseModel
from ..fuse.published import ReRating
from ..labelled import described
from ..physics.kohlrausch import ambient_ratio_convective, ambient_ratio_end_cooled_wf
from ..solver.network import build_network
from ..solver.steady import branch_of
from ..threads import each
from ..units import REFERENCE_AMBIENT_C, ambient_notes, kelvin, takes
from ..written import measure, number, percent
from .curve import time_current_curve
from .holder import LIMIT_KEYS
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

#: Ambients of an answer without a list of its own [degC].
AMBIENTS_C = (-40.0, -20.0, 0.0, 23.0, 40.0, 60.0, 70.0, 85.0, 105.0, 125.0)
#: Multiples of the rated current whose pre-arcing times are told.
MULTIPLES = (1.35, 2.0, 6.0)
#: Share of the re-rated current a continuous load takes (common practice, no source).
PRACTICE = (0.7, 0.8)
#: Criteria, in the order of their columns.
CRITERIA = (
    "same hot spot as at the rated current and 23 °C",
    "same share of the minimum fusing current",
    "limit of a terminal, the body or the cable insulation",
)
#: What governs where the definition has points of its own.
PUBLISHED = "published re-rating"
#: How far a minimum fusing current may lie outside the two limiting models unremarked [-].
_BRACKET = 0.01


@dataclass(frozen=True, kw_only=True)
class ReRated:
    """Continuous currents of a fuse against ambient.

    Each array has one value an ambient. ``continuous_current`` is the published one where
    the definition has points, else the lowest of the three criteria; a criterion that has no
    answer is nan. The minimum fusing current is what melts the element in the end: no load.
    """

    name: str
    connection: str
    rated_current: float
    ambient_c: Floats = field(metadata=described("ambient temperature", "degC", ("ambient_c",)))
    hot_spot_current: Floats = field(metadata=described(CRITERIA[0], "A", ("ambient_c",)))
    fusing_share_current: Floats = field(metadata=described(CRITERIA[1], "A", ("ambient_c",)))
    limit_current: Floats = field(metadata=described(CRITERIA[2], "A", ("ambient_c",)))
    published_current: Floats = field(
        metadata=described("published continuous current", "A", ("ambient_c",))
    )
    continuous_current: Floats = field(
        metadata=described("continuous current", "A", ("ambient_c",))
    )
    continuous_low: Floats = field(metadata=described("its lower edge", "A", ("ambient_c",)))
    continuous_high: Floats = field(metadata=described("its upper edge", "A", ("ambient_c",)))
    minimum_fusing_current: Floats = field(
        metadata=described("minimum fusing current", "A", ("ambient_c",))
    )
    minimum_fusing_low: Floats = field(metadata=described("its lower edge", "A", ("ambient_c",)))
    minimum_fusing_high: Floats = field(metadata=described("its upper edge", "A", ("ambient_c",)))
    bracket_low: Floats = field(
        metadata=described(
            "minimum fusing current, lower of the limiting models", "A", ("ambient_c",)
        )
    )
    bracket_high: Floats = field(
        metadata=described(
            "minimum fusing current, higher of the limiting models", "A", ("ambient_c",)
        )
    )
    current: Floats = field(metadata=described("overload", "A", ("current",)))
    pre_arcing_time: Floats = field(
        metadata=described("pre-arcing time from cold", "s", ("ambient_c", "current"))
    )
    governs: tuple[str, ...]
    level: float
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def practice(self) -> tuple[Floats, Floats]:
        """What common practice loads continuously, 70 and 80 % of the continuous current [A]."""
        return PRACTICE[0] * self.continuous_current, PRACTICE[1] * self.continuous_current

    def configuration(self) -> str:
        """What the answer was made with, as JSON."""
        head = {"fuse": self.name, "connection": self.connection, "governs": list(self.governs)}
        return json.dumps(head | self.made_with)

    def to_xarray(self) -> Dataset:
        """Dataset against ambient_c."""
        from ..labelled import to_dataset

        return to_dataset(self, self.configuration())

    def plot(self, ax: Any = None) -> Any:
        """Figure of the currents against ambient."""
        from importlib import import_module

        # the floor of figures lies above this one, so it is asked for by name
        return import_module("fusetherm.show.plots").plot_rerating(self, ax=ax)


@dataclass(frozen=True, slots=True)
class _At:
    """Rising part of the steady branch of a model at one ambient.

    Attributes
    ----------
    hot : (p,) array
        Hottest cell on the scale of the state.
    squares : (p,) array
        I² [A²].
    parts : dict of str to (p,) array
        Hottest of each kind of part [degC].
    least : float
        Minimum fusing current [A].
    """

    hot: Floats
    squares: Floats
    parts: dict[str, Floats]
    least: float

    @classmethod
    def of(cls, model: FuseModel, ambient_c: float, cells: int) -> _At:
        ambient_k = kelvin(ambient_c, "ambient")
        network = build_network(model, ambient_k=ambient_k, cells=cells)
        branch = branch_of(network, ambient_k)
        last = int(np.argmax(branch.squares)) + 1
        cold = network.state(ambient_k)
        states = np.vstack((cold, branch.states[:last]))
        kelvins = np.array([network.temperature_k(u) for u in states])
        parts: dict[str, Floats] = {}
        for name, place in network.nodes.items():
            kind, own = name.split("_")[0], kelvins[:, place] - 273.15
            parts[kind] = np.maximum(parts[kind], own) if kind in parts else own
        hot = np.concatenate(([float(cold[network.first])], branch.targets[:last]))
        squares = np.concatenate(([0.0], branch.squares[:last]))
        return cls(hot, squares, parts, math.sqrt(branch.largest))

    def current_at_hot(self, hot: float) -> float:
        """Current that brings the hottest cell to a state; 0 where ambient is hotter [A]."""
        return _current(hot, self.hot, self.squares)

    def hot_at(self, current: float) -> float:
        """State of the hottest cell at a current the branch reaches."""
        from scipy.optimize import brentq

        # by the same curve that leads back, so that the rating comes back at its own ambient
        def surplus(hot: float) -> float:
            return _smooth(hot, self.hot, self.squares) - current * current

        if current * current >= self.squares[-1]:
            return float(self.hot[-1])
        return float(brentq(surplus, self.hot[0], self.hot[-1], xtol=1e-9))

    def current_at_limit(self, limits: dict[str, float]) -> float:
        """Largest current at which no part exceeds its limit, nan where none is stated [A]."""
        found = [
            _current(limit, self.parts[part], self.squares)
            for part, limit in limits.items()
            if part in self.parts
        ]
        return min(found) if found else math.nan


def _smooth(x: float, xs: Floats, ys: Floats) -> float:
    from scipy.interpolate import PchipInterpolator

    return float(PchipInterpolator(xs, ys)(x))


def _current(target: float, values: Floats, squares: Floats) -> float:
    """Current at which a value that rises along the branch reaches a target [A]."""
    if target <= values[0]:
        return 0.0
    if target >= values[-1]:
        return math.sqrt(float(squares[-1]))
    return math.sqrt(max(0.0, _smooth(target, values, squares)))


def _currents(model: FuseModel, rated: float, ambients: Floats, cells: int) -> Floats:
    """Currents by the three criteria, and minimum fusing currents, (4, ambients) [A]."""
    reference = _At.of(model, REFERENCE_AMBIENT_C, cells)
    limits = {
        part: float(getattr(model.limits, key.lower()))
        for part, key in LIMIT_KEYS.items()
        if getattr(model.limits, key.lower()) is not None
    }
    # a connection in which the rating itself melts the element: re-rated at the melting point
    hot = reference.hot_at(min(rated, math.sqrt(float(reference.squares[-1]))))
    found = []
    for ambient_c in ambients:
        at = _At.of(model, float(ambient_c), cells)
        share = rated * at.least / reference.least
        found.append((at.current_at_hot(hot), share, at.current_at_limit(limits), at.least))
    return np.array(found).T


@takes(ambient_c="degC", rated_current="A")
def rerate(
    subject: Subject,
    *,
    ambient_c: float | Sequence[float] | range = AMBIENTS_C,
    rated_current: float | None = None,
    connection: ConnectionName = "installed",
) -> ReRated:
    """Continuous current against ambient by three criteria, the lowest of which governs.

    Parameters
    ----------
    subject : FuseModel or Calibration
        What carries the current; a bare model gives no band.
    ambient_c : float or sequence of float
        Ambients of the air at the fuse [degC].
    rated_current : float, optional
        Rated current [A]; that of the subject when absent.
    connection : {"installed", "test"}
        Connection of a calibration.

    Returns
    -------
    ReRated

    Raises
    ------
    InputError
        ``rating-missing``, ``ambient-missing``, ``ambient-above-melting``.

    Notes
    -----
    The rated current is what the fuse is said to carry at 23 degC; from there

    1. the hot spot stays as hot as it is then: ``I`` on the steady branch at the ambient;
    2. the share of the minimum fusing current stays the same: ``I = I_n I_f(T) / I_f(23 °C)``;
    3. blade, clip, body and cable insulation stay within their limits.

    The second allows most, since the melting point is far above the hot spot. Published
    points win within their range; between two of them the factor is a straight line.

    A minimum fusing current usually lies between two limiting models, ``sqrt((Tm - T)/
    (Tm - T23))`` of a fixed film coefficient and ``acos(T/Tm)/acos(T23/Tm)`` of an end-cooled
    metal of Wiedemann and Franz. Where it does not, films that change with the ambient,
    blades that warm up with their cables and the metal's own tables make the difference.
    """
    model, cells = model_of(subject, connection), cells_of(subject)
    rated = model.rated_current if rated_current is None else rated_current
    if rated is None or not (math.isfinite(rated) and rated > 0.0):
        raise InputError(
            "rating-missing",
            "no rated current to re-rate" if rated is None else f"the rated current is {rated} A",
            expected="a rated current above zero",
            mend="state the rated current of the fuse",
        )
    ambients = np.atleast_1d(np.asarray(ambient_c, dtype=float))
    if ambients.ndim != 1 or not len(ambients):
        raise InputError(
            "ambient-missing", "no ambient was given", expected="one ambient, or a list of them"
        )
    notes = subject_notes(subject, connection)
    for a in ambients:
        refuse_molten(model, float(a))
        notes += ambient_notes(float(a))

    by_model = _currents(model, rated, ambients, cells)
    published, published_fusing = _published(subject, ambients, rated)
    lowest = np.nanmin(by_model[:3], axis=0)
    which = np.nanargmin(by_model[:3], axis=0)
    given = np.isfinite(published)
    governs = tuple(
        PUBLISHED if wins else CRITERIA[i] for wins, i in zip(given, which, strict=True)
    )
    bands = _bands(subject, connection, rated, ambients, cells)
    # a published value is stated, not computed: it has no band of ours
    factors = np.array([[b.low, b.high] for b in bands[0]]).T
    continuous = np.where(given, published, lowest)
    edges = np.where(given, 1.0, factors)
    fusing = np.array([[b.low, b.high] for b in bands[1]]).T
    melts = _melting_k(model)
    reference_k = kelvin(REFERENCE_AMBIENT_C)
    least_23 = _At.of(model, REFERENCE_AMBIENT_C, cells).least
    limiting = least_23 * np.array(
        [
            [law(kelvin(float(a)), melts, reference_k) for a in ambients]
            for law in (ambient_ratio_convective, ambient_ratio_end_cooled_wf)
        ]
    )
    bracket = np.sort(limiting, axis=0)
    curve = time_current_curve(
        model, ambient_c=ambients.tolist(), currents=[m * rated for m in MULTIPLES]
    )
    notes += _bracket_note(ambients, by_model[3], bracket)
    notes += _reference_notes(rated, least_23, ambients, by_model[0])
    notes += _published_notes(ambients, published, lowest, published_fusing, by_model[3] / least_23)
    return ReRated(
        name=getattr(getattr(subject, "definition", None), "id", "") or model.name or "fuse",
        connection=connection if isinstance(subject, Calibration) else "of the model",
        rated_current=float(rated),
        ambient_c=ambients,
        hot_spot_current=by_model[0],
        fusing_share_current=by_model[1],
        limit_current=by_model[2],
        published_current=published,
        continuous_current=continuous,
        continuous_low=continuous * edges[0],
        continuous_high=continuous * edges[1],
        minimum_fusing_current=by_model[3],
        minimum_fusing_low=by_model[3] * fusing[0],
        minimum_fusing_high=by_model[3] * fusing[1],
        bracket_low=bracket[0],
        bracket_high=bracket[1],
        current=curve.current,
        pre_arcing_time=curve.pre_arcing_time,
        governs=governs,
        level=LEVEL if isinstance(subject, Calibration) else 0.0,
        notes=notes,
        made_with=configuration_of(subject),
    )


def _bands(
    subject: Subject, connection: ConnectionName, rated: float, ambients: Floats, cells: int
) -> tuple[list[Band], list[Band]]:
    """Bands of continuous and of minimum fusing currents, one an ambient."""
    if not isinstance(subject, Calibration):
        none = [Band(0.0, LEVEL, ()) for _ in ambients]
        return none, none
    fitted = subject.connected(connection)
    draws, units = subject.models(connection), subject.units.units(fitted)
    models = (fitted, *draws, *units)

    def one(i: int) -> Floats:
        found = _currents(models[i], rated, ambients, cells)
        return np.log(np.maximum([np.nanmin(found[:3], axis=0), found[3]], 1e-9))

    found = np.array(each(one, len(models)))
    off = found[1:] - found[0]
    bands = [
        [spread_of(off[: len(draws), k, j], off[len(draws) :, k, j]) for j in range(len(ambients))]
        for k in range(2)
    ]
    return bands[0], bands[1]


def _melting_k(model: FuseModel) -> float:
    """Temperature the minimum fusing current leads to [K]."""
    spot = model.element.spot
    return model.element.metal.solidus_k if spot is None else float(spot.dissolution.onset_k)


def _published(subject: Subject, ambients: Floats, rated: float) -> tuple[Floats, Floats]:
    """Published continuous currents [A] and fusing ratios [-], nan outside their points."""
    empty = np.full(len(ambients), math.nan)
    stated: ReRating | None = getattr(getattr(subject, "definition", None), "re_rating", None)
    if stated is None:
        return empty, empty.copy()
    points = sorted((p.ambient_c, p.factor) for p in stated.points)
    x, y = (np.array(v) for v in zip(*points, strict=True))
    factor = np.interp(ambients, x, y, left=math.nan, right=math.nan)
    return (empty, factor) if stated.criterion == "fusing" else (rated * factor, empty)


def _bracket_note(ambients: Floats, least: Floats, bracket: Floats) -> tuple[Note, ...]:
    out = np.maximum(bracket[0] / least, least / bracket[1]) - 1.0
    worst = int(np.argmax(out))
    if out[worst] <= _BRACKET:
        return ()
    text = (
        f"at {measure(float(ambients[worst]), '°C')} the minimum fusing current of "
        f"{measure(float(least[worst]), 'A')} lies {percent(float(out[worst]))} outside the two "
        f"limiting models ({number(float(bracket[0][worst]))} to "
        f"{number(float(bracket[1][worst]))} A): films that change with the ambient, cables that "
        "warm the blades, and the tables of the metal, which the limits leave out"
    )
    return (Note("outside-limiting-models", text),)


def _reference_notes(
    rated: float, least_23: float, ambients: Floats, hot_spot: Floats
) -> tuple[Note, ...]:
    notes: tuple[Note, ...] = ()
    if rated >= least_23:
        text = (
            f"in this connection the rated current of {measure(rated, 'A')} itself melts the "
            f"element at 23 °C, which carries {measure(least_23, 'A')} at most: the hot spot was "
            "held at the melting point"
        )
        notes += (Note("rating-not-carried", text),)
    idle = np.flatnonzero(hot_spot <= 0.0)
    if len(idle):
        text = (
            f"from {measure(float(ambients[idle].min()), '°C')} on the air is hotter than the hot "
            "spot at the rated current: that criterion allows nothing, which a published "
            "re-rating may correct"
        )
        notes += (Note("ambient-above-hot-spot", text),)
    if ambients.min() < REFERENCE_AMBIENT_C:
        text = (
            "below 23 °C the criteria allow more than the rating: use it only where the maker "
            "publishes it, and the fuse never gets warmer"
        )
        notes += (Note("above-the-rating", text),)
    return notes


def _published_notes(
    ambients: Floats, published: Floats, lowest: Floats, fusing: Floats, ratio: Floats
) -> tuple[Note, ...]:
    """What is published against what was computed, at the ambient where they differ most."""
    notes: tuple[Note, ...] = ()
    for found, ours, what in (
        (published, lowest, "continuous current"),
        (fusing, ratio, "change of the minimum fusing current"),
    ):
        there = np.isfinite(found) & (found > 0.0)
        if not there.any():
            continue
        off = np.where(there, ours / np.where(there, found, 1.0) - 1.0, 0.0)
        i = int(np.argmax(np.abs(off)))
        more = "above" if off[i] > 0.0 else "below"
        text = (
            f"the computed {what} lies up to {percent(abs(float(off[i])))} {more} the published "
            f"one, at {measure(float(ambients[i]), '°C')}"
        )
        if what == "continuous current":
            text += "; the published one is taken"
        notes += (Note("published-re-rating", text),)
    return notes
