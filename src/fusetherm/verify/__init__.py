"""Verification that ships: each row compares a value of fusetherm with one not made by it.

``run_cases()`` measures the whole table, ``cases()`` lists it; ``fusetherm verify`` prints it.
"""

from .case import Case, Row
from .run import Verification, run_cases

__all__ = ["Case", "Row", "Verification", "cases", "run_cases"]


def cases() -> tuple[Case, ...]:
    """Every case of the shipped table, in its order.

    Examples
    --------
    >>> from fusetherm.verify import cases
    >>> sorted({case.origin for case in cases()} - {"read", "computed", "memory"})
    []
    """
    from .table import CASES

    return CASES
