"""Drawn fuse-links of each family inside the limits of their standards, all limits at once.

The geometries are fixed and our own: found by trying, not those of any fuse. That one geometry
keeps every limit of its standard together, from milliseconds to hours with drop and dissipation,
is what the rows show.
"""

from __future__ import annotations

import math
from functools import lru_cache

from ...answers.curve import time_current_curve
from ...fuse.element import Element, RoundSection, Section, Spot
from ...fuse.gates import gate_table
from ...fuse.model import Blade, Body, Cable, Clip, Contact, Filler, FuseModel, Side
from ...physics.dissolution import spot_law
from ...physics.metals import metal
from ...solver.steady import minimum_fusing_current
from ..case import Case, case
from ..models import settled

_CARTRIDGE_A, _GG_A, _BLADE_A = 3.15, 63.0, 10.0
_CELLS = 64


def _wire(of: str, diameter: float, spot: float = 0.0) -> Element:
    """Wire of 14 mm [m], with a spot of tin in its middle or none."""
    length = 14e-3
    if spot == 0.0:
        return Element(metal(of), (RoundSection(length, diameter),))
    rest = RoundSection(0.5 * (length - spot), diameter)
    under = RoundSection(spot, diameter)
    return Element(metal(of), (rest, under, rest), spot=Spot(1, spot_law(metal(of))))


def _cartridge(element: Element, sand: bool) -> FuseModel:
    """Cartridge fuse-link of 5 x 20 mm: a tube of glass in air, or of ceramic full of sand."""
    air = Body(0.5, 0.005, 0.085)
    filled = Body(0.6, 0.006, 0.0, filler=Filler(3.6e-3))
    end = Side(Blade(0.25), Contact(1e-3), Clip(0.08, 0.003), Cable(0.5e-6))
    return FuseModel(element, filled if sand else air, end, end, rated_current=_CARTRIDGE_A)


def _gg() -> FuseModel:
    """gG fuse-link of 22 x 58 mm: copper strip of .2 mm and 10 mm, two rows of holes, tin, sand.

    What a row of holes leaves is 1.3 mm wide and 1.2 mm long, the drop of tin 4 mm.
    """
    wide, bridge = Section(17.8e-3, 10e-3, 0.2e-3), Section(1.2e-3, 1.3e-3, 0.2e-3)
    copper, land = metal("copper"), Section(4e-3, 10e-3, 0.2e-3)
    spot = Spot(2, spot_law(copper))
    end = Side(Blade(9.0), Contact(0.15e-3), Clip(1.6, 0.003), Cable(16e-6))
    body = Body(24.0, 0.04, filler=Filler(17e-3))
    strip = Element(copper, (wide, bridge, land, bridge, wide), spot=spot)
    return FuseModel(strip, body, end, end, rated_current=_GG_A)


def _blade() -> FuseModel:
    """Miniature blade fuse: zinc strip of .25 mm, 20 mm long, 6 mm of it narrow."""
    wide, narrow = Section(7e-3, 0.937e-3, 0.25e-3), Section(6e-3, 0.375e-3, 0.25e-3)
    end = Side(Blade(0.08), Contact(0.5e-3), Clip(0.25, 0.003), Cable(1.5e-6))
    strip = Element(metal("zinc"), (wide, narrow, wide))
    return FuseModel(strip, Body(0.12, 0.005, 0.14), end, end, rated_current=_BLADE_A)


@lru_cache
def _model(name: str) -> FuseModel:
    if name == "sheet-1":
        return _cartridge(_wire("silver", 95e-6), sand=True)
    if name == "sheet-2":
        return _cartridge(_wire("copper", 130e-6), sand=False)
    if name == "sheet-3":
        return _cartridge(_wire("copper", 155e-6, spot=2e-3), sand=False)
    if name == "sheet-5":
        return _cartridge(_wire("copper", 130e-6, spot=2e-3), sand=True)
    return _blade() if name == "type-f" else _gg()


_WHAT = {
    "sheet-1": "silver wire of .095 mm in sand",
    "sheet-2": "copper wire of .13 mm in air",
    "sheet-3": "copper wire of .155 mm in air, tin spot",
    "sheet-5": "copper wire of .13 mm in sand, tin spot",
    "type-f": "zinc strip between blades",
    "gg": "copper strip in sand, tin spot",
}


def _rating(name: str) -> float:
    return {"gg": _GG_A, "type-f": _BLADE_A}.get(name, _CARTRIDGE_A)


def _source(name: str) -> str:
    if name == "gg":
        return "IEC 60269-1, table of gates for gG, from memory; geometry our own"
    if name == "type-f":
        return "ISO 8820-3 type F, from memory; geometry our own"
    return f"IEC 60127-2 standard sheet {name[-1]}, from memory; geometry our own"


def _opens(name: str, current: float, what: str, low: float, high: float, source: str = "") -> Case:
    @case(
        f"family-{name}-{current:g}a".replace(".", "-"),
        f"{_rating(name):g} A, {_WHAT[name]}: pre-arcing time at {what}",
        unit="s",
        expected=(low if low > 0.0 else -math.inf, high),
        source=source or _source(name),
        origin="memory",
        calls="fusetherm.time_current_curve",
        integrates=True,
    )
    def measured() -> float:
        curve = time_current_curve(_model(name), currents=[current])
        return float(curve.pre_arcing_time[0, 0])

    return measured


def _gates(name: str, table: str) -> tuple[Case, ...]:
    return tuple(
        _opens(
            name,
            gate.multiple * _rating(name),
            f"{gate.multiple:g} times its rating",
            gate.min_time,
            gate.max_time,
        )
        for gate in gate_table(table).gates
        if gate.max_time < math.inf
    )


def _carries(name: str, low: float, high: float, why: str) -> Case:
    @case(
        f"family-{name}-carries",
        f"{_rating(name):g} A, {_WHAT[name]}: minimum fusing current over its rating",
        unit="1",
        expected=(low, high),
        source=f"{why}; {_source(name)}",
        origin="memory",
        calls="fusetherm.minimum_fusing_current",
        integrates=True,
    )
    def measured() -> float:
        return minimum_fusing_current(_model(name), cells=_CELLS) / _rating(name)

    return measured


def _drop(name: str, most: float) -> Case:
    @case(
        f"family-{name}-drop",
        f"{_rating(name):g} A, {_WHAT[name]}: drop of the element at its rating",
        unit="mV",
        expected=(0.0, most),
        source=f"{_source(name)}, the drop with low confidence",
        origin="memory",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        steady = settled(_model(name), _rating(name), ambient_c=23.0, cells=_CELLS)
        return 1e3 * steady.element_voltage

    return measured


def _watts(name: str, multiple: float, most: float) -> Case:
    @case(
        f"family-{name}-dissipation",
        f"{_rating(name):g} A, {_WHAT[name]}: power at {multiple:g} times its rating",
        unit="W",
        expected=(0.0, most),
        source="IEC 60269-2, largest for 22 x 58 mm, from memory; geometry our own"
        if name == "gg"
        else f"{_source(name)}, the power with low confidence",
        origin="memory",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        current = multiple * _rating(name)
        steady = settled(_model(name), current, ambient_c=23.0, cells=_CELLS)
        return steady.element_voltage * current

    return measured


_HOLDS = "1.5 times are carried for an hour, 2.1 times open"
_ACTION = "IEC 60269-1: I²t of gG before arcing, 9 to 27 kA²s at 10 ms for 63 A, from memory"

ROWS = (
    *_gates("type-f", "iso8820-3-miniature-blade"),
    _carries("type-f", 1.1, 1.35, "1.1 times are carried for 100 h, 1.35 times open"),
    *_gates("sheet-1", "iec60127-2-sheet-1"),
    *_gates("sheet-2", "iec60127-2-sheet-2"),
    *_gates("sheet-3", "iec60127-2-sheet-3"),
    *_gates("sheet-5", "iec60127-2-sheet-5"),
    *(_carries(f"sheet-{number}", 1.5, 2.1, _HOLDS) for number in (1, 2, 3, 5)),
    *(
        _drop(name, most)
        for name, most in (("sheet-1", 150.0), ("sheet-2", 150.0), ("sheet-3", 100.0))
    ),
    *(_watts(f"sheet-{number}", 1.5, 1.6) for number in (1, 2, 3, 5)),
    _carries("gg", 1.25, 1.6, "1.25 times are carried for an hour, 1.6 times open within it"),
    *(
        _opens("gg", current, what, low, high)
        for current, what, low, high in (
            (1.6 * _GG_A, "1.6 times its rating", 0.0, 3600.0),
            (160.0, "Imin(10 s), 160 A", 10.0, math.inf),
            (320.0, "Imax(5 s), 320 A", 0.0, 5.0),
            (450.0, "Imin(.1 s), 450 A", 0.1, math.inf),
            (820.0, "Imax(.1 s), 820 A", 0.0, 0.1),
        )
    ),
    # I²t at 10 ms lies between two limits where these currents part it later and sooner
    _opens("gg", math.sqrt(9e3 / 0.01), "9 kA²s in 10 ms, 949 A", 0.01, math.inf, _ACTION),
    _opens("gg", math.sqrt(27e3 / 0.01), "27 kA²s in 10 ms, 1643 A", 0.0, 0.01, _ACTION),
    _watts("gg", 1.0, 9.5),
)  # fmt: skip
