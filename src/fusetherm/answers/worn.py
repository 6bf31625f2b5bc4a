"""Worn contacts as a scenario: what each side adds, by its heat and by holding heat back."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from ..calibration.fit import Calibration
from ..errors import InputError
from ..fuse.definition import Connection, ConnectionSide
from ..fuse.model import Contact, FuseModel
from ..solver.run import Run
from ..solver.steady import minimum_fusing_current
from ..threads import each
from ..written import measure
from .subject import Subject

SideName = Literal["left", "right"]
SIDES: tuple[SideName, SideName] = ("left", "right")
Where = Literal["none", "left", "right", "both"]
#: What a contact does: heat of its own, a bar to the element's heat, or both.
Effect = Literal["new", "heat of its own", "heat held back", "both"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactScenario:
    """What worn contacts add to new ones.

    Attributes
    ----------
    side : {"none", "left", "right", "both"}
        Which contact is worn; the first scenario has none, to compare with.
    effect : {"new", "heat of its own", "heat held back", "both"}
        Its electrical part, its thermal part, or the contact as it is.
    resistance_left, resistance_right : float
        Electrical resistance of each contact in it [ohm]; NaN where a side has none.
    hot_spot, terminal : float
        Added to the hottest point of the element and to the hotter blade [K], up to `until`;
        the blade NaN where there is none.
    until : float
        When melting begins in the earlier of the two [s], else the end of the record.
    onset_time, pre_arcing_time : float or None
        With it [s]; None where it does not melt, or part.
    least : float
        Minimum fusing current with it [A].
    """

    side: Where
    effect: Effect
    resistance_left: float
    resistance_right: float
    hot_spot: float
    terminal: float
    until: float
    onset_time: float | None
    pre_arcing_time: float | None
    least: float

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "side": self.side,
            "effect": self.effect,
            "resistance_left_mohm": 1e3 * self.resistance_left,
            "resistance_right_mohm": 1e3 * self.resistance_right,
            "hot_spot_added_K": self.hot_spot,
            "terminal_added_K": self.terminal,
            "until_s": self.until,
            "onset_time_s": self.onset_time,
            "pre_arcing_time_s": self.pre_arcing_time,
            "minimum_fusing_current_A": self.least,
        }


def with_contacts(subject: Subject, left: float | None, right: float | None) -> Subject:
    """The same fuse on contacts of stated resistance; None leaves a side as it is.

    Parameters
    ----------
    subject : FuseModel or Calibration
    left, right : float, optional
        Resistance of each contact [ohm].

    Raises
    ------
    InputError
        ``not-positive``; ``contact-missing`` for a model without a contact on that side.
    """
    for name, value in zip(SIDES, (left, right), strict=True):
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise InputError(
                "not-positive", f"the {name} contact has {value} ohm", expected="above zero"
            )
    if isinstance(subject, Calibration):
        definition = subject.definition
        base = definition.installed_connection
        if base is None:
            # installed was as tested: the other side keeps the contact that was fitted
            fitted = resistances(subject.connected("installed"))
            left, right = (
                own if told is None else told
                for told, own in zip((left, right), fitted, strict=True)
            )
            base = definition.test_connection or Connection(source="contacts of the question")
        base = replace(base, left=_stated(base.left, left), right=_stated(base.right, right))
        return replace(subject, definition=replace(definition, installed_connection=base))
    model = subject
    for name, value in zip(SIDES, (left, right), strict=True):
        if value is None:
            continue
        side = getattr(model, name)
        if side.contact is None:
            raise InputError(
                "contact-missing",
                f"no contact on the {name} of the model, and {measure(value, 'Ω')} given for it",
                expected="a contact on that side of the model",
            )
        model = replace(
            model, **{name: replace(side, contact=replace(side.contact, resistance=value))}
        )
    return model


def _stated(side: ConnectionSide | None, ohms: float | None) -> ConnectionSide | None:
    """A side with a contact of stated resistance [ohm]."""
    return side if ohms is None else replace(side or ConnectionSide(), contact_resistance=ohms)


def resistances(model: FuseModel) -> tuple[float, float]:
    """Resistance of the left and the right contact [ohm]; NaN where there is none."""
    left, right = (
        math.nan if side.contact is None else side.contact.resistance
        for side in (model.left, model.right)
    )
    return left, right


def contact_scenarios(
    new: FuseModel,
    worn: FuseModel,
    run: Callable[[FuseModel], Run | None],
    *,
    ambient_c: float,
    cells: int,
) -> tuple[ContactScenario, ...]:
    """What worn contacts add: each side by its heat, by its bar to heat, and all together.

    Parameters
    ----------
    new, worn : FuseModel
        The same fuse on new and on worn contacts.
    run : callable
        Follows the question's current through a model; None where its start melts it.
    ambient_c : float
        [degC].
    cells : int

    Notes
    -----
    A contact of resistance R makes the heat ``I² R`` and passes heat by ``G ~ 1 / R``
    (Wiedemann and Franz). *Heat of its own* has the worn R with the new G, *heat held back*
    the new R with the worn G. The effects do not add up.
    """
    sides = [
        name for name in SIDES if resistances(new)[SIDES.index(name)]
        != resistances(worn)[SIDES.index(name)] and getattr(worn, name).contact is not None
    ]  # fmt: skip
    if not sides:
        return ()
    asked: list[tuple[Where, Effect, FuseModel]] = [("none", "new", new)]
    for name in sides:
        fresh, old = getattr(new, name).contact, getattr(worn, name).contact
        ratio = old.resistance / fresh.resistance
        variants: tuple[tuple[Effect, Contact], ...] = (
            ("heat of its own", Contact(old.resistance, fresh.heat_factor * ratio)),
            ("heat held back", Contact(fresh.resistance, old.heat_factor / ratio)),
            ("both", old),
        )
        asked += [(name, effect, _on(new, name, contact)) for effect, contact in variants]
    if len(sides) == 2:
        asked.append(("both", "both", worn))
    runs = each(lambda i: run(asked[i][2]), len(asked))
    before = runs[0]
    assert before is not None, "new contacts melt at the start"
    found = []
    for (which, effect, model), after in zip(asked, runs, strict=True):
        until = min(_until(before), math.inf if after is None else _until(after))
        left, right = resistances(model)
        found.append(
            ContactScenario(
                side=which,
                effect=effect,
                resistance_left=left,
                resistance_right=right,
                hot_spot=math.nan if after is None else _added(before, after, until, ""),
                terminal=math.nan if after is None else _added(before, after, until, "blade"),
                until=0.0 if after is None else until,
                onset_time=0.0 if after is None else after.onset_time,
                pre_arcing_time=0.0 if after is None else after.pre_arcing_time,
                least=minimum_fusing_current(model, ambient_c=ambient_c, cells=cells),
            )
        )
    return tuple(found)


def _on(model: FuseModel, name: SideName, contact: Contact) -> FuseModel:
    side = replace(getattr(model, name), contact=contact)
    return replace(model, left=side) if name == "left" else replace(model, right=side)


def _until(run: Run) -> float:
    """End of the part that melts nothing [s]."""
    return run.duration if run.onset_time is None else run.onset_time


def _added(before: Run, after: Run, until: float, part: str) -> float:
    """Difference of the highest temperatures up to an instant [K]."""
    tops = []
    for run in (before, after):
        traces = (
            [v for k, v in run.node_temperature_c.items() if k.startswith(part)]
            if part
            else [run.element_temperature_c]
        )
        if not traces:
            return math.nan
        hottest = np.max(traces, axis=0)
        here = run.time <= until
        at = float(np.interp(until, run.time, hottest))
        tops.append(max(float(hottest[here].max(initial=-math.inf)), at))
    return tops[1] - tops[0]
