"""The compiled stepper and scipy's solvers give one answer, and so does another program's.

Integrators share the network, so they are also compared with a right side written here, on
its own: an enthalpy method for a plain strip, in numpy, handed to scipy.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp

from fusetherm import Element, FuseModel, Section, Waveform, metal, simulate
from fusetherm.current.shapes import (
    damped_oscillation,
    exponential_decay,
    half_sine,
    lamp_inrush,
    triangle,
)
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side, Surroundings
from fusetherm.physics.tables import Table

Floats = npt.NDArray[np.float64]

_SIDE = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6, cells=4))
FUSE = FuseModel(
    Element(
        metal("zinc"),
        (
            Section(4e-3, 3e-3, 0.3e-3),
            Section(2e-3, 1e-3, 0.3e-3),
            Section(4e-3, 3e-3, 0.3e-3),
        ),
    ),
    Body(element_emissivity=0.1),
    _SIDE,
    replace(_SIDE, cable=Cable(2.5e-6, cells=4)),
)
CELLS = 24

WAVES = {
    "constant, opens": Waveform(time=[0.0, 2.0], current=[100.0, 100.0]),
    "constant, above": Waveform(time=[0.0, 0.5], current=[130.0, 130.0]),
    "pulse and load": Waveform(
        time=[0.0, 0.5, 0.5, 0.55, 0.55, 3.0], current=[30.0, 30.0, 160.0, 160.0, 30.0, 30.0]
    ),
    "half sine": half_sine(700.0, 20e-3),
    "decay": exponential_decay(500.0, 40e-3, 0.4),
    "triangle": triangle(300.0, 0.1, 0.2),
    "damped": damped_oscillation(900.0, 60.0, 0.03, 0.15),
    "lamp": lamp_inrush(40.0, 8.0, 0.02, 0.04),
}


@pytest.mark.parametrize("name", WAVES)
def test_compiled_and_scipy_agree(name: str) -> None:
    wave = WAVES[name]
    runs = [
        simulate(FUSE, wave, ambient_c=23.0, cells=CELLS, integrator=how, tolerance=tolerance)
        for how, tolerance in (
            ("rodas3", 1e-6),
            ("rodas4", 1e-6),
            ("LSODA", 1e-8),
            ("BDF", 1e-7),
            ("Radau", 1e-7),
        )
    ]
    ours = runs[0]
    for other in runs[1:]:
        for ours_at, other_at in (
            (ours.onset_time, other.onset_time),
            (ours.pre_arcing_time, other.pre_arcing_time),
        ):
            assert (ours_at is None) == (other_at is None)
            if ours_at is not None:
                assert ours_at == pytest.approx(other_at, rel=1e-4)
        assert ours.peak_temperature_c == pytest.approx(other.peak_temperature_c, abs=0.05)
        assert ours.i2t == pytest.approx(other.i2t, rel=1e-4)


def test_the_eight_waveforms_open_and_do_not() -> None:
    opened = [simulate(FUSE, wave, ambient_c=23.0, cells=CELLS).opened for wave in WAVES.values()]
    assert 2 <= sum(opened) <= 6


# ---------------------------------------------------------------- another program

N = 120
LENGTH, WIDTH, THICK, FILM, AMBIENT_K = 10e-3, 2e-3, 0.3e-3, 40.0, 296.15
RHO, SLOPE, K, C, D = 5.9e-8, 0.0042, 116.0, 390.0, 7134.0
MELT_K, LATENT, RATIO, C_LIQUID, K_LIQUID = 692.677, 108.1e3, 2.1, 480.0, 50.0
# 17.5 cells: the liquid stands for a while at whole numbers of cells, until the mush in the next
# ones is as full as the line through those beyond says, and an opening there has no sharp time
BLADE_HEAT, BLADE_LOSS, BREAK = 0.5, 0.05, 1.46e-3
ENDS = (200.0, 1500.0)
PLAIN_ZINC = replace(
    metal("zinc"),
    density=D,
    solidus_k=MELT_K,
    liquidus_k=MELT_K,
    latent_heat=LATENT,
    liquid_resistivity_ratio=RATIO,
    liquid_specific_heat=C_LIQUID,
    liquid_conductivity=K_LIQUID,
    resistivity_table=Table(ENDS, tuple(RHO * (1 + SLOPE * (t - 293.15)) for t in ENDS), "here"),
    conductivity_table=Table((293.15,), (K,), "here"),
    specific_heat_table=Table((293.15,), (C,), "here"),
)
PLAIN = FuseModel(
    Element(PLAIN_ZINC, (Section(LENGTH, WIDTH, THICK),), break_length=BREAK),
    right=Side(Blade(BLADE_HEAT, BLADE_LOSS)),
    surroundings=Surroundings(film_coefficient=FILM),
)


def another_program(current: float, span: float) -> tuple[float, float | None]:
    """Onset [s] and opening [s] by an enthalpy method in plain numpy.

    Left end at ambient, right end on a lump; h is the enthalpy per volume above 293.15 K.
    """
    dx, area = LENGTH / N, WIDTH * THICK
    volume, side = area * dx, 2.0 * (WIDTH + THICK) * dx
    melting = D * C * (MELT_K - 293.15)
    molten = melting + D * LATENT

    def lift(h: Floats) -> Floats:
        w = np.clip((h - melting) / (D * C), 0.0, 0.1)  # the slope falls over .1 K
        return np.asarray(w - w**2 / 0.2)

    def temperature(h: Floats) -> Floats:
        """Without what the rounding where melting begins adds."""
        above = (h - molten) / (D * C)  # the corner at molten is rounded over 1 K to either side
        bent = np.where(above < 1.0, np.maximum(above + 1.0, 0.0) ** 2 / 4.0, above)
        return 293.15 + np.minimum(h, melting) / (D * C) + bent * C / C_LIQUID

    def rate(t: float, y: Floats) -> Floats:
        h, blade = y[:N], y[N]
        kelvin = temperature(h)
        share = np.clip((h - melting) / (molten - melting), 0.0, 1.0)
        solid = RHO * (1.0 + SLOPE * (np.minimum(kelvin, MELT_K) - 293.15))
        rho = solid * (1.0 + (RATIO - 1.0) * share) * np.maximum(kelvin / MELT_K, 1.0)
        # int k dT from the melting point
        theta = np.where(kelvin < MELT_K, K, K_LIQUID) * (kelvin - MELT_K) + K * lift(h)
        kelvin = kelvin + lift(h)
        flux = np.empty(N + 1)  # [W] to the right
        flux[1:N] = area / dx * (theta[:-1] - theta[1:])
        flux[0] = K * area / (0.5 * dx) * (AMBIENT_K - kelvin[0])
        flux[N] = K * area / (0.5 * dx) * (kelvin[-1] - blade)
        made = current**2 * rho * dx / area
        out = np.empty(N + 1)
        out[:N] = (flux[:-1] - flux[1:] + made - FILM * side * (kelvin - AMBIENT_K)) / volume
        out[N] = (flux[N] - BLADE_LOSS * (blade - AMBIENT_K)) / BLADE_HEAT
        return out

    def crest(y: Floats) -> float:
        i = int(np.argmax(y[:N]))
        a, b, c = y[i - 1], y[i], y[i + 1]
        return float(b + (c - a) ** 2 / (8.0 * (2.0 * b - a - c)))

    def onset(t: float, y: Floats) -> float:
        return (crest(y) - melting) / melting

    def liquid(cells: Floats) -> float:
        """Liquid [m] in the front's cell, the first of those outwards from it.

        The mush ahead is a straight line, from half a cell outside the front's cell; the y it
        fills is the root of (liquid - mean) dx = (liquid - mush) y - slope y² / 2.
        """
        mean, mush, beyond = np.maximum(cells[:3], melting)
        slope = max(mush - beyond, 0.0) / dx
        edge = mush + 0.5 * dx * slope
        y = min(np.roots([-0.5 * slope, molten - edge, (mean - molten) * dx]).real, default=dx)
        return dx - min(max(y, 0.0), dx)

    def parts(t: float, y: Floats) -> float:
        h = y[:N]
        hot = int(np.argmax(h))
        if h[hot] <= molten:
            return -1.0
        solid = np.flatnonzero(h <= molten)
        a, b = solid[solid < hot][-1], solid[solid > hot][0]  # cells of the two fronts
        length = (b - a - 1) * dx + liquid(h[a - 2 : a + 1][::-1]) + liquid(h[b : b + 3])
        return float(length / BREAK - 1.0)

    parts.terminal = True  # type: ignore[attr-defined]
    start = np.full(N + 1, D * C * (AMBIENT_K - 293.15))
    start[N] = AMBIENT_K
    scale = np.full(N + 1, 300.0 * D * C)
    scale[N] = 300.0
    band = np.abs(np.subtract.outer(np.arange(N + 1), np.arange(N + 1))) <= 1
    sol = solve_ivp(
        rate, (0.0, span), start, method="Radau", rtol=1e-8, atol=1e-7 * scale,
        events=(onset, parts), jac_sparsity=band.astype(float),
    )  # fmt: skip
    opened = float(sol.t_events[1][0]) if len(sol.t_events[1]) else None
    return float(sol.t_events[0][0]), opened


@pytest.mark.parametrize("current", [90.0, 150.0, 300.0])
def test_agrees_with_a_right_side_written_apart(current: float) -> None:
    span = 20.0  # 90 A is 1.03 x the minimum fusing current
    run = simulate(
        PLAIN, Waveform(time=[0.0, span], current=[current] * 2), ambient_c=AMBIENT_K - 273.15,
        cells=N, tolerance=1e-6,
    )  # fmt: skip
    onset, opened = another_program(current, span)
    assert run.onset_time == pytest.approx(onset, rel=1e-5)
    assert run.pre_arcing_time == pytest.approx(opened, rel=1e-5)


# ---------------------------------------------------------------- one pulse in a long record


@pytest.mark.parametrize("integrator", ["rodas3", "rodas4", "LSODA", "BDF", "Radau"])
@pytest.mark.parametrize("load", [0.0, 25.0])
@pytest.mark.parametrize("length", [100.0, 360e3], ids=["100 s", "100 h"])
def test_a_pulse_of_20_ms_is_never_missed(integrator: str, load: float, length: float) -> None:
    pulse, middle = 200.0, 0.5 * length
    record = Waveform(
        time=[0.0, middle, middle, middle + 0.02, middle + 0.02, length],
        current=[load, load, pulse, pulse, load, load],
    )
    # a load of 50 s has not warmed the cable through; the pulse alone starts from where it got
    warm = simulate(FUSE, record.cut(0.0, middle), ambient_c=23.0, cells=CELLS).final_state
    alone = simulate(
        FUSE, Waveform(time=[0.0, 0.02], current=[pulse, pulse]), ambient_c=23.0, cells=CELLS,
        start=warm, tolerance=1e-6,
    )  # fmt: skip
    run = simulate(
        FUSE, record, ambient_c=23.0, cells=CELLS, integrator=integrator,
        tolerance=1e-4 if integrator == "rodas3" else 1e-6,
    )  # fmt: skip
    assert run.peak_temperature_c == pytest.approx(alone.peak_temperature_c, abs=0.1)
    assert run.peak_time == pytest.approx(middle + 0.02, abs=1e-4)
    assert 150.0 < alone.peak_temperature_c < 400.0
    assert math.isclose(run.i2t, record.i2t(), rel_tol=1e-10)
