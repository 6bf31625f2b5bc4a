"""What a fit found, in plain text: residuals, parameters, what the data left to the priors."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..written import number, percent
from .nuisances import NUISANCES
from .observations import SHOWN_UNITS

if TYPE_CHECKING:
    from .fit import Calibration

#: Factor and unit for printing, by unit in SI.
_SHOWN = {"ohm": (1e3, "mΩ"), "m": (1e3, "mm"), "1": (1.0, ""), "W/(m2 K)": (1.0, "W/(m² K)")}


def text_report(fit: Calibration) -> str:
    """Report of a calibration, one line a fact.

    Parameters
    ----------
    fit : Calibration

    Returns
    -------
    str
    """
    lines = [
        f"{fit.definition.id}: {len(fit.residuals)} observations, family {fit.family.name}",
        f"curve fitted to {percent(fit.rms_current)} rms in current",
        "",
        f"{'observation':<36}{'published':>12}{'fitted':>12}{'off':>9}{'spreads':>9}",
    ]
    for r in fit.residuals:
        unit, factor = SHOWN_UNITS[r.kind]
        lines.append(
            f"{r.label:<36}{number(factor * r.observed, 4):>9} {unit:<2}"
            f"{number(factor * r.fitted, 4):>9} {unit:<2}"
            f"{100 * r.relative:>z7.2f} %{r.in_spreads:>z8.1f}"
        )
    lines += ["", "off: fitted less published, as a share of the current for a point of the curve"]
    lines += ["spreads: the same in standard deviations of what is published"]
    lines += ["", f"{'quantity':<26}{'fitted':>22}{'one sd':>20}{'prior':>11}  left to prior"]
    for p in fit.parameters:
        factor, unit = _SHOWN.get(p.unit, (1.0, p.unit))
        span = f"{number(factor * p.low)} .. {number(factor * p.high)}"
        left = f"{100 * p.prior_share:.0f} %"
        lines.append(
            f"{p.name:<26}{number(factor * p.value, 4):>12} {unit:<9}{span:>20}"
            f"{number(factor * p.prior_centre):>11}  {left:>6}"
        )
    found = fit.diagnosis
    if found.prior_dominated:
        lines += ["", "left to their priors by the data: " + ", ".join(found.prior_dominated)]
    if found.far:
        lines.append("far from their centres, 2 spreads or more: " + ", ".join(found.far))
    lines += ["", "what the data know is these products, one apart from the other:"]
    lines += [f"  {one}, to {percent(one.sd)}" for one in found.known]
    lines += ["", "each point predicted from the others (published less that, in current):"]
    for one in found.left_out:
        lines.append(
            f"  {one.label:<34}{-100 * one.relative:>z7.2f} %{-one.in_spreads:>z7.1f} spreads"
        )
    lines.append(f"  all points of the curve: {percent(found.rms_left_out)} rms")
    band = fit.band
    shares = ", ".join(f"{name} {100 * share:.0f} %" for name, share in band.shares)
    lines += [
        "",
        f"{100 * band.level:.0f} % band of one unit in current, installed, the widest over the "
        f"published range: {band.low:.3f} to {band.high:.3f} of the median ({shares}), from "
        f"{fit.draws.count} draws; units: {_units_text(fit)}",
    ]
    lines += [f"note: {n.text} [{n.code}]" for n in fit.notes]
    return "\n".join(lines)


def _units_text(fit: Calibration) -> str:
    parts = ", ".join(f"{name} {percent(sd)}" for name, sd in fit.units.sd.items())
    made = "assumed" if fit.units.source == "assumed" else "from the published band"
    return f"{parts} ({made})"


def report_data(fit: Calibration) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "schema": "fusetherm/fit-report/1",
        "fuse": fit.definition.id,
        "family": fit.family.name,
        "rms_current": fit.rms_current,
        "observations": [
            {
                "kind": r.kind,
                "label": r.label,
                "published": r.observed,
                "fitted": r.fitted,
                "relative": r.relative,
                "in_spreads": r.in_spreads,
                "bound": r.bound or None,
            }
            for r in fit.residuals
        ],
        "parameters": [
            {
                "name": p.name,
                "unit": p.unit,
                "value": p.value,
                "value_low": p.low,
                "value_high": p.high,
                "prior_centre": p.prior_centre,
                "prior_share": p.prior_share,
                "reason": p.reason,
            }
            for p in fit.parameters
        ],
        "left_out": [
            {"label": o.label, "relative": o.relative, "in_spreads": o.in_spreads}
            for o in fit.diagnosis.left_out
        ],
        "rms_left_out": fit.diagnosis.rms_left_out,
        "known": [
            {"powers": dict(one.powers), "sd": one.sd, "text": str(one)}
            for one in fit.diagnosis.known
        ],
        "prior_dominated": list(fit.diagnosis.prior_dominated),
        "far_from_centre": list(fit.diagnosis.far),
        "correlations": [{"a": a, "b": b, "r": r} for a, b, r in fit.correlations],
        "band": {
            "level": fit.band.level,
            "low": fit.band.low,
            "high": fit.band.high,
            "shares": dict(fit.band.shares),
            "draws": fit.draws.count,
        },
        "nuisances": [{"name": one.name, "about": one.about} for one in NUISANCES],
        "units": {"source": fit.units.source, "sd": fit.units.sd},
        "notes": [{"code": n.code, "text": n.text} for n in fit.notes],
    }
