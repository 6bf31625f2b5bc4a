"""What the rows carry, made anew: with the libraries they name, and with scipy alone.

The shipped table holds the values, so that it runs without these libraries.
"""

from __future__ import annotations

import functools
import math
import warnings
from collections.abc import Callable
from typing import Any

import chemicals
import CoolProp.CoolProp as coolprop
import ht
import numpy as np
import periodictable
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.linalg import expm
from scipy.optimize import brentq
from scipy.special import erf, erfc
from thermo.heat_capacity import HeatCapacitySolid

from fusetherm.verify import cases

CASES = {one.id: one for one in cases()}
CAS = {
    "zinc": "7440-66-6",
    "copper": "7440-50-8",
    "silver": "7440-22-4",
    "aluminium": "7429-90-5",
}
SYMBOL = {"zinc": "Zn", "copper": "Cu", "silver": "Ag", "aluminium": "Al"}


def expected(id: str) -> float:
    value = CASES[id].expected
    assert isinstance(value, float)
    return value


def test_there_are_enough_rows_and_half_of_them_go_through_the_integrator() -> None:
    assert len(CASES) >= 60
    assert 2 * sum(one.integrates for one in CASES.values()) >= len(CASES)


def test_every_row_that_names_a_solver_goes_through_it() -> None:
    solvers = {
        "simulate", "steady_state", "minimum_fusing_current", "time_current_curve", "observe",
        "rerate", "selectivity", "drop", "fusebox",
    }  # fmt: skip
    for one in CASES.values():
        named = one.calls.rsplit(".", 1)[-1] in solvers
        # a fit goes through the solver too
        assert one.integrates == (named or one.calls == "fusetherm.calibrate"), one.id


@pytest.mark.parametrize("trap", ["0.1208", "178.0"])
def test_misprints_are_not_expected_anywhere(trap: str) -> None:
    # Preece's table prints .1208 in for aluminium at 250 A; Onderdonk with 234 less the ambient
    # gives 178 A for 2581 circular mils and 5 s
    assert all(one.expected != float(trap) for one in CASES.values())


# ---------------------------------------------------------------- metals


@functools.cache
def _element(symbol: str) -> Any:
    with warnings.catch_warnings():
        # mendeleev's database layer may announce its own deprecations
        warnings.simplefilter("ignore", DeprecationWarning)
        import mendeleev

        return mendeleev.element(symbol)


@pytest.mark.parametrize("name", ["zinc", "copper", "silver"])
def test_scalars_of_metals(name: str) -> None:
    cas, symbol = CAS[name], SYMBOL[name]
    per_kg = chemicals.Hfus(cas) / chemicals.MW(cas) * 1e3
    density = 1e3 * getattr(periodictable, symbol).density
    assert expected(f"metal-melting-point-{name}") == pytest.approx(chemicals.Tm(cas), abs=1e-3)
    assert expected(f"metal-heat-of-fusion-{name}") == pytest.approx(per_kg, rel=1e-6)
    assert expected(f"metal-density-{name}") == pytest.approx(density, rel=1e-4)
    assert expected(f"metal-conductivity-at-300-k-{name}") == pytest.approx(
        _element(symbol).thermal_conductivity, rel=1e-4
    )


@pytest.mark.parametrize(
    ("name", "at_k", "method"),
    [("copper", 800.0, "JANAF"), ("zinc", 600.0, "JANAF"), ("silver", 1200.0, "UNARY")],
)
def test_molar_heat(name: str, at_k: float, method: str) -> None:
    value = HeatCapacitySolid(CASRN=CAS[name]).calculate(at_k, method)
    assert expected(f"property-molar-heat-{name}-{at_k:g}k") == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(("name", "method"), [("silver", "PERRY151"), ("aluminium", "JANAF")])
def test_molar_enthalpy(name: str, method: str) -> None:
    library = HeatCapacitySolid(CASRN=CAS[name])
    value = library.calculate_integral(298.15, chemicals.Tm(CAS[name]), method)
    assert expected(f"property-molar-enthalpy-{name}") == pytest.approx(value, rel=1e-4)


# CRC Handbook to 900 K (from memory, 400 K read), Matula 1979 above (from memory), 1e-8 ohm m
COPPER = {
    298.15: 1.712, 400.0: 2.402, 500.0: 3.090, 600.0: 3.792, 700.0: 4.514, 800.0: 5.262,
    900.0: 6.041, 1000.0: 6.858, 1100.0: 7.717, 1200.0: 8.626, 1300.0: 9.592, 1357.77: 10.171,
}  # fmt: skip


def test_action_of_copper() -> None:
    library = HeatCapacitySolid(CASRN=CAS["copper"])
    per_kg = 1e3 / chemicals.MW(CAS["copper"])

    def integrand(t: float) -> float:
        rho = 1e-8 * float(np.interp(t, list(COPPER), list(COPPER.values())))
        return 8960.0 * float(library.calculate(t, "JANAF")) * per_kg / rho

    solid = 1e-12 * quad(integrand, 298.15, 1357.77, limit=200, epsrel=1e-4)[0]
    assert expected("action-onset-copper") == pytest.approx(solid, rel=5e-3)
    heat = chemicals.Hfus(CAS["copper"]) * per_kg
    # a liquid of 2.07 times the resistivity, mixed in proportion to what has melted
    plateau = 1e-12 * 8960.0 * heat * math.log(2.07) / (1.07 * 10.171e-8)
    assert expected("action-plateau-copper") == pytest.approx(plateau, rel=5e-3)
    assert expected("metal-total-action-copper") == pytest.approx(solid + plateau, rel=5e-3)


# ---------------------------------------------------------------- wires in air


def _air(what: str, at_k: float) -> float:
    return float(coolprop.PropsSI(what, "T", at_k, "P", 101325.0, "Air"))


@pytest.mark.parametrize(("name", "diameter"), [("01", 0.1e-3), ("05", 0.5e-3), ("1", 1.0e-3)])
@pytest.mark.parametrize(("surface", "emissivity"), [("bright", 0.1), ("dark", 0.6)])
def test_bare_wires(name: str, diameter: float, surface: str, emissivity: float) -> None:
    hot, ambient = 1357.77, 293.15
    film = 0.5 * (hot + ambient)
    k, density = _air("CONDUCTIVITY", film), _air("DMASS", film)
    nu = _air("VISCOSITY", film) / density
    prandtl = nu * density * _air("CPMASS", film) / k
    expansion = _air("ISOBARIC_EXPANSION_COEFFICIENT", film)
    grashof = 9.80665 * expansion * (hot - ambient) * diameter**3 / nu**2
    nusselt = ht.Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof)
    loss = nusselt * k / diameter * (hot - ambient) + ht.q_rad(emissivity, hot, ambient)
    resistance = 10.171e-8 / (math.pi * diameter**2 / 4.0)
    current = math.sqrt(math.pi * diameter * loss / resistance)
    assert expected(f"wire-bare-{name}-{surface}") == pytest.approx(current, rel=1e-3)


@pytest.mark.parametrize(("name", "rayleigh"), [("1e-2", 1e-2), ("1e6", 1e6)])
def test_nusselt(name: str, rayleigh: float) -> None:
    value = ht.Nu_horizontal_cylinder_Churchill_Chu(0.7, rayleigh / 0.7)
    assert expected(f"law-churchill-chu-ra-{name}") == pytest.approx(value, rel=1e-9)


# ---------------------------------------------------------------- closed forms, with scipy

K_B, E, SIGMA = 1.380649e-23, 1.602176634e-19, 5.670374419e-8
LORENZ = math.pi**2 / 3.0 * (K_B / E) ** 2
T20, T23 = 293.15, 296.15


def _copper_k(t: float) -> float:
    return 401.0 - 0.06 * (t - T20)


def _copper_rho(t: float) -> float:
    return 1.72e-8 * (1.0 + 0.00393 * (t - T20))


def _product(a: float, b: float) -> float:
    return float(quad(lambda t: _copper_k(t) * _copper_rho(t), a, b, epsrel=1e-12)[0])


def _notch_current() -> float:
    def width(s: float) -> float:
        return 2e-3 - 0.75e-3 * (1.0 + math.cos(math.pi * s / 1e-3))

    shape = 2.0 * (quad(lambda s: 1.0 / width(s), 0.0, 1e-3, epsrel=1e-12)[0] + 2.0) / 0.1e-3
    melting = 1357.77

    def field(x: float) -> float:  # T = Tm - x², so that the root at the middle is tamed
        t = melting - x * x
        left = _product(t, melting)
        rate = _copper_k(t) * _copper_rho(t)
        return (
            2.0 * x * _copper_k(t) / math.sqrt(2.0 * left)
            if x
            else math.sqrt(2.0 / rate) * (_copper_k(t))
        )

    return 2.0 * float(quad(field, 0.0, math.sqrt(melting - T20), epsrel=1e-11)[0]) / shape


FIN = {"area": math.pi / 4.0 * 0.25e-6, "perimeter": math.pi * 0.5e-3, "l": 20e-3, "k": 385.0}


def _fin(current: float, half: float = 20e-3) -> tuple[float, float, float, float]:
    """m² and source of theta'' = m² theta - s, centre and mean rise."""
    area, rho = FIN["area"], 1.72e-8
    s = current**2 * rho / (area**2 * FIN["k"])
    m2 = 30.0 * FIN["perimeter"] / (FIN["k"] * area) - s * 0.0039
    m = abs(m2) ** 0.5
    if m2 > 0.0:
        centre, mean = 1.0 - 1.0 / math.cosh(m * half), 1.0 - math.tanh(m * half) / (m * half)
    else:
        centre, mean = 1.0 - 1.0 / math.cos(m * half), 1.0 - math.tan(m * half) / (m * half)
    return m2, s, s / m2 * centre, s / m2 * mean


def _fin_drop(current: float) -> float:
    mean = _fin(current)[3]
    return current * 1.72e-8 * 40e-3 / FIN["area"] * (1.0 + 0.0039 * mean)


def _fin_fusing(half: float) -> float:
    # up to where the cosine of the trigonometric branch is zero
    rho, area = 1.72e-8, FIN["area"]
    loss = 30.0 * FIN["perimeter"] / (FIN["k"] * area)
    gain = rho * 0.0039 / (area**2 * FIN["k"])
    top = math.sqrt((loss + (0.5 * math.pi / half) ** 2) / gain)
    return float(brentq(lambda i: _fin(i, half)[2] - 1060.0, 0.05 * top, top * (1 - 1e-9)))


def _fin_centre(current: float, time: float) -> float:
    m2, s, _, _ = _fin(current)
    n = np.arange(4000)
    q = (n + 0.5) * math.pi / 20e-3
    a = 385.0 / (8960.0 * 385.0)
    decay = q**2 + m2
    shape = 2.0 * (-1.0) ** n / (q * 20e-3)
    return float(np.sum(shape * s / decay * -np.expm1(-decay * a * time)))


def _fin_onset(current: float) -> float:
    return float(brentq(lambda t: _fin_centre(current, t) - 1060.0, 1e-3, 30.0, rtol=1e-11))


def _joule(time: float, current: float, start: float = 0.0, heat: float = 0.8) -> float:
    """Rise of a lump of .05 W/K, 2 mOhm and .39 %/K."""
    g = 0.05 - current**2 * 2e-3 * 0.0039
    steady = current**2 * 2e-3 / g
    return steady + (start - steady) * math.exp(-g * time / heat)


def _joule_time(current: float) -> float:
    return float(brentq(lambda t: _joule(t, current) - 400.0, 1e-3, 1e3, rtol=1e-12))


def _half_sine(time: float) -> float:
    def rate(t: float, y: Any) -> Any:
        power = (300.0 * math.sin(math.pi * t / 10e-3)) ** 2 * 2e-3
        return (power * (1.0 + 0.0039 * y) - 0.05 * y) / 0.008

    return float(solve_ivp(rate, (0.0, time), [0.0], rtol=1e-11, atol=1e-11).y[0, -1])


def _radiation_time(end_k: float) -> float:
    rate = SIGMA * 0.8e-4 / 0.05
    return float(quad(lambda t: 1.0 / (rate * (t**4 - 300.0**4)), end_k, 1200.0)[0])


def _neumann(liquid: float, solid: float) -> float:
    def excess(x: float) -> float:
        return float(math.sqrt(math.pi) * x * math.exp(x * x) - liquid / erf(x) + solid / erfc(x))

    return float(brentq(excess, 1e-6, 3.0, xtol=1e-15))


def _front_time(root: float) -> float:
    return (4e-3) ** 2 / (4.0 * root**2 * 1e-4)


def _slab(place: float, fourier: float) -> float:
    n = np.arange(1, 4000)
    terms = (-1.0) ** n / n**2 * np.exp(-((n * math.pi) ** 2) * fourier) * np.cos(n * np.pi * place)
    share = fourier + (3.0 * place**2 - 1.0) / 6.0 - 2.0 / math.pi**2 * float(np.sum(terms))
    return share * 1e7 * 2e-3 / 385.0


def _even(fourier: float) -> float:
    q = (np.arange(4000) + 0.5) * math.pi
    terms = 2.0 * (-1.0) ** np.arange(4000) / q**3 * -np.expm1(-(q**2) * fourier)
    return float(np.sum(terms)) * 50.0**2 * 1.72e-8 / 1e-12 * (10e-3) ** 2 / 385.0


def _two_nodes(time: float, node: int) -> float:
    """Blade and clip of the rows: 2 and 5 J/K, 1 and .4 mOhm, 40 A."""
    link = 2.0 * LORENZ * 320.0 / 0.4e-3
    matrix = np.array([[-link / 2.0, link / 2.0, 0.0], [link / 5.0, -(link + 0.05) / 5.0, 0.0]])
    matrix = np.vstack((matrix, np.zeros(3)))
    matrix[:2, 2] = 1600.0 * 1.2e-3 / 2.0, 1600.0 * 0.2e-3 / 5.0
    return float((expm(matrix * time) @ np.array([0.0, 0.0, 1.0]))[node])


def _train(pulses: int) -> float:
    fall, rise = math.exp(-10.0 / 16.0), -math.expm1(-3.0 / 16.0)
    return 100.0 * rise * (1.0 - fall**pulses) / (1.0 - fall)


def _ambient(name: str, ambient_k: float, law: str) -> float:
    melting = chemicals.Tm(CAS[name])
    if law == "convective":
        return math.sqrt((melting - ambient_k) / (melting - T23))
    return math.acos(ambient_k / melting) / math.acos(T23 / melting)


def _end_cooled(melting: float, at_300: float, area: float) -> float:
    return 2.0 * math.sqrt(LORENZ) * math.acos(T20 / melting) * area / (at_300 / 300.0 * 10e-3)


ANEW: dict[str, Callable[[], float]] = {
    "notch-exact-minimum-current": _notch_current,
    "kohlrausch-lorenz-number": lambda: LORENZ,
    "kohlrausch-melting-voltage-lead": lambda: 2.0 * math.sqrt(
        LORENZ * (chemicals.Tm("7439-92-1") ** 2 - T20**2)
    ),
    "kohlrausch-melting-voltage-aluminium": lambda: 2.0 * math.sqrt(
        LORENZ * (chemicals.Tm(CAS["aluminium"]) ** 2 - T20**2)
    ),
    "kohlrausch-unequal-ends": lambda: sum(
        math.sqrt(2.0 * _product(end, 800.0)) for end in (293.15, 353.15)
    ),
    "kohlrausch-end-cooled-copper": lambda: _end_cooled(1357.77, 1.725e-8, 0.1e-6),
    "kohlrausch-end-cooled-zinc": lambda: _end_cooled(692.677, 6.06e-8, 0.3e-6),
    "kohlrausch-ceiling-80mv": lambda: math.sqrt(T23**2 + 0.08**2 / (4.0 * LORENZ)),
    "kohlrausch-ceiling-150mv": lambda: math.sqrt(T23**2 + 0.15**2 / (4.0 * LORENZ)),
    "kohlrausch-zinc-melts-at-196mv": lambda: 2.0 * math.sqrt(LORENZ * (692.677**2 - T23**2)),
    "fin-steady-rise-15a": lambda: _fin(15.0)[2],
    "fin-steady-rise-20a": lambda: _fin(20.0)[2],
    "fin-steady-mean-rise-20a": lambda: _fin(20.0)[3],
    "fin-steady-drop-20a": lambda: _fin_drop(20.0),
    "fin-minimum-current-20mm": lambda: _fin_fusing(10e-3),
    "fin-minimum-current-40mm": lambda: _fin_fusing(20e-3),
    "fin-minimum-current-160mm": lambda: _fin_fusing(80e-3),
    "fin-transient-100a-10ms": lambda: _fin_centre(100.0, 0.01),
    "fin-transient-15a-3000ms": lambda: _fin_centre(15.0, 3.0),
    "fin-transient-30a-500ms": lambda: _fin_centre(30.0, 0.5),
    "fin-onset-40a": lambda: _fin_onset(40.0),
    "fin-onset-200a": lambda: _fin_onset(200.0),
    "action-plain-copper-square": lambda: 1e-12 * 8960.0 * 385.0 / (1.72e-8 * 0.0039) * math.log1p(
        0.0039 * 1063.0
    ),
    "melting-front-root-one-phase": lambda: _neumann(0.1, 0.0),
    "melting-front-root-two-phase": lambda: _neumann(1.0, 2.0),
    "melting-front-one-phase": lambda: _front_time(_neumann(1.0, 0.0)),
    "melting-front-two-phase": lambda: _front_time(_neumann(1.0, 2.0)),
    "melting-front-stored-heat": lambda: 2.0 * 200.0 * 250.0 * math.sqrt(
        _front_time(_neumann(1.0, 2.0)) / (math.pi * 1e-4)
    ) / float(erf(_neumann(1.0, 2.0))),
    "diffusion-half-space-1ms": lambda: 2e7 / 385.0 * math.sqrt(1.11e-4 * 1e-3 / math.pi),
    "diffusion-half-space-10ms": lambda: 2e7 / 385.0 * math.sqrt(1.11e-4 * 1e-2 / math.pi),
    "diffusion-slab-heated": lambda: _slab(1.0, 0.2),
    "diffusion-slab-insulated": lambda: _slab(0.0, 0.2),
    "diffusion-slab-far": lambda: _slab(0.0, 1.0),
    "diffusion-even-heat-fo-01": lambda: _even(0.1),
    "diffusion-even-heat-fo-1": lambda: _even(1.0),
    "transient-lump-step-5s": lambda: -80.0 * math.expm1(-5.0 / 16.0),
    "transient-lump-joule": lambda: _joule(10.0, 80.0),
    "transient-lump-half-sine-5ms": lambda: _half_sine(5e-3),
    "transient-lump-half-sine-10ms": lambda: _half_sine(10e-3),
    "runaway-onset-near-the-least": lambda: _joule_time(65.0),
    "runaway-onset-above": lambda: _joule_time(100.0),
    "runaway-onset-far-above": lambda: _joule_time(200.0),
    "runaway-least-current": lambda: math.sqrt(0.05 * 400.0 / (2e-3 * (1.0 + 0.0039 * 400.0))),
    "runaway-action-limit": lambda: 0.8 / (2e-3 * 0.0039) * math.log1p(0.0039 * 400.0),
    "periodic-pulse-1": lambda: _train(1),
    "periodic-pulse-40": lambda: _train(40),
    "periodic-ripple-005hz": lambda: 80.0 / math.hypot(1.0, 2.0 * math.pi * 0.1 * 16.0),
    "terminal-two-nodes-blade-5s": lambda: _two_nodes(5.0, 0),
    "terminal-two-nodes-clip-30s": lambda: _two_nodes(30.0, 1),
    "balance-stored-heat": lambda: 8960.0 * 385.0 * 1e-8 / 0.0039 * math.expm1(
        1.72e-8 * 0.0039 * 4e18 * 0.01 / (8960.0 * 385.0)
    ),
    "balance-pulse-in-100s": lambda: _joule(
        0.02, 200.0, _joule(50.0, 25.0, heat=0.02), heat=0.02
    ),
    "ambient-convective-zinc-minus-40c": lambda: _ambient("zinc", 233.15, "convective"),
    "ambient-end-cooled-zinc-minus-40c": lambda: _ambient("zinc", 233.15, "end-cooled"),
    "ambient-wire-in-air-copper": lambda: _ambient("copper", 358.15, "convective"),
    "ambient-wire-in-air-zinc": lambda: _ambient("zinc", 358.15, "convective"),
    "ambient-end-cooled-strip-copper": lambda: _ambient("copper", 358.15, "end-cooled"),
    "ambient-end-cooled-strip-zinc": lambda: _ambient("zinc", 358.15, "end-cooled"),
}  # fmt: skip


@pytest.mark.parametrize("id", ANEW)
def test_closed_form(id: str) -> None:
    assert expected(id) == pytest.approx(ANEW[id](), rel=1e-7)


@pytest.mark.parametrize(
    ("end_k", "time"), [(600.0, 15.354411509458771), (400.0, 65.11666990510449)]
)
def test_time_of_cooling_by_radiation(end_k: float, time: float) -> None:
    assert f"{time:.2f} s" in CASES[f"transient-radiation-{end_k:g}k"].what
    assert _radiation_time(end_k) == pytest.approx(time, rel=1e-8)
