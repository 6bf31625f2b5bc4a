"""What an opened fuse looks like, against the place and length of melt that are predicted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ..solver.kernels.layout import U_LIQUIDUS, U_SOLIDUS
from ..solver.network import build_network
from ..solver.run import Run
from ..units import kelvin
from ..written import measure, number, percent

AppearanceName = Literal["clean_gap", "blackened", "one_side", "unmelted_break"]

#: Appearance -> what is seen, and what it is read as: common practice, no source.
READINGS: dict[AppearanceName, tuple[str, str]] = {
    "clean_gap": ("a short clean gap", "a long overload"),
    "blackened": ("the strip gone and the body blackened", "a short circuit"),
    "one_side": ("one blade discoloured or plastic melted", "a bad contact"),
    "unmelted_break": ("a break at an unmelted bridge", "fatigue"),
}
#: Share of the element above which a melt is long, and current over the rating from which an
#: opening is a short circuit's (own choice).
LONG_MELT, SHORT_CIRCUIT = 0.5, 10.0
#: Share of the rise that makes a contact a cause, and difference of the two blades that shows
#: on one of them [K] (own choice).
CONTACT_SHARE, ONE_SIDED = 0.1, 20.0


@dataclass(frozen=True, slots=True)
class Melt:
    """Where and how far an element has melted when it parts.

    Attributes
    ----------
    position : float
        Middle of what is molten, from the element's left end [m].
    length : float
        Molten length, partly molten cells by their share [m].
    element_length : float
        [m].
    current : float
        That flows as it parts [A].
    dissolved : bool
        Whether a spot dissolved it rather than that it melted.
    """

    position: float
    length: float
    element_length: float
    current: float
    dissolved: bool

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "position_mm": 1e3 * self.position,
            "length_mm": 1e3 * self.length,
            "element_length_mm": 1e3 * self.element_length,
            "current_A": self.current,
            "dissolved": self.dissolved,
        }

    def __str__(self) -> str:
        whole = measure(self.element_length, "m")
        where = f"{measure(self.position, 'm')} from the left end of {whole}"
        if self.dissolved:
            return f"dissolved by its spot, {where}"
        return f"{measure(self.length, 'm')} molten, {where}, at {measure(self.current, 'A')}"


def melt_of(run: Run) -> Melt | None:
    """Place and length of what has melted when a run's element parts; None when it does not."""
    if not run.opened:
        return None
    question = run.question
    network = build_network(question.model, ambient_k=kelvin(run.ambient_c), cells=question.cells)
    s = network.metal.scalars
    u = run.final_state.u[network.first : network.last + 1]
    share = np.clip((u - s[U_SOLIDUS]) / (s[U_LIQUIDUS] - s[U_SOLIDUS]), 0.0, 1.0)
    molten = share * network.mesh.length
    length = float(molten.sum())
    position = run.peak_position
    if length > 0.0:
        position = float(molten @ network.mesh.position) / length
    dissolved = run.dissolved_share >= 1.0 and length < run.question.model.element.parting_length
    return Melt(position, length, question.model.element.length, float(run.current[-1]), dissolved)


@dataclass(frozen=True, slots=True)
class Appearance:
    """What is seen on an opened fuse, against what is predicted.

    Attributes
    ----------
    name : str
        Key of `READINGS`.
    seen, read_as : str
        What is seen, and what practice reads from it.
    agrees : bool
        Whether the prediction would leave this.
    reason : str
        Why.
    """

    name: AppearanceName
    seen: str
    read_as: str
    agrees: bool
    reason: str

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {"name": self.name, "seen": self.seen, "read_as": self.read_as,
                "agrees": self.agrees, "reason": self.reason}  # fmt: skip


def expected_of(melt: Melt | None, rated: float | None) -> AppearanceName | None:
    """What a predicted opening would leave; None when nothing opens."""
    if melt is None:
        return None
    high = rated is not None and melt.current >= SHORT_CIRCUIT * rated
    long = melt.length > LONG_MELT * melt.element_length
    return "blackened" if high or long else "clean_gap"


def compared(
    name: AppearanceName,
    run: Run,
    melt: Melt | None,
    *,
    contact_share: float,
    passed: tuple[str, ...] = (),
) -> Appearance:
    """Compare what is seen with what is predicted.

    Parameters
    ----------
    name : str
        Key of `READINGS`.
    run : Run
        The prediction.
    melt : Melt or None
        Its melt.
    contact_share : float
        Share of worn contacts in the rise [-].
    passed : tuple of str
        Parts of the holder beyond their limits.
    """
    seen, read_as = READINGS[name]
    rated = run.question.model.rated_current
    would = expected_of(melt, rated)
    if name == "one_side":
        agrees, reason = _one_side(run, contact_share, passed)
    elif name == "unmelted_break":
        agrees = run.onset_time is None
        reason = (
            "the prediction melts nothing: ask how many times it bears this current"
            if agrees
            else "the prediction melts the element, and leaves molten ends"
        )
    elif melt is None:
        agrees = False
        reason = (
            "the prediction melts it partly and does not part it"
            if run.onset_time is not None
            else "the prediction melts nothing: something flowed that was not recorded, or the "
            "fuse, its contacts or its air are not those of the question"
        )
    else:
        agrees = would == name
        times = "" if rated is None else f", {number(melt.current / rated)} times the rating"
        reason = (
            f"predicted: {melt} ({percent(melt.length / melt.element_length)} of the "
            f"element){times}"
        )
    return Appearance(name, seen, read_as, agrees, reason)


def _one_side(run: Run, share: float, passed: tuple[str, ...]) -> tuple[bool, str]:
    tops = run.peak_node_temperature_c
    blades = [tops[name] for name in ("blade_left", "blade_right") if name in tops]
    apart = abs(blades[0] - blades[1]) if len(blades) == 2 else 0.0
    said = []
    if share >= CONTACT_SHARE:
        said.append(f"worn contacts make {percent(share)} of the rise")
    if apart >= ONE_SIDED:
        said.append(f"one blade gets {measure(apart, 'K')} hotter than the other")
    said += [f"{part} passes its limit" for part in passed]
    if said:
        return True, " and ".join(said)
    return False, (
        f"contacts as given make {percent(share)} of the rise, the blades differ by "
        f"{measure(apart, 'K')}, and no stated limit of the holder is passed: measure the drop "
        "across each contact, or ask with worn ones"
    )
