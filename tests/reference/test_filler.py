"""Filler as shells against the exact field around a perfectly conducting cylinder."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j0, j1, y0, y1

import fusetherm as ft
from fusetherm.fuse.model import Body, Filler
from fusetherm.physics.metals import METALS
from fusetherm.physics.tables import Table

RADIUS, CONDUCTIVITY, HEAT = 0.25e-3, 0.3, 1.44e6


def exact_rise(watts_per_metre: float, heat_per_metre: float, time: float) -> float:
    """Rise of a cylinder of infinite conductivity in an infinite medium, constant heat [K].

    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 13.7 (from memory):
    ``(2 q alpha^2 / pi^3 k) int (1 - exp(-kappa t u^2/a^2)) / (u^3 Delta(u)) du`` with
    ``alpha = 2 pi a^2 rho c / S``; checked below by its late limit.
    """
    alpha = 2.0 * math.pi * RADIUS**2 * HEAT / heat_per_metre
    fourier = CONDUCTIVITY / HEAT * time / RADIUS**2

    def integrand(x: float) -> float:
        u = math.exp(x)
        delta = (u * j0(u) - alpha * j1(u)) ** 2 + (u * y0(u) - alpha * y1(u)) ** 2
        return -math.expm1(-fourier * u * u) / (u * u * delta)

    value, _ = quad(integrand, math.log(1e-9), math.log(300.0), limit=2000)
    return 2.0 * watts_per_metre * alpha**2 / (math.pi**3 * CONDUCTIVITY) * float(value)


def test_exact_rise_becomes_that_of_a_line_source() -> None:
    # q / (4 pi k) [ln(4 kappa t / a^2) - gamma], the textbook limit of the transient hot wire
    time = 1e4
    late = (math.log(4 * CONDUCTIVITY / HEAT * time / RADIUS**2) - np.euler_gamma) / (
        4 * math.pi * CONDUCTIVITY
    )
    assert exact_rise(1.0, 0.7, time) == pytest.approx(late, rel=2e-3)


def errors_of(shells: int) -> list[float]:
    """Relative errors of the rise of a wire at five times."""
    flat = replace(
        METALS["copper"],
        resistivity_table=Table((293.15, 1300.0), (1.72e-8, 1.72e-8), "invented: constant"),
        specific_heat_table=Table((293.15, 1300.0), (385.0, 385.0), "invented: constant"),
    )
    wire = ft.round_wire(flat, 2.0 * RADIUS, 1.0)
    filler = Filler(10e-3, CONDUCTIVITY, HEAT, shells)
    model = ft.FuseModel(wire, Body(heat_capacity=1e6, conductance=1e3, filler=filler))
    current = 5.0
    watts = current**2 * 1.72e-8 / (math.pi * RADIUS**2)
    stored = flat.density * 385.0 * math.pi * RADIUS**2
    found = []
    for time in (0.001, 0.01, 0.1, 1.0, 3.0):
        wave = ft.Waveform(time=[0, time], current=[current, current])
        run = ft.simulate(model, wave, ambient_c=23.0, tolerance=1e-6)
        assert run.conservation < 1e-9
        found.append((run.peak_temperature_c - 23.0) / exact_rise(watts, stored, time) - 1.0)
    return found


def test_wire_in_sand_warms_as_the_exact_field_says() -> None:
    usual, fine = np.abs(errors_of(8)), np.abs(errors_of(32))
    assert usual.max() < 0.02
    assert fine.max() < 0.25 * usual.max()
