"""Swing law, Miner's sum, scatter and strain-life formulas."""

from __future__ import annotations

import numpy as np
import pytest

from fusetherm.errors import InputError
from fusetherm.life.rainflow import count_cycles
from fusetherm.life.scatter import Weibull
from fusetherm.life.strain_life import copper_strain, cycles_at_strain, universal_slopes
from fusetherm.life.swing_law import SwingLaw, equivalent_swing, miner_sum

EXAMPLE = count_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2])


def test_miner_sum_of_the_standards_example() -> None:
    # N = 1e6 / range^5 on the counts of ASTM E1049's example; arithmetic
    law = SwingLaw(pivot_cycles=1e6, pivot_swing=1.0, exponent=5.0)
    assert miner_sum(law, EXAMPLE) == pytest.approx(0.067838, rel=1e-9)
    assert miner_sum(law, EXAMPLE.times(3)) == pytest.approx(3 * 0.067838, rel=1e-9)


def test_equivalent_swing_of_the_standards_example() -> None:
    # arithmetic on the same counts, 4 cycles, exponent 5
    assert equivalent_swing(EXAMPLE, 5.0, 4.0) == pytest.approx(7.012657184894694, rel=1e-9)


def test_hold_and_peak_by_norris_and_landzberg() -> None:
    # their acceleration for tin-lead: 100 against 50 K, 24 against 6 a day, 398 against 358 K
    law = SwingLaw(
        pivot_cycles=1.0, pivot_swing=100.0, exponent=1.9,
        peak_activation=1414.0, frequency_exponent=1 / 3,
    )  # fmt: skip
    day = 86400.0
    in_test = law.cycles(100.0, peak_k=398.0, frequency=24 / day)
    in_use = law.cycles(50.0, peak_k=358.0, frequency=6 / day)
    assert float(in_use / in_test) == pytest.approx(3.4967654147881473, rel=1e-6)


def test_no_swing_does_no_damage() -> None:
    law = SwingLaw(pivot_cycles=10.0, pivot_swing=100.0, exponent=4.0)
    assert np.isinf(law.cycles(0.0))
    assert law.with_exponent(8.0).cycles(50.0) == pytest.approx(2560.0)


def test_units_scatter_about_their_median() -> None:
    scatter = Weibull(3.0)
    assert scatter.factor(0.5) == pytest.approx(1.0)
    assert np.allclose(scatter.failed(scatter.factor([0.01, 0.1, 0.9])), [0.01, 0.1, 0.9])
    assert scatter.factor(0.01) < scatter.factor(0.1)


def test_strain_life_of_plated_copper() -> None:
    # IPC-TR-579, D = .3, 40 ksi over 12e3 ksi: solved for 1 % strain range
    found = cycles_at_strain(lambda n: copper_strain(n, 40 / 12e3, 0.3), 0.01)
    assert found == pytest.approx(1360.667826967337, rel=1e-6)


def test_universal_slopes() -> None:
    assert universal_slopes(1.0, 0.002, 0.5) == pytest.approx(0.007 + 0.5**0.6)
    curve = lambda n: universal_slopes(n, 0.002, 0.5)  # noqa: E731
    assert cycles_at_strain(curve, curve(1234.0)) == pytest.approx(1234.0)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: SwingLaw(pivot_cycles=0.0, pivot_swing=1.0, exponent=1.0),
        lambda: Weibull(float("nan")),
        lambda: cycles_at_strain(lambda n: 1 / n, 1e9),
    ],
)
def test_faults_are_refused(ask: object) -> None:
    with pytest.raises(InputError):
        ask()  # type: ignore[operator]
