"""The demo's measured currents: currents of loads, and the instruments that record them.

Currents are plausible for each load (own estimate); an instrument adds a gain error, an
offset with some drift, noise and the steps of its converter, all seeded.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Instrument:
    """Clamp or shunt with a converter; currents in amperes.

    Parameters
    ----------
    gain : float
        What it shows over what flows.
    offset : float
        Reading without current [A].
    drift : float
        Change of the offset over the record [A].
    noise : float
        Standard deviation of the noise [A].
    full_scale : float
        Range, to either side [A].
    bits : int
        Bits of the converter.
    """

    gain: float
    offset: float
    drift: float
    noise: float
    full_scale: float
    bits: int

    @property
    def step(self) -> float:
        """Resolution [A]."""
        return 2.0 * self.full_scale / 2.0**self.bits

    def reads(self, current: Array, rng: np.random.Generator) -> Array:
        """Readings [A] of a current [A]."""
        drift = np.linspace(0.0, self.drift, current.size)
        seen = self.gain * current + self.offset + drift
        seen += self.noise * rng.standard_normal(current.size)
        limited = np.clip(seen, -self.full_scale, self.full_scale - self.step)
        return np.asarray(self.step * np.round(limited / self.step), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Recording:
    """One file: a current against time, an instrument, and how the file is written.

    Parameters
    ----------
    name : str
        Name of the capture.
    current : callable
        Current [A] at times [s], and a generator for what is irregular in it.
    start, duration, rate : float
        First time [s], length [s], samples a second [Hz].
    instrument : Instrument
        What records it.
    head : str
        Lines above the numbers.
    time_scale, value_scale : float
        Factors from seconds and amperes to the file's units.
    time_format, value_format : str
        How numbers are written.
    separator : str
        Between the columns.
    comma : bool
        Whether the decimal mark is a comma.
    seed : int
        Seed of noise and irregularities.
    """

    name: str
    current: Callable[[Array, np.random.Generator], Array]
    start: float
    duration: float
    rate: float
    instrument: Instrument
    head: str
    time_scale: float
    value_scale: float
    time_format: str
    value_format: str
    separator: str
    comma: bool
    seed: int

    def text(self) -> str:
        """The file's text."""
        rng = np.random.default_rng(self.seed)
        time = self.start + np.arange(round(self.duration * self.rate)) / self.rate
        value = self.instrument.reads(self.current(time, rng), rng)
        t_form, v_form = self.time_format, self.value_format
        rows = [
            f"{t:{t_form}}{self.separator}{v:{v_form}}"
            for t, v in zip(
                (self.time_scale * time).tolist(), (self.value_scale * value).tolist(), strict=True
            )
        ]
        if self.comma:
            rows = [row.replace(".", ",") for row in rows]
        return "\n".join([self.head, *rows]) + "\n"


def rise(time: Array, at: float, constant: float) -> Array:
    """0 before a time, then 1 - exp of the time since over a constant."""
    since = np.maximum(time - at, 0.0)
    return np.asarray(-np.expm1(-since / constant), dtype=np.float64)


def fall(time: Array, at: float, constant: float) -> Array:
    """1 before a time, then exp of minus the time since over a constant."""
    return np.asarray(np.exp(-np.maximum(time - at, 0.0) / constant), dtype=np.float64)


def between(time: Array, on: float, off: float, constant: float) -> Array:
    """About 1 between two times, with exponential edges."""
    return rise(time, on, constant) * fall(time, off, constant)


def wander(time: Array, rng: np.random.Generator, constant: float) -> Array:
    """Irregular course with standard deviation 1 and a correlation time [s]."""
    kept = math.exp(-(time[1] - time[0]) / constant)
    steps = rng.standard_normal(time.size) * math.sqrt(1.0 - kept**2)
    out = np.empty_like(time)
    last = float(rng.standard_normal())
    for k, step in enumerate(steps.tolist()):
        last = kept * last + step
        out[k] = last
    return out


def _inverter(time: Array, rng: np.random.Generator) -> Array:
    load = 25.0 * rise(time, 0.2, 0.6e-3) * (1.0 + 0.01 * np.sin(2 * np.pi * 100.0 * time))
    # The pre-charge resistor holds the current while the capacitors fill.
    charge = 102.0 * between(time, 0.5, 0.525, 0.5e-3) * (1.0 - 3.0 * np.clip(time - 0.5, 0, 0.04))
    tail = 12.0 * rise(time, 0.525, 1e-3) * fall(time, 0.525, 12e-3)
    return load + charge + tail


def _solenoid(time: Array, rng: np.random.Generator) -> Array:
    load = 25.0 * rise(time, 0.1, 0.8e-3) * (1.0 + 0.012 * wander(time, rng, 5e-3))
    pull = 101.0 * between(time, 0.3, 0.326, 0.7e-3)
    hold = 1.5 * rise(time, 0.326, 2e-3)
    return load + pull + hold


def _engine(time: Array, rng: np.random.Generator) -> Array:
    glow = (27.0 + 27.0 * fall(time, 0.0, 2.8)) * between(time, 0.0, 15.0, 6e-3)
    pull = 40.0 * between(time, 12.0, 12.06, 5e-3) + 11.0 * between(time, 12.06, 13.7, 5e-3)
    # The battery sags while the starter turns, and everything on it with it.
    sag = 1.0 - 0.12 * between(time, 12.06, 13.7, 30e-3) * (1.0 + 0.25 * np.sin(60.0 * time))
    return (glow + pull) * sag


def _windlass(time: Array, rng: np.random.Generator) -> Array:
    running = between(time, 2.0, 24.0, 12e-3) + between(time, 30.0, 42.0, 12e-3)
    start = 190.0 * (fall(time, 2.0, 0.25) + rise(time, 26.0, 1.0) * fall(time, 30.0, 0.25))
    chain = 90.0 + 6.0 * np.sin(2 * np.pi * 1.8 * time) + 4.0 * wander(time, rng, 0.4)
    breakout = 45.0 * between(time, 17.0, 20.5, 0.4)
    return np.asarray(running * (chain + start + breakout - 20.0 * rise(time, 30.0, 4.0)))


def _bilge(time: Array, rng: np.random.Generator) -> Array:
    total = np.zeros_like(time)
    for on, off in ((2.0, 16.0), (26.0, 38.0)):
        # 5 A of water, less once it draws air.
        water = 5.0 - 1.4 * rise(time, off - 2.0, 0.4) + 0.12 * wander(time, rng, 0.05)
        start = 12.5 * fall(time, on, 0.1)
        total += (water + start) * between(time, on, off, 8e-3)
    return total


def _stuck(time: Array, rng: np.random.Generator) -> Array:
    winding = 19.0 + 4.0 * fall(time, 0.0, 2.5)
    return winding * between(time, 0.0, 6.0, 4e-3) * (1.0 + 0.004 * wander(time, rng, 0.02))


def _radio(time: Array, rng: np.random.Generator) -> Array:
    gulp = 9.0 * between(time, 1.0, 1.005, 1.2e-3)
    calls = sum(between(time, on, off, 5e-3) for on, off in ((2.0, 4.0), (4.8, 5.9), (6.5, 8.5)))
    return 0.35 * rise(time, 1.0, 2e-3) + gulp + 1.85 * np.asarray(calls)


RECORDINGS: tuple[Recording, ...] = (
    Recording(
        "inverter_switch_on", _inverter, 0.0, 1.0, 10e3,
        Instrument(1.006, 0.85, 0.05, 0.35, 200.0, 10),
        "Time (s),Channel 1 (mV)",
        1.0, 10.0, ".4f", ".1f", ",", False, 1,
    ),
    Recording(
        "solenoid_100A", _solenoid, 0.0, 0.6, 20e3,
        Instrument(0.991, -0.6, 0.0, 0.5, 150.0, 8),
        "Time (ms);Current (A)",
        1e3, 1.0, ".2f", ".2f", ";", True, 2,
    ),
    Recording(
        "engine_start", _engine, -0.5, 18.0, 500.0,
        Instrument(0.995, 0.4, 0.1, 0.2, 100.0, 10),
        "# engine panel, cold start\n# clamp 10 mV/A\nt [s],u [V]",
        1.0, 0.010, ".3f", ".5f", ",", False, 3,
    ),
    Recording(
        "windlass_haul", _windlass, 0.0, 45.0, 200.0,
        Instrument(1.002, 0.5, 0.2, 0.6, 500.0, 12),
        "Time\tShunt\ns\tmV",
        1.0, 0.4, ".3f", ".4f", "\t", False, 4,
    ),
    Recording(
        "bilge_pump", _bilge, 0.0, 42.0, 250.0,
        Instrument(1.01, -0.12, 0.02, 0.04, 30.0, 10),
        "Time (s),Voltage (V),Current (A)",
        1.0, 1.0, ".3f", ".3f", ",12.6,", False, 5,
    ),
    Recording(
        "stuck_pump", _stuck, -0.5, 7.5, 1e3,
        Instrument(0.997, 0.15, 0.0, 0.08, 40.0, 10),
        "Time (s),Channel 2 (mV)",
        1.0, 100.0, ".3f", ".1f", ",", False, 6,
    ),
    Recording(
        "radio_transmit", _radio, 0.0, 9.0, 2e3,
        Instrument(1.004, 0.03, 0.005, 0.012, 15.0, 12),
        "Time (ms);Channel 1 (mV)",
        1e3, 100.0, ".1f", ".2f", ";", True, 7,
    ),
)  # fmt: skip


def capture_texts() -> dict[str, str]:
    """Texts of the capture files, by name."""
    return {recording.name: recording.text() for recording in RECORDINGS}
