"""
A million units on a cluster
============================

How many fuses of a kind begin to melt when the inrush is larger than measured?

Each unit is built a little differently (production) and belongs to another draw of the fit
(knowledge). Forty units take seconds; ``--units 1000000`` takes an hour or two of one core, and
``--scheduler tcp://...`` shares it out on a dask cluster. With ``--out FOLDER`` the run goes on
wherever it was cut off.
"""

import argparse

import numpy as np
from matplotlib.figure import Figure

import fusetherm as ft

options = argparse.ArgumentParser()
options.add_argument("--units", type=int, default=40)
options.add_argument("--scheduler", help="address of a dask scheduler")
options.add_argument("--out", help="folder of the run")
asked = options.parse_args()

FACTORS = (1.0, 6.0, 7.0, 8.0, 9.0, 12.0)
fit = ft.calibrate(ft.load_fuse(ft.demo.definitions()["inverter_feed_40A"]))
pulse = ft.Waveform(time=[0, 0, 0.025, 0.025], current=[0, 125, 125, 0])

units = list(range(asked.units))
found = ft.sweep(
    {"feed": fit},
    {"pulse": pulse},
    factors=[factor for factor in FACTORS for _ in units],
    ambients_c=85,
    units=units * len(FACTORS),
    draws=[k % 32 for k in units] * len(FACTORS),
    pairing="list",
    seed=1,
    workers=0 if asked.units < 1000 else None,
    client=asked.scheduler,
    out=asked.out,
    most_rows=len(units) * len(FACTORS),
)
assert found.sizes["failure"] == 0

melted = np.isin(found.status.values.reshape(len(FACTORS), -1), (2, 3))
shares = melted.mean(axis=1)
for factor, share in zip(FACTORS, shares, strict=True):
    print(f"{factor:4.0f} times the pulse: {share:6.1%} of {asked.units} units melt")

figure = Figure(figsize=(6.4, 4.0), layout="constrained")
ax = figure.subplots()
ax.plot(FACTORS, 100.0 * shares, "o-", color="black")
ax.set(xlabel="times the pulse measured", ylabel=f"of {asked.units} units melt (%)")

# none of them at the pulse measured, all of them at twelve times as much
assert shares[0] == 0.0
assert shares[-1] == 1.0
assert (np.diff(shares) >= 0.0).all()
