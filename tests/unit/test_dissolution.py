"""Dissolution by a tin spot: its law, its place in a model, what a run says of it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

import fusetherm as ft
from fusetherm.fuse.element import Spot
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Filler, Side
from fusetherm.physics.dissolution import SPOTS, Dissolution

SILVER = ft.metal("silver")
SECTIONS = (
    ft.Section(4e-3, 1e-3, 1e-4),
    ft.Section(2e-3, 1e-3, 1e-4),
    ft.Section(4e-3, 1e-3, 1e-4),
)
#: A film that does not follow the ambient, as in the study the slopes come from.
SIDE = Side(
    Blade(0.4, 0.01),
    Contact(0.2e-3),
    Clip(),
    Cable(2.5e-6, film_coefficient=Cable(2.5e-6).film),
)
PLAIN = ft.FuseModel(ft.Element(SILVER, SECTIONS), Body(), SIDE, SIDE)
SPOTTED = replace(PLAIN, element=ft.Element(SILVER, SECTIONS, spot=Spot(1, SPOTS["silver"])))


def held(model: ft.FuseModel, current: float, tolerance: float = 1e-4) -> ft.Run:
    wave = ft.Waveform(time=[0, 2e4], current=[current, current])
    return ft.simulate(model, wave, tolerance=tolerance)


def test_law_is_that_of_arrhenius_above_its_onset() -> None:
    law = Dissolution(500.0, rate_600=0.1, activation_k=4500.0)
    assert law.rate(600.0) == pytest.approx(0.1)
    assert law.rate(700.0) == pytest.approx(0.1 * math.exp(4500.0 * (1 / 600 - 1 / 700)))
    assert (law.rate(499.0), law.time(499.0)) == (0.0, math.inf)
    with pytest.raises(ft.InputError, match="rate_600"):
        Dissolution(500.0, rate_600=0.0)


def test_a_spot_lies_on_a_section() -> None:
    with pytest.raises(ft.InputError, match="section 3"):
        ft.Element(SILVER, SECTIONS, spot=Spot(3, SPOTS["silver"]))
    with pytest.raises(ft.InputError, match="dissolve"):
        ft.simulate(SPOTTED, ft.Waveform(time=[0, 1], current=[1, 1]), ambient_c=230.0)


def test_a_cell_at_one_temperature_dissolves_in_the_time_of_the_law() -> None:
    # an alloy that conducts as the strip does leaves the temperature where it settles
    law = Dissolution(494.0, rate_600=0.05, activation_k=4500.0, resistivity_ratio=1.0 + 1e-9)
    model = replace(PLAIN, element=ft.Element(SILVER, SECTIONS, spot=Spot(1, law)))
    current = 1.1 * ft.minimum_fusing_current(model)
    run = held(model, current)
    warm = held(PLAIN, current, tolerance=1e-8)
    # int rate dt = 1 along the temperature that the same strip has without a spot
    total = time = 0.0
    rates = [law.rate(t + 273.15) for t in warm.element_temperature_c]
    for a, b, ra, rb in zip(warm.time, warm.time[1:], rates, rates[1:], strict=False):
        step = 0.5 * (ra + rb) * (b - a)
        if total + step >= 1.0:
            time = a + (1.0 - total) / rb
            break
        total += step
    assert run.pre_arcing_time == pytest.approx(time, rel=0.01)
    assert run.onset_time == pytest.approx(run.pre_arcing_time, rel=1e-6)
    assert run.dissolved_share == pytest.approx(1.0, abs=1e-6)


def test_below_its_minimum_fusing_current_nothing_dissolves() -> None:
    least = ft.minimum_fusing_current(SPOTTED)
    assert least < 0.8 * ft.minimum_fusing_current(PLAIN)
    carried = held(SPOTTED, 0.999 * least)
    assert carried.pre_arcing_time is None
    assert carried.dissolved_share == 0.0
    steady = ft.steady_state(SPOTTED, 0.999 * least)
    assert steady is not None
    assert steady.peak_temperature_c == pytest.approx(494.0 - 273.15, abs=1.5)
    assert held(SPOTTED, 1.02 * least).pre_arcing_time is not None
    assert ft.steady_state(SPOTTED, 1.001 * least) is None


def test_at_high_current_the_strip_melts_before_it_is_dissolved() -> None:
    least = ft.minimum_fusing_current(SPOTTED)
    shares = [held(SPOTTED, f * least).dissolved_share for f in (1.05, 1.5, 3.0, 6.0)]
    assert shares[0] > 0.9
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] < 0.05


@pytest.mark.parametrize("filler", [None, Filler(8e-3, shells=4)])
def test_spot_and_filler_agree_with_another_integrator(filler: Filler | None) -> None:
    model = replace(SPOTTED, body=Body(filler=filler))
    current = 2.0 * ft.minimum_fusing_current(model)
    wave = ft.Waveform(time=[0, 1.3], current=[current, current])
    ours = ft.simulate(model, wave, integrator="rodas4", tolerance=1e-7, cells=16)
    other = ft.simulate(model, wave, integrator="Radau", tolerance=1e-9, cells=16)
    assert ours.onset_time == pytest.approx(other.onset_time, rel=1e-6)
    assert ours.pre_arcing_time == pytest.approx(other.pre_arcing_time, rel=1e-6)
    assert ours.dissolved_share == pytest.approx(other.dissolved_share, rel=1e-5)
    assert ours.electrical_balance < 1e-5


def test_dissolving_is_kept_from_one_pulse_to_the_next() -> None:
    current = 2.0 * ft.minimum_fusing_current(SPOTTED)
    whole = held(SPOTTED, current)
    assert whole.pre_arcing_time is not None
    pulse = ft.Waveform(time=[0, 0, 1, 1], current=[0, current, current, 0])
    first = ft.simulate(SPOTTED, pulse.cut(0.0, 0.9 * whole.pre_arcing_time))
    assert 0.0 < first.dissolved_share < whole.dissolved_share
    rested = ft.simulate(
        SPOTTED, ft.Waveform(time=[0, 3600], current=[0, 0]), start=first.final_state
    )
    # still hot at the end of the pulse, it goes on for a moment and then keeps its share
    assert first.dissolved_share <= rested.dissolved_share < 1.0
    assert ft.margin(SPOTTED, pulse.cut(0.0, 0.9 * whole.pre_arcing_time)).current_factor < 1.1


def test_ambient_weighs_more_on_a_spot() -> None:
    """Mean slopes over -40 .. 125 degC: silver about -.06 %/K, a tin spot on it about -.3 %/K.

    Source: slopes of a study of full models (project's own), -.063 and -.306 %/K.
    """
    for model, slope in ((PLAIN, -0.063e-2), (SPOTTED, -0.306e-2)):
        cold, middle, hot = (ft.minimum_fusing_current(model, ambient_c=a) for a in (-40, 23, 125))
        assert (hot - cold) / 165.0 / middle == pytest.approx(slope, rel=0.15)
