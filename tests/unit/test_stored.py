"""The fit file: round trip, what makes it stale, damage, and the cache of fits."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fusetherm import compiled
from fusetherm.calibration import stored
from fusetherm.calibration.fit import Calibration
from fusetherm.calibration.stored import cached_fit, fit_or_definition, load_fit, save_fit
from fusetherm.errors import FileError, InputError
from fusetherm.fuse.definition import load_fuse


@pytest.fixture
def source(published: Any, tmp_path: Path) -> Path:
    path = tmp_path / "fuse.toml"
    path.write_text(published.definition.to_toml(), encoding="utf-8")
    return path


@pytest.fixture
def file(fitted: Calibration, source: Path, tmp_path: Path) -> Path:
    fit = replace(fitted, definition=load_fuse(source))
    return save_fit(fit, tmp_path / "fuse.fit.json")


def refused(file: Path) -> str:
    with pytest.raises(FileError) as caught:
        load_fit(file)
    assert caught.value.path == str(file)
    assert caught.value.mend
    return caught.value.code


def changed(file: Path, change: Callable[[dict[str, Any]], object]) -> str:
    content = json.loads(file.read_text(encoding="utf-8"))
    change(content)
    file.write_text(json.dumps(content), encoding="utf-8")
    return refused(file)


def test_round_trip(fitted: Calibration, file: Path) -> None:
    back = load_fit(file)
    assert back.definition == fitted.definition
    assert back.family.family_hash == fitted.family.family_hash
    assert np.array_equal(back.scores, fitted.scores)
    assert np.array_equal(back.covariance, fitted.covariance)
    assert (back.residuals, back.priors, back.notes) == (
        fitted.residuals, fitted.priors, fitted.notes,
    )  # fmt: skip
    assert (back.cells, back.contact, back.model) == (fitted.cells, "new", fitted.model)
    content = json.loads(file.read_text(encoding="utf-8"), parse_constant=pytest.fail)
    assert content["schema"] == "fusetherm/fit/2"
    assert content["parameters"]["lateral_loss"]["unit"] == "W/(m K)"


def test_an_existing_file_is_kept(fitted: Calibration, file: Path) -> None:
    before = file.read_bytes()
    with pytest.raises((InputError, OSError), match="output-exists"):
        save_fit(fitted, file)
    assert file.read_bytes() == before
    save_fit(fitted, file, replace=True)


def test_a_changed_definition_makes_it_stale(file: Path, source: Path) -> None:
    source.write_text("# a remark changes nothing\n" + source.read_text())
    load_fit(file)
    source.write_text(source.read_text().replace("rated_voltage_V = 32", "rated_voltage_V = 58"))
    assert refused(file) == "fit-stale"
    source.write_text("not toml at all")
    assert refused(file) == "fit-stale"
    source.unlink()
    load_fit(file)  # a fit file may travel alone


def moved_beside(file: Path, source: Path, folder: Path) -> Path:
    """Fit and definition in sibling folders, the fit written there."""
    fit = replace(load_fit(file), definition=load_fuse(source))
    folder.mkdir()
    return save_fit(fit, folder / "fuse.fit.json")


def test_the_definition_is_found_from_the_fit_file(
    file: Path, source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    beside = moved_beside(file, source, tmp_path / "fits")
    for one, written in ((file, "fuse.toml"), (beside, "../fuse.toml")):
        text = one.read_text(encoding="utf-8")
        assert json.loads(text)["definition_path"] == written
        assert str(tmp_path) not in text
    source.write_text(source.read_text().replace("rated_voltage_V = 32", "rated_voltage_V = 58"))
    monkeypatch.chdir(tmp_path / "fits")  # wherever it is read from
    assert refused(file) == refused(beside) == refused(Path("fuse.fit.json")) == "fit-stale"


def test_fit_and_definition_may_move_together(file: Path, source: Path, tmp_path: Path) -> None:
    there = tmp_path / "elsewhere"
    there.mkdir()
    for one in (file, source):
        one.rename(there / one.name)
    assert load_fit(there / file.name).definition.path == str(there / source.name)
    moved = there / source.name
    moved.write_text(moved.read_text().replace("rated_voltage_V = 32", "rated_voltage_V = 58"))
    assert refused(there / file.name) == "fit-stale"


def test_with_no_folder_in_common_the_name_alone_is_kept(fitted: Calibration) -> None:
    fit = replace(fitted, definition=replace(fitted.definition, path="/fuses/fuse.toml"))
    assert json.loads(stored.fit_text(fit, "/fits"))["definition_path"] == "fuse.toml"


def test_a_fit_file_with_the_whole_path_is_still_read(file: Path, source: Path) -> None:
    content = json.loads(file.read_text(encoding="utf-8"))
    content["definition_path"] = str(source)
    file.write_text(json.dumps(content), encoding="utf-8")
    assert load_fit(file).definition.path == str(source)
    source.write_text(source.read_text().replace("rated_voltage_V = 32", "rated_voltage_V = 58"))
    assert refused(file) == "fit-stale"


@pytest.mark.parametrize(
    ("key", "value", "code"),
    [
        ("definition_path", 5, "fit-unreadable"),
        ("family_hash", "0" * 64, "fit-stale"),
        ("definition_hash", "0" * 64, "fit-stale"),
        ("model_version", 0, "fit-stale"),
        ("schema", "fusetherm/fit/99", "fit-too-new"),
        ("schema", "fusetherm/carry/1", "fit-unreadable"),
        ("schema", 5, "fit-unreadable"),
        ("covariance", [[1.0]], "fit-unreadable"),
        ("definition", 5, "fit-unreadable"),
        ("contact", "bent", "fit-unreadable"),
        ("cells", None, "fit-unreadable"),
        ("residuals", [{"kind": "time"}], "fit-unreadable"),
        ("parameters", {}, "fit-unreadable"),
    ],
)
def test_what_is_no_longer_true_or_damaged_is_refused(
    file: Path, key: str, value: Any, code: str
) -> None:
    assert changed(file, lambda content: content.__setitem__(key, value)) == code


def test_scores_that_are_no_numbers_are_refused(file: Path) -> None:
    for bad in (float("nan"), "much", None):
        score = {"value": 1.0, "unit": "1", "score": bad}
        assert changed(
            file, lambda content, s=score: content["parameters"].__setitem__("lateral_loss", s)
        ) == "fit-unreadable"  # fmt: skip


@pytest.mark.parametrize("cut", [0, 1, 100, -3])
def test_a_truncated_file_is_refused(file: Path, cut: int) -> None:
    file.write_bytes(file.read_bytes()[:cut])
    assert refused(file) == "fit-unreadable"


def test_no_file_at_all(tmp_path: Path) -> None:
    assert refused(tmp_path / "none.fit.json") == "file-missing"


# the cache ---------------------------------------------------------------------------------


class Fits:
    """Counts the fits made."""

    def __init__(self, fit: Calibration, monkeypatch: pytest.MonkeyPatch) -> None:
        self.made = 0
        self.fit = fit
        monkeypatch.setattr(stored, "calibrate", self)

    def __call__(self, definition: Any, contact: Any = "new") -> Calibration:
        self.made += 1
        return replace(self.fit, definition=definition, contact=contact)


@pytest.fixture
def fits(fitted: Calibration, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Fits:
    monkeypatch.setattr(compiled, "cache_folder", lambda: tmp_path / "cache")
    return Fits(fitted, monkeypatch)


def test_a_second_question_takes_the_fit_from_the_cache(fits: Fits, source: Path) -> None:
    first, second = fit_or_definition(source), fit_or_definition(source)
    assert fits.made == 1
    assert np.array_equal(first.scores, second.scores)
    assert second.model == first.model
    fit_or_definition(source, contact="worn")
    assert fits.made == 2


def test_the_same_fuse_from_another_file(fits: Fits, source: Path, tmp_path: Path) -> None:
    fit_or_definition(source)
    other = tmp_path / "other.toml"
    other.write_text(source.read_text())
    assert fit_or_definition(other).definition.path == str(other)
    assert fits.made == 1


def test_a_family_beside_the_definition_is_found_from_the_cache(
    fits: Fits, fitted: Calibration, source: Path
) -> None:
    family = files("fusetherm.fuse") / "families" / "zinc-strip.toml"
    (source.parent / "mine.toml").write_text(family.read_text())
    source.write_text(source.read_text().replace('"zinc-strip"', '"mine.toml"'))
    fit_or_definition(source)
    assert fit_or_definition(source).family.family_hash == fitted.family.family_hash
    assert fits.made == 1


def test_a_damaged_entry_is_made_again(fits: Fits, source: Path, tmp_path: Path) -> None:
    fit_or_definition(source)
    (entry,) = (tmp_path / "cache" / "fits").iterdir()
    assert json.loads(entry.read_text(encoding="utf-8"))["definition_path"] == ""
    entry.write_text("{")
    fit_or_definition(source)
    assert fits.made == 2
    load_fit(entry)


def test_a_changed_model_is_fitted_anew(
    fits: Fits, source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fit_or_definition(source)
    monkeypatch.setattr(stored, "_makers_hash", lambda: "other sources")
    fit_or_definition(source)
    assert fits.made == 2


def test_a_cache_that_cannot_be_written_withholds_nothing(
    fits: Fits, source: Path, tmp_path: Path
) -> None:
    (tmp_path / "cache").write_text("a file where a folder belongs")
    assert fit_or_definition(source).definition.id == "known-40A"
    assert fits.made == 1


def test_the_cache_can_be_switched_off(
    fitted: Calibration, published: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    fits = Fits(fitted, monkeypatch)
    monkeypatch.setenv("FUSETHERM_CACHE", "off")
    compiled.cache_folder.cache_clear()
    try:
        cached_fit(published.definition)
        cached_fit(published.definition)
    finally:
        compiled.cache_folder.cache_clear()
    assert fits.made == 2


def test_unknown_state_of_contacts(published: Any) -> None:
    with pytest.raises(InputError, match="unknown-contact"):
        cached_fit(published.definition, "bent")


def test_a_fit_file_is_taken_as_it_is(file: Path, fitted: Calibration) -> None:
    assert np.array_equal(fit_or_definition(file).scores, fitted.scores)
