"""
Reading a meter across a fuse
=============================

What does a millivolt meter across the fuse say of the current?
"""

import fusetherm as ft
from fusetherm.show.plots import plot_drop

fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"]))
table = ft.drop(fit, voltages=[0.010, 0.020, 0.040, 0.060, 0.080])

for volt, amp, low, high in zip(
    table.voltage, table.current, table.current_low, table.current_high, strict=True
):
    print(f"{1e3 * volt:5.1f} mV: {amp:5.1f} A (90 % of units: {low:.1f} to {high:.1f} A)")

figure = plot_drop(table)

# the definition publishes 81.7 mV at 40 A; a hot element drops more than a cold one would
assert abs(table.current[-1] - 40.0) < 2.0
assert table.current[-1] < 8.0 * table.current[0]
