"""Labelled results: the one place that imports xarray.

A result is a frozen dataclass whose fields say what they are with :func:`described`;
:func:`to_dataset` turns any of them into an :class:`xarray.Dataset`, and
:func:`write_netcdf` keeps that in a file which re-opens and can be run again. xarray is
loaded within these functions only.

Examples
--------
>>> from dataclasses import dataclass, field
>>> @dataclass(frozen=True)
... class Trace:
...     time: tuple[float, ...] = field(metadata=described("time", "s", ("time",)))
...     current: tuple[float, ...] = field(metadata=described("current", "A", ("time",)))
>>> dataset = to_dataset(Trace((0.0, 1.0), (0.0, 20.0)))
>>> dataset.current.attrs["units"], dataset.current.dims
('A', ('time',))
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Hashable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from .errors import FileError, InputError, Note
from .files import check_output, publish

if TYPE_CHECKING:
    from xarray import DataArray
    from xarray import Dataset as Dataset

_KEY = "fusetherm"


@dataclasses.dataclass(frozen=True, slots=True)
class Description:
    """What a field of a result is.

    Parameters
    ----------
    long_name : str
        Full noun for axes and tables.
    units : str
        Unit in CF style, ``"1"`` for a plain number, ``""`` for a text.
    dims : tuple of str
        Dimensions; a field whose only dimension bears its own name is a coordinate.
    """

    long_name: str
    units: str
    dims: tuple[str, ...] = ()


def described(long_name: str, units: str, dims: tuple[str, ...] = ()) -> dict[str, Description]:
    """Metadata that makes a dataclass field a variable: ``field(metadata=described(...))``.

    Parameters
    ----------
    long_name : str
        Full noun, such as ``"temperature of the hottest point"``.
    units : str
        Unit in CF style: ``"A"``, ``"s"``, ``"degC"``, ``"A2 s"``, ``"1"`` for a plain
        number, ``""`` for a text.
    dims : tuple of str
        Dimensions of the array; empty for a scalar.

    Returns
    -------
    dict
        Metadata for :func:`dataclasses.field`.
    """
    return {_KEY: Description(long_name, units, tuple(dims))}


def description(field: dataclasses.Field[Any]) -> Description | None:
    """Description given to a dataclass field, or None when it has none."""
    found = field.metadata.get(_KEY)
    return found if isinstance(found, Description) else None


def to_dataset(result: Any, configuration: str = "") -> Dataset:
    """Dataset of a result, from the descriptions of its fields.

    Fields without a description are left out, except ``notes``, which become one text
    attribute. A value that is absent (None) becomes NaN.

    Parameters
    ----------
    result : dataclass instance
        The result.
    configuration : str
        Everything the result came from, as one JSON text; kept as an attribute.

    Returns
    -------
    xarray.Dataset
        Variables and coordinates named as the fields, with ``long_name`` and ``units``.

    Raises
    ------
    InputError
        ``not-a-result``, ``configuration-not-json`` or ``shape-not-described``.
    """
    from xarray import Dataset

    if not dataclasses.is_dataclass(result) or isinstance(result, type):
        raise InputError(
            "not-a-result",
            f"{type(result).__name__} is not a result of fusetherm",
            expected="an instance of a dataclass",
        )
    attributes: dict[str, str] = {"Conventions": "CF-1.11", "kind": type(result).__name__}
    if configuration:
        attributes["configuration"] = _checked_json(configuration)
    variables: dict[str, Any] = {}
    coordinates: dict[str, Any] = {}
    for field in dataclasses.fields(result):
        value = getattr(result, field.name)
        about = description(field)
        if about is not None:
            home = coordinates if about.dims == (field.name,) else variables
            home[field.name] = _variable(field.name, value, about)
        elif field.name == "notes" and all(isinstance(note, Note) for note in value):
            attributes["notes"] = "\n".join(f"{note.code}: {note.text}" for note in value)
    return Dataset(variables, coordinates, attributes)


def write_netcdf(
    dataset: Dataset, path: str | Path, replace: bool = False, classic: bool = False
) -> Path:
    """Write a dataset as NetCDF in one step: whole, or nothing has changed.

    Parameters
    ----------
    dataset : xarray.Dataset
        What to write.
    path : str or Path
        The file; its folder must exist.
    replace : bool
        Whether a file of that name may be replaced.
    classic : bool
        Write the classic format (NetCDF 3, through scipy): a tenth of the time for many small
        files of many variables, whole numbers of 32 bits.

    Returns
    -------
    Path
        The path written.

    Raises
    ------
    InputError, WriteError
        As :func:`fusetherm.files.write_atomic`; ``attribute-not-plain`` for an attribute
        that is neither text nor number.
    """
    from xarray import load_dataset

    engine: Literal["scipy", "h5netcdf"] = "scipy" if classic else "h5netcdf"
    check_output(path, replace=replace)
    _check_attributes("the dataset", dataset.attrs)
    for name, variable in dataset.variables.items():
        _check_attributes(str(name), variable.attrs)

    def fill(temporary: Path) -> None:
        dataset.to_netcdf(temporary, engine=engine)

    def check(temporary: Path) -> None:
        if not load_dataset(temporary, engine=engine).identical(dataset):
            raise ValueError("what was read back differs from what was written")

    return publish(path, fill, check, replace=replace)


def read_netcdf(path: str | Path, *, lazy: bool = False) -> Dataset:
    """Dataset of a NetCDF file that holds all its data itself.

    Parameters
    ----------
    path : str or Path
        The file.
    lazy : bool
        Leave the data in the file, in chunks of dask, which has to be installed.

    Returns
    -------
    xarray.Dataset

    Raises
    ------
    FileError
        ``netcdf-unreadable``, or ``netcdf-external`` for a link into another file.
    """
    from h5py import ExternalLink, File, SoftLink
    from xarray import load_dataset, open_dataset

    try:
        with Path(path).open("rb") as stream:
            classic = stream.read(3) == b"CDF"
        if classic:  # big-endian, and it knows no links
            found = (
                open_dataset(path, engine="scipy", chunks={})
                if lazy
                else load_dataset(path, engine="scipy")
            )
            return found.map(_native, keep_attrs=True).assign_coords(
                {name: _native(values) for name, values in found.coords.items()}
            )
        with File(path, "r") as inside:
            links = [name for name in inside if isinstance(inside.get(name, getlink=True),
                                                           (ExternalLink, SoftLink))]  # fmt: skip
            links += [name for name in inside if name not in links and inside[name].external]
        if not links:
            if lazy:
                return open_dataset(path, engine="h5netcdf", chunks={})
            return load_dataset(path, engine="h5netcdf")
    except (OSError, ValueError, KeyError, RuntimeError, AttributeError) as cause:
        raise FileError(
            "netcdf-unreadable",
            f"this is no whole NetCDF file: {cause}",
            path=path,
            expected="a file that fusetherm wrote",
            mend="write it again",
        ) from cause
    raise FileError(
        "netcdf-external",
        f"{links[0]!r} leads into another file",
        path=path,
        expected="a file that holds its own data",
        mend="do not open it, unless you know who made it and why",
    )


def _native(values: DataArray) -> DataArray:
    """Values in the byte order of the machine."""
    return values.astype(values.dtype.newbyteorder("="), keep_attrs=True)


def concatenated(parts: Sequence[Dataset], dimension: str) -> Dataset:
    """Datasets one after another along a dimension, attributes of the first."""
    from xarray import concat

    return concat(
        parts, dimension, data_vars="all", coords="all", compat="equals", join="exact",
        combine_attrs="override",
    )  # fmt: skip


def dataset_of(
    variables: dict[str, Any], coordinates: dict[str, Any], attributes: dict[str, Any]
) -> Dataset:
    """Dataset of variables given as (dimensions, data, attributes)."""
    from xarray import Dataset

    return Dataset(variables, coordinates, attributes)


def _variable(name: str, value: Any, about: Description) -> tuple[Any, ...]:
    """Dimensions, data and attributes of one variable."""
    data = np.asarray(np.nan if value is None else value)
    if data.ndim != len(about.dims):
        raise InputError(
            "shape-not-described",
            f"{name} has {data.ndim} dimensions and is described with {about.dims}",
            expected="one name for each dimension",
        )
    attributes = {"long_name": about.long_name}
    if about.units:
        attributes["units"] = about.units
    return about.dims, data, attributes


def _checked_json(text: str) -> str:
    try:
        json.loads(text)
    except ValueError as cause:
        raise InputError(
            "configuration-not-json",
            f"the configuration is not JSON: {cause}",
            expected="one JSON text, as json.dumps writes it",
        ) from cause
    return text


def _check_attributes(owner: str, attributes: dict[Hashable, Any]) -> None:
    """Refuse attributes that a file could not hold as text or number."""
    for key, value in attributes.items():
        if isinstance(value, bool) or not isinstance(value, str | int | float | np.number):
            raise InputError(
                "attribute-not-plain",
                f"attribute {key!r} of {owner} is {value!r}",
                expected="a text or a number",
                mend="put structured information into the configuration, as JSON",
            )
