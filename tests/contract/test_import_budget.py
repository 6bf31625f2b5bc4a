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


def test_a_simulation_loads_numba_and_no_part_of_scipy() -> None:
    code = """
import fusetherm as ft
from fusetherm.calibration.band import swelling
wire = ft.FuseModel(ft.round_wire(ft.metal("copper"), 0.3e-3, 0.02))
ft.simulate(wire, ft.Waveform(time=[0.0, 0.01], current=[50.0, 60.0]), ambient_c=23.0)
swelling(32)
import sys
parts = {"linalg", "optimize", "stats", "interpolate", "special", "integrate"}
assert not any(f"scipy.{part}" in sys.modules for part in parts)
import numba, numpy as np
product = numba.njit(lambda a, b: a @ b)  # what numba was not asked yet it finds now
assert product(np.eye(3), np.full((3, 3), 2.0)).sum() == 18.0
assert "scipy.linalg" in sys.modules
"""
    assert loaded_by(code) >= {"numba"}


def test_the_check_sees_what_is_loaded() -> None:
    assert "numpy" in loaded_by("import numpy")
