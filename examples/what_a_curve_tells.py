"""
What does a curve tell, and what would one more number buy?
===========================================================

A fit knows some products of its quantities well and most quantities hardly. Which datum to ask
the maker for depends on the question.
"""

import fusetherm as ft
from fusetherm.calibration.diagnosis import question
from fusetherm.show.plots_fit import plot_fit

fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"]))
print(f"the curve is met to {fit.rms_current:.2%} in current")

best = {}
for asked in ("inrush", "fusing"):
    best[asked] = fit.worth(question(fit, asked))[0]
    print(f"{asked}: {best[asked].datum} takes {best[asked].shrinkage:.1%} off the band")

figure = plot_fit(fit)

assert fit.rms_current < 0.01
assert best["inrush"].datum.startswith("melting I²t")
assert best["inrush"].shrinkage > 0.2 > best["fusing"].shrinkage
