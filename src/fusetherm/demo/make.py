"""Writes the demo's files: ``python -m fusetherm.demo.make [FOLDER]``.

Each fuse has a "true" set of fitted quantities near, not at, its family's centres, found by
random search and rounded by hand so that the curve stays inside every gate of its standard.
What a maker would publish is computed from it in the test connection, scattered by 2 % and
rounded to three digits. So the fits of the demo can be held against a truth, but prove nothing
about real fuses: truth and fit share one model.
"""

from __future__ import annotations

import dataclasses
import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..calibration.build import model_of_parameters
from ..calibration.observations import Observation
from ..calibration.residual import Bench, steady_value
from ..files import write_atomic
from ..fuse.definition import Connection, Definition, TemperatureLimits
from ..fuse.family import family_of
from ..fuse.published import (
    ColdResistance,
    Curve,
    CurvePoint,
    MeltingIntegral,
    TerminalRise,
    VoltageDrop,
)
from ..units import REFERENCE_AMBIENT_C
from .signals import capture_texts

#: Scatter of everything published [ln]: about that of reading a curve off log-log paper.
SCATTER = 0.02
_CELLS = 64
_INVENTED = "invented"


@dataclass(frozen=True, slots=True)
class MadeFuse:
    """What is stated of a demo fuse, and the truth the rest is computed from.

    Parameters
    ----------
    stated : Definition
        Ratings, connections, limits; neither curve nor resistance.
    truth : mapping of str to float
        Fitted quantities, SI, names of ``fusetherm.fuse.prior``.
    multiples : tuple of float
        Currents of the curve over the rated current.
    seed : int
        Seed of the scatter.
    head : str
        Comment at the top of the file.
    melting_multiple : float, optional
        Multiple at which a melting I²t is stated.
    """

    stated: Definition
    truth: Mapping[str, float]
    multiples: tuple[float, ...]
    seed: int
    head: str
    melting_multiple: float | None = None


def _connection(section_mm2: float, insulation_mm: float, contact_mohm: float) -> Connection:
    return Connection(
        source=_INVENTED,
        cable_section=section_mm2 * 1e-6,
        cable_length=1.0,
        insulation_diameter=insulation_mm * 1e-3,
        contact_resistance=contact_mohm * 1e-3,
    )


def _limits(blade: float, clip: float, body: float, insulation: float) -> TemperatureLimits:
    return TemperatureLimits(
        blade_c=blade,
        clip_c=clip,
        body_c=body,
        cable_insulation_c=insulation,
        source="invented, as materials of this kind allow (common practice, no source)",
    )


#: Fitted quantities of the demo's fuses, SI, in the order of `FUSES`.
_TRUTHS = {
    "half_element_resistance": (0.69e-3, 3.4e-3, 0.158e-3, 10.6e-3),
    "half_element_length": (31.5e-3, 12.6e-3, 12.4e-3, 7.3e-3),
    "notch_area_ratio": (0.47, 0.42, 0.62, 0.84),
    "notch_length_fraction": (0.25, 0.28, 0.27, 0.26),
    "lateral_loss": (0.143, 0.16, 0.28, 0.092),
    "blade_heat_capacity": (0.42, 0.21, 0.86, 0.22),
    "cable_film_coefficient": (17.5, 13.5, 12.5, 15.0),
    "half_body_heat_capacity": (0.5, 0.14, 0.95, 0.28),
    "half_body_conductance": (0.0115, 0.0056, 0.0125, 0.0023),
    "contact_resistance": (0.085e-3, 0.27e-3, 0.045e-3, 0.9e-3),
    "contact_heat_share": (3.3, 2.8, 3.2, 2.7),
}


def _truth(fuse: int) -> dict[str, float]:
    return {name: values[fuse] for name, values in _TRUTHS.items()}


FUSES: tuple[MadeFuse, ...] = (
    MadeFuse(
        stated=Definition(
            id="inverter_feed_40A",
            title="high-current blade fuse of 40 A, feed of inverter and solenoid, 24 V",
            family="zinc-strip",
            size="high-current-blade",
            rated_current=40.0,
            rated_voltage=32.0,
            breaking_capacity=1000.0,
            gates=("iso8820-3-high-current-blade",),
            source=_INVENTED,
            test_connection=_connection(6.0, 5.0, 0.1),
            installed_connection=_connection(10.0, 6.0, 0.15),
            limits=_limits(150.0, 130.0, 125.0, 125.0),
        ),
        truth=_truth(0),
        multiples=(1.35, 1.5, 1.75, 2.0, 2.5, 3.0, 3.5, 4.5, 6.0, 8.0),
        seed=40,
        head="""\
# An invented high-current blade fuse. It feeds the inverter and a fuel-stop solenoid of a
# small workboat from the 24 V bank; the fuse box hangs in the engine room.
#
# The published curve belongs to the test cable of 6 mm². The boat has 10 mm², which keeps the
# terminals cooler and raises the current the fuse carries for ever.
""",
    ),
    MadeFuse(
        stated=Definition(
            id="bilge_pump_10A",
            title="medium blade fuse of 10 A, bilge pump, 12 V",
            family="zinc-strip",
            size="medium-blade",
            rated_current=10.0,
            rated_voltage=32.0,
            breaking_capacity=1000.0,
            gates=("iso8820-3-medium-blade",),
            source=_INVENTED,
            test_connection=_connection(1.0, 2.5, 0.3),
            installed_connection=_connection(2.5, 3.5, 0.4),
            limits=_limits(150.0, 130.0, 125.0, 105.0),
        ),
        truth=_truth(1),
        multiples=(1.35, 1.5, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.5, 6.0),
        seed=10,
        head="""\
# An invented medium blade fuse for the bilge pump, 12 V. It must carry the pump's start every
# few minutes and open when a rag locks the rotor.
""",
    ),
    MadeFuse(
        stated=Definition(
            id="windlass_150A",
            title="bolted strip fuse of 150 A, anchor windlass, 12 V",
            family="bolted-strip",
            size="bolted-30",
            rated_current=150.0,
            rated_voltage=32.0,
            breaking_capacity=2000.0,
            gates=("iso8820-5-bolted-strip",),
            source=_INVENTED,
            test_connection=_connection(50.0, 12.5, 0.05),
            installed_connection=_connection(50.0, 12.5, 0.06),
            limits=_limits(160.0, 150.0, 140.0, 105.0),
        ),
        truth=_truth(2),
        multiples=(1.35, 1.5, 1.75, 2.0, 2.5, 3.0, 3.5, 4.5, 6.0),
        seed=150,
        head="""\
# An invented bolted strip fuse beside the house battery, for the anchor windlass, 12 V.
#
# The gates of its standard are known here from memory only, and with low confidence.
""",
    ),
    MadeFuse(
        stated=Definition(
            id="radio_3A15",
            title="cartridge fuse-link 5 x 20 mm of 3.15 A, quick, radio, 12 V",
            family="wire-in-body",
            size="5x20",
            rated_current=3.15,
            rated_voltage=250.0,
            breaking_capacity=1500.0,
            gates=("iec60127-2-sheet-1",),
            source=_INVENTED,
            test_connection=_connection(1.0, 2.5, 1.0),
            installed_connection=_connection(1.5, 3.0, 1.5),
            limits=_limits(130.0, 110.0, 120.0, 105.0),
        ),
        truth=_truth(3),
        multiples=(1.8, 1.9, 2.1, 2.4, 2.75, 3.3, 4.0, 5.5, 7.5),
        seed=315,
        head="""\
# An invented quick fuse-link of 5 x 20 mm for the radio: a silver wire in a tube of ceramic,
# without sand.
""",
        melting_multiple=10.0,
    ),
)

#: Comments put above the tables of a file.
_REMARKS = {
    "[cold_resistance]": "# Unloaded, with a small measuring current.",
    "[[voltage_drop]]": "# At the rated current, once it is steady.",
    "[[melting_i2t]]": "# For a short pulse of about this duration.",
    "[[terminal_rise]]": "# At the rated current on the cable of the test.",
    "[curve]": "# Mean times until the element parts, on the cable of the test.",
    "[test_connection]": "# What the curve was measured with; the same on both sides.",
    "[installed_connection]": "# What the fuse has on board; answers are for this.",
    "[limits]": "# Highest temperatures while the fuse carries.",
}


def rounded(value: float, digits: int = 3) -> float:
    """A value to three significant digits."""
    return float(f"{value:.{digits}g}")


def published(made: MadeFuse) -> Definition:
    """Definition of a demo fuse: what is stated, and what its truth gives, scattered."""
    stated, ambient = made.stated, REFERENCE_AMBIENT_C
    rated = stated.rated_current
    rng = np.random.default_rng(made.seed)

    def scattered(value: float) -> float:
        return rounded(value * math.exp(SCATTER * float(rng.standard_normal())))

    # The truth has its own contacts; the file states what the fixture was built for.
    model = model_of_parameters(stated, family_of(stated), made.truth, "test")
    bench = Bench.of(model, ambient, _CELLS)

    def time(multiple: float) -> float:
        return scattered(math.exp(bench.log_time(math.log(multiple * rated), 1e5)))

    def steady(kind: str, where: str) -> float:
        asked = Observation(kind, "", rated, 1.0, SCATTER, ambient, where)  # type: ignore[arg-type]
        return scattered(steady_value(bench, asked))

    points = tuple(CurvePoint(current=rounded(m * rated, 4), time=time(m)) for m in made.multiples)
    melting: tuple[MeltingIntegral, ...] = ()
    if made.melting_multiple is not None:
        current, duration = made.melting_multiple * rated, time(made.melting_multiple)
        integral = rounded(current**2 * duration)
        melting = (MeltingIntegral(i2t=integral, duration=duration, source=_INVENTED),)
    cold = scattered(2.0 * made.truth["half_element_resistance"])
    return dataclasses.replace(
        stated,
        cold_resistance=ColdResistance(
            resistance=cold, tolerance=0.1, measured_at="blades", source=_INVENTED
        ),
        voltage_drops=(
            VoltageDrop(
                voltage=steady("drop", "blades"),
                current=rated,
                measured_at="blades",
                ambient_c=ambient,
                source=_INVENTED,
            ),
        ),
        terminal_rises=(
            TerminalRise(
                rise=steady("rise", "clip"), current=rated, measured_at="clip", source=_INVENTED
            ),
        ),
        melting_integrals=melting,
        curve=Curve(time_kind="pre-arcing", ambient_c=ambient, source=_INVENTED, points=points),
    )


def definition_texts() -> dict[str, str]:
    """Texts of the definition files, by name."""
    texts = {}
    for made in FUSES:
        lines = published(made).to_toml().splitlines()
        remarked = [f"{_REMARKS[x]}\n{x}" if x in _REMARKS else x for x in lines]
        texts[made.stated.id] = made.head + "\n".join(remarked) + "\n"
    return texts


def write(folder: Path) -> None:
    """Write all files of the demo below a folder."""
    for name, text in definition_texts().items():
        write_atomic(folder / "fuses" / f"{name}.toml", text, replace=True)
    for name, text in capture_texts().items():
        write_atomic(folder / "captures" / f"{name}.csv", text, replace=True)


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
