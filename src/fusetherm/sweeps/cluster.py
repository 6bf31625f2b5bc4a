"""Blocks of a sweep on a cluster of dask, which is loaded only when one is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from importlib.util import find_spec
from typing import Any

import numpy as np

from ..errors import InputError
from .plan import Work
from .rows import Rows, Solved, failed, joined, solve_rows

#: Blocks in flight for each thread of the cluster.
_AHEAD = 3


def require(library: str) -> None:
    """Refuse to begin what needs dask, or dask.distributed, where it is not installed.

    Parameters
    ----------
    library : str
        "dask" or "distributed".

    Raises
    ------
    InputError
        ``dask-missing``.
    """
    if find_spec(library) is None:
        raise InputError(
            "dask-missing",
            f"{library} is not installed",
            expected="what a sweep on many machines, or larger than memory, needs",
            mend='install it: pip install "fusetherm[dask]"',
        )


def client_of(address: str) -> Any:
    """Client of the scheduler at an address.

    Raises
    ------
    InputError
        ``dask-missing``, or ``scheduler-unreachable``.
    """
    require("distributed")
    from distributed import Client

    try:
        return Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as cause:
        raise InputError(
            "scheduler-unreachable",
            f"no scheduler of dask answers at {address!r}: {cause}",
            expected="the address of a running scheduler, such as tcp://10.0.0.5:8786",
            mend="start the scheduler, or check its address",
        ) from None


class ClusterPool:
    """Blocks solved by a cluster: one thread for each, tried again when a machine is lost.

    Parameters
    ----------
    work : Work
        The sweep.
    client : distributed.Client
        Of the cluster.
    """

    def __init__(self, work: Work, client: Any) -> None:
        self._work, self._client, self._stopped = work, client, False
        self._open: dict[Any, tuple[int, Rows]] = {}

    def stop(self) -> None:
        """Begin no further block."""
        self._stopped = True

    def solved(self, blocks: Iterable[tuple[int, Rows]]) -> Iterator[tuple[int, Solved]]:
        """Number and results of each block, as they come; ends early after `stop`."""
        from distributed import as_completed

        client = self._client
        work = client.scatter(self._work, broadcast=True, hash=False)
        ahead = _AHEAD * max(1, sum(client.nthreads().values()))
        waiting = iter(blocks)
        queue = as_completed()
        parts: dict[int, list[Solved]] = {}
        open_ = self._open

        def submit(number: int, rows: Rows) -> None:
            future = client.submit(solve_rows, work, rows, pure=False, retries=1)
            open_[future] = (number, rows)
            queue.add(future)

        def refill() -> None:
            while len(open_) < ahead and not self._stopped:
                block = next(waiting, None)
                if block is None:
                    return
                submit(*block)

        refill()
        while open_:
            future = next(queue)
            number, rows = open_.pop(future)
            try:
                parts.setdefault(number, []).append(future.result())
            except Exception as fault:
                # a lost block goes on in halves, until the row that loses it stands alone
                if len(rows) > 1:
                    for half in np.array_split(rows, 2):
                        submit(number, half)
                    continue
                text = f"{type(fault).__name__}: {fault}".splitlines()[0]
                parts.setdefault(number, []).append(failed(rows, "worker-died", text))
            if all(other != number for other, _ in open_.values()):
                found = sorted(parts.pop(number), key=lambda part: int(part.rows[0]))
                yield number, joined(found)
            refill()

    def end(self) -> None:
        """Take back what the cluster has not begun."""
        self.stop()
        if self._open:
            self._client.cancel(list(self._open))
