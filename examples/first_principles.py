"""
From first principles
=====================

A fuse from its drawing alone: no curve, no calibration.

A copper wire between two terminals, and how its minimum fusing current falls with length
towards that of a long wire in still air.
"""

from matplotlib.figure import Figure

import fusetherm as ft
from fusetherm.fuse.model import Blade, Side, Surroundings

copper = ft.metal("copper")
terminal = Side(blade=Blade(heat_capacity=2.0, to_ambient=0.05))
air = Surroundings(natural_convection=True, emissivity=copper.emissivity_oxidised)

LENGTHS = (10e-3, 20e-3, 50e-3, 100e-3, 200e-3)
least = []
for length in LENGTHS:
    wire = ft.round_wire(copper, diameter=0.2e-3, length=length)
    model = ft.FuseModel(wire, left=terminal, right=terminal, surroundings=air)
    least.append(ft.minimum_fusing_current(model, ambient_c=20))
    print(f"{1e3 * length:4.0f} mm of 0.2 mm copper wire: melts from {least[-1]:.2f} A")

figure = Figure(figsize=(6.4, 4.0), layout="constrained")
ax = figure.subplots()
ax.plot([1e3 * length for length in LENGTHS], least, "o-", color="black")
ax.axhline(7.16, color="black", ls=":")
ax.annotate("long wire, Preece's law", (200, 7.16), ha="right", va="top")
ax.set(xlabel="length (mm)", ylabel="minimum fusing current (A)", ylim=(0, None))

assert least == sorted(least, reverse=True)
# A long oxidised wire of this size in still air: 7.2 A by Preece's law, 40 % either way.
assert 0.6 * 7.16 < least[-1] < 1.4 * 7.16
