"""Sweeps: the same numbers however they are computed, and whatever ends the run."""

from __future__ import annotations

import json
import math
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fusetherm as ft
from fusetherm import files
from fusetherm.errors import FileError, InputError, WriteError
from fusetherm.sweeps import rows as rows_module
from fusetherm.sweeps import run as run_module
from fusetherm.sweeps import store as store_module
from fusetherm.sweeps.plan import changes, fingerprint
from fusetherm.sweeps.rows import FAILED, HELD, MELTED, MISSING, OPENED, solve_rows
from fusetherm.sweeps.scenarios import Scenarios
from fusetherm.sweeps.store import Store, logged
from fusetherm.sweeps.workers import Pool, WorkerDied, solve_surely

SCRIPT = """
import sys, fusetherm as ft
strip = ft.Element(ft.metal("zinc"), (ft.Section(length=0.01, width=3e-3, thickness=2e-4),))
ft.sweep(ft.FuseModel(strip), currents=[20, 150, 300], durations=[0.05, 0.1],
         ambients_c=[23, 85], units=2, seed=7, block_rows=2, workers=0, out=sys.argv[1])
"""
ASKED: dict[str, Any] = {
    "currents": [20, 150, 300], "durations": [0.05, 0.1], "ambients_c": [23, 85],
    "units": 2, "seed": 7, "block_rows": 2,
}  # fmt: skip
ROWS, BLOCKS = 24, 12


def strip() -> ft.FuseModel:
    section = ft.Section(length=0.01, width=3e-3, thickness=2e-4)
    return ft.FuseModel(ft.Element(ft.metal("zinc"), (section,)))


def asked(out: Path | None = None, **more: Any) -> Any:
    return ft.sweep(strip(), out=out, **{"workers": 0, **ASKED, **more})


@pytest.fixture(scope="module")
def undisturbed() -> Any:
    return asked()


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory, undisturbed: Any) -> Path:
    folder = tmp_path_factory.mktemp("sweeps") / "whole"
    assert same(asked(folder), undisturbed)
    return folder


@pytest.fixture
def folder(finished: Path, tmp_path: Path) -> Path:
    """A finished sweep of one's own to damage."""
    import shutil

    return Path(shutil.copytree(finished, tmp_path / "sweep"))


def same(one: Any, other: Any) -> bool:
    """Whether two results agree in every bit, in every label and in their configuration."""
    keys = ("configuration", "kind")
    return bool(
        one.drop_attrs().identical(other.drop_attrs())
        and all(one.attrs[k] == other.attrs[k] for k in keys)
        and all(one[name].attrs == other[name].attrs for name in one.variables)
    )


@pytest.mark.parametrize("pairing", ["grid", "list"])
def test_failures_stand_in_the_file_by_row(pairing: str, tmp_path: Path) -> None:
    """Read by xarray alone, beside the rows that did not fail."""
    import xarray

    out = tmp_path / "sweep"
    made = ft.sweep(
        strip(), currents=20, durations=0.01, preloads=[0, 1e4, 0, 2e4], pairing=pairing,
        workers=0, block_rows=1, out=out,
    )  # fmt: skip
    found = xarray.load_dataset(out / "sweep.nc")
    assert found.drop_attrs().identical(made.drop_attrs())
    assert found.failed_row.values.tolist() == [1, 3]
    assert found.failure_code.values.tolist() == ["no-steady-start"] * 2
    assert "20 kA" in str(found.failure_text[1].values)
    assert found.row.values.ravel().tolist() == [0, 1, 2, 3]
    fine = ft.sweep(strip(), currents=20, durations=0.01, workers=0, out=tmp_path / "fine")
    assert fine.failure_text.values.tolist() == []
    kept = xarray.load_dataset(tmp_path / "fine" / "sweep.nc")
    assert kept.drop_attrs().identical(fine.drop_attrs())


def test_rows_are_those_of_simulate(undisturbed: Any) -> None:
    assert undisturbed.sizes["current"] == 3
    assert undisturbed.ambient_c.attrs["units"] == "degC"
    assert undisturbed.pre_arcing_time.attrs["units"] == "s"
    at = undisturbed.sel(current=300.0, duration=0.1, ambient_c=85.0, unit=1).squeeze()
    work = work_of_tests()
    model = Scenarios(work).model({"fuse": work.axes["fuse"][0], "draw": -1, "unit": 1})
    alone = ft.simulate(
        model, ft.Waveform(time=[0, 0.1], current=[300, 300]), ambient_c=85,
        cells=next(iter(work.fuses.values())).cells, trace="peaks",
    )  # fmt: skip
    assert alone.opened
    assert float(at.pre_arcing_time) == pytest.approx(alone.pre_arcing_time, rel=1e-9)
    assert int(at.status) == OPENED
    held = undisturbed.sel(current=20.0)
    assert (held.status == HELD).all()
    assert held.pre_arcing_time.isnull().all()
    assert json.loads(undisturbed.attrs["configuration"])["seed"] == 7


def test_rows_to_the_onset_end_there(undisturbed: Any) -> None:
    short = ft.sweep(strip(), **{**ASKED, "workers": 0}, to="onset")
    assert short.onset_time.equals(undisturbed.onset_time)
    assert short.pre_arcing_time.isnull().all()
    assert 0 < int((short.status == MELTED).sum()) == int((undisturbed.status >= MELTED).sum())


def work_of_tests() -> Any:
    return run_module.work_of(
        strip(), {}, factors=1.0, currents=ASKED["currents"], durations=ASKED["durations"],
        ambients_c=ASKED["ambients_c"], preloads=0.0, draws=0, units=2, pairing="grid",
        after="zero", to="end", connection="installed", tolerance=1e-4, seed=7,
    )  # fmt: skip


def test_one_and_two_workers_give_the_same_bits(undisturbed: Any) -> None:
    assert same(asked(workers=1), undisturbed)
    assert same(asked(workers=2), undisturbed)


def test_order_of_blocks_does_not_matter(
    tmp_path: Path, undisturbed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = run_module._solved

    def shuffled(work: Any, blocks: Any, *more: Any) -> Any:
        mixed = list(blocks)
        random.Random(3).shuffle(mixed)
        return plain(work, iter(mixed), *more)

    monkeypatch.setattr(run_module, "_solved", shuffled)
    assert same(asked(tmp_path / "sweep"), undisturbed)
    order = [entry.block for entry in logged(tmp_path / "sweep")]
    assert sorted(order) == list(range(BLOCKS))
    assert order != sorted(order)


def test_list_pairs_the_axes() -> None:
    found = ft.sweep(
        strip(), currents=[20, 300, 300], durations=0.1, ambients_c=[23, 23, 85],
        pairing="list", workers=0,
    )  # fmt: skip
    assert found.sizes == {"row": 3, "failure": 0}
    assert found.current.values.tolist() == [20, 300, 300]
    assert found.pre_arcing_time[1] > found.pre_arcing_time[2]


def test_waveforms_and_factors() -> None:
    pulse = ft.Waveform(time=[0, 0.1], current=[30, 30])
    found = ft.sweep(strip(), {"pulse": pulse}, factors=[1, 10], workers=0)
    assert found.status.values.ravel().tolist() == [HELD, OPENED]


def test_a_row_that_cannot_be_computed_fails_with_its_reason() -> None:
    found = ft.sweep(strip(), currents=20, durations=0.1, preloads=[0, 1e4], workers=0)
    assert found.status.values.ravel().tolist() == [HELD, FAILED]
    assert found.sizes["failure"] == 1
    assert "failures" not in found.attrs
    (row,), (code,), (text,) = (
        found.failed_row.values,
        found.failure_code.values,
        found.failure_text.values,
    )
    assert (row, code) == (1, "no-steady-start")
    # the row's place is found by its number
    assert found.status.where(found.row == row, drop=True).preload == 1e4
    assert code not in text  # it stands beside
    assert "10000 A" in text or "10 kA" in text or "10,000 A" in text


@pytest.mark.parametrize("cut", random.Random(11).sample(range(1, 3 * BLOCKS), 4))
def test_power_cut_at_any_flush(
    cut: int, tmp_path: Path, undisturbed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    class PowerCut(BaseException):
        pass

    calls = iter(range(1, 10_000))
    fsync = os.fsync

    def cut_off(handle: int) -> None:
        if next(calls) == cut:
            raise PowerCut
        fsync(handle)

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", cut_off)
        with pytest.raises(PowerCut):
            asked(tmp_path / "sweep")
    assert same(asked(tmp_path / "sweep"), undisturbed)


def test_kill_nine_at_random_points(tmp_path: Path, undisturbed: Any) -> None:
    folder, killed = tmp_path / "sweep", 0
    chance = random.Random(5)
    for lines in (0, 3, 7):
        with subprocess.Popen([sys.executable, "-c", SCRIPT, str(folder)]) as process:
            until = time.monotonic() + 60.0
            while process.poll() is None and time.monotonic() < until:
                if (folder / "plan.json").is_file() and len(logged(folder)) >= lines:
                    break
                time.sleep(0.002)
            time.sleep(chance.uniform(0.0, 0.05))
            killed += process.poll() is None
            process.kill()
    assert killed >= 2
    before = len(logged(folder))
    assert 0 < before < BLOCKS
    partly = ft.open_sweep(folder)
    assert int((partly.status == MISSING).sum()) == ROWS - 2 * len(set(logged(folder)))
    assert same(asked(folder), undisturbed)
    assert len(logged(folder)) == BLOCKS


def test_bad_input_112_flipped_byte_is_named_set_aside_and_redone(
    folder: Path, undisturbed: Any
) -> None:
    shard = folder / "shards" / "00000003.nc"
    content = bytearray(shard.read_bytes())
    content[len(content) // 2] ^= 1
    shard.write_bytes(content)
    partly = ft.open_sweep(folder)
    assert int((partly.status == MISSING).sum()) == 2  # never merged
    assert same(asked(folder), undisturbed)
    assert (folder / "set_aside" / "00000003-0.nc").read_bytes() == content
    from fusetherm.labelled import read_netcdf

    assert "00000003.nc" in read_netcdf(folder / "sweep.nc").attrs["notes"]


def test_torn_last_line_and_lost_shard(folder: Path, undisturbed: Any) -> None:
    log = folder / "finished.log"
    log.write_bytes(log.read_bytes()[:-20])
    (folder / "shards" / "00000001.nc").unlink()
    (folder / "shards" / ".fusetherm-left.tmp").write_bytes(b"part")
    assert len(logged(folder)) == BLOCKS - 1
    assert same(asked(folder), undisturbed)
    assert not list((folder / "shards").glob(".*"))


def test_bad_input_106_full_disk_stops_cleanly(
    tmp_path: Path, undisturbed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    import errno

    def full(path: Path) -> None:
        if "shards" in str(path) and len(logged(tmp_path / "sweep")) == 4:
            raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(files, "_flush", full)
        with pytest.raises(WriteError, match=f"4 of {BLOCKS} shards") as caught:
            asked(tmp_path / "sweep")
    assert caught.value.code == "sweep-not-written"
    assert "No space left" in str(caught.value)
    assert same(asked(tmp_path / "sweep"), undisturbed)


@pytest.mark.skipif(os.name == "nt", reason="limits of a process are POSIX")
def test_bad_input_106_a_file_system_that_takes_only_small_files(tmp_path: Path) -> None:
    limit = (
        "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", "import fusetherm.solver.run\n" + limit + SCRIPT,
         str(tmp_path / "sweep")],
        capture_output=True, text=True, check=False, timeout=200,
        env={**os.environ, "FUSETHERM_CACHE": os.environ.get("FUSETHERM_CACHE", "")},
    )  # fmt: skip
    assert "sweep-not-written" in done.stderr, done.stderr
    assert not list((tmp_path / "sweep" / "shards").iterdir())


@pytest.mark.skipif(os.name == "nt", reason="signals are POSIX")
def test_a_killed_worker_costs_nothing(tmp_path: Path, undisturbed: Any) -> None:
    pool = Pool(work_of_tests(), 2)
    killed: list[int] = []

    def kill() -> None:
        while len(killed) < 2:
            pid = pool.workers[len(killed)].pid
            if pid is not None:
                time.sleep(0.3)
                os.kill(pid, signal.SIGKILL)
                killed.append(pid)

    threading.Thread(target=kill, daemon=True).start()
    try:
        parts = dict(pool.solved(run_module._blocks(work_of_tests(), 2)))
    finally:
        pool.end()
    assert len(killed) == 2
    assert len(parts) == BLOCKS
    found = np.concatenate([parts[k].values["peak_temperature_c"] for k in sorted(parts)])
    assert np.array_equal(found, undisturbed.peak_temperature_c.values.ravel())


def test_a_row_that_kills_its_worker_stands_alone() -> None:
    work = work_of_tests()

    class Mortal:
        deaths = 0

        def ask(self, rows: Any) -> Any:
            if 5 in rows:
                self.deaths += 1
                raise WorkerDied("ended by SIGKILL")
            return solve_rows(work, rows)

    mortal = Mortal()
    found = solve_surely(mortal, np.arange(4, 8))  # type: ignore[arg-type]
    assert found.rows.tolist() == [4, 5, 6, 7]
    assert [status == FAILED for status in found.status] == [False, True, False, False]
    code, text = found.reasons[5]
    assert code == "worker-died"
    assert "SIGKILL" in text
    assert mortal.deaths == 6  # twice each: four rows, two, one


def test_interrupt_finishes_the_shard_and_goes_on(tmp_path: Path, undisturbed: Any) -> None:
    def interrupt(done: int, total: int, left: float | None) -> None:
        if done == 6:
            signal.raise_signal(signal.SIGINT)

    with pytest.raises(KeyboardInterrupt):
        asked(tmp_path / "sweep", progress=interrupt)
    assert len(logged(tmp_path / "sweep")) == 3
    assert same(asked(tmp_path / "sweep"), undisturbed)


def test_time_limit_and_progress(tmp_path: Path, undisturbed: Any) -> None:
    told: list[tuple[int, int, float | None]] = []
    partly = asked(tmp_path / "sweep", time_limit=1e-9, progress=lambda *a: told.append(a))
    assert told[0] == (0, ROWS, None)
    assert told[1][:2] == (2, ROWS)
    assert told[1][2] is not None
    assert math.isfinite(told[1][2])
    assert int((partly.status == MISSING).sum()) == ROWS - 2
    assert same(asked(tmp_path / "sweep"), undisturbed)


def test_changed_input_or_code_is_refused(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match=r"tolerance was .* and is") as caught:
        asked(folder, tolerance=1e-3)
    assert caught.value.code == "sweep-changed"
    thick = ft.Section(length=0.01, width=3e-3, thickness=2.1e-4)
    other = ft.FuseModel(ft.Element(ft.metal("zinc"), (thick,)))
    with pytest.raises(InputError, match="inputs: fuse"):
        ft.sweep(other, out=folder, **ASKED)
    monkeypatch.setattr("fusetherm.sweeps.plan.sources_hash", lambda: "other")
    with pytest.raises(InputError, match="code: sources was"):
        asked(folder)


def test_replace_begins_anew(folder: Path) -> None:
    found = ft.sweep(strip(), currents=20, durations=0.1, workers=0, out=folder, replace=True)
    assert found.sizes["current"] == 1
    assert len(logged(folder)) == 1
    assert len(list((folder / "shards").iterdir())) == 1


def test_bad_input_101_results_that_are_no_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = rows_module.simulate
    monkeypatch.setattr(
        rows_module, "simulate",
        lambda *a, **k: replace(plain(*a, **k), peak_temperature_c=math.nan),
    )  # fmt: skip
    together = rows_module.results_of
    monkeypatch.setattr(
        rows_module, "results_of",
        lambda *a: together(*a) | {"peak_temperature_c": np.full(1, math.nan)},
    )  # fmt: skip
    found = ft.sweep(strip(), currents=20, durations=0.1, workers=0)
    assert found.status.values.ravel().tolist() == [FAILED]
    assert found.failure_code.values.tolist() == ["row-not-finite"]


def test_a_tolerance_that_says_nothing_is_refused() -> None:
    for tolerance in (0.0, -1e-4, 0.5, math.inf, math.nan):
        with pytest.raises(InputError) as caught:
            ft.sweep(strip(), currents=20, durations=0.1, workers=0, tolerance=tolerance)
        assert caught.value.code == "tolerance-out-of-range"


def test_bad_input_102_too_many_rows_ask() -> None:
    with pytest.raises(InputError, match="2,000 simulations") as caught:
        ft.sweep(strip(), currents=20, durations=0.1, units=2000, most_rows=1000)
    assert caught.value.code == "sweep-large"


def test_bad_input_103_a_folder_with_other_things(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("keep me")
    with pytest.raises(InputError) as caught:
        asked(tmp_path)
    assert caught.value.code == "output-not-a-sweep"
    assert (tmp_path / "letter.txt").read_text() == "keep me"


def test_bad_input_104_file_for_a_folder(tmp_path: Path) -> None:
    (tmp_path / "sweep").write_text("")
    with pytest.raises(InputError) as caught:
        asked(tmp_path / "sweep")
    assert caught.value.code == "output-not-a-folder"


def test_bad_input_105_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(WriteError, match="Permission denied") as caught:
        asked(tmp_path / "sweep")
    assert caught.value.code == "folder-not-made"


@pytest.mark.skipif(os.name == "nt", reason="symbolic links need rights there")
def test_bad_input_107_symbolic_link(tmp_path: Path) -> None:
    (tmp_path / "sweep").symlink_to(tmp_path, target_is_directory=True)
    with pytest.raises(InputError) as caught:
        asked(tmp_path / "sweep")
    assert caught.value.code == "output-is-link"


@pytest.mark.parametrize("name", ["..", "CON", "com1.out", "a\nb", "a\x1b[31m"])
def test_bad_input_108_names(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        asked(tmp_path / name)
    assert caught.value.code == "output-name"


def test_bad_input_109_long_and_foreign_names(tmp_path: Path) -> None:
    out = tmp_path / ("Störung-測定-" + "x" * 150)
    found = ft.sweep({"Sicherung-保険": strip()}, currents=20, durations=0.1, workers=0, out=out)
    assert found.fuse.values.tolist() == ["Sicherung-保険"]


def test_bad_input_110_shards_hold_no_pickles(finished: Path) -> None:
    for shard in (finished / "shards").iterdir():
        assert shard.read_bytes()[:8] == b"CDF\x02\0\0\0\0"


def test_bad_input_111_external_links(folder: Path) -> None:
    import h5py

    shard = folder / "shards" / "00000000.nc"
    with h5py.File(shard, "w") as inside:
        inside["energy"] = h5py.ExternalLink("/etc/other.h5", "energy")
    log = folder / "finished.log"
    first, *rest = log.read_text().splitlines()
    entry = {**json.loads(first), "sha256": store_module._hash(shard)}
    log.write_text("\n".join([json.dumps(entry), *rest]) + "\n")
    with pytest.raises(FileError) as caught:
        ft.open_sweep(folder)
    assert caught.value.code == "netcdf-external"


def test_bad_input_115_seed_absent_is_made_and_stored() -> None:
    asked_twice = [
        ft.sweep(strip(), currents=20, durations=0.1, units=1, workers=0) for _ in range(2)
    ]
    seeds = [json.loads(found.attrs["configuration"])["seed"] for found in asked_twice]
    assert seeds[0] == seeds[1] > 0


def test_bad_input_118_two_processes_on_one_folder(tmp_path: Path) -> None:
    store = Store(tmp_path / "sweep")
    try:
        with pytest.raises(InputError, match="another process") as caught:
            asked(tmp_path / "sweep")
    finally:
        store.close()
    assert caught.value.code == "sweep-locked"


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"currents": (), "durations": ()}, "sweep-without-current"),
        ({"durations": ()}, "sweep-without-current"),
        ({"currents": [20, math.nan]}, "sweep-value"),
        ({"ambients_c": ()}, "sweep-empty"),
        ({"ambients_c": -300}, "below-absolute-zero"),
        ({"pairing": "list"}, "sweep-list-uneven"),
        ({"pairing": "tree"}, "unknown-pairing"),
        ({"draws": 3}, "draw-unknown"),
        ({"units": -2}, "sweep-member"),
        ({"seed": -1}, "sweep-seed"),
        ({"workers": -1}, "sweep-workers"),
        ({"block_rows": 0}, "sweep-block"),
    ],
)
def test_what_cannot_be_used(more: dict[str, Any], code: str) -> None:
    with pytest.raises(InputError) as caught:
        asked(**more)
    assert caught.value.code == code


def test_fingerprint_sees_every_part() -> None:
    model = strip()
    assert fingerprint(model) == fingerprint(strip())
    assert fingerprint(model) != fingerprint(replace(model, name="other"))
    assert fingerprint((1, (2,))) != fingerprint(((1, 2),))
    assert changes({"a": [1]}, {"b": 2}) == ["a is gone", "b is new"]


PLAN = """
schema_version = 1
fuses = ["FUSE"]
currents_A = [30, 1500]
durations_s = [0.1]
ambients_C = [23]
"""


def test_command(tmp_path: Path) -> None:
    from click.testing import CliRunner

    from fusetherm.cli.main import program

    plan = tmp_path / "plan.toml"
    fuse = ft.demo.definitions()["inverter_feed_40A"].as_posix()
    plan.write_text(PLAN.replace("FUSE", fuse), encoding="utf-8")
    arguments = ["sweep", str(plan), "--out", str(tmp_path / "out"), "--workers", "1", "--json"]
    done = CliRunner().invoke(program, arguments)
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    assert answer["counts"] == {"missing": 0, "held": 1, "melted": 0, "opened": 1, "failed": 0}
    assert Path(answer["file"]).is_file()
    assert "2 of 2 rows" in done.stderr
    plan.write_text(plan.read_text(encoding="utf-8") + "ambient_C = [23]\n", encoding="utf-8")
    done = CliRunner().invoke(program, arguments)
    assert done.exit_code == 3
    assert "ambients_C" in done.output  # did you mean


def test_command_interrupted_says_that_it_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from click.testing import CliRunner

    from fusetherm.cli.main import STOPPED, program

    def interrupted(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    plan = tmp_path / "plan.toml"
    fuse = ft.demo.definitions()["inverter_feed_40A"].as_posix()
    plan.write_text(PLAN.replace("FUSE", fuse), encoding="utf-8")
    monkeypatch.setattr(run_module, "sweep", interrupted)
    done = CliRunner().invoke(program, ["sweep", str(plan), "--out", str(tmp_path / "out")])
    assert done.exit_code == STOPPED
    assert "the same command goes on" in done.stderr


@pytest.fixture(scope="module")
def client() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed", reason="dask.distributed is not installed")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as found,
    ):
        yield found


def test_cluster_gives_the_same_bits(client: Any, tmp_path: Path, undisturbed: Any) -> None:
    assert same(asked(tmp_path / "sweep", client=client), undisturbed)
    address = client.scheduler_info()["address"]
    assert same(asked(client=address), undisturbed)


def test_one_core_inside_a_task_of_a_dask_worker(
    client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fusetherm import threads

    monkeypatch.setattr(threads.os, "process_cpu_count", lambda: 8, raising=False)
    monkeypatch.setattr(threads, "quota", lambda: math.inf)
    assert threads.cores() == 8  # where the client is

    def there() -> tuple[int, int]:
        import os

        from fusetherm import threads

        os.process_cpu_count = lambda: 8  # type: ignore[attr-defined,unused-ignore]
        threads.quota = lambda: 99.0  # type: ignore[assignment,unused-ignore]
        inside = threads.cores()
        threads._in_dask_task = lambda: False
        return inside, threads.cores()

    assert client.submit(there, pure=False).result() == (1, 8)


def test_a_folder_from_before_runs_could_end_at_the_onset_opens(
    finished: Path, undisturbed: Any, tmp_path: Path
) -> None:
    older = tmp_path / "older"
    shutil.copytree(finished, older)
    plan = json.loads((older / "plan.json").read_text(encoding="utf-8"))
    assert plan.pop("to") == "end"
    (older / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    assert ft.open_sweep(older).pre_arcing_time.equals(undisturbed.pre_arcing_time)


def test_shards_open_lazily(finished: Path, undisturbed: Any) -> None:
    pytest.importorskip("dask", reason="dask is not installed")
    found = ft.open_sweep(finished, lazy=True)
    assert found.pre_arcing_time.chunks
    assert same(found.compute(), undisturbed)


def test_what_ends_in_dask_is_refused_without_it_before_the_work(
    finished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fusetherm.sweeps.cluster.find_spec", lambda name: None)
    monkeypatch.setattr(run_module, "MOST_ROWS", 1)
    with pytest.raises(InputError, match="dask-missing"):
        ft.open_sweep(finished, lazy=True)
    with pytest.raises(InputError, match="dask-missing"):
        asked(tmp_path / "sweep")
    assert not (tmp_path / "sweep").exists()
    with pytest.raises(InputError, match="dask-missing"):
        asked(client="tcp://127.0.0.1:1")


@pytest.mark.parametrize("json_too", [True, False])
def test_command_ends_with_a_status_of_its_own_where_rows_failed(
    json_too: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from click.testing import CliRunner
    from xarray import Dataset

    from fusetherm.cli.main import SOLVER, program

    told = {"failed_row": [1], "failure_code": ["stalled"], "failure_text": ["at 3 s"]}
    found = Dataset({name: ("failure", values) for name, values in told.items()})
    found["status"] = ("row", [1, 4])
    monkeypatch.setattr(run_module, "sweep", lambda **_: found)
    plan = tmp_path / "plan.toml"
    fuse = ft.demo.definitions()["inverter_feed_40A"].as_posix()
    plan.write_text(PLAN.replace("FUSE", fuse), encoding="utf-8")
    asked = ["sweep", str(plan), "--out", str(tmp_path / "out"), *(["--json"] if json_too else [])]
    done = CliRunner().invoke(program, asked)
    assert done.exit_code == SOLVER, done.output
    assert "at 3 s" in done.stdout


@pytest.mark.skipif(sys.platform != "linux", reason="names a folder that none can write, as Linux")
def test_bad_input_116_workers_leave_warnings_to_the_process_that_asks() -> None:
    from fusetherm.sweeps import workers

    place = Path(ft.__file__).parents[1]
    done = subprocess.run(
        [sys.executable, "-c", workers._CODE, str(place)], input=b"", capture_output=True,
        env={**os.environ, "FUSETHERM_CACHE": "/proc/nowhere"}, check=True, timeout=100,
    )  # fmt: skip
    assert (done.stdout, done.stderr) == (b"", b"")
