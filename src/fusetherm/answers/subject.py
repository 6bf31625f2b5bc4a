"""What a question can be asked of: a model of one draw, or a calibration with its band."""

from __future__ import annotations

from typing import Literal

from ..calibration.band import Band
from ..calibration.fit import Calibration
from ..errors import Note
from ..fuse.element import CELLS
from ..fuse.model import FuseModel

Subject = FuseModel | Calibration
ConnectionName = Literal["installed", "test"]

NO_BAND = Note("no-band", "a bare model is one draw: its answers carry no band")


def model_of(subject: Subject, connection: ConnectionName = "installed") -> FuseModel:
    """Model of a subject in one of its connections; a bare model is what it is."""
    return subject if isinstance(subject, FuseModel) else subject.connected(connection)


def band_of_subject(subject: Subject) -> Band | None:
    """Band of a calibration; None for a bare model."""
    return None if isinstance(subject, FuseModel) else subject.band


def cells_of(subject: Subject) -> int:
    """Cells of the mesh a subject was fitted on."""
    return CELLS if isinstance(subject, FuseModel) else subject.cells


def subject_notes(subject: Subject) -> tuple[Note, ...]:
    """Notes that travel with a subject."""
    return (NO_BAND,) if isinstance(subject, FuseModel) else subject.notes
