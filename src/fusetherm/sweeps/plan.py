"""What a sweep computes: its axes, the rows they span, and the hashes that name the work."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..calibration.unit_spread import UnitSpread
from ..current.waveform import Waveform
from ..errors import InputError
from ..fuse.model import FuseModel

SCHEMA = "fusetherm/sweep/1"
#: Number that stands for the fitted model on the axis of draws, and for the middle unit.
MIDDLE = -1
#: Rows of a block: few enough to lose little to a crash, enough to outweigh a file.
LEAST_BLOCK, MOST_BLOCK, BLOCKS = 16, 2000, 64
#: Axis -> long name and unit, in the order of the result's dimensions.
AXES: Mapping[str, tuple[str, str]] = {
    "fuse": ("fuse", ""),
    "draw": ("draw of the calibration, -1 for the fitted model", "1"),
    "unit": ("number of the unit, -1 for the middle one", "1"),
    "waveform": ("current", ""),
    "factor": ("factor on the waveform", "1"),
    "current": ("constant current", "A"),
    "duration": ("duration of the current", "s"),
    "ambient_c": ("ambient temperature", "degC"),
    "preload": ("steady current before", "A"),
}
#: Folders of the package whose sources decide a number.
_DECIDING = ("physics", "fuse", "current", "solver", "calibration", "sweeps")


@dataclass(frozen=True, slots=True)
class Fuse:
    """A fuse of a sweep, ready to be sent to a worker.

    Attributes
    ----------
    models : dict of int to FuseModel
        Model by draw; -1 is the fitted one.
    spread : UnitSpread
        How units differ.
    cells : int
        Cells of the element.
    """

    models: dict[int, FuseModel]
    spread: UnitSpread
    cells: int


@dataclass(frozen=True, kw_only=True)
class Work:
    """Everything a worker needs besides the numbers of its rows.

    Attributes
    ----------
    fuses, waveforms : dict
        By name.
    axes : dict of str to tuple
        Values of each axis.
    pairing : {"grid", "list"}
        Every combination, or the k-th values of all axes together.
    after : {"zero", "hold"}
        As for `simulate`.
    to : {"end", "onset"}
        As for `simulate`.
    tolerance : float
        As for `simulate`.
    seed : int
        Of the units: unit k is the same in every row that names it.
    """

    fuses: dict[str, Fuse] = field(repr=False)
    waveforms: dict[str, Waveform] = field(repr=False)
    axes: dict[str, tuple[Any, ...]]
    pairing: Literal["grid", "list"]
    after: Literal["zero", "hold"]
    to: Literal["end", "onset"]
    tolerance: float
    seed: int

    @property
    def shape(self) -> tuple[int, ...]:
        """Length of each axis; of a list the one length of all."""
        lengths = tuple(len(values) for values in self.axes.values())
        return lengths if self.pairing == "grid" else (max(lengths),)

    @property
    def rows(self) -> int:
        """Number of simulations."""
        return math.prod(self.shape)

    def places(self, rows: npt.NDArray[np.int64]) -> dict[str, npt.NDArray[np.int64]]:
        """Place of rows on each axis."""
        if self.pairing == "grid":
            found = np.unravel_index(rows, self.shape)
            return {name: np.asarray(at) for name, at in zip(self.axes, found, strict=True)}
        return {name: rows % len(values) for name, values in self.axes.items()}

    def values(self, rows: npt.NDArray[np.int64]) -> dict[str, npt.NDArray[Any]]:
        """Values of rows on each axis."""
        places = self.places(rows)
        return {name: np.asarray(values)[places[name]] for name, values in self.axes.items()}

    @cached_property
    def inputs(self) -> dict[str, str]:
        """Hash of each fuse and each waveform."""
        fuses = {f"fuse {name}": fingerprint(fuse) for name, fuse in self.fuses.items()}
        waves = {f"waveform {name}": wave.fingerprint for name, wave in self.waveforms.items()}
        return fuses | waves

    def plan(self, block_rows: int) -> dict[str, Any]:
        """The plan as plain data; two runs may share a folder when theirs are equal."""
        from importlib.metadata import version

        from .. import __version__

        return {
            "schema": SCHEMA,
            "rows": self.rows,
            "block_rows": block_rows,
            "pairing": self.pairing,
            "axes": {name: list(values) for name, values in self.axes.items()},
            "after": self.after,
            "to": self.to,
            "tolerance": self.tolerance,
            "seed": self.seed,
            "inputs": self.inputs,
            "cells": {name: fuse.cells for name, fuse in self.fuses.items()},
            "unit_spread": {name: fuse.spread.sd for name, fuse in self.fuses.items()},
            "code": {
                "fusetherm": __version__,
                "sources": sources_hash(),
                **{name: version(name) for name in ("numpy", "numba")},
            },
        }


def block_rows_of(rows: int) -> int:
    """Rows of a block of a sweep; it does not depend on the workers."""
    return min(MOST_BLOCK, max(LEAST_BLOCK, math.ceil(rows / BLOCKS)))


def changes(old: Any, new: Any, place: str = "") -> list[str]:
    """What differs between two plans, in words.

    Examples
    --------
    >>> changes({"seed": 1, "code": {"numpy": "2.0"}}, {"seed": 2, "code": {"numpy": "2.0"}})
    ['seed was 1 and is 2']
    """
    if isinstance(old, dict) and isinstance(new, dict):
        found = []
        for key in dict.fromkeys([*old, *new]):
            at = f"{place}: {key}" if place else str(key)
            if key not in old or key not in new:
                found.append(f"{at} is {'new' if key not in old else 'gone'}")
            else:
                found += changes(old[key], new[key], at)
        return found
    if old == new:
        return []
    if isinstance(old, list) or len(str(old)) > 40:
        return [f"{place} changed"]
    return [f"{place} was {old} and is {new}"]


def fingerprint(value: Any) -> str:
    """SHA-256 of the whole content of a frozen record, arrays bit by bit."""
    digest = hashlib.sha256()
    _feed(digest, value)
    return digest.hexdigest()


def _feed(digest: Any, value: Any) -> None:
    """Give a value to a digest, each part with its kind and length so that none run together."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [f.name for f in dataclasses.fields(value) if f.compare]
        digest.update(f"({type(value).__name__} {len(names)}".encode())
        for name in names:
            digest.update(f".{name} ".encode())
            _feed(digest, getattr(value, name))
    elif isinstance(value, np.ndarray):
        digest.update(f"[{value.dtype.str} {value.shape}".encode())
        digest.update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, Mapping):
        digest.update(f"{{{len(value)}".encode())
        for key, item in value.items():
            _feed(digest, key)
            _feed(digest, item)
    elif isinstance(value, (tuple, list)):
        digest.update(f"<{len(value)}".encode())
        for item in value:
            _feed(digest, item)
    elif value is None or isinstance(value, (str, bool, int, float)):
        text = repr(value.item() if isinstance(value, np.generic) else value)
        digest.update(f"{len(text)}:{text}".encode("utf-8", "backslashreplace"))
    else:
        raise InputError(
            "content-not-plain",
            f"a {type(value).__name__} inside a model cannot be compared from run to run",
            expected="models of numbers, texts, arrays and records",
        )


@lru_cache(maxsize=1)
def sources_hash() -> str:
    """Hash of the sources that decide a number (16 hex digits)."""
    package = Path(__file__).parents[1]
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        place = path.relative_to(package)
        if len(place.parts) == 1 or place.parts[0] in _DECIDING:
            digest.update(place.as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def seed_of(work: Work) -> int:
    """Seed from the inputs, so that the same question has the same answer."""
    text = json.dumps([work.inputs, work.pairing, {k: list(v) for k, v in work.axes.items()}])
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:4], "big")
