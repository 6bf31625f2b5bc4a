"""The demo's files: they read without remarks, and are what their maker writes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import fusetherm as ft
from fusetherm import demo
from fusetherm.demo import make, signals
from fusetherm.fuse.definition import loads

SCENARIOS = pytest.mark.parametrize("one", demo.SCENARIOS, ids=lambda one: one.name)
RECORDINGS = {recording.name: recording for recording in signals.RECORDINGS}


def read(one: demo.Scenario, path: Path | None = None) -> ft.Capture:
    return ft.read_capture(
        path or one.capture_path, clamp=one.clamp, zero=one.zero, gain_tolerance=one.gain_tolerance
    )


def test_listings_are_whole_and_cannot_be_changed() -> None:
    assert set(demo.definitions()) == {made.stated.id for made in make.FUSES}
    assert set(demo.captures()) == {one.name for one in demo.SCENARIOS} == set(RECORDINGS)
    assert {one.fuse for one in demo.SCENARIOS} == set(demo.definitions())
    for listing in (demo.definitions(), demo.captures()):
        assert all(path.is_file() for path in listing.values())
        with pytest.raises(TypeError):
            listing["another"] = Path()  # type: ignore[index]


def test_scenarios_by_name() -> None:
    assert demo.scenario("bilge_pump").fuse_path == demo.definitions()["bilge_pump_10A"]
    with pytest.raises(ft.InputError, match="scenario-unknown"):
        demo.scenario("bow_thruster")


def test_importing_the_demo_is_light() -> None:
    code = "import sys, fusetherm.demo; print({'numba', 'numpy', 'pydantic'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


@pytest.mark.parametrize("name", sorted(demo.definitions()))
def test_definitions_read_without_remarks(name: str) -> None:
    fuse = ft.load_fuse(demo.definitions()[name])
    assert fuse.id == name
    assert fuse.notes == ()
    assert fuse.limits is not None
    assert fuse.test_connection is not None
    assert fuse.installed_connection is not None
    assert fuse.gates


@SCENARIOS
def test_captures_read_without_remarks(one: demo.Scenario) -> None:
    capture = read(one)
    assert capture.notes == ()
    assert one.capture_path.stat().st_size < 300_000
    # The zero window found the instrument's offset, and its noise with the converter's steps.
    instrument = RECORDINGS[one.name].instrument
    assert capture.record.offset_removed == pytest.approx(
        instrument.offset, abs=0.1 * instrument.noise + 0.2 * instrument.step + instrument.drift
    )
    expected = np.hypot(instrument.noise, instrument.step / np.sqrt(12.0))
    assert capture.noise_sd == pytest.approx(expected, rel=0.15)
    assert capture.record.noise_source == "zero window"


@SCENARIOS
def test_captures_hold_the_true_current(one: demo.Scenario) -> None:
    # Apart from the gain error the record's Joule integral is that of the current that flowed.
    recording = RECORDINGS[one.name]
    capture = read(one)
    time = capture.time + recording.start
    true = recording.current(time, np.random.default_rng(recording.seed))
    i2t = ft.Waveform(time=capture.time, current=true).i2t()
    assert capture.i2t() / recording.instrument.gain**2 == pytest.approx(i2t, rel=0.01)


def test_currents_are_those_of_the_stories() -> None:
    def peak(name: str, a: float, b: float) -> float:
        return read(demo.scenario(name)).cut(a, b).rms

    # Means over the middle of each event [A], with the gain error of the instrument.
    assert peak("inverter_switch_on", 0.3, 0.48) == pytest.approx(25.0, rel=0.02)
    assert peak("inverter_switch_on", 0.503, 0.523) == pytest.approx(124.0, rel=0.02)
    assert peak("solenoid_100A", 0.305, 0.325) == pytest.approx(125.0, rel=0.02)
    assert peak("windlass_haul", 6.0, 16.0) == pytest.approx(90.0, rel=0.03)
    assert peak("bilge_pump", 6.0, 13.0) == pytest.approx(5.0, rel=0.03)
    assert read(demo.scenario("bilge_pump")).peak == pytest.approx(15.0, rel=0.05)


def test_files_are_what_their_maker_writes(tmp_path: Path) -> None:
    # Numbers may differ where machines round differently: a curve's by a digit of its three,
    # a reading by a step of the converter.
    for name, text in make.definition_texts().items():
        shipped = ft.load_fuse(demo.definitions()[name])
        made = loads(text)
        assert shipped.curve is not None
        assert made.curve is not None
        for old, new in zip(shipped.curve.points, made.curve.points, strict=True):
            assert new.current == old.current
            assert new.time == pytest.approx(old.time, rel=0.011)
        assert made.voltage_drops[0].voltage == pytest.approx(
            shipped.voltage_drops[0].voltage, rel=0.011
        )
        assert made.terminal_rises[0].rise == pytest.approx(
            shipped.terminal_rises[0].rise, rel=0.011
        )
        assert made.cold_resistance == shipped.cold_resistance
        assert made.test_connection == shipped.test_connection
        assert made.limits == shipped.limits
        assert (
            text.split("schema_version")[0]
            == demo.definitions()[name]
            .read_text(encoding="utf-8")
            .split("schema_version", maxsplit=1)[0]
        )
    for one in demo.SCENARIOS:
        path = tmp_path / f"{one.name}.csv"
        path.write_text(RECORDINGS[one.name].text(), encoding="utf-8")
        made_again, kept = read(one, path), read(one)
        step = RECORDINGS[one.name].instrument.step
        np.testing.assert_allclose(made_again.values, kept.values, atol=1.01 * step)
        assert np.mean(np.abs(made_again.values - kept.values) > 0.01 * step) < 1e-3


def test_the_maker_writes_below_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(make, "definition_texts", lambda: {"a": "id\n"})
    monkeypatch.setattr(make, "capture_texts", lambda: {"b": "t,i\n"})
    for folder in ("fuses", "captures"):
        (tmp_path / folder).mkdir()
    make.write(tmp_path)
    assert (tmp_path / "fuses" / "a.toml").read_text() == "id\n"
    assert (tmp_path / "captures" / "b.csv").read_text() == "t,i\n"
