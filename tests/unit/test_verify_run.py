"""Running cases: counts, order, progress, forms of the result."""

from __future__ import annotations

import json
import math
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

import fusetherm
from fusetherm import InputError
from fusetherm.labelled import write_netcdf
from fusetherm.verify import Case, Row, Verification, cases, run_cases
from fusetherm.verify.case import case
from fusetherm.verify.run import SCHEMA


def one(id: str, value: float, topic: str = "sums", **different: Any) -> Case:
    about: dict[str, Any] = {
        "unit": "1", "expected": 1.0, "absolute": 0.1, "source": "arithmetic",
        "origin": "computed", "calls": "len", "topic": topic,
    }  # fmt: skip
    return case(id, f"row {id}", **{**about, **different})(lambda: value)


def raised() -> float:
    raise ZeroDivisionError("by nothing")


THREE = (
    one("good", 1.05),
    one("bad", 1.5, topic="others", integrates=True),
    one("band", 7.0, expected=(5.0, math.inf), absolute=None),
)


def test_rows_stand_in_the_order_of_the_cases() -> None:
    seen: list[Row] = []
    result = run_cases(THREE, progress=seen.append)
    assert [row.case.id for row in result.rows] == ["good", "bad", "band"]
    assert tuple(seen) == result.rows
    assert [row.case.id for row in result.failed] == ["bad"]
    assert [row.case.id for row in result.integrated] == ["bad"]
    assert not result.passed
    assert {name: len(rows) for name, rows in result.topics.items()} == {"sums": 2, "others": 1}


def test_a_topic() -> None:
    result = run_cases(THREE, topic="sums")
    assert [row.case.id for row in result.rows] == ["good", "band"]
    assert result.passed
    with pytest.raises(InputError, match="'sum'") as caught:
        run_cases(THREE, topic="sum")
    assert caught.value.code == "topic-unknown"
    assert "sums, others" in str(caught.value)


def test_no_rows_prove_nothing() -> None:
    assert not run_cases(()).passed


def test_versions_are_those_installed() -> None:
    found = run_cases(THREE).versions
    assert found["fusetherm"] == fusetherm.__version__
    assert found["numpy"] == np.__version__
    assert {"python", "scipy", "numba"} <= set(found)


def test_plain_data_survive_json() -> None:
    broken = case(
        "broken", "raises", unit="1", expected=1.0, absolute=0.1, source="none", origin="memory",
        calls="len", topic="sums",
    )(raised)  # fmt: skip
    text = json.dumps(run_cases((*THREE, broken)).to_data(), allow_nan=False)
    data = json.loads(text)
    assert data["schema"] == SCHEMA
    assert data["passed"] is False
    assert data["counts"] == {
        "rows": 4, "passed": 2, "failed": 2, "integrated": 1, "topics": {"sums": 3, "others": 1},
    }  # fmt: skip
    good, bad, band, failure = data["rows"]
    assert good["error"] == pytest.approx(0.05)
    assert bad["passed"] is False
    assert band["expected"] == [5.0, None]
    assert failure["got"] is None
    assert failure["failure"] == "ZeroDivisionError: by nothing"


def test_dataset_has_a_variable_a_column(tmp_path: Any) -> None:
    dataset = run_cases(THREE).to_xarray()
    assert dataset.id.values.tolist() == ["good", "bad", "band"]
    assert dataset.passed.values.tolist() == [True, False, True]
    assert dataset.got.values.tolist() == [1.05, 1.5, 7.0]
    assert dataset.expected_low.values.tolist() == [1.0, 1.0, 5.0]
    assert dataset.expected_high.values.tolist() == [1.0, 1.0, math.inf]
    assert all("long_name" in variable.attrs for variable in dataset.variables.values())
    assert dataset.attrs["kind"] == "Verification"
    assert json.loads(dataset.attrs["configuration"])["versions"]["numpy"] == np.__version__
    write_netcdf(dataset, tmp_path / "table.nc")


def test_what_rows_share_is_measured_anew() -> None:
    calls = []

    @lru_cache
    def shared() -> float:
        calls.append(1)
        return 1.0

    def space(name: str) -> Case:
        # a measure whose globals hold the shared function, as in a file of rows
        names: dict[str, Any] = {"shared": shared, "__name__": "rows"}
        exec("def measure():\n    return shared()", names)
        return case(
            name, "shared", unit="1", expected=1.0, absolute=0.1, source="none", origin="memory",
            calls="len",
        )(names["measure"])  # fmt: skip

    both = (space("first"), space("second"))
    assert run_cases(both).passed
    assert len(calls) == 1
    assert run_cases(both).passed
    assert len(calls) == 2


def test_no_rows_have_a_dataset() -> None:
    assert Verification((), 0.0, {}).to_xarray().sizes == {"id": 0}


def test_the_public_door() -> None:
    assert fusetherm.verify.cases() is cases()
