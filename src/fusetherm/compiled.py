"""Compilation: `@kernel`, and the cache of what was compiled.

``@kernel`` compiles a plain-loop function at its first call and keeps what it made in a cache
folder of the user's; `compiling` says how. What is kept holds the code of the kernels below it
and the constants of other files, which numba's own cache does not notice: it would run an old
kernel after an edit or an upgrade. So the folder's name carries a hash of every file that a kernel
is made of, of the compiler and of the processor, and the place where fusetherm is installed does
not matter: installs of one version share their kernels, those of different versions never do.

Rules for kernels: float64 and int64 only, C-contiguous arrays, no index below zero, no function
arguments, plain scalar loops, no allocation, no recursion, integer outcomes instead of exceptions.
"""

from __future__ import annotations

import contextlib
import gc
import hashlib
import importlib
import os
import stat
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple, TypeVar, cast

import llvmlite
import numba
from llvmlite import binding
from numba.core import caching, config
from numba.core.compiler_lock import global_compiler_lock
from numba.core.registry import CPUDispatcher
from numba.core.sigutils import normalize_signature

from .compiling.lowering import with_records
from .compiling.parts import PartCompiler, PartFiles, Whole, WholeFiles, whole_of
from .errors import FusethermWarning, Note


def _defer_linear_algebra() -> None:
    """Keep numba from loading scipy.linalg before anybody multiplies matrices.

    At the first kernel numba asks whether scipy's BLAS is there by loading it, a fifth of a
    second for what no kernel here uses. scipy is there, and numba asks again where it needs it.
    """
    if "numba.np.arraymath" in sys.modules:
        return
    try:
        from numba.np import linalg

        asks = linalg.ensure_blas
        linalg.ensure_blas = lambda: None
    except (ImportError, AttributeError):  # another numba, which may do as it likes
        return
    try:
        importlib.import_module("numba.np.arraymath")
    finally:
        linalg.ensure_blas = asks


_defer_linear_algebra()

Function = TypeVar("Function", bound=Callable[..., Any])

_PACKAGE = Path(__file__).parent
#: Files that hold kernels and the constants of kernels; kernels use nothing of other files.
_KERNELS = ("packed.py", "solver/kernels/*.py", "life/rainflow.py")
#: Set to a folder of your own, or to "off", to move or to do without the cache.
CACHE_VARIABLE = "FUSETHERM_CACHE"
#: Bytes that must fit before the folder is used; the kernels take a few times that.
_ROOM = 1 << 20
#: How long to wait for a kernel that another process compiles [s].
_PATIENCE = 60.0


def _user_cache() -> Path | None:
    """Folder for caches of this user, by the custom of the platform; None for one without home."""
    named = {"win32": "LOCALAPPDATA", "darwin": ""}.get(sys.platform, "XDG_CACHE_HOME")
    chosen = os.environ.get(named) if named else None
    if chosen:
        return Path(chosen)
    try:
        home = Path.home()
    except RuntimeError:  # no HOME, and a user that the system does not know
        return None
    within = {"win32": "AppData/Local", "darwin": "Library/Caches"}.get(sys.platform, ".cache")
    return home / within if home.is_dir() else None


def _spare() -> Path | None:
    """Folder of this user alone in the temporary one, for those whose home cannot be written."""
    with contextlib.suppress(OSError):
        base = Path(tempfile.gettempdir())
        if base == Path.cwd():  # the last resort of Python, and no place of ours
            return None
        if not hasattr(os, "getuid"):
            return base / "fusetherm"
        folder = base / f"fusetherm-{os.getuid()}"
        folder.mkdir(exist_ok=True, mode=0o700)
        found = folder.lstat()  # somebody else may have made it, or a link of that name
        if found.st_uid == os.getuid() and stat.S_IMODE(found.st_mode) == 0o700:
            return folder
    return None


def _bases() -> list[Path]:
    """Folders in which kernels may be kept, best first."""
    chosen = os.environ.get(CACHE_VARIABLE)
    if chosen:
        return [Path(chosen)]
    own = _user_cache()
    return [base for base in (own and own / "fusetherm", _spare()) if base is not None]


def _sources() -> list[Path]:
    """Every file that decides what a kernel does, in a stable order."""
    inside = sorted(path for pattern in _KERNELS for path in _PACKAGE.glob(pattern))
    return [Path(__file__), *sorted(_PACKAGE.glob("compiling/*.py")), *inside]


def _machine() -> str:
    """Compiler and processor. Machines of several kinds may share one home folder."""
    chosen = (config.CPU_NAME, config.CPU_FEATURES, config.OPT, config.BOUNDSCHECK)
    features = binding.get_host_cpu_features().flatten()
    host = (binding.get_host_cpu_name(), features, sys.platform, sys.version_info[:2])
    return repr((numba.__version__, llvmlite.__version__, chosen, host))


def sources_hash() -> str:
    """Hash of all kernel sources, the compiler and the processor (16 hex digits)."""
    digest = hashlib.sha256(_machine().encode())
    for path in _sources():
        content = path.read_bytes()
        digest.update(f"{path.name} {len(content)} ".encode())
        digest.update(content)
    return digest.hexdigest()[:16]


class _Hashed(NamedTuple):
    """Sources as they were when they were read."""

    hash: str
    paths: tuple[Path, ...]
    stamps: tuple[tuple[int, int, int], ...]


@lru_cache(maxsize=1)
def _hashed() -> _Hashed:
    paths = tuple(_sources())
    stamps = tuple(map(_stamp, paths))
    return _Hashed(sources_hash(), paths, stamps)


def _stamp(path: Path) -> tuple[int, int, int]:
    """What changes when a file is edited or replaced, without reading it."""
    at = path.stat()
    return at.st_mtime_ns, at.st_size, at.st_ino


def _unchanged() -> bool:
    """Whether the sources are still those that were hashed: not after an upgrade meanwhile."""
    found = _hashed()
    try:
        return tuple(map(_stamp, found.paths)) == found.stamps
    except OSError:
        return False


@lru_cache(maxsize=1)
def cache_folder() -> Path | None:
    """Folder of the compiled kernels, or None when there is no place to keep them.

    The folder belongs to the user and is closed to others, since cached kernels are
    pickles; a folder that belongs to somebody else is not used. One that holds kernels
    already serves even where nothing can be written.

    Warns
    -----
    FusethermWarning
        Once, ``kernels-not-kept``, where neither the folder chosen, or the user's cache,
        nor the temporary folder can be used.
    """
    if os.environ.get(CACHE_VARIABLE, "").lower() == "off":
        return None
    try:
        name = f"kernels-{_hashed().hash}"
    except OSError:  # sources that cannot be read, as in an archive
        return None
    bases = _bases()
    for base in bases:
        if _usable(base / name):
            return base / name
    where = f" in {' or '.join(map(str, bases))}" if bases else ""
    remark = Note(
        "kernels-not-kept",
        f"what is compiled cannot be kept{where}, and each start compiles anew; set "
        f"{CACHE_VARIABLE} to a folder with room that can be written",
    )
    warnings.warn(FusethermWarning(f"{remark.text} [{remark.code}]"), stacklevel=2)
    return None


def _usable(folder: Path) -> bool:
    """Whether kernels can be kept in a folder, made if need be, or lie there already."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if hasattr(os, "getuid") and folder.stat().st_uid != os.getuid():
            return False
        if not _holds_kernels(folder):
            with tempfile.TemporaryFile(dir=folder) as probe:
                probe.write(bytes(_ROOM))  # a full disk still takes an empty file
    except OSError:
        return False
    return True


def _holds_kernels(folder: Path, name: str = "*") -> bool:
    return any(folder.glob(f"*.{name}-*.nbi"))


def is_warm(name: str = "*") -> bool:
    """Whether compiled kernels, or the one of a name, already lie in the cache."""
    folder = cache_folder()
    return folder is not None and _holds_kernels(folder, name)


class _Place:
    """Where the files of a kernel lie, and what they were made from, as numba asks for it."""

    def __init__(self, function: Callable[..., Any], file: str, folder: Path) -> None:
        source = Path(file)
        # The text that was compiled, never its time: archives and images give all files one.
        self._stamp = hashlib.sha256(source.read_bytes()).hexdigest()
        if source.is_relative_to(_PACKAGE):
            within = "_".join(source.relative_to(_PACKAGE).parent.parts)
        else:
            within = hashlib.sha256(str(source).encode()).hexdigest()[:8]
        self._name = f"{within}-{function.__code__.co_firstlineno}"
        self._folder = str(folder)

    def ensure_cache_path(self) -> None:
        Path(self._folder).mkdir(exist_ok=True, mode=0o700)

    def get_cache_path(self) -> str:
        return self._folder

    def get_source_stamp(self) -> str:
        return self._stamp

    def get_disambiguator(self) -> str:
        return self._name

    @classmethod
    def from_function(cls, function: Callable[..., Any], file: str) -> _Place | None:
        folder = cache_folder()
        return None if folder is None else cls(function, file, folder)


class _KernelCache(caching.FunctionCache):  # type: ignore[misc]
    """Cache of one kernel, whose faults cost a compilation and never an answer.

    Processes that need the same kernel at once let one compile it and wait for it. No two wait
    for each other: a kernel waits for those it calls only.
    """

    _claim: int | None = None  # handle of the lock while this process compiles

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        found = self._load(sig, target_context)
        if found is None:
            # released when it is kept, or could not be made, or when this process ends
            self._claim, waited = _claimed(Path(self._cache_file._index_path).with_suffix(".lock"))
            if waited:
                found = self._load(sig, target_context)
            if found is not None:
                self.release()
        return found

    def _load(self, sig: Any, target_context: Any) -> Any:
        try:
            # without numba's registries, a tenth of a second: what is kept is done
            return self._load_overload(sig, target_context)
        except Exception:  # cut off or damaged: compiled anew and written over
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        try:
            super().save_overload(sig, data)
        except Exception:  # a disk that is full by now, or a folder that was closed
            self.disable()
        self.release()

    def release(self) -> None:
        """Let others compile it."""
        claim, self._claim = self._claim, None
        if claim is not None:
            _unlock(claim)


class _PlacedParts(PartFiles):
    _locator_classes = (_Place,)


class _PlacedWholes(WholeFiles):
    _locator_classes = (_Place,)


class _PartCache(_KernelCache):
    _impl_class = _PlacedParts


class _WholeCache(_KernelCache):
    _impl_class = _PlacedWholes


def _unlock(handle: int) -> None:
    """Close a locked file; a child that was forked meanwhile holds no lock by it either."""
    with contextlib.suppress(ImportError, OSError):
        from fcntl import LOCK_UN, flock

        flock(handle, LOCK_UN)
    os.close(handle)


def _claimed(path: Path) -> tuple[int | None, bool]:
    """Handle of a file that this process alone has locked, and whether it waited for that.

    None where files cannot be locked, or when the other takes longer than a compiler may: then
    both compile.
    """
    waited = False
    try:
        from fcntl import LOCK_EX, LOCK_NB, flock

        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except (ImportError, OSError):
        return None, waited
    until = time.monotonic() + _PATIENCE
    try:
        while True:
            try:
                flock(handle, LOCK_EX | LOCK_NB)
                return handle, waited
            except BlockingIOError:
                if time.monotonic() > until:
                    break
            waited = True
            time.sleep(0.02)
    except OSError:  # a file system without locks
        pass
    except BaseException:
        os.close(handle)
        raise
    os.close(handle)
    return None, waited


class _Kernel(CPUDispatcher):  # type: ignore[misc]
    """A compiled function. Its overloads, as numba knows them, are parts; Python calls wholes."""

    is_merged = False  # whether kernels that call it have it written into them
    _within = 0  # how many kernels ask for parts just now; under the compiler's lock

    def __init__(self, *arguments: Any, pipeline_class: Any = PartCompiler, **named: Any) -> None:
        super().__init__(*arguments, pipeline_class=pipeline_class, **named)
        self._wholes: dict[tuple[Any, ...], Whole] = {}
        self._whole_cache: Any = caching.NullCache()

    @property
    def called_with(self) -> list[tuple[Any, ...]]:
        """Kinds of arguments that Python called it with."""
        return list(self._wholes)

    def typeof_pyval(self, value: Any) -> Any:
        return with_records(super().typeof_pyval(value))

    def recompile(self) -> None:
        self._wholes.clear()
        self._whole_cache.flush()
        super().recompile()

    def add_overload(self, part: Any) -> None:
        self.overloads[tuple(part.signature.args)] = part

    def get_call_template(self, args: Any, kws: Any) -> Any:
        with global_compiler_lock, _for_kernels():
            return super().get_call_template(args, kws)

    def compile(self, sig: Any) -> Any:
        with global_compiler_lock, _undisturbed(), self._unclaimed():
            if _Kernel._within:
                return super().compile(sig)
            args, _ = normalize_signature(sig)
            whole = self._wholes.get(args)
            if whole is None:
                whole = self._whole_cache.load_overload(args, self.targetctx)
                if whole is not None:
                    self._cache_hits[args] += 1
                else:
                    with _for_kernels():
                        super().compile(sig)
                    whole = whole_of(self.overloads[args], self.targetctx)
                    self._whole_cache.save_overload(args, whole)
                self._wholes[args] = whole
                self._insert([arg._code for arg in args], whole.function, False)
            return whole.function

    @contextlib.contextmanager
    def _unclaimed(self) -> Iterator[None]:
        """Let other processes compile it afterwards, whatever became of it here."""
        try:
            yield
        finally:
            for cache in (self._cache, self._whole_cache):
                if isinstance(cache, _KernelCache):
                    cache.release()


@contextlib.contextmanager
def _for_kernels() -> Iterator[None]:
    """Kernels that are asked for are asked for by kernels."""
    _Kernel._within += 1
    try:
        yield
    finally:
        _Kernel._within -= 1


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Without the collector of garbage: an eighth of the time of compiling, for little memory."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


def kernel(function: Function) -> Function:
    """Compile a kernel at its first call, with the signature rules of this module."""
    return _compiled(function)


def merged(function: Function) -> Function:
    """A kernel that is written into the kernels that call it, instead of being compiled apart.

    For kernels called in one place, or short ones. The time to compile grows faster than the
    length: a long one merged into two others cost three seconds, and a kernel of its own a tenth.
    """
    return _compiled(function, is_merged=True)


def prepare(function: Callable[..., Any], *arguments: Any) -> None:
    """Compile the part of a kernel that other kernels call with arguments of these kinds."""
    if isinstance(function, _Kernel):
        with global_compiler_lock, _for_kernels():
            function.compile(tuple(map(function.typeof_pyval, arguments)))


def _compiled(function: Function, is_merged: bool = False) -> Function:
    options: dict[str, Any] = {
        "nopython": True,
        "debug": False,  # whatever the environment says: `compiling` keeps no such notes
        "nogil": True,
        "boundscheck": None,  # as the environment says
        # no wrapper for C callers, no reference counts (kernels allocate nothing): together a
        # sixth off the compile time and a quarter off the run time
        "no_cfunc_wrapper": True,
        "_nrt": False,
        "error_model": "numpy",
        "fastmath": {"contract"},
    }
    if config.DISABLE_JIT:
        return function
    compiled = _Kernel(function, targetoptions=options)
    compiled.is_merged = is_merged
    if cache_folder() is not None and _unchanged():
        compiled._cache = _PartCache(function)
        compiled._whole_cache = _WholeCache(function)
    return cast("Function", compiled)
