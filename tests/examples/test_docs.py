"""Pages of docs/: their Python runs, their example files are read, their links lead somewhere."""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

import fusetherm
from fusetherm.answers.box.plan import load_box
from fusetherm.calibration.observations import observations_of
from fusetherm.calibration.stored import cached_fit, fit_or_definition
from fusetherm.cli.main import program
from fusetherm.demo import boxes, captures, definitions, duties
from fusetherm.fuse.definition import loads
from fusetherm.life.duty_file import load_duty
from fusetherm.life.duty_file import loads as duty_of_text

FEED = definitions()["inverter_feed_40A"]

DOCS = Path(__file__).parents[2] / "docs"
PACKAGE = Path(fusetherm.__file__).parent
PAGES = {path.stem: path.read_text(encoding="utf-8") for path in sorted(DOCS.glob("*.md"))}


@pytest.fixture(autouse=True)
def fits_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page's fit comes from the cache, in which the tests of the commands leave it."""
    monkeypatch.setattr("fusetherm.calibrate", cached_fit, raising=False)


def blocks(page: str, language: str) -> list[str]:
    """Fenced blocks of a page in one language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", PAGES[page], re.MULTILINE | re.DOTALL)


def test_python_page(capsys: pytest.CaptureFixture[str]) -> None:
    names: dict[str, object] = {}
    found = blocks("python", "python")
    assert len(found) == 4
    for block in found:
        exec(compile(block, "python.md", "exec"), names)
    assert names["run"].duration == pytest.approx(3600.0)  # type: ignore[attr-defined]
    assert names["near"].current_low > 1.12  # type: ignore[attr-defined]
    assert names["curve"].pre_arcing_time.shape == (3, 3)  # type: ignore[attr-defined]
    assert names["verdict"].verdict == "carries"  # type: ignore[attr-defined]
    assert capsys.readouterr().out.splitlines()[-1] == "None"  # no steady state


def test_uncertainty_page(capsys: pytest.CaptureFixture[str]) -> None:
    (block,) = blocks("uncertainty", "python")
    names: dict[str, object] = {}
    exec(compile(block, "uncertainty.md", "exec"), names)
    assert 0.002 < names["ratio"].sd < 0.01  # type: ignore[attr-defined]
    assert capsys.readouterr().out.startswith("32 ")


def test_conductor_page(capsys: pytest.CaptureFixture[str]) -> None:
    (block,) = blocks("conductor", "python")
    names: dict[str, object] = {}
    exec(compile(block, "conductor.md", "exec"), names)
    assert capsys.readouterr().out.startswith("protected () ")
    assert names["found"].conductor_limit == pytest.approx(67.0, abs=0.5)  # type: ignore[attr-defined]


def test_fuse_box_page(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (block,) = blocks("fusebox", "python")
    names: dict[str, object] = {}
    exec(compile(block, "fusebox.md", "exec"), names)
    answer = names["answer"]
    assert capsys.readouterr().out.startswith("carries inverter ")
    assert 2.0 < answer.above_outside[0] < 12.0  # type: ignore[attr-defined]
    assert 0.9 < answer.group_factor[1] < 1.0  # type: ignore[attr-defined]
    (plan,) = blocks("fusebox", "toml")
    (tmp_path / "box.toml").write_text(plan, encoding="utf-8")
    read, shipped = load_box(tmp_path / "box.toml"), load_box(boxes()["engine_room"])
    assert replace(read, path="") == replace(shipped, path="")
    assert read.box().to_outside == pytest.approx(0.66)
    folder = boxes()["engine_room"].parent
    found = {one.fuse for one in read.way_data} | {w.capture for w in read.way_data if w.capture}
    assert all((folder / name).is_file() for name in found)


def test_clusters_page(capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("distributed", reason="dask.distributed is not installed")
    (block,) = blocks("clusters", "python")
    block = block.replace("n_workers=1", "n_workers=1, processes=False, dashboard_address=None")
    exec(compile(block, "clusters.md", "exec"), {"__name__": "__main__"})
    assert capsys.readouterr().out.split("\n")[:2] == ["[[1 1]", " [3 3]]"]


def test_sweeps_page(monkeypatch: pytest.MonkeyPatch) -> None:
    (block,) = blocks("sweeps", "python")
    monkeypatch.setattr("fusetherm.load_fit", lambda _: fit_or_definition(FEED), raising=False)
    names: dict[str, object] = {}
    exec(compile(block.replace("units=100", "units=2"), "sweeps.md", "exec"), names)
    assert names["found"].sizes["ambient_c"] == 3  # type: ignore[attr-defined]


def test_no_python_block_is_left_untested() -> None:
    assert {page for page in PAGES if blocks(page, "python")} == {
        "clusters",
        "conductor",
        "fusebox",
        "python",
        "sweeps",
        "uncertainty",
    }


def test_example_definition_is_read_without_remarks() -> None:
    text, *parts = blocks("file_formats", "toml")
    (duty,) = (part for part in parts if "[[event]]" in part)
    shipped = load_duty(duties()["inverter_feed_day"])
    read = duty_of_text(duty, duties()["inverter_feed_day"])
    assert read.waveform.fingerprint == shipped.waveform.fingerprint
    assert read.ambient(23.0) == shipped.ambient(23.0)
    fuse = loads(text)
    for part in parts:
        assert tomllib.loads(part)
    assert fuse.notes == ()
    assert fuse.rated_current == 40.0
    times = [o for o in observations_of(fuse) if o.kind == "time" and not o.bound]
    assert len(times) == 5  # the melting I²t is one of them


def test_every_page_is_in_the_index_and_every_link_leads_to_a_file() -> None:
    listed = set(re.findall(r"^\w+$", PAGES["index"], re.MULTILINE))
    notebooks = {path.stem for path in DOCS.glob("*.ipynb")}
    assert notebooks == {"notebook"}
    assert (set(PAGES) | notebooks) - {"index"} == listed
    assert "\ngallery/index\n" in PAGES["index"]
    for page, text in PAGES.items():
        for target in re.findall(r"\]\(([\w./]+\.\w+)\)", text):
            assert (DOCS / target).is_file(), f"{page}.md: {target}"


def test_first_visit_prints_what_the_demo_prints(tmp_path: Path) -> None:
    done = CliRunner().invoke(program, ["demo", "--out", str(tmp_path / "figures")])
    assert done.exit_code == 0
    verdict, inspected = blocks("first_visit", "text")[:2]
    for line in verdict.splitlines():
        assert line in done.output, line
    options = ["--clamp", "10 mV/A", "--zero", "0 s : 0.2 s"]
    capture = str(captures()["inverter_switch_on"])
    shown = CliRunner().invoke(program, ["inspect", capture, *options]).output
    for line in inspected.splitlines():
        assert line in shown, line


def test_symbols_name_code_that_exists() -> None:
    files = {path: path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py")}
    code = "\n".join(files.values())
    table = PAGES["nomenclature"].partition("## Symbols")[2]
    names = re.findall(r"`(\w+)`", table) + re.findall(
        r"`(?:\w+\.)?([A-Za-z_]\w*)`", PAGES["theory"]
    )
    assert len(names) > 80
    assert [name for name in names if not re.search(rf"\b{name}\b", code)] == []
    for place in re.findall(r"`([\w/]+\.py)`", PAGES["theory"]):
        assert PACKAGE / place in files, place


def test_every_kind_of_output_is_described() -> None:
    code = "\n".join(p.read_text(encoding="utf-8") for p in PACKAGE.rglob("*.py"))
    kinds = set(re.findall(r"fusetherm/([a-z-]+)/\d", code)) - {"report", "warm", "demo"}
    assert {kind for kind in kinds if f"`{kind}`" not in PAGES["file_formats"]} <= {
        "fit",
        "inspect",
    }
