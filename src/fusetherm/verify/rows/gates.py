"""The demo's fuses, fitted anew, inside the gates of their standards."""

from __future__ import annotations

import math
from functools import lru_cache

from ...calibration.fit import Calibration, calibrate
from ...calibration.residual import Bench
from ...demo import definitions
from ...fuse.definition import load_fuse
from ...fuse.gates import gate_table
from ..case import case


@lru_cache
def _fit(name: str) -> Calibration:
    return calibrate(load_fuse(definitions()[name]))


@case(
    "gate-inverter-feed-200",
    "demo's 40 A blade fuse, fitted: pre-arcing time at twice its rating",
    unit="s",
    expected=(2.0, 60.0),
    source="ISO 8820-3 type E, from memory",
    origin="memory",
    calls="fusetherm.calibrate",
    integrates=True,
)
def _twice() -> float:
    fit = _fit("inverter_feed_40A")
    bench = Bench.of(fit.model, 23.0, 64)
    return math.exp(bench.log_time(math.log(80.0), 1e5))


@case(
    "gate-table-type-e-200",
    "high-current blade fuses: longest pre-arcing time at twice the rating",
    unit="s",
    expected=60.0,
    relative=1e-9,
    source="ISO 8820-3 type E, from memory",
    origin="memory",
    calls="fusetherm.fuse.gates.gate_table",
)
def _table() -> float:
    (gate,) = (g for g in gate_table("iso8820-3-high-current-blade").gates if g.multiple == 2.0)
    return gate.max_time


ROWS = (_twice, _table)
