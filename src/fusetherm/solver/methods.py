"""Rosenbrock methods as tables of coefficients, each with its citation.

Form without matrix products: with ``A = I/(gamma dt) - J``,

    A K_i = f(t + alpha_i dt, y + sum a_ij K_j) + sum (c_ij / dt) K_j + gamma_i dt df/dt
    y_new = y + sum m_i K_i,    error = sum e_i K_i

Both methods are stiffly accurate and L-stable; one Jacobian and one factorisation a step.
"""

from __future__ import annotations

import numpy as np

from .kernels.layout import Method


def _method(
    gamma: float,
    order: float,
    a: dict[tuple[int, int], float],
    c: dict[tuple[int, int], float],
    alpha: list[float],
    gamma_sum: list[float],
    new_function: list[int],
    weight: list[float],
    error: list[float],
) -> Method:
    stages = len(alpha)
    table_a, table_c = np.zeros((stages, stages)), np.zeros((stages, stages))
    for (i, j), value in a.items():
        table_a[i - 1, j - 1] = value
    for (i, j), value in c.items():
        table_c[i - 1, j - 1] = value
    # a heat's stages H = gamma dt (r + c/dt H) add up to weight . H = dt heat . r
    heat = gamma * np.linalg.solve(np.eye(stages) - gamma * table_c.T, np.array(weight))
    return Method(
        gamma=gamma,
        order=order,
        a=table_a,
        c=table_c,
        alpha=np.array(alpha),
        gamma_sum=np.array(gamma_sum),
        new_function=np.array(new_function, dtype=np.int64),
        weight=np.array(weight),
        error=np.array(error),
        heat=heat,
    )


#: RODAS3: 4 stages, order 3 with an embedded order 2. A. Sandu, J. G. Verwer, J. G. Blom,
#: E. J. Spee, G. R. Carmichael, F. A. Potra, "Benchmarking stiff ODE solvers for
#: atmospheric chemistry problems II: Rosenbrock solvers", Atmos. Environ. 31 (1997) 3459.
RODAS3 = _method(
    gamma=0.5,
    order=3.0,
    a={(3, 1): 2.0, (4, 1): 2.0, (4, 3): 1.0},
    c={
        (2, 1): 4.0,
        (3, 1): 1.0,
        (3, 2): -1.0,
        (4, 1): 1.0,
        (4, 2): -1.0,
        (4, 3): -8.0 / 3.0,
    },
    alpha=[0.0, 0.0, 1.0, 1.0],
    gamma_sum=[0.5, 1.5, 0.0, 0.0],
    new_function=[1, 0, 1, 1],
    weight=[2.0, 0.0, 1.0, 1.0],
    error=[0.0, 0.0, 0.0, 1.0],
)

#: RODAS4: 6 stages, order 4 with an embedded order 3. E. Hairer, G. Wanner, "Solving
#: Ordinary Differential Equations II", 2nd edition, Springer 1996, section IV.7 (RODAS).
RODAS4 = _method(
    gamma=0.25,
    order=4.0,
    a={
        (2, 1): 1.544,
        (3, 1): 0.9466785280815826,
        (3, 2): 0.2557011698983284,
        (4, 1): 3.314825187068521,
        (4, 2): 2.896124015972201,
        (4, 3): 0.9986419139977817,
        (5, 1): 1.221224509226641,
        (5, 2): 6.019134481288629,
        (5, 3): 12.53708332932087,
        (5, 4): -0.6878860361058950,
        (6, 1): 1.221224509226641,
        (6, 2): 6.019134481288629,
        (6, 3): 12.53708332932087,
        (6, 4): -0.6878860361058950,
        (6, 5): 1.0,
    },
    c={
        (2, 1): -5.6688,
        (3, 1): -2.430093356833875,
        (3, 2): -0.2063599157091915,
        (4, 1): -0.1073529058151375,
        (4, 2): -9.594562251023355,
        (4, 3): -20.47028614809616,
        (5, 1): 7.496443313967647,
        (5, 2): -10.24680431464352,
        (5, 3): -33.99990352819905,
        (5, 4): 11.70890893206160,
        (6, 1): 8.083246795921522,
        (6, 2): -7.981132988064893,
        (6, 3): -31.52159432874371,
        (6, 4): 16.31930543123136,
        (6, 5): -6.058818238834054,
    },
    alpha=[0.0, 0.386, 0.21, 0.63, 1.0, 1.0],
    gamma_sum=[0.25, -0.1043, 0.1035, -0.0362, 0.0, 0.0],
    new_function=[1, 1, 1, 1, 1, 1],
    weight=[1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0, 1.0],
    error=[0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
)

METHODS = {"rodas3": RODAS3, "rodas4": RODAS4}
