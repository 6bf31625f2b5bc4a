"""Demo scenario, all of it invented: fuses and measured currents of a small workboat.

The boat has circuits of 12 and 24 V, a fuse box in a warm engine room, and a clamp meter
that somebody plugged in one afternoon. ``python -m fusetherm.demo.make`` writes the files.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from types import MappingProxyType

from ..errors import InputError

__all__ = [
    "DUTY_FUSES",
    "SCENARIOS",
    "Scenario",
    "boxes",
    "captures",
    "definitions",
    "duties",
    "scenario",
]


@dataclass(frozen=True, slots=True)
class Scenario:
    """One capture of the demo and what has to be known to read it.

    Parameters
    ----------
    name : str
        Name of the capture.
    fuse : str
        Name of the fuse in question, a key of `definitions`.
    clamp : str or None
        Ratio of clamp or shunt; None for a file in amperes.
    zero : str
        Stretch without current, on the file's own clock.
    gain_tolerance : float
        Standard deviation of the clamp's gain, as a share.
    ambient_c : float
        Ambient of the fuse [degC].
    story : str
        What happens, in a sentence or two.
    """

    name: str
    fuse: str
    clamp: str | None
    zero: str
    gain_tolerance: float
    ambient_c: float
    story: str

    @property
    def capture_path(self) -> Path:
        """File of the capture."""
        return captures()[self.name]

    @property
    def fuse_path(self) -> Path:
        """File of the fuse."""
        return definitions()[self.fuse]


#: The captures of the demo, the main one first.
SCENARIOS: tuple[Scenario, ...] = (
    Scenario(
        name="inverter_switch_on",
        fuse="inverter_feed_40A",
        clamp="10 mV/A",
        zero="0 s : 0.2 s",
        gain_tolerance=0.01,
        ambient_c=85.0,
        story="The main switch of the 24 V feed closes onto 25 A of load; a moment later the "
        "inverter fills its capacitors, 125 A for 25 ms in all.",
    ),
    Scenario(
        name="solenoid_100A",
        fuse="inverter_feed_40A",
        clamp=None,
        zero="0 s : 0.1 s",
        gain_tolerance=0.02,
        ambient_c=85.0,
        story="On the same feed a fuel-stop solenoid pulls in: 100 A for 26 ms on 25 A of load.",
    ),
    Scenario(
        name="engine_start",
        fuse="inverter_feed_40A",
        clamp="10 mV/A",
        zero="-0.5 s : -0.05 s",
        gain_tolerance=0.01,
        ambient_c=45.0,
        story="Cold start of the diesel: glow plugs, 54 A falling to 27 A in a few seconds, then "
        "the starter's solenoid on top. The starter itself hangs on a cable of its own.",
    ),
    Scenario(
        name="windlass_haul",
        fuse="windlass_150A",
        clamp="0.4 mV/A",
        zero="0 s : 0.5 s",
        gain_tolerance=0.005,
        ambient_c=35.0,
        story="The windlass starts, hauls chain at about 90 A, breaks the anchor out and brings "
        "it home; measured with a shunt of 60 mV at 150 A.",
    ),
    Scenario(
        name="bilge_pump",
        fuse="bilge_pump_10A",
        clamp=None,
        zero="0 s : 1 s",
        gain_tolerance=0.02,
        ambient_c=60.0,
        story="Two turns of the bilge pump: a start of three times its 5 A, then water. It comes "
        "on every few minutes.",
    ),
    Scenario(
        name="stuck_pump",
        fuse="bilge_pump_10A",
        clamp="100 mV/A",
        zero="-0.5 s : -0.05 s",
        gain_tolerance=0.01,
        ambient_c=60.0,
        story="A rag in the impeller: the rotor is locked, and the current falls only as the "
        "winding heats. Recorded on a bench supply, to see whether the fuse would open.",
    ),
    Scenario(
        name="radio_transmit",
        fuse="radio_3A15",
        clamp="100 mV/A",
        zero="0 s : 0.5 s",
        gain_tolerance=0.01,
        ambient_c=40.0,
        story="The radio is switched on, its capacitors take a short gulp, and three calls are "
        "made at 2.2 A.",
    ),
)


#: The fuse of each duty of the demo.
DUTY_FUSES = MappingProxyType(
    {
        "bilge_pump_day": "bilge_pump_10A",
        "inverter_feed_day": "inverter_feed_40A",
        "windlass_day": "windlass_150A",
    }
)


def _files(folder: str, ending: str) -> Mapping[str, Path]:
    root = Path(str(resources.files(__package__).joinpath(folder)))
    return MappingProxyType({path.stem: path for path in sorted(root.glob(f"*{ending}"))})


def definitions() -> Mapping[str, Path]:
    """Definition files of the demo's fuses, by name.

    Examples
    --------
    >>> sorted(definitions())
    ['bilge_pump_10A', 'inverter_feed_40A', 'radio_3A15', 'windlass_150A']
    """
    return _files("fuses", ".toml")


def captures() -> Mapping[str, Path]:
    """Captures of the demo, by name; `scenario` says how to read each.

    Examples
    --------
    >>> captures()["bilge_pump"].name
    'bilge_pump.csv'
    """
    return _files("captures", ".csv")


def duties() -> Mapping[str, Path]:
    """Duty files of the demo, by name; `DUTY_FUSES` says whose day each is.

    Examples
    --------
    >>> sorted(duties())
    ['bilge_pump_day', 'inverter_feed_day', 'windlass_day']
    """
    return _files("duties", ".toml")


def boxes() -> Mapping[str, Path]:
    """Plans of the demo's fuse boxes, by name.

    Examples
    --------
    >>> list(boxes())
    ['engine_room']
    """
    return _files("boxes", ".toml")


def scenario(name: str) -> Scenario:
    """Scenario of a capture.

    Raises
    ------
    InputError
        ``scenario-unknown``.

    Examples
    --------
    >>> scenario("stuck_pump").fuse
    'bilge_pump_10A'
    """
    for one in SCENARIOS:
        if one.name == name:
            return one
    raise InputError(
        "scenario-unknown",
        f"the demo has no capture {name!r}",
        expected=", ".join(one.name for one in SCENARIOS),
    )
