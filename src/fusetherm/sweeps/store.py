"""The folder of a sweep: plan, shards, a log of finished shards, and a lock.

A shard counts once the log names it with the hash of its file. Whatever else lies in the
folder is a leftover of a run that was cut off, and is written again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import Argument, FileError, InputError, Note, WriteError
from ..files import fault_of_name, write_atomic
from ..labelled import dataset_of, read_netcdf, write_netcdf
from .plan import AXES, Work, changes
from .rows import NAMES, RESULTS, STATUSES, Solved

if TYPE_CHECKING:
    from ..labelled import Dataset

_PLAN, _LOG, _LOCK, _SHARDS, _ASIDE = "plan.json", "finished.log", "lock", "shards", "set_aside"


def shard_of(work: Work, solved: Solved, configuration: str) -> Dataset:
    """Dataset of some rows, which stands on its own."""
    values = {
        NAMES.get(name, name): (("row",), column, {"long_name": RESULTS[name][0],
                                                   "units": RESULTS[name][1]})
        for name, column in solved.values.items()
    }  # fmt: skip
    flags = {
        "long_name": "what became of the row",
        "flag_values": ",".join(map(str, range(len(STATUSES)))),
        "flag_meanings": " ".join(STATUSES),
    }
    axes = {}
    for name, column in work.values(solved.rows).items():
        about = {"long_name": AXES[name][0], **({"units": AXES[name][1]} if AXES[name][1] else {})}
        axes[name] = (
            ("row",),
            column.astype(object) if column.dtype.kind == "U" else column,
            about,
        )
    reasons = {str(row): list(why) for row, why in solved.reasons.items()}
    return dataset_of(
        {"status": (("row",), solved.status, flags), **values},
        {"row": (("row",), solved.rows, {"long_name": "number of the row"}), **axes},
        {
            "Conventions": "CF-1.11",
            "kind": "Sweep",
            "configuration": configuration,
            "failures": json.dumps(reasons, ensure_ascii=False),
        },
    )


@dataclass(frozen=True, slots=True)
class Finished:
    """A line of the log: a block, and the hash of the shard that holds it."""

    block: int
    rows: int
    sha256: str


class Store:
    """Folder of one sweep, locked while it is open.

    Parameters
    ----------
    folder : str or Path
        The folder; made when it is missing.

    Raises
    ------
    InputError, WriteError
        ``output-not-a-folder``, ``output-is-link``, ``output-name``, ``output-folder-missing``,
        ``folder-not-made`` or ``sweep-locked``.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)
        _refuse_name(self.folder)
        try:
            self.folder.mkdir(exist_ok=True)
            self._lock = _locked(self.folder / _LOCK)
        except OSError as cause:
            if isinstance(cause, WriteError):
                raise
            raise WriteError(
                "folder-not-made",
                f"{self.folder} cannot be written: {cause.strerror or cause}",
                mend="check the rights on the folder, or choose another",
            ) from cause
        self.notes: list[Note] = []

    def close(self) -> None:
        """Give the lock back."""
        os.close(self._lock)

    @property
    def plan(self) -> dict[str, Any] | None:
        """The plan of the folder, None when it has none."""
        return read_plan(self.folder)

    def begin(self, plan: dict[str, Any], *, replace: bool = False) -> None:
        """Start a sweep here, or go on with the one that is here when it is the same.

        Raises
        ------
        InputError
            ``output-not-a-sweep`` for a folder with other things in it, ``sweep-changed`` when
            its plan is not this one.
        """
        found = self.plan
        if found is None:
            known = {_LOCK, _LOG, _SHARDS, _ASIDE}
            others = sorted(
                path.name for path in self.folder.iterdir()
                if path.name not in known and not path.name.startswith(".fusetherm-")
            )  # fmt: skip
            if others:
                raise InputError(
                    "output-not-a-sweep",
                    f"{self.folder} holds other things, such as {others[0]!r}, and no sweep",
                    expected="a new or empty folder, or the folder of this sweep",
                    mend="choose another folder",
                )
        else:
            different = changes(found, plan)
            if different and not replace:
                raise InputError(
                    "sweep-changed",
                    f"{self.folder} holds another sweep: {'; '.join(different[:6])}",
                    expected="the inputs and the code that the folder was begun with",
                    mend="choose another folder, or ask for what is there to be replaced",
                    arguments=(Argument("replace", True),),
                )
            if not different:
                _cleared(self.folder)
                return
            (self.folder / _LOG).unlink(missing_ok=True)
        (self.folder / _SHARDS).mkdir(exist_ok=True)
        _cleared(self.folder)
        write_atomic(
            self.folder / _PLAN, json.dumps(plan, indent=1, ensure_ascii=False) + "\n", replace=True
        )

    def shard(self, block: int) -> Path:
        """File of a block."""
        return self.folder / _SHARDS / f"{block:08d}.nc"

    def verified(self) -> dict[int, Finished]:
        """Blocks whose shards are as the log says; others are set aside and named in the notes."""
        good: dict[int, Finished] = {}
        for entry in logged(self.folder):
            if _hash(self.shard(entry.block)) == entry.sha256:
                good[entry.block] = entry
            else:
                good.pop(entry.block, None)
        entries = {entry.block for entry in logged(self.folder)}
        for block in sorted(entries - set(good)):
            self._set_aside(block)
        shards = self.folder / _SHARDS
        shards.mkdir(exist_ok=True)
        _cleared(shards, {self.shard(block).name for block in good})
        return good

    def keep(self, block: int, shard: Dataset) -> Finished:
        """Write a shard and then the line of the log that makes it count."""
        path = self.shard(block)
        write_netcdf(shard, path, replace=True, classic=True)
        entry = Finished(block, int(shard.sizes["row"]), _hash(path))
        line = {"block": entry.block, "rows": entry.rows, "sha256": entry.sha256}
        _append(self.folder / _LOG, (json.dumps(line) + "\n").encode())
        return entry

    def _set_aside(self, block: int) -> None:
        path = self.shard(block)
        if not path.exists():
            text = f"the shard {path.name} is gone; its rows are computed again"
        else:
            aside = self.folder / _ASIDE
            aside.mkdir(exist_ok=True)
            number = 0
            while (target := aside / f"{path.stem}-{number}.nc").exists():
                number += 1
            path.replace(target)
            text = (
                f"the shard {path.name} is not what was written: set aside as "
                f"{_ASIDE}/{target.name}, and its rows are computed again"
            )
        self.notes.append(Note("shard-set-aside", text))


def read_plan(folder: Path) -> dict[str, Any] | None:
    """Plan of a folder, None when it has none.

    Raises
    ------
    FileError
        ``plan-unreadable``.
    """
    path = folder / _PLAN
    if not path.is_file():
        return None
    try:
        plan = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(plan, dict):
            raise ValueError("no JSON object")
    except ValueError as cause:
        raise FileError(
            "plan-unreadable", f"this is no plan of a sweep: {cause}", path=path,
            expected="the plan that the sweep wrote", mend="start the sweep in a new folder",
        ) from None  # fmt: skip
    return plan


def logged(folder: Path) -> list[Finished]:
    """Lines of the log; one that a crash cut off, or that was damaged, does not count."""
    path = folder / _LOG
    found = []
    for line in path.read_bytes().split(b"\n") if path.is_file() else []:
        with contextlib.suppress(ValueError, KeyError, TypeError):
            entry = json.loads(line)
            found.append(Finished(int(entry["block"]), int(entry["rows"]), str(entry["sha256"])))
    return found


def shards_of(folder: Path) -> tuple[int, int]:
    """Number of shards that are finished in a folder, and of all that its plan has."""
    plan = read_plan(folder)
    if plan is None:
        return 0, 0
    done = len({entry.block for entry in logged(folder)})
    return done, math.ceil(plan["rows"] / plan["block_rows"])


def verified_shards(folder: Path, *, lazy: bool = False) -> Iterator[Dataset]:
    """Datasets of the shards that verify, in the order of their rows."""
    entries = {entry.block: entry for entry in logged(folder)}
    for block in sorted(entries):
        path = folder / _SHARDS / f"{block:08d}.nc"
        if _hash(path) == entries[block].sha256:
            yield read_netcdf(path, lazy=lazy)


def missing_rows(rows: np.ndarray[Any, np.dtype[np.int64]]) -> Solved:
    """Rows that no shard holds, with the status that says so."""
    return Solved(
        rows,
        np.zeros(len(rows), np.int8),
        {name: np.full(len(rows), np.nan) for name in RESULTS},
        {},
    )


def _cleared(folder: Path, keep: set[str] | None = None) -> None:
    """Remove what a run left when it was cut off: parts of files, and shards not to be kept."""
    for path in folder.iterdir():
        part = path.name.startswith(".fusetherm-") and path.name.endswith(".tmp")
        if part or (keep is not None and path.suffix == ".nc" and path.name not in keep):
            path.unlink(missing_ok=True)


def _refuse_name(folder: Path) -> None:
    """Refuse a folder that may not or cannot be made."""
    fault = fault_of_name(folder)
    if fault:
        raise InputError(
            "output-name",
            f"{str(folder)!r} {fault}",
            expected="a name that every system takes",
            mend="choose another name",
        )
    if folder.is_symlink():
        raise InputError(
            "output-is-link", f"{folder} is a symbolic link", expected="the path of a folder",
            mend="give the folder it leads to",
        )  # fmt: skip
    if folder.exists() and not folder.is_dir():
        raise InputError(
            "output-not-a-folder", f"{folder} is a file", expected="the path of a folder",
            mend="choose another name",
        )  # fmt: skip
    if not folder.parent.is_dir():
        raise InputError(
            "output-folder-missing", f"the folder {folder.parent} does not exist",
            expected="a folder that exists", mend="create it first",
        )  # fmt: skip


def _locked(path: Path) -> int:
    """Handle of a file that this process alone has locked; the lock ends with the process."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        raise InputError(
            "sweep-locked",
            f"another process is at work in {path.parent}",
            expected="one process on one folder",
            mend="wait for it to end, or choose another folder",
        ) from None
    return handle


def _hash(path: Path) -> str:
    """SHA-256 of a file; empty when it cannot be read."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return ""


def _append(path: Path, line: bytes) -> None:
    """Append a line, after a line break when the last one was cut off."""
    try:
        with path.open("a+b") as stream:
            size = stream.seek(0, os.SEEK_END)
            if size:
                stream.seek(size - 1)
                if stream.read(1) != b"\n":
                    line = b"\n" + line
            stream.write(line)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as cause:
        raise WriteError(
            "write-failed", f"{path} could not be written: {cause.strerror or cause}",
            mend="check free space and the rights on the folder",
        ) from cause  # fmt: skip
