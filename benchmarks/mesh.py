"""How fine the element has to be cut: onset and opening against the number of cells.

    python benchmarks/mesh.py > docs/mesh_table.txt

Errors are those of the time, against 1024 cells, at multiples of the minimum fusing current. It is
a study: some minutes, apart from the tests.
"""

from __future__ import annotations

import math

import fusetherm as ft
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side, Surroundings
from fusetherm.solver.steady import cells_for

CELLS = (16, 32, 64, 128, 256, 512, 1024)
MULTIPLES = (1.02, 1.05, 1.2, 2.0, 5.0, 30.0)
TOLERANCE = 1e-6
SIDE = Side(Blade(0.4, 0.01), Contact(0.3e-3), Clip(), Cable(6e-6))


def notched(metal: str, notch: float, whole: float = 16e-3, narrow: float = 1e-3) -> ft.FuseModel:
    """Strip of .3 mm, 3 mm wide, with a notch in its middle."""
    rest = ft.Section(0.5 * (whole - notch), 3e-3, 3e-4)
    element = ft.Element(ft.metal(metal), (rest, ft.Section(notch, narrow, 3e-4), rest))
    return ft.FuseModel(element, Body(), SIDE, SIDE)


def wire(metal: str, diameter: float, length: float) -> ft.FuseModel:
    """Bare wire in still air between two blades."""
    air = Surroundings(natural_convection=True, emissivity=0.3)
    return ft.FuseModel(ft.round_wire(ft.metal(metal), diameter, length), None, SIDE, SIDE, air)


def models() -> dict[str, ft.FuseModel]:
    """Fitted fuses of the demo and made geometries."""
    found = {
        name: ft.calibrate(ft.load_fuse(path)).model for name, path in ft.demo.definitions().items()
    }
    found["zinc, notch 0.5 mm"] = notched("zinc", 0.5e-3)
    found["zinc, notch 4 mm"] = notched("zinc", 4e-3)
    found["zinc, notch 8 mm"] = notched("zinc", 8e-3)
    found["copper, notch 2 mm, 40 mm long"] = notched("copper", 2e-3, 40e-3)
    found["silver, narrow notch"] = notched("silver", 1e-3, 16e-3, 0.3e-3)
    found["copper wire, 0.3 mm, 20 mm"] = wire("copper", 0.3e-3, 20e-3)
    found["copper wire, 0.3 mm, 150 mm"] = wire("copper", 0.3e-3, 150e-3)
    found["aluminium wire, 0.1 mm, 60 mm"] = wire("aluminium", 0.1e-3, 60e-3)
    return found


def times(model: ft.FuseModel, current: float, cells: int) -> tuple[float, float]:
    """Onset and pre-arcing time [s]."""
    wave = ft.Waveform(time=[0.0, 1e5], current=[current, current])
    run = ft.simulate(model, wave, cells=cells, tolerance=TOLERANCE)
    return run.onset_time or math.nan, run.pre_arcing_time or math.nan


def main() -> None:
    """Print one table a model."""
    for name, model in models().items():
        least = ft.minimum_fusing_current(model, cells=CELLS[-1])
        usual = cells_for(model)
        print(f"\n**{name}**; {usual} cells by default, minimum fusing current {least:.4g} A\n")
        print("| multiple | time | " + " | ".join(f"{n}" for n in (*CELLS[:-1], "default")) + " |")
        print("|---" * (len(CELLS) + 2) + "|")
        for multiple in MULTIPLES:
            table = [times(model, multiple * least, n) for n in (*CELLS, usual)]
            for i, kind in enumerate(("onset", "opening")):
                fine = table[len(CELLS) - 1][i]
                errors = [row[i] / fine - 1.0 for row in (*table[: len(CELLS) - 1], table[-1])]
                shown = " | ".join(f"{100 * e:.2g} %" for e in errors)
                print(f"| {multiple:g} | {kind}, {fine:.4g} s | {shown} |", flush=True)


if __name__ == "__main__":
    main()
