"""The fuse as a thermal model: element, body, two sides with their cables, surroundings.

    cable - clip - blade - element - blade - clip - cable        (the chain)
                       \\    |    /
                         body  ->  ambient                        (the shared node)

A model belongs to one connection. The published curve belongs to the test connection of a
standard, a prediction to the installed one; `FuseModel.connected` swaps one for the other
and leaves the fuse as it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache

from ..errors import InputError
from ..physics.constants import SOMMERFELD_LORENZ
from ..physics.heat_loss import cylinder_film_coefficient, radiation_coefficient
from ..units import kelvin
from ..written import measure
from .element import Element

#: Resistivity of annealed copper at 20 degC [ohm m] and its temperature coefficient [1/K],
#: IEC 60028.
COPPER_RESISTIVITY = 1.7241e-08
COPPER_SLOPE = 0.00393
#: Thermal conductivity [W/m/K], density [kg/m³] and specific heat [J/kg/K] of conductor
#: copper; IEC 60028 for the density, handbook values from memory.
COPPER_CONDUCTIVITY = 391.0
COPPER_DENSITY = 8890.0
COPPER_HEAT = 385.0
#: Density times specific heat of cable insulation [J/m³/K]: PVC, IEC 60853-2, read in a copy of
#: its table. Polyethylene has 2.4e6.
INSULATION_HEAT = 1.7e6
#: Share of copper in the circle around a strand [-]; common practice, no source. Air is the rest.
STRAND_FILL = 0.75
#: Emissivity of cable insulation [-], from memory, and the rise [K] above 23 degC at which the
#: film coefficient of a cable is taken when none is given (own choice).
INSULATION_EMISSIVITY, CABLE_RISE = 0.9, 20.0
#: Ambient at which a conductance to air is stated [K].
STATED_AIR_K = 296.15
#: Relative change of a small body's conductance to still air with the ambient [1/K]. A cylinder
#: of 5 to 17 mm with an emissivity of .9, at a fixed rise of 60 to 150 K, has .0034 to .0042
#: (Churchill and Chu, and radiation); what a warmer place takes from the rise of a body whose
#: element may only get so hot lessens it by a little (own estimate).
BODY_CONDUCTANCE_SLOPE = 0.0033


def _checked(kind: str, positive: dict[str, float], not_negative: dict[str, float]) -> None:
    for name, value in positive.items():
        if not (math.isfinite(value) and value > 0.0):
            raise InputError("not-positive", f"{kind}: {name} is {value}", expected="above zero")
    for name, value in not_negative.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise InputError("negative", f"{kind}: {name} is {value}", expected="zero or more")


@dataclass(frozen=True, slots=True)
class Filler:
    """Sand or powder around the element, a diffusive medium.

    Parameters
    ----------
    bore : float
        Inner diameter of the body that holds it [m].
    conductivity : float
        Thermal conductivity [W/m/K].
    heat : float
        Density times specific heat [J/m³/K].
    shells : int
        Shells around each cell of the element, growing outwards.

    Notes
    -----
    Each shell is a node: radial conduction from the element, taken as a cylinder of equal
    perimeter, to the wall of the bore; along the element the filler conducts nothing, since
    the metal is a thousand times better. Heat reaches ``sqrt(4 k t / heat)`` deep: .9, 2.9,
    9 mm in 1, 10, 100 s.

    Quartz sand, packed and dry: .3 W/m/K and 1600 kg/m³ times 900 J/kg/K at a few hundred
    degrees (from memory).
    """

    bore: float
    conductivity: float = 0.3
    heat: float = 1.44e6
    shells: int = 8

    def __post_init__(self) -> None:
        sizes = {"bore": self.bore, "conductivity": self.conductivity, "heat": self.heat}
        _checked("Filler", sizes, {})
        if self.shells < 2:
            raise InputError(
                "too-few-shells", f"Filler: shells is {self.shells}", expected="2 or more"
            )


@dataclass(frozen=True, slots=True)
class Body:
    """Housing around the element.

    Parameters
    ----------
    heat_capacity : float
        Heat capacity [J/K].
    conductance : float
        Conductance from its outside to an ambient of 23 degC [W/K].
    element_loss : float
        Conductance from the element to the body per length of element, by the gas in the
        gap [W/m/K]; a filler takes its place.
    element_emissivity : float
        Effective emissivity for radiation from the element to the body [-].
    blade_conductance : float
        Conductance from each blade to the body, where the housing holds it [W/K].
    filler : Filler, optional
        Sand between element and body.
    conductance_slope : float
        Relative change of the conductance to ambient with the ambient [1/K].
    """

    heat_capacity: float = 0.5
    conductance: float = 0.012
    element_loss: float = 0.15
    element_emissivity: float = 0.0
    blade_conductance: float = 0.0
    filler: Filler | None = None
    conductance_slope: float = 0.0

    def conductance_at(self, ambient_k: float) -> float:
        """Conductance from its outside to an ambient [W/K]."""
        bent = math.exp(self.conductance_slope * (ambient_k - STATED_AIR_K))
        return self.conductance * bent

    def __post_init__(self) -> None:
        _checked(
            "Body",
            {"heat_capacity": self.heat_capacity},
            {
                "conductance": self.conductance,
                "element_loss": self.element_loss,
                "element_emissivity": self.element_emissivity,
                "blade_conductance": self.blade_conductance,
            },
        )


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What an element without a body gives its heat to.

    Parameters
    ----------
    film_coefficient : float
        Constant film coefficient on the element's sides [W/m²/K].
    natural_convection : bool
        Natural convection in still air instead, horizontal cylinder of equal perimeter
        (Churchill and Chu).
    emissivity : float
        Emissivity of the element's sides [-].
    """

    film_coefficient: float = 0.0
    natural_convection: bool = False
    emissivity: float = 0.0

    def __post_init__(self) -> None:
        _checked(
            "Surroundings",
            {},
            {"film_coefficient": self.film_coefficient, "emissivity": self.emissivity},
        )


@dataclass(frozen=True, slots=True)
class Blade:
    """Terminal of the fuse itself, one lump.

    Parameters
    ----------
    heat_capacity : float
        Heat capacity [J/K].
    to_ambient : float
        Conductance straight to ambient [W/K].
    resistance : float
        Electrical resistance between the element's end and the contact at 20 degC [ohm].
    """

    heat_capacity: float = 0.4
    to_ambient: float = 0.0
    resistance: float = 0.0
    resistance_slope: float = 0.0039

    def __post_init__(self) -> None:
        _checked(
            "Blade",
            {"heat_capacity": self.heat_capacity},
            {"to_ambient": self.to_ambient, "resistance": self.resistance},
        )


@dataclass(frozen=True, slots=True)
class Contact:
    """Contact between blade and clip: it resists current and heat.

    Parameters
    ----------
    resistance : float
        Contact resistance [ohm]; its Joule heat goes half to the blade, half to the clip.
    heat_factor : float
        Thermal conductance over the one that metallic conduction alone would give
        (Wiedemann-Franz), at least 1: films, air and the bulk around the spots carry heat
        as well.

    Notes
    -----
    ``conductance = heat_factor * L * T / resistance`` at T = 320 K, L Sommerfeld's value.
    """

    resistance: float = 0.3e-3
    heat_factor: float = 3.0

    def __post_init__(self) -> None:
        _checked("Contact", {"resistance": self.resistance}, {"heat_factor": self.heat_factor})

    @property
    def conductance(self) -> float:
        """Thermal conductance [W/K]."""
        return self.heat_factor * SOMMERFELD_LORENZ * 320.0 / self.resistance


@dataclass(frozen=True, slots=True)
class Clip:
    """Receptacle in the fuse holder, one lump.

    Parameters
    ----------
    heat_capacity : float
        Heat capacity [J/K].
    to_ambient : float
        Conductance to ambient by the holder [W/K].
    """

    heat_capacity: float = 1.0
    to_ambient: float = 0.005

    def __post_init__(self) -> None:
        _checked("Clip", {"heat_capacity": self.heat_capacity}, {"to_ambient": self.to_ambient})


@lru_cache(maxsize=256)
def _cable_film(diameter: float, ambient_k: float) -> float:
    """Film coefficient of one cable, `CABLE_RISE` above still air [W/m²/K]."""
    surface = ambient_k + CABLE_RISE
    return float(
        cylinder_film_coefficient(diameter, surface, ambient_k)
        + radiation_coefficient(surface, ambient_k, INSULATION_EMISSIVITY)
    )


@dataclass(frozen=True, slots=True)
class Cable:
    """Cable on one side, a fin from its cross-section.

    Parameters
    ----------
    section : float
        Copper cross-section [m²].
    length : float
        Length that takes part; the far end is adiabatic, as between two equal fuses [m].
    insulation_diameter : float, optional
        Outer diameter [m]; by default that of a thin-walled single core of this section.
    film_coefficient : float, optional
        Convection and radiation together on the insulation [W/m²/K], whatever the ambient; by
        default those of one cable on its own, level in still air of the run's ambient.
    cells : int
        Cells of the fin.
    film_factor : float
        On the default film coefficient: less than 1 for a cable in a bundle [-].
    film_slope : float
        Relative change of the default film coefficient with the ambient, from 23 degC and
        beyond that of the correlations [1/K].
    air_c : float, optional
        Temperature of the air around it [degC] where it is not that of the fuse, as of a cable
        that leaves a box; it stays while that of the fuse changes.
    inside : float
        Length next to the clip that lies in the air of the fuse all the same [m]; with ``air_c``.

    Notes
    -----
    Loss per length ``g = pi D h``, conduction ``k A``, heat capacity per length
    ``rho c A + (rho c)_ins pi (D² - d²)/4`` with the diameter d of the strand. A long fin draws
    ``sqrt(k A g)``, and follows in the time ``C / g``: .023 W/K and 130 s for 6 mm², .006 W/K
    and 40 s for .75 mm². The insulation's own resistance, a twentieth of the whole, is left out.
    """

    section: float
    length: float = 1.0
    insulation_diameter: float | None = None
    film_coefficient: float | None = None
    cells: int = 16
    film_factor: float = 1.0
    film_slope: float = 0.0
    air_c: float | None = None
    inside: float = 0.0

    def __post_init__(self) -> None:
        sizes = {"section": self.section, "length": self.length, "film_factor": self.film_factor}
        _checked("Cable", sizes, {"inside": self.inside})
        if self.air_c is not None:
            kelvin(self.air_c, "air around the cable")
        elif self.inside > 0.0:
            raise InputError(
                "inside-without-air",
                f"Cable: inside is {measure(self.inside, 'm')} and air_c is not given",
                expected="the temperature of the air around the rest of the cable",
                mend="give air_c, or leave inside out where all of it lies in the fuse's air",
            )
        _checked("Cable", {"insulation_diameter": self.outer_diameter}, {})
        _checked("Cable", {}, {"film_coefficient": self.film})
        if self.cells < 2:
            raise InputError("too-few-cells", f"Cable: cells is {self.cells}", expected="2 or more")
        if math.pi * self.outer_diameter**2 / 4.0 <= self.section:
            raise InputError(
                "insulation-inside-copper",
                f"Cable: insulation diameter {self.outer_diameter * 1e3:g} mm does not hold "
                f"{self.section * 1e6:g} mm² of copper",
                expected="an outer diameter",
            )

    @property
    def strand_diameter(self) -> float:
        """Diameter of the stranded copper [m]."""
        return math.sqrt(4.0 * self.section / (math.pi * STRAND_FILL))

    @property
    def outer_diameter(self) -> float:
        """Outer diameter [m].

        When not given: the strand in a wall of .25 mm and .06 of its diameter. That makes 1.76,
        2.8 and 4.1 mm for .75, 2.5 and 6 mm²; ISO 6722-1 allows cables of thin wall 1.9, 3.0
        and 4.3 mm, with walls of .30, .35 and .40 mm (from memory).
        """
        if self.insulation_diameter is not None:
            return self.insulation_diameter
        return self.strand_diameter + 2.0 * (0.25e-3 + 0.06 * self.strand_diameter)

    @property
    def film(self) -> float:
        """Film coefficient in air of 23 degC [W/m²/K]."""
        return self.film_at(STATED_AIR_K)

    def film_at(self, ambient_k: float) -> float:
        """Film coefficient at an ambient [W/m²/K].

        When not given: natural convection on a horizontal cylinder (Churchill and Chu) and
        radiation, 20 K above still air. That makes 23 W/m²/K for .75 mm² and 17 for 6 mm² in
        air of 23 degC, a tenth less or more at 10 or 40 K above it; of the latter 15 % less at
        -40 degC and 25 % more at 85 degC, nearly all of it radiation. Cables in a bundle or a
        conduit have less.
        """
        if self.film_coefficient is not None:
            return self.film_coefficient
        bent = math.exp(self.film_slope * (ambient_k - STATED_AIR_K))
        return self.film_factor * bent * _cable_film(self.outer_diameter, ambient_k)

    @property
    def loss_per_length(self) -> float:
        """Loss per length in air of 23 degC [W/m/K]."""
        return self.loss_per_length_at(STATED_AIR_K)

    def loss_per_length_at(self, ambient_k: float) -> float:
        """Loss to an ambient per length [W/m/K]."""
        return math.pi * self.outer_diameter * self.film_at(ambient_k)

    @property
    def heat_capacity_per_length(self) -> float:
        """Heat capacity per length, copper and insulation [J/m/K]; air between wires has none."""
        wall = 0.25 * math.pi * (self.outer_diameter**2 - self.strand_diameter**2)
        return COPPER_DENSITY * COPPER_HEAT * self.section + INSULATION_HEAT * max(wall, 0.0)


@dataclass(frozen=True, slots=True)
class Side:
    """One side of the fuse, from the element's end outwards.

    Parameters
    ----------
    blade : Blade, optional
        Without a blade the element's end is held at ambient temperature.
    contact : Contact, optional
        Contact to the clip; needs a clip.
    clip : Clip, optional
        Without a clip the blade stands alone.
    cable : Cable, optional
        Cable on the clip.
    """

    blade: Blade | None = field(default_factory=Blade)
    contact: Contact | None = None
    clip: Clip | None = None
    cable: Cable | None = None

    def __post_init__(self) -> None:
        outer = (self.contact, self.clip, self.cable)
        if self.blade is None and any(part is not None for part in outer):
            raise InputError(
                "side-without-blade",
                "a side has a contact, clip or cable but no blade",
                expected="a blade between element and contact",
            )
        if (self.contact is None) != (self.clip is None):
            raise InputError(
                "contact-without-clip",
                "a side has a contact without a clip, or a clip without a contact",
                expected="both or neither",
            )
        if self.cable is not None and self.clip is None:
            raise InputError(
                "cable-without-clip", "a side has a cable but no clip", expected="a clip"
            )


HELD = Side(blade=None)
"""Side whose end is held at ambient temperature."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Temperatures that must not be passed for the fuse's place to stay sound [degC].

    Parameters
    ----------
    blade_c, clip_c, body_c, cable_insulation_c : float, optional
        Limits of blade, clip, body and cable insulation [degC]; None where unknown.
    """

    blade_c: float | None = None
    clip_c: float | None = None
    body_c: float | None = None
    cable_insulation_c: float | None = None


@dataclass(frozen=True, slots=True)
class FuseModel:
    """A fuse and its connection, ready for the network.

    Parameters
    ----------
    element : Element
        Melting element.
    body : Body, optional
        Housing; a bare element gives its heat to the surroundings.
    left, right : Side
        The two sides, free to differ.
    surroundings : Surroundings
        Of an element without a body.
    limits : Limits
        Temperature limits of the place.
    rated_current : float, optional
        Rated current [A].
    name : str
        What to call it.
    """

    element: Element
    body: Body | None = None
    left: Side = HELD
    right: Side = HELD
    surroundings: Surroundings = Surroundings()
    limits: Limits = Limits()
    rated_current: float | None = None
    name: str = "fuse"

    def connected(self, left: Side, right: Side, limits: Limits | None = None) -> FuseModel:
        """The same fuse in another connection: clips, contacts and cables of the given sides.

        The blades stay those of the fuse.
        """
        return replace(
            self,
            left=replace(left, blade=self.left.blade),
            right=replace(right, blade=self.right.blade),
            limits=self.limits if limits is None else limits,
        )

    def cold_resistance(self) -> float:
        """Resistance between the contacts at 20 degC: element and blades [ohm]."""
        blades = sum(s.blade.resistance for s in (self.left, self.right) if s.blade is not None)
        return self.element.cold_resistance() + blades


def refuse_other(model: object) -> None:
    """Refuse what is no model, such as a calibration, which holds one.

    Raises
    ------
    InputError
        ``not-a-model``.
    """
    if isinstance(model, FuseModel):
        return
    raise InputError(
        "not-a-model",
        f"the model is given as {type(model).__name__}",
        expected="a FuseModel",
        mend="a Calibration has its own as .model, or .connected('installed')",
    )
