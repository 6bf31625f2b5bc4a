"""ngspice on the network: heat as current, the state u as voltage, properties as `pwl` tables.

Tables against u with straight lines between points are what a behavioural source offers; with
points `KNOT` kelvins apart the onset moves by less than a millionth. It runs as a process of its
own; reading the circuit and starting up are taken off its time.
"""

from __future__ import annotations

import resource
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from fusetherm.solver.kernels import layout as at
from fusetherm.solver.kernels.events import hottest
from fusetherm.solver.kernels.material import conductivity_of_metal, state_of_metal
from fusetherm.solver.network import Network

Floats = npt.NDArray[np.float64]

#: Spacing of the tables' points [K].
KNOT = 4.0
#: Analyses timed in one process.
REPEATS = 5


def missing() -> str:
    """Why it cannot run here; empty when it can."""
    return "" if shutil.which("ngspice") else "ngspice is not installed"


def netlist(network: Network, squared: float, start: Floats) -> list[str]:
    """Cards of the network under a constant I² [A²], without analysis.

    Raises
    ------
    ValueError
        For what these cards cannot say.
    """
    a = network.arrays
    node, kind, n = a.node, a.kind, network.chain
    unsaid = (at.FILM_AREA, at.END_SHAPE, at.TO_PREVIOUS, at.TO_SHARED)
    if np.any(node[list(unsaid)]) or network.shared > 1 or len(a.spots):
        raise ValueError("films, held ends, shells, spots or several bodies")
    ambient = network.ambient_k
    solidus = float(network.metal.scalars[at.U_SOLIDUS])
    u = np.append(np.arange(solidus - 440.0, solidus - 0.5 * KNOT, KNOT), solidus)
    states = np.array([state_of_metal(x, a.table[0], a.metal[0]) for x in u])
    k = np.array([conductivity_of_metal(x, a.table[0], a.metal[0])[0] for x in u])

    def pwl(values: Floats, i: int) -> str:
        pairs = ",".join(f"{x:.10g},{y:.10g}" for x, y in zip(u, values, strict=True))
        # the last line goes on beyond the solidus: u is read off there
        slope = (values[-1] - values[-2]) / (u[-1] - u[-2])
        return f"pwl(V(u{i}),{pairs},{u[-1] + 50.0:.10g},{values[-1] + 50.0 * slope:.10g})"

    def kelvin(i: int) -> str:
        return pwl(states[:, 0], i) if kind[at.MATERIAL, i] >= 0 else f"V(u{i})"

    cards = []
    for i in range(network.size):
        cards.append(f"C{i} u{i} 0 {1.0 / node[at.INVERSE_CAPACITY, i]:.12g} ic={start[i]:.12g}")
        heat = []
        if kind[at.MATERIAL, i] >= 0:
            heat.append(f"{squared * node[at.SHAPE, i]:.12g}*{pwl(states[:, 4], i)}")
        elif node[at.RESISTANCE, i] > 0.0:
            ohms, slope = node[at.RESISTANCE, i], node[at.RESISTANCE_SLOPE, i]
            heat.append(f"{squared * ohms:.12g}*(1+{slope:.12g}*(V(u{i})-293.15))")
        if node[at.TO_AMBIENT, i] > 0.0:
            heat.append(f"-{node[at.TO_AMBIENT, i]:.12g}*({kelvin(i)}-{ambient:.12g})")
        if node[at.RADIATION, i] > 0.0:
            heat.append(f"-{node[at.RADIATION, i]:.12g}*(({kelvin(i)})**4-{ambient**4:.12g})")
        if heat:
            cards.append(f"Bh{i} 0 u{i} I={'+'.join(heat)}".replace("+-", "-"))
        if i < n and network.shared:
            gas, grey = a.border[at.CONDUCTANCE, 0, i], a.border[at.RADIATIVE, 0, i]
            flow = [f"{gas:.12g}*({kelvin(i)}-V(u{n}))"] if gas > 0.0 else []
            if grey > 0.0:
                flow.append(f"{grey:.12g}*(({kelvin(i)})**4-V(u{n})**4)")
            if flow:
                cards.append(f"Bb{i} u{i} u{n} I={'+'.join(flow)}")
    for i in range(n - 1):
        link = kind[at.LINK_KIND, i]
        if link == at.KIRCHHOFF:
            theta = states[:, 2]
            cards.append(
                f"Bl{i} u{i} u{i + 1} I=({pwl(theta, i)}-{pwl(theta, i + 1)})"
                f"*{node[at.LINK_INVERSE, i]:.12g}"
            )
        elif link == at.SERIES:
            parts = [f"{node[at.LINK_RESISTANCE, i]:.12g}"]
            for j, row in ((i, at.LINK_LEFT), (i + 1, at.LINK_RIGHT)):
                if node[row, i] > 0.0:
                    metal = kind[at.MATERIAL, j] >= 0
                    parts.append(f"{node[row, i]:.12g}" + (f"/{pwl(k, j)}" if metal else ""))
            cards.append(f"Bl{i} u{i} u{i + 1} I=({kelvin(i)}-{kelvin(i + 1)})/({'+'.join(parts)})")
    return cards


class Circuit:
    """A network under a constant I² [A²] as ngspice takes it.

    Parameters
    ----------
    network : Network
    squared : float
        I² [A²].
    start : (N,) array
        State [K].
    hot : int
        Hottest node at the onset.
    """

    def __init__(self, network: Network, squared: float, start: Floats, hot: int) -> None:
        self.cards = netlist(network, squared, start)
        self.kept = [i for i in (hot - 1, hot, hot + 1) if 0 <= i < network.chain]
        self.place = np.ascontiguousarray(network.arrays.node[at.POSITION][self.kept])
        self.solidus = float(network.metal.scalars[at.U_SOLIDUS])

    def onset(self, until: float, relative: float, how: Mapping[str, Any]) -> float:
        """Time of the onset [s], nan when it is not reached.

        Parameters
        ----------
        until : time to stop [s]
        relative : ``reltol``; ``vntol`` is ``scale`` kelvins times that
        how : ``scale``, ``method``, ``maxord``, ``trtol``
        """
        rows = self._ran(until, relative, how, 0)
        if rows is None:
            return float("nan")
        time, states = rows[:, 0], rows[:, 1::2]
        last = len(self.kept) - 1
        tops = [hottest(np.ascontiguousarray(u), 0, last, self.place)[1] for u in states]
        over = np.array(tops) - self.solidus
        first = int(np.argmax(over > 0.0))
        if first == 0:
            return float("nan")
        return float(brentq(CubicSpline(time, over), time[first - 1], time[first]))

    def seconds(self, until: float, relative: float, how: Mapping[str, Any]) -> float:
        """Processor time of one analysis [s]: of a process with many less that of one with none."""
        used = []
        for repeats in (0, REPEATS):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            self._ran(until, relative, how, repeats)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            used.append(after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)
        return (used[1] - used[0]) / REPEATS

    def _ran(
        self, until: float, relative: float, how: Mapping[str, Any], repeats: int
    ) -> Floats | None:
        names = " ".join(f"v(u{i})" for i in self.kept)
        run = f"tran {until / 50:.12g} {until:.12g} 0 {until / 5:.12g} uic"
        again = [f"repeat {repeats}", run, "destroy", "end"] if repeats else []
        with tempfile.TemporaryDirectory() as folder:
            script, out = Path(folder) / "network.cir", Path(folder) / "out.data"
            text = [
                "* thermal network", *self.cards,
                f".options reltol={relative:g} vntol={how['scale'] * relative:g} abstol=1e-9 "
                f"chgtol=1e-16 method={how['method']} maxord={how['maxord']} "
                f"trtol={how['trtol']} itl4=50 gmin=1e-15",
                ".control", f"save {names}", run, "set wr_vecnames", "set numdgt=14",
                f"wrdata {out} {names}", *again, ".endc", ".end", "",
            ]  # fmt: skip
            script.write_text("\n".join(text), encoding="utf-8")
            subprocess.run(["ngspice", "-b", str(script)], capture_output=True, check=False)
            return np.loadtxt(out, skiprows=1) if out.exists() else None
