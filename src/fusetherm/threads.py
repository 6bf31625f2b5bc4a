"""Tasks run side by side on every core: kernels run without the interpreter's lock."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")


def cores() -> int:
    """Number of cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


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
    with ThreadPoolExecutor(max_workers=workers) as pool:
        return list(pool.map(task, range(count)))
