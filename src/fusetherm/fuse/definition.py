"""The definition of a fuse: what is published about it, from a TOML file, in SI.

A definition says what is known of a fuse and of the connections it is tested and installed
with; it holds no model. Keys of the file carry their unit, names in Python do not:
``rated_current_A = 40`` is ``Definition.rated_current``. Where a value is not published, its
key stays out.
"""

# ruff: noqa: RUF009  (keyed makes a dataclass field)
from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from ..errors import FileError, Note
from ..units import ZERO_CELSIUS_K
from ..written import counted, html_table, measure
from .published import (
    ColdResistance,
    Curve,
    Hold,
    LeastCurrent,
    MeltingIntegral,
    PulseTest,
    ReRating,
    TerminalRise,
    VoltageDrop,
)
from .records import keyed, parse, read_text, record_hash, record_of, toml_text
from .toml_lines import Places

#: Version of the file this code writes.
SCHEMA_VERSION = 1

#: Steps from an older version to the next: version -> values of the next version.
MIGRATIONS: Mapping[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}

_COLD = -ZERO_CELSIUS_K
_SOURCE = "Where the values of this table come from."


@dataclass(frozen=True, slots=True, kw_only=True)
class ConnectionSide:
    """What one terminal of the fuse is connected to; None where not stated."""

    cable_section: float | None = keyed(
        "cable_section_mm2", "Section of the cable [mm²].", above=0.0, default=None
    )
    cable_length: float | None = keyed(
        "cable_length_m", "Length of the cable [m].", above=0.0, default=None
    )
    insulation_diameter: float | None = keyed(
        "insulation_diameter_mm", "Diameter over the insulation [mm].", above=0.0, default=None
    )
    contact_resistance: float | None = keyed(
        "contact_resistance_mohm", "Resistance of one contact [mohm].", above=0.0, default=None
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Connection(ConnectionSide):
    """How a fuse is connected; keys under ``left`` or ``right`` hold for that side alone."""

    source: str = keyed("source", _SOURCE)
    left: ConnectionSide | None = keyed("left", "What differs on the left side.", default=None)
    right: ConnectionSide | None = keyed("right", "What differs on the right side.", default=None)

    def side(self, which: Literal["left", "right"]) -> ConnectionSide:
        """One side, with what holds for both filled in."""
        own = self.left if which == "left" else self.right
        names = [field.name for field in dataclasses.fields(ConnectionSide)]
        values = {name: getattr(own, name, None) for name in names}
        return ConnectionSide(**{name: values[name] or getattr(self, name) for name in names})


def _length(key: str, about: str) -> Any:
    return keyed(key, about, above=0.0, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class GeometrySection:
    """One part of the element, from left to right: a piece of strip, or of round wire."""

    length: float = keyed("length_mm", "Length along the current [mm].", above=0.0)
    width: float | None = _length("width_mm", "Width at its left end [mm].")
    thickness: float | None = _length("thickness_mm", "Thickness [mm].")
    end_width: float | None = _length("end_width_mm", "Width at its right end, a taper [mm].")
    middle_width: float | None = _length("middle_width_mm", "Width in the middle, a notch [mm].")
    diameter: float | None = _length("diameter_mm", "Diameter of a wire [mm].")


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """Sizes of the whole element and of the body, as far as they are known."""

    metal: str | None = keyed("metal", "Metal of the element.", default=None)
    length: float | None = _length("length_mm", "Length between the terminals [mm].")
    width: float | None = _length("width_mm", "Width of the strip away from notches [mm].")
    thickness: float | None = _length("thickness_mm", "Thickness of the strip [mm].")
    diameter: float | None = _length("diameter_mm", "Diameter of the wire [mm].")
    notch_width: float | None = _length("notch_width_mm", "Width left at the notch [mm].")
    notch_length: float | None = _length("notch_length_mm", "Length of the notch [mm].")
    bore: float | None = _length("bore_mm", "Bore of the body round the element [mm].")
    source: str = keyed("source", _SOURCE)
    sections: tuple[GeometrySection, ...] = keyed(
        "section", "The element in full, from left to right.", default=()
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotData:
    """A drop of low-melting alloy on the element, as far as it is known."""

    alloy: Literal["tin"] = keyed("alloy", "Alloy of the spot.", default="tin")
    onset_c: float | None = keyed(
        "onset_C",
        "Where it begins to dissolve the element [degC]: the eutectic of both.",
        above=_COLD,
        default=None,
    )
    length: float | None = _length("length_mm", "Length of the element it covers [mm].")
    position: float | None = _length(
        "position_mm", "Its middle, from the left end of the element [mm]; the middle if absent."
    )
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class FillerData:
    """Sand around the element, as far as it is known; its bore is that of the geometry."""

    material: Literal["sand"] = keyed("material", "What fills the body.", default="sand")
    conductivity: float | None = keyed(
        "conductivity_W_per_mK", "Thermal conductivity [W/(m K)].", above=0.0, default=None
    )
    heat: float | None = keyed(
        "heat_J_per_m3K", "Density times specific heat [J/(m³ K)].", above=0.0, default=None
    )
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureLimits:
    """Highest temperatures [degC] the parts may reach while the fuse carries."""

    blade_c: float | None = keyed("blade_C", "Blade [degC].", above=_COLD, default=None)
    clip_c: float | None = keyed("clip_C", "Clip [degC].", above=_COLD, default=None)
    body_c: float | None = keyed("body_C", "Body [degC].", above=_COLD, default=None)
    cable_insulation_c: float | None = keyed(
        "cable_insulation_C", "Insulation of the cable [degC].", above=_COLD, default=None
    )
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class MetalData:
    """A metal or alloy of the user's, for the element."""

    name: str = keyed("name", "Name, to be used as the metal of the geometry.")
    density: float = keyed("density_kg_per_m3", "Density at 20 degC [kg/m³].", above=0.0)
    solidus_c: float = keyed("solidus_C", "Start of melting [degC].", above=_COLD)
    liquidus_c: float | None = keyed(
        "liquidus_C", "End of melting [degC]; the solidus if absent.", above=_COLD, default=None
    )
    latent_heat: float = keyed("latent_heat_J_per_kg", "Heat of melting [J/kg].", least=0.0)
    resistivity: float = keyed("resistivity_ohm_m", "Resistivity at 20 degC [ohm m].", above=0.0)
    temperature_coefficient: float = keyed(
        "temperature_coefficient_per_K", "Change of resistivity from 20 degC [1/K]."
    )
    specific_heat: float = keyed("specific_heat_J_per_kgK", "Specific heat [J/(kg K)].", above=0.0)
    conductivity: float | None = keyed(
        "conductivity_W_per_mK",
        "Thermal conductivity [W/(m K)]; from the resistivity if absent.",
        above=0.0,
        default=None,
    )
    liquid_resistivity_ratio: float = keyed(
        "liquid_resistivity_ratio",
        "Resistivity of the liquid over that of the solid at melting (2: simple metals).",
        above=0.0,
        default=2.0,
    )
    source: str = keyed("source", _SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """What is published about one fuse, in SI, temperatures in degC.

    Parameters
    ----------
    schema_version : int
        Version of the file.
    id : str
        Name by which the fuse is referred to, one fuse each.
    family : str
        Kind of fuse whose priors hold: a name of ours, or the path of a family file.
    size : str, optional
        Size within the family; else chosen by the rated current.
    rated_current : float
        Rated current [A].
    rated_voltage, breaking_capacity : float, optional
        Rated voltage [V] and breaking capacity [A].
    gates : tuple of str
        Names of the gate tables the fuse is said to meet.
    curve, cold_resistance, voltage_drops, melting_integrals, terminal_rises, \
minimum_fusing, holds : optional
        What is published for calibration.
    pulse_tests : tuple of PulseTest
        What life under pulses rests on.
    test_connection, installed_connection : Connection, optional
        The connection the curve belongs to, and the one to predict for.
    geometry, metal, spot, filler, limits, re_rating : optional
        Sizes and metal of the element, its spot, what fills the body, temperature limits,
        published re-rating.
    notes : tuple of Note
        Remarks made on reading; no part of what the definition says.
    path : str
        The file, empty when there is none.

    Examples
    --------
    >>> fuse = Definition(id="a", family="zinc-strip", rated_current=40.0, source="invented")
    >>> loads(fuse.to_toml()) == fuse
    True
    """

    schema_version: int = keyed(
        "schema_version", "Version of this file format.", least=1, default=SCHEMA_VERSION
    )
    id: str = keyed("id", "Name of the fuse, one each.")
    title: str | None = keyed("title", "One line for the reader.", default=None)
    family: str = keyed("family", "Name of a family, or path of a family file.")
    size: str | None = keyed("size", "Size within the family.", default=None)
    rated_current: float = keyed("rated_current_A", "Rated current [A].", above=0.0)
    rated_voltage: float | None = keyed(
        "rated_voltage_V", "Rated voltage [V].", above=0.0, default=None
    )
    breaking_capacity: float | None = keyed(
        "breaking_capacity_A", "Breaking capacity [A].", above=0.0, default=None
    )
    gates: tuple[str, ...] = keyed("gates", "Names of gate tables the fuse meets.", default=())
    source: str = keyed("source", "Where the values at the top of the file come from.")
    cold_resistance: ColdResistance | None = keyed(
        "cold_resistance", "Resistance of the unloaded fuse.", default=None
    )
    voltage_drops: tuple[VoltageDrop, ...] = keyed(
        "voltage_drop", "Voltage drop at a steady current.", default=()
    )
    melting_integrals: tuple[MeltingIntegral, ...] = keyed(
        "melting_i2t", "Joule integral up to melting.", default=()
    )
    pulse_tests: tuple[PulseTest, ...] = keyed(
        "pulse_test", "Pulses borne, against their share of the melting I²t.", default=()
    )
    terminal_rises: tuple[TerminalRise, ...] = keyed(
        "terminal_rise", "Temperature rise of the terminals.", default=()
    )
    minimum_fusing: LeastCurrent | None = keyed(
        "minimum_fusing_current", "Least current that opens the fuse.", default=None
    )
    holds: tuple[Hold, ...] = keyed("hold", "Current carried for a time.", default=())
    curve: Curve | None = keyed("curve", "Time-current characteristic.", default=None)
    test_connection: Connection | None = keyed(
        "test_connection", "Connection the curve was measured with.", default=None
    )
    installed_connection: Connection | None = keyed(
        "installed_connection", "Connection to predict for.", default=None
    )
    geometry: Geometry | None = keyed("geometry", "Sizes of element and body.", default=None)
    metal: MetalData | None = keyed("metal", "A metal of the user's.", default=None)
    spot: SpotData | None = keyed("spot", "Drop of alloy that dissolves the element.", default=None)
    filler: FillerData | None = keyed("filler", "Sand around the element.", default=None)
    limits: TemperatureLimits | None = keyed(
        "limits", "Highest temperatures of the parts.", default=None
    )
    re_rating: ReRating | None = keyed("re_rating", "Re-rating with the ambient.", default=None)
    notes: tuple[Note, ...] = dataclasses.field(default=(), compare=False)
    path: str = dataclasses.field(default="", compare=False)

    @property
    def definition_hash(self) -> str:
        """SHA-256 of what the definition says, in hexadecimal."""
        return record_hash(self)

    def _repr_html_(self) -> str:
        voltage, curve = self.rated_voltage, self.curve
        return html_table(self.title or self.id, (
            ("fuse", self.id),
            ("family", self.family if self.size is None else f"{self.family}, {self.size}"),
            ("rated current", measure(self.rated_current, "A")),
            ("rated voltage", "" if voltage is None else measure(voltage, "V")),
            ("curve", "none" if curve is None else counted(len(curve.points), "point")),
            ("remarks", "; ".join(note.text for note in self.notes)),
        ))  # fmt: skip

    def to_toml(self) -> str:
        """The definition as the text of a TOML file; numbers keep 15 digits."""
        return toml_text(self)


def load_fuse(path: str | Path) -> Definition:
    """Read the definition of a fuse from a TOML file, in SI.

    Parameters
    ----------
    path : str or Path
        The file, UTF-8.

    Returns
    -------
    Definition
        The definition, with notes on what is doubtful.

    Raises
    ------
    FileError
        When the file cannot be read, understood or believed.
    """
    return loads(read_text(path), path=path)


def load_fuses(paths: Iterable[str | Path]) -> tuple[Definition, ...]:
    """Read several definitions, each with an id of its own.

    Parameters
    ----------
    paths : iterable of str or Path
        The files.

    Returns
    -------
    tuple of Definition
        One for each path, in their order.

    Raises
    ------
    FileError
        As :func:`load_fuse`; ``duplicate-id`` when two files give one id.
    """
    found: dict[str, Definition] = {}
    for path in paths:
        text = read_text(path)
        fuse = loads(text, path=path)
        if fuse.id in found:
            raise FileError(
                "duplicate-id",
                f"id = {fuse.id!r} stands also in {found[fuse.id].path}",
                path=path,
                line=parse(text, path)[1].line(("id",)),
                key="id",
                expected="one id for each fuse",
                mend="rename one of the two",
            )
        found[fuse.id] = fuse
    return tuple(found.values())


def loads(text: str, path: str | Path = "") -> Definition:
    """Definition of a fuse from the text of a TOML file, in SI.

    Parameters
    ----------
    text : str
        The text.
    path : str or Path, optional
        Its file, for messages and for a family file named relative to it.

    Returns
    -------
    Definition
        The definition, with notes on what is doubtful.

    Raises
    ------
    FileError
        When the text cannot be understood or believed.
    """
    from . import consistency, schema  # pydantic only when a file is read

    name = str(path) or "definition"
    values, places = parse(text, name)
    values, notes = migrated(values, places, name)
    schema.check(Definition, values, places, name)
    fuse = record_of(Definition, values, path=str(path))
    notes += consistency.check_definition(fuse, places, name)
    return dataclasses.replace(fuse, notes=notes)


def migrated(
    values: dict[str, Any],
    places: Places,
    path: str | Path,
    version: int = SCHEMA_VERSION,
    steps: Mapping[int, Callable[[dict[str, Any]], dict[str, Any]]] = MIGRATIONS,
) -> tuple[dict[str, Any], tuple[Note, ...]]:
    """Values of a file brought to a version of the format.

    Parameters
    ----------
    values : dict
        Values as the file has them.
    places : Places
        Lines of the keys.
    path : str or Path
        The file, for messages.
    version : int
        Version wanted.
    steps : mapping of int to callable
        For each older version, the step to the next.

    Returns
    -------
    values : dict
        Values of that version.
    notes : tuple of Note
        ``schema-migrated`` when the file is older.

    Raises
    ------
    FileError
        ``missing-key``, ``schema-too-new`` or ``schema-unknown``.
    """
    found = values.get("schema_version")

    def error(code: str, text: str, mend: str) -> FileError:
        return FileError(
            code,
            text,
            path=path,
            line=places.line(("schema_version",)) or 1,
            key="schema_version",
            expected=f"schema_version = {version}",
            mend=mend,
        )

    if found is None:
        mend = f"add schema_version = {version} at the top of the file"
        raise error("missing-key", "schema_version is missing", mend)
    shown = f"schema_version = {found!r}"
    if not isinstance(found, int) or isinstance(found, bool):
        raise error("wrong-kind", shown, "write a whole number")
    if found > version:
        raise error("schema-too-new", shown, "install a newer fusetherm, or save it as older")
    for step in range(found, version):
        if step not in steps:
            raise error("schema-unknown", shown, "no way leads from this version; rewrite the file")
        values = {**steps[step](values), "schema_version": step + 1}
    if found == version:
        return values, ()
    text = f"the file has schema version {found} and was read as version {version}"
    return values, (Note("schema-migrated", text),)


def definition_schema() -> dict[str, Any]:
    """JSON Schema of a definition file, as published in the documentation."""
    from .schema import json_schema

    schema = {**json_schema(Definition), "title": "fusetherm fuse definition"}
    schema["properties"]["schema_version"]["const"] = SCHEMA_VERSION
    schema["required"].insert(0, "schema_version")
    return schema
