"""Three lumps never parted over a range of currents, and the search returned the end of it.

Each mode of the rise was cut at its own growth of exp(60). Above the current at which a second
eigenvalue passes zero both stood at that cut, and the slower, divided by its smaller eigenvalue
and of negative sign, outweighed the faster: the rise seemed to fall, so the time was infinite.
The search for a current at a time ended where that range ends, at any time inside; fits went
through it too.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from fusetherm.calibration.curve_models import three_lumps
from fusetherm.calibration.curve_models.three_lumps import ThreeLumps
from fusetherm.current.waveform import Waveform

LUMPS = ThreeLumps(
    (50840.0, 0.4732, 5.1475, 1.3052, 0.66462, 95.598, 1.71334), 1.7305, 0.65009, 419.527
)
#: The range was 174.4 A, where the second eigenvalue passes zero, to 193.1 A.
CURRENTS = (172.0, 174.3728, 176.0, 185.0, 193.0, 194.0)


def raw(values: Any, time: Any, start: float = 0.0) -> Any:
    """Currents of the search the fit uses, and the times that come back for them."""
    p = np.tile(values, (len(time), 1))
    squares = np.exp(three_lumps._log_squares(p, time, start, 1.73, 0.65))
    return np.sqrt(squares), three_lumps._times(p, squares, start, 1.73, 0.65)


def test_a_range_of_currents_has_two_growing_modes() -> None:
    times = [LUMPS.time_at(i) for i in np.linspace(130.0, 260.0, 131)]
    assert np.all(np.isfinite(times))
    assert np.all(np.diff(times) < 0.0)


@pytest.mark.parametrize("current", CURRENTS)
def test_times_agree_with_scipy(current: float) -> None:
    time = LUMPS.time_at(current)

    def off(log_time: float) -> float:
        wave = Waveform(time=[0.0, math.exp(log_time)], current=[current, current])
        return LUMPS._peak(wave, 1.0, 0.0) - 1.0 - LUMPS.latent

    found = math.exp(brentq(off, math.log(time) - 0.2, math.log(time) + 0.2, xtol=1e-7))
    assert time == pytest.approx(found, rel=1e-5)


def test_currents_at_times_inside_the_range() -> None:
    time = np.array([1.5, 1.98, 2.1])
    current, back = raw(LUMPS.values, time)
    assert back == pytest.approx(time, rel=1e-6)
    assert current[1] == pytest.approx(160.47, rel=1e-4)
    assert LUMPS.current_at(1.98) == pytest.approx(160.47, rel=1e-4)


@pytest.mark.parametrize("start", [-0.16, 0.0, 0.26])
def test_every_time_comes_back_over_the_priors(start: float) -> None:
    rng = np.random.default_rng(7)
    centre = np.log([2e3, 2.0, 3.9, 1.4, 1.0, 30.0, 1.0])
    time = np.geomspace(1e-3, 1e3, 40)
    for _ in range(12):
        values = np.exp(centre + 1.5 * three_lumps._SPREAD * rng.normal(size=7))
        _, back = raw(values, time, start)
        assert back == pytest.approx(time, rel=1e-5)
