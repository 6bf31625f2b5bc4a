"""Gate tables: look-up, which ratings they apply to, and which points of a curve miss them."""

from __future__ import annotations

import math

import pytest

from fusetherm.errors import InputError
from fusetherm.fuse.gates import GATE_TABLES, Gate, GateTable, gate_table, gg_gates

TABLE = GateTable(
    "t", "none", "invented", (Gate(1.5, 10.0, 100.0), Gate(3.0, 1.0, 5.0)), 10.0, 50.0
)


def missed(currents: list[float], times: list[float]) -> list[float]:
    """Multiples whose gates a curve of 10 A misses."""
    return [one.gate.multiple for one in TABLE.violations(currents, times, 10.0)]


@pytest.mark.parametrize(
    ("currents", "times", "multiples"),
    [
        ([15, 30], [50, 2], []),
        ([15, 30], [10, 5], []),  # exactly on a gate
        ([15, 30], [9, 2], [1.5]),
        ([15, 30], [200, 2], [1.5]),
        ([15, 30], [50, 0.5], [3.0]),
        ([15, 30], [9, 6], [1.5, 3.0]),
        ([30, 15], [2, 50], []),  # any order
        ([12, 20, 40], [300, 15, 1.2], []),  # between points: 81 s and 3.4 s
        ([12, 20, 40], [300, 15, 0.1], [3.0]),
        # Beyond the points, only what the order of times decides.
        ([20, 30], [8, 2], []),  # at 15 A longer than 8 s: may be 10
        ([20, 30], [150, 2], [1.5]),  # at 15 A longer than 150 s
        ([15, 20], [50, 7], []),  # at 30 A shorter than 7 s
        ([15, 20], [50, 0.9], [3.0]),  # at 30 A shorter than .9 s
        ([12, 15, 30], [math.inf, 50, 2], []),
        ([15, 30], [math.inf, 2], [1.5]),
        ([12, 18, 30], [math.inf, 20, 2], []),  # rises to infinity somewhere between
    ],
)
def test_violations(currents: list[float], times: list[float], multiples: list[float]) -> None:
    assert missed(currents, times) == multiples


def test_interpolation_is_straight_in_logarithms() -> None:
    (one,) = TABLE.violations([10, 22.5], [900, 100], 10.0)
    assert one.current == 15.0
    assert one.time == pytest.approx(300.0)  # the geometric means of 10, 22.5 and 900, 100
    assert str(one) == "300 s at 15 A (1.5 × rated) lies outside 10 to 100 s"


@pytest.mark.parametrize(
    ("currents", "times"),
    [([15], [1, 2]), ([], []), ([0], [1]), ([15], [0]), ([math.nan], [1]), ([15], [math.nan])],
)
def test_curves_that_are_none(currents: list[float], times: list[float]) -> None:
    with pytest.raises(InputError) as caught:
        TABLE.violations(currents, times, 10.0)
    assert caught.value.code == "curve-shape"


def test_rating_outside_the_table() -> None:
    assert not TABLE.applies(60.0)
    with pytest.raises(InputError) as caught:
        TABLE.violations([1], [1], 60.0)
    assert caught.value.code == "gates-not-applicable"


@pytest.mark.parametrize("name", GATE_TABLES)
def test_tables_are_orderly(name: str) -> None:
    table = gate_table(name)
    assert table.name == name
    assert "from memory" in table.source
    multiples = [gate.multiple for gate in table.gates]
    assert multiples == sorted(set(multiples))
    for gate in table.gates:
        assert 0.0 <= gate.min_time < gate.max_time
    limited = [gate.max_time for gate in table.gates]
    assert limited == sorted(limited, reverse=True)
    assert table.applies(table.min_rating)
    assert table.applies(table.max_rating)


def test_unknown_names() -> None:
    with pytest.raises(InputError, match="did you mean iso8820-3-medium-blade"):
        gate_table("iso8820-3-medium-blades")
    with pytest.raises(InputError) as caught:
        gate_table("iec60269-1-gg-33A")
    assert caught.value.code == "rating-unknown"
    assert gate_table("iec60269-1-gg-40A") == gg_gates(40.0)


def test_gg_gates_are_one_sided() -> None:
    table = gg_gates(100.0)
    assert (
        table.violations([125, 160, 290, 580, 820, 1450], [1e5, 3000, 20, 3, 0.5, 0.05], 100) == ()
    )
    (late,) = table.violations([160, 580], [3000, 6], 100.0)
    assert late.gate.max_time == 5.0
    (early,) = table.violations([160, 290], [3000, 8], 100.0)
    assert early.gate.min_time == 10.0
