"""Subjects: a bare model, or a calibration in one of its connections."""

from __future__ import annotations

from typing import Any

import pytest

from fusetherm.answers.subject import (
    NO_BAND,
    cells_of,
    model_of,
    refuse_molten,
    subject_notes,
)
from fusetherm.errors import InputError
from fusetherm.fuse.element import CELLS


def test_a_model_is_what_it_is(published: Any) -> None:
    model = published.truth
    assert model_of(model, "installed") is model_of(model, "test") is model
    assert cells_of(model) == CELLS
    assert subject_notes(model) == (NO_BAND,)


def test_a_calibration_has_two_connections(fitted: Any) -> None:
    assert model_of(fitted) == fitted.installed
    assert model_of(fitted, "test") == fitted.model != fitted.installed
    assert subject_notes(fitted) == fitted.notes


def test_molten_ambients_are_refused(published: Any) -> None:
    melting_c = published.truth.element.metal.solidus_k - 273.15
    refuse_molten(published.truth, melting_c - 0.1)
    with pytest.raises(InputError, match="ambient-above-melting"):
        refuse_molten(published.truth, melting_c)
    with pytest.raises(InputError, match=r"450 looks like kelvin; .* 176\.85"):
        refuse_molten(published.truth, 450.0)
    with pytest.raises(InputError, match="below-absolute-zero"):
        refuse_molten(published.truth, -300.0)
