"""The work of a sweep from what its caller gave, checked before anything runs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from ..answers.subject import ConnectionName, Subject, cells_of, model_of
from ..calibration.unit_spread import ASSUMED, UnitSpread
from ..current.waveform import Waveform
from ..errors import InputError
from ..fuse.model import FuseModel
from ..solver.integrate import check_tolerance
from ..solver.run import check_course
from ..units import kelvin
from .plan import MIDDLE, Fuse, Work, seed_of

NO_WAVEFORM: Mapping[str, Waveform] = MappingProxyType({})


def work_of(
    fuses: Subject | Mapping[str, Subject],
    waveforms: Waveform | Mapping[str, Waveform],
    *,
    factors: Sequence[float] | float,
    currents: Sequence[float] | float,
    durations: Sequence[float] | float,
    ambients_c: Sequence[float] | float,
    preloads: Sequence[float] | float,
    draws: Sequence[int] | int,
    units: Sequence[int] | int,
    pairing: Literal["grid", "list"],
    after: Literal["zero", "hold"],
    to: Literal["end", "onset"],
    connection: ConnectionName,
    tolerance: float,
    seed: int | None,
) -> Work:
    """Checked work of a sweep; parameters as those of `sweep`."""
    if not isinstance(fuses, Mapping):
        fuses = {_name(fuses): fuses}
    if isinstance(waveforms, Waveform):
        waveforms = {"waveform": waveforms}
    if pairing not in ("grid", "list"):
        raise InputError("unknown-pairing", f"pairing is {pairing!r}", expected="grid or list")
    check_course(after, to)
    check_tolerance(tolerance)
    constant = {
        "current": _numbers("currents", currents, above=0.0),
        "duration": _numbers("durations", durations, above=0.0),
    }
    if bool(waveforms) == any(constant.values()) or (not waveforms and not all(constant.values())):
        raise InputError(
            "sweep-without-current",
            "a sweep takes waveforms, or currents and durations",
            expected="one of the two, and for constant currents their durations too",
        )
    axes: dict[str, tuple[Any, ...]] = {
        "fuse": tuple(_names("fuse", fuses)),
        "draw": _members("draws", draws),
        "unit": _members("units", units),
    }
    if waveforms:
        axes["waveform"] = tuple(_names("waveform", waveforms))
        axes["factor"] = _numbers("factors", factors, above=0.0)
    else:
        axes |= constant
    axes["ambient_c"] = _numbers("ambients_c", ambients_c)
    axes["preload"] = _numbers("preloads", preloads, least=0.0)
    for ambient in axes["ambient_c"]:
        kelvin(ambient, "ambient")
    for name, values in axes.items():
        if not values:
            raise InputError("sweep-empty", f"the axis {name} has no value",
                             expected="one value or more")  # fmt: skip
    lengths = {len(values) for values in axes.values()} - {1}
    if pairing == "list" and len(lengths) > 1:
        told = ", ".join(f"{len(values)} of {name}" for name, values in axes.items())
        raise InputError("sweep-list-uneven", f"the axes of a list have {told}",
                         expected="as many values on each axis, or one")  # fmt: skip
    kinds = {name: _fuse(name, subject, axes["draw"], connection)
             for name, subject in fuses.items()}  # fmt: skip
    work = Work(
        fuses=kinds, waveforms=dict(waveforms), axes=axes, pairing=pairing, after=after, to=to,
        tolerance=tolerance, seed=0,
    )  # fmt: skip
    chosen = seed_of(work) if seed is None else seed
    if chosen < 0:
        raise InputError("sweep-seed", f"the seed is {chosen}", expected="a whole number from 0")
    return Work(
        fuses=kinds, waveforms=dict(waveforms), axes=axes, pairing=pairing, after=after, to=to,
        tolerance=tolerance, seed=int(chosen),
    )  # fmt: skip


def _fuse(name: str, subject: Subject, draws: Sequence[int], connection: ConnectionName) -> Fuse:
    """Models of a fuse for the draws asked."""
    models = {MIDDLE: model_of(subject, connection)}
    spread = UnitSpread(dict(ASSUMED), "assumed")
    asked = sorted(set(draws) - {MIDDLE})
    if not isinstance(subject, FuseModel):
        spread = subject.units
    if asked:
        made = () if isinstance(subject, FuseModel) else subject.models(connection)
        if asked[-1] >= len(made):
            raise InputError(
                "draw-unknown",
                f"draw {asked[-1]} of {name} was asked for, and it has {len(made)}",
                expected="draws of a calibration, counted from 0",
                mend="ask for fewer draws; a bare model has none",
            )
        models |= {k: made[k] for k in asked}
    return Fuse(models, spread, cells_of(subject))


def _name(subject: Subject) -> str:
    return subject.name if isinstance(subject, FuseModel) else subject.definition.id


def _names(kind: str, named: Mapping[str, Any]) -> list[str]:
    for name in named:
        if not name or not name.isprintable():
            raise InputError("sweep-name", f"a {kind} is named {name!r}",
                             expected="a name without control characters")  # fmt: skip
    return list(named)


def _members(name: str, chosen: Sequence[int] | int) -> tuple[int, ...]:
    """Numbers of draws or units: the first n, or those listed."""
    if isinstance(chosen, int):
        members: tuple[int, ...] = tuple(range(chosen)) if chosen > 0 else (MIDDLE,)
        low = chosen
    else:
        members = tuple(int(k) for k in chosen)
        low = min(members, default=0)
    if low < MIDDLE:
        raise InputError("sweep-member", f"{name} holds {low}",
                         expected="numbers from 0, or -1 for the middle")  # fmt: skip
    return members


def _numbers(
    name: str,
    values: Sequence[float] | float,
    *,
    above: float = -math.inf,
    least: float = -math.inf,
) -> tuple[float, ...]:
    """Values of an axis, checked."""
    found = tuple(float(v) for v in np.atleast_1d(np.asarray(values, dtype=np.float64)))
    bound = f" above {above:g}" if above > -math.inf else ""
    bound = f" from {least:g}" if least > -math.inf else bound
    for value in found:
        if not math.isfinite(value) or value <= above or value < least:
            raise InputError("sweep-value", f"{name} holds {value}",
                             expected=f"finite numbers{bound}")  # fmt: skip
    return found
