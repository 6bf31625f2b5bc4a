"""How often a 90 % band of the fit holds the truth, on fuses made by another model.

    python benchmarks/band_coverage.py --truths 400 --seed 1 > docs/coverage_table.txt
    python benchmarks/band_coverage.py --truths 400 --seed 2 > docs/coverage_second.txt
    python benchmarks/band_coverage.py --kinds "tin spot" --truths 60 > docs/coverage_tin.txt
    python benchmarks/band_coverage.py --kinds "wire in sand" --truths 60 > docs/coverage_sand.txt

Each truth is a fuse of another structure than any fitted: a notch rounded like a cosine or cut in
steps, wide parts that widen towards the blades, metals whose properties bend otherwise, radiation
in the body, contacts and cables that differ from side to side, losses that follow the ambient in
their own way, 128 cells. A spot of tin lies off the middle of a wire whose halves differ, and
dissolves from another temperature on; sand has finer shells and another bore. Ten points of its
curve are published with their noise, its cold resistance, and for every second one the rise of a
terminal. The fit sees those alone. Questions are then asked of the truth, of the fit and of its
draws; units do not differ here, so only the part "fit" of a band counts. It is a study: six to
eighteen seconds of a processor for each truth, apart from the tests.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

import fusetherm as ft
from fusetherm.answers.margin import onset_factor
from fusetherm.calibration.band import QUANTILE_90
from fusetherm.calibration.build import model_of_parameters, values_of
from fusetherm.calibration.residual import Bench
from fusetherm.errors import FusethermError
from fusetherm.fuse.definition import loads
from fusetherm.fuse.element import Element, RoundSection, Section
from fusetherm.fuse.family import family_of
from fusetherm.fuse.model import FuseModel, Side
from fusetherm.physics.metals import Metal
from fusetherm.physics.tables import Table

CELLS = 128
#: Seed, number of the truth, kinds of fuses.
Job = tuple[int, int, tuple[str, ...]]
KINDS = ("zinc strip", "silver wire")
#: Kinds asked for by name: family, rated current [A], section of the cable [mm²].
OTHERS = {
    "tin spot": ("tin-spot-wire", 2, 0.75),
    "wire in sand": ("wire-in-sand", 3.15, 0.75),
}
HEAD = """
schema_version = 1
id = "truth"
family = "{family}"
rated_current_A = {rated}
source = "made for a study"
{size}
[test_connection]
cable_section_mm2 = {section}
cable_length_m = 1
source = "made for a study"
"""
CURVE = """
[curve]
time_kind = "pre-arcing"
ambient_C = 23
source = "made for a study"
"""


def head(kind: str) -> str:
    """Definition without anything measured."""
    if kind == "zinc strip":
        size = 'size = "high-current-blade"\n'
        return HEAD.format(family="zinc-strip", rated=40, size=size, section=6)
    if kind in OTHERS:
        family, rated, section = OTHERS[kind]
        return HEAD.format(family=family, rated=rated, size="", section=section)
    return HEAD.format(family="wire-in-body", rated=3.15, size="", section=0.75)


def bent(table: Table, rng: np.random.Generator, level: float, bend: float, top: float) -> Table:
    """A property moved by a level, a slope and a curvature."""
    share = (np.asarray(table.temperature_k) - 293.15) / (top - 293.15)
    a, b, c = rng.normal(0.0, 1.0, 3)
    factor = np.exp(level * a + bend * (b * share + c * share * (1.0 - share)))
    return replace(table, value=tuple(float(v) for v in np.asarray(table.value) * factor))


def element_of(element: Element, rng: np.random.Generator) -> Element:
    """The same element of another metal and another shape of its notch."""
    metal = element.metal
    top = metal.solidus_k
    metal = replace(
        metal,
        resistivity_table=bent(metal.resistivity_table, rng, 0.0, 0.02, top),
        conductivity_table=bent(metal.conductivity_table, rng, 0.03, 0.03, top),
        specific_heat_table=bent(metal.specific_heat_table, rng, 0.01, 0.02, top),
        latent_heat=metal.latent_heat * math.exp(0.03 * rng.normal()),
    )
    if element.spot is not None:
        return spotted(element, metal, rng)
    before, notch, after = element.sections
    if isinstance(notch, RoundSection):
        # a thinner place in two steps
        step = replace(notch, length=0.2 * notch.length,
                       diameter=0.5 * (notch.diameter + before.diameter))  # fmt: skip
        middle = replace(notch, length=0.6 * notch.length)
        return Element(metal, (before, step, middle, step, after))
    assert isinstance(before, Section)
    wider = before.width * rng.uniform(1.0, 1.25)
    first = replace(before, width=wider, end_width=before.width)
    last = replace(before, width=before.width, end_width=wider)
    if rng.random() < 0.5:
        fillet = rng.uniform(0.03, 0.12) * notch.length
        down = Section(fillet, before.width, notch.thickness, end_width=notch.width)
        up = Section(fillet, notch.width, notch.thickness, end_width=before.width)
        middle = replace(notch, length=notch.length - 2.0 * fillet)
        return Element(metal, (first, down, middle, up, last))
    waist = replace(notch, middle_width=notch.width * rng.uniform(0.93, 1.0))
    return Element(metal, (first, waist, last))


def spotted(element: Element, metal: Metal, rng: np.random.Generator) -> Element:
    """A wire with a spot off its middle, halves that differ, and another onset."""
    assert element.spot is not None
    left, under, right = element.sections
    assert isinstance(left, RoundSection)
    assert isinstance(right, RoundSection)
    moved = 0.15 * rng.uniform(-1.0, 1.0) * left.length
    left = replace(left, length=left.length + moved,
                   diameter=left.diameter * rng.uniform(0.97, 1.03))  # fmt: skip
    right = replace(right, length=right.length - moved)
    law = element.spot.dissolution
    law = replace(law, onset_k=law.onset_k + 3.0 * rng.normal())
    return replace(
        element, metal=metal, sections=(left, under, right),
        spot=replace(element.spot, dissolution=law),
    )  # fmt: skip


def truth_of(kind: str, rng: np.random.Generator) -> FuseModel:
    """A fuse of another structure, about where the family's priors lie."""
    stub = loads(head(kind) + CURVE + "".join(point(i, t) for i, t in
                 ((54.0, 300.0), (60.0, 90.0), (80.0, 20.0), (100.0, 9.0))))  # fmt: skip
    family = family_of(stub)
    priors = family.priors(stub)
    model = model_of_parameters(stub, family, values_of(priors, rng.normal(0.0, 0.8, len(priors))))
    assert model.body is not None
    filler = model.body.filler
    if filler is not None:
        filler = replace(filler, bore=filler.bore * rng.uniform(0.93, 1.07), shells=12)
    body = replace(
        model.body,
        filler=filler,
        element_emissivity=rng.uniform(0.0, 0.2),
        blade_conductance=rng.uniform(0.0, 0.008),
        conductance_slope=rng.normal(0.004, 0.001),
    )

    def side(side: Side) -> Side:
        assert side.contact is not None
        assert side.cable is not None
        contact = replace(side.contact, resistance=side.contact.resistance
                          * math.exp(0.3 * rng.normal()))  # fmt: skip
        cable = replace(
            side.cable, section=side.cable.section * math.exp(0.03 * rng.normal()), cells=24,
            film_slope=6e-4 * rng.normal(), film_factor=side.cable.film_factor
            * math.exp(0.05 * rng.normal()),
        )  # fmt: skip
        return replace(side, contact=contact, cable=cable)

    return replace(
        model,
        element=element_of(model.element, rng),
        body=body,
        left=side(model.left),
        right=side(model.right),
    )


def point(current: float, time: float) -> str:
    return f"[[curve.point]]\ncurrent_A = {current:.8g}\ntime_s = {time:.8g}\n"


def published(kind: str, truth: FuseModel, rise: bool, rng: np.random.Generator) -> str:
    """Definition of a truth: ten noisy points, cold resistance, perhaps a terminal rise."""
    bench = Bench.of(truth, 23.0, CELLS)
    least = math.exp(bench.least)
    text = head(kind)
    cold = 1e3 * truth.element.cold_resistance() * math.exp(0.01 * rng.normal())
    text += f'[cold_resistance]\ncold_resistance_mohm = {cold:.6g}\nmeasured_at = "element"\n'
    text += 'source = "made for a study"\n'
    if rise:
        current = 0.75 * least
        steady = ft.steady_state(truth, current, cells=CELLS)
        assert steady is not None
        hot = max(v for n, v in steady.node_temperature_c.items() if n.startswith("blade")) - 23.0
        hot *= math.exp(0.03 * rng.normal())
        text += f"[[terminal_rise]]\nterminal_rise_K = {hot:.6g}\ncurrent_A = {current:.6g}\n"
        text += 'source = "made for a study"\n'
    points = []
    for current in least * np.geomspace(1.05, 9.0, 10):
        time = math.exp(bench.log_time(math.log(current), 1e6)) * math.exp(0.03 * rng.normal())
        points.append((current * math.exp(0.005 * rng.normal()), time))
    # a maker smooths: times fall as currents rise
    times = sorted((t for _, t in points), reverse=True)
    currents = sorted(i for i, _ in points)
    return text + CURVE + "".join(point(i, t) for i, t in zip(currents, times, strict=True))


def questions(definition: ft.Definition, cells: int) -> dict[str, Any]:
    """What is asked of a model, each a positive number."""
    assert definition.curve is not None
    points = sorted(definition.curve.points, key=lambda p: p.current)
    low, middle, high = points[0], points[4], points[-1]
    after = points[5]
    assert after.time is not None
    assert middle.time is not None
    between = math.sqrt(middle.time * after.time)
    base = 0.5 * low.current

    def current_at(model: FuseModel, time: float, ambient_c: float, guess: float) -> float:
        bench = Bench.of(model, ambient_c, cells)
        return math.exp(bench.current_at(time, math.log(guess))[0])

    def onset(model: FuseModel, time: float, start: float | None) -> float:
        wave = ft.Waveform(time=[0.0, time], current=[high.current, high.current])

        return onset_factor(lambda f: ft.simulate(model, wave.scaled(f), start=start, cells=cells))

    def least(model: FuseModel, ambient_c: float) -> float:
        return ft.minimum_fusing_current(model, ambient_c=ambient_c, cells=cells)

    def hot_spot(model: FuseModel) -> float:
        steady = ft.steady_state(model, 0.75 * low.current, cells=cells)
        return math.inf if steady is None else steady.peak_temperature_c - 23.0

    return {
        "curve, between its points": lambda m: current_at(m, between, 23.0, middle.current),
        "current that parts in 10 s, -40 °C": lambda m: current_at(m, 10.0, -40.0, middle.current),
        "current that parts in 10 s, 85 °C": lambda m: current_at(m, 10.0, 85.0, middle.current),
        "current that parts in 10 s, 125 °C": lambda m: current_at(m, 10.0, 125.0, middle.current),
        "minimum fusing current": lambda m: least(m, 23.0),
        "its ratio, 125 °C to -40 °C": lambda m: least(m, 125.0) / least(m, -40.0),
        "pulse of .2 s after half the least current": lambda m: onset(m, 0.2, base),
        "onset of melting in 10 ms": lambda m: onset(m, 0.01, None),
        "current that parts in 10 ms": lambda m: current_at(m, 0.01, 23.0, 2.0 * high.current),
        "hottest point at .75 of the least current": hot_spot,
    }


def one(job: Job) -> dict[str, Any] | str:
    """Off and spread of every question for one truth, or why there is none."""
    seed, k, kinds = job
    rng = np.random.default_rng([seed, k])
    kind = kinds[k % len(kinds)]
    rise = (k // len(kinds)) % 2 == 0
    try:
        truth = truth_of(kind, rng)
        definition = loads(published(kind, truth, rise, rng))
        true = {name: ask(truth) for name, ask in questions(definition, CELLS).items()}
        fit = ft.calibrate(definition)
        found: dict[str, Any] = {"kind": kind, "rise": rise, "rms": fit.rms_current, "asked": {}}
        for name, ask in questions(definition, fit.cells).items():
            band = fit.band_for(ask, "test")
            off = math.log(ask(fit.model) / true[name])
            found["asked"][name] = (off, band.known_sd)
        return found
    except FusethermError as problem:
        return f"{kind}: {problem.code}"


def interval(held: int, count: int) -> tuple[float, float]:
    """Exact 99 % interval of a share (Clopper and Pearson)."""
    from scipy.stats import beta

    low = 0.0 if held == 0 else float(beta.ppf(0.005, held, count - held + 1))
    high = 1.0 if held == count else float(beta.ppf(0.995, held + 1, count - held))
    return low, high


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--truths", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--kinds", nargs="+", default=KINDS, choices=(*KINDS, *OTHERS))
    parser.add_argument(
        "--keep", type=Path, metavar="FILE",
        help="write each truth's result there, and go on from those of an earlier run of this code",
    )  # fmt: skip
    arguments = parser.parse_args()
    kinds = tuple(arguments.kinds)
    found = kept(arguments.keep)
    jobs = [(arguments.seed, k, kinds) for k in range(arguments.truths)]
    left = [job for job in jobs if repr(job) not in found]
    with multiprocessing.get_context("spawn").Pool(arguments.processes) as pool:
        for job, result in pool.imap_unordered(named, left):
            found[repr(job)] = result
            if arguments.keep is not None:
                with arguments.keep.open("a", encoding="utf-8") as file:
                    file.write(json.dumps([repr(job), result]) + "\n")
    table([found[repr(job)] for job in jobs], arguments.seed, kinds)


def named(job: Job) -> tuple[Job, dict[str, Any] | str]:
    """A truth's result with its job, since they come as they end."""
    return job, one(job)


def kept(file: Path | None) -> dict[str, dict[str, Any] | str]:
    """Results of an earlier run by job; a last line that was cut off is left out."""
    if file is None or not file.exists():
        return {}
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    return dict(json.loads(line) for line in lines if line.endswith("\n"))


def least_by_rise(sound: list[dict[str, Any]]) -> str:
    """How far the minimum fusing current is off, with and without a terminal's rise published."""
    off = {
        rise: [r["asked"]["minimum fusing current"][0] for r in sound if r["rise"] is rise]
        for rise in (True, False)
    }
    told = [f"{100.0 * float(np.sqrt(np.mean(np.square(x)))):.2f} %" for x in off.values() if x]
    return (
        "minimum fusing current off, rms: "
        + " with a terminal's rise published, ".join(told)
        + (" without" if len(told) > 1 else "")
    )


def table(results: list[dict[str, Any] | str], seed: int, kinds: tuple[str, ...]) -> None:
    """Print how often each question's band held."""
    sound = [r for r in results if not isinstance(r, str)]
    print(f"{len(sound)} of {len(results)} truths, seed {seed}; 90 % bands of the fit")
    for reason in sorted({r for r in results if isinstance(r, str)}):
        print(f"left out: {sum(r == reason for r in results)} x {reason}")
    print(f"rms of the fit in current, median: {100 * np.median([r['rms'] for r in sound]):.2f} %")
    print(least_by_rise(sound))
    for kind in (None, *kinds) if len(kinds) > 1 else kinds:
        some = [r for r in sound if kind in (None, r["kind"])]
        if not some:
            continue
        print(f"\n{kind or 'all'}, {len(some)}")
        print(f"{'question':<46}{'held':>7}{'99 % interval':>16}{'rms off':>9}{'band':>9}")
        for name in some[0]["asked"]:
            off, sd = np.array([r["asked"][name] for r in some]).T
            kept = np.isfinite(off)
            off, sd = off[kept], sd[kept]
            held = int(np.sum(np.abs(off) <= QUANTILE_90 * sd))
            low, high = interval(held, len(off))
            mark = " " if low <= 0.95 and high >= 0.85 else "*"
            rms, half = math.sqrt(np.mean(off**2)), QUANTILE_90 * np.median(sd)
            print(
                f"{name:<46}{100 * held / len(off):>5.0f} %{100 * low:>9.0f} to {100 * high:.0f} %"
                f"{100 * rms:>7.2f} %{100 * half:>7.2f} %{mark}"
            )
    print("\nband: half width of the 90 % band, median; *: not consistent with 85 to 95 %")


if __name__ == "__main__":
    main()
