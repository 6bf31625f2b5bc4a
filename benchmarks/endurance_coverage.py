"""How often the band of a life holds the life of a unit, on fuses made by another model.

    python benchmarks/endurance_coverage.py --truths 100 --seed 1 > docs/endurance_coverage.txt

The fuses are those of ``band_coverage.py``: of another structure than any fitted. Each wears by a
law of its own: an exponent drawn about 5.5, a scale drawn a factor of ten either way, and an
effect of the peak temperature, which the fitted law does not have. What is published of it is its
curve, its melting I²t and pulse tests at three shares of that, scattered as tests are. Four duties
are then asked: a decaying inrush, the same in close pairs, the same on a load, and long loads. A
unit fails by a Weibull law of shape 2 about the median of its kind. Where no tests are published
the scale is that of the generic band, so what is then held says only that the band is as wide as
it claims. The four duties of a truth share its law and are not independent. Some 20 s for each
truth and processor.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
from dataclasses import replace
from typing import Any

import numpy as np
from band_coverage import CELLS, KINDS, interval, published, truth_of

import fusetherm as ft
from fusetherm.answers.settled import Settled
from fusetherm.current.sampled import constant
from fusetherm.current.shapes import exponential_decay
from fusetherm.errors import FusethermError
from fusetherm.fuse.definition import loads
from fusetherm.fuse.model import FuseModel
from fusetherm.fuse.published import MeltingIntegral, PulseTest
from fusetherm.life.duty import single
from fusetherm.life.scatter import Weibull
from fusetherm.life.swing_law import SwingLaw, miner_sum

SHARES = (20.0, 40.0, 70.0)
#: Duration of the pulses of the tests [s], and scatter of ln life of a test.
PULSE, TEST_SD = 0.01, 0.5


def law_of(rng: np.random.Generator) -> SwingLaw:
    """A law of a truth."""
    return SwingLaw(
        pivot_cycles=5e4 * 10.0 ** float(rng.normal()),
        pivot_swing=100.0,
        exponent=float(np.clip(rng.normal(5.5, 1.5), 2.0, 10.0)),
        peak_activation=float(rng.normal(0.0, 300.0)),
        pivot_peak=450.0,
    )


def onset_i2t(truth: FuseModel, guess: float) -> float:
    """I²t with which a pulse of the tests' duration just melts a truth [A² s]."""
    low, high = guess, guess
    while ft.simulate(truth, constant(high, PULSE), cells=CELLS).onset_time is None:
        high *= 1.5
    while ft.simulate(truth, constant(low, PULSE), cells=CELLS).onset_time is not None:
        low /= 1.5
    for _ in range(14):
        middle = math.sqrt(low * high)
        if ft.simulate(truth, constant(middle, PULSE), cells=CELLS).onset_time is None:
            low = middle
        else:
            high = middle
    return high * high * PULSE


def life_of(truth: FuseModel, wave: ft.Waveform, period: float, law: SwingLaw) -> float:
    """Median life of a truth under a waveform."""
    found = Settled.of(truth, single(wave, period, 23.0), 23.0, CELLS)
    if found.melts:
        return math.nan
    kelvin = replace(found.cycles, mean=found.cycles.mean + 273.15)
    return 1.0 / miner_sum(law, kelvin)


def duties(i2t: float, least: float) -> dict[str, tuple[ft.Waveform, float]]:
    """Waveforms and periods, by name, for a melting I²t and a least fusing current."""
    inrush = exponential_decay(math.sqrt(0.6 * i2t / 0.02), 0.02)
    return {
        "inrush, .3 of melting": (inrush, 60.0),
        "the same in pairs": (inrush.then(constant(0.0, 0.1)).then(inrush), 60.0),
        "the same on half the least current": (constant(0.5 * least, 300.0).then(inrush), 900.0),
        "30 s at .8 of the least current": (constant(0.8 * least, 30.0), 300.0),
    }


def one(job: tuple[int, int]) -> list[dict[str, Any]] | str:
    """Lives and bands of every duty for one truth, or why there is none."""
    seed, k = job
    rng = np.random.default_rng([seed, k, 7])
    kind = KINDS[k % len(KINDS)]
    try:
        truth = truth_of(kind, rng)
        definition = loads(published(kind, truth, True, rng))
        law = law_of(rng)
        least = ft.minimum_fusing_current(truth, cells=CELLS)
        i2t = onset_i2t(truth, 10.0 * least)
        stated = i2t * math.exp(0.05 * rng.normal())
        tests = []
        for share in SHARES:
            pulse = constant(math.sqrt(share / 100.0 * stated / PULSE), PULSE)
            life = life_of(truth, pulse, 600.0, law) * math.exp(TEST_SD * rng.normal())
            tests.append(
                PulseTest(
                    share=share / 100.0, pulses=max(life, 1.0), duration=PULSE, source="study"
                )
            )
        melting = MeltingIntegral(i2t=stated, duration=PULSE, source="study")
        definition = replace(definition, melting_integrals=(melting,))
        fit = ft.calibrate(definition)
        tested = replace(fit, definition=replace(definition, pulse_tests=tuple(tests)))
        found = []
        for name, (wave, period) in duties(i2t, least).items():
            median = life_of(truth, wave, period, law)
            unit = median * float(Weibull(2.0).factor(rng.uniform()))
            for how, subject in (("with tests", tested), ("without", fit)):
                life = ft.endurance(subject, wave, period=period, connection="test")
                if math.isnan(life.cycles) or math.isnan(median):
                    continue
                found.append(
                    {
                        "duty": name, "how": how, "off": math.log(life.cycles / median),
                        "width": math.log(life.cycles_high / life.cycles_low),
                        "held": life.cycles_low <= unit <= life.cycles_high,
                        "b10": unit < life.b10,
                        # whether more than 1 in 10 units fail before the confident B10
                        "over": float(Weibull(2.0).failed(life.b10_low / median)) > 0.1,
                    }
                )  # fmt: skip
        return found
    except FusethermError as problem:
        return f"{kind}: {problem.code}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--truths", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    arguments = parser.parse_args()
    jobs = [(arguments.seed, k) for k in range(arguments.truths)]
    with multiprocessing.get_context("spawn").Pool(arguments.processes) as pool:
        results = pool.map(one, jobs, chunksize=2)
    sound = [row for r in results if not isinstance(r, str) for row in r]
    lost = [r for r in results if isinstance(r, str)]
    print(f"{len(jobs) - len(lost)} of {len(jobs)} truths, seed {arguments.seed}")
    for reason in sorted(set(lost)):
        print(f"left out: {lost.count(reason)} x {reason}")
    for how in ("with tests", "without"):
        print(f"\n{how}")
        print(
            f"{'duty':<36}{'asked':>6}{'held':>7}{'99 % interval':>15}{'before B10':>12}"
            f"{'B10 kept':>10}{'median off':>12}{'band':>8}"
        )
        names = list(dict.fromkeys(row["duty"] for row in sound))
        for name in (*names, "all"):
            some = [r for r in sound if r["how"] == how and name in (r["duty"], "all")]
            held, count = sum(r["held"] for r in some), len(some)
            if not count:
                continue
            low, high = interval(held, count)
            mark = " " if low <= 0.95 and high >= 0.85 else "*"
            off = math.exp(float(np.median(np.abs([r["off"] for r in some]))))
            half = math.exp(0.5 * float(np.median([r["width"] for r in some])))
            print(
                f"{name:<36}{count:>6}{100 * held / count:>5.0f} %"
                f"{100 * low:>8.0f} to {100 * high:.0f} %"
                f"{100 * sum(r['b10'] for r in some) / count:>10.0f} %"
                f"{100 * sum(not r['over'] for r in some) / count:>8.0f} %"
                f"{'x':>6}{off:>6.2g}{'x':>3}{half:>5.3g}{mark}"
            )
    print(
        "\nheld: a unit's life within the 90 % band; before B10: units that failed before it; B10\n"
        "kept: kinds of which no more than 1 in 10 fail before the B10 of 95 % confidence; median\n"
        "off and half the band as factors, medians; *: not consistent with 85 to 95 %"
    )


if __name__ == "__main__":
    main()
