"""
Which wire does a fuse protect?
===============================

Which wire does the 40 A fuse of the workboat protect?

The inverter's feed, 4 m there and back, in the coldest place for the fuse and the hottest for
the wire: 6 mm² and 16 mm² of copper.
"""

import fusetherm as ft
from fusetherm.show.plots_conductor import plot_protection

fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"]))
circuit = ft.Circuit(
    strongest_voltage=29.0,
    strongest_resistance=0.035,
    weakest_voltage=21.0,
    weakest_resistance=0.060,
    length=4.0,
)
verdicts = {}
for square_mm in (16.0, 6.0):
    wire = ft.Wire(section=1e-6 * square_mm, insulation=ft.insulation("pvc-105"), bundle=2)
    found = ft.protect(
        fit, wire, fuse_ambient_c=-10, wire_ambient_c=50, circuit=circuit, arcing_allowance=2.0
    )
    verdicts[square_mm] = found.verdict
    print(f"{square_mm:g} mm²: {found.verdict}", *found.reasons, sep="\n  ")
print(*found.cautions, sep="\n")

figure = plot_protection(found)  # of the thinner wire

assert verdicts[6.0] == "not_protected"
assert verdicts[16.0] == "protected"
