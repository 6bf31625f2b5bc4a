"""Plan of a fuse box: read strictly, and the command that answers it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

import fusetherm as ft
from fusetherm import FileError
from fusetherm.answers.box.plan import load_box
from fusetherm.cli.main import program

BOX = """\
schema_version = 1

[box]
outside_C = 45
surface_m2 = 0.1
heat_capacity_J_per_K = 300
place_to_air_W_per_K = 0.5
source = "invented"

[[heat]]
time_s = 0
heat_W = 1

[[heat]]
time_s = 60
heat_W = 2

[[way]]
name = "inverter"
fuse = "fuse.toml"
current_A = 10
cable_inside_mm = 100

[[way]]
name = "spare"
fuse = "fuse.toml"
current_A = 0
row = 2
"""


def written(folder: Path, text: str = BOX) -> Path:
    path = folder / "box.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_plan_in_si(tmp_path: Path) -> None:
    plan = load_box(written(tmp_path))
    box = plan.box()
    assert box.to_outside == pytest.approx(0.55)
    assert (box.outside_c, box.heat) == (45.0, ((0.0, 1.0), (60.0, 2.0)))
    asked: list[Path] = []

    def fit(path: Path) -> ft.FuseModel:
        asked.append(path)
        return ft.FuseModel(ft.round_wire(ft.metal("zinc"), 1e-3, 10e-3))

    ways = plan.ways(fit)  # type: ignore[arg-type]
    assert asked == [tmp_path / "fuse.toml"]  # each file once
    assert [(w.name, w.load, w.row, w.place) for w in ways] == [
        ("inverter", 10.0, 1, 1), ("spare", 0.0, 2, 1),
    ]  # fmt: skip
    assert ways[0].cable_inside == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("old", "new", "code", "line"),
    [
        ("outside_C = 45", "outside = 45", "missing-unit", 4),
        ("surface_m2 = 0.1\n", "", "box-way-out", 3),
        ("surface_m2 = 0.1", "surface_m2 = 0.1\nto_outside_W_per_K = 1", "box-way-out", 5),
        ("surface_m2 = 0.1", "to_outside_W_per_K = 1\nheat_transfer_W_per_m2K = 5", "box-way-out",
         6),
        ("surface_m2 = 0.1", "surface_m2 = -1", "not-positive", 5),
        ("place_to_air_W_per_K = 0.5", "neighbour_W_per_K = 0.5", "neighbours-without-places", 7),
        ('source = "invented"', 'source = "invented"\nheat_W = 3', "heat-twice", 11),
        ("time_s = 60", "time_s = 0", "heat-not-increasing", 15),
        ("current_A = 10\n", "", "load-missing", 18),
        ("current_A = 10", 'current_A = 10\ncapture = "a.csv"', "load-twice", 22),
        ("current_A = 10", 'current_A = 10\nafter = "hold"', "capture-missing", 22),
        ("current_A = 10", 'capture = "a.csv"', "after-missing", 21),
        ("current_A = 10", 'capture = "a.csv"\nafter = "hold"\nperiod_s = 9',
         "period-without-repeat", 23),
        ('name = "spare"', 'name = "inverter"', "name-taken", 25),
        ("current_A = 10", "current_A = 10\nplace = 1\nrow = 2", None, None),
        ("row = 2", "row = 1\nplace = 0", "not-positive", 29),
        ("current_A = 0", "current_A = nan", "not-finite", 27),
        ("schema_version = 1", "schema_version = 9", "schema-too-new", 1),
        ("current_A = 10", "curent_A = 10", "unknown-key", 21),
    ],
)  # fmt: skip
def test_faults_are_told_with_their_line(
    tmp_path: Path, old: str, new: str, code: str | None, line: int | None
) -> None:
    assert old in BOX
    path = written(tmp_path, BOX.replace(old, new, 1))
    if code is None:
        assert load_box(path).way_data[0].place == 1
        return
    with pytest.raises(FileError) as caught:
        load_box(path)
    assert (caught.value.code, caught.value.line) == (code, line)
    assert caught.value.path == str(path)
    assert caught.value.expected or caught.value.mend


def test_place_taken_and_no_plan_at_all(tmp_path: Path) -> None:
    text = BOX.replace("current_A = 10", "current_A = 10\nplace = 2\nrow = 2")
    text = text.replace("current_A = 0\nrow = 2", "current_A = 0\nrow = 2\nplace = 2")
    with pytest.raises(FileError) as caught:
        load_box(written(tmp_path, text))
    assert caught.value.code == "place-taken"
    fuse = next(iter(ft.demo.definitions().values()))
    with pytest.raises(FileError) as caught:
        load_box(fuse)
    assert caught.value.code == "not-a-box-plan"
    with pytest.raises(FileError) as caught:
        load_box(written(tmp_path, BOX[: BOX.index("[[way]]")]))
    assert caught.value.code == "missing-key"


def test_a_fault_of_a_capture_names_its_way_and_the_key_that_settles_it(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("time (s),probe (mV)\n0,10\n1,10\n", encoding="utf-8")
    text = BOX.replace("current_A = 10", 'capture = "a.csv"\nafter = "zero"')
    with pytest.raises(FileError) as caught:
        load_box(written(tmp_path, text)).ways(lambda path: None)  # type: ignore[arg-type, return-value]
    error = caught.value
    assert (error.code, error.path) == ("volts-without-ratio", str(tmp_path / "a.csv"))
    assert "clamp = '10 mV/A'" in error.mend
    assert "the way 'inverter' of" in error.mend
    assert error.mend.endswith("box.toml")


def test_a_plan_given_as_a_definition_is_told_as_one(tmp_path: Path) -> None:
    with pytest.raises(FileError) as caught:
        ft.load_fuse(written(tmp_path))
    assert (caught.value.code, caught.value.key) == ("not-a-definition", "way")
    assert "this is the plan of a fuse box" in caught.value.found
    assert "`fusebox` takes" in caught.value.mend


@pytest.fixture(scope="module")
def answered(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, int]:
    folder = tmp_path_factory.mktemp("box")
    fuse = ft.demo.definitions()["inverter_feed_40A"]
    (folder / "fuse.toml").write_text(Path(fuse).read_text(encoding="utf-8"), encoding="utf-8")
    path = written(folder)
    runner = CliRunner()
    result = runner.invoke(
        program, ["fusebox", str(path), "--json", "--figure", str(folder / "box.png"),
               "--duration-s", "1200"]
    )  # fmt: skip
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return folder, result.stdout, result.exit_code


def test_command_gives_verdicts_and_bands(answered: tuple[Path, str, int]) -> None:
    folder, text, status = answered
    data = json.loads(text)
    assert data["schema"] == "fusetherm/fusebox/1"
    assert (data["verdict"], status) == ("carries", 0)
    way = data["ways"][0]
    assert (
        way["settled_hot_spot_C_low"] < way["settled_hot_spot_C"] < way["settled_hot_spot_C_high"]
    )
    assert way["margin_current_low"] < way["margin_current"] < way["margin_current_high"]
    assert way["settled_air_C"] > data["settled_box_air_C"] > 45.0
    assert data["cooler_without_heat_K"] > 1.0
    assert data["settled_imbalance"] < 1e-8
    assert data["chief_heater"] == "inverter"
    assert len(data["air_C"][0]) == len(data["time_s"])
    assert "certification" in " ".join(data["cautions"])
    assert (folder / "box.png").stat().st_size > 10_000


def test_command_says_it_in_words(answered: tuple[Path, str, int]) -> None:
    folder, _, _ = answered
    text = BOX.replace("current_A = 10", "current_A = 400")
    path = folder / "hot.toml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(program, ["fusebox", str(path), "--duration-s", "300"])
    assert done.exit_code == 20, done.output
    assert "OPENS: inverter" in done.stdout
    assert "begins to melt after" in done.stdout
    assert "CARRIES: spare" in done.stdout
    # an idle fuse leads heat out by its cables: said in words, not by a sign
    told = " ".join(done.stdout.split())
    assert "takes from the box" in told
    assert " -" not in told
    assert "chief heater" in done.stdout
    assert "above the outside" in done.stdout
    assert done.stdout.count("certification") == 1
