"""Kernels in two steps: parts for other kernels, wholes for Python."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import numba
import numpy as np
import pytest

from fusetherm import compiled

SOURCE = """
    import numpy as np
    from fusetherm.compiled import kernel, merged

    LARGE = np.ones(300_000)

    @kernel
    def look(i):
        return LARGE[i]

    @merged
    def twice(value):
        return 2.0 * value

    @kernel
    def inner(spare, values):  # an argument that nothing needs
        result = 0.0
        for i in range(values.shape[0]):
            result += twice(values[i])
        return result

    @kernel
    def outer(values):
        return inner(values, values) + 1.0

    @kernel
    def other(values):
        return inner(values, values) + inner(values, values)

    @kernel
    def long(spare, values):
        result = 0.0
        for i in range(values.shape[0]):
            {lines}
        return result

    @kernel
    def between(values):
        return long(values, values) + max(values[0], values[1])

    @kernel
    def far(values):
        return between(values)

    @kernel
    def twice_long(values):
        return long(values, values) + long(values, values[1:])
""".replace("{lines}", "; ".join(f"result = result / {k}.5 + values[i]" for k in range(1, 60)))


@pytest.fixture(params=["kept", "off"])
def made(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Path]:
    """A module with kernels that call each other, and a cache or none."""
    cache = str(tmp_path / "cache") if request.param == "kept" else "off"
    monkeypatch.setenv(compiled.CACHE_VARIABLE, cache)
    monkeypatch.syspath_prepend(str(tmp_path))
    compiled.cache_folder.cache_clear()
    (tmp_path / "some_parts.py").write_text(textwrap.dedent(SOURCE))
    yield tmp_path
    compiled.cache_folder.cache_clear()


def imported(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.delitem(sys.modules, "some_parts", raising=False)
    return __import__("some_parts")


VALUES = np.array([1.0, 2.0, 3.5])


def test_what_kernels_call_is_no_machine_code_before_python_calls_it(
    made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = imported(monkeypatch)
    assert module.outer(VALUES) == 14.0
    assert len(module.outer.called_with) == 1
    assert len(module.inner.overloads) == 1
    assert module.inner.called_with == []
    assert (module.inner(VALUES, VALUES), module.twice(0.25)) == (13.0, 0.5)
    assert len(module.inner.called_with) == len(module.inner.overloads) == 1
    assert module.inner(VALUES, VALUES[:2]) == 6.0


def test_what_is_kept_needs_no_part(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert imported(monkeypatch).outer(VALUES) == 14.0
    again = imported(monkeypatch)
    assert again.outer(VALUES) == 14.0
    kept = compiled.cache_folder() is not None
    assert (again.outer.overloads == again.inner.overloads == {}) is kept
    # a kernel that was never compiled takes the parts from their files
    assert again.other(VALUES) == 26.0
    assert again.inner.stats.cache_hits.total() == int(kept)


def test_a_kept_part_brings_what_it_calls(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = imported(monkeypatch)
    compiled.prepare(module.between, VALUES)
    again = imported(monkeypatch)
    right = again.long.py_func(None, VALUES) + 2.0
    assert again.far(VALUES) == pytest.approx(right, rel=1e-12)
    assert (again.long.overloads == {}) is (compiled.cache_folder() is not None)


def test_a_whole_serves_as_a_part_too(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = imported(monkeypatch)
    assert module.inner(VALUES, VALUES) == 13.0
    again = imported(monkeypatch)
    assert again.inner(VALUES, VALUES) == 13.0
    assert again.outer(VALUES) == 14.0


def test_functions_that_are_no_kernels_of_ours_call_them(
    made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = imported(monkeypatch)
    long = module.long
    # within this whole it stays a function, and needs no spare argument any more
    assert module.twice_long(VALUES) > 0.0

    @numba.njit
    def caller(values: np.ndarray) -> float:  # must not find that one by its name
        return long(values[:0], values)  # type: ignore[no-any-return]

    assert caller(VALUES) == pytest.approx(long.py_func(None, VALUES), rel=1e-12)
    assert long(VALUES, VALUES) == pytest.approx(long.py_func(None, VALUES), rel=1e-12)


def test_prepared_parts_are_no_machine_code(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = imported(monkeypatch)
    compiled.prepare(module.inner, VALUES, VALUES)
    assert len(module.inner.overloads) == 1
    assert module.inner.called_with == []


def test_a_wrong_argument_is_told_and_harms_nothing(
    made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = imported(monkeypatch)
    with pytest.raises(numba.TypingError):
        module.outer("no array")
    for lock in made.rglob("*.lock"):  # another process need not wait for what failed here
        assert claimable(lock)
    assert module.outer(VALUES) == 14.0


def claimable(lock: Path) -> bool:
    fcntl = pytest.importorskip("fcntl")
    with lock.open("w") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
    return True


def test_a_part_with_an_address_of_this_process_is_not_kept(
    made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = imported(monkeypatch)
    compiled.prepare(module.look, 1)  # numba keeps a large array where it lies, and its address
    compiled.prepare(module.inner, VALUES, VALUES)
    kept = {path.name.split("-")[0] for path in made.rglob("*.nbi")}
    assert kept == ({"some_parts+inner"} if compiled.cache_folder() is not None else set())
    assert module.look(5) == 1.0


def test_a_kernel_compiled_anew_is_called_at_once(
    made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outer = imported(monkeypatch).outer
    assert outer(VALUES) == 14.0
    before = outer.called_with
    outer.recompile()
    assert outer.called_with == before
    assert outer(VALUES) == 14.0
