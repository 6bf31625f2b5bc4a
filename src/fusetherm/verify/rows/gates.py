"""The demo's fuses, fitted anew, inside the gates of their standards."""

from __future__ import annotations

import math
from functools import lru_cache

from ...answers.curve import time_current_curve
from ...calibration.fit import Calibration, calibrate
from ...demo import definitions
from ...fuse.definition import load_fuse
from ...fuse.gates import gate_table
from ...solver.steady import minimum_fusing_current
from ..case import Case, case

_BLADE = "ISO 8820-3 type E, from memory"
_MEDIUM = "ISO 8820-3 type C, from memory"
_CARTRIDGE = "IEC 60127-2 standard sheet 1, from memory"


@lru_cache
def _fit(name: str) -> Calibration:
    return calibrate(load_fuse(definitions()[name]))


def _opens(name: str, what: str, multiple: float, low: float, high: float, source: str) -> Case:
    @case(
        f"gate-{name.split('_')[0]}-{multiple:g}x".replace(".", ""),
        f"demo's {what}, fitted: pre-arcing time at {multiple:g} times its rating",
        unit="s",
        expected=(low, high),
        source=source,
        origin="memory",
        calls="fusetherm.time_current_curve",
        integrates=True,
    )
    def measured() -> float:
        fit = _fit(name)
        current = multiple * float(fit.definition.rated_current)
        return float(time_current_curve(fit.model, currents=[current]).pre_arcing_time[0, 0])

    return measured


def _carries(name: str, what: str, source: str) -> Case:
    @case(
        f"gate-{name.split('_')[0]}-carries",
        f"demo's {what}, fitted: minimum fusing current over its rating",
        unit="1",
        expected=(1.1, 1.35),
        source=f"1.1 times are carried for 100 h, 1.35 times open; {source}",
        origin="memory",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        fit = _fit(name)
        return minimum_fusing_current(fit.model) / float(fit.definition.rated_current)

    return measured


@case(
    "gate-table-type-e-200",
    "high-current blade fuses: longest pre-arcing time at twice the rating",
    unit="s",
    expected=60.0,
    relative=1e-9,
    source=_BLADE,
    origin="memory",
    calls="fusetherm.fuse.gates.gate_table",
)
def _table() -> float:
    (gate,) = (g for g in gate_table("iso8820-3-high-current-blade").gates if g.multiple == 2.0)
    return gate.max_time


ROWS = (
    *(
        _opens("inverter_feed_40A", "40 A blade fuse", multiple, low, high, _BLADE)
        for multiple, low, high in (
            (1.35, 60.0, 1800.0), (2.0, 2.0, 60.0), (3.5, 0.2, 7.0), (6.0, 0.04, 1.0),
        )
    ),
    *(
        _opens("bilge_pump_10A", "10 A blade fuse", multiple, low, high, _MEDIUM)
        for multiple, low, high in (
            (1.35, 0.75, 600.0), (1.6, 0.25, 50.0), (2.0, 0.15, 5.0), (3.5, 0.04, 0.5),
            (6.0, 0.02, 0.1),
        )
    ),
    *(
        _opens("radio_3A15", "3.15 A cartridge fuse", multiple, low, high, _CARTRIDGE)
        for multiple, low, high in (
            (2.1, -math.inf, 1800.0), (2.75, 0.01, 2.0), (4.0, 0.003, 0.3), (10.0, -math.inf, 0.02),
        )
    ),
    _carries("inverter_feed_40A", "40 A blade fuse", _BLADE),
    _carries("bilge_pump_10A", "10 A blade fuse", _MEDIUM),
    _table,
)  # fmt: skip
