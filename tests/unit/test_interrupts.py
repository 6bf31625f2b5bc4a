"""Ctrl-C ends every command tidily, and at once when it is pressed again."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import pytest

import fusetherm as ft
from fusetherm import threads
from fusetherm.cli.main import STOPPED
from fusetherm.sweeps.store import shards_of

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals are POSIX")

MAIN = "import sys; from fusetherm.cli.main import main; print('ready', flush=True); main()"
FUSE = ft.demo.definitions()["inverter_feed_40A"]


class Command:
    """A command in a session of its own, whose offspring can be told."""

    def __init__(self, code: str, *arguments: object) -> None:
        self.mark = uuid.uuid4().hex
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, *map(str, arguments)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
            env={**os.environ, "FUSETHERM_TEST_MARK": self.mark},
        )  # fmt: skip
        self.said = ""

    def wait_for(self, word: str, stream: IO[str] | None) -> None:
        assert stream is not None
        for line in stream:
            self.said += line
            if word in line:
                return
        raise AssertionError(f"{word!r} was never said: {self.said}")

    def press(self) -> float:
        """Interrupt it and what shares its terminal, as Ctrl-C does."""
        os.killpg(self.process.pid, signal.SIGINT)
        return time.monotonic()

    def ended(self) -> tuple[int, str]:
        """Its status and all it said."""
        out, errors = self.process.communicate(timeout=100)
        return self.process.returncode, self.said + out + errors

    def left(self) -> list[int]:
        """Processes it left behind."""
        found = []
        for folder in Path("/proc").glob("[0-9]*"):
            try:
                if self.mark.encode() in (folder / "environ").read_bytes():
                    found.append(int(folder.name))
            except OSError:
                continue
        return found


@contextmanager
def begun(code: str, *arguments: object) -> Iterator[Command]:
    command = Command(code, *arguments)
    try:
        command.wait_for("ready", command.process.stdout)
        yield command
    finally:
        for pid in {command.process.pid, *command.left()}:
            try:
                os.kill(pid, signal.SIGKILL)
            except OSError:
                continue
        command.process.communicate()


@pytest.mark.parametrize("name", ["fit", "endure"])
def test_a_command_stopped_in_its_work(name: str, tmp_path: Path) -> None:
    target = tmp_path / "made"
    asked: list[object] = ["fit", FUSE, "-o", target]
    if name == "endure":
        capture = ft.demo.captures()["inverter_switch_on"]
        asked = ["endure", capture, "--fuse", FUSE, "--clamp", "10 mV/A", "--zero", "0 s : 0.9 s",
                 "--find", "current", "--cycles", "1e6"]  # fmt: skip
    with begun(MAIN, *asked) as command:
        time.sleep(1.0)
        command.press()
        status, said = command.ended()
        assert status == STOPPED, said
        assert "stopped; files are written whole or not at all" in said
        assert "Traceback" not in said
        assert "Exception" not in said
        assert command.left() == []
    assert list(tmp_path.iterdir()) == []


SLOW = """
import sys, time
import fusetherm.cli.main as program

def invoke(self, context):
    try:
        print("ready", flush=True)
        time.sleep(90)
    finally:
        print("closing", flush=True)
        time.sleep(90)

program.Program.invoke = invoke
program.main()
"""


def test_a_second_interrupt_ends_a_command_at_once() -> None:
    with begun(SLOW, "warm") as command:
        command.press()
        command.wait_for("closing", command.process.stdout)
        pressed = command.press()
        status, said = command.ended()
        assert time.monotonic() - pressed < 30.0
        assert status == STOPPED
        assert "Traceback" not in said


def test_interrupts_that_were_passed_over_stay_so() -> None:
    """As after `nohup` and in the background of a shell script."""
    quiet = f"import signal; signal.signal(signal.SIGINT, signal.SIG_IGN)\n{MAIN}"
    with begun(quiet, "--help") as command:
        command.press()
        assert command.ended()[0] == 0


def test_an_interrupt_does_not_wait_for_the_tasks_begun() -> None:
    release, main = threading.Event(), threading.get_ident()
    timer = threading.Timer(0.2, signal.pthread_kill, (main, signal.SIGINT))
    timer.start()
    began = time.monotonic()
    try:
        with pytest.raises(KeyboardInterrupt):
            threads.each(lambda _: release.wait(60.0), 4, 2)
        assert time.monotonic() - began < 40.0
    finally:
        release.set()
        timer.join()


# sweeps -----------------------------------------------------------------------------------------

ROWS = 8
PLANNED = f"""
import numpy as np, fusetherm as ft

def plan(path):
    strip = ft.Element(ft.metal("zinc"), (ft.Section(length=0.01, width=3e-3, thickness=2e-4),))
    current = np.random.default_rng(1).uniform(0.0, 60.0, 10_000)
    wave = ft.Waveform(time=np.linspace(0.0, 200.0, 10_000), current=current)
    return {{"fuses": ft.FuseModel(strip), "waveforms": wave,
            "factors": np.linspace(0.5, 1.0, {ROWS}), "seed": 7}}
"""
SWEEP = f"""
{PLANNED}
from fusetherm.sweeps import plan_file
plan_file.load_plan = plan
{MAIN}
"""


def planned() -> dict[str, Any]:
    made: dict[str, Any] = {}
    exec(PLANNED, made)
    return dict(made["plan"](""))


@pytest.fixture(scope="module")
def undisturbed() -> Any:
    return ft.sweep(**planned(), workers=0)


@pytest.mark.parametrize(("block", "twice"), [(1, False), (4, True)])
def test_a_sweep_stopped_goes_on(block: int, twice: bool, tmp_path: Path, undisturbed: Any) -> None:
    out = tmp_path / "sweep"
    asked = ["sweep", "plan.toml", "--out", out, "--workers", 2, "--block-rows", block]
    with begun(SWEEP, *asked) as command:
        command.wait_for(f"0 of {ROWS} rows", command.process.stderr)
        while not twice and not shards_of(out)[0]:
            time.sleep(0.002)
        command.press()
        command.wait_for("Ctrl-C again stops at once", command.process.stderr)
        if twice:
            command.press()
        status, said = command.ended()
        done, every = shards_of(out)
        assert status == STOPPED, said
        assert f"{done} of {every} shards are finished and kept in {out}; the same command" in said
        assert "stopped; files" in said
        assert "Traceback" not in said
        assert command.left() == []
    assert every == ROWS // block
    assert done == 0 if twice else 0 < done < every
    found = ft.sweep(**planned(), workers=0, block_rows=block, out=out)
    assert found.drop_attrs().identical(undisturbed.drop_attrs())
    assert shards_of(out) == (every, every)


def test_a_second_interrupt_of_a_sweep_is_heard_in_the_middle_of_a_shard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fusetherm.sweeps import workers

    told: list[str] = []

    def solve(*_: object) -> None:
        signal.raise_signal(signal.SIGINT)
        assert told == ["stopping"]
        signal.raise_signal(signal.SIGINT)
        told.append("not reached")

    monkeypatch.setattr(workers, "solve_rows", solve)
    with pytest.raises(KeyboardInterrupt):
        ft.sweep(**planned(), workers=0, block_rows=2, out=tmp_path / "sweep",
                 interrupted=lambda: told.append("stopping"))  # fmt: skip
    assert told == ["stopping"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    assert shards_of(tmp_path / "sweep") == (0, 4)
