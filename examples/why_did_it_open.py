"""
Why did it open?
================

Why did the bilge pump's fuse open: load, start, hot box or a worn contact?
"""

import fusetherm as ft
from fusetherm.show.plots_explain import plot_explanation

fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()["bilge_pump_10A"]))
stuck = ft.read_capture(ft.demo.captures()["stuck_pump"], clamp="100 mV/A", zero="-0.5 s : -0.05 s")
found = ft.explain(fit, stuck, ambient_c=60, outdoor_c=25, contacts=(2e-3, None))

print(f"{found.verdict.verdict}: {found.temperature_c:.0f} °C at {found.time:.3g} s, of which")
for cause in found.causes:
    print(f"  {cause.rise:6.1f} K  {cause.name}")

figure = plot_explanation(found)

assert found.verdict.verdict == "opens"
assert abs(sum(cause.rise for cause in found.causes) - found.rise) < 1e-6
