"""Tables of duties and plans that name a measured current: their keys, and how it is read."""

# ruff: noqa: RUF009  (keyed makes a dataclass field)
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from ..current.capture import Capture, read_capture
from ..errors import FileError, InputError
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

    def read(self, folder: Path, *, asked_by: str, gain_tolerance: float = 0.0) -> Capture:
        """The capture, read as the table says.

        Parameters
        ----------
        folder : Path
            Folder of the file that holds the table.
        asked_by : str
            Which table of which file names it, for messages.
        gain_tolerance : float
            As for `read_capture`.

        Raises
        ------
        FileError
            What `read_capture` raises, with the keys that settle it and the table they belong to.
        """
        file = folder / str(self.capture)
        try:
            return read_capture(
                file,
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
        except InputError as cause:
            raise _of_table(cause, file, asked_by) from None


#: Keys, which are the fields, that say how a capture is read.
READING = ("clamp", "zero", "column", "time_column", "unit", "time_unit", "gaps", "missing")
#: Keys of arguments of `read_capture` whose names differ.
_KEYS = MappingProxyType({"current": "column", "time": "time_column", "current_unit": "unit"})


def _of_table(cause: InputError, file: Path, asked_by: str) -> FileError:
    """A fault of a capture, with the keys that settle it and where they belong."""
    named = ((_KEYS.get(one.name, one.name), one.value) for one in cause.arguments)
    keys = [
        f"{key} = {'...' if value is None else repr(value)}"
        for key, value in named
        if key in READING
    ]
    settle = f" ({' or '.join(keys)})" if keys else ""
    return FileError(
        cause.code, cause.found, path=getattr(cause, "path", file),
        line=getattr(cause, "line", None), key=getattr(cause, "key", ""),
        expected=cause.expected,
        mend=f"{cause.mend or 'see the capture'}{settle}; read for {asked_by}",
    )  # fmt: skip


def _column(text: str | None) -> str | int | None:
    return int(text) if text is not None and text.isdecimal() else text
