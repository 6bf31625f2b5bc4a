"""Shared by all tests: hypothesis profiles, and no silent skips in CI."""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import Any

import hypothesis
import pytest

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
