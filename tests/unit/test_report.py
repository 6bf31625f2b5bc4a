"""The report of a fit, in words and as data."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

from fusetherm.calibration.fit import PRIOR_DOMINATED
from fusetherm.calibration.nuisances import NUISANCES
from fusetherm.calibration.report import report_data
from fusetherm.errors import Note
from fusetherm.written import percent


def test_words_name_every_observation_and_quantity(fitted: Any) -> None:
    text = fitted.report()
    for r in fitted.residuals:
        assert sum(line.startswith(r.label) for line in text.splitlines()) == 1
    for p in fitted.parameters:
        assert any(line.startswith(p.name) for line in text.splitlines())
    assert f"{percent(fitted.rms_current)} rms in current" in text
    assert f"from {fitted.draws.count} draws" in text
    assert "thickness 2.5 %" in text
    assert not re.search(r"\de[+-]\d", text), "no exponents"
    (left,) = (line for line in text.splitlines() if line.startswith("left to their priors"))
    for p in fitted.parameters:
        assert (p.name in left) == (p.prior_share > PRIOR_DOMINATED)


def test_words_carry_the_notes(fitted: Any) -> None:
    noted = replace(fitted, notes=(Note("some-code", "some remark"),))
    assert noted.report().endswith("note: some remark [some-code]")


def test_data_is_plain_and_whole(fitted: Any) -> None:
    data = json.loads(json.dumps(report_data(fitted), allow_nan=False))
    assert data["schema"] == "fusetherm/fit-report/1"
    assert [o["label"] for o in data["observations"]] == [r.label for r in fitted.residuals]
    by_name = {p["name"]: p for p in data["parameters"]}
    for p in fitted.parameters:
        one = by_name[p.name]
        assert (one["value"], one["value_low"], one["value_high"]) == (p.value, p.low, p.high)
    assert data["band"]["low"] < 1.0 < data["band"]["high"]
    assert [(n["name"], n["about"]) for n in data["nuisances"]] == [
        (n.name, n.about) for n in NUISANCES
    ]
