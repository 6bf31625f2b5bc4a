"""The verdict: each rule with a case on either side of it, statuses, JSON."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fusetherm import written
from fusetherm.answers import carry as rules
from fusetherm.answers.carry import (
    MARGIN_THRESHOLD,
    Check,
    Verdict,
    _weak,
    carry,
    terminal_time_constant,
)
from fusetherm.answers.margin import margin
from fusetherm.current.capture import read_capture
from fusetherm.current.sampled import constant
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError
from fusetherm.fuse.definition import MeltingIntegral, TemperatureLimits
from fusetherm.solver.run import simulate
from fusetherm.solver.steady import minimum_fusing_current, steady_state

PULSE = Waveform(time=[0, 0, 0.5, 0.5, 1.0], current=[0, 100, 100, 0, 0])
FOREVER = 3600.0


def asked(subject: Any, wave: Waveform, **options: Any) -> Verdict:
    return carry(subject, wave, **({"ambient_c": 23.0} | options))


def codes(verdict: Verdict) -> list[str]:
    return [note.code for note in verdict.notes]


@pytest.fixture(scope="module")
def limitless(fitted: Any) -> Any:
    return replace(fitted, definition=replace(fitted.definition, limits=None))


@pytest.fixture(scope="module")
def factor(fitted: Any) -> float:
    """Factor at which the pulse begins to melt the median fuse."""
    return margin(fitted, PULSE, duration=False).current_factor


# opens ---------------------------------------------------------------------------------------


def test_a_short_pulse_carries(fitted: Any) -> None:
    verdict = asked(fitted, PULSE)
    assert (verdict.verdict, verdict.exit_status) == ("carries", 0)
    assert not verdict.run.opened
    assert verdict.margin is not None
    assert f"{verdict.margin.current_factor:.2f} times" in verdict.reasons[0]
    assert all(check.ok for check in verdict.checks)
    assert {c.name for c in verdict.checks} == {"blade", "clip", "body", "cable"}


def test_parting_opens(fitted: Any) -> None:
    verdict = asked(fitted, constant(150.0, 60.0))
    assert (verdict.verdict, verdict.exit_status) == ("opens", 20)
    assert verdict.run.opened
    assert verdict.run.pre_arcing_time is not None
    assert f"parts after {written.seconds(verdict.run.pre_arcing_time)}" in verdict.reasons[0]


def test_melting_without_parting_opens_too(fitted: Any, factor: float) -> None:
    verdict = asked(fitted, PULSE.scaled(1.002 * factor))
    assert not verdict.run.opened
    assert (verdict.verdict, verdict.exit_status) == ("opens", 20)
    assert "melting begins" in verdict.reasons[0]
    assert "partly-melted" in codes(verdict)
    assert asked(fitted, PULSE.scaled(0.998 * factor)).verdict == "marginal"


# marginal ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("off", "name"), [(0.99, "marginal"), (1.01, "carries")])
def test_the_lower_edge_of_the_margin_decides(
    fitted: Any, factor: float, off: float, name: str
) -> None:
    edge = factor * fitted.band.low / MARGIN_THRESHOLD
    verdict = asked(fitted, PULSE.scaled(edge / off))
    assert verdict.verdict == name
    assert verdict.margin is not None
    assert verdict.margin.current_low == pytest.approx(off * MARGIN_THRESHOLD, rel=1e-3)


def test_threshold_keeps_all_but_one_unit_in_ten_thousand() -> None:
    # share of a normal law beyond ln(threshold) over the unit spread
    share = 0.5 * math.erfc(math.log(MARGIN_THRESHOLD) / rules.UNIT_SPREAD / math.sqrt(2.0))
    assert 1.0 / share == pytest.approx(rules.POPULATION, rel=1e-6)


@pytest.mark.parametrize("part", ["blade", "clip", "body", "cable"])
def test_a_limit_passed_is_marginal(fitted: Any, part: str) -> None:
    load = constant(20.0, FOREVER)
    reached = asked(fitted, load).temperature_c(part)
    assert reached is not None
    key = {"cable": "cable_insulation_c"}.get(part, f"{part}_c")
    for off, name in ((-1.0, "marginal"), (1.0, "carries")):
        limits = TemperatureLimits(source="x", **{key: reached + off})
        fuse = replace(fitted, definition=replace(fitted.definition, limits=limits))
        verdict = asked(fuse, load)
        assert verdict.verdict == name, verdict.reasons
        if name == "marginal":
            assert verdict.reasons[0].startswith(f"{part} reaches")


def test_a_continuous_load_above_three_quarters_is_marginal(fitted: Any) -> None:
    fuse = replace(
        fitted,
        definition=replace(fitted.definition, limits=TemperatureLimits(body_c=400, source="x")),
    )
    # the reference ambient: no re-rating but that of the test
    assert asked(fuse, PULSE).continuous_limit == pytest.approx(0.75 * 40.0, rel=2e-3)
    for load, name in ((29.0, "carries"), (31.0, "marginal")):
        for wave, options in (
            (constant(load, FOREVER), {}),
            (constant(load, 1.0), {"after": "hold"}),
            (PULSE.scaled(0.5), {"start": load}),
        ):
            verdict = asked(fuse, wave, **options)
            assert verdict.verdict == name, (load, options, verdict.reasons)
            assert verdict.continuous_load == pytest.approx(load, rel=1e-6)
    assert asked(fuse, constant(31.0, 1.0)).verdict == "carries"


def test_the_continuous_limit_follows_the_ambient_at_equal_hot_spot(fitted: Any) -> None:
    limits = [asked(fitted, PULSE, ambient_c=a).continuous_limit for a in (0.0, 23.0, 85.0)]
    assert limits[0] > limits[1] > limits[2] > 0.0  # type: ignore[operator]
    rated = steady_state(fitted.installed, 40.0, ambient_c=23.0)
    hot = steady_state(fitted.installed, limits[2] / 0.75, ambient_c=85.0)  # type: ignore[operator]
    assert rated is not None
    assert hot is not None
    assert hot.peak_temperature_c == pytest.approx(rated.peak_temperature_c, abs=3.0)


def test_a_connection_that_melts_the_rating_is_limited_by_the_melting_point(fitted: Any) -> None:
    thin = replace(fitted.definition.installed_connection, cable_section=0.5e-6)
    fuse = replace(fitted, definition=replace(fitted.definition, installed_connection=thin))
    least = minimum_fusing_current(fuse.installed)
    assert least < 40.0
    assert asked(fuse, PULSE).continuous_limit == pytest.approx(0.75 * least, rel=5e-3)


# not shown -----------------------------------------------------------------------------------


def test_a_clipped_record_is_never_shown_to_carry(fitted: Any, tmp_path: Path) -> None:
    time = np.linspace(0.0, 0.02, 400)
    sine = np.minimum(100.0 * np.sin(np.pi * time / 0.02), 70.0)
    path = tmp_path / "a.csv"
    rows = "\n".join(f"{t:.6g},{i:.6g}" for t, i in zip(time, sine, strict=True))
    path.write_text("time (s),current (A)\n" + rows + "\n")
    capture = read_capture(path)
    for wave in (capture, constant(1.0, 1.0).then(capture), capture.repeated(3)):
        verdict = asked(fitted, wave)
        assert (verdict.verdict, verdict.exit_status) == ("not_shown", 4)
        assert "clipped" in verdict.reasons[0]
        assert "clipped-record" in codes(verdict)
    # what was cut off would only have made it hotter
    assert asked(fitted, capture.scaled(40.0)).verdict == "opens"
    real = read_capture(path, flat_top_is_real=True)
    assert asked(fitted, real).verdict == "carries"


def test_a_long_load_needs_limits(fitted: Any, limitless: Any) -> None:
    brief = 2.9 * terminal_time_constant(limitless.installed)
    for seconds, name in ((brief, "carries"), (brief * 3.1 / 2.9, "not_shown")):
        assert asked(limitless, constant(15.0, seconds)).verdict == name
        assert asked(fitted, constant(15.0, seconds)).verdict == "carries"
    state = simulate(limitless.installed, constant(15.0, 10.0), ambient_c=23.0).final_state
    for options in ({"start": 15.0}, {"after": "hold"}, {"start": state}):
        assert asked(limitless, constant(15.0, 1.0), **options).verdict == "not_shown"
        assert asked(fitted, constant(15.0, 1.0), **options).verdict == "carries"


def test_a_held_current_without_a_steady_state_is_not_shown(fitted: Any) -> None:
    least = minimum_fusing_current(fitted.installed)
    held = constant(1.2 * least, 1.0)
    verdict = asked(fitted, held, after="hold", until=5.0)
    assert verdict.run.onset_time is None
    assert verdict.verdict == "not_shown"
    assert "no steady state" in verdict.reasons[0]
    assert asked(fitted, held, after="hold").verdict == "opens"
    assert asked(fitted, constant(20.0, 1.0), after="hold").verdict == "carries"


# outside the published curve -------------------------------------------------------------------


def test_a_heavy_pulse_outside_the_curve_is_at_best_marginal(fitted: Any, published: Any) -> None:
    current, time = published.points[-1]
    action = current**2 * time

    def pulse(share: float, seconds: float) -> Waveform:
        height = math.sqrt(share * action / seconds)
        return Waveform(time=[0, 0, seconds, seconds], current=[0, height, height, 0])

    short = 0.09 * time
    for share, seconds, name, noted in (
        (0.3, short, "marginal", True),
        (0.2, short, "carries", True),
        (0.3, 0.29 * time, "marginal", True),  # a current above the highest
        (0.3, 0.4 * time, "carries", False),
    ):
        verdict = asked(fitted, pulse(share, seconds))
        assert verdict.verdict == name, (share, seconds, verdict.reasons)
        assert ("outside-fitted-range" in codes(verdict)) == noted
    # a stated melting integral brings the curve nearer
    known = MeltingIntegral(i2t=action, duration=short, source="x")
    fuse = replace(fitted, definition=replace(fitted.definition, melting_integrals=(known,)))
    assert asked(fuse, pulse(0.3, short)).verdict == "carries"


# ambients --------------------------------------------------------------------------------------


def test_an_assumed_ambient_is_said(fitted: Any) -> None:
    assumed = carry(fitted, PULSE)
    assert "ambient-assumed" in codes(assumed)
    assert assumed.run.ambient_c == 23.0
    given = carry(fitted, PULSE, ambient_c=23.0)
    assert "ambient-assumed" not in codes(given)
    assert assumed.run.peak_temperature_c == given.run.peak_temperature_c


@pytest.mark.parametrize(
    ("ambient_c", "code"),
    [(106.0, "ambient-above-insulation"), (420.0, "ambient-above-melting"),
     (-300.0, "below-absolute-zero"), (math.nan, "temperature-not-finite")],
)  # fmt: skip
def test_impossible_ambients(fitted: Any, ambient_c: float, code: str) -> None:
    with pytest.raises(InputError, match=code):
        carry(fitted, PULSE, ambient_c=ambient_c)
    asked(fitted, PULSE, ambient_c=104.0)


def test_an_ambient_in_kelvin_is_told_in_celsius(fitted: Any) -> None:
    with pytest.raises(InputError, match="ambient-above-insulation") as caught:
        carry(fitted, PULSE, ambient_c=296.0)
    assert caught.value.mend == "296 looks like kelvin; in degrees Celsius that is 22.85"


def test_numbers_that_differ_look_different() -> None:
    """Not "reaches 125 °C, limit 125 °C"."""
    checks = (Check("cable", 125.2, 125.0), Check("clip", 140.2, 130.0))
    assert _weak(None, checks, 20.84, 20.82) == [
        "cable reaches 125.2 °C, limit 125.0 °C",
        "clip reaches 140 °C, limit 130 °C",
        "a continuous load of 20.84 A exceeds 20.82 A, three quarters of the rating re-rated "
        "to this ambient",
    ]


# the answer as data ------------------------------------------------------------------------------

PROMISED = {
    "schema", "verdict", "opened", "onset_time_s", "pre_arcing_time_s", "blade_temperature_C",
    "clip_temperature_C", "body_temperature_C", "peak_temperature_C", "peak_time_s",
    "melting_share", "margin_current", "margin_current_low", "margin_current_high",
    "margin_duration", "i2t_A2s", "conservation", "ambient_C", "rated_current_A", "notes",
    "cautions", "reasons", "configuration",
}  # fmt: skip


@pytest.mark.parametrize("current", [0.0, 1e-5, 30.0, 300.0])
@pytest.mark.parametrize("bare", [False, True])
def test_json_is_whole_and_plain(fitted: Any, current: float, bare: bool) -> None:
    verdict = asked(fitted.installed if bare else fitted, constant(current, 5.0))
    data = json.loads(json.dumps(verdict.to_json(), allow_nan=False))
    assert set(data) >= PROMISED
    assert data["schema"] == "fusetherm/carry/1"
    assert data["verdict"] == verdict.verdict
    assert data["opened"] == (current == 300.0)
    assert (data["onset_time_s"] is None) == (current < 300.0)
    assert (data["pre_arcing_time_s"] is None) == (current < 300.0)
    assert (data["margin_current"] is None) == (current == 0.0)
    assert data["blade_temperature_C"] >= 23.0 - 1e-9
    assert all(set(note) == {"code", "text"} for note in data["notes"])
    assert len({note["code"] for note in data["notes"]}) == len(data["notes"])
    assert ("no-band" in [note["code"] for note in data["notes"]]) == bare
    if current < 300.0:
        assert data["i2t_A2s"] == pytest.approx(5.0 * current**2)


def test_bare_models_say_so_and_keep_their_own_connection(published: Any) -> None:
    verdict = asked(published.truth, PULSE)
    assert verdict.connection == "as modelled"
    assert "no-band" in codes(verdict)
    assert verdict.verdict == "carries"


def test_connections_are_told_apart(fitted: Any) -> None:
    load = constant(35.0, FOREVER)
    hot = {c: asked(fitted, load, connection=c) for c in ("installed", "test")}
    assert {v.connection for v in hot.values()} == set(hot)
    assert hot["test"].run.peak_temperature_c > hot["installed"].run.peak_temperature_c + 5.0


def test_record_that_ends_under_a_load_without_steady_state_is_not_shown(fitted: Any) -> None:
    least = minimum_fusing_current(fitted.installed, ambient_c=23.0)
    verdict = asked(fitted, constant(1.2 * least, 1.0))
    assert verdict.verdict == "not_shown"
    assert "ends-loaded" in {note.code for note in verdict.notes}
    kept = asked(fitted, constant(0.3 * least, 1.0))
    assert kept.verdict == "carries"
    assert "ends-loaded" in {note.code for note in kept.notes}
