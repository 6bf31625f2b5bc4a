"""Running the table: rows, counts, versions, and the forms a result takes."""

from __future__ import annotations

import json
import math
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from .. import __version__
from ..errors import InputError
from ..labelled import described, to_dataset
from .case import Case, Row

if TYPE_CHECKING:
    from ..labelled import Dataset

__all__ = ["SCHEMA", "Verification", "run_cases", "versions"]

SCHEMA = "fusetherm/verification/1"
#: Libraries whose versions decide a number.
_STACK = ("numpy", "scipy", "numba")


@dataclass(frozen=True)
class Verification:
    """Rows of the table as they came out.

    Parameters
    ----------
    rows : tuple of Row
        In the order of the table.
    seconds : float
        Time of the whole [s].
    versions : dict of str to str
        Of fusetherm, python and the libraries that decide a number.
    """

    rows: tuple[Row, ...]
    seconds: float
    versions: dict[str, str]

    @property
    def passed(self) -> bool:
        """Whether there are rows and every one passed."""
        return bool(self.rows) and not self.failed

    @property
    def failed(self) -> tuple[Row, ...]:
        """Rows that failed."""
        return tuple(row for row in self.rows if not row.passed)

    @property
    def integrated(self) -> tuple[Row, ...]:
        """Rows that go through the transient or the steady solver."""
        return tuple(row for row in self.rows if row.case.integrates)

    @property
    def topics(self) -> dict[str, tuple[Row, ...]]:
        """Rows by topic, in the order of the table."""
        names = dict.fromkeys(row.case.topic for row in self.rows)
        return {name: tuple(r for r in self.rows if r.case.topic == name) for name in names}

    def to_data(self) -> dict[str, Any]:
        """Plain data for JSON, of schema ``fusetherm/verification/1``.

        A value that is not finite is None, as JSON has none.
        """
        return {
            "schema": SCHEMA,
            "passed": self.passed,
            "counts": {
                "rows": len(self.rows),
                "passed": len(self.rows) - len(self.failed),
                "failed": len(self.failed),
                "integrated": len(self.integrated),
                "topics": {name: len(rows) for name, rows in self.topics.items()},
            },
            "versions": dict(self.versions),
            "seconds": self.seconds,
            "rows": [_row_data(row) for row in self.rows],
        }

    def to_xarray(self) -> Dataset:
        """Dataset of one variable a column, with dimension ``id``; versions as configuration."""
        cases = [row.case for row in self.rows]
        bands = [_ends(one) for one in cases]

        def texts(values: Iterable[str]) -> npt.NDArray[Any]:
            return np.array(list(values), dtype=object if not cases else None)

        dataset = to_dataset(
            _Columns(
                id=texts(c.id for c in cases),
                topic=texts(c.topic for c in cases),
                what=texts(c.what for c in cases),
                unit=texts(c.unit for c in cases),
                source=texts(c.source for c in cases),
                origin=texts(c.origin for c in cases),
                calls=texts(c.calls for c in cases),
                failure=texts(row.failure for row in self.rows),
                expected_low=np.array([low for low, _ in bands]),
                expected_high=np.array([high for _, high in bands]),
                got=np.array([row.got for row in self.rows]),
                error=np.array([row.error for row in self.rows]),
                tolerance=np.array([c.tolerance for c in cases]),
                relative=np.array([c.relative for c in cases], dtype=bool),
                integrates=np.array([c.integrates for c in cases], dtype=bool),
                passed=np.array([row.passed for row in self.rows], dtype=bool),
                seconds=np.array([row.seconds for row in self.rows]),
            ),
            configuration=json.dumps({"schema": SCHEMA, "versions": self.versions}),
        )
        dataset.attrs["kind"] = type(self).__name__
        return dataset


@dataclass(frozen=True)
class _Columns:
    """Columns of a verification, described for xarray."""

    id: npt.NDArray[Any] = field(metadata=described("name of the row", "", ("id",)))
    topic: npt.NDArray[Any] = field(metadata=described("topic", "", ("id",)))
    what: npt.NDArray[Any] = field(metadata=described("what is checked", "", ("id",)))
    unit: npt.NDArray[Any] = field(metadata=described("unit of the values", "", ("id",)))
    source: npt.NDArray[Any] = field(metadata=described("source of the expectation", "", ("id",)))
    origin: npt.NDArray[Any] = field(
        metadata=described("how the expectation was come by", "", ("id",))
    )
    calls: npt.NDArray[Any] = field(metadata=described("function checked", "", ("id",)))
    failure: npt.NDArray[Any] = field(metadata=described("what was raised", "", ("id",)))
    expected_low: npt.NDArray[Any] = field(
        metadata=described("expected value, or lower end of the band", "", ("id",))
    )
    expected_high: npt.NDArray[Any] = field(
        metadata=described("expected value, or upper end of the band", "", ("id",))
    )
    got: npt.NDArray[Any] = field(metadata=described("value computed", "", ("id",)))
    error: npt.NDArray[Any] = field(metadata=described("error", "", ("id",)))
    tolerance: npt.NDArray[Any] = field(metadata=described("largest error", "", ("id",)))
    relative: npt.NDArray[Any] = field(
        metadata=described("whether error and tolerance are shares", "", ("id",))
    )
    integrates: npt.NDArray[Any] = field(
        metadata=described("whether it goes through a solver", "", ("id",))
    )
    passed: npt.NDArray[Any] = field(metadata=described("whether it passed", "", ("id",)))
    seconds: npt.NDArray[Any] = field(metadata=described("time it took", "s", ("id",)))


def run_cases(
    cases: Iterable[Case] | None = None,
    *,
    topic: str | None = None,
    progress: Callable[[Row], None] | None = None,
) -> Verification:
    """Measure every case of the table and compare.

    Parameters
    ----------
    cases : iterable of Case, optional
        The shipped table when left out.
    topic : str, optional
        Only the cases of this topic.
    progress : callable, optional
        Called with each row as it is done.

    Returns
    -------
    Verification

    Raises
    ------
    InputError
        ``topic-unknown`` when no case has that topic.

    Notes
    -----
    What rows of a file share (a fit, say) they keep in functions with ``lru_cache``; those are
    emptied first, so that each call measures anew.

    Examples
    --------
    >>> from fusetherm.verify import run_cases
    >>> run_cases(topic="metals").passed
    True
    """
    if cases is None:
        from .table import CASES

        cases = CASES
    every = tuple(cases)
    chosen = tuple(one for one in every if topic is None or one.topic == topic)
    if topic is not None and not chosen:
        names = tuple(dict.fromkeys(one.topic for one in every))
        near = get_close_matches(topic, names, n=1)
        raise InputError(
            "topic-unknown",
            f"no case has the topic {topic!r}",
            expected=", ".join(names),
            mend=f"did you mean {near[0]!r}?" if near else "",
        )
    _forget(chosen)
    begin = time.perf_counter()
    rows = []
    for one in chosen:
        row = one.run()
        rows.append(row)
        if progress is not None:
            progress(row)
    return Verification(tuple(rows), time.perf_counter() - begin, versions())


def versions() -> dict[str, str]:
    """Versions of fusetherm, python and the libraries that decide a number.

    Examples
    --------
    >>> sorted(versions())
    ['fusetherm', 'numba', 'numpy', 'python', 'scipy']
    """
    found = {"fusetherm": __version__, "python": sys.version.split()[0]}
    for name in _STACK:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "missing"
    return found


def _forget(cases: Iterable[Case]) -> None:
    """Empty what the row files keep between rows."""
    spaces = {id(s): s for c in cases if (s := getattr(c.measure, "__globals__", None)) is not None}
    for space in spaces.values():
        for value in list(space.values()):
            if callable(clear := getattr(value, "cache_clear", None)):
                clear()


def _ends(one: Case) -> tuple[float, float]:
    if isinstance(one.expected, tuple):
        return one.expected
    return one.expected, one.expected


def _row_data(row: Row) -> dict[str, Any]:
    one = row.case
    expected: Any = (
        [_finite(end) for end in one.expected]
        if isinstance(one.expected, tuple)
        else _finite(one.expected)
    )
    return {
        "id": one.id,
        "topic": one.topic,
        "what": one.what,
        "unit": one.unit,
        "expected": expected,
        "got": _finite(row.got),
        "error": _finite(row.error),
        "tolerance": one.tolerance,
        "relative": one.relative,
        "passed": row.passed,
        "source": one.source,
        "origin": one.origin,
        "calls": one.calls,
        "integrates": one.integrates,
        "seconds": row.seconds,
        "failure": row.failure,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
