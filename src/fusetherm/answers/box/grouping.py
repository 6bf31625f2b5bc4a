"""Grouping: what each fuse of a box may carry for ever when others are loaded, over one alone."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ...errors import Note, SolveError
from .air import SettledAir
from .model import BoxModel

Floats = npt.NDArray[np.float64]

#: Loads of the others at which the governing way is asked, over their rating.
LOADS = (0.0, 0.25, 0.5, 0.75, 1.0)
#: Agreement of a share of the rating, and the largest share looked at [-].
_AGREED, _LARGEST = 1e-5, 4.0


@dataclass(frozen=True, slots=True)
class Group:
    """Grouping factors of a box.

    Attributes
    ----------
    count : (n,) array
        How many ways are loaded, the first of them by their order.
    factor : (n,) array
        Largest common share of their ratings over the least share one of them may carry alone;
        nan without ratings.
    load : (p,) array
        Load of the others over their ratings.
    loaded_factor : (p,) array
        What the governing way may carry beside them over what it may carry alone.
    governing : str
        The way that may carry the least share of its rating alone.
    notes : tuple of Note
    """

    count: npt.NDArray[np.int64]
    factor: Floats
    load: Floats
    loaded_factor: Floats
    governing: str
    notes: tuple[Note, ...] = ()


def grouping(model: BoxModel) -> Group:
    """Grouping factors of a box, see `Group`.

    Notes
    -----
    A fuse may carry what brings its hot spot, in its air in the box, no higher than its rated
    current does at 23 degC all round: the criterion of re-rating at equal hot spot. Alone, the
    other ways carry nothing. The largest heat from elsewhere is on throughout.
    """
    n = len(model.ways)
    count, load = np.arange(1, n + 1), np.array(LOADS)
    ratings = [fuse.model.rated_current for fuse in model.fuses]
    missing = [way.name for way, r in zip(model.ways, ratings, strict=True) if r is None]
    if missing:
        text = f"no grouping factor: {', '.join(missing)} states no rated current"
        none = np.full(n, math.nan)
        return Group(count, none, load, np.full(len(load), math.nan), "",
                     (Note("grouping-without-rating", text),))  # fmt: skip
    rated = np.array([float(r) for r in ratings if r is not None])
    limits = np.array(
        [fuse.reference_hot_c(float(r)) for fuse, r in zip(model.fuses, rated, strict=True)]
    )
    own = np.eye(n, dtype=np.float64)
    kept: list[SettledAir | None] = [None]

    def excess(shares: Floats, of: list[int]) -> float:
        """Largest excess of a hot spot over its limit at shares of the ratings [K]."""
        try:
            settled = model.settled(shares * rated, kept[0])
        except SolveError:
            return math.inf
        kept[0] = settled.solution
        return max(settled.fuses[i].hot_c - float(limits[i]) for i in of)

    def alone(i: int) -> float:
        return _root(lambda x: excess(x * own[i], [i]))

    single = np.array([alone(i) for i in range(n)])
    governing = int(np.argmin(single))

    def together(k: int) -> float:
        first = np.asarray(own[:k].sum(axis=0))
        return _root(lambda x: excess(x * first, list(range(k))))

    def beside(y: float) -> float:
        rest = y * (1.0 - own[governing])
        return _root(lambda x: excess(x * own[governing] + rest, [governing]))

    least = np.minimum.accumulate(single)
    shares = np.array([single[0], *(together(k) for k in range(2, n + 1))])
    loaded = np.array([single[governing], *(beside(y) for y in LOADS[1:])])
    notes: tuple[Note, ...] = ()
    if single[governing] == 0.0:
        text = (
            f"{model.ways[governing].name} has no grouping factor: the air of the box alone is "
            "hotter than its hot spot at the rated current and 23 °C"
        )
        notes = (Note("ambient-above-hot-spot", text),)
    return Group(
        count,
        _over(shares, least),
        load,
        _over(loaded, np.full(len(load), single[governing])),
        model.ways[governing].name,
        notes,
    )


def _over(shares: Floats, alone: Floats) -> Floats:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(alone > 0.0, shares / alone, math.nan)


def _root(excess: Callable[[float], float]) -> float:
    """Largest share at which nothing exceeds its limit [-]; 0 where nothing may be carried.

    Regula falsi in the square of the share, to which the rise of a hot spot is nearly
    proportional, with the Illinois weights; halving where there is no settled state.
    """
    low, high = 0.0, 1.0
    below = excess(0.0)
    if below >= 0.0:
        return 0.0
    above = excess(1.0)
    while above < 0.0:
        low, below = high, above
        if high >= _LARGEST:
            return high
        high *= 1.5
        above = excess(high)
    side = 0
    for _ in range(60):
        if high - low < _AGREED:
            break
        a, b = low * low, high * high
        share = 0.5 if math.isinf(above) else below / (below - above)
        middle = math.sqrt(a + min(max(share, 1e-3), 1.0 - 1e-3) * (b - a))
        found = excess(middle)
        if abs(found) < 1e-6:
            return middle
        if found < 0.0:
            low, below = middle, found
            above = above * 0.5 if side < 0 else above
            side = -1
        else:
            high, above = middle, found
            below = below * 0.5 if side > 0 else below
            side = 1
    return 0.5 * (low + high)
