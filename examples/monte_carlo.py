"""How many fuses of a kind begin to melt when the inrush is larger than measured?

Each unit is built a little differently (production) and belongs to another draw of the fit
(knowledge). Raise UNITS for the tail; with `out="folder"` the run goes on wherever it was cut off.
"""

import numpy as np

import fusetherm as ft

UNITS = 40  # a million take about 45 minutes of one core

fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"]))
pulse = ft.Waveform(time=[0, 0, 0.025, 0.025], current=[0, 125, 125, 0])

shares = {}
for factor in (1.0, 7.0, 12.0):
    found = ft.sweep(
        {"feed": fit},
        {"pulse": pulse},
        factors=factor,
        ambients_c=85,
        units=range(UNITS),
        draws=[k % 32 for k in range(UNITS)],
        pairing="list",
        seed=1,
        workers=0,
    )
    melted = np.isin(found.status, (2, 3))
    shares[factor] = float(melted.mean())
    print(f"{factor:.0f} times the pulse: {shares[factor]:6.1%} of {UNITS} units melt")
    assert found.sizes["failure"] == 0

assert shares[1.0] == 0.0
assert shares[1.0] <= shares[7.0] <= shares[12.0] == 1.0
