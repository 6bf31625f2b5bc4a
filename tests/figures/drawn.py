"""One figure of each kind, from invented answers: only the drawing is tested, not the physics."""

from __future__ import annotations

from types import SimpleNamespace as Made
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from fusetherm.current.waveform import Waveform
from fusetherm.show import plots
from fusetherm.show.plots_conductor import plot_protection
from fusetherm.show.plots_endurance import plot_endurance
from fusetherm.show.plots_explain import plot_explanation
from fusetherm.show.plots_fit import plot_fit
from fusetherm.show.plots_fusebox import plot_fusebox
from fusetherm.show.plots_selectivity import plot_selectivity
from fusetherm.show.series import Event

NAN = float("nan")


def _times(current: Any, least: float, scale: float) -> Any:
    """Times of an invented characteristic: none below the least current."""
    above = np.asarray(current) / least
    return np.where(above > 1.0, scale / np.maximum(above**2 - 1.0, 1e-9), NAN)


def _run(opened: bool) -> Any:
    wave = Waveform(time=[0, 0.2, 0.2, 0.5, 0.5, 0.53, 0.53, 0.9999],
                    current=[0, 0, 25, 25, 125, 120, 25, 25])  # fmt: skip
    time = np.linspace(0.0, 0.9999, 400)
    hot = 85.0 + 300.0 * np.clip(time - 0.5, 0.0, 0.1) * (12.0 if opened else 4.0)
    if opened:
        time, hot = time[hot < 430.0], hot[hot < 430.0]
    metal = Made(name="zinc", solidus_k=692.68)
    return Made(
        name="invented_40A", ambient_c=85.0, duration=float(time[-1]), opened=opened,
        onset_time=0.592 if opened else None, pre_arcing_time=0.596 if opened else None,
        peak_temperature_c=float(hot.max()), peak_time=float(time[np.argmax(hot)]), time=time,
        element_temperature_c=hot, node_temperature_c={"blade_left": np.full_like(time, 86.0)},
        question=Made(waveform=wave, model=Made(element=Made(metal=metal))),
    )  # fmt: skip


def _curve() -> Any:
    current = np.geomspace(45.0, 400.0, 40)
    ambients = np.array([-40.0, 23.0, 85.0])
    least = np.array([56.0, 52.0, 48.0])
    shape = (3, current.size)
    return Made(
        name="invented_40A", connection="test", ambient_c=ambients, current=current,
        pre_arcing_time=np.array([_times(current, one, 30.0) for one in least]),
        minimum_fusing_current=least, band_low=np.full(shape, 0.95),
        band_high=np.full(shape, 1.06), rated_current=40.0,
    )  # fmt: skip


def carried() -> Figure:
    return plots.plot_capture(Made(run=_run(False)))  # type: ignore[arg-type]


def opened() -> Figure:
    return plots.plot_capture(Made(run=_run(True)))  # type: ignore[arg-type]


def curve() -> Figure:
    points = [Made(current=c, time=t, min_time=None, max_time=None) for c, t in
              ((54.0, 390.0), (80.0, 22.0), (140.0, 4.8))]  # fmt: skip
    points.append(Made(current=240.0, time=None, min_time=0.8, max_time=2.4))
    published = Made(curve=Made(points=points, time_kind="pre-arcing", ambient_c=23.0))
    return plots.plot_curve(_curve(), published, Event(114.0, 0.025))  # type: ignore[arg-type]


def rerating() -> Figure:
    t = np.array([-40.0, 0.0, 23.0, 60.0, 85.0, 105.0, 125.0])
    hot = 40.0 * np.sqrt((175.0 - t) / 152.0)
    share = 40.0 * (1.0 - 0.0012 * (t - 23.0))
    limit = 58.0 * np.sqrt(np.clip((125.0 - t) / 165.0, 0.0, None))
    least = np.minimum(np.minimum(hot, share), limit)
    return plots.plot_rerating(Made(
        name="invented_40A", connection="installed", ambient_c=t,
        practice=(0.7 * least, 0.8 * least),
        minimum_fusing_current=1.35 * share, fusing_share_current=share, limit_current=limit,
        hot_spot_current=hot, continuous_current=least, continuous_low=0.95 * least,
        continuous_high=1.04 * least,
        published_current=np.where(t == 60.0, 34.0, NAN),
    ))  # type: ignore[arg-type]  # fmt: skip


def drop() -> Figure:
    current = np.linspace(3.0, 50.0, 12)
    warm = 1.4e-3 * current * (1.0 + (current / 60.0) ** 2)
    return plots.plot_drop(Made(
        name="invented_40A", connection="installed", ambient_c=23.0, current=current, voltage=warm,
        voltage_low=0.95 * warm, voltage_high=1.07 * warm, cold_voltage=1.4e-3 * current,
        melting_voltage=0.177, measured_at="blades",
    ))  # type: ignore[arg-type]  # fmt: skip


def comparison() -> Figure:
    current = np.array([54.0, 80.0, 140.0, 240.0, 320.0])
    time = _times(current, 50.0, 25.0)
    models = [
        Made(current_at=lambda t, k=k: 50.0 * np.sqrt(1.0 + 25.0 * k / t)) for k in (1.0, 1.2)
    ]
    return plots.plot_comparison(Made(
        name="invented_40A", time=time, current=current, model=("constant_i2t", "power_law"),
        models=models, held_out_off=np.array([[0.01, -0.2, 0.1, 0.05, -0.3],
                                              [0.004, 0.02, -0.01, -0.02, 0.03]]),
    ))  # type: ignore[arg-type]  # fmt: skip


def fit() -> Figure:
    at = (54.0, 70.0, 100.0, 180.0, 320.0)
    off = (0.002, -0.004, 0.006, -0.01, 0.001)
    rows = [Made(kind="time", bound=False, observed=c, relative=o, in_spreads=o / 0.008,
                 label=str(c))
            for c, o in zip(at, off, strict=True)]  # fmt: skip
    left = tuple(Made(label=str(c), relative=1.8 * o) for c, o in zip(at, off, strict=True))
    return plot_fit(Made(
        residuals=rows, diagnosis=Made(left_out=left, rms_left_out=0.0102),
        definition=Made(id="invented_40A"), rms_current=0.0056,
    ))  # type: ignore[arg-type]  # fmt: skip


def protection() -> Figure:
    current = np.geomspace(30.0, 400.0, 60)
    damage = _times(current, 34.0, 900.0)
    wire = Made(section=2.5e-6, insulation=Made(name="pvc-105"))
    return plot_protection(Made(
        name="invented_40A", verdict="not_protected", current=current, damage_time=damage,
        wire=wire,
        fuse_time=_times(current, 60.0, 35.0), class_time=_times(current, 66.0, 60.0),
        gaps=(Made(low=34.0, high=64.0),), class_gaps=(Made(low=34.0, high=72.0),),
        median=_curve(), fuse_ambient_c=-20.0, rated_current=40.0, conductor_limit=34.0,
        far_end=Made(current=97.0),
    ))  # type: ignore[arg-type]  # fmt: skip


def endurance() -> Figure:
    parts = tuple(Made(name=n, count=c, share=s, ambient_c=85.0) for n, c, s in
                  (("fuel stop", 1, 0.95), ("cold start", 1, 0.0495),
                   ("inverter, switched on by hand", 12, 0.0005)))  # fmt: skip
    return plot_endurance(Made(
        name="invented_40A", aged=False, ambient_c=85.0, period=86400.0, cycles=7.5e4,
        cycles_low=1.5e3, cycles_high=3.6e6, b10=3.2e4, b10_low=800.0, rule_cycles=5e4, parts=parts,
        events=(), swings=np.array([2.0, 5.0, 37.0, 90.0]),
        swing_counts=np.array([4.0, 10.0, 1.0, 1.0]),
        swing_shares=np.array([0.0, 0.0005, 0.0495, 0.95]), tests=(),
    ))  # type: ignore[arg-type]  # fmt: skip


def explanation() -> Figure:
    causes = tuple(Made(name=n, rise=r, alone=a, last=b) for n, r, a, b in
                   (("load up to 25 A", 42.0, 30.0, 55.0), ("pulse of 200 A", 260.0, 240.0, 290.0),
                    ("air at the fuse, 85 °C", 95.0, 62.0, 110.0)))  # fmt: skip
    return plot_explanation(Made(
        causes=causes, rise=397.0, time=0.508, temperature_c=420.0,
        verdict=Made(run=Made(name="invented_40A", onset_time=0.508)),
    ))  # type: ignore[arg-type]  # fmt: skip


def fusebox() -> Figure:
    time = np.linspace(0.0, 9000.0, 2400)
    air = 60.0 + 7.0 * (1.0 - np.exp(-time / 1500.0))
    beat = np.where(time % 300.0 < 40.0, 22.0, 0.0)
    return plot_fusebox(Made(
        time=time, way=np.array(["inverter", "bilge pump", "radio"]), box_air_c=air, outside_c=60.0,
        hot_spot_c=np.stack((air + 42.0, air + beat, air - 1.0)),
        air_c=np.stack((air + 2.0, air + 0.5, air - 0.5)), onset_time=np.array([NAN, NAN, NAN]),
        cooler_without=np.array([1.6, 0.2, 0.0]), group_count=np.array([1, 2, 3]),
        group_factor=np.array([1.0, 0.985, 0.97]),
    ))  # type: ignore[arg-type]  # fmt: skip


def selectivity() -> Figure:
    current = np.geomspace(12.0, 1000.0, 40)
    below, above = _times(current, 13.0, 2.0), _times(current, 50.0, 30.0)
    states = ("neither", "selective", "overlap", "upstream", "not_shown")
    walls = (12.0, 13.0, 200.0, 400.0, 600.0, 1000.0)
    stretches = tuple(
        Made(low=a, high=b, state=s) for a, b, s in zip(walls[:-1], walls[1:], states, strict=True)
    )
    return plot_selectivity(Made(
        upstream="main_40A", downstream="branch_10A", current=current, upstream_middle=above,
        upstream_early=0.7 * above, downstream_middle=below, downstream_late=1.3 * below,
        stretches=stretches,
    ))  # type: ignore[arg-type]  # fmt: skip


FIGURES = {
    one.__name__: one
    for one in (carried, opened, curve, rerating, drop, comparison, fit, protection, endurance,
                explanation, fusebox, selectivity)
}  # fmt: skip
