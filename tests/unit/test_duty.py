"""Duties: events in order, their time and ambient; duty files and what they refuse."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import fusetherm as ft
from fusetherm import demo
from fusetherm.life.duty_file import loads

PULSE = ft.Waveform(time=[0.0, 0.2], current=[60.0, 60.0])
HEAD = 'schema_version = 1\nid = "d"\nsource = "invented"\n'
EVENT = '[[event]]\nshape = "rectangle"\ncurrent_A = 50\nduration_s = 0.1\n'
#: Lines of HEAD and the header of the first event.
FIRST = 4


def test_events_follow_one_another() -> None:
    one = ft.DutyEvent(name="a", waveform=PULSE, count=3, spacing=2.0, preload=10.0,
                       preload_time=5.0)  # fmt: skip
    two = ft.DutyEvent(name="b", waveform=PULSE, preload=10.0, preload_time=1.0,
                       preload_stays=True)  # fmt: skip
    duty = ft.Duty(name="d", events=(one, two), period=20.0)
    wave = duty.waveform
    assert duty.duration == pytest.approx(20.0)
    assert duty.starts == pytest.approx((0.0, 11.0))
    at = [1.0, 5.1, 5.3, 7.1, 10.5, 11.5, 12.1, 12.3]
    assert wave.current(at) == pytest.approx([10, 60, 10, 60, 10, 10, 70, 0])
    assert duty.events_at([0.0, 5.1, 11.0, 11.1, 19.0]).tolist() == [0, 0, 0, 1, 1]


def test_ambient_goes_over_before_the_start_of_an_event() -> None:
    cold = ft.DutyEvent(name="a", waveform=PULSE, spacing=600.0, ambient_c=5.0)
    warm = ft.DutyEvent(name="b", waveform=PULSE, spacing=600.0)
    duty = ft.Duty(name="d", events=(cold, warm, warm), ambient_c=60.0)
    assert duty.ambient_stated
    assert duty.ambients(23.0) == (5.0, 60.0, 60.0)
    course = duty.ambient(23.0)
    assert isinstance(course, tuple)
    times, values = zip(*course, strict=True)
    assert times == pytest.approx((0.0, 570.0, 600.0, 1770.0, 1800.0))
    assert values == (5.0, 5.0, 60.0, 60.0, 5.0)
    still = ft.Duty(name="d", events=(warm,))
    assert still.ambient(40.0) == 40.0
    assert not still.ambient_stated


def test_a_duty_that_cannot_be_is_refused() -> None:
    event = ft.DutyEvent(name="a", waveform=PULSE, count=3, spacing=2.0)
    with pytest.raises(ft.InputError, match="period-too-short"):
        ft.Duty(name="d", events=(event,), period=5.0)
    with pytest.raises(ft.InputError, match="duty-without-events"):
        ft.Duty(name="d", events=())
    with pytest.raises(ft.InputError, match="period-too-short"):
        ft.DutyEvent(name="a", waveform=PULSE, spacing=0.1)
    with pytest.raises(ft.InputError, match="not-positive"):
        ft.DutyEvent(name="a", waveform=PULSE, preload_time=-1.0)


@pytest.mark.parametrize("name", sorted(demo.duties()))
def test_duties_of_the_demo_read_without_remarks(name: str) -> None:
    duty = ft.load_duty(demo.duties()[name])
    assert duty.name == name
    assert duty.notes == ()
    assert duty.duration == pytest.approx(86400.0)
    assert duty.ambient_stated
    assert demo.DUTY_FUSES[name] in demo.definitions()
    assert set(demo.DUTY_FUSES) == set(demo.duties())


@pytest.mark.parametrize(
    ("keys", "i2t"),
    [
        ('shape = "rectangle"\ncurrent_A = 10\nduration_s = 3', 300.0),
        ('shape = "triangle"\ncurrent_A = 10\nrise_s = 1\nfall_s = 2', 100.0),
        ('shape = "half-sine"\ncurrent_A = 10\nduration_s = 3', 150.0),
        ('shape = "decay"\ncurrent_A = 10\ntime_constant_s = 2', 100.0),
        ('shape = "lamp"\ncurrent_A = 10\ninrush_ratio = 1\ntime_constant_s = 2\nduration_s = 3',
         300.0),
        ('shape = "chopped"\ncurrent_A = 10\non_percent = 30\nfrequency_Hz = 100\nduration_s = 3',
         90.0),
    ],
)  # fmt: skip
def test_shapes(keys: str, i2t: float) -> None:
    duty = loads(f"{HEAD}[[event]]\n{keys}\ncount = 2\nspacing_s = 100\n")
    assert duty.waveform.i2t() == pytest.approx(2.0 * i2t, rel=1e-6)


def test_captures_are_found_from_the_folder_of_the_file(tmp_path: Path) -> None:
    (tmp_path / "days").mkdir()
    (tmp_path / "a.csv").write_text("t (s),i (A)\n0,5\n1,5\n2,5\n")
    path = tmp_path / "days" / "day.toml"
    path.write_text(HEAD + '[[event]]\ncapture = "../a.csv"\n')
    duty = ft.load_duty(path)
    assert duty.events[0].name == "a"
    assert duty.waveform.i2t() == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("text", "code", "line", "said"),
    [
        (EVENT + "spacing = 9\n", "missing-unit", FIRST + 4, "spacing_s"),
        (EVENT + "cuont = 9\n", "unknown-key", FIRST + 4, "did you mean count?"),
        (EVENT + "count = 0\n", "not-positive", FIRST + 4, "at least 1"),
        (EVENT + "count = 2.5\n", "wrong-kind", FIRST + 4, "a whole number"),
        (EVENT + 'count = "3"\n', "number-as-text", FIRST + 4, "remove the quotes"),
        (EVENT + "spacing_s = 0.05\n", "period-too-short", FIRST + 4, "0.05 s"),
        (EVENT + "preload_A = 5\n", "missing-key", FIRST, "preload_s beside preload_A"),
        (EVENT + "ambient_C = -300\n", "below-absolute-zero", FIRST + 4, "above -273.15"),
        (EVENT + "rise_s = 1\n", "key-of-another-event", FIRST + 4, "nothing about a rectangle"),
        (EVENT + 'clamp = "1 mV/A"\n', "key-of-another-event", FIRST + 4, "remove it"),
        (EVENT.replace("duration_s = 0.1", ""), "missing-key", FIRST, "duration_s for a rect"),
        (EVENT.replace("rectangle", "rectangel"), "unknown-choice", FIRST + 1, "'rectangle'?"),
        (EVENT + 'capture = "a.csv"\n', "event-with-two-currents", FIRST + 1, "make two events"),
        ("[[event]]\ncount = 2\n", "event-without-current", FIRST, "capture = a path"),
        ('[[event]]\ncapture = "none.csv"\n', "file-missing", FIRST + 1, "none.csv"),
        ("", "missing-key", None, "event is missing"),
        ("event = []\n", "missing-key", FIRST, "at least one"),
        ("period_s = 1\n" + EVENT + "count = 99\n", "period-too-short", FIRST, "9.9 s together"),
    ],
)
def test_faults_are_told_with_their_line(text: str, code: str, line: int | None, said: str) -> None:
    with pytest.raises(ft.FileError) as caught:
        loads(HEAD + text, "day.toml")
    assert caught.value.code == code
    assert caught.value.line == line
    assert said in str(caught.value)
    assert caught.value.expected


def test_other_files_are_no_duties() -> None:
    fuse = demo.definitions()["bilge_pump_10A"].read_text(encoding="utf-8")
    for text in (fuse, '{"schema": "fusetherm/fit/2"}', "t (s),i (A)\n0,1\n"):
        with pytest.raises(ft.FileError, match="not-a-duty"):
            loads(text, "x.toml")
    with pytest.raises(ft.FileError, match="this is a duty, not a definition"):
        ft.load_fuse(demo.duties()["windlass_day"])
    with pytest.raises(ft.FileError, match="schema-too-new"):
        loads(HEAD.replace("= 1", "= 9") + EVENT, "x.toml")


def test_a_fault_of_a_capture_names_capture_and_duty(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("t (s),u (V)\n0,5\n1,5\n2,5\n")
    path = tmp_path / "day.toml"
    path.write_text(HEAD + '[[event]]\ncapture = "a.csv"\n')
    with pytest.raises(ft.FileError) as caught:
        ft.load_duty(path)
    text = str(caught.value)
    assert "a.csv" in text
    assert "clamp = '10 mV/A'" in text
    assert "event[1], line 5 of" in text


def test_remarks_of_a_capture_travel_with_its_event(tmp_path: Path) -> None:
    rows = [0.0] * 20 + [30.0 + 0.7 * k for k in range(20)] + [50.0] * 40 + [20.0, 11.0, 0.0]
    body = "".join(f"{0.01 * k:.2f},{i:.2f}\n" for k, i in enumerate(rows))
    (tmp_path / "a.csv").write_text("t (s),i (A)\n" + body)
    path = tmp_path / "day.toml"
    path.write_text(HEAD + '[[event]]\nname = "haul"\ncapture = "a.csv"\n')
    notes = ft.load_duty(path).notes
    assert [n.code for n in notes if n.text.startswith("haul: ")] == [n.code for n in notes]
    assert np.isin("clipped-record", [n.code for n in notes])
