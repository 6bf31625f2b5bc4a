"""Coefficients of the Rosenbrock methods: order conditions, stiff accuracy, observed order."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from fusetherm.solver.kernels.layout import Method
from fusetherm.solver.methods import METHODS

Floats = npt.NDArray[np.float64]


def step(method: Method, t: float, y: Floats, dt: float) -> tuple[Floats, Floats]:
    """One step of the method for y' = f(t, y) below, and its error estimate; plain numpy."""
    jacobian, time_slope = slopes(t, y)
    matrix = np.eye(len(y)) / (method.gamma * dt) - jacobian
    stages = np.zeros((len(method.alpha), len(y)))
    value = rate(t, y)
    for s in range(len(stages)):
        if method.new_function[s]:
            value = rate(t + method.alpha[s] * dt, y + method.a[s] @ stages)
        right = value + method.c[s] @ stages / dt + method.gamma_sum[s] * dt * time_slope
        stages[s] = np.linalg.solve(matrix, right)
    return y + method.weight @ stages, method.error @ stages


def rate(t: float, y: Floats) -> Floats:
    """A pendulum with a driven, non-linear damping: smooth, non-autonomous, not stiff."""
    return np.array([y[1] + 0.2 * np.sin(t), -np.sin(y[0]) - 0.3 * y[1] ** 3 + np.cos(2.0 * t)])


def slopes(t: float, y: Floats) -> tuple[Floats, Floats]:
    jacobian = np.array([[0.0, 1.0], [-np.cos(y[0]), -0.9 * y[1] ** 2]])
    return jacobian, np.array([0.2 * np.cos(t), -2.0 * np.sin(2.0 * t)])


def solved(method: Method, steps: int) -> Floats:
    y, dt = np.array([1.0, 0.5]), 2.0 / steps
    for i in range(steps):
        y, _ = step(method, i * dt, y, dt)
    return y


@pytest.mark.parametrize(("name", "declared"), [("rodas3", 3.0), ("rodas4", 4.0)])
def test_observed_order(name: str, declared: float) -> None:
    method = METHODS[name]
    assert method.order == declared
    exact = solved(METHODS["rodas4"], 4000)
    errors = [float(np.max(np.abs(solved(method, n) - exact))) for n in (40, 80, 160)]
    observed = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert observed == pytest.approx(declared, abs=0.15)


@pytest.mark.parametrize("name", METHODS)
def test_error_estimate_is_one_order_lower(name: str) -> None:
    method = METHODS[name]
    y = np.array([1.0, 0.5])
    errors = [float(np.max(np.abs(step(method, 0.0, y, dt)[1]))) for dt in (0.02, 0.01)]
    assert np.log2(errors[0] / errors[1]) == pytest.approx(method.order, abs=0.3)


@pytest.mark.parametrize("name", METHODS)
def test_damps_what_is_infinitely_stiff(name: str) -> None:
    # y' = z y with z dt to minus infinity: an L-stable method gives zero
    method = METHODS[name]
    stages = np.zeros(len(method.alpha))
    shift, z = 1.0 / method.gamma, -1e9
    value = z
    for s in range(len(stages)):
        if method.new_function[s]:
            value = z * (1.0 + method.a[s] @ stages)
        stages[s] = (value + method.c[s] @ stages) / (shift - z)
    assert abs(1.0 + method.weight @ stages) < 1e-7
    # stiffly accurate: the last stage is the error, and its point the embedded solution
    assert method.error[-1] == 1.0
    assert np.count_nonzero(method.error) == 1
    assert method.alpha[-1] == 1.0
