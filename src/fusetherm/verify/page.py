"""A verification as one HTML page: no network, no script, everything escaped."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from . import words
from .case import Row
from .run import Verification

if TYPE_CHECKING:
    from jinja2 import Template

__all__ = ["html"]


def html(verification: Verification) -> str:
    """Self-contained page of a verification.

    Parameters
    ----------
    verification : Verification

    Returns
    -------
    str
        HTML, about half a kilobyte a row.

    Examples
    --------
    >>> from fusetherm.verify import run_cases
    >>> page = html(run_cases(topic="metals"))
    >>> page.startswith("<!doctype html>"), "<script" in page
    (True, False)
    """
    return _template().render(v=verification, text=_text, used=_used)


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    place = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = resources.files(__package__).joinpath("page.html").read_text(encoding="utf-8")
    return place.from_string(source)


def _text(row: Row) -> dict[str, Any]:
    """Texts of a row."""
    return {
        "expected": words.expected_text(row.case),
        "got": words.number(row.got),
        "unit": words.unit_text(row.case.unit),
        "error": words.error_text(row),
        "tolerance": words.tolerance_text(row.case),
        "source": words.source_text(row.case),
    }


def _used(row: Row) -> int | None:
    """Share of the tolerance that the error takes [%], at most 100; None for a band."""
    if row.case.tolerance == 0.0 or not abs(row.error) < float("inf"):
        return None
    return min(100, round(100.0 * abs(row.error) / row.case.tolerance))
