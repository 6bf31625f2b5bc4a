"""Shared by all tests: hypothesis profiles, and no silent skips in CI."""

from __future__ import annotations

import math
import os
from collections.abc import Generator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import hypothesis
import pytest

if TYPE_CHECKING:
    from fusetherm.calibration.fit import Calibration
    from fusetherm.fuse.definition import Definition
    from fusetherm.fuse.model import FuseModel

IN_CI = os.environ.get("CI", "").lower() not in ("", "0", "false", "no")

# Kernels compile at their first call, so a deadline would measure the compiler.
hypothesis.settings.register_profile("here", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
hypothesis.settings.load_profile("ci" if IN_CI else "here")


def _no_skip(report: Any) -> None:
    """Turn a skip into a failure: in CI everything must be there to be tested."""
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, and CI allows no skip: {report.longrepr}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, Any, Any]:
    report = yield
    _no_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, Any, Any]:
    report = yield
    _no_skip(report)
    return report


@dataclass(frozen=True)
class Published:
    """An invented fuse whose truth is known, and what a maker would publish of it."""

    truth: FuseModel
    definition: Definition
    points: tuple[tuple[float, float], ...]


_HEAD = """
schema_version = 1
id = "known-40A"
title = "invented fuse of 40 A whose truth is a model"
family = "zinc-strip"
size = "high-current-blade"
rated_current_A = 40
rated_voltage_V = 32
source = "computed for tests"

[test_connection]
cable_section_mm2 = 6
cable_length_m = 0.5
insulation_diameter_mm = 4.4
source = "invented"

[installed_connection]
cable_section_mm2 = 10
cable_length_m = 0.5
source = "invented"

[limits]
blade_C = 130
clip_C = 120
body_C = 140
cable_insulation_C = 105
source = "invented"

[curve]
time_kind = "pre-arcing"
ambient_C = 23
source = "computed for tests"
"""

#: Where the truth lies, in prior standard deviations from the centres of the family.
_SCORES = (0.3, -0.5, 0.4, -0.3, 0.5, 0.2, -0.4, 0.3, 0.2, -0.3, 0.1)


def _text(points: tuple[tuple[float, float], ...]) -> str:
    rows = [f"[[curve.point]]\ncurrent_A = {i:.8g}\ntime_s = {t:.8g}\n" for i, t in points]
    return _HEAD + "\n".join(rows)


@pytest.fixture(scope="session")
def published() -> Published:
    """Truth near the family's centres, its curve of ten points, and the definition of both."""
    import numpy as np

    from fusetherm.calibration.build import model_of_parameters, values_of
    from fusetherm.calibration.residual import Bench
    from fusetherm.fuse.definition import loads
    from fusetherm.fuse.family import family_of

    some = ((54.0, 300.0), (60.0, 90.0), (80.0, 20.0), (100.0, 9.0))
    stub = loads(_text(some))
    family = family_of(stub)
    values = values_of(family.priors(stub), _SCORES)
    truth = model_of_parameters(stub, family, values)
    bench = Bench.of(truth, 23.0, 64)
    currents = math.exp(bench.least) * np.geomspace(1.06, 8.0, 10)
    points = tuple((float(i), math.exp(bench.log_time(math.log(i), 1e5))) for i in currents)
    return Published(truth, loads(_text(points)), points)


@pytest.fixture(scope="session")
def fitted(published: Published) -> Calibration:
    """The known fuse, fitted to what is published of it."""
    from fusetherm.calibration.fit import calibrate

    return calibrate(published.definition)
