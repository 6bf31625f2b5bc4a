"""
How long does it last?
======================

How long does the bilge pump's fuse last, with the pump on every four minutes?

Without pulse tests of the fuse the law of wear has no scale of its own: lives rank duties, and
no years are told.
"""

import fusetherm as ft
from fusetherm.show.plots_endurance import plot_endurance

name = "bilge_pump_day"
fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()[ft.demo.DUTY_FUSES[name]]))
duty = ft.load_duty(ft.demo.duties()[name])
life = ft.endurance(fit, duty)

print(f"{name} on {fit.definition.id}: the hottest point swings by {life.swing:.0f} K")
for part in life.parts:
    print(
        f"  {part.name}: {part.count} times, {part.peak_c:.0f} °C, {part.share:.0%} of the damage"
    )
print(f"median {life.cycles:.3g} cycles, B10 {life.b10:.3g}")

figure = plot_endurance(life)

aged = ft.endurance(fit, duty, aged=True)
assert 20.0 < life.swing < 28.0
assert aged.cycles <= life.cycles
