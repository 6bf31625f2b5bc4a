"""Sessions: ``nox -s tests``, ``lint``, ``docs``, ``lowest``, ``bench``, ``compare``."""

from __future__ import annotations

import tomllib
from pathlib import Path

import nox

nox.options.sessions = ["lint", "tests", "docs"]
PROJECT = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
OPTIONAL = PROJECT["optional-dependencies"]


@nox.session(python=["3.11", "3.12", "3.13"])
def tests(session: nox.Session) -> None:
    """The test suite; arguments go to pytest (``-- -m slow``)."""
    session.install(".[test]")
    session.run("pytest", *(session.posargs or ["-n", "2"]))


@nox.session(python="3.11")
def lowest(session: nox.Session) -> None:
    """The test suite with the oldest dependencies that pyproject.toml allows."""
    pins = [line.replace(">=", "==") for line in PROJECT["dependencies"]]
    session.install(".[test]", *pins)
    session.run("pytest", *(session.posargs or ["-n", "2"]))


@nox.session
def lint(session: nox.Session) -> None:
    """Style and types."""
    session.install("-e", ".[dev]")
    session.run("ruff", "check")
    session.run("ruff", "format", "--check")
    session.run("mypy", "--strict")


@nox.session
def docs(session: nox.Session) -> None:
    """The documentation, warnings as errors."""
    session.install(".[docs]")
    session.run("sphinx-build", "-W", "--keep-going", "-b", "html", "docs", "docs/_build/html")


@nox.session
def bench(session: nox.Session) -> None:
    """Our own times, kept in .benchmarks; compare those of one machine only."""
    session.install(".", *(line for line in OPTIONAL["bench"] if "numbalsoda" not in line))
    session.run(
        "pytest", "benchmarks", "-p", "no:xdist", *(session.posargs or ["--benchmark-autosave"])
    )


@nox.session
def compare(session: nox.Session) -> None:
    """The peers in one process; what cannot be built here is left out of the table."""
    session.install(".", *(line for line in OPTIONAL["bench"] if "numbalsoda" not in line))
    session.run("pip", "install", "numbalsoda", success_codes=[0, 1])
    session.run("python", "benchmarks/compare.py", *session.posargs)
