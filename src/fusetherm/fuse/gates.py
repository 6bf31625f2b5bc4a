"""Limits on opening times set by open standards, as data: gates at multiples of the rating.

A gate is a limit a standard allows, not a population of fuses: its middle is no mean. All
values here are from memory of the standards named, none was read while writing; those known
less well say so. Check the edition in force before relying on them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from ..errors import InputError

_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Gate:
    """Limits on the time at one multiple of the rated current.

    Parameters
    ----------
    multiple : float
        Current over the rated current.
    min_time, max_time : float
        Shortest and longest time allowed [s]; 0 and infinity where there is no limit.
    """

    multiple: float
    min_time: float
    max_time: float


@dataclass(frozen=True, slots=True)
class Violation:
    """A point of a curve outside a gate: current [A], time [s] and the gate it misses."""

    current: float
    time: float
    gate: Gate

    def __str__(self) -> str:
        low, high = self.gate.min_time, self.gate.max_time
        return (
            f"{self.time:g} s at {self.current:g} A ({self.gate.multiple:g} × rated) "
            f"lies outside {low:g} to {high:g} s"
        )


@dataclass(frozen=True, slots=True)
class GateTable:
    """Gates of one standard for one kind of fuse.

    Parameters
    ----------
    name : str
        Name of ours, such as ``"iso8820-3-high-current-blade"``.
    standard : str
        The standard and its part or sheet.
    source : str
        Where the values come from and how well they are known.
    gates : tuple of Gate
        In order of the multiple.
    min_rating, max_rating : float
        Rated currents the table applies to [A], both included.
    """

    name: str
    standard: str
    source: str
    gates: tuple[Gate, ...]
    min_rating: float
    max_rating: float

    def applies(self, rated_current: float) -> bool:
        """Whether the table applies to a rated current [A]."""
        return self.min_rating <= rated_current <= self.max_rating

    def violations(
        self, currents: ArrayLike, times: ArrayLike, rated_current: float
    ) -> tuple[Violation, ...]:
        """Gates a time-current curve misses [A, s].

        Parameters
        ----------
        currents, times : array_like
            Points of the curve [A, s], shape (n,), in any order; an infinite time is a
            current that is carried.
        rated_current : float
            Rated current [A].

        Returns
        -------
        tuple of Violation
            One for each gate missed; empty when the curve keeps all it reaches.

        Raises
        ------
        InputError
            ``gates-not-applicable`` when the table does not apply to that rating, or
            ``curve-shape`` when currents and times do not pair or are not positive.

        Notes
        -----
        Between points the curve is a straight line in the logarithms of time and current.
        A gate beyond the curve's currents is judged only where the order of times decides
        it: below the lowest current a curve takes longer, above the highest less long.

        Examples
        --------
        >>> table = gate_table("iso8820-3-high-current-blade")
        >>> table.violations([54, 80, 140, 240], [300, 20, 2.5, 0.3], 40.0)
        ()
        >>> print(table.violations([54, 80, 140, 240], [30, 20, 2.5, 0.3], 40.0)[0])
        30 s at 54 A (1.35 × rated) lies outside 60 to 1800 s
        """
        if not self.applies(rated_current):
            raise InputError(
                "gates-not-applicable",
                f"{self.name} does not apply to a rated current of {rated_current:g} A",
                expected=f"{self.min_rating:g} to {self.max_rating:g} A",
                mend="choose the table of the fuse's own kind",
            )
        current = np.atleast_1d(np.asarray(currents, dtype=float))
        time = np.atleast_1d(np.asarray(times, dtype=float))
        fits = current.shape == time.shape and current.ndim == 1 and current.size > 0
        if not (fits and np.all(np.isfinite(current) & (current > 0)) and np.all(time > 0)):
            raise InputError(
                "curve-shape",
                f"currents of shape {current.shape} and times of shape {time.shape}",
                expected="as many times as currents, all positive, currents finite",
            )
        order = np.argsort(current)
        current, time = current[order], time[order]
        missed = []
        for gate in self.gates:
            at = gate.multiple * rated_current
            value = _time_at(at, current, time)
            # A hair of room, for a point that stands exactly on a gate.
            too_short = value < gate.min_time * (1 - 1e-9) and at >= current[0] * (1 - 1e-9)
            too_long = value > gate.max_time * (1 + 1e-9) and at <= current[-1] * (1 + 1e-9)
            if too_short or too_long:
                missed.append(Violation(at, value, gate))
        return tuple(missed)


def _time_at(at: float, current: np.ndarray, time: np.ndarray) -> float:
    """Time [s] at a current; at the nearest point outside the curve."""
    after = int(np.searchsorted(current, at * (1 - 1e-9)))
    if after == current.size:
        return float(time[-1])
    if after == 0 or math.isclose(current[after], at, rel_tol=1e-9):
        return float(time[after])
    share = math.log(at / current[after - 1]) / math.log(current[after] / current[after - 1])
    before, behind = time[after - 1], time[after]
    if not math.isfinite(before):
        # The curve runs to infinity somewhere between the two points: not decided here.
        return math.nan
    return float(math.exp((1 - share) * math.log(before) + share * math.log(behind)))


def _gates(*rows: tuple[float, float, float]) -> tuple[Gate, ...]:
    return tuple(Gate(*row) for row in rows)


_FAST_BLADE = _gates(
    (1.1, 100 * _HOUR, math.inf),
    (1.35, 0.75, 600.0),
    (1.6, 0.25, 50.0),
    (2.0, 0.15, 5.0),
    (3.5, 0.04, 0.5),
    (6.0, 0.02, 0.1),
)
_BLADE_SOURCE = (
    "from memory, medium confidence; 23 ± 5 °C, standard test cable; the row at 1.6 stands only "
    "in newer editions, and some small ratings differ"
)
_TABLES = (
    GateTable(
        "iso8820-3-medium-blade",
        "ISO 8820-3 type C",
        _BLADE_SOURCE,
        _FAST_BLADE,
        1.0,
        40.0,
    ),
    GateTable(
        "iso8820-3-miniature-blade",
        "ISO 8820-3 type F",
        _BLADE_SOURCE,
        _FAST_BLADE,
        1.0,
        30.0,
    ),
    GateTable(
        "iso8820-3-high-current-blade",
        "ISO 8820-3 type E",
        "from memory, medium confidence; 23 ± 5 °C, standard test cable",
        _gates(
            (1.1, 100 * _HOUR, math.inf),
            (1.35, 60.0, 1800.0),
            (2.0, 2.0, 60.0),
            (3.5, 0.2, 7.0),
            (6.0, 0.04, 1.0),
        ),
        20.0,
        100.0,
    ),
    GateTable(
        "iso8820-5-bolted-strip",
        "ISO 8820-5 types SF30 and SF51",
        "from memory, low confidence: take them as orders of magnitude",
        _gates(
            (1.35, 120.0, 1800.0),
            (2.0, 1.0, 15.0),
            (3.5, 0.3, 5.0),
            (6.0, 0.1, 1.0),
        ),
        30.0,
        500.0,
    ),
    GateTable(
        "iec60127-2-sheet-1",
        "IEC 60127-2 standard sheet 1 (5 × 20 mm, quick, high breaking capacity)",
        "from memory; from 5 A upwards the gate at 2.75 goes to 3 s",
        _gates((2.1, 0.0, 1800.0), (2.75, 0.01, 2.0), (4.0, 0.003, 0.3), (10.0, 0.0, 0.02)),
        0.05,
        4.0,
    ),
    GateTable(
        "iec60127-2-sheet-1-above-4A",
        "IEC 60127-2 standard sheet 1 (5 × 20 mm, quick, high breaking capacity)",
        "from memory; 5 and 6.3 A",
        _gates((2.1, 0.0, 1800.0), (2.75, 0.01, 3.0), (4.0, 0.003, 0.3), (10.0, 0.0, 0.02)),
        5.0,
        6.3,
    ),
    GateTable(
        "iec60127-2-sheet-2",
        "IEC 60127-2 standard sheet 2 (5 × 20 mm, quick, low breaking capacity)",
        "from memory; sizes up to 100 mA have a table of their own",
        _gates((2.1, 0.0, 1800.0), (2.75, 0.05, 2.0), (4.0, 0.01, 0.3), (10.0, 0.0, 0.02)),
        0.125,
        10.0,
    ),
    GateTable(
        "iec60127-2-sheet-2-up-to-100mA",
        "IEC 60127-2 standard sheet 2 (5 × 20 mm, quick, low breaking capacity)",
        "from memory; 32 to 100 mA",
        _gates((2.1, 0.0, 1800.0), (2.75, 0.01, 0.5), (4.0, 0.003, 0.1), (10.0, 0.0, 0.02)),
        0.032,
        0.1,
    ),
    GateTable(
        "iec60127-2-sheet-3",
        "IEC 60127-2 standard sheet 3 (5 × 20 mm, time-lag, low breaking capacity)",
        "from memory; sizes up to 100 mA have a table of their own",
        _gates((2.1, 0.0, 120.0), (2.75, 0.6, 10.0), (4.0, 0.15, 3.0), (10.0, 0.02, 0.3)),
        0.125,
        10.0,
    ),
    GateTable(
        "iec60127-2-sheet-3-up-to-100mA",
        "IEC 60127-2 standard sheet 3 (5 × 20 mm, time-lag, low breaking capacity)",
        "from memory; 32 to 100 mA",
        _gates((2.1, 0.0, 120.0), (2.75, 0.2, 10.0), (4.0, 0.04, 3.0), (10.0, 0.01, 0.3)),
        0.032,
        0.1,
    ),
    GateTable(
        "iec60127-2-sheet-5",
        "IEC 60127-2 standard sheet 5 (5 × 20 mm, time-lag, high breaking capacity)",
        "from memory, medium confidence; 1 to 6.3 A, sub-ranges differ slightly",
        _gates((2.1, 0.0, 1800.0), (2.75, 0.75, 80.0), (4.0, 0.095, 5.0), (10.0, 0.01, 0.15)),
        1.0,
        6.3,
    ),
)

#: Gate tables at multiples of the rating, by name.
GATE_TABLES: Mapping[str, GateTable] = MappingProxyType({table.name: table for table in _TABLES})

#: Gates of gG fuse-links (IEC 60269-1, table of gates, from memory): rated current [A] ->
#: Imin(10 s), Imax(5 s), Imin(0.1 s), Imax(0.1 s) [A]. Imin is carried for that time at
#: least, Imax opens within it.
GG_CURRENTS: Mapping[float, tuple[float, float, float, float]] = MappingProxyType(
    {
        16.0: (33, 65, 85, 150),
        20.0: (42, 85, 110, 200),
        25.0: (52, 110, 150, 260),
        32.0: (75, 150, 200, 350),
        40.0: (95, 190, 260, 450),
        50.0: (125, 250, 350, 610),
        63.0: (160, 320, 450, 820),
        80.0: (215, 425, 610, 1100),
        100.0: (290, 580, 820, 1450),
        125.0: (355, 715, 1100, 1910),
        160.0: (460, 950, 1450, 2590),
        200.0: (610, 1250, 1910, 3420),
        250.0: (750, 1650, 2590, 4500),
        315.0: (1050, 2200, 3420, 6000),
        400.0: (1420, 2840, 4500, 8060),
        500.0: (1780, 3800, 6000, 10600),
        630.0: (2200, 5100, 8060, 14140),
        800.0: (3060, 7000, 10600, 19000),
        1000.0: (4000, 9500, 14140, 24000),
        1250.0: (5000, 13000, 19000, 35000),
    }
)


def gg_gates(rated_current: float) -> GateTable:
    """Gates of a gG fuse-link of IEC 60269-1 at a rated current [A].

    Parameters
    ----------
    rated_current : float
        Rated current [A], one of the ratings of the standard from 16 to 1250 A.

    Returns
    -------
    GateTable
        Its gates with those of the conventional fusing and non-fusing currents.

    Raises
    ------
    InputError
        ``rating-unknown``.

    Notes
    -----
    The standard fixes currents at given times; here each is turned into a multiple with a
    one-sided limit on time. Conventional time 1, 2, 3 and 4 h up to 63, 160, 400 A and above,
    non-fusing at 1.25 and fusing at 1.6 times the rating (IEC 60269-1, from memory).

    Examples
    --------
    >>> [gate.multiple for gate in gg_gates(40.0).gates]
    [1.25, 1.6, 2.375, 4.75, 6.5, 11.25]
    """
    rating = float(rated_current)
    if rating not in GG_CURRENTS:
        raise InputError(
            "rating-unknown",
            f"no gG gates are known for {rating:g} A",
            expected=", ".join(f"{known:g}" for known in GG_CURRENTS) + " A",
            mend="give a rating of the standard",
        )
    hours = next(hours for limit, hours in _CONVENTIONAL_HOURS if rating <= limit)
    imin_10, imax_5, imin_01, imax_01 = (value / rating for value in GG_CURRENTS[rating])
    return GateTable(
        f"iec60269-1-gg-{rating:g}A",
        "IEC 60269-1 gG",
        "from memory",
        _gates(
            (1.25, hours * _HOUR, math.inf),
            (1.6, 0.0, hours * _HOUR),
            (imin_10, 10.0, math.inf),
            (imax_5, 0.0, 5.0),
            (imin_01, 0.1, math.inf),
            (imax_01, 0.0, 0.1),
        ),
        rating,
        rating,
    )


_CONVENTIONAL_HOURS = ((63.0, 1.0), (160.0, 2.0), (400.0, 3.0), (math.inf, 4.0))
_GG = "iec60269-1-gg-"


def gate_table(name: str) -> GateTable:
    """Gate table of a name.

    Parameters
    ----------
    name : str
        A key of :data:`GATE_TABLES`, or ``"iec60269-1-gg-40A"`` for a gG fuse-link of 40 A.

    Returns
    -------
    GateTable
        The table.

    Raises
    ------
    InputError
        ``gates-unknown``, with the nearest name.

    Examples
    --------
    >>> gate_table("iso8820-3-medium-blade").standard
    'ISO 8820-3 type C'
    """
    if name in GATE_TABLES:
        return GATE_TABLES[name]
    rating = name.removeprefix(_GG).removesuffix("A")
    if name.startswith(_GG) and rating.replace(".", "", 1).isdigit():
        return gg_gates(float(rating))
    near = get_close_matches(name, GATE_TABLES, 1, 0.4)
    raise InputError(
        "gates-unknown",
        f"no gates are called {name!r}",
        expected=", ".join(GATE_TABLES) + f", or {_GG}40A for a gG rating",
        mend=f"did you mean {near[0]}?" if near else "choose one of these",
    )
