"""CVODE without Python in the loop: `cvode.c`, built here against the system's SUNDIALS."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fusetherm.solver.kernels.assemble import DG, DIAGONAL, LOWER, UPPER

from .callbacks import Callbacks, machine_code

Floats = npt.NDArray[np.float64]
KINDS = ("arrow", "KLU", "dense", "band")
_LIBRARIES = ("cvode", "nvecserial", "sunlinsoldense", "sunlinsolband", "sunmatrixdense",
              "sunmatrixband")  # fmt: skip
_KLU = ("sunlinsolklu", "sunmatrixsparse")


class _Problem(ctypes.Structure):
    _fields_ = (
        *((name, ctypes.c_void_p) for name in ("right", "slope", "onset", "factor", "solve")),
        ("data", ctypes.c_void_p),
        *((name, ctypes.c_int) for name in ("size", "chain", "shared")),
        ("squared", ctypes.c_double),
        *((name, ctypes.c_void_p) for name in ("lower", "diagonal", "upper", "joule")),
        *((name, ctypes.c_void_p) for name in ("column", "row", "corner")),
    )


@dataclass(frozen=True)
class Library:
    """The built program, or why there is none."""

    handle: ctypes.CDLL | None
    said: str
    kinds: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def library() -> Library:
    """Build `cvode.c` in a folder of its own; with KLU where that is installed."""
    compiler = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
    if compiler is None:
        return Library(None, "no C compiler")
    source = Path(__file__).with_name("cvode.c")
    for klu in (True, False):
        with tempfile.TemporaryDirectory() as folder:
            built = Path(folder) / "cvode.so"
            names = _LIBRARIES + (_KLU if klu else ())
            extra = ["-DWITH_KLU", "-I/usr/include/suitesparse"] if klu else []
            done = subprocess.run(
                [compiler, "-O3", "-march=native", "-shared", "-fPIC", *extra, str(source),
                 "-o", str(built), *(f"-lsundials_{name}" for name in names),
                 *(["-lklu"] if klu else []), "-lm"],
                capture_output=True, text=True, check=False,
            )  # fmt: skip
            if done.returncode:
                continue
            handle = ctypes.CDLL(str(built))  # stays mapped without its file
            handle.open_session.restype = ctypes.c_void_p
            handle.open_session.argtypes = [ctypes.c_void_p, ctypes.c_int]
            handle.close_session.argtypes = [ctypes.c_void_p]
            handle.run_session.restype = ctypes.c_double
            handle.run_session.argtypes = [
                ctypes.c_void_p, ctypes.c_void_p, *[ctypes.c_double] * 3, *[ctypes.c_int] * 2,
                ctypes.c_double, ctypes.c_void_p,
            ]  # fmt: skip
            number = int(handle.version())
            kinds = KINDS if klu else tuple(kind for kind in KINDS if kind != "KLU")
            return Library(handle, f"{number // 100}.{number % 100}", kinds)
    return Library(None, "the system's SUNDIALS is missing (Debian: libsundials-dev)")


class Session:
    """One network and one linear solver; memory is made here, and used again by every run."""

    def __init__(self, callbacks: Callbacks, squared: float, kind: str) -> None:
        found = library()
        if found.handle is None:
            raise RuntimeError(found.said)
        self._library, self._callbacks = found.handle, callbacks
        code = machine_code()
        work = callbacks.work
        problem = _Problem(
            *(code[name].address for name in ("right", "slope", "onset", "factor", "solve")),
            callbacks.data.ctypes.data, callbacks.size, callbacks.chain, callbacks.shared, squared,
            *(work[row].ctypes.data for row in (LOWER, DIAGONAL, UPPER, DG)),
            callbacks.column.ctypes.data, callbacks.row.ctypes.data, callbacks.corner.ctypes.data,
        )  # fmt: skip
        self._session = self._library.open_session(ctypes.byref(problem), KINDS.index(kind))
        if not self._session:
            raise RuntimeError(f"CVODE with {kind} could not be set up")
        self.counts = np.zeros(3, dtype=np.int64)  # steps, right sides, Jacobians

    def onset(
        self,
        start: Floats,
        until: float,
        relative: float,
        absolute: float,
        *,
        order: int = 5,
        set_up_every: int = 20,
        newton: float = 0.1,
    ) -> float:
        """Time of the onset [s], nan when it is not reached.

        Parameters
        ----------
        start : (N,) state [K]
        until : time to give up [s]
        relative, absolute : tolerances; absolute [K]
        order : highest order of BDF
        set_up_every : steps after which Newton's matrix is factored at the latest
        newton : share of the error test that Newton may leave
        """
        time: float = self._library.run_session(
            self._session, start.ctypes.data, until, relative, absolute, order, set_up_every,
            newton, self.counts.ctypes.data,
        )  # fmt: skip
        return time if time >= 0.0 else float("nan")

    def __del__(self) -> None:
        if getattr(self, "_session", None):
            self._library.close_session(self._session)
