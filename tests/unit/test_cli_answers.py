"""`fit`, `carry` and `curve` on a fitted fuse: statuses, JSON keys, words, files."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from fusetherm.cli.carry import loaded_start
from fusetherm.cli.main import program
from fusetherm.current.waveform import Waveform

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"


def ask(*arguments: object) -> Result:
    return CliRunner().invoke(program, [str(a) for a in arguments])


def answer(*arguments: object) -> dict[str, Any]:
    done = ask(*arguments, "--json")
    assert done.exit_code in (0, 4, 10, 20), done.output
    data: dict[str, Any] = json.loads(done.stdout, parse_constant=pytest.fail)
    return data


@pytest.fixture(scope="module")
def fuse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fit file of the example definition."""
    path = tmp_path_factory.mktemp("fit") / "fuse.fit.json"
    done = ask("fit", EXAMPLE, "-o", path)
    assert done.exit_code == 0, done.output
    assert "rms in current" in done.stdout
    assert f"written to {path}" in done.stdout
    return path


def write(path: Path, time: Sequence[float], current: Sequence[float]) -> Path:
    rows = [f"{t:.6g},{i:.6g}" for t, i in zip(time, current, strict=True)]
    path.write_text("\n".join(["time (s),current (A)", *rows]) + "\n", encoding="utf-8")
    return path


def pulse(path: Path, amperes: float, seconds: float, rest: float = 0.0) -> Path:
    """A rest, a pulse and a rest, in 200 samples."""
    time = np.linspace(0.0, 2.0 * seconds, 200)
    on = (time > 0.5 * seconds) & (time < 1.5 * seconds)
    return write(path, time.tolist(), np.where(on, amperes, rest).tolist())


# fit ---------------------------------------------------------------------------------------


def test_fit_reports_as_json_and_refuses_to_replace(fuse: Path) -> None:
    before = fuse.read_bytes()
    done = ask("fit", EXAMPLE, "-o", fuse)
    assert (done.exit_code, done.stdout) == (6, "")
    assert "output-exists" in done.stderr
    assert fuse.read_bytes() == before
    data = answer("fit", EXAMPLE, "-o", fuse, "--replace")
    assert data["schema"].startswith("fusetherm/fit")
    assert {"rms_current", "parameters", "observations", "band", "notes"} <= set(data)
    assert data["output"] == str(fuse)


@pytest.mark.parametrize("text", ["", "schema_version = ", 'id = "a"\n'])
def test_fit_of_a_bad_definition_is_bad_input(text: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(text)
    done = ask("fit", path, "-o", tmp_path / "out.json")
    assert done.exit_code == 3
    assert "bad.toml" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out.json").exists()


# carry -------------------------------------------------------------------------------------


def test_short_pulse_carries_and_json_has_the_promised_keys(fuse: Path, tmp_path: Path) -> None:
    capture = pulse(tmp_path / "a.csv", 125.0, 0.025)
    data = answer("carry", capture, "--fuse", fuse, "--ambient-c", 85)
    assert data["schema"] == "fusetherm/carry/1"
    promised = {
        "verdict", "opened", "onset_time_s", "pre_arcing_time_s", "blade_temperature_C",
        "clip_temperature_C", "peak_temperature_C", "margin_current", "margin_current_low",
        "margin_current_high", "i2t_A2s", "conservation", "notes", "cautions", "capture",
        "preload_A",
    }  # fmt: skip
    assert promised <= set(data)
    assert (data["verdict"], data["opened"]) == ("carries", False)
    assert data["onset_time_s"] is data["pre_arcing_time_s"] is None
    assert 85.0 < data["peak_temperature_C"] < 419.0
    assert 1.0 < data["margin_current_low"] < data["margin_current"] < data["margin_current_high"]
    assert ask("carry", capture, "--fuse", fuse).exit_code == 0


def test_words_start_with_the_verdict_and_end_with_the_caution(fuse: Path, tmp_path: Path) -> None:
    done = ask("carry", pulse(tmp_path / "a.csv", 125.0, 0.025), "--fuse", fuse)
    lines = done.stdout.splitlines()
    assert lines[0].startswith("CARRIES: ")
    assert "a.csv" in lines[0]
    for part in ("90 % band", "melts at 420 °C", "limit 130", "23 °C (assumed)", "new fuse",
                 "installed connection", "no load before"):  # fmt: skip
        assert part in done.stdout
    assert done.stdout.count("certification") == 1
    assert "certification" in " ".join(lines[-5:])
    assert "\x1b" not in done.stdout
    assert done.stderr == "" or done.stderr.startswith("compiling once")


def test_long_overload_opens_with_both_times(fuse: Path, tmp_path: Path) -> None:
    capture = pulse(tmp_path / "a.csv", 300.0, 1.0)
    done = ask("carry", capture, "--fuse", fuse)
    assert done.exit_code == 20
    assert done.stdout.startswith("OPENS: ")
    assert "parts at" in done.stdout
    data = answer("carry", capture, "--fuse", fuse)
    assert (data["verdict"], data["opened"]) == ("opens", True)
    assert 0.5 < data["onset_time_s"] < data["pre_arcing_time_s"] < 1.5
    assert data["margin_current"] < 1.0


def test_near_miss_is_marginal(fuse: Path, tmp_path: Path) -> None:
    base = pulse(tmp_path / "a.csv", 100.0, 1.0)
    factor = 100.0 * answer("carry", base, "--fuse", fuse)["margin_current"]
    near = pulse(tmp_path / "b.csv", factor / 1.08, 1.0)
    done = ask("carry", near, "--fuse", fuse)
    assert done.exit_code == 10, done.output
    assert done.stdout.startswith("MARGINAL: ")


def test_clipped_record_is_not_shown(fuse: Path, tmp_path: Path) -> None:
    time = np.linspace(0.0, 0.02, 400)
    sine = np.minimum(100.0 * np.sin(np.pi * time / 0.02), 70.0)
    record = write(tmp_path / "a.csv", time.tolist(), sine.tolist())
    done = ask("carry", record, "--fuse", fuse)
    assert done.exit_code == 4, done.output
    assert done.stdout.startswith("NOT SHOWN: ")
    limit = ("--find", "current", "--cycles", 1e5)
    for asked in (("spread",), ("endure", "--period-s", 5), ("endure", "--period-s", 5, *limit)):
        done = ask(asked[0], record, "--fuse", fuse, *asked[1:])
        assert done.exit_code == 4, done.output
        assert "clipped-record]" in done.stdout
        real = ask(asked[0], record, "--fuse", fuse, *asked[1:], "--flat-top-is-real")
        assert real.exit_code == 0, real.output
        assert "clipped-record]" not in real.stdout


def test_preload_heats_and_adds_nothing_to_the_current(fuse: Path, tmp_path: Path) -> None:
    capture = pulse(tmp_path / "a.csv", 100.0, 0.02)
    asked = ("carry", capture, "--fuse", fuse, "--preload-a", 25)
    cold, warm, hot = answer(*asked[:4]), answer(*asked, "--preload-s", 60), answer(*asked)
    # the record's own, whatever steps it was taken in
    for other in (warm, hot):
        assert other["i2t_A2s"] == pytest.approx(cold["i2t_A2s"], rel=1e-12)
    peaks = [data["peak_temperature_C"] for data in (cold, warm, hot)]
    assert peaks == sorted(peaks)
    assert peaks[2] > peaks[0] + 20.0
    assert "after a steady 25 A for 60 s" in ask(*asked, "--preload-s", 60).stdout
    assert ask(*asked[:4], "--preload-s", 60).exit_code == 2
    melting = ask("carry", capture, "--fuse", fuse, "--preload-a", 100, "--preload-s", 60)
    assert melting.exit_code == 3
    assert "preload-melts" in melting.stderr


def test_loaded_start_is_remarked_on(fuse: Path, tmp_path: Path) -> None:
    wave = Waveform(time=[0, 1], current=[12, 12])
    assert [n.code for n in loaded_start(wave, 40.0)] == ["starts-loaded"]
    assert loaded_start(wave.scaled(0.1), 40.0) == ()
    capture = pulse(tmp_path / "a.csv", 100.0, 0.02, rest=12.0)
    codes = [n["code"] for n in answer("carry", capture, "--fuse", fuse)["notes"]]
    assert "starts-loaded" in codes
    data = answer("carry", capture, "--fuse", fuse, "--preload-a", 12)
    assert "starts-loaded" not in [n["code"] for n in data["notes"]]


def test_carry_writes_its_figure_once(fuse: Path, tmp_path: Path) -> None:
    capture, figure = pulse(tmp_path / "a.csv", 100.0, 0.02), tmp_path / "a.png"
    asked = ("carry", capture, "--fuse", fuse, "--figure", figure)
    assert ask(*asked).exit_code == 0
    first = figure.read_bytes()
    assert first.startswith(b"\x89PNG")
    assert ask(*asked).exit_code == 6
    assert ask(*asked, "--replace").exit_code == 0
    assert ask(*asked[:5], tmp_path / "none" / "a.png").exit_code == 6
    assert ask(*asked[:5], tmp_path / "a.bmp").exit_code == 3


def test_faults_of_carry_have_no_traceback(fuse: Path, tmp_path: Path) -> None:
    capture = pulse(tmp_path / "a.csv", 100.0, 0.02)
    assert ask("carry", capture).exit_code == 2
    for bad in ((tmp_path / "no.csv", fuse), (capture, tmp_path / "no.toml"), (fuse, fuse),
                (capture, capture)):  # fmt: skip
        done = ask("carry", bad[0], "--fuse", bad[1])
        assert done.exit_code == 3, bad
        assert "Traceback" not in done.output
        assert done.stdout == ""
    assert ask("carry", capture, "--fuse", fuse, "--ambient-c", "-300").exit_code == 3


def test_a_missing_fuse_is_named(tmp_path: Path) -> None:
    capture = pulse(tmp_path / "a.csv", 100.0, 0.02)
    for name in ("no.toml", "no.json"):
        for asked in (("carry", capture, "--fuse"), ("curve",), ("fit",)):
            done = ask(*asked, tmp_path / name)
            assert done.exit_code == 3
            assert f"{tmp_path / name}: there is no such file [file-missing]" in done.stderr


def test_files_of_another_kind_are_told_so(fuse: Path, tmp_path: Path) -> None:
    capture = pulse(tmp_path / "a.csv", 100.0, 0.02)
    done = ask("fit", fuse)
    assert done.exit_code == 3
    assert "this is a fit file, not a definition [not-a-definition]" in done.stderr
    assert EXAMPLE.name in done.stderr
    assert "not-a-definition" in ask("carry", capture, "--fuse", capture).stderr
    for wrong in (fuse, EXAMPLE):
        assert "not-a-record" in ask("carry", wrong, "--fuse", fuse).stderr


def test_a_fit_file_is_known_by_what_it_holds(fuse: Path, tmp_path: Path) -> None:
    other = tmp_path / "fuse.fit"
    other.write_bytes(fuse.read_bytes())
    capture = pulse(tmp_path / "a.csv", 100.0, 0.02)
    assert ask("carry", capture, "--fuse", other).exit_code == 0


def test_a_held_end_is_the_level_of_a_noisy_record(fuse: Path, tmp_path: Path) -> None:
    time = np.linspace(0.0, 1.0, 1000)
    current = 20.0 + 0.4 * np.random.default_rng(3).standard_normal(1000)
    current[-1] = 22.0  # chance
    asked = ("carry", write(tmp_path / "a.csv", time.tolist(), current.tolist()), "--fuse", fuse)
    plain, held = answer(*asked), answer(*asked, "--after", "hold")
    assert (plain["held_current_A"], plain["followed_s"]) == (None, 1.0)
    assert held["held_current_A"] == pytest.approx(20.0, abs=0.2)
    assert held["continuous_load_A"] == pytest.approx(held["held_current_A"])
    assert held["followed_s"] > 1000.0
    # the record's own, without the tail
    assert held["duration_s"] == plain["duration_s"] == 1.0
    assert held["i2t_A2s"] == pytest.approx(plain["i2t_A2s"], rel=1e-12)
    words = ask(*asked, "--after", "hold").stdout
    assert f"{held['held_current_A']:.3g} A held (rms of its last" in words
    assert f"steady state exists at the held {held['held_current_A']:.3g} A [" in words
    assert f"I²t {plain['i2t_A2s']:.3g}" in words
    codes = {n["code"]: n["text"] for n in plain["notes"]}
    assert f"ends at {held['held_current_A']:.3g} A" in codes["ends-loaded"]


def test_i2t_of_a_record_that_opens_later(fuse: Path, tmp_path: Path) -> None:
    capture = write(tmp_path / "a.csv", [0.0, 0.5, 1.0], [100.0, 100.0, 100.0])
    data = answer("carry", capture, "--fuse", fuse, "--after", "hold")
    assert data["pre_arcing_time_s"] > 2.0
    assert (data["duration_s"], data["i2t_A2s"]) == (1.0, pytest.approx(1e4))
    assert data["followed_s"] == pytest.approx(data["pre_arcing_time_s"])
    assert "up to parting" not in ask("carry", capture, "--fuse", fuse, "--after", "hold").stdout


def test_a_ramp_from_zero_does_not_start_loaded(fuse: Path, tmp_path: Path) -> None:
    time = np.linspace(0.0, 0.1, 400)
    ramp = write(tmp_path / "a.csv", time.tolist(), (2e4 * time).tolist())
    assert "starts-loaded" not in {
        n["code"] for n in answer("carry", ramp, "--fuse", fuse)["notes"]
    }


def test_a_preload_for_ever_that_melts_is_told_in_its_own_words(fuse: Path, tmp_path: Path) -> None:
    done = ask("carry", pulse(tmp_path / "a.csv", 100.0, 0.02), "--fuse", fuse, "--preload-a", 100)
    assert done.exit_code == 3
    assert "preload of 100 A for ever melts the element: the most it carries" in done.stderr
    assert "(--preload-s S)" in done.stderr


def test_a_fit_with_new_contacts_does_not_answer_for_worn_ones(fuse: Path, tmp_path: Path) -> None:
    asked = ("carry", pulse(tmp_path / "a.csv", 100.0, 0.02), "--fuse")
    done = ask(*asked, fuse, "--contact", "worn")
    assert done.exit_code == 3
    assert "contact-of-fit" in done.stderr
    assert ask(*asked, EXAMPLE, "--contact", "worn").exit_code == 0
    worn = tmp_path / "worn.json"
    assert ask("fit", EXAMPLE, "-o", worn, "--contact", "worn").exit_code == 0
    assert ask(*asked, worn, "--contact", "worn").exit_code == 0
    assert ask(*asked, worn).exit_code == 0


def test_what_exists_names_the_option_that_replaces_it(fuse: Path) -> None:
    assert "ask for it to be replaced (--replace)" in ask("fit", EXAMPLE, "-o", fuse).stderr


# curve -------------------------------------------------------------------------------------


def test_curve_of_one_ambient_is_flat_lists(fuse: Path) -> None:
    data = answer("curve", fuse, "--ambient-c", 23, "--current-a", 100, "--current-a", 20)
    assert data["schema"] == "fusetherm/curve/1"
    assert data["current_A"] == [100.0, 20.0]
    assert 2.0 < data["onset_time_s"][0] < data["pre_arcing_time_s"][0] < 4.0
    assert data["onset_time_s"][1] is data["pre_arcing_time_s"][1] is None
    (least,) = data["minimum_fusing_current_A"]
    assert 40.0 < least < 60.0


def test_curve_of_several_ambients_is_a_list_of_objects(fuse: Path) -> None:
    data = answer("curve", fuse, "--ambient-c", -40, "--ambient-c", 85, "--current-a", 100)
    cold, hot = data["curves"]
    assert (cold["ambient_C"], hot["ambient_C"]) == (-40.0, 85.0)
    assert cold["pre_arcing_time_s"][0] > hot["pre_arcing_time_s"][0]


def test_curve_in_words_and_files(fuse: Path, tmp_path: Path) -> None:
    outputs = [tmp_path / f"a{ending}" for ending in (".png", ".csv", ".nc")]
    files = [x for o, p in zip(("--figure", "--csv", "--netcdf"), outputs, strict=True)
             for x in (o, p)]  # fmt: skip
    asked = ("curve", fuse, "--current-a", 100, "--current-a", 20, *files)
    done = ask(*asked)
    assert done.exit_code == 0, done.output
    assert "23 °C assumed" in done.stdout
    assert "minimum fusing current at 23 °C" in done.stdout
    assert all(path.stat().st_size > 100 for path in outputs)
    assert outputs[1].read_text().startswith("ambient_C,current_A,")
    assert ask(*asked).exit_code == 6
    assert ask("curve", fuse, "--current-a", 0).exit_code == 3
