"""`fusetherm inspect`: what was understood of a capture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ..current.description import CaptureSummary
from ..written import measure, number, percent, seconds
from . import options
from .output import echo, echo_json, echo_notes, echo_pairs, shown

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", " ": "blanks", "": "blanks"}


@click.command("inspect")
@click.argument("capture", type=options.PATH)
@options.reading
@click.option("--threshold-a", type=options.ABOVE_ZERO, metavar="A",
              help="Current in A above which a pulse counts, for the longest pulse.")  # fmt: skip
@options.as_json
def command(capture: Path, threshold_a: float | None, as_json: bool, **reading: Any) -> None:
    """Show what was understood of CAPTURE: columns, units, offset, clipping, I²t."""
    summary = options.read(capture, **reading).summary(threshold_a)
    if as_json:
        echo_json(summary_data(summary))
    else:
        print_summary(summary)


def summary_data(s: CaptureSummary) -> dict[str, Any]:
    """The summary as plain data, keys with units."""
    pulse = s.longest_pulse
    return {
        "schema": "fusetherm/inspect/1",
        "path": s.path,
        "sha256": s.sha256,
        "encoding": s.encoding,
        "delimiter": s.delimiter,
        "decimal": s.decimal,
        "columns": s.columns,
        "time_column": s.time_column,
        "time_unit": s.time_unit,
        "current_column": s.current_column,
        "current_unit": s.current_unit,
        "samples": s.samples,
        "sample_rate_Hz": s.sample_rate,
        "jitter": s.jitter,
        "start_s": s.original_start,
        "duration_s": s.duration,
        "offset_found_A": s.offset_found,
        "offset_removed_A": s.offset_removed,
        "offset_sd_A": s.offset_sd,
        "noise_sd_A": s.noise_sd,
        "noise_source": s.noise_source,
        "gain_tolerance": s.gain_tolerance,
        "bandwidth_Hz": s.bandwidth_hz,
        "clipped": s.clipped,
        "i2t_A2s": s.i2t,
        "i2t_noise_bias_A2s": s.i2t_noise_bias,
        "charge_As": s.charge,
        "lowest_A": s.lowest,
        "highest_A": s.highest,
        "peak_A": s.peak,
        "rms_A": s.rms,
        "base_load_A": s.base_load,
        "threshold_A": s.threshold,
        "longest_pulse_start_s": None if pulse is None else pulse.start,
        "longest_pulse_duration_s": None if pulse is None else pulse.duration,
        "notes": [{"code": n.code, "text": n.text} for n in s.notes],
    }


def print_summary(s: CaptureSummary) -> None:
    """Print the summary for people."""
    delimiter = _DELIMITERS.get(s.delimiter, repr(s.delimiter))
    decimal = {".": "point", ",": "comma"}.get(s.decimal, s.decimal)
    pulse, unknown = s.longest_pulse, s.noise_source == "not known"
    echo(shown(s.path))
    echo_pairs((
        ("file", f"{s.encoding}, columns by {delimiter}, decimal {decimal}"),
        ("columns", ", ".join(shown(name) for name in s.columns)),
        ("read", f"time from {shown(s.time_column)} in {s.time_unit}, "
                 f"current from {shown(s.current_column)} in {s.current_unit}"),
        ("samples", f"{s.samples:,} at {measure(s.sample_rate, 'Hz')}"
                    + (f", intervals vary by {percent(s.jitter)}" if s.jitter > 1e-6 else "")),
        ("span", f"{seconds(s.duration)}, from {number(s.original_start, 6)} s "
                 "on the file's own clock"),
        ("offset", ("not known" if unknown else f"{measure(s.offset_found, 'A')} found")
                   + f", {measure(s.offset_removed, 'A')} removed"),
        ("noise", f"{measure(s.noise_sd, 'A')} ({s.noise_source})" if s.noise_sd else
            "not known" if unknown else "none"),
        ("clipping", "FLAT TOPS: the true current was higher" if s.clipped else "none seen"),
        ("current", f"{measure(s.lowest, 'A')} to {measure(s.highest, 'A')}, "
                    f"rms {measure(s.rms, 'A')}, base load about {measure(s.base_load, 'A')}"),
        ("longest pulse", "" if pulse is None else
            f"{seconds(pulse.duration)} above {measure(s.threshold, 'A')}, "
            f"from {number(s.original_start + pulse.start, 4)} s on that clock"),
        ("I²t", measure(s.i2t, "A²s") + ("" if unknown else
                f", of which noise about {measure(s.i2t_noise_bias, 'A²s', 2)}")),
    ))  # fmt: skip
    echo_notes(s.notes)
