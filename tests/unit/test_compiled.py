"""compiled.py: kernels, and the cache that notices every edit."""

from __future__ import annotations

import ast
import contextlib
import errno
import gc
import io
import os
import re
import shutil
import stat
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

import numba
import numpy as np
import pytest
from numba.core import caching

from fusetherm import compiled
from fusetherm.errors import FusethermWarning

PACKAGE = Path(compiled.__file__).parent


@pytest.fixture(autouse=True)
def _fresh_folder() -> Iterator[None]:
    """The folder is looked up once a process; each test here looks again."""
    compiled.cache_folder.cache_clear()
    yield
    compiled.cache_folder.cache_clear()


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small package of kernels, their constants and one plain file, in place of ours."""
    folder = tmp_path / "package"
    (folder / "solver" / "kernels").mkdir(parents=True)
    (folder / "solver" / "kernels" / "step.py").write_text("from ..compiled import kernel\n")
    (folder / "solver" / "kernels" / "layout.py").write_text("SIZE = 1\n")
    (folder / "plain.py").write_text("x = 1\n")
    monkeypatch.setattr(compiled, "_PACKAGE", folder)
    return folder


def import_kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> object:
    """Function ``total`` of a new module, decorated with ``kernel``."""
    source = """
        from fusetherm.compiled import kernel

        @kernel
        def total(values):
            result = 0.0
            for index in range(values.shape[0]):
                result += values[index]
            return result
    """
    path = tmp_path / f"{name}.py"
    if not path.exists():  # numba takes a file written anew for an edited one
        path.write_text(textwrap.dedent(source))
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, name, raising=False)
    module = __import__(name)
    monkeypatch.delitem(sys.modules, name)
    return module.total


def test_kernel_computes_and_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path / "cache"))
    before = numba.core.config.CACHE_DIR
    assert not compiled.is_warm()
    total = import_kernel(tmp_path, monkeypatch, "kept_kernel")
    assert total(np.array([1.0, 2.0, 3.5])) == 6.5
    assert compiled.is_warm()
    assert compiled.is_warm("total")
    assert not compiled.is_warm("tota")
    assert before == numba.core.config.CACHE_DIR
    folder = compiled.cache_folder()
    assert folder is not None
    assert folder.parent == tmp_path / "cache"
    if sys.platform != "win32":
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    again = import_kernel(tmp_path, monkeypatch, "kept_kernel")
    assert again(np.array([1.0, 2.0, 3.5])) == 6.5
    assert sum(again.stats.cache_hits.values()) == 1


def test_kernels_divide_as_numpy_does(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, "off")

    @compiled.kernel
    def inverse(value: float) -> float:
        return 1.0 / value

    assert inverse(0.0) == np.inf


@pytest.mark.parametrize("word", ["off", "OFF"])
def test_cache_off(word: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, word)
    assert compiled.cache_folder() is None
    assert not compiled.is_warm()
    total = import_kernel(tmp_path, monkeypatch, "uncached_kernel")
    assert total(np.ones(4)) == 4.0
    assert not list(tmp_path.rglob("*.nbi"))


def test_no_place_for_a_cache_is_no_obstacle(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A file in the way stands for every place that cannot be written, for any user.
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path / "file" / "cache"))
    with pytest.warns(FusethermWarning, match=r"kernels-not-kept"):
        assert compiled.cache_folder() is None
    # said once
    total = import_kernel(tmp_path, monkeypatch, "homeless_kernel")
    assert total(np.ones(3)) == 3.0


@pytest.mark.parametrize("where", ["folder", "probe"])
def test_bad_input_116_folder_that_refuses_files_is_not_used(
    where: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full(io.BytesIO):
        def write(self, _: object) -> int:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def refuse(**_: object) -> Full:
        if where == "folder":
            raise PermissionError("read-only")
        return Full()

    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path))
    monkeypatch.setattr(compiled.tempfile, "TemporaryFile", refuse)
    with pytest.warns(FusethermWarning, match=str(tmp_path)):
        assert compiled.cache_folder() is None


def test_bad_input_116_kernels_in_a_folder_that_is_closed_now_serve(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path / "cache"))
    assert import_kernel(tmp_path, monkeypatch, "early_kernel")(np.ones(2)) == 2.0
    compiled.cache_folder.cache_clear()
    monkeypatch.setattr(compiled.tempfile, "TemporaryFile", lambda **_: 1 / 0)
    monkeypatch.setattr(caching.IndexDataCacheFile, "save", refused)
    early = import_kernel(tmp_path, monkeypatch, "early_kernel")
    assert early(np.ones(2)) == 2.0
    assert sum(early.stats.cache_hits.values()) == 1
    late = import_kernel(tmp_path, monkeypatch, "late_kernel")  # cannot be kept any more
    assert late(np.ones(2)) == 2.0


def refused(*_: object) -> None:
    raise OSError(errno.EROFS, os.strerror(errno.EROFS))


@pytest.mark.parametrize("ending", ["nbi", "nbc"])
@pytest.mark.parametrize(("step", "hits"), [("?", 0), (".", 1), ("+", 1)])
def test_a_damaged_file_costs_a_compilation(
    step: str, hits: int, ending: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path / "cache"))
    import_kernel(tmp_path, monkeypatch, "hurt_kernel")(np.ones(2))
    # of the whole (.), of the part (+), or of both
    files = list((tmp_path / "cache").rglob(f"hurt_kernel{step}total-*.{ending}"))
    assert len(files) == 2 - hits
    for file in files:
        file.write_bytes(file.read_bytes()[:-50])
    again = import_kernel(tmp_path, monkeypatch, "hurt_kernel")
    assert again(np.ones(2)) == 2.0
    assert again.stats.cache_hits.total() == hits


@pytest.mark.skipif(sys.platform == "win32", reason="locks files as POSIX does")
def test_a_kernel_that_another_process_never_finishes_is_compiled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path / "cache"))
    monkeypatch.setattr(compiled, "_PATIENCE", 0.1)
    total = import_kernel(tmp_path, monkeypatch, "claimed_kernel")
    lock = Path(total._cache._cache_file._index_path).with_suffix(".lock")
    with lock.open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        assert total(np.ones(2)) == 2.0
    again = import_kernel(tmp_path, monkeypatch, "claimed_kernel")
    assert again(np.ones(2)) == 2.0
    assert sum(again.stats.cache_hits.values()) == 1
    with lock.open("w") as free:  # whoever compiled has let it go
        fcntl.flock(free, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_a_folder_without_locks_serves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path / "cache"))
    monkeypatch.setitem(sys.modules, "fcntl", None)
    assert import_kernel(tmp_path, monkeypatch, "lockless_kernel")(np.ones(2)) == 2.0
    assert compiled.is_warm()


def test_a_kernel_compiles_without_the_collector(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    core = compiled.PartCompiler._compile_core

    def watched(compiler: object) -> object:
        seen.append(gc.isenabled())
        return core(compiler)

    monkeypatch.setenv(compiled.CACHE_VARIABLE, "off")
    monkeypatch.setattr(compiled.PartCompiler, "_compile_core", watched)

    @compiled.kernel
    def same(value: float) -> float:
        return value

    assert same(2.0) == 2.0
    assert seen == [False]
    assert gc.isenabled()


@pytest.mark.parametrize("enabled", [True, False])
def test_garbage_is_not_collected_while_a_kernel_compiles(enabled: bool) -> None:
    seen = []
    before = gc.isenabled()
    try:
        (gc.enable if enabled else gc.disable)()
        with compiled._undisturbed():
            seen.append(gc.isenabled())
        with contextlib.suppress(KeyboardInterrupt), compiled._undisturbed():
            raise KeyboardInterrupt
        assert gc.isenabled() is enabled
    finally:
        (gc.enable if before else gc.disable)()
    assert seen == [False]


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners on this platform")
def test_folder_of_somebody_else_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path))
    monkeypatch.setattr(compiled.os, "getuid", lambda: tmp_path.stat().st_uid + 1)
    with pytest.warns(FusethermWarning):
        assert compiled.cache_folder() is None


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names places as Linux does")
def test_without_a_home_the_temporary_folder_keeps_kernels(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown() -> Path:
        raise RuntimeError("Could not determine home directory.")

    for name in (compiled.CACHE_VARIABLE, "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(compiled.tempfile, "gettempdir", lambda: str(tmp_path))
    monkeypatch.setattr(Path, "home", unknown)
    folder = compiled.cache_folder()
    assert folder is not None
    assert folder.parent == tmp_path / f"fusetherm-{os.getuid()}"
    # another may put a folder, or a link, of that name there first: it is not used
    folder.parent.chmod(0o777)
    compiled.cache_folder.cache_clear()
    with pytest.warns(FusethermWarning):
        assert compiled.cache_folder() is None
    folder.parent.rename(tmp_path / "moved")
    (tmp_path / "moved").chmod(0o700)
    folder.parent.symlink_to(tmp_path / "moved")
    compiled.cache_folder.cache_clear()
    with pytest.warns(FusethermWarning):
        assert compiled.cache_folder() is None


@pytest.mark.parametrize("name", ["step.py", "layout.py"])
def test_hash_sees_an_edit_in_any_file_of_the_kernels(name: str, package: Path) -> None:
    first = compiled.sources_hash()
    assert first == compiled.sources_hash()
    with (package / "solver" / "kernels" / name).open("a") as stream:
        stream.write("# edited\n")
    assert compiled.sources_hash() != first


def test_hash_sees_a_new_kernel_file(package: Path) -> None:
    first = compiled.sources_hash()
    (package / "solver" / "kernels" / "other.py").write_text("from .compiled import kernel\n")
    assert compiled.sources_hash() != first


def test_hash_passes_over_plain_files(package: Path) -> None:
    first = compiled.sources_hash()
    (package / "plain.py").write_text("x = 2\n")
    assert compiled.sources_hash() == first


@pytest.mark.parametrize(
    ("holder", "name", "value"),
    [
        (numba, "__version__", "0.0.0"),
        (compiled.llvmlite, "__version__", "0.0.0"),
        (compiled.binding, "get_host_cpu_name", lambda: "another"),
        (compiled.config, "CPU_NAME", "generic"),
        (compiled.config, "BOUNDSCHECK", 1),
    ],
)
def test_hash_sees_another_compiler_or_processor(
    holder: object, name: str, value: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = compiled.sources_hash()
    monkeypatch.setattr(holder, name, value)
    assert compiled.sources_hash() != first


def test_kernels_loaded_after_an_upgrade_are_not_kept_as_the_old_ones(
    package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path / "cache"))
    compiled._hashed.cache_clear()
    try:
        folder = compiled.cache_folder()
        layout = package / "solver" / "kernels" / "layout.py"
        at = layout.stat()
        (package / "new.py").write_text("SIZE = 2\n")
        (package / "new.py").replace(layout)  # as an installer does
        os.utime(layout, ns=(at.st_atime_ns, at.st_mtime_ns))
        total = import_kernel(tmp_path, monkeypatch, "upgraded_kernel")
        assert total(np.ones(2)) == 2.0
        assert compiled.cache_folder() == folder
        assert not compiled.is_warm()
    finally:
        compiled._hashed.cache_clear()


def test_folder_is_named_after_the_hash(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path))
    folder = compiled.cache_folder()
    assert folder is not None
    assert folder.name == f"kernels-{compiled.sources_hash()}"


def test_every_kernel_file_is_in_the_hash() -> None:
    hashed = set(compiled._sources())
    for path in PACKAGE.rglob("*.py"):
        if re.search(r"^@(kernel|merged)\b", path.read_text(encoding="utf-8"), re.MULTILINE):
            assert path in hashed


def test_kernels_take_constants_from_hashed_files_alone() -> None:
    """Errors are for the Python around a kernel."""
    hashed = set(compiled._sources())
    for path in hashed - {Path(compiled.__file__)}:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level:
                module = "/".join([".."] * (node.level - 1) + (node.module or "").split("."))
                place = (path.parent / f"{module}.py").resolve()
                assert place in hashed or place == PACKAGE / "errors.py", (path, node.module)


# two versions, one cache ------------------------------------------------------------------------

STEP = """
from ...compiled import kernel
from .layout import FACTOR

@kernel
def step(value):
    return FACTOR * value
"""
ASK = """
from fusetherm.solver.kernels.step import step
print(step(1.0), sum(step.stats.cache_hits.values()))
"""


def version(place: Path, factor: float) -> Path:
    """A package named as ours, with our compiled.py and one kernel; every file of one time."""
    kernels = place / "fusetherm" / "solver" / "kernels"
    kernels.mkdir(parents=True, exist_ok=True)
    for folder in (kernels, kernels.parent, kernels.parents[1]):
        (folder / "__init__.py").write_text("")
    for name in ("compiled.py", "errors.py"):
        shutil.copy(PACKAGE / name, place / "fusetherm" / name)
    compiling = place / "fusetherm" / "compiling"
    shutil.copytree(PACKAGE / "compiling", compiling, dirs_exist_ok=True)
    (kernels / "layout.py").write_text(f"FACTOR = {factor}\n")
    (kernels / "step.py").write_text(STEP)
    for path in place.rglob("*.py"):
        os.utime(path, (315532800, 315532800))  # what archives and images give to all
    return place


def asking(place: Path, code: str = ASK, **variables: str | None) -> subprocess.Popen[str]:
    """A process that asks the version at a place; variables of None are left out."""
    merged = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(place), **variables}
    return subprocess.Popen(
        [sys.executable, "-c", code], env={k: v for k, v in merged.items() if v is not None},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def told(process: subprocess.Popen[str]) -> tuple[float, int, str]:
    """Value, hits of the cache, and what was said besides."""
    out, errors = process.communicate(timeout=100)
    assert process.returncode == 0, errors
    value, hits = out.split()
    return float(value), int(hits), errors


def test_versions_that_share_a_cache_each_get_their_own_kernels(tmp_path: Path) -> None:
    """Side by side, and one in the other's place with its times and sizes."""
    one, other = version(tmp_path / "one", 2.0), version(tmp_path / "other", 3.0)

    def ask(*places: Path) -> list[tuple[float, int]]:
        begun = [asking(place, FUSETHERM_CACHE=str(tmp_path / "cache")) for place in places]
        return [told(process)[:2] for process in begun]

    # at once: two installs that share each kernel, and one that must not
    first, second, third = ask(one, one, other)
    assert sorted((first, second)) == [(2.0, 0), (2.0, 1)]  # one compiled, the other waited
    assert third == (3.0, 0)
    assert ask(one, other) == [(2.0, 1), (3.0, 1)]
    version(one, 3.0)  # upgraded in place: what the other install compiled serves it
    assert ask(one) == [(3.0, 1)]
    assert len(list((tmp_path / "cache").iterdir())) == 2


#: Before what is asked: files of 4 kB at most, as on a full disk; no right to pass over rights.
FULL = """
import resource, signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
"""
BOUND = """
import ctypes, os, sys
if os.getuid() == 0 and "bound" not in sys.argv:
    for capability in (1, 2):  # to write and to read whatever the rights say
        ctypes.CDLL(None).prctl(24, capability, 0, 0, 0)
    os.execv(sys.executable, [sys.executable, "-c", sys.orig_argv[2], "bound"])
"""


@pytest.mark.skipif(sys.platform != "linux", reason="limits and rights as Linux has them")
@pytest.mark.parametrize("trouble", ["full disk", "closed home", "no home", "closed folder"])
def test_bad_input_116_what_cannot_be_kept_works_and_is_told_once(
    trouble: str, tmp_path: Path
) -> None:
    """From an install without write bits."""
    place, home, spare = version(tmp_path / "one", 2.0), tmp_path / "home", tmp_path / "spare"
    variables: dict[str, str | None] = {
        "HOME": str(home), "TMPDIR": str(spare), "XDG_CACHE_HOME": None, "FUSETHERM_CACHE": None,
    }  # fmt: skip
    spare.mkdir()
    if trouble != "no home":
        home.mkdir()
    if trouble == "closed folder":
        variables["FUSETHERM_CACHE"] = str(home)
    closed = [*place.rglob("*"), place, *([home] if trouble.startswith("closed") else [])]
    for path in closed:
        path.chmod(path.stat().st_mode & ~0o222)
    code = (FULL if trouble == "full disk" else BOUND) + ASK
    kept = trouble in ("closed home", "no home")
    try:
        answers = [told(asking(place, code, **variables)) for _ in range(1 + kept)]
    finally:
        for path in closed:
            path.chmod(path.stat().st_mode | 0o200)
    assert [(value, hits) for value, hits, _ in answers] == [(2.0, 0), (2.0, 1)][: 1 + kept]
    for _, _, said in answers:
        assert said.count("kernels-not-kept") == (not kept), said
        assert said.count("Warning") == (not kept), said
    assert bool(list(spare.rglob("*.nbi"))) is kept
    assert home.exists() is (trouble != "no home")
