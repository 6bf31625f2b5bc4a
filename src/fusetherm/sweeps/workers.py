"""Processes that solve blocks; the death of one costs its block a new try, no other a thing.

Each worker is a program of its own that reads tasks from its input and answers on its output.
So the script that started the sweep is not imported again, a dead worker is known with its
rows, and workers end by themselves when the process that started them is gone.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import signal
import struct
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO

import numpy as np

from .plan import Work
from .rows import Rows, Solved, failed, joined, solve_rows

_HEAD = struct.Struct("<Q")
#: The process that asks has warned already, of a cache that cannot be written for example.
_CODE = (
    "import sys, warnings; sys.path.insert(0, sys.argv[1]); "
    "from fusetherm.errors import FusethermWarning; "
    "warnings.simplefilter('ignore', FusethermWarning); "
    "from fusetherm.sweeps.workers import serve; serve()"
)


class WorkerDied(Exception):
    """A worker ended without an answer."""


class WorkerClosed(Exception):
    """A worker was ended on purpose, and is not to be started again."""


def serve() -> None:
    """Answer tasks until the input ends: the work first, then blocks of row numbers."""
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that asks decides
    source, sink = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # nothing that is printed may come between the answers
    with contextlib.suppress(EOFError, BrokenPipeError):
        work = pickle.loads(_received(source))
        while True:
            _send(sink, pickle.dumps(solve_rows(work, pickle.loads(_received(source)))))


class Worker:
    """One process, started when it is first asked.

    Parameters
    ----------
    work : bytes
        The pickled work of the sweep.
    """

    def __init__(self, work: bytes) -> None:
        self._work = work
        self._process: subprocess.Popen[bytes] | None = None
        self._closed, self._starting = False, threading.Lock()

    @property
    def pid(self) -> int | None:
        """Number of the process, None when there is none."""
        return None if self._process is None else self._process.pid

    def ask(self, rows: Rows) -> Solved:
        """Results of rows.

        Raises
        ------
        WorkerDied
            When the process ends before it answers; the next question starts another.
        """
        try:
            process = self._process or self._begun()
            assert process.stdin is not None
            assert process.stdout is not None
            _send(process.stdin, pickle.dumps(rows))
            answer = pickle.loads(_received(process.stdout))
        except (EOFError, OSError, ValueError) as cause:
            if self._closed:
                raise WorkerClosed from None
            raise WorkerDied(self._ended()) from cause
        assert isinstance(answer, Solved)
        return answer

    def close(self) -> None:
        """End the process for good, whatever it is doing."""
        with self._starting:
            self._closed = True
        self._end()

    def _begun(self) -> subprocess.Popen[bytes]:
        with self._starting:
            if self._closed:
                raise WorkerClosed
            process = subprocess.Popen(
                [sys.executable, "-c", _CODE, str(Path(__file__).parents[2])],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                start_new_session=os.name != "nt",
            )
            self._process = process
        assert process.stdin is not None
        _send(process.stdin, self._work)
        return process

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            for stream in (process.stdin, process.stdout):
                if stream is not None:
                    with contextlib.suppress(OSError):
                        stream.close()

    def _ended(self) -> str:
        """How the process ended, in words."""
        process = self._process
        if process is None:
            return "it could not be started"
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(5.0)
        status = process.returncode
        self._end()
        if status is None:
            return "it stopped answering"
        if status < 0:
            with contextlib.suppress(ValueError):
                return f"ended by {signal.Signals(-status).name}"
        return f"ended with status {status}"


def solve_surely(worker: Worker, rows: Rows, tries: int = 2) -> Solved:
    """Results of rows whatever happens to the worker: again, then in halves, down to the row."""
    death = ""
    for _ in range(tries):
        try:
            return worker.ask(rows)
        except WorkerDied as cause:
            death = str(cause)
    if len(rows) == 1:
        return failed(rows, "worker-died", f"its worker died {tries} times: {death}")
    return joined([solve_surely(worker, half, tries) for half in np.array_split(rows, 2)])


class Pool:
    """Workers side by side, each fed by a thread.

    Parameters
    ----------
    work : Work
        The sweep.
    workers : int
        How many processes; 0 solves in this one.
    """

    def __init__(self, work: Work, workers: int) -> None:
        self._work, self._stopped = work, threading.Event()
        content = pickle.dumps(work) if workers else b""
        self.workers = tuple(Worker(content) for _ in range(workers))

    def stop(self) -> None:
        """Begin no further block."""
        self._stopped.set()

    def solved(self, blocks: Iterable[tuple[int, Rows]]) -> Iterator[tuple[int, Solved]]:
        """Number and results of each block, as they come; ends early after `stop`."""
        if not self.workers:
            for number, rows in blocks:
                if self._stopped.is_set():
                    return
                yield number, solve_rows(self._work, rows)
            return
        open_ = iter(blocks)
        lock = threading.Lock()
        # bounded, so that results wait for the disk and not in memory
        done: queue.Queue[tuple[int, Solved] | BaseException | None] = queue.Queue(
            len(self.workers)
        )

        def feed(worker: Worker) -> None:
            try:
                while not self._stopped.is_set():
                    with lock:
                        block = next(open_, None)
                    if block is None:
                        break
                    done.put((block[0], solve_surely(worker, block[1])))
                done.put(None)
            except BaseException as fault:
                done.put(fault)

        for worker in self.workers:
            threading.Thread(target=feed, args=(worker,), daemon=True).start()
        ended = 0
        while ended < len(self.workers):
            try:
                # short, so that an interrupt is heard on every platform
                answer = done.get(timeout=0.2)
            except queue.Empty:
                continue
            if answer is None:
                ended += 1
            elif isinstance(answer, BaseException):
                raise answer
            else:
                yield answer

    def end(self) -> None:
        """End every process."""
        self.stop()
        for worker in self.workers:
            worker.close()


def _send(sink: IO[bytes], content: bytes) -> None:
    sink.write(_HEAD.pack(len(content)) + content)
    sink.flush()


def _received(source: IO[bytes]) -> bytes:
    (length,) = _HEAD.unpack(_exactly(source, _HEAD.size))
    return _exactly(source, length)


def _exactly(source: IO[bytes], length: int) -> bytes:
    content: bytes = source.read(length)
    if len(content) < length:
        raise EOFError
    return content
