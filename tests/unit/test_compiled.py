"""compiled.py: kernels, and the cache that notices every edit."""

from __future__ import annotations

import shutil
import stat
import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

import numba
import numpy as np
import pytest

from fusetherm import compiled


@pytest.fixture(autouse=True)
def _fresh_folder() -> Iterator[None]:
    """The folder is looked up once a process; each test here looks again."""
    compiled.cache_folder.cache_clear()
    yield
    compiled.cache_folder.cache_clear()


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small package of one kernel and one plain file, in place of ours."""
    folder = tmp_path / "package"
    (folder / "deep").mkdir(parents=True)
    (folder / "deep" / "step.py").write_text("from ..compiled import kernel\n")
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
    assert compiled.cache_folder() is None
    total = import_kernel(tmp_path, monkeypatch, "homeless_kernel")
    assert total(np.ones(3)) == 3.0


def test_bad_input_116_folder_that_refuses_files_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(**_: object) -> None:
        raise PermissionError("read-only")

    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path))
    monkeypatch.setattr(compiled.tempfile, "TemporaryFile", refuse)
    assert compiled.cache_folder() is None


@pytest.mark.skipif(not hasattr(__import__("os"), "getuid"), reason="no owners on this platform")
def test_folder_of_somebody_else_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path))
    monkeypatch.setattr(compiled.os, "getuid", lambda: tmp_path.stat().st_uid + 1)
    assert compiled.cache_folder() is None


def test_hash_sees_an_edit_in_any_kernel_file(package: Path) -> None:
    first = compiled.sources_hash()
    assert first == compiled.sources_hash()
    with (package / "deep" / "step.py").open("a") as stream:
        stream.write("# edited\n")
    assert compiled.sources_hash() != first


def test_hash_sees_a_moved_and_a_new_kernel_file(package: Path) -> None:
    seen = {compiled.sources_hash()}
    shutil.move(package / "deep" / "step.py", package / "step.py")
    seen.add(compiled.sources_hash())
    (package / "other.py").write_text("from .compiled import kernel\n")
    seen.add(compiled.sources_hash())
    assert len(seen) == 3


def test_hash_passes_over_plain_files(package: Path) -> None:
    first = compiled.sources_hash()
    (package / "plain.py").write_text("x = 2\n")
    assert compiled.sources_hash() == first


def test_hash_sees_another_numba(monkeypatch: pytest.MonkeyPatch) -> None:
    first = compiled.sources_hash()
    monkeypatch.setattr(compiled.numba, "__version__", "0.0.0")
    assert compiled.sources_hash() != first


def test_folder_is_named_after_the_hash(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(compiled.CACHE_VARIABLE, str(tmp_path))
    folder = compiled.cache_folder()
    assert folder is not None
    assert folder.name == f"kernels-{compiled.sources_hash()}"


def test_every_kernel_file_is_in_the_hash() -> None:
    package = Path(compiled.__file__).parent
    with_kernels = {
        path for path in package.rglob("*.py") if "\n@kernel" in path.read_text(encoding="utf-8")
    }
    assert with_kernels <= set(compiled._sources())
