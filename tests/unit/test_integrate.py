"""Blocks, ambient, balances and refusals of the integrators' face."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fusetherm import FuseModel, InputError, Waveform, metal, round_wire
from fusetherm.fuse.model import Blade, Side, Surroundings
from fusetherm.solver import walk
from fusetherm.solver.integrate import (
    INTEGRATORS,
    Ambient,
    ConstantBlock,
    Solution,
    integrate,
)
from fusetherm.solver.network import build_network
from fusetherm.solver.pieces import table_of

AMBIENT = Ambient(np.array([0.0]), np.array([296.15]))
NET = build_network(
    FuseModel(
        round_wire(metal("copper"), 0.3e-3, 20e-3),
        right=Side(Blade(0.2, 0.02)),
        surroundings=Surroundings(20.0),
    ),
    ambient_k=296.15,
    cells=16,
)


def solved(current: float = 15.0, until: float = 5.0, **options: object) -> Solution:
    arguments = {"tolerance": 1e-5, "integrator": "rodas3"} | options
    return integrate(
        NET, iter((ConstantBlock(current**2, until, 0.0),)), NET.state(296.15), AMBIENT,
        until=until, **arguments,  # type: ignore[arg-type]
    )  # fmt: skip


def test_moments_of_a_block() -> None:
    block = next(iter(Waveform(time=[0.0, 1.0, 3.0], current=[0.0, 2.0, 2.0]).blocks()))
    _, whole, about = table_of(block)
    assert whole == pytest.approx(4.0 / 3.0 + 8.0)
    assert about == pytest.approx(1.0 + 16.0)


def test_constant_block_lies_where_it_says() -> None:
    block = ConstantBlock(9.0, 2.0, 1.0)
    assert table_of(block)[1:] == (18.0, 18.0)
    assert (block.start, block.repeats) == (1.0, 1)


def test_ambient_in_straight_pieces() -> None:
    ambient = Ambient(np.array([1.0, 3.0]), np.array([300.0, 320.0]))
    assert list(ambient.pieces(0.0, 4.0)) == [
        (1.0, 300.0, 0.0),
        (3.0, 300.0, 10.0),
        (4.0, 320.0, 0.0),
    ]
    assert list(ambient.pieces(2.0, 2.5)) == [(2.5, 310.0, 10.0)]
    assert ambient.first_k == 300.0


@pytest.mark.parametrize("integrator", INTEGRATORS)
def test_every_integrator_gives_the_whole_solution(integrator: str) -> None:
    ours, other = solved(), solved(integrator=integrator, tolerance=1e-6)
    assert other.end_time == pytest.approx(5.0)
    assert other.peak_k == pytest.approx(ours.peak_k, abs=0.05)
    assert other.joule == pytest.approx(ours.joule, rel=1e-4)
    assert other.lost == pytest.approx(ours.lost, rel=1e-3)
    assert other.action == pytest.approx(15.0**2 * 5.0, rel=1e-12)
    assert other.conservation < 1e-9
    assert other.electrical_balance < 1e-4
    assert other.trace.shape[1] == 5 + len(other.watched)
    assert np.all(np.diff(other.trace[:, 0]) > 0.0)
    assert other.onset_time is None


def test_balances_notice_heat_that_is_missing() -> None:
    good = solved()
    wrong = replace(good, lost=good.lost + 1e-3 * (good.joule + good.stored))
    assert wrong.conservation == pytest.approx(1e-3, rel=1e-6)
    assert wrong.electrical_balance == pytest.approx(1e-3, rel=0.1)
    # where nothing is made the denominator is a millikelvin in every node
    idle = replace(good, joule=0.0, electric=0.0, stored=0.0, lost=1e-3 * good.heat_capacity)
    assert idle.conservation == pytest.approx(1.0)
    assert idle.heat_capacity == pytest.approx(NET.heat_capacity.sum())


def test_goes_on_through_budgets_and_full_traces(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = solved(until=20.0)
    monkeypatch.setattr(walk, "STEP_BUDGET", 7)
    monkeypatch.setattr(walk, "TRACE_ROWS", 5)
    seen: list[float] = []
    parts = solved(until=20.0, progress=seen.append)
    assert len(seen) > 4
    assert seen == sorted(seen)
    assert np.array_equal(parts.state, whole.state)
    # the first row's I² is not a number: no step has ended yet
    assert np.array_equal(parts.trace, whole.trace, equal_nan=True)


def test_refusals() -> None:
    with pytest.raises(InputError, match="euler") as caught:
        solved(integrator="euler")
    assert caught.value.code == "unknown-integrator"
    for tolerance in (0.0, -1e-4, 1.0, float("nan")):
        with pytest.raises(InputError, match="tolerance"):
            solved(tolerance=tolerance)


def test_the_reference_path_refuses_very_many_segments(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fusetherm.solver.reference.SEGMENTS", 100)
    wave = Waveform(time=[0.0, 1e-5, 1e-5, 2e-5], current=[5.0, 5.0, 0.0, 0.0]).repeated(1_000_000)
    with pytest.raises(InputError, match="segments"):
        integrate(
            NET, iter(wave.blocks()), NET.state(296.15), AMBIENT, until=20.0, tolerance=1e-2,
            integrator="LSODA",
        )  # fmt: skip


def test_a_million_chopped_periods_take_few_steps() -> None:
    wave = Waveform(time=[0.0, 1e-5, 1e-5, 2e-5], current=[21.0, 21.0, 0.0, 0.0]).repeated(250_000)
    chopped = integrate(
        NET, iter(wave.blocks()), NET.state(296.15), AMBIENT, until=5.0, tolerance=1e-5,
        integrator="rodas3",
    )  # fmt: skip
    even = solved(current=21.0 / 2.0**0.5)
    assert chopped.steps < 3 * even.steps
    assert chopped.peak_k == pytest.approx(even.peak_k, abs=0.1)
    assert chopped.action == pytest.approx(even.action, rel=1e-12)
