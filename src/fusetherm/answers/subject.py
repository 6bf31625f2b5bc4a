"""What a question can be asked of: a model of one draw, or a calibration with its band."""

from __future__ import annotations

from typing import Any, Literal

from ..calibration.fit import Calibration
from ..errors import InputError, Note
from ..fuse.model import FuseModel
from ..solver.steady import cells_for
from ..units import ZERO_CELSIUS_K, kelvin, kelvin_hint
from ..written import number

Subject = FuseModel | Calibration
ConnectionName = Literal["installed", "test"]

NO_BAND = Note("no-band", "a bare model is one draw: its answers carry no band")


#: Of worn contacts asked for in the test connection.
WORN_IN_TEST = Note(
    "worn-without-effect",
    "the curve was measured on new contacts: worn ones change nothing in its connection",
)


def _refuse_other(subject: object) -> None:
    """Refuse what no question can be asked of, such as a definition not yet fitted."""
    if isinstance(subject, (FuseModel, Calibration)):
        return
    raise InputError(
        "not-a-fuse",
        f"the fuse is given as {type(subject).__name__}",
        expected="a Calibration, or a FuseModel",
        mend="calibrate(definition) fits a definition, load_fit reads a fit file",
    )


def model_of(subject: Subject, connection: ConnectionName = "installed") -> FuseModel:
    """Model of a subject in one of its connections; a bare model is what it is."""
    _refuse_other(subject)
    return subject if isinstance(subject, FuseModel) else subject.connected(connection)


def cells_of(subject: Subject) -> int:
    """Cells of the mesh a subject was fitted on."""
    _refuse_other(subject)
    return cells_for(subject) if isinstance(subject, FuseModel) else subject.cells


def subject_notes(subject: Subject, connection: ConnectionName = "installed") -> tuple[Note, ...]:
    """Notes that travel with a subject in one of its connections."""
    _refuse_other(subject)
    if isinstance(subject, FuseModel):
        return (NO_BAND,)
    return subject.notes + worn_notes(subject, connection)


def worn_notes(subject: Subject, connection: ConnectionName) -> tuple[Note, ...]:
    """A note when worn contacts were asked for and change nothing, or one side only."""
    _refuse_other(subject)
    if isinstance(subject, FuseModel) or subject.contact != "worn":
        return ()
    if connection == "test":
        return (WORN_IN_TEST,)
    installed = subject.definition.installed_connection
    if installed is None:
        return ()
    stated = [
        name for name in ("left", "right") if installed.side(name).contact_resistance is not None
    ]
    if not stated:
        return ()
    where = "both sides" if len(stated) == 2 else f"the {stated[0]} side"
    text = (
        f"the installed connection states the contact resistance of {where}: it was taken as "
        "stated, and worn contacts change nothing there; leave it out, or state a worn one"
    )
    return (Note("worn-without-effect", text),)


def configuration_of(subject: Subject) -> dict[str, Any]:
    """What an answer of a subject was made with."""
    return (
        {"cells": cells_for(subject)} if isinstance(subject, FuseModel) else subject.configuration()
    )


def refuse_molten(model: FuseModel, ambient_c: float) -> None:
    """Refuse an ambient at which the element is no longer solid [degC].

    Raises
    ------
    InputError
        ``ambient-above-melting``; or what `kelvin` raises.
    """
    metal = model.element.metal
    if kelvin(ambient_c, "ambient") < metal.solidus_k:
        return
    raise InputError(
        "ambient-above-melting",
        f"ambient is {number(ambient_c, 6)} °C, and {metal.name} melts at "
        f"{number(metal.solidus_k - ZERO_CELSIUS_K, 4)} °C",
        expected="an ambient at which the element is solid",
        mend=kelvin_hint(ambient_c) or "check the ambient: degrees Celsius",
    )
