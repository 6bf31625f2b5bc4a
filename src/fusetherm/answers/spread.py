"""How many units begin to melt under a capture: a share of the population, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

from ..calibration.band import CONFIDENCE, LEVEL, QUANTILE_90
from ..current.waveform import Waveform
from ..errors import Note
from ..labelled import described
from ..solver.run import AmbientLike, State
from ..units import REFERENCE_AMBIENT_C, takes
from .cautions import CAUTIONS
from .margin import LARGEST, margin
from .record_remarks import rating_notes
from .subject import ConnectionName, Subject, configuration_of, model_of, subject_notes

SCHEMA = "fusetherm/spread/1"


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Share of units that begin to melt under a waveform.

    Attributes
    ----------
    share : float
        Of units, for one taken at random and with all that is not known of their median [-].
    share_low, share_high : float
        Edges of the band of the share itself: population and knowledge apart [-].
    one_in : float
        With `CONFIDENCE`, no more than one unit in so many begins to melt; inf beyond 1e12 [-].
    current_factor : float
        Factor on the current at which the median unit does [-].
    unit_sd, known_sd : float
        Standard deviations of its logarithm: of units, and of what is not known [-].
    """

    share: float = field(metadata=described("share of units that begin to melt", "1"))
    share_low: float = field(metadata=described("its lower edge", "1"))
    share_high: float = field(metadata=described("its upper edge", "1"))
    one_in: float = field(metadata=described("units of which no more than one melts", "1"))
    current_factor: float = field(metadata=described("factor of the median unit", "1"))
    unit_sd: float
    known_sd: float
    level: float
    notes: tuple[Note, ...]
    made_with: dict[str, Any] = field(repr=False)
    cautions: tuple[str, ...] = CAUTIONS

    def to_json(self) -> dict[str, Any]:
        """The answer as plain data; absent is None."""
        return {
            "schema": SCHEMA,
            "melting_share": self.share,
            "melting_share_low": self.share_low,
            "melting_share_high": self.share_high,
            "level": self.level,
            "one_in": self.one_in if math.isfinite(self.one_in) else None,
            "confidence": CONFIDENCE,
            "margin_current": self.current_factor,
            "unit_sd": self.unit_sd,
            "known_sd": self.known_sd,
            "notes": [{"code": n.code, "text": n.text} for n in self.notes],
            "made_with": self.made_with,
            "cautions": list(self.cautions),
        }


@takes(ambient_c="degC", start="A")
def spread(
    subject: Subject,
    waveform: Waveform,
    *,
    ambient_c: AmbientLike = REFERENCE_AMBIENT_C,
    start: State | float | None = None,
    after: Literal["zero", "hold"] = "zero",
    connection: ConnectionName = "installed",
) -> Spread:
    """Share of units that begin to melt under a waveform.

    Parameters
    ----------
    subject : FuseModel or Calibration
        A bare model has the assumed spread of units and nothing else.
    waveform : Waveform
        Current.
    ambient_c, start, after, connection
        As for `margin`.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        As `margin`.

    Notes
    -----
    With m the logarithm of the median unit's factor, s the spread of units and k that of
    knowledge, ``share = Phi(-m / sqrt(s² + k²))``, its edges ``Phi((-m -+ 1.645 k) / s)``, and
    ``one_in = 1 / Phi((-m + 1.645 k) / s)``: the population at its quantile, knowledge at its
    confidence. Beginning to melt counts as opening.
    """
    near = margin(
        subject,
        waveform,
        ambient_c=ambient_c,
        start=start,
        after=after,
        connection=connection,
        duration=False,
    )
    m, unit, known = math.log(near.current_factor), near.unit_sd, near.known_sd
    high = below((-m + QUANTILE_90 * known) / unit)
    if near.current_factor >= LARGEST:
        high = 0.0
    return Spread(
        share=below(-m / math.hypot(unit, known)),
        share_low=below((-m - QUANTILE_90 * known) / unit),
        share_high=high,
        one_in=1.0 / high if high > 1e-12 else math.inf,
        current_factor=near.current_factor,
        unit_sd=unit,
        known_sd=known,
        level=LEVEL,
        notes=tuple(
            dict.fromkeys(
                subject_notes(subject, connection)
                + waveform.notes
                + rating_notes(waveform, model_of(subject, connection).rated_current)
                + near.notes
            )
        ),
        made_with=configuration_of(subject),
    )


def below(score: float) -> float:
    """Share of a normal law below a score [-]."""
    return 0.5 * math.erfc(-score / math.sqrt(2.0))
