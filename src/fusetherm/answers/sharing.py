"""Shares of a whole that its parts do not add up to: Shapley's rule."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..threads import each


@dataclass(frozen=True, slots=True)
class Share:
    """Part of a whole.

    Attributes
    ----------
    name : str
        Of what.
    value : float
        Its share; the shares of all parts add up to the whole.
    alone, last : float
        What it makes by itself, and what it adds to all the others.
    """

    name: str
    value: float
    alone: float
    last: float


def shapley(value: Callable[[frozenset[int]], float], names: Sequence[str]) -> tuple[Share, ...]:
    """Share of each part in a whole.

    Parameters
    ----------
    value : callable
        What a set of parts, given by their numbers, makes; called once for each set, in threads.
    names : sequence of str
        The parts.

    Returns
    -------
    tuple of Share

    Notes
    -----
    The mean over all orders of adding the parts of what each adds to those before it,

    ``share_i = sum_S |S|! (n - |S| - 1)! / n! [v(S + i) - v(S)]``

    over the sets S without i. No other rule has all four: the shares add up to ``v(all) -
    v(none)``; parts that do the same have equal shares; a part that changes nothing has none;
    shares of a sum of wholes are sums of shares.

    References
    ----------
    L. S. Shapley, A value for n-person games, Contributions to the Theory of Games II (1953),
    from memory.

    Examples
    --------
    >>> both = shapley(lambda s: 9.0 * len(s) ** 2, ("a", "b"))
    >>> [(share.value, share.alone, share.last) for share in both]
    [(18.0, 9.0, 27.0), (18.0, 9.0, 27.0)]
    """
    n = len(names)
    sets = [frozenset(i for i in range(n) if mask >> i & 1) for mask in range(1 << n)]
    made = dict(zip(sets, each(lambda k: value(sets[k]), len(sets)), strict=True))
    weight = [math.factorial(k) * math.factorial(n - k - 1) / math.factorial(n) for k in range(n)]
    whole = frozenset(range(n))
    return tuple(
        Share(
            name,
            sum(weight[len(s)] * (made[s | {i}] - made[s]) for s in sets if i not in s),
            made[frozenset({i})] - made[frozenset()],
            made[whole] - made[whole - {i}],
        )
        for i, name in enumerate(names)
    )
