"""Closed forms against values evaluated apart from this package.

Unless a line says otherwise the expected values are the closed forms evaluated with mpmath to
25 or 30 digits.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from fusetherm.physics import closed_forms as cf
from fusetherm.physics.constants import SOMMERFELD_LORENZ
from fusetherm.physics.metals import METALS, metal
from fusetherm.physics.tables import Array

LUMP = (0.8, 0.05, 2e-3, 3.9e-3)  # J/K, W/K, ohm, 1/K
WIRE = cf.Fin(math.pi / 4 * 0.25e-6, math.pi * 0.5e-3, 20e-3, 385.0, 1.72e-8, 3.9e-3, 30.0)
WIRE_HEAT = 8960.0 * 385.0


class Straight:
    """k = 401 - 0.06 (T - 293.15), rho = 1.72e-8 (1 + 0.00393 (T - 293.15))."""

    def conductivity(self, temperature_k: Array) -> Array:
        return 401.0 - 0.06 * (temperature_k - 293.15)

    def resistivity(self, temperature_k: Array) -> Array:
        return 1.72e-8 * (1.0 + 0.00393 * (temperature_k - 293.15))


@pytest.mark.parametrize(
    ("time", "rise"),
    [(1.0, 4.846954974921937), (5.0, 21.470749684268657), (40.0, 73.4332001100881)],
)
def test_lumped_step(time: float, rise: float) -> None:
    assert cf.lumped_step(time, 4.0, 0.8, 0.05) == pytest.approx(rise, rel=1e-6)


@pytest.mark.parametrize(
    ("current", "rise"),
    [(40.0, 31.929417214813583), (80.0, 159.92002666000133), (100.0, 299.33396328089805)],
)
def test_lumped_joule(current: float, rise: float) -> None:
    assert cf.lumped_joule(10.0, current, *LUMP) == pytest.approx(rise, rel=1e-6)


@pytest.mark.parametrize(
    ("current", "time"),
    [
        (65.0, 77.17736273756138),
        (100.0, 12.705309178898448),
        (200.0, 2.556480990942602),
        (math.sqrt(0.05 / (2e-3 * 3.9e-3)), 24.96),  # the removable singularity, C theta alpha/G
    ],
)
def test_lumped_joule_time(current: float, time: float) -> None:
    assert cf.lumped_joule_time(400.0, current, *LUMP) == pytest.approx(time, rel=1e-6)


def test_lumped_limits() -> None:
    assert cf.lumped_joule_current(400.0, 0.05, 2e-3, 3.9e-3) == pytest.approx(62.5, rel=1e-6)
    assert cf.lumped_action(400.0, 0.8, 2e-3, 3.9e-3) == pytest.approx(96411.0008709201, rel=1e-6)


@pytest.mark.parametrize(
    ("current", "m2", "centre", "mean", "voltage"),
    [
        (15.0, -393.4690907187891, 55.79935925183979, 37.10144223718628, 0.0601644332655981),
        (20.0, -1184.3490905707768, 115.36625983976987, 76.29313886667694, 0.090930668474743),
    ],
)
def test_fin_steady(current: float, m2: float, centre: float, mean: float, voltage: float) -> None:
    state = cf.fin_steady(WIRE, current)
    assert (state.exponent_squared, state.centre, state.mean, state.voltage) == pytest.approx(
        (m2, centre, mean, voltage), rel=1e-6
    )


@pytest.mark.parametrize(
    ("half_length", "current"),
    [
        (10e-3, 65.48164774526494),
        (20e-3, 33.931776260930285),
        (80e-3, 13.094893657856462),
        (2.0, 10.538924369748312),  # the infinite wire
    ],
)
def test_fin_minimum_fusing_current(half_length: float, current: float) -> None:
    fin = cf.Fin(WIRE.area, WIRE.perimeter, half_length, 385.0, 1.72e-8, 3.9e-3, 30.0)
    tolerance = 1e-6 if half_length < 1.0 else 1e-4
    assert cf.fin_minimum_fusing_current(fin, 1060.0) == pytest.approx(current, rel=tolerance)


def test_long_wire() -> None:
    assert cf.long_wire_current(WIRE, 1060.0) == pytest.approx(10.538924369748312, rel=1e-6)


def test_trigonometric_branch_begins_where_it_was_found_to() -> None:
    assert WIRE.exponent_squared(11.74) > 0.0 > WIRE.exponent_squared(11.75)


def test_short_wire_without_side_loss() -> None:
    plain = cf.Fin(WIRE.area, WIRE.perimeter, 20e-3, 385.0, 1.72e-8)
    state = cf.fin_steady(plain, 10.0)
    assert state.centre == pytest.approx(23.175970691633335, rel=1e-6)
    assert state.mean / state.centre == pytest.approx(2.0 / 3.0, rel=1e-6)


@pytest.mark.parametrize(
    ("current", "time", "centre", "mean"),
    [
        (100.0, 0.01, 13.260081395026292, 12.730568081078973),
        (15.0, 0.1, 2.916316002470843, 2.5497159056535716),
        (15.0, 1.0, 25.62996843711179, 17.891383864013466),
        (15.0, 3.0, 47.48570296282011, 31.808804268791143),
        (20.0, 1.0, 47.48513873374915, 33.07152814828608),
        (20.0, 3.0, 93.04928290276372, 62.08571009011393),
        (30.0, 0.2, 24.176835202140662, 19.864634566838234),
        (30.0, 0.5, 62.02866037439147, 45.79354759829733),
    ],
)
def test_fin_transient(current: float, time: float, centre: float, mean: float) -> None:
    assert cf.fin_transient(WIRE, current, time, WIRE_HEAT) == pytest.approx(
        (centre, mean), rel=1e-6
    )


@pytest.mark.parametrize(
    ("current", "time", "adiabatic"),
    [
        (40.0, 3.7154727076653304, 2.0270677992868715),
        (50.0, 1.6765018120432769, 1.2973233915435978),
        (200.0, 0.08122501795486613, 0.08108271197147486),
    ],
)
def test_fin_time(current: float, time: float, adiabatic: float) -> None:
    assert cf.fin_time_to(WIRE, current, 1060.0, WIRE_HEAT) == pytest.approx(time, rel=1e-6)
    per_metre = (WIRE_HEAT * WIRE.area, WIRE.resistivity / WIRE.area, 3.9e-3)
    assert cf.lumped_action(1060.0, *per_metre) / current**2 == pytest.approx(adiabatic, rel=1e-6)


@pytest.mark.parametrize(
    ("fourier", "centre", "mean"),
    [
        (0.02, 0.019999998452536385, 0.017872307837859026),
        (0.1, 0.09887318271104939, 0.07621168925971238),
        (0.2, 0.1851931589417695, 0.13272997287691676),
        (1.0, 0.45623855216819753, 0.3054739303724949),
        (2.0, 0.49628881162096017, 0.3309707174322558),
    ],
)
def test_uniform_heating_between_cold_ends(fourier: float, centre: float, mean: float) -> None:
    # half length, conductivity, heat and volumetric heat of one
    slab = cf.Fin(1.0, 0.0, 1.0, 1.0, 1.0)
    assert cf.fin_transient(slab, 1.0, fourier, 1.0) == pytest.approx((centre, mean), rel=1e-6)


# Sommerfeld's Lorenz number, both ends at 293.15 K; melting points of chemicals (CRC)
@pytest.mark.parametrize(
    ("melting_k", "voltage"),
    [
        (1234.93, 0.3750074601753715),  # silver
        (933.473, 0.27704303270505526),  # aluminium
        (505.078, 0.12857300035723856),  # tin
        (600.612, 0.16386975213592656),  # lead
        (1728.15, 0.5323943874746807),  # nickel; the melting point itself is known to 0.5 K
        (1811.15, 0.5587040805885548),  # iron
        (3687.15, 1.1489627589491194),  # tungsten
    ],
)
def test_melting_voltage_of_the_ideal_metal(melting_k: float, voltage: float) -> None:
    assert cf.kohlrausch_voltage_wf(melting_k, 293.15) == pytest.approx(voltage, rel=1e-6)


# Holm, Electric Contacts, and Slade: measured between real contacts, V, from memory
HOLM = {
    "copper": 0.43,
    "silver": 0.37,
    "aluminium": 0.30,
    "zinc": 0.17,
    "tin": 0.13,
    "lead": 0.12,
    "nickel": 0.65,
}


@pytest.mark.parametrize("name", HOLM)
def test_melting_voltage_of_the_tables_against_measured_contacts(name: str) -> None:
    one = metal(name)
    ours = cf.kohlrausch_voltage(one, one.solidus_k, 293.15)
    tolerance = 0.4 if name in ("lead", "nickel", "zinc") else 0.15
    assert ours == pytest.approx(HOLM[name], rel=tolerance)


@pytest.mark.parametrize("name", METALS)
def test_melting_voltage_of_the_tables_against_the_ideal_metal(name: str) -> None:
    # the tables' Lorenz numbers lie between 2.0 and 2.8e-8; the voltage goes with their root
    one = metal(name)
    ideal = cf.kohlrausch_voltage_wf(one.solidus_k, 293.15)
    ratio = cf.kohlrausch_voltage(one, one.solidus_k, 293.15) / ideal
    assert math.sqrt(2.0e-8 / SOMMERFELD_LORENZ) < ratio < math.sqrt(2.8e-8 / SOMMERFELD_LORENZ)


@pytest.mark.parametrize(
    ("hot_k", "voltage"), [(500.0, 0.12561954335233005), (1357.77, 0.40484991817811267)]
)
def test_kohlrausch_with_straight_properties(hot_k: float, voltage: float) -> None:
    assert cf.kohlrausch_voltage(Straight(), hot_k, 293.15) == pytest.approx(voltage, rel=1e-6)


def test_kohlrausch_with_unequal_ends() -> None:
    ours = cf.kohlrausch_voltage(Straight(), 800.0, (293.15, 353.15))
    assert ours == pytest.approx(0.22692173030413262, rel=1e-6)


def test_kohlrausch_with_constant_properties() -> None:
    class Constant:
        def conductivity(self, temperature_k: Array) -> Array:
            return np.full_like(temperature_k, 385.0)

        def resistivity(self, temperature_k: Array) -> Array:
            return np.full_like(temperature_k, 1.72e-8)

    ours = cf.kohlrausch_voltage(Constant(), 793.15, 293.15)
    assert ours == pytest.approx(0.16275134408047143, rel=1e-6)


@pytest.mark.parametrize(
    ("voltage", "hot_k"), [(0.1, 433.90083027327955), (0.2, 703.7534756911439)]
)
def test_hot_spot_of_the_ideal_metal(voltage: float, hot_k: float) -> None:
    assert cf.kohlrausch_hot_spot(voltage, 293.15) == pytest.approx(hot_k, rel=1e-6)


def _notch_width(x: float) -> float:
    """Copper strip of 2 mm with a cosine notch to 0.5 mm; x from its middle."""
    if abs(x) >= 1e-3:
        return 2e-3
    return 2e-3 - 1.5e-3 * 0.5 * (1.0 + math.cos(math.pi * x / 1e-3))


def test_notched_strip() -> None:
    # exact, confirmed by a finite-element solution (scikit-fem, quadratic elements): 10 mm long,
    # 0.1 mm thick, no side loss, ends at 293.15 K, middle at 1357.77 K
    notch = quad(lambda x: 1.0 / _notch_width(x), 0.0, 1e-3, epsrel=1e-12)[0]
    shape = 2.0 * (notch + 4e-3 / 2e-3) / 0.1e-3
    assert 1.72e-8 * shape == pytest.approx(0.001032, rel=1e-6)
    current = cf.end_cooled_current(Straight(), 1357.77, 293.15, shape)
    assert current == pytest.approx(107.75764961076277, rel=1e-6)
    # and at 100 A the same finite-element solution has 861.03464 K and 0.250975142 V
    at_100 = cf.end_cooled_current(Straight(), 861.03464, 293.15, shape)
    assert at_100 == pytest.approx(100.0, rel=1e-5)
    assert cf.kohlrausch_voltage(Straight(), 861.03464, 293.15) == pytest.approx(
        0.250975142, rel=1e-5
    )


def test_end_cooled_uniform_wires() -> None:
    copper = cf.end_cooled_current_wf(1357.77, 293.15, 10e-3 / 0.1e-6, 1.725e-8 / 300.0)
    zinc = cf.end_cooled_current_wf(692.677, 293.15, 10e-3 / 0.3e-6, 6.06e-8 / 300.0)
    assert copper == pytest.approx(73.5663087704208, rel=1e-6)
    assert zinc == pytest.approx(52.63824002939852, rel=1e-6)


@pytest.mark.parametrize(
    ("hot_k", "ratio"), [(600.0, 1.6842010003836554), (900.0, 2.342716296313964)]
)
def test_hot_over_cold_resistance(hot_k: float, ratio: float) -> None:
    assert cf.end_cooled_resistance_ratio_wf(hot_k, 293.15) == pytest.approx(ratio, rel=1e-6)


# against 23 degC; convective limit, end-cooled Wiedemann-Franz limit
@pytest.mark.parametrize(
    ("name", "ambient_c", "convective", "end_cooled"),
    [
        ("copper", 60.0, 0.9824192611122219, 0.9792627626278503),
        ("copper", 85.0, 0.9703600820295359, 0.9651684653967161),
        ("copper", 125.0, 0.9507472973948976, 0.9424614524425199),
        ("zinc", -40.0, 1.076512643217449, 1.0872244179207653),
        ("zinc", 85.0, 0.9185000954589893, 0.9099850698617993),
        ("zinc", 105.0, 0.8906202883689305, 0.8797907133791847),
        ("tin", -40.0, 1.1408502470794735, 1.1553900798563999),
        ("tin", 60.0, 0.9071413883981666, 0.9007172893482518),
        ("tin", 105.0, 0.7794358819509141, 0.7674852333128342),
        ("tin", 125.0, 0.715397467516716, 0.7018903903652827),
        ("silver", 60.0, 0.9800954775010453, 0.9766786704578473),
        ("silver", 85.0, 0.966414423318347, 0.9608070895977064),
        ("silver", 125.0, 0.9441124645535102, 0.9351963325007648),
        ("aluminium", -40.0, 1.0482609289171574, 1.0564087180346684),
        ("aluminium", 85.0, 0.950114776225732, 0.9431572375093583),
        ("aluminium", 105.0, 0.9334542442282785, 0.9244739582381473),
    ],
)
def test_ambient_ratios(name: str, ambient_c: float, convective: float, end_cooled: float) -> None:
    melting, ambient = metal(name).solidus_k, ambient_c + 273.15
    assert cf.ambient_ratio_convective(ambient, melting, 296.15) == pytest.approx(
        convective, rel=1e-6
    )
    assert cf.ambient_ratio_end_cooled_wf(ambient, melting, 296.15) == pytest.approx(
        end_cooled, rel=1e-6
    )


@pytest.mark.parametrize("name", ["copper", "zinc", "silver", "aluminium", "tin"])
def test_real_tables_lie_near_the_bracket(name: str) -> None:
    # An end-cooled strip of the tables, ends at ambient: within about 1 % of the two limits; tin,
    # whose resistivity rises more steeply than the temperature, lies 1.3 % below the lower one.
    slack = 0.013 if name == "tin" else 0.01
    one = metal(name)
    hot, cold = (cf.minimum_fusing_current(one, t, 1e4) for t in (358.15, 296.15))
    limits = sorted(
        limit(358.15, one.solidus_k, 296.15)
        for limit in (cf.ambient_ratio_convective, cf.ambient_ratio_end_cooled_wf)
    )
    assert (1.0 - slack) * limits[0] < hot / cold < (1.0 + slack) * limits[1]


@pytest.mark.parametrize(
    ("depth", "time", "rise"),
    [
        (0.0, 0.001, 9.76463061812988),
        (0.0, 0.01, 30.878473263508273),
        (1e-3, 0.01, 11.609301948151094),
    ],
)
def test_half_space(depth: float, time: float, rise: float) -> None:
    ours = cf.semi_infinite_flux(depth, time, 1e7, 385.0, 1.11e-4)
    assert ours == pytest.approx(rise, rel=1e-6)


@pytest.mark.parametrize(
    ("place", "fourier", "rise"),
    [
        (1.0, 0.05, 0.2523132522262773),
        (1.0, 0.2, 0.5051651887025607),
        (0.0, 0.2, 0.0614637512943321),
        (0.0, 1.0, 0.8333438146422292),
    ],
)
def test_slab(place: float, fourier: float, rise: float) -> None:
    # series of Carslaw & Jaeger
    assert cf.slab_flux(place, fourier) == pytest.approx(rise, abs=1e-7)


@pytest.mark.parametrize(
    ("stefan", "root"),
    [(0.1, 0.22001627274293786), (1.0, 0.6200626333135955), (2.0, 0.8006013628056082)],
)
def test_stefan(stefan: float, root: float) -> None:
    assert cf.stefan_lambda(stefan) == pytest.approx(root, rel=1e-6)


def test_neumann() -> None:
    assert cf.neumann_lambda(1.0, 2.0) == pytest.approx(0.27004768400598017, rel=1e-6)


def test_ripple() -> None:
    amplitude, phase = cf.lumped_ripple(4.0, 0.1, 0.8, 0.05)
    assert (amplitude, phase) == pytest.approx((7.91866737821208, -1.471651), rel=1e-6)
    small, _ = cf.lumped_ripple(4.0, 100.0, 0.8e-3, 0.05)  # 50 Hz current, 100 Hz power
    assert small == pytest.approx(7.91866737821208, rel=1e-6)


@pytest.mark.parametrize(
    ("pulse", "peak"),
    [(None, 36.7886145698552), (1, 17.097088181959965), (2, 26.248500025751003)],
)
def test_pulse_train(pulse: int | None, peak: float) -> None:
    assert cf.pulse_train_peak(16.0, 10.0, 3.0, 100.0, pulse) == pytest.approx(peak, rel=1e-6)


TWO_NODES = (0.02, 2.0, 0.1, 0.05)  # J/K, J/K, W/K, W/K


def test_two_node_time_constants() -> None:
    assert cf.two_node_time_constants(*TWO_NODES) == pytest.approx(
        (0.19801004875387965, 40.40198995124612), rel=1e-6
    )


@pytest.mark.parametrize(
    ("time", "rises"),
    [
        (0.1, (11.808969185830255, 0.0318826539289086)),
        (10.0, (42.6906669416833, 12.924860025318068)),
        (60.0, (76.276018354889, 46.34395551175515)),
        (1e4, (90.0, 60.0)),
    ],
)
def test_two_node_step(time: float, rises: tuple[float, float]) -> None:
    assert cf.two_node_step(time, 3.0, *TWO_NODES) == pytest.approx(rises, rel=1e-6)


@pytest.mark.parametrize(
    ("cold_k", "time"), [(600.0, 15.354411509458771), (400.0, 65.11666990510449)]
)
def test_radiation_cooling(cold_k: float, time: float) -> None:
    ours = cf.radiation_cooling_time(1200.0, cold_k, 300.0, 0.05, 0.8e-4)
    assert ours == pytest.approx(time, rel=1e-6)


def test_sommerfeld() -> None:
    # computed from the exact constants of the SI (2019)
    assert cf.sommerfeld_lorenz() == pytest.approx(2.443004509073666e-08, rel=1e-9)
