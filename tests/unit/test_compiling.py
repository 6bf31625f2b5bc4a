"""compiling/: what a kernel computes is what its Python says, run as it stands."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
    "function", [elements, rows, choices, nested, first_and_rest, records_made]
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
    with pytest.raises(NotImplementedError, match="chooses between named tuples"):
        choice_of_records(bench())


def test_a_kernel_that_returns_arrays_to_python_is_refused() -> None:
    with pytest.raises(NotImplementedError, match="that Python calls and that returns Bench"):
        part_of(bench(), 1)


def test_indices_out_of_bounds_are_found_where_numba_is_asked_to() -> None:
    """NUMBA_BOUNDSCHECK as numba documents it (its reference manual, environment variables)."""
    program = """
        import numpy as np
        from fusetherm.compiled import kernel

        @kernel
        def beyond(x, i):
            return x[0, i] + x[i][0]

        print(beyond(np.ones((2, 3)), 1))
        try:
            beyond(np.ones((2, 3)), 3)
        except IndexError as problem:
            print("found:", problem)
    """
    environment = {**os.environ, "NUMBA_BOUNDSCHECK": "1", "FUSETHERM_CACHE": "off"}
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", textwrap.dedent(program)],
        capture_output=True, text=True, env=environment, check=True,
    )  # fmt: skip
    assert done.stdout.startswith("2.0\nfound:"), done.stdout + done.stderr
