"""The adiabatic limit of the solver: action to the melting point and of the melting plateau.

Source of the actions in A2 s/mm4: computed apart from this package; specific heat from JANAF
(Cu, Al, Zn, Pb) or Perry (Au) through thermo 0.6.1, resistivity from CRC and Matula, latent
heat from CRC. Closed forms evaluated with mpmath at 25 to 30 digits.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fusetherm import FuseModel, Metal, Waveform, metal, round_wire, simulate
from fusetherm.current.shapes import exponential_decay, half_sine, triangle
from fusetherm.fuse.model import Blade, Side
from fusetherm.physics.metals import METALS, melting_action, specific_action
from fusetherm.physics.tables import Table

START_K = 298.15
START_C = 25.0
AREA = 0.05e-6  # [m2]
MM4 = 1e-12  # from A2 s/m4 to A2 s/mm4

SOLID = {  # to the melting point; zinc is the total less the plateau
    "copper": 90040.8,
    "aluminium": 31077.8,
    "zinc": 14685.0 - 3077.3,
    "lead": 1429.1,
}
PLATEAU = {"copper": 12499.1, "aluminium": 6556.6, "zinc": 3077.3, "lead": 383.7}
FIVE = ("copper", "aluminium", "zinc", "silver", "tin")


def insulated(of: Metal, length: float = 10e-3) -> FuseModel:
    """A wire that gives its heat to nothing: no body, no surroundings, weightless blades."""
    ends = Side(Blade(heat_capacity=1e-12))
    return FuseModel(round_wire(of, math.sqrt(4.0 * AREA / math.pi), length), None, ends, ends)


def action_of(of: Metal, waveform: Waveform) -> float:
    """Joule integral up to the onset of melting, over the square of the section [A2 s/m4]."""
    run = simulate(insulated(of), waveform, ambient_c=START_C, tolerance=1e-6, cells=8)
    assert run.onset_time is not None
    return waveform.i2t(0.0, run.onset_time) / AREA**2


def constant(current: float, duration: float) -> Waveform:
    return Waveform(time=[0.0, duration], current=[current, current])


@pytest.mark.parametrize("name", SOLID)
def test_action_to_the_melting_point_against_handbooks(name: str) -> None:
    action = action_of(metal(name), constant(200.0, 1.0)) * MM4
    assert action == pytest.approx(SOLID[name], rel=0.05)


@pytest.mark.parametrize("name", FIVE)
def test_action_to_the_melting_point_is_the_integral_of_heat_over_resistivity(name: str) -> None:
    of = metal(name)
    expected = specific_action(of, START_K)
    assert action_of(of, constant(200.0, 1.0)) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    "wave",
    [
        constant(200.0, 1.0),
        half_sine(300.0, 10e-3),
        exponential_decay(400.0, 5e-3),
        triangle(500.0, 8e-3, 2e-3),
        constant(2000.0, 1.0),
        constant(60.0, 1.0),
        Waveform(time=[0.0, 1e-4, 1e-4, 2e-4], current=[300.0, 300.0, 0.0, 0.0]).repeated(400),
    ],
    ids=["square", "half sine", "exponential", "ramp", "square x 10", "square x .3", "chopped"],
)
@pytest.mark.parametrize("name", ["zinc", "copper"])
def test_action_does_not_depend_on_the_waveform(name: str, wave: Waveform) -> None:
    of = metal(name)
    if wave.i2t() < 1.2 * specific_action(of, START_K) * AREA**2:
        wave = wave.scaled(math.sqrt(1.2 * specific_action(of, START_K) * AREA**2 / wave.i2t()))
    assert action_of(of, wave) == pytest.approx(specific_action(of, START_K), rel=1e-4)


@pytest.mark.parametrize("name", ["copper", "aluminium", "zinc", "lead", "silver", "tin"])
def test_action_of_the_melting_plateau(name: str) -> None:
    # uniform heat: every cell is molten at once, and a column longer than its circumference parts
    of = metal(name)
    run = simulate(insulated(of), constant(200.0, 1.0), ambient_c=START_C, tolerance=1e-6, cells=8)
    assert run.opened
    plateau = 200.0**2 * (run.pre_arcing_time - run.onset_time) / AREA**2
    assert plateau == pytest.approx(melting_action(of), rel=1e-3)
    if name in PLATEAU:
        assert plateau * MM4 == pytest.approx(PLATEAU[name], rel=0.08)


@pytest.mark.parametrize(
    ("current", "melting"), [(200.0, 0.005248603280949328), (1000.0, 0.00020994413123797312)]
)
def test_constant_properties(current: float, melting: float) -> None:
    # copper with c 385, 8960 kg/m3, rho 1.72e-8 (1 + .00393 (T - 293.15)), .05 mm2, 1357.77 K
    rho = 1.72e-8
    ends = (200.0, 2000.0)
    of = replace(
        metal("copper"),
        density=8960.0,
        solidus_k=1357.77,
        liquidus_k=1357.77,
        latent_heat=208668.0,
        resistivity_table=Table(
            ends, tuple(rho * (1.0 + 0.00393 * (t - 293.15)) for t in ends), "of the reference"
        ),
        specific_heat_table=Table((293.15,), (385.0,), "of the reference"),
    )
    run = simulate(
        insulated(of), constant(current, 0.1), ambient_c=20.0, tolerance=1e-7, cells=8,
        integrator="rodas4",
    )  # fmt: skip
    assert run.onset_time == pytest.approx(melting, rel=1e-6)
    # plateau with the resistivity mixed in proportion to the molten share
    solid, ratio = rho * (1.0 + 0.00393 * (1357.77 - 293.15)), of.liquid_resistivity_ratio
    heat = 8960.0 * 208668.0 * AREA**2 / current**2
    plateau = heat * math.log(ratio) / (solid * (ratio - 1.0))
    assert run.pre_arcing_time - run.onset_time == pytest.approx(plateau, rel=1e-3)


def test_five_metals_are_known() -> None:
    assert set(FIVE) <= set(METALS)
