"""Notched strips against the exact integral of the end-cooled conductor."""

from __future__ import annotations

from dataclasses import replace

from ...fuse.element import Element, Section
from ...fuse.model import FuseModel
from ...physics.metals import Metal, metal
from ...solver.steady import minimum_fusing_current
from ..case import case
from ..models import notched_strip, straight


def _copper() -> Metal:
    """Copper with a straight conductivity and resistivity, and a fixed specific heat."""
    return replace(
        metal("copper"),
        density=8960.0,
        solidus_k=1357.77,
        liquidus_k=1357.77,
        resistivity_table=straight(1.72e-8, 1.72e-8 * 0.00393),
        conductivity_table=straight(401.0, -0.06),
        specific_heat_table=straight(385.0),
    )


@case(
    "notch-exact-minimum-current",
    "copper strip, ends held at 20 °C: current that just melts the notch",
    unit="A",
    expected=107.75764961076277,
    relative=1e-4,
    source="quadrature of I int dx/A = 2 int k dT / sqrt(2 int k rho dT); finite elements agree",
    origin="computed",
    calls="fusetherm.minimum_fusing_current",
    integrates=True,
)
def _minimum_current() -> float:
    strip = notched_strip(
        _copper(), length=10e-3, width=2e-3, middle=0.5e-3, notch=2e-3, thickness=0.1e-3
    )
    return minimum_fusing_current(FuseModel(strip), ambient_c=20.0, cells=256)


@case(
    "notch-spreading-three-to-one",
    "strip that narrows from 3 to 1: squares the step adds to its resistance",
    unit="1",
    expected=0.238661,
    absolute=1e-5,
    source="computed with scikit-fem 12, quadratic elements graded towards the corner",
    origin="computed",
    calls="fusetherm.Element",
)
def _spreading() -> float:
    parts = (Section(40e-3, 3e-3, 0.1e-3), Section(40e-3, 1e-3, 0.1e-3))
    with_, without = (
        Element(_copper(), parts, spreading=both).shape_integral() for both in (True, False)
    )
    return (with_ - without) * 0.1e-3


ROWS = (_minimum_current, _spreading)
