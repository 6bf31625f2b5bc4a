"""
What may flow for ever in hot air?
==================================

What does the 40 A fuse carry for ever at 85 °C, and by which criterion?
"""

import fusetherm as ft
from fusetherm.show.plots import plot_rerating

fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"]))
answer = ft.rerate(fit, ambient_c=[23, 60, 85])

for ambient_c, carried, why, melts in zip(
    answer.ambient_c,
    answer.continuous_current,
    answer.governs,
    answer.minimum_fusing_current,
    strict=True,
):
    print(
        f"{ambient_c:3.0f} °C: {carried:4.1f} A, by the {why}; melts in the end above {melts:.1f} A"
    )

figure = plot_rerating(ft.rerate(fit))

# what it carries falls much faster than what melts it, and the latter is no allowed load
carried, melts = answer.continuous_current, answer.minimum_fusing_current
assert carried[2] / carried[0] < 0.8 < melts[2] / melts[0]
