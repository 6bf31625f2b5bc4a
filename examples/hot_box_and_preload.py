"""
Hot box and load before
=======================

What changes when the fuse box sits at 85 °C, or a load has been on for an hour?

A pulse of 125 A for 25 ms meets the 40 A fuse cold, hot, and after an hour at 25 A: the
factor on the current at which it begins to melt.
"""

import fusetherm as ft
from fusetherm.show.plots import plot_curve

fuse = ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"])
fit = ft.calibrate(fuse)
pulse = ft.Waveform(time=[0, 0, 0.025, 0.025], current=[0, 125, 125, 0])
hour = ft.Waveform(time=[0, 3600], current=[25, 25])

factors = {}
for ambient_c in (23.0, 85.0):
    warm = ft.simulate(fit.installed, hour, ambient_c=ambient_c).final_state
    for name, start in (("from cold", None), ("after an hour at 25 A", warm)):
        near = ft.margin(fit, pulse, ambient_c=ambient_c, start=start, duration=False)
        factors[ambient_c, name] = near.current_factor
        print(
            f"{ambient_c:4.0f} °C {name:22}: {near.current_factor:5.2f} times the current "
            f"({near.current_low:.2f} to {near.current_high:.2f})"
        )

# the pulse, far below the curves of both ambients
figure = plot_curve(ft.time_current_curve(fit, ambient_c=[23, 85]), fuse, pulse)

assert factors[85.0, "from cold"] < factors[23.0, "from cold"]
assert factors[85.0, "after an hour at 25 A"] < factors[85.0, "from cold"]
