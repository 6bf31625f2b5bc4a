"""The drop over an element bounds its hottest point, whatever its shape (Kohlrausch).

Without side loss the relation is exact; every side loss, and all heat still being stored,
lowers the hottest point for a given drop. F. Kohlrausch, Ann. Phys. 306 (1900) 132.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from fusetherm import Element, FuseModel, Metal, Section, Waveform, metal, round_wire, simulate
from fusetherm.fuse.element import RoundSection
from fusetherm.fuse.model import HELD, Blade, Body, Side, Surroundings
from fusetherm.physics.constants import SOMMERFELD_LORENZ
from fusetherm.physics.kohlrausch import hot_spot_ceiling, kohlrausch_voltage
from fusetherm.physics.tables import Table
from fusetherm.solver.steady import minimum_fusing_current, steady_state

ZERO = 273.15


def wiedemann_franz(of: Metal, slope: float) -> Metal:
    """The metal with rho = slope T and a conductivity that gives Sommerfeld's number."""
    ends = (100.0, 3000.0)
    return replace(
        of,
        resistivity_table=Table(ends, tuple(slope * t for t in ends), "of the reference"),
        conductivity_table=Table((300.0,), (SOMMERFELD_LORENZ / slope,), "of the reference"),
    )


# ---------------------------------------------------------------- Sommerfeld's number

# source: sqrt(T0² + U²/4L) from 23 °C by hand; 80, 100, 120 and 150 mV give these in whole degrees
ZINC_WF = wiedemann_franz(replace(metal("zinc"), solidus_k=692.677, liquidus_k=692.677), 2e-10)
NOTCHED = Element(
    ZINC_WF,
    (
        Section(3e-3, 3e-3, 0.3e-3, end_width=2e-3),
        Section(2e-3, 2e-3, 0.3e-3, middle_width=0.8e-3),
        Section(4e-3, 3e-3, 0.3e-3),
    ),
    spreading=False,
)


@pytest.mark.parametrize(
    ("millivolts", "hottest_c"), [(80.0, 118.0), (100.0, 163.0), (120.0, 212.0), (150.0, 291.0)]
)
def test_zinc_from_23_c(millivolts: float, hottest_c: float) -> None:
    model = FuseModel(NOTCHED)

    def excess(current: float) -> float:
        steady = steady_state(model, current, ambient_c=23.0, cells=256)
        assert steady is not None
        return 1e3 * steady.element_voltage - millivolts

    top = minimum_fusing_current(model, ambient_c=23.0, cells=256)
    current = brentq(excess, 0.2 * top, 0.999 * top, xtol=1e-6)
    steady = steady_state(model, current, ambient_c=23.0, cells=256)
    assert steady is not None
    assert steady.peak_temperature_c == pytest.approx(hottest_c, abs=0.6)


def test_zinc_melts_at_196_mv() -> None:
    model = FuseModel(NOTCHED)
    top = minimum_fusing_current(model, ambient_c=23.0, cells=256)
    steady = steady_state(model, top * (1.0 - 1e-9), ambient_c=23.0, cells=256)
    assert steady is not None
    assert 1e3 * steady.element_voltage == pytest.approx(196.0, abs=0.5)


@pytest.mark.parametrize(
    ("name", "melting_k", "slope", "area", "current"),
    [
        ("copper", 1357.77, 1.725e-8 / 300.0, 0.1e-6, 73.5663087704208),
        ("zinc", 692.677, 6.06e-8 / 300.0, 0.3e-6, 52.63824002939852),
    ],
)
def test_end_cooled_wire(
    name: str, melting_k: float, slope: float, area: float, current: float
) -> None:
    # 2 sqrt(L) acos(T0/Tm) A / (slope length), 10 mm between ends at 293.15 K; mpmath, 25 digits
    of = replace(metal(name), solidus_k=melting_k, liquidus_k=melting_k)
    wire = round_wire(wiedemann_franz(of, slope), (4.0 * area / 3.141592653589793) ** 0.5, 10e-3)
    found = minimum_fusing_current(FuseModel(wire), ambient_c=20.0, cells=256)
    assert found == pytest.approx(current, rel=1e-4)


# ---------------------------------------------------------------- any geometry

widths = st.floats(0.5e-3, 6e-3)
lengths = st.floats(1e-3, 8e-3)


@st.composite
def elements(draw: st.DrawFn) -> Element:
    of = metal(draw(st.sampled_from(["zinc", "copper", "silver", "aluminium"])))
    thickness = draw(st.floats(0.1e-3, 1e-3))
    sections: list[Section | RoundSection] = []
    for _ in range(draw(st.integers(1, 4))):
        kind = draw(st.sampled_from(["plain", "taper", "notch"]))
        width, other = draw(widths), draw(widths)
        sections.append(
            Section(
                draw(lengths),
                max(width, other) if kind == "notch" else width,
                thickness,
                end_width=other if kind == "taper" else None,
                middle_width=min(width, other) if kind == "notch" else None,
            )
        )
    return Element(of, sections, spreading=draw(st.booleans()))


@settings(max_examples=25)
@given(elements(), st.floats(0.3, 0.999))
def test_drop_and_hottest_point_without_side_loss(element: Element, share: float) -> None:
    model = FuseModel(element)
    current = share * minimum_fusing_current(model, ambient_c=23.0, cells=256)
    steady = steady_state(model, current, ambient_c=23.0, cells=256)
    assert steady is not None
    hottest = steady.peak_temperature_c + ZERO
    voltage = kohlrausch_voltage(element.metal, hottest, 23.0 + ZERO)
    assert steady.element_voltage == pytest.approx(voltage, rel=3e-3)


sides = st.one_of(
    st.just(HELD),
    st.builds(
        Side,
        st.builds(
            Blade,
            heat_capacity=st.floats(0.1, 2.0),
            to_ambient=st.floats(0.01, 0.3),
            resistance=st.floats(0.0, 0.3e-3),
        ),
    ),
)


@settings(max_examples=25)
@given(
    elements(),
    st.one_of(st.none(), st.builds(Body, element_loss=st.floats(0.0, 2.0))),
    sides,
    sides,
    st.builds(Surroundings, st.floats(0.0, 100.0), st.booleans(), st.floats(0.0, 1.0)),
    st.floats(0.5, 5.0),
)
def test_no_run_exceeds_the_ceiling(
    element: Element,
    body: Body | None,
    left: Side,
    right: Side,
    around: Surroundings,
    factor: float,
) -> None:
    model = FuseModel(element, body, left, right, around)
    current = factor * minimum_fusing_current(model, ambient_c=23.0, cells=256)
    run = simulate(
        model, Waveform(time=[0.0, 50.0], current=[current] * 2), ambient_c=23.0, cells=256
    )
    ends = [
        run.node_temperature_c.get(f"blade_{side}", 23.0 + 0.0 * run.time)
        for side in ("left", "right")
    ]
    melting_c = element.metal.solidus_k - ZERO
    solid = [i for i in range(1, len(run.time)) if run.element_temperature_c[i] < melting_c - 0.1]
    for i in solid[:: max(1, len(solid) // 12)]:
        end_k = (float(ends[0][i]) + ZERO, float(ends[1][i]) + ZERO)
        if max(end_k) >= element.metal.solidus_k:
            continue  # blades that their own resistance has heated past the element's melting
        ceiling_c = hot_spot_ceiling(element.metal, run.element_voltage[i], end_k) - ZERO
        # the mesh's own error, second order in the cell
        assert run.element_temperature_c[i] <= ceiling_c + 0.003 * (ceiling_c - 23.0)
