"""Tables of duties and plans that name a measured current: their keys, and how it is read."""

# ruff: noqa: RUF009  (keyed makes a dataclass field)
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from ..current.capture import Capture, read_capture
from ..fuse.records import keyed

Policy = Literal["refuse", "hold", "linear"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureTable:
    """What a table says of a measured current; the same keys in every file that names one."""

    capture: str | None = keyed(
        "capture", "Path of a measured current, from the folder of this file.", default=None
    )
    clamp: str | None = keyed("clamp", 'Ratio of clamp or shunt, as "10 mV/A".', default=None)
    zero: str | None = keyed(
        "zero", 'Stretch of the capture without current, as "0 s : 0.2 s".', default=None
    )
    column: str | None = keyed("column", "Current column, by name or place from 0.", default=None)
    time_column: str | None = keyed(
        "time_column", "Time column, by name or place from 0.", default=None
    )
    unit: str | None = keyed("unit", "Unit of the current column, if not written.", default=None)
    time_unit: str | None = keyed("time_unit", "Unit of the times, if not written.", default=None)
    gaps: Policy | None = keyed("gaps", "What to do with gaps in time.", default=None)
    missing: Policy | None = keyed("missing", "What to do with missing currents.", default=None)

    def read(self, folder: Path, gain_tolerance: float = 0.0) -> Capture:
        """The capture, read as the table says.

        Parameters
        ----------
        folder : Path
            Folder of the file that holds the table.
        gain_tolerance : float
            As for `read_capture`.
        """
        return read_capture(
            folder / str(self.capture),
            clamp=self.clamp,
            zero=self.zero,
            current=_column(self.column),
            time=_column(self.time_column),
            current_unit=self.unit,
            time_unit=self.time_unit,
            gaps=self.gaps or "refuse",
            missing=self.missing or "refuse",
            gain_tolerance=gain_tolerance,
        )


#: Keys, which are the fields, that say how a capture is read.
READING = ("clamp", "zero", "column", "time_column", "unit", "time_unit", "gaps", "missing")


def _column(text: str | None) -> str | int | None:
    return int(text) if text is not None and text.isdecimal() else text
