"""What is to be said of a run beside its numbers: skin depth, melting, the cycle it opens in."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from ..current.trains import Train, cycle_at
from ..current.waveform import Waveform
from ..errors import Note
from ..fuse.model import FuseModel
from ..physics.constants import VACUUM_PERMEABILITY
from ..written import measure
from .integrate import Block, Solution
from .kernels.layout import U_SOLIDUS


def frequencies_noted(
    blocks: Iterator[Block | Train], seen: list[float]
) -> Iterator[Block | Train]:
    """Pass blocks on, with the repetition frequency [Hz] of each repeated one written down."""
    for block in blocks:
        if isinstance(block, Train):
            for _ in frequencies_noted(block.cycle.blocks(), seen):
                pass
        elif block.repeats > 1:
            seen.append(1.0 / float(block.time[-1]))
        yield block


def skin_notes(model: FuseModel, frequency: float) -> tuple[Note, ...]:
    """Note when the current no longer fills the element's cross-section.

    Skin depth ``sqrt(rho / (pi f mu_0))`` against half the thickness, resistivity at 20 degC.
    """
    if frequency <= 0.0:
        return ()
    rho = model.element.metal.resistivity(293.15)
    depth = math.sqrt(rho / (math.pi * frequency * VACUUM_PERMEABILITY))
    half = 0.5 * model.element.thickness
    if depth >= half:
        return ()
    text = (
        f"at {measure(frequency, 'Hz')} the skin depth of {measure(depth, 'm')} is below half "
        f"the thickness of {measure(2.0 * half, 'm')}: the element runs hotter than computed"
    )
    return (Note("skin-depth", text),)


def melt_notes(solution: Solution, scalars: Any, to: str) -> tuple[Note, ...]:
    """A run that melted without parting has left the physics that was validated."""
    if to == "onset" and solution.onset_time is not None and solution.parted_time is None:
        return (Note("ended-at-onset", "ended where melting begins, as asked"),)
    if solution.parted_time is None and solution.peak_u > scalars[U_SOLIDUS]:
        text = "partly melted and did not part; what it does after refreezing is not modelled"
        return (Note("partly-melted", text),)
    return ()


def cycle_notes(waveform: Waveform, solution: Solution) -> tuple[Note, ...]:
    """In which cycle of a repeat the element parts."""
    if solution.parted_time is None:
        return ()
    place = cycle_at(waveform, solution.parted_time)
    if place is None or place[1] < 2:
        return ()
    text = f"the element parts in cycle {place[0]:,} of {place[1]:,}".replace(",", " ")
    return (Note("opens-in-cycle", text),)
