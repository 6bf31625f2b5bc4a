"""What a capture looks like, in one frozen table for ``inspect``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import Note
from .blocks import Span
from .capture import Capture


@dataclass(frozen=True)
class CaptureSummary:
    """A capture in figures.

    Parameters
    ----------
    path, sha256, encoding, delimiter, decimal : str
        The file and how it is written.
    columns : tuple of str
        All names as written.
    time_column, current_column, time_unit, current_unit : str
        Columns read, and their units as written.
    samples : int
        Rows read.
    sample_rate : float
        One over the median interval [Hz].
    jitter : float
        Spread of the intervals over the median.
    original_start, duration : float
        First instant on the file's own clock, and length [s].
    offset_found, offset_removed, offset_sd : float
        Offset [A].
    noise_sd : float
        Noise of a sample [A], with ``noise_source``.
    gain_tolerance : float
        Standard deviation of the gain, as a share.
    bandwidth_hz : float or None
        Bandwidth of the clamp [Hz].
    clipped : bool
        Whether flat tops look clipped.
    i2t, i2t_noise_bias : float
        Joule integral, and what of it is noise on average [A2 s].
    charge : float
        Integral of the current [A s].
    lowest, highest, peak, rms : float
        Currents [A]; the peak is the greatest magnitude.
    base_load : float
        Estimate: the current below which the record stays half the time [A].
    threshold : float
        Current for the longest pulse [A].
    longest_pulse : Span or None
        Longest stretch at or above the threshold, in magnitude [s].
    notes : tuple of Note
        Remarks on the record.
    """

    path: str
    sha256: str
    encoding: str
    delimiter: str
    decimal: str
    columns: tuple[str, ...]
    time_column: str
    current_column: str
    time_unit: str
    current_unit: str
    samples: int
    sample_rate: float
    jitter: float
    original_start: float
    duration: float
    offset_found: float
    offset_removed: float
    offset_sd: float
    noise_sd: float
    noise_source: str
    gain_tolerance: float
    bandwidth_hz: float | None
    clipped: bool
    i2t: float
    i2t_noise_bias: float
    charge: float
    lowest: float
    highest: float
    peak: float
    rms: float
    base_load: float
    threshold: float
    longest_pulse: Span | None
    notes: tuple[Note, ...]


def summarise(capture: Capture, threshold: float | None = None) -> CaptureSummary:
    """Figures of a capture.

    Parameters
    ----------
    capture : Capture
        The record.
    threshold : float, optional
        Current for the longest pulse [A]; midway between base load and peak unless given.
    """
    record, layout = capture.record, capture.record.layout
    low, high = capture.extremes
    peak = capture.peak
    base = base_load(capture)
    level = 0.5 * (abs(base) + peak) if threshold is None else threshold
    return CaptureSummary(
        path=layout.path, sha256=layout.sha256, encoding=layout.encoding,
        delimiter=layout.delimiter, decimal=layout.decimal, columns=layout.names,
        time_column=record.time_column.name, current_column=record.current_column.name,
        time_unit=record.time_column.unit, current_unit=record.current_column.unit,
        samples=record.samples, sample_rate=record.sample_rate, jitter=record.jitter,
        original_start=record.original_start, duration=capture.duration,
        offset_found=record.offset_found, offset_removed=record.offset_removed,
        offset_sd=record.offset_sd, noise_sd=record.noise_sd, noise_source=record.noise_source,
        gain_tolerance=record.gain_tolerance, bandwidth_hz=record.bandwidth_hz,
        clipped=record.clipped, i2t=capture.i2t(), i2t_noise_bias=capture.i2t_noise_bias,
        charge=capture.charge(), lowest=low, highest=high, peak=peak, rms=capture.rms,
        base_load=base, threshold=level,
        longest_pulse=capture.longest_pulse(level) if level > 0.0 else None,
        notes=capture.notes,
    )  # fmt: skip


def base_load(capture: Capture) -> float:
    """Estimate of the steady load [A]: the median of the current, weighted by time."""
    h = np.diff(capture.time)
    middle = 0.5 * (capture.values[1:] + capture.values[:-1])
    if h.max() - h.min() <= 1e-6 * h.max():
        return float(np.median(middle))
    order = np.argsort(middle, kind="stable")
    run = np.cumsum(h[order])
    return float(middle[order[int(np.searchsorted(run, 0.5 * run[-1]))]])
