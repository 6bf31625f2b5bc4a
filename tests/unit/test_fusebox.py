"""Fuse box: closed forms of resistances in series, balances, symmetry, over time and settled."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fusetherm import Box, FuseBox, FuseModel, InputError, SolveError, Waveform, Way, fusebox
from fusetherm.answers.box.air import Air, march, means
from fusetherm.answers.box.grouping import grouping
from fusetherm.answers.box.model import BoxModel
from fusetherm.fuse.element import Element, Section, round_wire
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Limits, Side
from fusetherm.labelled import write_netcdf
from fusetherm.physics.metals import metal
from fusetherm.solver.steady import minimum_fusing_current
from fusetherm.verify.models import lump

LOSS, OHMS, CAPACITY = 0.05, 2e-3, 2.0
LUMP = replace(
    lump(capacity=CAPACITY, loss=LOSS, ohms=OHMS), rated_current=30.0, limits=Limits(blade_c=150.0)
)
OUT = 0.4


_SIDE = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6))
STRIP = FuseModel(
    Element(
        metal("zinc"),
        (Section(4e-3, 3e-3, 3e-4), Section(2e-3, 1e-3, 3e-4), Section(4e-3, 3e-3, 3e-4)),
    ),
    Body(), _SIDE, _SIDE, rated_current=30.0,
    limits=Limits(blade_c=150.0, clip_c=150.0, body_c=150.0, cable_insulation_c=105.0),
)  # fmt: skip


_SHORT = Side(Blade(0.4, 0.02))
WIRE = FuseModel(
    round_wire(metal("zinc"), 0.5e-3, 12e-3), Body(conductance=0.05), _SHORT, _SHORT,
    limits=Limits(blade_c=300.0, body_c=300.0), rated_current=15.0,
)  # fmt: skip


def ways(currents: list[float], model: FuseModel = LUMP, **more: float) -> list[Way]:
    return [
        Way(name=f"way {i}", subject=model, load=current, place=i + 1, **more)  # type: ignore[arg-type]
        for i, current in enumerate(currents)
    ]


def on_cables(section: float = 4e-6) -> FuseModel:
    side = replace(LUMP.left, contact=Contact(), clip=Clip(), cable=Cable(section))
    return replace(LUMP, left=side, body=Body())


def test_one_resistor_warms_the_box_by_its_power_over_the_conductance() -> None:
    box = Box(to_outside=OUT, heat_capacity=100.0, outside_c=30.0, place_to_air=0.2)
    power = 20.0**2 * OHMS
    settled = BoxModel(box, ways([20.0])).settled([20.0])
    assert settled.box_c - 30.0 == pytest.approx(power / OUT, rel=1e-9)
    assert settled.air_c[0] - 30.0 == pytest.approx(power / OUT + power / 0.2, rel=1e-9)
    hot = power * (1.0 / OUT + 1.0 / 0.2 + 1.0 / LOSS)
    assert settled.fuses[0].hot_c - 30.0 == pytest.approx(hot, rel=1e-6)
    assert settled.imbalance < 1e-9


def test_heat_from_elsewhere_warms_the_box_like_a_resistor() -> None:
    box = Box(to_outside=OUT, heat_capacity=100.0, heat=[(0.0, 1.0), (60.0, 5.0)])
    settled = BoxModel(box, ways([0.0])).settled([0.0])
    assert settled.box_c - 23.0 == pytest.approx(5.0 / OUT, rel=1e-9)


def test_resistance_that_rises_with_temperature_is_followed() -> None:
    slope = 0.004
    model = lump(capacity=CAPACITY, loss=LOSS, ohms=OHMS, slope=slope)
    box = Box(to_outside=0.1, heat_capacity=100.0, outside_c=20.0)
    settled = BoxModel(box, ways([30.0], model)).settled([30.0])
    # P = I² R (1 + slope x), x = P (1/loss + 1/out)
    rise = 1.0 / LOSS + 1.0 / 0.1
    power = 900.0 * OHMS / (1.0 - 900.0 * OHMS * slope * rise)
    assert settled.box_c - 20.0 == pytest.approx(power / 0.1, rel=1e-6)


def test_resistance_that_outruns_the_box_never_settles() -> None:
    model = lump(capacity=CAPACITY, loss=LOSS, ohms=OHMS, slope=0.004)
    box = Box(to_outside=0.008, heat_capacity=100.0, outside_c=20.0)
    with pytest.raises(SolveError) as caught:
        BoxModel(box, ways([30.0], model)).settled([30.0])
    assert caught.value.code == "box-not-settled"


def test_heat_made_goes_to_the_box_and_out_by_the_cables() -> None:
    box = Box(to_outside=OUT, heat_capacity=100.0, outside_c=40.0, place_to_air=0.3)
    settled = BoxModel(box, ways([20.0, 10.0], on_cables(), cable_inside=0.1)).settled([20.0, 10.0])
    for rest in settled.fuses:
        assert rest.to_box + rest.to_outside == pytest.approx(rest.made, rel=1e-6)
    given = sum(rest.to_box for rest in settled.fuses)
    assert given == pytest.approx(settled.passed_on, rel=1e-8)
    assert settled.iterations <= 8


def test_strong_cables_do_not_make_the_iteration_swing() -> None:
    # each kelvin of air drives .3 W and more through the cables, three times what the box passes
    box = Box(to_outside=0.02, heat_capacity=100.0, outside_c=20.0, heat=3.0)
    model = replace(on_cables(50e-6), body=Body(conductance=1.0, blade_conductance=1.0))
    settled = BoxModel(box, ways([10.0] * 6, model, cable_inside=0.2)).settled([10.0] * 6)
    assert settled.imbalance < 1e-9
    assert settled.iterations <= 8


def test_equal_ways_in_a_row_mirror_and_the_middle_is_warmest() -> None:
    box = Box(to_outside=OUT, heat_capacity=100.0, place_to_air=0.1, neighbour=0.2)
    air = BoxModel(box, ways([20.0] * 5)).settled([20.0] * 5).air_c
    assert air == pytest.approx(air[::-1], abs=1e-6)
    # every place gives the same to the box's air, so neighbours exchange nothing
    assert air == pytest.approx(np.full(5, air[0]), abs=1e-6)
    one = BoxModel(box, ways([20.0] * 5)).settled([0.0, 0.0, 20.0, 0.0, 0.0]).air_c
    assert one == pytest.approx(one[::-1], abs=1e-6)
    assert one[2] > one[1] > one[0]


def test_four_in_a_square_are_alike() -> None:
    box = Box(to_outside=OUT, heat_capacity=100.0, place_to_air=0.1, neighbour=0.2)
    square = [
        Way(name=f"{r}{p}", subject=LUMP, load=1.0, row=r, place=p) for r in (1, 2) for p in (1, 2)
    ]
    air = BoxModel(box, square).settled([20.0, 0.0, 0.0, 0.0]).air_c
    assert air[1] == pytest.approx(air[2], abs=1e-9)  # both beside the loaded one
    assert air[0] > air[1] > air[3]


def test_grouping_factor_of_equal_resistors_is_that_of_the_resistances() -> None:
    box = Box(to_outside=OUT, heat_capacity=100.0)
    found = grouping(BoxModel(box, ways([1.0] * 6)))
    k = np.arange(1, 7)
    expected = np.sqrt((1.0 / LOSS + 1.0 / OUT) / (1.0 / LOSS + k / OUT))
    assert found.factor == pytest.approx(expected, rel=1e-4)
    # one beside five at y of their rating: x²(r + R) + 5 y² R = r, alone x²(r + R) = r
    own, shared = 1.0 / LOSS, 1.0 / OUT
    expected = np.sqrt((own - 5.0 * found.load**2 * shared) / own)
    assert found.loaded_factor == pytest.approx(expected, rel=1e-4)


def test_grouping_without_a_rating_says_so() -> None:
    model = BoxModel(
        Box(to_outside=OUT, heat_capacity=1.0), ways([1.0], replace(LUMP, rated_current=None))
    )
    found = grouping(model)
    assert np.isnan(found.factor).all()
    assert found.notes[0].code == "grouping-without-rating"


def test_course_of_two_lumps_is_their_exact_one() -> None:
    box = Box(to_outside=OUT, heat_capacity=150.0, outside_c=30.0)
    answer = fusebox(box, ways([25.0]), duration=1800.0)
    power = 625.0 * OHMS
    matrix = np.array([[LOSS / CAPACITY, -LOSS / CAPACITY],
                       [-LOSS / 150.0, (LOSS + OUT) / 150.0]])  # fmt: skip
    rest = np.array([power / OUT + power / LOSS, power / OUT])
    rates, modes = np.linalg.eig(matrix)
    weights = np.linalg.solve(modes, rest)
    modal = weights[:, None] * np.exp(-np.outer(rates, answer.time))
    exact = rest[:, None] - modes @ modal
    assert answer.box_air_c - 30.0 == pytest.approx(exact[1], abs=0.01)
    assert answer.hot_spot_c[0] - 30.0 == pytest.approx(exact[0], abs=0.05)
    assert answer.imbalance < 1e-6
    assert answer.settled_air_c[0] == pytest.approx(30.0 + power / OUT, rel=1e-9)
    assert answer.highest_air_c[0] == answer.settled_air_c[0]


def test_air_under_constant_heat_is_an_exponential() -> None:
    box = Box(to_outside=0.5, heat_capacity=100.0)
    air = Air.of(box, [(1, 1)])
    grid = np.linspace(0.0, 1000.0, 401)
    heat = np.full((400, 1), 2.0)
    rise = march(air, grid, heat, np.zeros(1), np.zeros((401, 1)), np.zeros(400))[:, 0]
    assert rise == pytest.approx(4.0 * (1.0 - np.exp(-grid / 200.0)), abs=2e-4)


def test_means_keep_the_area() -> None:
    time, value = np.array([0.0, 1.0, 4.0]), np.array([0.0, 2.0, 1.0])
    grid = np.array([0.0, 0.5, 2.0, 6.0])
    found = means(time, value, grid)
    assert found @ np.diff(grid) == pytest.approx(1.0 + 4.5 + 2.0)


@pytest.fixture(scope="module")
def strips() -> FuseBox:
    """Three strips on cables, one of them idle, and heat from elsewhere."""
    box = Box(to_outside=OUT, heat_capacity=80.0, outside_c=35.0, place_to_air=0.2,
              neighbour=0.1, place_heat_capacity=20.0, heat=[(0.0, 0.0), (300.0, 2.0)])  # fmt: skip
    return fusebox(box, ways([22.0, 10.0, 0.0], STRIP, cable_inside=0.1))


def test_figure_shows_airs_heaters_and_grouping(strips: FuseBox) -> None:
    figure = strips.plot()
    top, left, right = figure.axes
    words = {text.get_text() for text in top.get_legend().get_texts()}
    assert {"way 0, hot spot", "air of the box", "outside"} <= words
    # hot spot and air of each way, the box, the outside
    assert len(top.lines) == 2 * 3 + 2
    assert [text.get_text() for text in left.texts] == ["way 2", "way 1", "way 0"]
    assert left.patches[-1].get_width() == pytest.approx(strips.cooler_without[0])
    assert right.lines[0].get_ydata() == pytest.approx(strips.group_factor)
    assert (top.get_xlabel(), top.get_ylabel()) == ("time (min)", "temperature (°C)")


def test_answer_can_be_kept_as_netcdf(strips: FuseBox, tmp_path: Path) -> None:
    path = write_netcdf(strips.to_xarray(), tmp_path / "box.nc")
    assert path.stat().st_size > 0
    assert json.loads(strips.configuration())["ways"][0]["made_with"]["cells"] >= 64


def test_course_settles_where_the_settled_answer_lies(strips: FuseBox) -> None:
    answer = strips
    assert answer.air_c[:, -1] == pytest.approx(answer.settled_air_c, abs=0.05)
    assert answer.hot_spot_c[:, -1] == pytest.approx(answer.settled_hot_spot_c, abs=0.1)
    assert answer.imbalance < 1e-5
    assert answer.chief_heater == "way 0"
    assert answer.share.sum() < 1.0  # the rest comes from elsewhere
    assert answer.cooler_without[0] > answer.cooler_without[1] > 0.0 == answer.cooler_without[2]
    assert answer.above_outside == pytest.approx(answer.highest_air_c - 35.0)
    assert np.all(answer.group_factor[1:] < 1.0)
    data = answer.to_xarray()
    assert data.air_c.dims == ("way", "time")
    assert data.air_c.attrs["units"] == "degC"


def test_fuse_that_opens_is_told_and_still_heats_the_others() -> None:
    most = minimum_fusing_current(WIRE, ambient_c=40.0)
    box = Box(to_outside=0.1, heat_capacity=20.0, outside_c=40.0)
    load = 0.97 * most  # carried outside a box
    answer = fusebox(box, ways([load, load], WIRE), duration=1200.0)
    assert answer.verdict == "opens"
    assert answer.exit_status == 20
    assert np.isfinite(answer.onset_time).all()
    assert {note.code for note in answer.notes} >= {"opens-in-the-box"}
    assert fusebox(box, ways([0.3 * load], WIRE), duration=1200.0).verdict != "opens"


def test_capture_held_repeated_and_left() -> None:
    pulse = Waveform(time=[0, 60, 60, 120], current=[30, 30, 5, 5])
    box = Box(to_outside=OUT, heat_capacity=50.0)
    circuits = [
        Way(name="left", subject=LUMP, load=pulse, after="zero", place=1),
        Way(name="held", subject=LUMP, load=pulse, after="hold", place=2),
        Way(name="again", subject=LUMP, load=pulse, after="repeat", period=300.0, place=3),
    ]
    assert circuits[0].lasting_current == 0.0
    assert circuits[1].lasting_current == 5.0
    assert circuits[2].lasting_current == pytest.approx(math.sqrt((900 * 60 + 25 * 60) / 300.0))
    answer = fusebox(box, circuits, duration=1500.0)
    again = answer.hot_spot_c[2]
    late = again[(answer.time > 1200.0) & (answer.time < 1500.0)]
    assert late.max() - late.min() > 10.0  # the peaks stay
    assert answer.hot_spot_c[0, -1] < answer.hot_spot_c[1, -1] < late.max()
    assert {note.code for note in answer.notes} == {"settled-by-rms"}
    assert all(v.verdict in ("carries", "marginal") for v in answer.verdicts)


def test_a_repeat_opens_or_carries_however_short_the_time_followed() -> None:
    load = minimum_fusing_current(WIRE, ambient_c=40.0)
    box = Box(to_outside=5.0, heat_capacity=50.0, outside_c=40.0)

    def asked(current: float, duration: float) -> FuseBox:
        pulse = Waveform(time=[0, 2], current=[current, current])
        again = Way(name="again", subject=WIRE, load=pulse, after="repeat", place=1)
        return fusebox(box, [again], duration=duration)

    short = asked(1.2 * load, 1.0)
    assert np.isnan(short.onset_time).all()  # not yet, in a second
    assert short.verdict == "opens"
    margins = [asked(0.7 * load, duration).verdicts[0].margin for duration in (1.0, 3000.0)]
    near, far = (m.current_factor for m in margins if m is not None)
    assert near == pytest.approx(far, rel=0.01)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"to_outside": 0.0}, "not-positive"),
        ({"heat_capacity": math.nan}, "not-positive"),
        ({"neighbour": -1.0}, "negative"),
        ({"neighbour": 0.1}, "neighbours-without-places"),
        ({"heat": -1.0}, "negative"),
        ({"heat": [(10.0, 1.0), (10.0, 2.0)]}, "heat-not-increasing"),
        ({"outside_c": -400.0}, "below-absolute-zero"),
    ],
)
def test_boxes_that_cannot_be_are_refused(change: dict[str, float], code: str) -> None:
    with pytest.raises(InputError) as caught:
        Box(**({"to_outside": 0.5, "heat_capacity": 100.0} | change))  # type: ignore[arg-type]
    assert caught.value.code == code


def test_ways_that_cannot_be_are_refused() -> None:
    box = Box(to_outside=0.5, heat_capacity=100.0)
    one = ways([1.0])[0]
    for found, code in (
        ([], "no-ways"),
        ([one, one], "name-taken"),
        ([one, replace(one, name="other")], "place-taken"),
    ):
        with pytest.raises(InputError) as caught:
            fusebox(box, found)
        assert caught.value.code == code
    pulse = Waveform(time=[0, 1], current=[1, 1])
    for more, code in (
        ({"load": pulse}, "after-missing"),
        ({"load": pulse, "after": "repeat", "period": -1.0}, "period-too-short"),
        ({"load": pulse, "after": "repeat", "period": math.nan}, "period-too-short"),
        ({"load": pulse, "after": "repeat", "period": 0.5}, "period-too-short"),
        ({"load": pulse, "after": "hold", "period": 2.0}, "period-without-repeat"),
        ({"load": math.nan}, "current-not-finite"),
        ({"cable_inside": -1.0}, "negative"),
    ):
        with pytest.raises(InputError) as caught:
            replace(one, **more)
        assert caught.value.code == code
    with pytest.raises(InputError, match="duration"):
        fusebox(box, [one], duration=0.0)
