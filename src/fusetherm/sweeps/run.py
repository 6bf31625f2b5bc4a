"""`sweep`: many simulations, labelled, in a folder that survives whatever ends the run."""

from __future__ import annotations

import contextlib
import json
import math
import signal
import threading
import time
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol

import numpy as np

from ..answers.subject import ConnectionName, Subject
from ..current.waveform import Waveform
from ..errors import Argument, FileError, InputError, WriteError
from ..labelled import concatenated, write_netcdf
from ..solver.run import TOLERANCE
from ..threads import cores
from ..units import REFERENCE_AMBIENT_C
from ..written import number
from .axes import NO_WAVEFORM, work_of
from .cluster import ClusterPool, client_of, require
from .plan import Work, block_rows_of, changes
from .rows import Rows, Solved
from .store import (
    Store,
    missing_rows,
    read_plan,
    shard_of,
    verified_shards,
)
from .workers import Pool

if TYPE_CHECKING:
    from ..labelled import Dataset

#: Rows above which a sweep asks first, and up to which one file is made of all shards.
MOST_ROWS = 1_000_000
#: Bytes of a row in a shard: its results, and its values on the axes.
ROW_BYTES = 170
MERGED = "sweep.nc"

#: Told of rows done, of all rows, and of the seconds left (None as long as nobody can say).
Progress = Callable[[int, int, float | None], None]


class _Solver(Protocol):
    def stop(self) -> None: ...
    def solved(self, blocks: Iterator[tuple[int, Rows]]) -> Iterator[tuple[int, Solved]]: ...
    def end(self) -> None: ...


def sweep(
    fuses: Subject | Mapping[str, Subject],
    waveforms: Waveform | Mapping[str, Waveform] = NO_WAVEFORM,
    *,
    factors: Sequence[float] | float = 1.0,
    currents: Sequence[float] | float = (),
    durations: Sequence[float] | float = (),
    ambients_c: Sequence[float] | float = REFERENCE_AMBIENT_C,
    preloads: Sequence[float] | float = 0.0,
    draws: Sequence[int] | int = 0,
    units: Sequence[int] | int = 0,
    pairing: Literal["grid", "list"] = "grid",
    after: Literal["zero", "hold"] = "zero",
    to: Literal["end", "onset"] = "end",
    connection: ConnectionName = "installed",
    tolerance: float = TOLERANCE,
    seed: int | None = None,
    out: str | Path | None = None,
    replace: bool = False,
    workers: int | None = None,
    client: Any = None,
    block_rows: int | None = None,
    most_rows: int = MOST_ROWS,
    time_limit: float | None = None,
    progress: Progress | None = None,
    interrupted: Callable[[], None] | None = None,
) -> Dataset:
    """Simulate every combination, or a list, of fuses, units, currents and ambients.

    Parameters
    ----------
    fuses : FuseModel, Calibration or dict
        One fuse, or several by name.
    waveforms : Waveform or dict
        One current, or several by name, each taken times every one of the `factors`; or else
    currents, durations : float or sequence
        constant currents [A] and how long they flow [s].
    ambients_c : float or sequence
        Ambients [degC].
    preloads : float or sequence
        Steady currents before [A]; 0 starts at ambient.
    draws : int or sequence
        How many draws of the calibration, or which; 0 or -1 for the fitted model.
    units : int or sequence
        How many units of the kind, or which; 0 or -1 for the middle one. Unit k is the same in
        every row that names it: its seed is the sweep's and its number.
    pairing : {"grid", "list"}
        Every combination; or the k-th values of all axes together, axes of one value for all.
    after, to, tolerance
        As for `simulate`.
    connection : {"installed", "test"}
        Connection of calibrations.
    seed : int, optional
        Of the units; by default made from the inputs. It is kept in the result.
    out : path, optional
        Folder for shards, log and plan; the same call goes on where it was cut off. Without it
        all stays in memory.
    replace : bool
        Whether another sweep in that folder may be replaced.
    workers : int, optional
        Processes; by default one for each core we may use. 0 works in this process, where a
        crash of a row ends everything.
    client : distributed.Client or str, optional
        Cluster of dask, or the address of its scheduler, instead of processes here.
    block_rows : int, optional
        Rows of a shard.
    most_rows : int
        Rows above which the sweep is refused.
    time_limit : float, optional
        Time after which no further block is begun [s]; the same call goes on.
    progress : callable, optional
        Told of rows done, of all rows and of the seconds left (None before any is done).
    interrupted : callable, optional
        Called at the first interrupt (Ctrl-C), when the shards begun are still to be finished.

    Returns
    -------
    xarray.Dataset
        Dimensions are the axes, or ``row`` for a list. ``status`` says for every row whether it
        held, melted, opened, failed or is missing, and the coordinate ``row`` its number. Along
        the dimension ``failure`` stand ``failed_row``, ``failure_code`` and ``failure_text`` of
        each row that failed.

    Raises
    ------
    InputError
        ``sweep-large``, ``sweep-changed``, ``sweep-locked`` and others for what cannot be used.
    WriteError
        ``sweep-not-written`` when the disk is full: finished shards are kept.
    KeyboardInterrupt
        After an interrupt, once the shards begun are finished; a second one stops at once. Shards
        that are finished are kept in either case, and the same call goes on from them.

    Examples
    --------
    >>> import fusetherm as ft
    >>> strip = ft.Element(ft.metal("zinc"), (ft.Section(length=0.01, width=3e-3, thickness=2e-4),))
    >>> found = ft.sweep(
    ...     ft.FuseModel(strip), currents=[20.0, 300.0], durations=0.1, workers=0
    ... )
    >>> found.status.values.ravel().tolist(), found.sizes["current"]
    ([1, 3], 2)
    """
    work = work_of(
        fuses, waveforms, factors=factors, currents=currents, durations=durations,
        ambients_c=ambients_c, preloads=preloads, draws=draws, units=units, pairing=pairing,
        after=after, to=to, connection=connection, tolerance=tolerance, seed=seed,
    )  # fmt: skip
    if work.rows > most_rows:
        size = work.rows * ROW_BYTES / 1e9
        raise InputError(
            "sweep-large",
            f"these are {work.rows:,} simulations and about {number(size)} GB of results",
            expected=f"no more than {most_rows:,} rows unless more are asked for",
            mend="take fewer values, or raise the limit",
            arguments=(Argument("most_rows", work.rows),),
        )
    if workers is not None and workers < 0:
        raise InputError("sweep-workers", f"workers is {workers}", expected="0 or more")
    if block_rows is not None and block_rows < 1:
        raise InputError("sweep-block", f"block_rows is {block_rows}", expected="1 or more")
    size = block_rows or block_rows_of(work.rows)
    if out is None:
        parts = dict(_solved(work, _blocks(work, size), workers, client, time_limit, progress,
                             interrupted))  # fmt: skip
        plan = work.plan(size)
        found = [shard_of(work, parts[k], json.dumps(plan)) for k in sorted(parts)]
        return _labelled(_filled(work, found, plan), work.axes, work.pairing)
    if work.rows > MOST_ROWS:
        require("dask")  # before the work, since the result is opened with it
    store = Store(out)
    try:
        _into(store, work, size if block_rows else None, replace, workers, client, time_limit,
              progress, interrupted)  # fmt: skip
    finally:
        store.close()
    return open_sweep(out, lazy=work.rows > MOST_ROWS)


def _into(
    store: Store,
    work: Work,
    block_rows: int | None,
    replace: bool,
    workers: int | None,
    client: Any,
    time_limit: float | None,
    progress: Progress | None,
    interrupted: Callable[[], None] | None,
) -> None:
    """Compute what the folder lacks, and make one file of it all."""
    before = store.plan
    size = block_rows or block_rows_of(work.rows)
    if (
        before is not None
        and block_rows is None
        and not changes(before, work.plan(before.get("block_rows", size)))
    ):
        size = before["block_rows"]  # as the folder was begun
    plan = work.plan(size)
    store.begin(plan, replace=replace)
    configuration = json.dumps(plan, ensure_ascii=False)
    good = store.verified()
    every = math.ceil(work.rows / size)
    if len(good) == every and (store.folder / MERGED).is_file():
        return
    wanted = (block for block in _blocks(work, size) if block[0] not in good)
    done = sum(entry.rows for entry in good.values())
    try:
        (store.folder / MERGED).unlink(missing_ok=True)
        # closed here whatever happens: left to the collector, workers and the handler of
        # interrupts would outlive a disk that is full
        with contextlib.closing(
            _solved(work, wanted, workers, client, time_limit, progress, interrupted, done)
        ) as solved:
            for block, part in solved:
                good[block] = store.keep(block, shard_of(work, part, configuration))
        if len(good) == every and work.rows <= MOST_ROWS:
            found = open_sweep(store.folder)
            found.attrs["notes"] = "\n".join(f"{n.code}: {n.text}" for n in store.notes)
            write_netcdf(found, store.folder / MERGED, replace=True)
    except WriteError as cause:
        raise WriteError(
            "sweep-not-written",
            f"the sweep stopped, {len(good)} of {every} shards in "
            f"{store.folder} are finished and kept: {cause.found}",
            mend="make room on the disk and give the same command again: it goes on from there",
        ) from cause


def _blocks(work: Work, size: int) -> Iterator[tuple[int, Rows]]:
    for number_, begin in enumerate(range(0, work.rows, size)):
        yield number_, np.arange(begin, min(begin + size, work.rows), dtype=np.int64)


def _solved(
    work: Work,
    blocks: Iterator[tuple[int, Rows]],
    workers: int | None,
    client: Any,
    time_limit: float | None,
    progress: Progress | None,
    interrupted: Callable[[], None] | None,
    before: int = 0,
) -> Generator[tuple[int, Solved], None, None]:
    """Blocks as they are solved, with progress, interrupts and the time limit."""
    total, rows = work.rows, work.rows - before
    owned = None
    if client is None:
        count = cores() if workers is None else workers
        pool: _Solver = Pool(work, min(count, rows))
    else:
        if isinstance(client, str):
            client = owned = client_of(client)
        pool = ClusterPool(work, client)
    begun, done = time.monotonic(), 0
    with contextlib.ExitStack() as stack:
        if owned is not None:
            stack.callback(owned.close)
        # entered first and left last: workers are ended before a third interrupt is heard
        heard = stack.enter_context(_interrupts(pool.stop, interrupted))
        stack.callback(pool.end)
        if progress is not None:
            progress(before, total, None)
        for block, solved in pool.solved(blocks):
            yield block, solved
            done += len(solved.rows)
            spent = time.monotonic() - begun
            if progress is not None:
                progress(before + done, total, spent * (rows - done) / done)
            if time_limit is not None and spent > time_limit:
                pool.stop()
        if heard.is_set():
            raise KeyboardInterrupt


@contextlib.contextmanager
def _interrupts(
    stop: Callable[[], None], tell: Callable[[], None] | None
) -> Iterator[threading.Event]:
    """Within, the first interrupt lets what is begun finish; the second is raised, no other."""
    heard, raised = threading.Event(), threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield heard
        return

    def hear(*_: object) -> None:
        if raised.is_set():
            return
        if heard.is_set():
            raised.set()
            raise KeyboardInterrupt
        heard.set()
        stop()
        if tell is not None:
            tell()

    former = signal.signal(signal.SIGINT, hear)
    try:
        yield heard
    finally:
        signal.signal(signal.SIGINT, former)


def open_sweep(folder: str | Path, *, lazy: bool = False) -> Dataset:
    """Dataset of the shards in a folder that verify; rows of the others have status missing.

    Parameters
    ----------
    folder : str or Path
        Folder of a sweep, finished or not.
    lazy : bool
        Leave the data in the shards, in chunks of dask, which has to be installed: for sweeps
        larger than memory.

    Returns
    -------
    xarray.Dataset

    Raises
    ------
    FileError
        ``not-a-sweep`` for a folder without a plan.
    InputError
        ``dask-missing``.
    """
    if lazy:
        require("dask")
    place = Path(folder)
    plan = read_plan(place)
    if plan is None:
        raise FileError("not-a-sweep", "there is no sweep in this folder", path=place,
                        expected="the folder a sweep was written to")  # fmt: skip
    axes = {name: tuple(values) for name, values in plan["axes"].items()}
    shards = list(verified_shards(place, lazy=lazy))
    frame = Work(
        fuses={}, waveforms={}, axes=axes, pairing=plan["pairing"], after=plan["after"],
        to=plan.get("to", "end"), tolerance=plan["tolerance"], seed=plan["seed"],
    )  # fmt: skip
    return _labelled(_filled(frame, shards, plan), axes, plan["pairing"])


def _filled(work: Work, shards: list[Dataset], plan: dict[str, Any]) -> Dataset:
    """Shards one after another, rows that none holds filled with the status that says so."""
    there = {int(shard.row[0]) for shard in shards}
    configuration = json.dumps(plan, ensure_ascii=False)
    shards = shards + [
        shard_of(work, missing_rows(rows), configuration)
        for _, rows in _blocks(work, int(plan["block_rows"]))
        if int(rows[0]) not in there
    ]
    shards.sort(key=lambda shard: int(shard.row[0]))
    failures: dict[str, Any] = {}
    for shard in shards:
        failures |= json.loads(shard.attrs["failures"])
    whole = concatenated(shards, "row")
    # shards keep whole numbers in 32 bits
    wide = {name: whole[name].astype(np.int64) for name in ("row", "draw", "unit")}
    whole = whole.assign_coords(wide)
    whole.attrs = {
        "Conventions": "CF-1.11",
        "kind": "Sweep",
        "configuration": configuration,
        "failures": json.dumps(failures, ensure_ascii=False),
    }
    return whole


def _labelled(rows: Dataset, axes: Mapping[str, tuple[Any, ...]], pairing: str) -> Dataset:
    """Rows of a grid along its axes, of a list as they are, and why some failed."""
    from ..labelled import dataset_of

    failures = json.loads(rows.attrs.pop("failures"))
    found = rows if pairing == "list" else _gridded(rows, axes)
    columns = {
        "failure_code": ("code of the reason, as of the errors of simulate", 0),
        "failure_text": ("why the row failed", 1),
    }
    told = {
        # without a failure the kind of text has to be said: xarray would take it for numbers
        name: (("failure",), np.array([why[k] for why in failures.values()],
                                      dtype=object if failures else "U1"), {"long_name": about})
        for name, (about, k) in columns.items()
    }  # fmt: skip
    numbers = np.array([int(row) for row in failures], dtype=np.int64)
    which = {"failed_row": (("failure",), numbers, {"long_name": "number of the row that failed"})}
    return found.merge(dataset_of(told, which, {}), combine_attrs="override")


def _gridded(rows: Dataset, axes: Mapping[str, tuple[Any, ...]]) -> Dataset:
    """Rows of a grid along its axes."""
    from ..labelled import dataset_of

    shape = tuple(len(values) for values in axes.values())
    coordinates: dict[str, Any] = {
        name: ((name,), np.asarray(values, dtype=object if isinstance(values[0], str) else None),
               rows[name].attrs)
        for name, values in axes.items()
    }  # fmt: skip
    coordinates["row"] = (tuple(axes), rows["row"].data.reshape(shape), rows["row"].attrs)
    variables = {
        str(name): (tuple(axes), variable.data.reshape(shape), variable.attrs)
        for name, variable in rows.data_vars.items()
    }
    return dataset_of(variables, coordinates, rows.attrs)
