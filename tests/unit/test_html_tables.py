"""What a notebook shows of a definition, a fit and a run: short, and all names as text."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import pytest

from fusetherm import FuseModel, demo, load_fuse, metal, round_wire, simulate
from fusetherm.current.sampled import constant

HOSTILE = "<script>alert('&\"')</script>"


def cells(shown: Any) -> dict[str, str]:
    """Names and values of the table, which must be well-formed and of moderate length."""
    text = shown._repr_html_()
    assert len(text) < 2000
    assert "<script" not in text
    table = ElementTree.fromstring(text)
    rows = table.findall("tr")
    return {str(row.findtext("th")): str(row.findtext("td")) for row in rows} | {
        "caption": str(table.findtext("caption"))
    }


def test_a_definition() -> None:
    fuse = load_fuse(demo.definitions()["inverter_feed_40A"])
    found = cells(fuse)
    assert found["fuse"] == fuse.id
    assert found["rated current"] == "40 A"
    assert fuse.curve is not None
    assert found["curve"] == f"{len(fuse.curve.points)} points"
    assert cells(replace(fuse, id=HOSTILE, title=None, family=HOSTILE))["caption"] == HOSTILE


@pytest.mark.parametrize("current", [1.0, 40.0])
def test_a_run(current: float) -> None:
    model = FuseModel(round_wire(metal("copper"), 0.3e-3, 20e-3), name=HOSTILE)
    run = simulate(model, constant(current, 30.0), ambient_c=23.0)
    found = cells(run)
    assert found["caption"] == HOSTILE
    assert found["ambient"] == "23 °C"
    assert (found["parts"] == "never") is not run.opened


def test_a_fit(fitted: Any) -> None:
    found = cells(fitted)
    assert found["fitted fuse"] == fitted.definition.id
    assert found["published numbers"] == str(len(fitted.residuals))
    hostile = replace(fitted, definition=replace(fitted.definition, title=HOSTILE))
    assert cells(hostile)["caption"] == HOSTILE
