"""Diffusion of heat through the integrator: half-space, slab, heat between cold ends, sand."""

from __future__ import annotations

import math

from ...fuse.element import round_wire
from ...fuse.model import Blade, Body, Filler, FuseModel, Side
from ...physics.metals import Metal
from ...solver.run import simulate
from ..case import Case, case
from ..models import constant, plain_metal, straight_copper

_AREA = 1e-6  # [m²]
_OHMS = 1e-3  # of the blade that heats the face [ohm]
_DIFFUSIVITY = 1.11e-4
_PAPER = "evaluated with mpmath to 25 digits"


def _bar(resistivity: float = 1e-16) -> Metal:
    return plain_metal(
        density=385.0 / _DIFFUSIVITY / 385.0,
        specific_heat=385.0,
        resistivity=resistivity,
        conductivity=385.0,
        melts_k=2800.0,
    )


def _heated_face(length: float) -> FuseModel:
    """Bar that a weightless blade heats at its left end, without any other way out."""
    face = Side(Blade(1e-9, 0.0, _OHMS, 0.0))
    wire = round_wire(_bar(), math.sqrt(4.0 * _AREA / math.pi), length)
    return FuseModel(wire, None, face, Side(Blade(heat_capacity=1e-9)))


def _face(name: str, what: str, *, length: float, flux: float, time: float, node: str,
          expected: float, tolerance: float, law: str) -> Case:  # fmt: skip
    @case(
        f"diffusion-{name}",
        what,
        unit="K",
        expected=expected,
        relative=tolerance,
        source=f"{law}, {_PAPER}; {100 * tolerance:g} % for 256 cells",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        current = math.sqrt(flux * _AREA / _OHMS)
        run = simulate(
            _heated_face(length), constant(current, time), ambient_c=20.0, tolerance=1e-7, cells=256
        )
        return float(run.node_temperature_c[node][-1]) - 20.0

    return measured


def _half_space(time: float, expected: float) -> Case:
    return _face(
        f"half-space-{1e3 * time:g}ms",
        f"half-space under 10 MW/m² for {1e3 * time:g} ms: rise of its surface",
        length=10.0 * math.sqrt(_DIFFUSIVITY * time),
        flux=1e7,
        time=time,
        node="blade_left",
        expected=expected,
        tolerance=2e-4,
        law="2 q sqrt(a t / pi) / k, Carslaw and Jaeger, section 2.9",
    )


def _slab(name: str, node: str, fourier: float, share: float) -> Case:
    """Slab of 2 mm; 10 MW/m² are worth q l / k = 51.9 K."""
    length, flux = 2e-3, 1e7
    return _face(
        f"slab-{name}",
        f"slab under a flux on one face, insulated on the other, Fo = {fourier:g}: {name} face",
        length=length,
        flux=flux,
        time=fourier * length**2 / _DIFFUSIVITY,
        node=node,
        expected=share * flux * length / 385.0,
        tolerance=1e-4,
        law="series of Carslaw and Jaeger, section 3.8",
    )


def _between_cold_ends(fourier: float, share: float) -> Case:
    half = 10e-3
    time = fourier * half**2 / _DIFFUSIVITY
    current, resistivity = 50.0, 1.72e-8
    scale = current**2 * resistivity / _AREA**2 * half**2 / 385.0

    @case(
        f"diffusion-even-heat-fo-{fourier:g}".replace(".", ""),
        f"evenly heated bar between ends held at ambient, Fo = {fourier:g}: rise of its middle",
        unit="K",
        expected=share * scale,
        relative=2e-4,
        source=f"series of Carslaw and Jaeger, section 3.8, {_PAPER}; .02 % for 128 cells",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        wire = round_wire(_bar(resistivity), math.sqrt(4.0 * _AREA / math.pi), 2.0 * half)
        run = simulate(
            FuseModel(wire), constant(current, time), ambient_c=20.0, tolerance=1e-7, cells=128
        )
        return float(run.element_temperature_c[-1]) - 20.0

    return measured


def _in_sand(time: float, expected: float) -> Case:
    """Wire of .5 mm in quartz sand, 5 A; eight shells to a bore of 10 mm."""
    current = 5.0

    @case(
        f"diffusion-wire-in-sand-{time:g}s".replace(".", ""),
        f"wire of .5 mm in sand of .3 W/m/K, 5 A for {time:g} s: its rise",
        unit="K",
        expected=expected,
        relative=0.02,
        source="cylinder of infinite conductivity in an infinite medium, Carslaw and Jaeger, "
        "section 13.7, formula from memory, integral by scipy; 2 % for eight shells",
        origin="memory",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        metal = straight_copper(slope=0.0)
        filler = Filler(bore=10e-3, conductivity=0.3, heat=1.44e6)
        body = Body(heat_capacity=1e6, conductance=1e3, filler=filler)
        model = FuseModel(round_wire(metal, 0.5e-3, 1.0), body)
        run = simulate(model, constant(current, time), ambient_c=20.0, tolerance=1e-6, cells=64)
        return run.peak_temperature_c - 20.0

    return measured


ROWS = (
    _half_space(1e-3, 9.76463061812988),
    _half_space(10e-3, 30.878473263508273),
    _slab("heated", "blade_left", 0.2, 0.5051651887025607),
    _slab("insulated", "blade_right", 0.2, 0.0614637512943321),
    _slab("far", "blade_right", 1.0, 0.8333438146422292),
    _between_cold_ends(0.1, 0.09887318271104939),
    _between_cold_ends(1.0, 0.45623855216819753),
    _in_sand(0.01, 0.028786179950813832),
    _in_sand(0.1, 0.2231213099239258),
    _in_sand(1.0, 1.06490980830957),
    _in_sand(3.0, 1.7180222932746203),
)
