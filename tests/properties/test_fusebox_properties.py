"""Fuse box: a loaded neighbour never cools, a hotter outside never carries more, nor does heat."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from fusetherm import Box, Element, FuseModel, Section, Way, metal
from fusetherm.answers.box.grouping import grouping
from fusetherm.answers.box.model import BoxModel
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side

_SIDE = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
_ELEMENT = Element(
    metal("zinc"),
    (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4)),
)
FUSE = FuseModel(_ELEMENT, Body(), _SIDE, _SIDE, rated_current=30.0)
#: A fuse whose parts all give their heat to the box.
WITHIN = replace(FUSE, left=Side(Blade(0.4, 0.02)), right=Side(Blade(0.4, 0.02)))

loads = st.floats(0.0, 25.0)
boxes = st.builds(
    Box,
    to_outside=st.floats(0.1, 2.0),
    heat_capacity=st.just(100.0),
    outside_c=st.floats(-20.0, 60.0),
    place_to_air=st.none() | st.floats(0.1, 2.0),
    heat=st.floats(0.0, 5.0),
)


def two(box: Box, model: FuseModel = FUSE) -> BoxModel:
    pair = [
        Way(name=n, subject=model, load=1.0, place=p, cable_inside=0.1)
        for n, p in (("a", 1), ("b", 2))
    ]
    return BoxModel(box, pair)


@settings(max_examples=10)
@given(box=boxes, first=loads, second=loads)
def test_a_loaded_neighbour_never_cools_the_first(box: Box, first: float, second: float) -> None:
    model = two(box)
    idle, loaded = model.settled([first, 0.0]), model.settled([first, second])
    assert loaded.fuses[0].hot_c >= idle.fuses[0].hot_c - 1e-5
    assert loaded.air_c[0] >= idle.air_c[0] - 1e-6


@settings(max_examples=10)
@given(box=boxes, first=loads, second=loads)
def test_a_second_fuse_without_cables_never_cools_the_first(
    box: Box, first: float, second: float
) -> None:
    pair = two(box, WITHIN)
    alone = BoxModel(box, [pair.ways[0]])
    hot = pair.settled([first, second]).fuses[0].hot_c
    assert hot >= alone.settled([first]).fuses[0].hot_c - 1e-5


@settings(max_examples=10)
@given(box=boxes, first=loads, second=loads, more=st.floats(0.0, 10.0))
def test_more_heat_or_a_warmer_outside_is_never_cooler(
    box: Box, first: float, second: float, more: float
) -> None:
    currents = [first, second]
    base = two(box).settled(currents)
    heated = two(replace(box, heat=float(box.largest_heat) + more)).settled(currents)
    warmer = two(replace(box, outside_c=box.outside_c + more)).settled(currents)
    for other in (heated, warmer):
        assert other.box_c >= base.box_c - 1e-6
        assert all(o.hot_c >= b.hot_c - 1e-5 for o, b in zip(other.fuses, base.fuses, strict=True))


@settings(max_examples=3)
@given(outside=st.floats(-20.0, 50.0), more=st.floats(1.0, 20.0))
def test_a_hotter_outside_never_lets_more_be_carried(outside: float, more: float) -> None:
    def share(outside_c: float) -> float:
        box = Box(to_outside=0.4, heat_capacity=100.0, outside_c=outside_c)
        model = two(box)
        hot = model.fuses[0].reference_hot_c(30.0)
        low, high = 0.0, 60.0
        for _ in range(16):
            middle = 0.5 * (low + high)
            carried = model.settled([middle, middle]).fuses[0].hot_c <= hot
            low, high = (middle, high) if carried else (low, middle)
        return low

    assert share(outside + more) <= share(outside) + 1e-2


@settings(max_examples=3)
@given(box=boxes)
def test_a_grouping_factor_falls_with_the_count_and_the_load(box: Box) -> None:
    found = grouping(two(replace(box, heat=0.0, outside_c=min(box.outside_c, 40.0))))
    assert found.factor[0] == 1.0 >= found.factor[1] - 1e-4
    assert all(
        a >= b - 1e-4 for a, b in zip(found.loaded_factor, found.loaded_factor[1:], strict=False)
    )
