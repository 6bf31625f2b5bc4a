"""
Two fuses in series
===================

Does the bilge pump's fuse open alone, with the inverter's 40 A fuse before it?
"""

import fusetherm as ft
from fusetherm.show.plots_selectivity import plot_selectivity

main, branch = (
    ft.calibrate(ft.load_fuse(ft.demo.definitions()[name]))
    for name in ("inverter_feed_40A", "bilge_pump_10A")
)
found = ft.selectivity(main, branch, prospective=300.0, arcing_allowance=2.0)

print(f"{found.downstream} under {found.upstream}: {found.verdict}")
for current, late, early in list(
    zip(found.current, found.downstream_late, found.upstream_early, strict=True)
)[::8]:
    print(
        f"{current:5.0f} A: the branch is open by {late:8.3g} s, the main melts from {early:8.3g} s"
    )

figure = plot_selectivity(found)

both = found.upstream_early > 0.0  # nan where the main fuse never melts
assert found.verdict == "selective"
assert (found.downstream_late < found.upstream_early)[both].all()
# the shortest time in which the branch is sure to be open
assert 1e-3 < found.downstream_late[-1] < 1e-2
