"""Importing stays cheap: heavy libraries load where they are used.

The modules are checked rather than the time, which depends on the machine; the time
itself is measured in the benchmarks.
"""

from __future__ import annotations

import json
import subprocess
import sys

HEAVY = ("numba", "scipy", "xarray", "matplotlib", "pandas", "pydantic", "h5py", "numpy")


def loaded_by(code: str) -> set[str]:
    """Heavy libraries in a fresh interpreter after some code."""
    show = (
        f"{code}\nimport json, sys\nprint(json.dumps([m for m in {HEAVY!r} if m in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", show], check=True, capture_output=True, text=True)
    return set(json.loads(done.stdout))


def test_import_loads_nothing_heavy() -> None:
    assert loaded_by("import fusetherm") == set()


def test_listing_the_public_names_loads_nothing_heavy() -> None:
    assert loaded_by("import fusetherm; dir(fusetherm); fusetherm.InputError") == set()


def test_describing_results_does_not_load_xarray() -> None:
    assert loaded_by("import fusetherm.labelled") == {"numpy"}


def test_the_check_sees_what_is_loaded() -> None:
    assert "numpy" in loaded_by("import numpy")
