"""What holds for every run: monotone in current and ambient, blind to how a record is cut."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fusetherm import Element, FuseModel, Section, Waveform, metal, round_wire, simulate
from fusetherm.fuse.model import Blade, Body, Cable, Clip, Contact, Side, Surroundings
from fusetherm.solver.steady import minimum_fusing_current, steady_state

CELLS = 24
_SIDE = Side(Blade(0.4, 0.0, 0.1e-3), Contact(0.2e-3), Clip(), Cable(6e-6, cells=4))


def blade_fuse() -> FuseModel:
    sections = (
        Section(4e-3, 3e-3, 0.3e-3),
        Section(2e-3, 1e-3, 0.3e-3),
        Section(4e-3, 3e-3, 0.3e-3),
    )
    element = Element(metal("zinc"), sections)
    return FuseModel(element, Body(element_emissivity=0.1), _SIDE, _SIDE)


MODELS = (
    blade_fuse(),
    FuseModel(
        round_wire(metal("copper"), 0.3e-3, 20e-3),
        left=Side(Blade(0.2, 0.02)),
        surroundings=Surroundings(natural_convection=True, emissivity=0.3),
    ),
    FuseModel(
        Element(metal("silver"), (Section(6e-3, 2e-3, 0.1e-3, middle_width=0.6e-3),)),
        Body(),
        right=Side(Blade(0.3, 0.05)),
    ),
)
FUSING = tuple(minimum_fusing_current(m, ambient_c=23.0, cells=CELLS) for m in MODELS)
which = st.integers(0, len(MODELS) - 1)


@st.composite
def records(draw: st.DrawFn) -> Waveform:
    """Pulses and ramps up to 3 x, over .01 to 10 s, in shares of the minimum fusing current."""
    spans = draw(st.lists(st.floats(1e-3, 3.0), min_size=1, max_size=5))
    levels = draw(st.lists(st.floats(0.0, 3.0), min_size=2 * len(spans), max_size=2 * len(spans)))
    edges = [0.0, *itertools.accumulate(spans)]
    assume(sum(levels) > 0.5)
    time = [t for pair in itertools.pairwise(edges) for t in pair]
    return Waveform(time=time, current=levels)


def later(a: float | None, b: float | None, slack: float) -> bool:
    """Whether a does not come before b, within a relative slack."""
    if a is None:
        return True
    return b is not None and b <= a * (1.0 + slack)


@settings(max_examples=30)
@given(which, records(), st.floats(1.001, 1.5))
def test_more_current_never_opens_later(number: int, record: Waveform, factor: float) -> None:
    model, wave = MODELS[number], record.scaled(FUSING[number])
    less = simulate(model, wave, ambient_c=23.0, cells=CELLS)
    more = simulate(model, wave.scaled(factor), ambient_c=23.0, cells=CELLS)
    # slack: the default tolerance's error in time
    assert later(less.onset_time, more.onset_time, 2e-4)
    assert later(less.pre_arcing_time, more.pre_arcing_time, 2e-4)
    assert more.opened or more.peak_temperature_c >= less.peak_temperature_c - 0.3


@settings(max_examples=30)
@given(which, records(), st.floats(1.0, 60.0))
def test_a_hotter_ambient_never_opens_later(number: int, record: Waveform, hotter: float) -> None:
    model, wave = MODELS[number], record.scaled(FUSING[number])
    cold = simulate(model, wave, ambient_c=23.0, cells=CELLS)
    hot = simulate(model, wave, ambient_c=23.0 + hotter, cells=CELLS)
    assert later(cold.onset_time, hot.onset_time, 2e-4)
    assert later(cold.pre_arcing_time, hot.pre_arcing_time, 2e-4)


@settings(max_examples=30)
@given(which, records(), st.lists(st.floats(0.01, 0.99), min_size=1, max_size=6, unique=True))
def test_a_breakpoint_more_changes_nothing(
    number: int, record: Waveform, shares: list[float]
) -> None:
    model, wave = MODELS[number], record.scaled(FUSING[number])
    plain = simulate(model, wave, ambient_c=23.0, cells=CELLS, tolerance=1e-5)
    pieces = [0.0, *sorted(share * wave.duration for share in shares), wave.duration]
    parts = [wave.cut(a, b) for a, b in itertools.pairwise(pieces)]
    joined = parts[0]
    for part in parts[1:]:
        joined = joined.then(part)
    other = simulate(model, joined, ambient_c=23.0, cells=CELLS, tolerance=1e-5)
    assert plain.opened == other.opened or _on_the_edge(plain.peak_temperature_c, model)
    if plain.opened and other.opened:
        assert plain.pre_arcing_time == pytest.approx(other.pre_arcing_time, rel=1e-4)
    assert plain.peak_temperature_c == pytest.approx(other.peak_temperature_c, abs=0.1)


def _on_the_edge(peak_c: float, model: FuseModel) -> bool:
    return peak_c > model.element.metal.solidus_k - 273.15 - 0.1


@settings(max_examples=30)
@given(which, records(), st.floats(0.05, 0.95))
def test_a_split_record_equals_the_whole(number: int, record: Waveform, share: float) -> None:
    model, wave = MODELS[number], record.scaled(FUSING[number])
    at = share * wave.duration
    whole = simulate(model, wave, ambient_c=23.0, cells=CELLS, tolerance=1e-5)
    first = simulate(model, wave.cut(0.0, at), ambient_c=23.0, cells=CELLS, tolerance=1e-5)
    if first.opened:
        assert whole.pre_arcing_time == pytest.approx(first.pre_arcing_time, rel=1e-4)
        return
    second = simulate(
        model, wave.cut(at, wave.duration), ambient_c=23.0, cells=CELLS, tolerance=1e-5,
        start=first.final_state,
    )  # fmt: skip
    peak = max(first.peak_temperature_c, second.peak_temperature_c)
    assert peak == pytest.approx(whole.peak_temperature_c, abs=0.1)
    if whole.opened and second.opened:
        assert at + second.pre_arcing_time == pytest.approx(whole.pre_arcing_time, rel=1e-4)
    elif not whole.opened:
        assert np.max(np.abs(second.final_state.u - whole.final_state.u)) < 0.1


@settings(max_examples=20)
@given(which, st.floats(0.2, 0.98))
def test_a_steady_state_stays(number: int, share: float) -> None:
    model, current = MODELS[number], share * FUSING[number]
    steady = steady_state(model, current, ambient_c=23.0, cells=CELLS)
    assert steady is not None
    run = simulate(
        model, Waveform(time=[0.0, 1e3], current=[current] * 2), ambient_c=23.0, cells=CELLS,
        start=current,
    )  # fmt: skip
    assert np.max(np.abs(run.final_state.u - steady.state)) < 0.05
    assert math.isclose(run.peak_temperature_c, steady.peak_temperature_c, abs_tol=0.05)


@settings(max_examples=20)
@given(which, st.floats(-40.0, 125.0))
def test_without_current_nothing_happens(number: int, ambient_c: float) -> None:
    run = simulate(
        MODELS[number], Waveform(time=[0.0, 1e4], current=[0.0, 0.0]), ambient_c=ambient_c,
        cells=CELLS,
    )  # fmt: skip
    assert run.peak_temperature_c == pytest.approx(
        ambient_c, abs=1e-5
    )  # rounding of a rate over 1e4 s
    assert run.conservation <= 1e-9
