"""Plan files: a sweep in TOML, with the paths of its fuses and captures."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from ..calibration.stored import fit_or_definition
from ..current.waveform import Waveform
from ..errors import FileError
from ..fuse import schema
from ..fuse.definition import migrated
from ..fuse.records import keyed, parse, read_text, record_of
from ..life.capture_table import READING, CaptureTable
from ..life.duty_file import load_duty
from ..units import ZERO_CELSIUS_K

#: Version of the file this code reads.
SCHEMA_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveformData(CaptureTable):
    """One current as its table has it."""

    name: str = keyed("name", "What to call it in the result.")
    duty: str | None = keyed("duty", "Path of a duty file instead.", default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepData:
    """A plan file as its text has it."""

    schema_version: int = keyed("schema_version", "Version of this file format.", least=1)
    fuses: tuple[str, ...] = keyed("fuses", "Paths of definitions or fit files.")
    contact: Literal["new", "worn"] = keyed("contact", "State of the contacts.", default="new")
    connection: Literal["installed", "test"] = keyed(
        "connection", "Cables and contacts: as installed or as tested.", default="installed"
    )
    pairing: Literal["grid", "list"] = keyed(
        "pairing", "Every combination, or the values side by side.", default="grid"
    )
    after: Literal["zero", "hold"] = keyed("after", "Current after a waveform.", default="zero")
    to: Literal["end", "onset"] = keyed("to", "Where runs end.", default="end")
    seed: int | None = keyed("seed", "Of the units.", least=0, default=None)
    draws: int = keyed("draws", "Draws of each calibration; 0 its fit.", least=0, default=0)
    units: int = keyed("units", "Units of each kind; 0 the middle one.", least=0, default=0)
    waveforms: tuple[WaveformData, ...] = keyed("waveform", "Currents.", default=())
    factors: tuple[float, ...] = keyed("factors", "Factors on them.", above=0.0, default=(1.0,))
    currents: tuple[float, ...] = keyed(
        "currents_A", "Constant currents instead [A].", above=0.0, default=()
    )
    durations: tuple[float, ...] = keyed(
        "durations_s", "How long they flow [s].", above=0.0, default=()
    )
    ambients_c: tuple[float, ...] = keyed("ambients_C", "Ambients [degC].", above=-ZERO_CELSIUS_K)
    preloads: tuple[float, ...] = keyed(
        "preloads_A", "Steady currents before [A].", least=0.0, default=(0.0,)
    )


def load_plan(path: str | Path) -> dict[str, Any]:
    """Arguments of `sweep` from a plan file.

    Parameters
    ----------
    path : str or Path
        The file, UTF-8.

    Returns
    -------
    dict
        By the names of the parameters of `sweep`.

    Raises
    ------
    FileError
        ``not-a-plan``, ``sweep-name``, ``waveform-without-current``,
        ``key-of-another-event``; what a definition, a capture or a duty raises.
    """
    file = Path(path)
    name = str(path)
    values, places = parse(read_text(file), name, kind="plan")
    values, _ = migrated(values, places, name, SCHEMA_VERSION, {})
    schema.check(SweepData, values, places, name)
    data = record_of(SweepData, values)
    fuses = {}
    for i, one in enumerate(data.fuses):
        fit = fit_or_definition(file.parent / one, contact=data.contact)
        key = fit.definition.id
        if key in fuses:
            raise FileError("sweep-name", f"two fuses are called {key!r}", path=path,
                            line=places.line(("fuses", i)), key="fuses",
                            expected="each fuse once")  # fmt: skip
        fuses[key] = fit
    waveforms: dict[str, Waveform] = {}
    for i, wave in enumerate(data.waveforms):
        at = places.line(("waveform", i))
        if wave.name in waveforms:
            raise FileError("sweep-name", f"two waveforms are called {wave.name!r}", path=path,
                            line=at, key="waveform", expected="a name each")  # fmt: skip
        if (wave.capture is None) == (wave.duty is None):
            has = "neither capture nor duty" if wave.duty is None else "a capture and a duty"
            raise FileError("waveform-without-current", f"the waveform {wave.name!r} has {has}",
                            path=path, line=at, key="waveform",
                            expected="one of the two")  # fmt: skip
        idle = [key for key in READING if getattr(wave, key) is not None]
        if wave.duty is not None and idle:
            raise FileError("key-of-another-event", f"{idle[0]} says nothing about a duty",
                            path=path, line=places.line(("waveform", i, idle[0])), key=idle[0],
                            expected="the keys of a capture with a capture",
                            mend="remove it, or name a capture")  # fmt: skip
        if wave.duty is not None:
            waveforms[wave.name] = load_duty(file.parent / wave.duty).waveform
        else:
            waveforms[wave.name] = wave.read(
                file.parent, asked_by=f"the waveform {wave.name!r}, line {at} of {name}"
            )
    return {
        "fuses": fuses, "waveforms": waveforms, "factors": data.factors,
        "currents": data.currents, "durations": data.durations, "ambients_c": data.ambients_c,
        "preloads": data.preloads, "draws": data.draws, "units": data.units,
        "pairing": data.pairing, "after": data.after, "to": data.to, "connection": data.connection,
        "seed": data.seed,
    }  # fmt: skip
