"""Notched strips against the exact integral of the end-cooled conductor."""

from __future__ import annotations

from dataclasses import replace

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


ROWS = (_minimum_current,)
