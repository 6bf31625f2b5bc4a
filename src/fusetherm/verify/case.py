"""A row of the verification table: what is measured, what is expected, and who says so."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from ..errors import InputError

__all__ = ["Case", "Origin", "Row", "case"]

#: How the expected value was come by: read in its source, computed apart from what it checks,
#: or from memory.
Origin = Literal["read", "computed", "memory"]
Expected = float | tuple[float, float]


@dataclass(frozen=True, slots=True)
class Case:
    """A check with its expectation; call :meth:`run` to make a row of it.

    Parameters
    ----------
    id : str
        Short stable name, such as ``"notch-exact-minimum-current"``.
    topic : str
        Name of the group, such as ``"notches"``.
    what : str
        What is checked, in a line.
    unit : str
        Unit of the value, ``"1"`` for a plain number.
    expected : float or (float, float)
        The value, or the ends of a band; an end may be infinite.
    tolerance : float
        Largest error; zero for a band.
    relative : bool
        Whether error and tolerance are shares of the expected value.
    source : str
        Where the expected value comes from.
    origin : {"read", "computed", "memory"}
        Whether that was read, computed apart from what is checked, or is from memory.
    calls : str
        Public function that is checked, dotted.
    integrates : bool
        Whether the value goes through the transient or the steady solver.
    measure : callable
        Gives the value.
    """

    id: str
    topic: str
    what: str
    unit: str
    expected: Expected
    tolerance: float
    relative: bool
    source: str
    origin: Origin
    calls: str
    integrates: bool
    measure: Callable[[], float] = field(repr=False, compare=False)

    def __post_init__(self) -> None:
        exact = not isinstance(self.expected, tuple)
        low, high = self.expected if isinstance(self.expected, tuple) else (self.expected,) * 2
        faults = {
            "a finite value": exact and not math.isfinite(low),
            "a tolerance above zero": exact and not 0.0 < self.tolerance < math.inf,
            "a band of two numbers, the lower end first": not exact and not low < high,
            "a band without a tolerance of its own": not exact and self.tolerance != 0.0,
            "an absolute tolerance about zero": exact and self.relative and low == 0.0,
            "a source": not self.source.strip(),
            "an origin of read, computed or memory": self.origin
            not in ("read", "computed", "memory"),
        }
        for expected, wrong in faults.items():
            if wrong:
                raise InputError(
                    "case-not-sound",
                    f"case {self.id!r} expects {self.expected} within {self.tolerance}",
                    expected=expected,
                )

    @property
    def band(self) -> tuple[float, float]:
        """Smallest and largest value that passes."""
        if isinstance(self.expected, tuple):
            return self.expected
        spread = self.tolerance * (abs(self.expected) if self.relative else 1.0)
        return self.expected - spread, self.expected + spread

    def error_of(self, got: float) -> float:
        """Error of a value: a share when the case is relative, else in its unit.

        Against a band it is the distance to the nearest end, zero inside.
        """
        if isinstance(self.expected, tuple):
            low, high = self.expected
            if low <= got <= high:
                return 0.0
            return got - low if got < low else got - high
        return (got - self.expected) / (abs(self.expected) if self.relative else 1.0)

    def run(self) -> Row:
        """Measure, and compare; an exception becomes a failed row."""
        begin = time.perf_counter()
        try:
            got = float(self.measure())
        except Exception as cause:
            spent = time.perf_counter() - begin
            return Row(self, math.nan, math.nan, False, spent, f"{type(cause).__name__}: {cause}")
        spent = time.perf_counter() - begin
        error = self.error_of(got)
        # not "error > tolerance": a value that is no number must fail
        return Row(self, got, error, abs(error) <= self.tolerance, spent)


@dataclass(frozen=True, slots=True)
class Row:
    """A case and what came of it.

    Parameters
    ----------
    case : Case
    got : float
        Value measured; NaN when measuring failed.
    error : float
        As :meth:`Case.error_of`.
    passed : bool
        Whether the error is within the tolerance.
    seconds : float
        Time it took [s].
    failure : str
        What was raised while measuring, empty otherwise.
    """

    case: Case
    got: float
    error: float
    passed: bool
    seconds: float
    failure: str = ""


def case(
    id: str,
    what: str,
    *,
    unit: str,
    expected: Expected,
    source: str,
    origin: Origin,
    calls: str,
    relative: float | None = None,
    absolute: float | None = None,
    integrates: bool = False,
    topic: str = "",
) -> Callable[[Callable[[], float]], Case]:
    """Make a case of the function below it.

    Parameters
    ----------
    id, what, unit, expected, source, origin, calls, integrates
        As of :class:`Case`.
    relative, absolute : float
        Tolerance as a share of the expected value, or in its unit: one of the two, and none
        for a band.
    topic : str
        The name of the function's module when left out.

    Returns
    -------
    callable
        Decorator that turns a function without parameters into a :class:`Case`.

    Examples
    --------
    >>> @case("two", "twice one", unit="1", expected=2.0, relative=1e-12,
    ...       source="arithmetic", origin="computed", calls="builtins.int", topic="sums")
    ... def twice_one() -> float:
    ...     return 1.0 + 1.0
    >>> twice_one.run().passed
    True
    """
    if relative is not None and absolute is not None:
        raise InputError(
            "case-not-sound",
            f"case {id!r} has two tolerances",
            expected="a relative or an absolute one",
        )
    tolerance = next((t for t in (relative, absolute) if t is not None), 0.0)

    def of(measure: Callable[[], float]) -> Case:
        return Case(
            id=id,
            topic=topic or measure.__module__.rsplit(".", 1)[-1].replace("_", " "),
            what=what,
            unit=unit,
            expected=expected,
            tolerance=tolerance,
            relative=relative is not None,
            source=source,
            origin=origin,
            calls=calls,
            integrates=integrates,
            measure=measure,
        )

    return of
