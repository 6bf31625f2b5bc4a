"""Fuse box: thermal resistances in series and in common, and the exponential of one capacity."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...answers.box.air import Box
from ...answers.box.grouping import grouping
from ...answers.box.model import BoxModel
from ...answers.box.ways import Way
from ...fuse.model import FuseModel
from ..case import case
from ..models import lump

_LOSS, _OHMS, _OUT, _PLACE = 0.05, 2e-3, 0.4, 0.2  # [W/K], [ohm], [W/K], [W/K]
_RISES = "temperature rise = power x thermal resistance, resistances in series; arithmetic"


def _model(count: int, *, place: float | None = None, slope: float = 0.0) -> BoxModel:
    """Box of equal resistors, each a lump that gives all its heat to its air."""
    fuse: FuseModel = replace(
        lump(capacity=2.0, loss=_LOSS, ohms=_OHMS, slope=slope), rated_current=30.0
    )
    ways = [Way(name=f"{i}", subject=fuse, load=0.0, place=i + 1) for i in range(count)]
    box = Box(to_outside=_OUT, heat_capacity=100.0, outside_c=20.0, place_to_air=place)
    return BoxModel(box, ways)


@case(
    "box-air-rise",
    "three resistors of 0.8 W in a box of 0.4 W/K: rise of its air",
    unit="K",
    expected=6.0,
    relative=1e-6,
    source=_RISES,
    origin="computed",
    calls="fusetherm.fusebox",
    integrates=True,
)
def _air_rise() -> float:
    return _model(3).settled([20.0] * 3).box_c - 20.0


@case(
    "box-hot-spot-rise",
    "0.8 W through 0.05, 0.2 and 0.4 W/K in series: rise of the hot spot",
    unit="K",
    expected=22.0,
    relative=1e-6,
    source=_RISES,
    origin="computed",
    calls="fusetherm.fusebox",
    integrates=True,
)
def _hot_rise() -> float:
    return _model(1, place=_PLACE).settled([20.0]).fuses[0].hot_c - 20.0


@case(
    "box-hot-resistance",
    "resistor of 0.004 /K at 30 A in a box: rise of its air, heat and temperature agreed",
    unit="K",
    # P = I² R / (1 - I² R a (1/0.05 + 1/0.4)), over 0.4 W/K
    expected=1.8 / (1.0 - 1.8 * 0.004 * 22.5) / 0.4,
    relative=1e-6,
    source="P = I² R (1 + a x), x = P (r + R): linear equation, arithmetic",
    origin="computed",
    calls="fusetherm.fusebox",
    integrates=True,
)
def _hot_resistance() -> float:
    return _model(1, slope=0.004).settled([30.0]).box_c - 20.0


@case(
    "box-grouping-factor",
    "six equal resistors in one air: continuous current each over that of one alone",
    unit="1",
    # at equal hot spots the square of the current goes as 1 / (r + k R), r = 20, R = 2.5 K/W
    expected=math.sqrt(22.5 / 35.0),
    relative=1e-6,
    source="sqrt((r + R) / (r + 6 R)), thermal resistances in series and in common; arithmetic",
    origin="computed",
    calls="fusetherm.fusebox",
    integrates=True,
)
def _factor() -> float:
    return float(grouping(_model(6)).factor[-1])


@case(
    "box-heat-balance",
    "resistors in three places of a box: heat given less heat passed on, relative",
    unit="1",
    expected=0.0,
    absolute=1e-8,
    source="conservation of energy",
    origin="computed",
    calls="fusetherm.fusebox",
    integrates=True,
)
def _balance() -> float:
    settled = _model(3, place=_PLACE, slope=0.004).settled(np.array([30.0, 20.0, 0.0]))
    return settled.imbalance


ROWS = (_air_rise, _hot_rise, _hot_resistance, _factor, _balance)
