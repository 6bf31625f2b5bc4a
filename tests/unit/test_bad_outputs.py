"""Files to write that go wrong, and answers that are not numbers."""

from __future__ import annotations

import ast
import csv
import errno
import os
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fusetherm import FuseModel, demo, metal, round_wire, simulate
from fusetherm.answers.curve import time_current_curve
from fusetherm.cli.main import program
from fusetherm.current.sampled import constant
from fusetherm.errors import InputError, SolveError, WriteError
from fusetherm.files import check_output, write_atomic
from fusetherm.solver.integrate import raise_stalled
from fusetherm.solver.kernels import advance as loop
from fusetherm.solver.network import build_network

PACKAGE = Path(__file__).parents[2] / "src" / "fusetherm"
WIRE = FuseModel(round_wire(metal("copper"), 0.3e-3, 20e-3), name="=1+1 <script>&")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def ask(*arguments: object) -> Any:
    return CliRunner().invoke(program, list(map(str, arguments)))


# the run ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("outcome", "what"),
    [(loop.STALLED, "the step size collapsed"), (loop.NOT_FINITE, "a value is not finite")],
)
def test_bad_input_100_101_where_a_solve_stopped(outcome: int, what: str) -> None:
    """Time, cell, temperature and current of the place, and the run that was reached."""
    network = build_network(WIRE, ambient_k=296.15, cells=16)
    u = network.state(296.15)
    u[network.first + 5] = network.state(700.0)[network.first + 5]
    trace = np.zeros((1, loop.ROW_FIXED))
    trace[0, loop.ROW_SQUARED], trace[0, loop.ROW_PEAK] = 400.0, 700.0
    solution: Any = SimpleNamespace(trace=trace, end_time=0.25, steps=1)
    with pytest.raises(SolveError) as caught:
        raise_stalled(network, solution, u, outcome)
    error = caught.value
    assert error.code == "solver-stalled"
    assert error.found == f"{what} at 0.25 s, element cell 5, 426.9 °C, 20 A"
    assert error.run is solution
    assert error.mend


def test_bad_input_100_101_no_answer_holds_what_is_no_number() -> None:
    """What no float can square is refused; what no solver can follow stops, and says where."""
    with pytest.raises(InputError) as refused:
        constant(1e160, 1.0)
    assert refused.value.code == "not-finite"
    with pytest.raises(SolveError) as stopped:
        simulate(WIRE, constant(1e30, 1.0), ambient_c=23.0)
    assert "23.0 °C, at the first step" in stopped.value.found
    assert "nan" not in str(stopped.value)


# files to write ---------------------------------------------------------------------------------


def test_bad_input_103_an_output_that_exists(tmp_path: Path) -> None:
    fuse = demo.definitions()["inverter_feed_40A"]
    for command, option, name in (("curve", "--csv", "a.csv"), ("curve", "--figure", "a.png"),
                                  ("fit", "-o", "a.json")):  # fmt: skip
        target = tmp_path / name
        target.write_text("old", encoding="utf-8")
        done = ask(command, fuse, option, target)
        assert done.exit_code == 6, done.output
        assert "output-exists" in done.stderr
        assert "--replace" in done.stderr
        assert target.read_text(encoding="utf-8") == "old"


def test_bad_input_104_a_folder_for_a_file(tmp_path: Path) -> None:
    fuse = demo.definitions()["inverter_feed_40A"]
    done = ask("inspect", tmp_path)
    assert (done.exit_code, "folder-as-file" in done.stderr) == (3, True)
    done = ask("curve", tmp_path)
    assert (done.exit_code, "folder-as-file" in done.stderr) == (3, True)
    done = ask("curve", fuse, "--csv", tmp_path, "--replace")
    assert (done.exit_code, "output-not-a-file" in done.stderr) == (6, True)


def test_bad_input_105_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    capture = tmp_path / "a.csv"
    capture.write_text("t (s),I (A)\n0,1\n1,2\n", encoding="utf-8")
    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", refuse)
        done = ask("inspect", capture)
    assert (done.exit_code, "file-not-readable" in done.stderr) == (3, True)
    with monkeypatch.context() as patch:
        patch.setattr(os, "open", refuse)
        with pytest.raises(WriteError, match="rights on the folder"):
            write_atomic(tmp_path / "out.txt", "new")
    assert names(tmp_path) == ["a.csv"]


def test_bad_input_106_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    (tmp_path / "out.txt").write_text("old", encoding="utf-8")
    with pytest.raises(WriteError, match="free space"):
        write_atomic(tmp_path / "out.txt", "new", replace=True)
    assert names(tmp_path) == ["out.txt"]
    assert (tmp_path / "out.txt").read_text(encoding="utf-8") == "old"


def test_bad_input_107_an_output_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "behind.csv").write_text("old", encoding="utf-8")
    link = tmp_path / "link.csv"
    link.symlink_to(tmp_path / "behind.csv")
    done = ask("curve", demo.definitions()["inverter_feed_40A"], "--csv", link, "--replace")
    assert (done.exit_code, "output-is-link" in done.stderr) == (6, True)
    assert (tmp_path / "behind.csv").read_text(encoding="utf-8") == "old"


@pytest.mark.parametrize(
    "name", ["..", "a\nb.csv", "a\x1b.csv", "NUL", "con.csv", "Lpt1.png", "aux.", "com3 ", "a\x7f"]
)
def test_bad_input_108_names_that_are_none(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError) as caught:
        check_output(tmp_path / name, replace=True)
    assert caught.value.code == "output-name"
    assert "\x1b" not in str(caught.value)
    assert names(tmp_path) == []


@pytest.mark.parametrize("name", ["console.csv", "com.csv", "auxiliary", "nul_1", "x..y.csv"])
def test_bad_input_108_names_that_only_look_so(tmp_path: Path, name: str) -> None:
    (tmp_path / "deep").mkdir()
    check_output(tmp_path / name)
    check_output(tmp_path / "deep" / ".." / name)


def test_bad_input_113_tables_hold_numbers_alone(tmp_path: Path) -> None:
    """No text of a definition reaches a table, so no cell can begin a formula."""
    curve = time_current_curve(WIRE, currents=[20.0, 30.0], ambient_c=(23.0,))
    curve.to_csv(tmp_path / "a.csv")
    head, *rows = csv.reader((tmp_path / "a.csv").read_text(encoding="utf-8").splitlines())
    assert not any(cell[:1] in "=+-@\t\r" for cell in head)
    assert len(rows) == 2
    for row in rows:
        assert [float(cell) for cell in row if cell]


def test_bad_input_114_markup_in_names_stays_text(tmp_path: Path) -> None:
    from xml.etree import ElementTree

    from fusetherm.show.plots import plot_curve, save_figure

    curve = time_current_curve(WIRE, currents=[20.0, 25.0, 30.0], ambient_c=(23.0,))
    svg = save_figure(plot_curve(curve), tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "<script>" not in svg
    assert ElementTree.fromstring(svg).tag.endswith("svg")


def test_bad_input_117_no_number_asks_the_locale() -> None:
    """Neither formats of the locale nor the module that sets one are used anywhere."""
    found = []
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
                spec = ast.unparse(node.format_spec).strip("f'\"")
                found += [f"{path.name}:{node.lineno}"] if spec.endswith("n") else []
            elif isinstance(node, ast.Import):
                found += [path.name for name in node.names if name.name == "locale"]
            elif isinstance(node, ast.ImportFrom) and node.module == "locale":
                found.append(path.name)
    assert found == []


@pytest.mark.skipif(sys.platform == "win32", reason="asks for another locale by its Unix name")
def test_bad_input_117_figures_in_another_locale() -> None:
    import matplotlib as mpl

    assert mpl.rcParamsDefault["axes.formatter.use_locale"] is False
    assert "use_locale" not in "".join(
        path.read_text(encoding="utf-8") for path in (PACKAGE / "show").glob("*.py")
    )
