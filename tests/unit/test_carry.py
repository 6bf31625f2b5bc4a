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
from fusetherm.answers.carry import HOT_AMBIENT_C, Verdict, _weak, carry
from fusetherm.answers.holder import Check, terminal_time_constant
from fusetherm.answers.margin import margin
from fusetherm.current.capture import read_capture
from fusetherm.current.sampled import constant
from fusetherm.current.waveform import Waveform
from fusetherm.errors import InputError
from fusetherm.fuse.definition import TemperatureLimits
from fusetherm.fuse.model import Limits
from fusetherm.solver.network import build_network
from fusetherm.solver.run import State, simulate
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


@pytest.mark.parametrize(("off", "name"), [(0.98, "marginal"), (1.02, "carries")])
def test_the_factor_needed_decides(fitted: Any, factor: float, off: float, name: str) -> None:
    needed = margin(fitted, PULSE, duration=False).needed
    verdict = asked(fitted, PULSE.scaled(factor / (off * needed)))
    assert verdict.verdict == name
    assert verdict.margin is not None
    assert verdict.needed == verdict.margin.needed == pytest.approx(needed, rel=2e-3)
    assert verdict.margin.current_factor == pytest.approx(off * needed, rel=1e-3)
    assert verdict.to_json()["margin_threshold"] == verdict.needed
    if name == "marginal":
        assert f"{verdict.margin.current_factor:.2f} times" in verdict.reasons[0]
        assert f"{needed:.2f} times is needed" in verdict.reasons[0]


LIMITS = {"blade_c": 400.0, "clip_c": 400.0, "body_c": 400.0, "cable_insulation_c": 400.0}


def limited(fit: Any, **limits: float | None) -> Any:
    table = TemperatureLimits(source="x", **(LIMITS | limits))
    return replace(fit, definition=replace(fit.definition, limits=table))


@pytest.mark.parametrize("part", ["blade", "clip", "body", "cable"])
def test_a_limit_passed_is_marginal(fitted: Any, part: str) -> None:
    load = constant(20.0, FOREVER)
    reached = asked(fitted, load).temperature_c(part)
    assert reached is not None
    key = {"cable": "cable_insulation_c"}.get(part, f"{part}_c")
    for off, name in ((-1.0, "marginal"), (1.0, "carries")):
        verdict = asked(limited(fitted, **{key: reached + off}), load)
        assert verdict.verdict == name, verdict.reasons
        if name == "marginal":
            assert verdict.reasons[0].startswith(f"{part} reaches")


def test_a_continuous_load_above_three_quarters_is_marginal(fitted: Any) -> None:
    fuse = limited(fitted)
    # the reference ambient: no re-rating but that of the test
    assert asked(fuse, PULSE).continuous_limit == pytest.approx(0.75 * 40.0, rel=2e-3)
    rest = constant(0.0, FOREVER)
    for load, name in ((29.0, "carries"), (31.0, "marginal")):
        for wave, options in (
            (constant(load, FOREVER), {}),
            (constant(load, 1.0), {"after": "hold"}),
            (PULSE.scaled(0.5), {"start": load}),
            (rest.then(constant(load, 900.0)).then(rest), {}),  # the rest around it is no help
        ):
            verdict = asked(fuse, wave, **options)
            assert verdict.verdict == name, (load, options, verdict.reasons)
            assert verdict.continuous_load == pytest.approx(load, rel=1e-6)
    assert asked(fuse, constant(31.0, 1.0)).verdict == "carries"


def test_what_is_held_is_the_continuous_load_even_if_the_fuse_opens_first(fitted: Any) -> None:
    wave = constant(300.0, 2.0).then(constant(5.0, 1.0))
    verdict = asked(fitted, wave, after="hold")
    assert verdict.verdict == "opens"
    assert verdict.continuous_load == pytest.approx(5.0)


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
    constant_s = terminal_time_constant(limitless.installed)
    for seconds, name in ((0.97 * constant_s, "carries"), (1.03 * constant_s, "not_shown")):
        assert asked(limitless, constant(15.0, seconds)).verdict == name
        assert asked(fitted, constant(15.0, seconds)).verdict == "carries"
    state = simulate(limitless.installed, constant(15.0, 10.0), ambient_c=23.0).final_state
    for options in ({"start": 15.0}, {"after": "hold"}, {"start": state}):
        assert asked(limitless, constant(15.0, 1.0), **options).verdict == "not_shown"
        assert asked(fitted, constant(15.0, 1.0), **options).verdict == "carries"


@pytest.mark.parametrize("key", LIMITS)
def test_every_part_needs_its_own_limit(fitted: Any, key: str) -> None:
    """A limit of the blade says nothing of the clip."""
    named = {"cable_insulation_c": "cable_insulation_C"}.get(key, f"{key[:-2]}_C")
    fuse = limited(fitted, **{key: None})
    verdict = asked(fuse, constant(15.0, FOREVER))
    assert verdict.verdict == "not_shown"
    assert len(verdict.reasons) == 1
    assert f"state {named} under [limits]" in verdict.reasons[0]
    assert "limits-missing" in codes(asked(fuse, PULSE))
    assert asked(fuse, PULSE).verdict == "carries"
    assert asked(fuse, constant(150.0, FOREVER)).verdict == "opens"
    assert "limits-missing" not in codes(asked(limited(fitted), PULSE))


def test_a_bare_model_names_the_limits_of_python(published: Any) -> None:
    model = replace(published.truth, limits=Limits(blade_c=130.0, cable_insulation_c=105.0))
    verdict = asked(model, constant(15.0, FOREVER))
    assert verdict.verdict == "not_shown"
    assert "clip, body: state clip_c, body_c in Limits of the model" in verdict.reasons[0]


def test_a_hot_ambient_needs_limits(fitted: Any, limitless: Any) -> None:
    # so light and short that nothing else speaks against it
    wave = constant(0.2, 0.1).then(constant(0.0, 0.1))
    metal_c = fitted.installed.element.metal.solidus_k - 273.15
    cool, hot = HOT_AMBIENT_C - 1.0, HOT_AMBIENT_C + 1.0
    assert metal_c > hot
    strong = replace(fitted, definition=replace(fitted.definition, rated_current=55.0, limits=None))
    reasons = {c: asked(strong, wave, ambient_c=c).reasons for c in (cool, hot)}
    assert not any("than most parts" in r for r in reasons[cool])
    assert "than most parts of a holder stand" in reasons[hot][0]
    assert asked(limitless, wave, ambient_c=hot).verdict == "not_shown"


def test_an_ambient_that_leaves_nothing_of_the_rating_is_not_shown(fitted: Any) -> None:
    rated = steady_state(fitted.installed, 40.0, ambient_c=23.0)
    assert rated is not None
    fuse, edge = limited(fitted), rated.peak_temperature_c
    wave = constant(0.5, 1.0).then(constant(0.0, 1.0))
    above = asked(fuse, wave, ambient_c=edge + 1.0)
    assert (above.verdict, above.continuous_limit) == ("not_shown", 0.0)
    assert "nothing is left of the rating" in above.reasons[0]
    assert asked(fuse, wave, ambient_c=edge - 1.0).verdict == "carries"
    assert asked(fuse, constant(0.0, 1.0), ambient_c=edge + 1.0).verdict == "carries"
    assert asked(fuse, constant(500.0, 10.0), ambient_c=edge + 1.0).verdict == "opens"


def test_a_held_current_without_a_steady_state_is_not_shown(fitted: Any) -> None:
    least = minimum_fusing_current(fitted.installed)
    held = constant(1.2 * least, 1.0)
    verdict = asked(fitted, held, after="hold", until=5.0)
    assert verdict.run.onset_time is None
    assert verdict.verdict == "not_shown"
    assert "no steady state" in verdict.reasons[0]
    assert asked(fitted, held, after="hold").verdict == "opens"
    assert asked(fitted, constant(20.0, 1.0), after="hold").verdict == "carries"


# what had melted before ------------------------------------------------------------------------


@pytest.mark.parametrize("load", [0.0, 1.0, 100.0])
def test_a_start_that_had_parted_opens(fitted: Any, load: float) -> None:
    parted = simulate(fitted.installed, constant(150.0, 60.0), ambient_c=23.0)
    assert parted.opened
    verdict = asked(fitted, constant(load, 1.0), start=parted.final_state)
    assert (verdict.verdict, verdict.margin) == ("opens", None)
    assert "melted before" in verdict.reasons[0]
    json.dumps(verdict.to_json(), allow_nan=False)


def test_a_start_that_had_melted_and_cooled_opens(fitted: Any, factor: float) -> None:
    wave = PULSE.scaled(1.002 * factor).then(constant(0.0, 600.0))
    run = simulate(fitted.installed, wave, ambient_c=23.0)
    assert run.onset_time is not None
    assert not run.opened
    assert run.final_state.u.max() < 400.0
    later = simulate(fitted.installed, PULSE, ambient_c=23.0, start=run.final_state)
    for state in (run.final_state, later.final_state):
        verdict = asked(fitted, PULSE, start=state)
        assert verdict.verdict == "opens"
        assert "melted before" in verdict.reasons[0]
    whole = simulate(fitted.installed, PULSE.scaled(0.99 * factor), ambient_c=23.0).final_state
    assert asked(fitted, PULSE, start=whole).verdict != "opens"


def test_a_start_above_the_melting_point_opens(fitted: Any) -> None:
    network = build_network(fitted.installed, ambient_k=296.15, cells=fitted.cells)
    solidus_k = fitted.installed.element.metal.solidus_k
    hot = State(network.state(solidus_k + 5.0), fitted.cells)
    verdict = asked(fitted, PULSE, start=hot)
    assert (verdict.verdict, verdict.margin, verdict.needed) == ("opens", None, None)
    assert "molten at its start" in verdict.reasons[0]
    # just solid, but with so little left that the pulse melts it, whatever its factor
    warm = State(network.state(solidus_k - 0.05), fitted.cells)
    assert asked(fitted, PULSE, start=warm).verdict == "opens"


# worn contacts -----------------------------------------------------------------------------------


def test_worn_contacts_without_effect_are_said(fitted: Any) -> None:
    """The installed connection of this fuse does not state its contacts: worn ones count."""
    load = constant(25.0, FOREVER)
    worn = replace(fitted, contact="worn")
    new_c, worn_c = (asked(f, load).temperature_c("blade") for f in (fitted, worn))
    assert worn_c > new_c + 5.0  # type: ignore[operator]
    assert "worn-without-effect" not in codes(asked(worn, load))
    assert "worn-without-effect" in codes(asked(worn, load, connection="test"))
    stated = replace(fitted.definition.installed_connection, contact_resistance=0.2e-3)
    both = [replace(f, definition=replace(fitted.definition, installed_connection=stated))
            for f in (fitted, worn)]  # fmt: skip
    plain, silent = (asked(f, load) for f in both)
    assert silent.temperature_c("blade") == plain.temperature_c("blade")
    assert "worn-without-effect" in codes(silent)
    assert "worn-without-effect" not in codes(plain)


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
    [(-300.0, "below-absolute-zero"), (math.nan, "temperature-not-finite")],
)
def test_bad_input_90_ambients_below_absolute_zero(
    fitted: Any, ambient_c: float, code: str
) -> None:
    with pytest.raises(InputError, match=code):
        carry(fitted, PULSE, ambient_c=ambient_c)


@pytest.mark.parametrize(
    ("ambient_c", "code"), [(106.0, "ambient-above-insulation"), (420.0, "ambient-above-melting")]
)
def test_bad_input_91_ambients_above_insulation_or_melting_point(
    fitted: Any, ambient_c: float, code: str
) -> None:
    with pytest.raises(InputError, match=code) as caught:
        carry(fitted, PULSE, ambient_c=ambient_c)
    assert caught.value.mend
    asked(fitted, PULSE, ambient_c=104.0)


def test_bad_input_89_an_ambient_in_kelvin_is_told_in_celsius(fitted: Any) -> None:
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
