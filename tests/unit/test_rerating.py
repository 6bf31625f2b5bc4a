"""Re-rating: the criteria, which governs, what is published, and what is no load."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm.answers.rerating import CRITERIA, PUBLISHED, rerate
from fusetherm.cli.rerate import print_rerating, rerating_data
from fusetherm.errors import InputError
from fusetherm.fuse.element import round_wire
from fusetherm.fuse.model import Blade, FuseModel, Side, Surroundings
from fusetherm.fuse.published import ReRating, ReRatingPoint
from fusetherm.physics.kohlrausch import ambient_ratio_convective
from fusetherm.physics.metals import metal
from fusetherm.solver.steady import minimum_fusing_current, steady_state
from fusetherm.verify.models import plain_metal

AMBIENTS = (-40.0, 0.0, 23.0, 60.0, 85.0, 105.0)


@pytest.fixture(scope="module")
def answer(fitted: Any) -> Any:
    return rerate(fitted, ambient_c=AMBIENTS)


def test_at_the_reference_the_rating_comes_back(answer: Any) -> None:
    i = AMBIENTS.index(23.0)
    assert answer.hot_spot_current[i] == pytest.approx(40.0, rel=1e-6)
    assert answer.fusing_share_current[i] == pytest.approx(40.0, rel=1e-9)


def test_each_criterion_holds_in_the_solver(fitted: Any, answer: Any) -> None:
    model, cells = fitted.installed, fitted.cells
    hot = steady_state(model, 40.0, cells=cells)
    limits = model.limits
    for i in (3, 4):
        t = AMBIENTS[i]
        same = steady_state(model, answer.hot_spot_current[i], ambient_c=t, cells=cells)
        assert same.peak_temperature_c == pytest.approx(hot.peak_temperature_c, abs=0.5)
        least = [minimum_fusing_current(model, ambient_c=a, cells=cells) for a in (t, 23.0)]
        assert answer.fusing_share_current[i] == pytest.approx(40.0 * least[0] / least[1])
        at_limit = steady_state(model, answer.limit_current[i], ambient_c=t, cells=cells)
        stated = {"blade": limits.blade_c, "clip": limits.clip_c, "body": limits.body_c,
                  "cable": limits.cable_insulation_c}  # fmt: skip
        over = [v - stated[k.split("_")[0]] for k, v in at_limit.node_temperature_c.items()]
        assert max(over) == pytest.approx(0.0, abs=0.3)


def test_the_lowest_governs_and_is_named(answer: Any) -> None:
    three = np.array([answer.hot_spot_current, answer.fusing_share_current, answer.limit_current])
    assert answer.continuous_current == pytest.approx(three.min(axis=0))
    assert answer.governs == tuple(CRITERIA[i] for i in three.argmin(axis=0))
    low, high = answer.practice
    assert low == pytest.approx(0.7 * answer.continuous_current)
    assert high == pytest.approx(0.8 * answer.continuous_current)


def test_hotter_never_carries_more(answer: Any) -> None:
    for name in ("continuous_current", "hot_spot_current", "limit_current",
                 "minimum_fusing_current"):  # fmt: skip
        assert np.all(np.diff(getattr(answer, name)) < 1e-9), name


def test_fusing_current_alone_would_allow_more_than_the_hot_spot(answer: Any) -> None:
    hot = np.array(AMBIENTS) > 23.0
    assert np.all(answer.fusing_share_current[hot] > 1.02 * answer.hot_spot_current[hot])
    assert np.all(answer.continuous_current <= answer.fusing_share_current + 1e-9)


def test_bands_hold_the_value_and_vanish_for_a_bare_model(fitted: Any, answer: Any) -> None:
    assert np.all(answer.continuous_low <= answer.continuous_current)
    assert np.all(answer.continuous_high >= answer.continuous_current)
    assert answer.continuous_high[4] > 1.005 * answer.continuous_low[4]
    bare = rerate(fitted.installed, ambient_c=85.0)
    assert bare.level == 0.0
    assert bare.continuous_low == bare.continuous_high
    assert "no-band" in [n.code for n in bare.notes]


def test_published_points_win_inside_their_range(fitted: Any) -> None:
    points = (ReRatingPoint(ambient_c=23.0, factor=1.0), ReRatingPoint(ambient_c=85.0, factor=0.5))
    stated = replace(fitted.definition, re_rating=ReRating(source="invented", points=points))
    found = rerate(replace(fitted, definition=stated), ambient_c=(0.0, 54.0, 85.0))
    assert found.published_current[1:] == pytest.approx((30.0, 20.0))
    assert np.isnan(found.published_current[0])
    assert found.continuous_current[1:] == pytest.approx((30.0, 20.0))
    assert found.governs[1:] == (PUBLISHED, PUBLISHED)
    assert found.governs[0] != PUBLISHED
    (note,) = (n for n in found.notes if n.code == "published-re-rating")
    assert "the published one is taken" in note.text


def test_published_fusing_ratios_are_compared_and_never_taken(fitted: Any) -> None:
    points = (ReRatingPoint(ambient_c=23.0, factor=1.0), ReRatingPoint(ambient_c=85.0, factor=0.91))
    rule = ReRating(criterion="fusing", source="invented", points=points)
    stated = replace(fitted.definition, re_rating=rule)
    found = rerate(replace(fitted, definition=stated), ambient_c=85.0)
    assert np.isnan(found.published_current[0])
    assert found.continuous_current[0] < 0.9 * 40.0
    assert "taken" not in next(n for n in found.notes if n.code == "published-re-rating").text


def test_a_wire_of_fixed_film_follows_the_convective_limit() -> None:
    zinc = plain_metal("zinc", density=8000.0, specific_heat=400.0, resistivity=5e-8,
                        slope=0.0039, conductivity=200.0, melts_k=692.677)  # fmt: skip
    ends = Side(Blade(heat_capacity=1e-9))
    around = Surroundings(film_coefficient=30.0)
    wire = FuseModel(round_wire(zinc, 0.5e-3, 20e-3), None, ends, ends, around)
    found = rerate(wire, ambient_c=(23.0, 85.0), rated_current=1.0)
    ratio = found.minimum_fusing_current[1] / found.minimum_fusing_current[0]
    assert ratio == pytest.approx(ambient_ratio_convective(358.15, 692.677, 296.15), rel=1e-6)
    assert "outside-limiting-models" not in [n.code for n in found.notes]
    assert np.all(np.isnan(found.limit_current))


def test_questions_without_sense_are_refused(fitted: Any) -> None:
    wire = fitted.installed
    for change, code in (
        ({"ambient_c": 500.0}, "ambient-above-melting"),
        ({"ambient_c": []}, "ambient-missing"),
        ({"rated_current": -1.0}, "rating-missing"),
    ):
        with pytest.raises(InputError) as refusal:
            rerate(wire, **change)
        assert refusal.value.code == code
    melts = rerate(wire, ambient_c=23.0, rated_current=200.0)
    assert "rating-not-carried" in [n.code for n in melts.notes]


def test_words_keep_loads_and_melting_apart(answer: Any, capsys: Any) -> None:
    print_rerating(answer)
    text = " ".join(capsys.readouterr().out.split())
    assert "melts in the end above this current (no load)" in text
    assert text.count("certification") == 1
    ratio = answer.minimum_fusing_current[4] / answer.minimum_fusing_current[2]
    assert f"{ratio:.3f}" not in text
    data = rerating_data(answer)
    assert data["schema"] == "fusetherm/rerate/1"
    assert not [key for key in data if "ratio" in key or "factor" in key]


def test_command_and_figure(tmp_path: Any) -> None:
    from fusetherm.calibration.stored import cached_fit
    from fusetherm.cli.main import program
    from fusetherm.demo import definitions
    from fusetherm.fuse.definition import load_fuse

    path = definitions()["inverter_feed_40A"]
    cached_fit(load_fuse(path))
    picture = tmp_path / "a.svg"
    done = CliRunner().invoke(program, ["rerate", str(path), "--ambient-c", "85", "--ambient-c",
                                        "23", "--figure", str(picture), "--json"])  # fmt: skip
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert data["continuous_current_A"][0] < data["continuous_current_A"][1] == 40.0
    assert "no load" in picture.read_text(encoding="utf-8")
    assert rerate(cached_fit(load_fuse(path)), ambient_c=85.0).to_xarray().sizes["ambient_c"] == 1


def test_air_hotter_than_the_hot_spot_of_the_rating_is_remarked() -> None:
    wire = FuseModel(round_wire(metal("zinc"), 0.5e-3, 20e-3))
    found = rerate(wire, ambient_c=(60.0, 125.0), rated_current=1.0)
    assert found.continuous_current[1] == 0.0
    assert "ambient-above-hot-spot" in [n.code for n in found.notes]
