"""Tasks run side by side on every core: kernels run without the interpreter's lock."""

from __future__ import annotations

import contextlib
import math
import os
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")


def cores() -> int:
    """Number of cores this process may use: as many as it is bound to, or has a quota for.

    One inside a task of a dask worker, whose scheduler keeps the other cores busy.
    """
    if _in_dask_task():
        return 1
    count = os.cpu_count() or 1
    for name in ("process_cpu_count", "sched_getaffinity"):
        ask = getattr(os, name, None)
        if ask is not None:
            found = ask() if name == "process_cpu_count" else len(ask(0))
            count = found or count
            break
    return max(1, math.ceil(min(count, quota())))


def _in_dask_task() -> bool:
    distributed = sys.modules.get("distributed")
    if distributed is None:
        return False
    try:
        distributed.get_worker()
    except (AttributeError, ValueError):
        return False
    return True


@lru_cache(maxsize=1)
def quota(root: Path = Path("/")) -> float:
    """Cores' worth of time that the groups of this process get, infinite without a limit [-].

    Containers and batch systems limit a process so and leave every core in sight. Both versions
    of Linux's control groups are read: ``cpu.max``, and ``cpu.cfs_quota_us`` over its period.

    Parameters
    ----------
    root : Path
        Where ``proc`` and ``sys`` lie.
    """
    try:
        lines = (root / "proc/self/cgroup").read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError):
        return math.inf
    least = math.inf
    for line in lines:
        _, kinds, group = [*line.split(":", 2), "", ""][:3]
        place = "sys/fs/cgroup"
        if not kinds:
            names = ["cpu.max"]
        elif "cpu" in kinds.split(","):
            place, names = f"{place}/{kinds}", ["cpu.cfs_quota_us", "cpu.cfs_period_us"]
        else:
            continue
        for folder in _upwards(root / place, group):
            with contextlib.suppress(OSError, ValueError, ZeroDivisionError):
                words = " ".join((folder / name).read_text() for name in names).split()
                share = float(words[0]) / float(words[1])  # "max" is no number: no limit
                least = min(least, share if share > 0.0 else math.inf)  # -1: none either
    return least


def _upwards(top: Path, group: str) -> Iterator[Path]:
    """Folder of a group and those above it; inside a container the top alone may be there."""
    inner = top / group.strip("/")
    yield inner
    for folder in inner.parents:
        if not folder.is_relative_to(top):
            return
        yield folder


def each(task: Callable[[int], T], count: int, threads: int | None = None) -> list[T]:
    """Results of a task for 0..count-1, in that order.

    Parameters
    ----------
    task : callable
        Takes the number.
    count : int
        How many.
    threads : int, optional
        Threads at most; by default one a core.
    """
    workers = min(cores() if threads is None else threads, count)
    if workers < 2:
        return [task(i) for i in range(count)]
    pool = ThreadPoolExecutor(max_workers=workers)
    try:
        found = list(pool.map(task, range(count)))
    except BaseException as cause:
        # an interrupt is heard now, and not once the tasks begun are done
        pool.shutdown(wait=isinstance(cause, Exception), cancel_futures=True)
        raise
    pool.shutdown()
    return found
