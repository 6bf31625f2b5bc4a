"""Gates against the standards as remembered: all values from memory, none read."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import pytest

from fusetherm.fuse.definition import load_fuse
from fusetherm.fuse.gates import GG_CURRENTS, gate_table, gg_gates

NONE = math.inf
CARRIED = (100 * 3600.0, NONE)


@pytest.mark.parametrize(
    ("name", "gates"),
    [
        # ISO 8820-3 / SAE J1284 / J2077, types C and F (from memory, medium confidence).
        (
            name,
            {
                1.1: CARRIED,
                1.35: (0.75, 600),
                1.6: (0.25, 50),
                2.0: (0.15, 5),
                3.5: (0.04, 0.5),
                6.0: (0.02, 0.1),
            },
        )
        for name in ("iso8820-3-medium-blade", "iso8820-3-miniature-blade")
    ]
    + [
        # ISO 8820-3 / SAE J1888, type E (from memory, medium confidence); ISO 8820-4:2016 type A
        # has the same rows.
        (
            "iso8820-3-high-current-blade",
            {1.1: CARRIED, 1.35: (60, 1800), 2.0: (2, 60), 3.5: (0.2, 7), 6.0: (0.04, 1)},
        ),
        # IEC 60127-2 standard sheets 1, 3 and 5 (from memory; sheet 5 medium confidence).
        (
            "iec60127-2-sheet-1",
            {2.1: (0, 1800), 2.75: (0.01, 2), 4: (0.003, 0.3), 10: (0, 0.02)},
        ),
        (
            "iec60127-2-sheet-1-above-4A",
            {2.1: (0, 1800), 2.75: (0.01, 3), 4: (0.003, 0.3), 10: (0, 0.02)},
        ),
        (
            "iec60127-2-sheet-3",
            {2.1: (0, 120), 2.75: (0.6, 10), 4: (0.15, 3), 10: (0.02, 0.3)},
        ),
        (
            "iec60127-2-sheet-3-up-to-100mA",
            {2.1: (0, 120), 2.75: (0.2, 10), 4: (0.04, 3), 10: (0.01, 0.3)},
        ),
        (
            "iec60127-2-sheet-5",
            {2.1: (0, 1800), 2.75: (0.75, 80), 4: (0.095, 5), 10: (0.01, 0.15)},
        ),
    ],
)
def test_gates_at_multiples(name: str, gates: dict[float, tuple[float, float]]) -> None:
    table = gate_table(name)
    assert {gate.multiple: (gate.min_time, gate.max_time) for gate in table.gates} == gates


#: IEC 60269-1, table of gates for gG (from memory): rating -> Imin(10 s), Imax(5 s),
#: Imin(0.1 s), Imax(0.1 s).
GG = {
    16: (33, 65, 85, 150),
    20: (42, 85, 110, 200),
    32: (75, 150, 200, 350),
    40: (95, 190, 260, 450),
    63: (160, 320, 450, 820),
    80: (215, 425, 610, 1100),
    125: (355, 715, 1100, 1910),
    160: (460, 950, 1450, 2590),
    250: (750, 1650, 2590, 4500),
    315: (1050, 2200, 3420, 6000),
    500: (1780, 3800, 6000, 10600),
    630: (2200, 5100, 8060, 14140),
    1000: (4000, 9500, 14140, 24000),
    1250: (5000, 13000, 19000, 35000),
}


@pytest.mark.parametrize("rating", GG)
def test_gg_currents(rating: int) -> None:
    currents = [gate.multiple * rating for gate in gg_gates(rating).gates[2:]]
    assert currents == pytest.approx(GG[rating], rel=1e-12)


def test_gg_gates_step_by_1_6() -> None:
    # Imax(0.1 s) of a rating is Imin(0.1 s) of the one 1.6 times larger: the selectivity 1:1.6
    # the gates are built for (computed from the table of IEC 60269-1, from memory).
    ratings = [16, 25, 40, 63, 100, 160, 250, 400, 630, 1000]
    for small, large in pairwise(ratings):
        assert GG_CURRENTS[small][3] == GG_CURRENTS[large][2]


@pytest.mark.parametrize(("rating", "hours"), [(40, 1), (63, 1), (100, 2), (250, 3), (630, 4)])
def test_gg_conventional_quantities(rating: float, hours: float) -> None:
    # Conventional times and the factors 1.25 and 1.6 (IEC 60269-1/-2/-3, from memory).
    carried, opened = gg_gates(rating).gates[:2]
    assert (carried.multiple, carried.min_time) == (1.25, hours * 3600)
    assert (opened.multiple, opened.max_time) == (1.6, hours * 3600)


def test_example_lies_inside_its_gates() -> None:
    fuse = load_fuse(Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml")
    assert fuse.curve is not None
    currents = [point.current for point in fuse.curve.points]
    for name in fuse.gates:
        for limit in ("time", "min_time", "max_time"):
            times = [float(getattr(p, limit) or p.time) for p in fuse.curve.points]
            assert gate_table(name).violations(currents, times, fuse.rated_current) == ()
