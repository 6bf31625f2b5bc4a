"""A strip with a cosine notch against finite elements and against the exact end-cooled integral.

Copper: 10 mm long, 2 mm wide, .1 mm thick, notched to .5 mm over the middle 2 mm. Zinc: 12 mm,
3 mm, .3 mm, notched to 1 mm over the middle 4 mm. Conductivity and resistivity straight lines.

Source of every number unless said otherwise: computed apart from this package with scikit-fem
12.0.2, quadratic elements, and scipy's Radau at rtol 1e-9; 48 and 96 elements agree to 5 digits.

The mesh's error falls with the square of the cell: at 64 cells onset times lie .05 to .35 %
early, so times are asked of 256 cells, where 3e-4 holds with room.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from fusetherm import Element, FuseModel, Metal, Section, Waveform, metal, simulate
from fusetherm.fuse.model import Blade, Side, Surroundings
from fusetherm.physics.tables import Table
from fusetherm.solver.steady import minimum_fusing_current, steady_state

ZERO = 273.15
AMBIENT_C = 20.0
FINE = 256


def straight(start: float, slope: float) -> Table:
    """Property that is a straight line about 293.15 K."""
    ends = (200.0, 2000.0)
    return Table(ends, tuple(start + slope * (t - 293.15) for t in ends), "of the reference")


COPPER: Metal = replace(
    metal("copper"),
    density=8960.0,
    solidus_k=1357.77,
    liquidus_k=1357.77,
    resistivity_table=straight(1.72e-8, 1.72e-8 * 0.00393),
    conductivity_table=straight(401.0, -0.06),
    specific_heat_table=straight(385.0, 0.0),
)
ZINC: Metal = replace(
    metal("zinc"),
    density=7134.0,
    solidus_k=692.677,
    liquidus_k=692.677,
    resistivity_table=straight(5.9e-8, 5.9e-8 * 0.0042),
    conductivity_table=straight(116.0, -0.04),
    specific_heat_table=straight(390.0, 0.0),
)


def strip(of: Metal, length: float, width: float, middle: float, notch: float, t: float) -> Element:
    plain = Section(length=0.5 * (length - notch), width=width, thickness=t)
    bridge = Section(length=notch, width=width, thickness=t, middle_width=middle)
    return Element(of, (plain, bridge, plain), spreading=False)


COPPER_STRIP = strip(COPPER, 10e-3, 2e-3, 0.5e-3, 2e-3, 0.1e-3)
ZINC_STRIP = strip(ZINC, 12e-3, 3e-3, 1e-3, 4e-3, 0.3e-3)


def held(film: float = 0.0) -> FuseModel:
    return FuseModel(COPPER_STRIP, surroundings=Surroundings(film_coefficient=film))


def on_terminals(element: Element, capacity: float, loss: float, film: float) -> FuseModel:
    end = Side(Blade(heat_capacity=capacity, to_ambient=loss))
    return FuseModel(element, None, end, end, Surroundings(film_coefficient=film))


COPPER_ON_TERMINALS = on_terminals(COPPER_STRIP, 2.0, 0.05, 50.0)
ZINC_ON_TERMINALS = on_terminals(ZINC_STRIP, 3.0, 0.08, 30.0)


def constant(current: float, duration: float) -> Waveform:
    return Waveform(time=[0.0, duration], current=[current, current])


def test_cold_resistance() -> None:
    # source: quadrature of dx/A
    assert COPPER_STRIP.cold_resistance() == pytest.approx(0.001032, rel=1e-9)


def test_minimum_fusing_current_and_voltage_are_those_of_the_exact_integral() -> None:
    # source: I int dx/A = 2 int k dT / sqrt(2 int k rho dT) and U = sqrt(8 int k rho dT), by
    # quadrature; the finite elements give 107.75765 A and .40484993 V
    current = minimum_fusing_current(held(), ambient_c=AMBIENT_C, cells=FINE)
    assert current == pytest.approx(107.75764961076277, rel=1e-4)
    steady = steady_state(held(), current * (1.0 - 1e-9), ambient_c=AMBIENT_C, cells=FINE)
    assert steady is not None
    assert steady.element_voltage == pytest.approx(0.4048499181781127, rel=1e-4)


def test_minimum_fusing_current_converges_at_order_two() -> None:
    exact = 107.75764961076277
    errors = [
        exact - minimum_fusing_current(held(), ambient_c=AMBIENT_C, cells=n) for n in (64, 128, 256)
    ]
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.07)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.07)


@pytest.mark.parametrize(
    ("film", "hottest_k", "voltage"),
    [(0.0, 861.03464, 0.250975142), (50.0, 824.47917, 0.241377218)],
)
def test_steady_state_at_100_a(film: float, hottest_k: float, voltage: float) -> None:
    steady = steady_state(held(film), 100.0, ambient_c=AMBIENT_C, cells=FINE)
    assert steady is not None
    assert steady.peak_temperature_c + ZERO == pytest.approx(hottest_k, rel=1e-4)
    assert steady.element_voltage == pytest.approx(voltage, rel=1e-4)
    assert steady.peak_position == pytest.approx(5e-3, abs=1e-7)


@pytest.mark.parametrize("current", [107.8, 150.0, 180.0, 1e4])
def test_no_steady_state_above_the_critical_current(current: float) -> None:
    # a Newton solve at fixed current lands on -1274 K at 150 A and on -405 K at 180 A
    assert steady_state(held(), current, ambient_c=AMBIENT_C, cells=FINE) is None


@pytest.mark.parametrize(
    ("model", "current", "voltage", "terminal_k"),
    [
        (COPPER_ON_TERMINALS, 88.13238, 0.37539027, 609.8872),
        (ZINC_ON_TERMINALS, 82.8239, 0.1794963, 382.6946),
    ],
    ids=["copper", "zinc"],
)
def test_minimum_fusing_current_on_terminals(
    model: FuseModel, current: float, voltage: float, terminal_k: float
) -> None:
    found = minimum_fusing_current(model, ambient_c=AMBIENT_C, cells=FINE)
    assert found == pytest.approx(current, rel=3e-5)
    steady = steady_state(model, found * (1.0 - 1e-9), ambient_c=AMBIENT_C, cells=FINE)
    assert steady is not None
    assert steady.element_voltage == pytest.approx(voltage, rel=1e-4)
    assert steady.node_temperature_c["blade_left"] + ZERO == pytest.approx(terminal_k, rel=1e-4)


def test_steady_state_on_terminals() -> None:
    steady = steady_state(COPPER_ON_TERMINALS, 60.0, ambient_c=AMBIENT_C, cells=FINE)
    assert steady is not None
    assert steady.peak_temperature_c + ZERO == pytest.approx(451.69139, rel=3e-5)
    assert steady.element_voltage == pytest.approx(0.091685228, rel=3e-5)
    for side in ("blade_left", "blade_right"):
        assert steady.node_temperature_c[side] + ZERO == pytest.approx(345.96755, rel=1e-5)
    # what the sides lose is what is made less what the terminals lose: .21935864 W
    terminals = 0.05 * sum(t - AMBIENT_C for t in steady.node_temperature_c.values())
    assert 60.0 * steady.element_voltage - terminals == pytest.approx(0.21935864, rel=3e-4)


def test_step_of_60_a_on_terminals() -> None:
    rows = [  # time [s], centre [K], drop [V], terminal [K]
        (0.01, 307.1463, 0.0635802, 293.1513),
        (0.1, 353.2241, 0.0713153, 293.198),
        (1.0, 382.4637, 0.0763161, 294.158),
        (10.0, 394.404, 0.0789688, 303.1145),
        (50.0, 427.0104, 0.086209, 327.5308),
        (200.0, 450.6456, 0.0914533, 345.1872),
    ]
    for time, centre, drop, terminal in rows:
        run = simulate(
            COPPER_ON_TERMINALS, constant(60.0, time), ambient_c=AMBIENT_C, cells=FINE,
            tolerance=1e-5,
        )  # fmt: skip
        assert run.element_temperature_c[-1] + ZERO == pytest.approx(centre, rel=3e-5)
        assert run.element_voltage[-1] == pytest.approx(drop, rel=3e-5)
        assert run.node_temperature_c["blade_left"][-1] + ZERO == pytest.approx(terminal, rel=1e-5)


@pytest.mark.parametrize(
    ("model", "current", "time", "voltage"),
    [
        (held(50.0), 130.0, 0.1923596, 0.47221),
        (held(50.0), 200.0, 0.03987221, 0.63272),
        (held(50.0), 600.0, 0.001011918, 1.15493),
        (ZINC_ON_TERMINALS, 91.0, 17.4547, 0.189485),
        (ZINC_ON_TERMINALS, 165.0, 0.133941, 0.30374),
        (ZINC_ON_TERMINALS, 496.0, 0.00536932, 0.723477),
    ],
    ids=["Cu-130A", "Cu-200A", "Cu-600A", "Zn-91A", "Zn-165A", "Zn-496A"],
)
def test_onset_of_melting(model: FuseModel, current: float, time: float, voltage: float) -> None:
    # 91 A is 1.10 x the minimum fusing current of the zinc strip, 496 A is 6 x
    run = simulate(model, constant(current, 2.0 * time), ambient_c=AMBIENT_C, cells=FINE)
    assert run.onset_time == pytest.approx(time, rel=3e-4)
    # a step ends at the onset, so the trace has the drop there
    then = abs(run.time - run.onset_time).argmin()
    assert run.element_voltage[then] == pytest.approx(voltage, rel=3e-4)
