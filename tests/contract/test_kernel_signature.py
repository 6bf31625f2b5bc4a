"""Each kernel that Python calls is compiled once: another type would cost seconds at first use."""

import fusetherm as ft
from fusetherm.fuse.model import Body
from fusetherm.solver.kernels.advance import advance
from fusetherm.solver.kernels.steady import steady


def test_one_signature_each() -> None:
    metal = ft.metal("zinc")
    bare = ft.FuseModel(ft.round_wire(metal, 0.5e-3, 10e-3))
    strip = ft.Section(4e-3, 2e-3, 0.3e-3)
    housed = ft.FuseModel(ft.Element(metal, [strip]), body=Body())
    wave = ft.Waveform(time=[0, 0, 0.01, 0.01], current=[0, 20, 20, 0])
    for model in (bare, housed):
        for waveform in (wave, wave.repeated(3, period=0.1), wave + 1.0):
            for integrator in ("rodas3", "rodas4"):
                ft.simulate(model, waveform, integrator=integrator, until=0.5)
        ft.simulate(model, wave, ambient_c=[(0.0, 20.0), (1.0, 30.0)])
        ft.steady_state(model, 5.0)
    for kernel in (advance, steady):
        assert len(kernel.called_with) == 1
