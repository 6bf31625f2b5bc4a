"""labelled.py: results as datasets, and datasets as files."""

from __future__ import annotations

import doctest
import json
from dataclasses import dataclass, field, fields
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from fusetherm import labelled
from fusetherm.errors import InputError, Note, WriteError
from fusetherm.labelled import described, description, to_dataset, write_netcdf


@dataclass(frozen=True)
class Result:
    """A result with every kind of field."""

    time: np.ndarray = field(metadata=described("time", "s", ("time",)))
    place: tuple[str, ...] = field(metadata=described("place", "", ("place",)))
    temperature_c: np.ndarray = field(metadata=described("temperature", "degC", ("time", "place")))
    opened: bool = field(metadata=described("whether it opened", "1"))
    onset_time: float | None = field(metadata=described("onset of melting", "s"))
    verdict: str = field(metadata=described("verdict", ""))
    steps: int = field(metadata=described("steps taken", "1"))
    notes: tuple[Note, ...] = ()
    model: object = None


def result(**changes: object) -> Result:
    values: dict[str, object] = {
        "time": np.array([0.0, 0.5, 2.0]),
        "place": ("element", "blade"),
        "temperature_c": np.array([[23.0, 23.0], [100.0, 30.0], [420.0, 35.0]]),
        "opened": True,
        "onset_time": None,
        "verdict": "opens",
        "steps": 17,
        "notes": (Note("odd", "It is odd."), Note("hot", "It is hot.")),
    }
    return Result(**{**values, **changes})


def test_docstring_examples() -> None:
    tried = doctest.testmod(labelled)
    assert tried.attempted > 0
    assert tried.failed == 0


def test_description_is_read_back() -> None:
    found = {entry.name: description(entry) for entry in fields(Result)}
    assert found["onset_time"] == labelled.Description("onset of melting", "s", ())
    assert found["model"] is None


def test_fields_become_variables_and_coordinates() -> None:
    dataset = to_dataset(result(), json.dumps({"ambient_C": 85}))
    assert set(dataset.coords) == {"time", "place"}
    assert set(dataset.data_vars) == {"temperature_c", "opened", "onset_time", "verdict", "steps"}
    assert dataset.temperature_c.sel(time=2.0, place="element").item() == 420.0
    assert dataset.temperature_c.attrs == {"long_name": "temperature", "units": "degC"}
    assert dataset.place.attrs == {"long_name": "place"}
    assert np.isnan(dataset.onset_time)
    assert dataset.attrs["kind"] == "Result"
    assert json.loads(dataset.attrs["configuration"]) == {"ambient_C": 85}
    assert dataset.attrs["notes"] == "odd: It is odd.\nhot: It is hot."
    assert "configuration" not in to_dataset(result()).attrs


@pytest.mark.parametrize("value", [3.0, Result, {"a": 1}])
def test_only_results_are_taken(value: object) -> None:
    with pytest.raises(InputError) as caught:
        to_dataset(value)
    assert caught.value.code == "not-a-result"


def test_configuration_must_be_json() -> None:
    with pytest.raises(InputError) as caught:
        to_dataset(result(), "{ambient: 85}")
    assert caught.value.code == "configuration-not-json"


def test_shape_must_be_as_described() -> None:
    with pytest.raises(InputError, match="temperature_c has 1 dim") as caught:
        to_dataset(result(temperature_c=np.zeros(3)))
    assert caught.value.code == "shape-not-described"


def test_file_gives_the_same_dataset_back(tmp_path: Path) -> None:
    dataset = to_dataset(result(), json.dumps({"ambient_C": 85}))
    path = write_netcdf(dataset, tmp_path / "run.nc")
    with xr.open_dataset(path, engine="h5netcdf") as again:
        xr.testing.assert_identical(again.load(), dataset)
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.nc"]


def test_existing_file_is_kept_unless_told(tmp_path: Path) -> None:
    path = write_netcdf(to_dataset(result()), tmp_path / "run.nc")
    other = to_dataset(result(steps=18))
    with pytest.raises(InputError) as caught:
        write_netcdf(other, path)
    assert caught.value.code == "output-exists"
    write_netcdf(other, path, replace=True)
    with xr.open_dataset(path, engine="h5netcdf") as again:
        assert again.steps.item() == 18


def test_links_are_refused(tmp_path: Path) -> None:
    (tmp_path / "link.nc").symlink_to(tmp_path / "behind.nc")
    with pytest.raises(InputError) as caught:
        write_netcdf(to_dataset(result()), tmp_path / "link.nc", replace=True)
    assert caught.value.code == "output-is-link"
    assert not (tmp_path / "behind.nc").exists()


@pytest.mark.parametrize("value", [{"a": 1}, [1.0, 2.0], None, True])
def test_attributes_are_texts_or_numbers(tmp_path: Path, value: object) -> None:
    dataset = to_dataset(result())
    dataset.temperature_c.attrs["extra"] = value
    with pytest.raises(InputError, match="temperature_c") as caught:
        write_netcdf(dataset, tmp_path / "run.nc")
    assert caught.value.code == "attribute-not-plain"
    assert list(tmp_path.iterdir()) == []


def test_file_that_reads_back_otherwise_is_not_put_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_netcdf(to_dataset(result()), tmp_path / "run.nc")
    kept = path.read_bytes()
    real = xr.Dataset.to_netcdf

    def lose_values(self: xr.Dataset, *args: object, **options: object) -> object:
        return real(self.assign(steps=self.steps * 0), *args, **options)

    monkeypatch.setattr(xr.Dataset, "to_netcdf", lose_values)
    with pytest.raises(WriteError) as caught:
        write_netcdf(to_dataset(result()), path, replace=True)
    assert caught.value.code == "write-not-verified"
    assert path.read_bytes() == kept
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.nc"]
