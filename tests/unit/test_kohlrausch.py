"""physics/kohlrausch.py: end-cooled steady states."""

from __future__ import annotations

import doctest
import math

import numpy as np
import pytest

from fusetherm.errors import InputError
from fusetherm.physics import kohlrausch
from fusetherm.physics.constants import SOMMERFELD_LORENZ
from fusetherm.physics.kohlrausch import (
    ambient_ratio_convective,
    ambient_ratio_end_cooled_wf,
    end_cooled_current,
    end_cooled_current_wf,
    end_cooled_resistance_ratio_wf,
    hot_spot_ceiling,
    kohlrausch_hot_spot,
    kohlrausch_voltage,
    kohlrausch_voltage_wf,
    minimum_fusing_current,
)
from fusetherm.physics.metals import METALS, Metal, metal

Array = np.ndarray


class Ideal:
    """A metal that obeys Wiedemann-Franz, with resistivity proportional to temperature."""

    slope = 6e-11

    def resistivity(self, temperature: Array) -> Array:
        return self.slope * temperature

    def conductivity(self, temperature: Array) -> Array:
        return np.full_like(temperature, SOMMERFELD_LORENZ / self.slope)


def test_docstring_examples() -> None:
    tried = doctest.testmod(kohlrausch)
    assert tried.attempted > 0
    assert tried.failed == 0


def test_integrals_agree_with_the_closed_forms_of_an_ideal_metal() -> None:
    for ends in (293.15, (250.0, 640.0)):
        assert kohlrausch_voltage(Ideal(), 700.0, ends) == pytest.approx(
            kohlrausch_voltage_wf(700.0, ends), rel=1e-12
        )
    assert end_cooled_current(Ideal(), 700.0, 293.15, 1e5) == pytest.approx(
        end_cooled_current_wf(700.0, 293.15, 1e5, Ideal.slope), rel=1e-12
    )
    # hot resistance, from voltage and current, over the cold one
    hot = kohlrausch_voltage_wf(700.0, 293.15) / end_cooled_current_wf(700.0, 293.15, 1e5, 6e-11)
    assert hot / (6e-11 * 293.15 * 1e5) == pytest.approx(
        end_cooled_resistance_ratio_wf(700.0, 293.15), rel=1e-12
    )


def test_unequal_ends_lie_between_equal_ones() -> None:
    zinc = metal("zinc")
    both = [end_cooled_current(zinc, 650.0, t, 1e4) for t in (300.0, 400.0)]
    mixed = end_cooled_current(zinc, 650.0, (300.0, 400.0), 1e4)
    assert mixed == pytest.approx(sum(both) / 2.0, rel=1e-12)
    assert mixed == end_cooled_current(zinc, 650.0, (400.0, 300.0), 1e4)


@pytest.mark.parametrize("ends", [293.15, (293.15, 400.0), (500.0, 293.15)])
def test_hot_spot_undoes_the_voltage(ends: float | tuple[float, float]) -> None:
    voltage = kohlrausch_voltage_wf(650.0, ends)
    assert kohlrausch_hot_spot(voltage, ends) == pytest.approx(650.0, rel=1e-12)
    assert kohlrausch_hot_spot(-voltage, ends) == pytest.approx(650.0, rel=1e-12)


def test_a_small_voltage_leaves_the_hotter_end_the_hottest() -> None:
    assert kohlrausch_hot_spot(0.0, 300.0) == 300.0
    assert kohlrausch_hot_spot(0.01, (300.0, 400.0)) == 400.0
    assert hot_spot_ceiling(metal("zinc"), 0.01, (300.0, 400.0)) == 400.0
    assert hot_spot_ceiling(metal("zinc"), 0.0, 300.0) == 300.0


@pytest.mark.parametrize("one", METALS.values(), ids=METALS)
def test_ceiling_undoes_the_voltage_and_ends_at_melting(one: Metal) -> None:
    hot = 0.5 * (300.0 + one.solidus_k)
    voltage = kohlrausch_voltage(one, hot, 300.0)
    assert hot_spot_ceiling(one, voltage, 300.0) == pytest.approx(hot, rel=1e-9)
    melting = kohlrausch_voltage(one, one.solidus_k, 300.0)
    assert hot_spot_ceiling(one, 0.999 * melting, 300.0) < one.solidus_k
    assert math.isinf(hot_spot_ceiling(one, 1.001 * melting, 300.0))


def test_ceiling_of_tables_is_near_that_of_the_ideal_metal() -> None:
    # copper's Lorenz number is within 11 % of Sommerfeld's
    rise = hot_spot_ceiling(metal("copper"), 0.1, 293.15) - 293.15
    assert rise == pytest.approx(kohlrausch_hot_spot(0.1, 293.15) - 293.15, rel=0.1)


def test_minimum_fusing_current_scales_with_the_shape() -> None:
    zinc = metal("zinc")
    one, half = (minimum_fusing_current(zinc, 293.15, g) for g in (1e4, 2e4))
    assert one == pytest.approx(2.0 * half, rel=1e-12)
    assert minimum_fusing_current(zinc, 400.0, 1e4) < one


def test_ambient_ratios_are_one_at_the_reference_and_fall() -> None:
    for ratio in (ambient_ratio_convective, ambient_ratio_end_cooled_wf):
        assert ratio(296.15, 692.677, 296.15) == 1.0
        assert ratio(358.15, 692.677, 296.15) < 1.0 < ratio(233.15, 692.677, 296.15)


def test_ends_hotter_than_the_hot_spot_are_refused() -> None:
    with pytest.raises(InputError) as caught:
        kohlrausch_voltage(metal("tin"), 300.0, (290.0, 310.0))
    assert caught.value.code == "end-hotter-than-hot-spot"


def test_cold_wire_has_its_cold_resistance() -> None:
    assert end_cooled_resistance_ratio_wf(300.0, 300.0) == 1.0
