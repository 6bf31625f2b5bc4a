"""Compilation: the one place that imports numba.

``@kernel`` compiles a plain-loop function at its first call and keeps the machine code
in a cache folder of the user's. The folder's name carries a hash of every kernel source
and of the numba version, because numba's own cache does not notice an edit in another
file and would run an old kernel after an upgrade.

Rules for kernels: float64 and int64 only, C-contiguous arrays, no function arguments,
plain scalar loops, no allocation in loops, integer outcomes instead of exceptions.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

import numba
from numba.core import config

Function = TypeVar("Function", bound=Callable[..., Any])

_PACKAGE = Path(__file__).parent
#: Set to a folder of your own, or to "off", to move or to do without the cache.
CACHE_VARIABLE = "FUSETHERM_CACHE"


def _user_cache() -> Path:
    """Folder for caches of this user, by the custom of the platform."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
        return Path(base)
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    return Path(os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache"))


def _sources() -> list[Path]:
    """Every source file that holds a kernel, in a stable order."""
    files = sorted(_PACKAGE.rglob("*.py"))
    return [path for path in files if b"compiled import" in path.read_bytes()]


def sources_hash() -> str:
    """Hash of all kernel sources and of the numba version (16 hex digits)."""
    digest = hashlib.sha256(numba.__version__.encode())
    digest.update(Path(__file__).read_bytes())
    for path in _sources():
        digest.update(path.relative_to(_PACKAGE).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@lru_cache(maxsize=1)
def cache_folder() -> Path | None:
    """Folder of the compiled kernels, or None when there is no place to keep them.

    The folder belongs to the user and is closed to others, since cached kernels are
    pickles; a folder that belongs to somebody else is not used.
    """
    chosen = os.environ.get(CACHE_VARIABLE, "")
    if chosen.lower() == "off":
        return None
    base = Path(chosen) if chosen else _user_cache() / "fusetherm"
    folder = base / f"kernels-{sources_hash()}"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if hasattr(os, "getuid") and folder.stat().st_uid != os.getuid():
            return None
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        return None
    return folder


def is_warm() -> bool:
    """Whether compiled kernels already lie in the cache."""
    folder = cache_folder()
    return folder is not None and any(folder.rglob("*.nbi"))


def kernel(function: Function) -> Function:
    """Compile a kernel at its first call, with the signature rules of this module."""
    return _compiled(function, "never")


def merged(function: Function) -> Function:
    """A kernel that is written into the kernels that call it, instead of being compiled apart.

    For kernels called in one or two places: each kernel of its own costs a tenth of a second of
    compiling, and again in every kernel above it.
    """
    return _compiled(function, "always")


def _compiled(function: Function, inline: str) -> Function:
    folder = cache_folder()
    options: dict[str, Any] = {
        "inline": inline,
        "nopython": True,
        "nogil": True,
        # no wrapper for C callers, no reference counts (kernels allocate nothing): together a
        # sixth off the compile time and a quarter off the run time
        "no_cfunc_wrapper": True,
        "_nrt": False,
        "error_model": "numpy",
        "fastmath": {"contract"},
    }
    if folder is None:
        compiled: Function = numba.jit(**options)(function)
        return compiled
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder)
    try:
        compiled = numba.jit(cache=True, **options)(function)
    finally:
        config.CACHE_DIR = before
    return compiled
