"""The cautions stand once on each decision, whatever it is."""

from __future__ import annotations

import json
from typing import Any

import pytest

from fusetherm.answers.carry import carry
from fusetherm.answers.cautions import CAUTIONS
from fusetherm.current.sampled import constant


def test_they_say_what_they_must() -> None:
    text = " ".join(CAUTIONS)
    for word in ("new fuse", "not a certification", "conductor", "Melting is not clearing",
                 "licensed practice"):  # fmt: skip
        assert text.count(word) == 1, word
    assert all(sentence.endswith(".") for sentence in CAUTIONS)


@pytest.mark.parametrize("current", [0.0, 10.0, 400.0])
def test_once_on_each_verdict(fitted: Any, current: float) -> None:
    data = carry(fitted, constant(current, 5.0), ambient_c=23.0).to_json()
    text = json.dumps(data, ensure_ascii=False)
    for sentence in CAUTIONS:
        assert text.count(sentence) == 1
