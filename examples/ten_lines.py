"""
Ten lines for a technician
==========================

Does the 40 A fuse of the workboat carry the inverter's inrush in a hot engine room?
"""

import fusetherm as ft
from fusetherm.show.plots import plot_capture

fuse = ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"])
fit = ft.calibrate(fuse)
inrush = ft.read_capture(
    ft.demo.captures()["inverter_switch_on"], clamp="10 mV/A", zero="0 s : 0.2 s"
)
verdict = ft.carry(fit, inrush, ambient_c=85)

print(verdict.verdict, *verdict.reasons, sep="\n  ")
for caution in verdict.cautions:
    print(caution)

figure = plot_capture(verdict)  # figure.savefig("inrush.png") keeps it

assert verdict.verdict == "carries"
assert verdict.margin is not None
assert verdict.margin.current_low > 3.0
