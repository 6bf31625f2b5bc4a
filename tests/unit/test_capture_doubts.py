"""Records that can be read and may mislead: the clamp, averages, and what only the fuse shows."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import fusetherm as ft
from fusetherm.answers.record_remarks import rating_notes, short_record
from fusetherm.cli.main import program
from fusetherm.current.capture import Capture, read_capture
from fusetherm.current.quality import alternates

Record = Callable[..., Path]


@pytest.fixture
def record(tmp_path: Path) -> Record:
    """Writes a record of the given currents."""

    def make(current: np.ndarray, step: float = 1e-3, head: str = "Current (A)") -> Path:
        path = tmp_path / "record.csv"
        rows = "".join(f"{k * step:.9g},{i:.9g}\n" for k, i in enumerate(current))
        path.write_text(f"Time (s),{head}\n{rows}", encoding="utf-8")
        return path

    return make


def notes(capture: Capture) -> dict[str, str]:
    return {note.code: note.text for note in capture.notes}


def refused(path: Path, code: str, **options: object) -> ft.FileError:
    with pytest.raises(ft.FileError) as caught:
        read_capture(path, **options)  # type: ignore[arg-type]
    assert caught.value.code == code, str(caught.value)
    return caught.value


def pulse(rise: float = 1e-3, n: int = 4000, step: float = 1e-4) -> np.ndarray:
    """A pulse of 100 A for 100 ms whose edges are those of a first-order low-pass."""
    time = np.arange(n) * step
    up, down = (1.0 - np.exp(-np.maximum(time - at, 0.0) / rise) for at in (0.1, 0.2))
    return 100.0 * (up - down)


# the clamp ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("noise", [0.0, 0.2])
@pytest.mark.parametrize("zero", [None, (0.0, 0.09)])
def test_bad_input_62_drift(record: Record, noise: float, zero: tuple[float, float] | None) -> None:
    rng = np.random.default_rng(3)
    current = pulse() + rng.normal(0.0, noise, 4000)
    still = notes(read_capture(record(current, 1e-4), zero=zero))
    assert "offset-drift" not in still
    drifting = current + np.linspace(0.0, 2.0, current.size)
    found = notes(read_capture(record(drifting, 1e-4), zero=zero))
    levels = re.findall(r"at (-?[0-9.]+) (m?)A at its", found["offset-drift"])
    begin, end = (float(value) * (1e-3 if prefix else 1.0) for value, prefix in levels)
    # The means of the first and the last twentieth lie .95 of the drift apart.
    assert end - begin == pytest.approx(1.9, abs=0.05)
    # A load of a tenth of the peak that stays on is no drift.
    loaded = current + np.where(np.arange(4000) > 1500, 10.0, 0.0)
    assert "offset-drift" not in notes(read_capture(record(loaded, 1e-4), zero=zero))


def test_bad_input_62_noise_alone_is_no_drift(record: Record) -> None:
    """Smooth noise wanders: neighbours agree, and few samples of it are independent."""
    rng = np.random.default_rng(11)
    for _ in range(20):
        wander = np.convolve(rng.normal(0.0, 1.0, 4019), np.ones(20) / math.sqrt(20.0), "valid")
        assert "offset-drift" not in notes(read_capture(record(pulse() + 0.3 * wander, 1e-4)))


def test_bad_input_64_ac_clamp_on_direct_current(record: Record) -> None:
    error = refused(record(pulse(), 1e-4), "ac-clamp-on-dc", ac_clamp=True)
    assert "DC clamp" in error.mend
    assert error.key == "Current (A)"
    # What such a clamp makes of a pulse: it droops, and swings back below zero.
    time = np.arange(4000) * 1e-4
    drooping = np.where(time < 0.1, 0.0, np.where(time < 0.2, 1.0, -0.2)) * np.exp(-time / 0.3)
    refused(record(drooping, 1e-4), "ac-clamp-on-dc", ac_clamp=True)
    refused(record(np.zeros(40)), "ac-clamp-on-dc", ac_clamp=True)
    sine = 50.0 * np.sin(2.0 * math.pi * 50.0 * time)
    capture = read_capture(record(sine, 1e-4), ac_clamp=True)
    assert "a steady part" in notes(capture)["ac-clamp"]
    assert "ac-clamp" not in notes(read_capture(record(sine, 1e-4)))


def test_bad_input_64_the_command_asks_too(record: Record) -> None:
    done = CliRunner().invoke(program, ["inspect", str(record(pulse(), 1e-4)), "--ac-clamp"])
    assert done.exit_code == 3
    assert "ac-clamp-on-dc" in done.stderr


def test_what_alternates() -> None:
    time = np.linspace(0.0, 1.0, 2001)
    sine = np.sin(2.0 * math.pi * 5.0 * time)
    assert alternates(time, sine)
    assert alternates(time, np.sign(sine))
    assert not alternates(time, sine + 0.2)
    assert not alternates(time, np.maximum(sine, 0.0))
    assert not alternates(time, np.sin(2.0 * math.pi * time))


@pytest.mark.parametrize(("ratio", "noted"), [(0.5, True), (1.0, True), (4.0, False)])
def test_bad_input_65_bandwidth_below_the_edge(record: Record, ratio: float, noted: bool) -> None:
    """A low-pass of time constant tau has bandwidth 1/(2 pi tau); its step is the clamp's own."""
    bandwidth = 1.0 / (2.0 * math.pi * 1e-3)
    capture = read_capture(record(pulse(1e-3), 1e-4), bandwidth_hz=ratio * bandwidth)
    assert ("bandwidth-too-low" in notes(capture)) is noted
    assert "bandwidth-too-low" not in notes(read_capture(record(pulse(1e-3), 1e-4)))


def test_bad_input_65_sampling_that_hides_the_edge(record: Record) -> None:
    """Where the samples are coarser than the clamp, they and not the clamp decide."""
    found = notes(read_capture(record(pulse(1e-5), 1e-4), bandwidth_hz=1e5))
    assert set(found) == {"sampling-too-slow"}


def test_bad_input_65_as_an_option_of_the_command(record: Record) -> None:
    ask = ["inspect", str(record(pulse(), 1e-4)), "--bandwidth-hz"]
    done = CliRunner().invoke(program, [*ask, "100"])
    assert done.exit_code == 0, done.output
    assert "bandwidth-too-low" in done.output
    assert CliRunner().invoke(program, [*ask, "0"]).exit_code == 2


# averages ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "head",
    ["I_rms (A)", "Irms [A]", "RMS current (A)", "I avg (A)", "Current (A rms)", "I (Arms)",
     "Mean current / A", "TRMS_A", "iload_rms (A)"],
)  # fmt: skip
def test_bad_input_72_a_log_of_averages(record: Record, head: str) -> None:
    path = record(np.arange(30.0), 1.0, head)
    for options in ({}, {"current": 1}, {"current": head}):
        error = refused(path, "averaged-record", **options)
        assert error.line == 1
        assert "samples" in error.mend


@pytest.mark.parametrize("head", ["Crane arms (A)", "Main (A)", "Alarms (A)", "Meander (A)"])
def test_bad_input_72_names_that_only_sound_so(record: Record, head: str) -> None:
    assert read_capture(record(np.arange(30.0), 1.0, head)).peak == 29.0


def test_bad_input_72_samples_beside_averages(tmp_path: Path) -> None:
    path = tmp_path / "both.csv"
    path.write_text("t (s),I (A),I_rms (A)\n0,1,2\n1,3,2\n", encoding="utf-8")
    assert read_capture(path).record.current_column.name == "I (A)"


# beside the fuse ---------------------------------------------------------------------------------


def test_bad_input_66_steps_beside_the_rating(record: Record) -> None:
    """Steps of 2.5 A are small beside a peak of 500 A, and not beside a load on a 40 A fuse."""
    wave = np.round(500.0 * np.sin(np.linspace(0.0, 20.0, 3000)) / 2.5) * 2.5
    capture = read_capture(record(wave))
    assert "coarse-quantisation" not in notes(capture)
    assert [n.code for n in rating_notes(capture, 40.0)] == ["coarse-quantisation"]
    assert rating_notes(capture, 80.0) == ()
    assert rating_notes(capture, None) == ()


def test_bad_input_68_a_peak_far_above_the_rating() -> None:
    wave = ft.Waveform(time=[0, 0.01], current=[125e3, 125e3])
    (note,) = rating_notes(wave, 40.0)
    assert note.code == "peak-far-above-rating"
    assert "3120 times the rated current of 40 A" in note.text
    assert rating_notes(wave.scaled(1e-3), 40.0) == ()
    assert rating_notes(wave, None) == ()


def test_bad_input_71_a_record_short_beside_the_terminals() -> None:
    (note,) = short_record(2.0, 25.0, 180.0)
    assert note.code == "record-short"
    assert "2 s is short beside the 180 s" in note.text
    assert short_record(18.0, 25.0, 180.0) == ()
    assert short_record(2.0, 25.0, 0.0) == ()


def test_bad_input_66_68_71_are_told_with_the_verdict(fitted: object) -> None:
    def codes(wave: ft.Waveform) -> set[str]:
        return {note.code for note in ft.carry(fitted, wave, ambient_c=23.0).notes}  # type: ignore[arg-type]

    slip = ft.Waveform(time=[0, 0.01], current=[50e3, 50e3])
    assert "peak-far-above-rating" in codes(slip)
    loaded = ft.Waveform(time=[0, 1.0], current=[20.0, 20.0])
    assert "record-short" in codes(loaded)
    assert "record-short" not in codes(loaded.then(ft.Waveform(time=[0, 1], current=[0, 0])))
    assert "record-short" not in codes(ft.Waveform(time=[0, 900.0], current=[20.0, 20.0]))


def test_shares_and_lives_are_told_with_the_same_remarks(fitted: object, record: Record) -> None:
    sine = np.minimum(100.0 * np.sin(np.pi * np.linspace(0.0, 1.0, 400)), 70.0)
    spike = ft.Waveform(time=[0, 1e-9, 1e-9], current=[1e5, 1e5, 0])
    flat = read_capture(record(sine, 5e-5)).then(spike)
    built = ft.Duty(name="day", events=(ft.DutyEvent(name="a", waveform=flat),))
    for notes in (
        ft.spread(fitted, flat).notes,  # type: ignore[arg-type]
        ft.endurance(fitted, flat, period=1.0).notes,  # type: ignore[arg-type]
        ft.endurance(fitted, built).notes,  # type: ignore[arg-type]
    ):
        codes = [note.code for note in notes]
        assert codes.count("peak-far-above-rating") == 1
        assert codes.count("clipped-record") == 1
