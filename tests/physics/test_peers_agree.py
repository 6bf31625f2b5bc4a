"""The solvers that `benchmarks/compare.py` races reach one onset, and are given one network.

Only those of the `test` extra; the callbacks and the exact onset are those of the benchmark.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
WAYS: dict[str, tuple[str, dict[str, Any]]] = {
    "LSODA": ("scipy", {"method": "LSODA", "jacobian": "band", "bands": True}),
    "LSODA by odeint": ("odeint", {}),
    "BDF": ("scipy", {"method": "BDF", "jacobian": "sparse"}),
    "Radau": ("scipy", {"method": "Radau", "jacobian": "dense"}),
    "CVODE, dense": ("cvode_python", {"solver": "dense", "jacobian": True, "order": 5}),
    "CVODE, band": ("cvode_python", {"solver": "band", "jacobian": True, "order": 5}),
}


@pytest.fixture(scope="module")
def solvers() -> Iterator[Any]:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(BENCHMARKS)
        yield importlib.import_module("peers.solvers")


@pytest.fixture(scope="module")
def case(solvers: Any) -> Any:
    return solvers.Case("reference", 16)


@pytest.mark.parametrize("way", WAYS)
def test_peers_reach_the_same_onset(case: Any, way: str) -> None:
    name, how = WAYS[way]
    onset = getattr(case, name)(1e-9, {**how, "scale": 300.0})
    assert onset == pytest.approx(case.exact, rel=3e-7)


def test_the_jacobians_given_are_those_of_the_right_side(case: Any) -> None:
    n = case.net.size
    u = case.cold + 300.0 * np.linspace(0.1, 1.0, n)
    columns = []
    for j in range(n):
        step = np.zeros(n)
        step[j] = 1e-3
        columns.append((case.right(0.0, u + step) - case.right(0.0, u - step)) / 2e-3)
    differences = np.array(columns).T
    dense = case.slopes(0.0, u).copy()
    scale = np.abs(dense).max(axis=1, keepdims=True)
    assert np.abs(dense - differences) / scale == pytest.approx(0.0, abs=1e-6)
    assert np.array_equal(case.sparse(0.0, u).toarray(), dense)
    bands = case.narrow(0.0, u)
    chain = case.net.chain
    for offset in (-1, 0, 1):
        here = np.diagonal(dense[:chain, :chain], offset)
        kept = bands[1 - offset, max(offset, 0) : max(offset, 0) + len(here)]
        assert np.array_equal(kept, here)
