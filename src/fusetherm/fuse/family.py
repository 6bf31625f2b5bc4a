"""Families of fuses: the prior knowledge a kind of fuse brings to what is published of one.

A published curve fixes four or five combinations of a dozen quantities; the rest rests on
priors. They are data files with a reason for each number: those of ``families/``, or a file
of the user's.
"""

# ruff: noqa: RUF009  (keyed makes a dataclass field)
from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from ..errors import FileError, InputError, Note
from ..units import kelvin
from .prior import NOTCH_QUANTITIES, PARAMETER_UNITS, ParameterName, Prior, quantities
from .records import keyed, parse, read_text, record_hash, record_of

if TYPE_CHECKING:
    from ..physics.metals import Metal
    from .definition import Definition

#: Spread [ln] about a value the definition states, by parameter; a drawing, not a sample.
_STATED_SD = MappingProxyType(
    {
        "half_element_resistance": 0.03,
        "half_element_length": 0.05,
        "notch_area_ratio": 0.2,
        "notch_length_fraction": 0.1,
        "contact_resistance": 0.3,
        "spot_half_length": 0.1,
        "filler_conductivity": 0.1,
        "filler_heat_capacity": 0.05,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A size within a family: its range of ratings and the measures that are not fitted."""

    name: str = keyed("name", "Name of the size.")
    about: str = keyed("about", "What it is, in one line.")
    min_rating: float = keyed("min_rating_A", "Lowest rated current [A].", above=0.0)
    max_rating: float = keyed("max_rating_A", "Highest rated current [A].", above=0.0)
    thickness: float | None = keyed(
        "thickness_mm",
        "Thickness of the strip [mm]; a choice, since a curve cannot tell it from the width.",
        above=0.0,
        default=None,
    )
    bore: float | None = keyed(
        "bore_mm", "Bore of the body that holds the filler [mm].", above=0.0, default=None
    )
    blade_width: float = keyed("blade_width_mm", "Width of the blade or cap [mm].", above=0.0)
    blade_thickness: float = keyed("blade_thickness_mm", "Its thickness [mm].", above=0.0)
    source: str = keyed("source", "Where the measures come from.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeCentre:
    """Centre of a parameter for one size."""

    size: str = keyed("size", "Name of the size.")
    centre: float = keyed("centre", "Centre, in the parameter's unit.", above=0.0)
    worn_centre: float | None = keyed(
        "worn_centre", "Centre for worn contacts.", above=0.0, default=None
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """Prior of a family for one fitted quantity, with what it depends on."""

    name: ParameterName = keyed("name", "Name of the quantity.")
    unit: str = keyed("unit", "Its unit in SI.")
    transform: Literal["log", "logit"] = keyed("transform", "What is normally distributed.")
    centre: float = keyed("centre", "Median, in the unit.", above=0.0)
    worn_centre: float | None = keyed(
        "worn_centre", "Median for worn contacts.", above=0.0, default=None
    )
    lower: float = keyed("lower", "Lowest value possible (log only).", least=0.0, default=0.0)
    sd: float = keyed("sd", "Standard deviation of the transformed value.", above=0.0)
    reference_rating: float | None = keyed(
        "reference_rating_A", "Rated current the centre holds for [A].", above=0.0, default=None
    )
    rating_exponent: float = keyed(
        "rating_exponent", "Power of rated over reference rating the centre follows.", default=0.0
    )
    by_size: tuple[SizeCentre, ...] = keyed("by_size", "Centres of single sizes.", default=())
    reason: str = keyed("reason", "Why these numbers.")

    def prior(
        self, size: str, rated_current: float, contact: Literal["new", "worn"] = "new"
    ) -> Prior:
        """Prior of this quantity for a size and a rated current [A]."""
        own = next((entry for entry in self.by_size if entry.size == size), None)
        centre = own.centre if own else self.centre
        if contact == "worn":
            worn = own.worn_centre if own else None
            centre = worn or self.worn_centre or centre
        if self.reference_rating is not None:
            centre *= (rated_current / self.reference_rating) ** self.rating_exponent
        return Prior(self.name, centre, self.sd, self.unit, self.transform, self.reason, self.lower)


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """A kind of fuse: metal, kind of element, sizes and priors.

    Examples
    --------
    >>> family = load_family("zinc-strip")
    >>> family.metal, family.element, len(family.parameters)
    ('zinc', 'strip', 11)
    """

    schema_version: int = keyed("schema_version", "Version of this format.", least=1, most=1)
    name: str = keyed("name", "Name of the family.")
    title: str = keyed("title", "One line for the reader.")
    element: Literal["strip", "wire"] = keyed("element", "Kind of element.")
    metals: tuple[str, ...] = keyed("metals", "Metals it is made of, the usual one first.")
    spot: Literal["tin"] | None = keyed(
        "spot", "Alloy of the drop that dissolves the element.", default=None
    )
    filler: Literal["sand"] | None = keyed(
        "filler", "What fills the body; air where it is left out.", default=None
    )
    source: str = keyed("source", "Where the numbers come from.")
    sizes: tuple[Size, ...] = keyed("size", "Sizes, the usual one for a rating first.")
    parameters: tuple[Parameter, ...] = keyed("parameter", "Priors.")
    path: str = dataclasses.field(default="", compare=False)

    @property
    def metal(self) -> str:
        """The usual metal."""
        return self.metals[0]

    @property
    def notched(self) -> bool:
        """Whether its elements have a narrow part."""
        return any(parameter.name in NOTCH_QUANTITIES for parameter in self.parameters)

    @property
    def family_hash(self) -> str:
        """SHA-256 of what the family says, in hexadecimal."""
        return record_hash(self)

    def size(self, rated_current: float, name: str | None = None) -> tuple[Size, tuple[Note, ...]]:
        """Size of a name, or the first that has the rated current [A]; with notes on the choice.

        Parameters
        ----------
        rated_current : float
            Rated current [A].
        name : str, optional
            Name of the size.

        Returns
        -------
        size : Size
            The size.
        notes : tuple of Note
            ``size-assumed`` or ``rating-outside-size``.

        Raises
        ------
        InputError
            ``size-unknown``.
        """
        names = [size.name for size in self.sizes]
        if name is not None and name not in names:
            near = get_close_matches(name, names, 1, 0.4)
            raise InputError(
                "size-unknown",
                f"the family {self.name} has no size {name!r}",
                expected=", ".join(names),
                mend=f"did you mean {near[0]}?" if near else "choose one of these",
            )
        fitting = [
            size
            for size in self.sizes
            if size.min_rating <= rated_current <= size.max_rating and name in (None, size.name)
        ]
        if fitting:
            chosen = fitting[0]
        elif name is not None:
            chosen = self.sizes[names.index(name)]
        else:
            chosen = min(
                self.sizes,
                key=lambda size: abs(
                    math.log(rated_current / math.sqrt(size.min_rating * size.max_rating))
                ),
            )
        notes: list[Note] = []
        if not fitting:
            text = (
                f"a rated current of {rated_current:g} A is not one of the size {chosen.name} "
                f"({chosen.min_rating:g} to {chosen.max_rating:g} A); its priors are stretched"
            )
            notes.append(Note("rating-outside-size", text))
        if name is None and len(names) > 1:
            text = f"size {chosen.name} taken for {rated_current:g} A; state size if it is another"
            notes.append(Note("size-assumed", text))
        return chosen, tuple(notes)

    def priors(
        self,
        definition: Definition,
        contact: Literal["new", "worn"] = "new",
        *,
        stated: bool = True,
    ) -> tuple[Prior, ...]:
        """Priors for one fuse, centred on what its definition states.

        Parameters
        ----------
        definition : Definition
            The fuse.
        contact : {"new", "worn"}
            State of the contacts where the definition states no resistance.
        stated : bool
            Heed what the definition states; without it the priors are those of the family.

        Returns
        -------
        tuple of Prior
            In the order of the family's parameters.

        Raises
        ------
        InputError
            ``size-unknown``, or ``element-resistance-not-positive`` when the contacts would
            take all of a resistance measured between the clips.

        Notes
        -----
        A tolerance of units is read as two standard deviations. The resistance is that at
        20 degC; one measured between the clips is freed of two contacts. A published
        voltage drop is no prior but an observation: it is measured hot.
        """
        size, _ = self.size(definition.rated_current, definition.size)
        base = [
            parameter.prior(size.name, definition.rated_current, contact)
            for parameter in self.parameters
        ]
        if not stated:
            return tuple(base)
        contact_centre = next(p.centre for p in base if p.name == "contact_resistance")
        known = _stated(definition, self, contact_centre)
        priors = []
        for prior in base:
            if prior.name in known:
                centre, sd, reason = known[prior.name]
                prior = dataclasses.replace(prior, centre=centre, sd=sd, reason=reason)
            priors.append(prior)
        return tuple(priors)


def _stated(
    definition: Definition, family: Family, contact_centre: float
) -> dict[str, tuple[float, float, str]]:
    """Centre, spread and reason of each quantity the definition states."""
    stated: dict[str, tuple[float, float, str]] = {}

    def state(name: str, centre: float, source: str, sd: float | None = None) -> None:
        stated[name] = (centre, sd or _STATED_SD[name], f"stated by the definition: {source}")

    connection = definition.test_connection
    if connection is not None:
        sides = (connection.side("left"), connection.side("right"))
        contacts = [side.contact_resistance for side in sides if side.contact_resistance]
        if contacts:
            contact_centre = math.fsum(contacts) / len(contacts)
            state("contact_resistance", contact_centre, connection.source)
    cold = definition.cold_resistance
    if cold is not None:
        metal = element_metal(definition, family)
        at = kelvin(cold.temperature_c, "temperature of the cold resistance")
        whole = cold.resistance * metal.resistivity(293.15) / metal.resistivity(at)
        if cold.measured_at == "clips":
            whole -= 2.0 * contact_centre
        if whole <= 0.0:
            raise InputError(
                "element-resistance-not-positive",
                f"two contacts of {1e3 * contact_centre:g} mohm leave nothing of a resistance "
                f"of {1e3 * cold.resistance:g} mohm between the clips",
                expected="a resistance above that of the contacts",
                mend="check measured_at and the contact resistance of the test connection",
            )
        sd = None if cold.tolerance is None else max(0.5 * cold.tolerance, 0.01)
        state("half_element_resistance", 0.5 * whole, cold.source, sd)
    geometry = definition.geometry
    if geometry is not None:
        if geometry.length:
            state("half_element_length", 0.5 * geometry.length, geometry.source)
        if geometry.notch_width and geometry.width:
            state("notch_area_ratio", geometry.notch_width / geometry.width, geometry.source)
        if geometry.notch_length and geometry.length:
            share = geometry.notch_length / geometry.length
            state("notch_length_fraction", share, geometry.source)
    spot, filler = definition.spot, definition.filler
    if spot is not None and spot.length is not None:
        state("spot_half_length", 0.5 * spot.length, spot.source)
    if filler is not None:
        if filler.conductivity is not None:
            state("filler_conductivity", filler.conductivity, filler.source)
        if filler.heat is not None:
            state("filler_heat_capacity", filler.heat, filler.source)
    return stated


def element_metal(definition: Definition, family: Family | None = None) -> Metal:
    """Metal of a fuse's element: the user's own, the geometry's, or the family's usual one.

    Parameters
    ----------
    definition : Definition
        The fuse.
    family : Family, optional
        Its family; loaded when left out.

    Returns
    -------
    Metal
        The metal.

    Raises
    ------
    InputError
        When it is not known or its numbers contradict each other.

    Notes
    -----
    A latent heat of zero becomes 1 J/kg: the enthalpy needs a plateau, however low.
    """
    from ..physics.metals import alloy, metal

    own = definition.metal
    named = definition.geometry.metal if definition.geometry else None
    if own is not None and named in (None, own.name):
        return alloy(
            name=own.name,
            resistivity_20=own.resistivity,
            temperature_coefficient=own.temperature_coefficient,
            density=own.density,
            solidus_c=own.solidus_c,
            liquidus_c=own.solidus_c if own.liquidus_c is None else own.liquidus_c,
            latent_heat=max(own.latent_heat, 1.0),
            specific_heat=own.specific_heat,
            conductivity=own.conductivity,
            liquid_resistivity_ratio=own.liquid_resistivity_ratio,
            source=own.source,
        )
    if named is not None:
        return metal(named)
    return metal((family or family_of(definition)).metal)


def family_names() -> tuple[str, ...]:
    """Names of the families that come with the package."""
    folder = resources.files(__package__).joinpath("families")
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def family_of(definition: Definition) -> Family:
    """Family of a fuse; a family file is looked for beside the definition's own."""
    return load_family(definition.family, Path(definition.path).parent)


def load_family(name: str | Path, folder: str | Path = "") -> Family:
    """Family of a name of ours, or from a TOML file of the user's.

    Parameters
    ----------
    name : str or Path
        Name, or path of a file ending in ``.toml``.
    folder : str or Path, optional
        Folder a relative path starts from.

    Returns
    -------
    Family
        The family.

    Raises
    ------
    InputError
        ``family-unknown``, with the nearest name.
    FileError
        When the file cannot be read or understood.
    """
    text = str(name)
    if text.endswith(".toml"):
        path = Path(folder) / text
        return _family(read_text(path), str(path))
    if text not in family_names():
        near = get_close_matches(text, family_names(), 1, 0.4)
        raise InputError(
            "family-unknown",
            f"no family is called {text!r}",
            expected=", ".join(family_names()) + ", or the path of a family file (.toml)",
            mend=f"did you mean {near[0]}?" if near else "choose one of these",
        )
    return _shipped(text)


@cache
def _shipped(name: str) -> Family:
    file = resources.files(__package__).joinpath("families", f"{name}.toml")
    return _family(file.read_text(encoding="utf-8"), f"families/{name}.toml")


def _family(text: str, path: str) -> Family:
    """Family from the text of its file."""
    from . import schema  # pydantic only when a file is read

    values, places = parse(text, path)
    schema.check(Family, values, places, path)
    family = record_of(Family, values, path=path)
    names = [parameter.name for parameter in family.parameters]
    sizes = {size.name for size in family.sizes}

    def error(code: str, found: str, place: tuple[str | int, ...], expected: str) -> FileError:
        line, key = places.line(place), str(place[-1])
        return FileError(code, found, path=path, line=line, key=key, expected=expected)

    wanted = quantities(
        spot=family.spot is not None, filler=family.filler is not None, notch=family.notched
    )
    absent = [name for name in wanted if name not in names]
    if absent or not family.metals or not sizes:
        what = ", ".join(absent) or "metals or sizes"
        expected = "a metal, a size, and each of " + ", ".join(wanted)
        raise error("family-incomplete", f"no entry for {what}", ("parameter",), expected)
    for index, size in enumerate(family.sizes):
        place: tuple[str | int, ...] = ("size", index)
        lacking = "bore_mm" if family.filler is not None and size.bore is None else ""
        if family.element == "strip" and size.thickness is None:
            lacking = "thickness_mm"
        if lacking:
            found = f"the size {size.name} has no {lacking}"
            raise error("family-incomplete", found, place, f"{lacking} = ...")
        if size.min_rating >= size.max_rating:
            found = f"ratings from {size.min_rating:g} to {size.max_rating:g} A"
            place = (*place, "max_rating_A")
            raise error("family-centre", found, place, "the lower rating first")
    for index, parameter in enumerate(family.parameters):
        place = ("parameter", index)
        unit = PARAMETER_UNITS[parameter.name]
        if names.index(parameter.name) != index:
            found = f"{parameter.name} stands twice"
            raise error("family-repeats", found, (*place, "name"), "one entry for each")
        if parameter.name not in wanted:
            found = f"{parameter.name} has no place in a family of this kind"
            expected = 'spot = "tin" for the quantities of a spot, filler = "sand" for those '
            expected += "of a filler, which takes the place of lateral_loss"
            raise error("family-quantity", found, (*place, "name"), expected)
        if parameter.unit != unit:
            found = f"unit = {parameter.unit!r} for {parameter.name}"
            raise error("family-unit", found, (*place, "unit"), f"unit = {unit!r}")
        centres = [parameter.centre, *(entry.centre for entry in parameter.by_size)]
        highest = 1.0 if parameter.transform == "logit" else math.inf
        if not all(parameter.lower < centre < highest for centre in centres):
            found = f"a centre of {parameter.name} outside its range"
            expected = f"above {parameter.lower:g} and below {highest:g}"
            raise error("family-centre", found, (*place, "centre"), expected)
        unknown = [entry.size for entry in parameter.by_size if entry.size not in sizes]
        if unknown:
            found = f"size = {unknown[0]!r} is not a size of the family"
            expected = ", ".join(sorted(sizes))
            raise error("size-unknown", found, (*place, "by_size"), expected)
    return family
