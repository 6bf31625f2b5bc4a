"""compiling/: what a kernel computes is what its Python says, run as it stands."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numba
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import fusetherm
from fusetherm.compiled import kernel, merged

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

FIRST, SECOND, THIRD = range(3)


class Bench(NamedTuple):
    """As a network: arrays of one to three axes, of both kinds, and numbers."""

    line: Floats
    table: Floats
    cube: Floats
    kind: Integers
    shift: float
    count: int


def bench() -> Bench:
    """A fresh one, always the same."""
    draw = np.random.default_rng(7)
    return Bench(
        draw.normal(size=6), draw.normal(size=(3, 6)), draw.normal(size=(2, 3, 6)),
        draw.integers(0, 3, size=(3, 6)), 0.25, 4,
    )  # fmt: skip


def same(function: Callable[..., Any], make: Callable[[], Bench]) -> None:
    """Kernel and Python give the same result, and leave the same in their arguments."""
    ours, theirs = make(), make()
    module = sys.modules[__name__]
    with pytest.MonkeyPatch.context() as patch:
        for name, value in vars(module).copy().items():
            if hasattr(value, "py_func"):
                patch.setattr(module, name, value.py_func)
        expected = function.py_func(theirs)  # type: ignore[attr-defined]
    np.testing.assert_allclose(function(ours), expected, rtol=1e-14, atol=1e-14)
    for field, ours_now, theirs_now in zip(Bench._fields, ours, theirs, strict=True):
        np.testing.assert_allclose(ours_now, theirs_now, rtol=1e-14, atol=1e-14, err_msg=field)


@kernel
def elements(b: Bench) -> float:
    """Elements read and set, with one to three indices, in the source or counted."""
    total = b.line[2] + b.table[1, 3] + b.cube[1, 2, 4] + b.kind[FIRST, 5]
    for i in range(b.line.shape[0]):
        b.line[i] = b.table[SECOND, i] * b.shift
        b.table[THIRD, i] += i
        b.kind[0, i] = b.kind[1, i] + b.count
        for j in range(b.cube.shape[1]):
            b.cube[0, j, i] -= b.cube[1, j, i] * j
            total += b.cube[0, j, i]
    return total


@kernel
def rows(b: Bench) -> float:
    """Rows of rows, their sizes, a slice, and a row that is set through its view."""
    layer = b.cube[1]
    row = layer[2]
    same_row = b.cube[1, 2]
    part = b.table[1:, 2:5]
    total = 0.0
    for i in range(row.shape[0]):
        row[i] = row[i] + same_row[i] * 0.5
        total += layer[0, i] * layer.shape[0] + layer.shape[1] + layer.size
    for i in range(part.shape[0]):
        for j in range(part.shape[1]):
            part[i, j] += 1.0
            total += part[i, j]
    b.line[1:3] = 4.0
    return total + row.size + row.strides[0] + layer.strides[0] + len(row)


@kernel
def choices(b: Bench) -> float:
    """Variables set on some ways only, kept over turns of a loop, exchanged, and of two types."""
    low, high = 0.0, 1.0
    found = 0
    last = -1
    value = b.shift
    for i in range(b.line.shape[0]):
        x = b.line[i]
        if x > 0.0:
            last = i
            value = x
        elif x > -0.5:
            if b.count > 3:
                continue
            value = 7.0
        else:
            low, high = high, low
        if i == 4:
            break
        found += b.kind[0, i]
    while found > 3:
        found -= 2
        value = value / 2 + low
    step = 1
    if value > 0.2:
        step = 2
    total = 0.0
    for k in range(5, -1, -step):
        total += k * b.line[k]
    return total + value + low * 10 + high + last + found**2 + value**3 + abs(low - 3)


@merged
def halved(x: float) -> float:
    """With two ways out."""
    if x > 1.0:
        return 1.0
    y = 0.5 * x
    return y


@merged
def twice(x: float, row: Floats) -> tuple[float, int]:
    """Merged itself, with a merged one in it, and two results."""
    y = 0.0
    place = 0
    for i in range(row.shape[0]):
        if halved(row[i]) > y:
            y = halved(row[i])
            place = i
    return y + x, place


@kernel
def inner(b: Bench, by: float) -> float:
    """Called with a record and a row of it."""
    b.line[0] += by
    return b.line[0] + b.table[0, b.count]


@kernel
def nested(b: Bench) -> float:
    """Merged kernels twice, and a kernel of its own that is handed the record on."""
    y = 2.0
    first, i = twice(y, b.line)
    second, j = twice(first, b.table[1])
    x = inner(b, second) + min(first, second) + max(i, j, 2)
    return x + halved(x) + b.line[0]


@kernel
def first_and_rest(b: Bench) -> tuple[float, int]:
    """A tuple of two types, taken apart by its place."""
    pair = (b.shift, b.count)
    return pair[0] * 2.0, pair[SECOND] + 1


@merged
def first_above(row: Floats, limit: float) -> int:
    """With ways out of loops within loops, and a parameter that is set anew."""
    for i in range(row.shape[0]):
        limit = limit * 0.5
        for j in range(i, row.shape[0]):
            if row[j] > limit:
                return j
            if row[j] < -2.0 * limit:
                break
        else:
            limit += 0.1
    return 0


@kernel
def ways_out(b: Bench) -> float:
    """The same merged kernel thrice, its parameter a number in the source and another."""
    pair = (b.shift, b.count)
    i = first_above(b.line, 0.5)
    j = first_above(b.table[1], pair[0])
    return b.table[min(first_above(b.table[2], 0.25), 2), i] * pair[1] + j + b.kind[1, j] // -2


class Pair(NamedTuple):
    """Records in a record, of one type: two benches."""

    here: Bench
    there: Bench


@kernel
def both(p: Pair, b: Bench) -> float:
    """A kernel that is handed a record, and one that lies in another."""
    return inner(p.there, 0.5) + inner(b, 0.25) * p.here.shift + p.here.line[1]


def test_records_in_records_are_handed_on_like_others() -> None:
    ours, theirs = bench(), bench()
    expected = theirs.line[0] + 0.5 + theirs.table[0, 4]
    expected += (theirs.line[0] + 0.75 + theirs.table[0, 4]) * 0.25 + theirs.line[1]
    assert both(Pair(ours, ours), ours) == pytest.approx(expected, rel=1e-14)


NAMED = """
    from typing import NamedTuple
    import numpy as np
    from fusetherm.compiled import kernel

    class Few(NamedTuple):
        first: float
        row: np.ndarray

    class Held(NamedTuple):
        few: Few
        second: float

    @kernel
    def use(few):
        return few.first + few.row[1]

    @kernel
    def of_one(few):
        return use(few)

    @kernel
    def of_held(held):
        return use(held.few)

    @kernel
    def of_both(held, few):
        return 1000.0 * use(held.few) + use(few)

    FEW = Few(1.0, np.arange(3.0))
    HELD = Held(Few(5.0, np.arange(3.0)), 2.0)
"""


def test_kept_kernels_called_in_two_ways_are_told_apart(tmp_path: Path) -> None:
    """A record and a named tuple within one, each compiled by a process of its own."""
    (tmp_path / "named.py").write_text(textwrap.dedent(NAMED))
    place = os.pathsep.join([str(tmp_path), str(Path(fusetherm.__file__).parents[1])])
    kept = {"FUSETHERM_CACHE": str(tmp_path / "cache"), "PYTHONPATH": place}
    for call, expected in (
        ("of_one(FEW)", 2.0),
        ("of_held(HELD)", 6.0),
        ("of_both(HELD, FEW)", 6002.0),
    ):
        assert said(f"from named import *\nprint({call})", **kept) == f"{expected}\n"


@kernel
def one_after_the_other(a: Any, b: Any) -> Any:
    """Where both are the same array, the second sees what the first was set to."""
    before = b[0]
    a[0] = 5.0
    return b[0] - before


@pytest.mark.parametrize("kind", [np.float64, np.complex128])
def test_arrays_may_be_the_same(kind: Any) -> None:
    same_one = np.zeros(2, dtype=kind)
    assert abs(one_after_the_other(same_one, same_one)) == 5.0


@kernel
def summed_up(x: Any, i: Any) -> float:
    """An element, one of a row, and all by one or two indices; then the first is set."""
    total = x[i, 1] * 10.0 + x[1][i] * 100.0
    for j in range(x.shape[0]):
        for k in range(x.shape[1]):
            total += x[j, k] * (j + 2 * k + 1)
    return total


@kernel
def set_one(x: Any, i: Any) -> float:
    """An element of any kind."""
    x[i, 0] = 7
    return x[i, 0] + 1.0


TABLE = np.arange(12.0).reshape(3, 4)
PACKED = np.zeros(3, dtype=[("small", np.int8), ("table", np.float64, (4,))])
PACKED["table"] = TABLE


@pytest.mark.parametrize(
    "table",
    [TABLE, np.asfortranarray(TABLE), TABLE[:, ::2], TABLE.T, TABLE.astype(np.float32),
     TABLE.astype(np.int32), TABLE.astype(np.int64), TABLE > 5.0, TABLE.astype(np.uint8),
     TABLE + 1j, PACKED["table"]],
    ids=["C", "Fortran", "every other", "turned", "float32", "int32", "int64", "bool", "uint8",
         "complex", "unaligned"],
)  # fmt: skip
@pytest.mark.parametrize("index", [1, np.int32(1), np.uint64(1)])
def test_arrays_of_other_kinds_are_read_and_set_as_numba_does(table: Any, index: Any) -> None:
    assert summed_up(table, index) == pytest.approx(summed_up.py_func(table, int(index)))  # type: ignore[attr-defined]
    ours, theirs = table.copy(order="K"), table.copy(order="K")
    expected = set_one.py_func(theirs, int(index))  # type: ignore[attr-defined]
    assert set_one(ours, index) == expected
    np.testing.assert_array_equal(ours, theirs)


def test_an_array_that_is_only_read_is_read() -> None:
    table = TABLE.copy()
    table.flags.writeable = False
    assert summed_up(table, 1) == pytest.approx(summed_up.py_func(table, 1))  # type: ignore[attr-defined]


@kernel
def sizes(x: Any) -> tuple[int, int, int, bool, float | None]:
    """Of an array with nothing in it, with a flag and what may be nothing."""
    found = None
    if x.size > 0:
        found = x[0, 0]
    return x.shape[0], x[0].shape[0], x.size, True, found


@pytest.mark.parametrize("shape", [(1, 0), (2, 3)])
def test_an_array_with_nothing_in_it_has_sizes(shape: tuple[int, int]) -> None:
    assert sizes(np.ones(shape)) == sizes.py_func(np.ones(shape))  # type: ignore[attr-defined]


@numba.njit(inline="always")  # type: ignore[untyped-decorator]
def last_of(x: Floats) -> float:
    """A function of somebody else, to whom no rule of ours applies."""
    return x[-1]


@kernel
def with_anothers(b: Bench) -> float:
    """A kernel that calls it."""
    return last_of(b.line)


def test_functions_of_others_keep_their_meaning() -> None:
    assert with_anothers(bench()) == bench().line[-1]


@kernel
def below_zero(b: Bench) -> float:
    """What kernels must not ask for."""
    return b.table[1, -1]


def test_an_index_below_zero_in_the_source_is_refused() -> None:
    with pytest.raises(NotImplementedError, match="an index below zero") as refused:
        below_zero(bench())
    assert "in kernel below_zero" in str(refused.value.__notes__)


@merged
def again(x: float) -> float:
    """A merged kernel that would never end."""
    return again(x - 1.0) if x > 0.0 else x


@kernel
def endless(x: float) -> float:
    """Its caller."""
    return again(x)


def test_a_kernel_merged_within_itself_is_refused() -> None:
    with pytest.raises(NotImplementedError, match="again, merged within itself"):
        endless(2.0)


@kernel
def there(x: float) -> float:
    """A kernel that calls one that calls it."""
    return back(x - 1.0) if x > 0.0 else x


@kernel
def back(x: float) -> float:
    """The other."""
    return there(x - 1.0) if x > 0.0 else x


@kernel
def itself(x: float) -> float:
    """Without another."""
    return itself(x - 1.0) if x > 0.0 else x


@pytest.mark.parametrize("function", [there, back, itself])
def test_a_kernel_that_comes_back_to_itself_is_refused(function: Callable[..., Any]) -> None:
    name = function.__name__
    for _ in range(2):  # and nothing was kept of it
        with pytest.raises(NotImplementedError, match=f"{name}, called within itself"):
            function(2.0)


@merged
def part_of(b: Bench, i: int) -> Bench:
    """A record of a record's parts, made where it is merged."""
    return Bench(b.table[i], b.cube[1], b.cube, b.kind, b.shift * i, i)


@kernel
def records_made(b: Bench) -> float:
    """Records made in a loop, kept over their turn only, and handed on."""
    total = 0.0
    for i in range(3):
        part = part_of(b, i)
        total += inner(part, 0.5) * part.shift + inner(b, 0.25) + part.table[2, i]
    return total


@pytest.mark.parametrize(
    "function", [elements, rows, choices, nested, ways_out, first_and_rest, records_made]
)
def test_a_kernel_computes_what_its_python_does(function: Callable[..., Any]) -> None:
    same(function, bench)


@given(st.lists(st.floats(-2.0, 2.0), min_size=6, max_size=6), st.integers(0, 6))
@settings(max_examples=60, deadline=None)
def test_ways_through_a_kernel_are_those_of_its_python(line: list[float], count: int) -> None:
    for function in (choices, nested):
        same(function, lambda: bench()._replace(line=np.array(line), count=min(count, 5)))


@kernel
def choice_of_records(b: Bench) -> float:
    """What kernels cannot do."""
    other = b
    if b.count > 2:
        other = part_of(b, 1)
    return other.shift


def test_a_kernel_that_chooses_between_records_is_refused() -> None:
    with pytest.raises(NotImplementedError, match=r"other\S* comes from several places"):
        choice_of_records(bench())


def test_a_kernel_that_returns_arrays_to_python_is_refused() -> None:
    with pytest.raises(NotImplementedError, match="that returns Record Bench"):
        part_of(bench(), 1)


@pytest.mark.parametrize("index", [3, -1])
def test_indices_out_of_bounds_are_found_where_numba_is_asked_to(index: int) -> None:
    """NUMBA_BOUNDSCHECK as numba documents it (its reference manual, environment variables)."""
    program = f"""
        import numpy as np
        from fusetherm.compiled import kernel

        @kernel
        def beyond(x, i):
            return x[0, i] + x[i][0]

        print(beyond(np.ones((2, 3)), 1))
        try:
            beyond(np.ones((2, 3)), {index})
        except IndexError as problem:
            print("found:", problem)
    """
    assert said(program, NUMBA_BOUNDSCHECK="1").startswith("2.0\nfound:")


def test_notes_for_debuggers_change_nothing() -> None:
    """NUMBA_DEBUGINFO, which numba's own kernels obey."""
    program = """
        import numpy as np
        from fusetherm.compiled import kernel

        @kernel
        def total(x):
            found = 0.0
            for i in range(x.shape[0]):
                step = x[i] * 2.0
                found += step
            return found

        print(total(np.arange(4.0)))
    """
    assert said(program, NUMBA_DEBUGINFO="1") == "12.0\n"


def said(program: str, **variables: str) -> str:
    """Output of a program with kernels in a process of its own."""
    environment = {**os.environ, "FUSETHERM_CACHE": "off", **variables}
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", textwrap.dedent(program)],
        capture_output=True, text=True, env=environment, check=True,
    )  # fmt: skip
    return done.stdout
