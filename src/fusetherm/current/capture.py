"""Measured currents: a file of columns read into a waveform, with all that is known of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from ..errors import Argument, FileError, InputError, Note
from ..written import measure, number
from .blocks import Array
from .clock import written as clock_text
from .columns import Column, Key, choose
from .parsing import line_of, read_table
from .quality import (
    NO_NOISE,
    Noise,
    alternates,
    clamp_remarks,
    noise_in,
    quiet_start,
    remarks,
)
from .sampled import Sampled
from .sniffing import MOST_ROWS, Layout, sniff
from .timing import policy, regular, window, without_gaps, without_missing
from .waveform import finite, positive

if TYPE_CHECKING:
    from .description import CaptureSummary


@dataclass(frozen=True)
class Record:
    """Where a capture comes from and how far it can be trusted.

    Parameters
    ----------
    layout : Layout
        Encoding, separator, header and hash of the file.
    time_column, current_column : Column
        Columns read, with their units as written.
    clamp : float or None
        Ratio of clamp or shunt [V/A].
    original_start : float
        Time of the first sample on the file's own clock [s].
    samples : int
        Rows read.
    sample_rate : float
        One over the median interval [Hz].
    jitter : float
        Spread of the intervals, longest less shortest, over the median.
    offset_found : float
        Mean of the zero window, or of a quiet start [A].
    offset_removed : float
        What was subtracted from every sample [A].
    gain_tolerance : float
        Standard deviation of the clamp's gain, as a share.
    offset_sd : float
        Standard deviation of what is left of the offset [A].
    noise_sd : float
        Standard deviation of the noise of a sample [A].
    noise_correlation : float
        Correlation of the noise from one sample to the next, 0 to 1.
    noise_source : str
        ``"given"``, ``"zero window"``, ``"quiet start"`` or ``"not known"``.
    bandwidth_hz : float or None
        Bandwidth of the clamp [Hz].
    clipped : bool
        Whether flat tops look clipped: such a record never supports "carries".
    notes : tuple of Note
        Remarks on the record.
    """

    layout: Layout
    time_column: Column
    current_column: Column
    clamp: float | None
    original_start: float
    samples: int
    sample_rate: float
    jitter: float
    offset_found: float
    offset_removed: float
    gain_tolerance: float
    offset_sd: float
    noise_sd: float
    noise_correlation: float
    noise_source: str
    bandwidth_hz: float | None
    clipped: bool
    notes: tuple[Note, ...]


@dataclass(frozen=True, eq=False, init=False)
class Capture(Sampled):
    """A measured current, linear between samples; made by `read_capture`.

    It is used like any waveform. What is cut, scaled or shifted from it keeps its record
    and its notes.

    Parameters
    ----------
    time : array, shape (n,)
        Times [s], moved to start at 0.
    current : array, shape (n,)
        Current [A], offset removed.
    record : Record
        Source and quality.
    """

    record: Record

    def __init__(self, time: ArrayLike, current: ArrayLike, record: Record) -> None:
        super().__init__(time, current)
        object.__setattr__(self, "record", record)

    def _like(self, time: Array, current: Array, factor: float = 1.0) -> Capture:
        by = abs(factor)
        record = self.record
        if by != 1.0:
            record = replace(record, noise_sd=by * record.noise_sd, offset_sd=by * record.offset_sd)
        return Capture(time, current, record)

    def _content(self) -> Iterator[bytes]:
        r = self.record
        yield from super()._content()
        yield repr((r.gain_tolerance, r.offset_sd, r.noise_sd, r.bandwidth_hz, r.clipped)).encode()

    @property
    def notes(self) -> tuple[Note, ...]:
        """Remarks on the record."""
        return self.record.notes

    @property
    def path(self) -> str:
        """File the record was read from."""
        return self.record.layout.path

    @property
    def sha256(self) -> str:
        """Hash of that file, in hexadecimal."""
        return self.record.layout.sha256

    @property
    def clipped(self) -> bool:
        """Whether flat tops look clipped: such a record never supports "carries"."""
        return self.record.clipped

    @property
    def sample_rate(self) -> float:
        """One over the median interval [Hz]."""
        return self.record.sample_rate

    @property
    def gain_tolerance(self) -> float:
        """Standard deviation of the clamp's gain, as a share."""
        return self.record.gain_tolerance

    @property
    def offset_sd(self) -> float:
        """Standard deviation of what is left of the offset [A]."""
        return self.record.offset_sd

    @property
    def noise_sd(self) -> float:
        """Standard deviation of the noise of a sample [A]."""
        return self.record.noise_sd

    @property
    def bandwidth_hz(self) -> float | None:
        """Bandwidth of the clamp [Hz]."""
        return self.record.bandwidth_hz

    @property
    def i2t_noise_bias(self) -> float:
        """What the noise adds to the Joule integral on average [A2 s].

        Notes
        -----
        sigma² T (2 + r)/3, with r the correlation of the noise between neighbours: sigma² T
        for noise sampled finely, two thirds of it for noise that changes with every sample,
        since between samples the record is a straight line.
        """
        return self.noise_sd**2 * self.duration * (2.0 + self.record.noise_correlation) / 3.0

    def summary(self, threshold: float | None = None) -> CaptureSummary:
        """What the file and the record look like, for ``inspect``."""
        from .description import summarise

        return summarise(self, threshold)


def read_capture(
    path: str | Path,
    *,
    clamp: str | None = None,
    zero: str | tuple[float, float] | None = None,
    time: Key = None,
    current: Key = None,
    time_unit: str | None = None,
    current_unit: str | None = None,
    interval: str | float | None = None,
    gaps: str = "refuse",
    missing: str = "refuse",
    gain_tolerance: float = 0.0,
    offset_sd: float | None = None,
    noise_sd: float | None = None,
    bandwidth_hz: float | None = None,
    ac_clamp: bool = False,
    flat_top_is_real: bool = False,
    most_rows: int = MOST_ROWS,
) -> Capture:
    """Read a measured current from a file of columns.

    Parameters
    ----------
    path : str or Path
        Text file, plain or gzip: columns separated by comma, semicolon, tab or blanks, with
        a line of names and the units in it or below it.
    clamp : str, optional
        Ratio of clamp or shunt when the column is in volts, such as ``"10 mV/A"``.
    zero : str or pair of float, optional
        Stretch without current on the file's own clock, such as ``"0 s : 0.2 s"``; the mean
        over it is subtracted.
    time, current : str or int, optional
        Columns by name or by place from 0, where the file leaves a choice.
    time_unit, current_unit : str, optional
        Units where the file states none.
    interval : str or float, optional
        Time between samples where the file has no times, such as ``"10 µs"`` or
        ``"100 kHz"``, or in s. Not needed where a line above the numbers states it.
    gaps : str
        What to do where samples are more than 5 median intervals apart: ``"refuse"``,
        ``"hold"`` the last value, or ``"linear"``. Not asked of records of under 9 samples.
    missing : str
        The same for missing currents.
    gain_tolerance : float
        Standard deviation of the clamp's gain, as a share.
    offset_sd : float, optional
        Standard deviation of the remaining offset [A]; from the zero window unless given.
    noise_sd : float, optional
        Standard deviation of the noise [A]; from the zero window or a quiet start unless given.
    bandwidth_hz : float, optional
        Bandwidth of the clamp [Hz]; edges it cannot have followed are remarked.
    ac_clamp : bool
        The clamp passes alternating current only, as a current transformer does: a record that
        does not alternate is refused.
    flat_top_is_real : bool
        Take a flat top for what was really there, not for clipping.
    most_rows : int
        Refuse files of more.

    Returns
    -------
    Capture
        The record from its first sample on, as a waveform.

    Raises
    ------
    FileError
        With file, line and column: no unit, volts without a ratio, text or nothing in a
        cell, times that do not increase, and so on. Nothing is guessed.
    """
    for value, name in ((gaps, "gaps"), (missing, "missing")):
        policy(value, name)
    for given, name in ((gain_tolerance, "tolerance of the gain"),
                        (offset_sd, "standard deviation of the offset"),
                        (noise_sd, "standard deviation of the noise")):  # fmt: skip
        if given is not None and finite(given, name) < 0.0:
            raise InputError("not-positive", f"{name} is {number(given, 6)}", expected="0 or more")
    if bandwidth_hz is not None:
        positive(bandwidth_hz, "bandwidth", "Hz")
    span = window(zero)
    layout = sniff(path, most_rows)
    t_column, i_column, ratio, column_notes = choose(
        layout, time=time, current=current, time_unit=time_unit, current_unit=current_unit,
        clamp=clamp, interval=interval,
    )  # fmt: skip
    stamps, values, read_notes = read_table(layout, t_column, i_column)
    stamps, clock_notes = regular(layout, stamps, t_column)
    samples = stamps.size
    if t_column.clock:
        text = (
            "times are written as on a clock; here and in answers they count from the first, "
            f"{clock_text(float(stamps[0]))}"
        )
        clock_notes = (Note("clock-times", text), *clock_notes)
        stamps = stamps - stamps[0]
    lines = _Lines(layout, i_column, t_column)
    stamps, values, missing_notes = without_missing(stamps, values, missing, lines.missing)
    stamps *= t_column.scale
    values *= i_column.scale
    if ac_clamp and not alternates(stamps, values):
        raise layout.fault(
            "ac-clamp-on-dc", "the current does not alternate, and the clamp is for AC only",
            line=layout.first_row, key=i_column.name,
            expected="a record of alternating current from such a clamp",
            mend="record direct current and pulses with a DC clamp or a shunt",
        )  # fmt: skip
    start = float(stamps[0])
    found, removed = NO_NOISE, 0.0
    if span is not None:
        found = _zero(layout, stamps, values, span)
        removed = found.mean
        values -= removed
    h = np.diff(stamps)
    median = float(np.median(h))
    jitter = float(h.max() - h.min()) / median
    del h
    peak = max(float(values.max()), -float(values.min()))
    found = found if found.samples else quiet_start(values, peak)
    noted = remarks(values, found, zeroed=span is not None, flat_top_is_real=flat_top_is_real)
    noted += clamp_remarks(stamps, values, bandwidth_hz=bandwidth_hz, ac_clamp=ac_clamp)
    stamps -= start
    stamps, values, gap_notes = without_gaps(stamps, values, gaps, lines.gap)
    left = found.sd / math.sqrt(found.samples) if span is not None and found.samples else 0.0
    record = Record(
        layout=layout, time_column=t_column, current_column=i_column, clamp=ratio,
        original_start=start, samples=samples, sample_rate=1.0 / median, jitter=jitter,
        offset_found=found.mean, offset_removed=removed, gain_tolerance=gain_tolerance,
        offset_sd=left if offset_sd is None else offset_sd,
        noise_sd=found.sd if noise_sd is None else noise_sd,
        noise_correlation=found.correlation,
        noise_source=found.source if noise_sd is None else "given",
        bandwidth_hz=bandwidth_hz, clipped=any(n.code == "clipped-record" for n in noted),
        notes=(*column_notes, *read_notes, *clock_notes, *missing_notes, *gap_notes, *noted),
    )  # fmt: skip
    for array in (stamps, values):
        array.setflags(write=False)
    return Capture(stamps, values, record)


def _zero(layout: Layout, time: Array, current: Array, span: tuple[float, float]) -> Noise:
    """Mean and noise of the stretch without current, on the file's own clock."""
    low, high = np.searchsorted(time, span[0], "left"), np.searchsorted(time, span[1], "right")
    if high - low < 1:
        early = float(time[time.size // 10])
        raise layout.fault(
            "zero-window-empty",
            f"no sample between {measure(span[0], 's')} and {measure(span[1], 's')}",
            expected=f"a stretch within {measure(time[0], 's', 6)} to {measure(time[-1], 's', 6)}",
            mend="give a stretch of the record in which no current flows",
            arguments=(Argument("zero", f"{measure(time[0], 's')} : {measure(early, 's')}"),),
        )  # fmt: skip
    return noise_in(current[low:high], "zero window")


@dataclass(frozen=True)
class _Lines:
    """Errors that name the line of a sample."""

    layout: Layout
    current: Column
    time: Column

    def missing(self, row: int, found: str) -> FileError:
        return self.layout.fault(
            "missing-value", found, line=line_of(self.layout, row), key=self.current.name,
            expected="a current in every row",
            mend="mend the file, or say how to bridge what is missing",
            arguments=(Argument("missing", "linear"), Argument("missing", "hold")),
        )  # fmt: skip

    def gap(self, row: int, found: str) -> FileError:
        return self.layout.fault(
            "gap", found, line=line_of(self.layout, row + 1), key=self.time.name,
            expected="no gap over 5 median intervals",
            mend="knowing what flowed meanwhile, say how to bridge it",
            arguments=(Argument("gaps", "hold"), Argument("gaps", "linear")),
        )  # fmt: skip
