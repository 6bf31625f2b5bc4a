"""The fit file: a calibration as JSON, with the hashes that say whether it is still true."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import replace as changed
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..errors import Argument, FileError, InputError, Note, WriteError
from ..files import write_atomic
from ..fuse.definition import Definition, load_fuse, loads
from ..fuse.element import CELLS
from ..fuse.family import family_of, load_family
from ..fuse.records import read_text, refuse_absent
from .draws import DRAWS, Draws
from .fit import Calibration, PointResidual, calibrate
from .nuisances import SCORES
from .observations import CURRENT_NOISE, TIME_NOISE
from .residual import FIT_TOLERANCE
from .unit_spread import ASSUMED, UnitSpread

#: Version of the fit file this code writes and reads.
FIT_SCHEMA = 2
#: Changes whenever the model behind a fit changes, so that an old fit is not taken for a new one.
MODEL_VERSION = 7
#: Folders whose sources make a fit what it is; their hash is part of the cache's key.
_MAKERS = ("physics", "fuse", "solver", "calibration")


def fit_text(fit: Calibration, folder: str | Path = ".") -> str:
    """A calibration as the text of a fit file that lies in a folder."""
    from .. import __version__

    content: dict[str, Any] = {
        "schema": f"fusetherm/fit/{FIT_SCHEMA}",
        "model_version": MODEL_VERSION,
        "code_version": __version__,
        "definition_hash": fit.definition.definition_hash,
        "family": fit.family.name,
        "family_hash": fit.family.family_hash,
        "family_path": _own_family(fit, folder),
        "cells": fit.cells,
        "tolerance": FIT_TOLERANCE,
        "contact": fit.contact,
        "rms_current": fit.rms_current,
        "parameters": {
            p.name: {"value": p.value, "unit": p.unit, "score": float(z)}
            for p, z in zip(fit.parameters, fit.scores, strict=True)
        },
        "covariance": fit.covariance.tolist(),
        "jacobian": fit.jacobian.tolist(),
        "units": {"source": fit.units.source, "sd": fit.units.sd},
        "draws": {
            "seed": fit.draws.seed,
            "scores": fit.draws.scores.tolist(),
            "nuisances": fit.draws.nuisances.tolist(),
        },
        "residuals": [
            {
                "kind": r.kind,
                "label": r.label,
                "observed": r.observed,
                "fitted": r.fitted,
                "relative": r.relative,
                "in_spreads": r.in_spreads,
                "bound": r.bound,
            }
            for r in fit.residuals
        ],
        "notes": [{"code": n.code, "text": n.text} for n in fit.notes],
        "definition_path": _path_from(folder, fit.definition.path),
        "definition": fit.definition.to_toml(),
    }
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def _own_family(fit: Calibration, folder: str | Path) -> str:
    """Path of a family file from the fit file's folder, empty where the definition names it."""
    try:
        named = family_of(fit.definition)
    except InputError:
        return ""  # the definition left its folder
    if named == fit.family:
        return ""
    return _path_from(folder, fit.family.path) or fit.family.name


def save_fit(fit: Calibration, path: str | Path, *, replace: bool = False) -> Path:
    """Write a fit file, whole or not at all.

    Raises
    ------
    InputError, WriteError
        When the file exists and `replace` is not set, or cannot be written.
    """
    return write_atomic(Path(path), fit_text(fit, Path(path).parent), replace=replace)


def _path_from(folder: str | Path, path: str) -> str:
    """A definition's path from the folder of its fit file, so that both can move together.

    Its name alone where the two have no folder in common but the root: a path from there
    would describe a machine.
    """
    if not path:
        return ""
    here, there = os.path.abspath(folder), os.path.abspath(path)  # noqa: PTH100
    try:
        common = os.path.commonpath((here, there))
    except ValueError:  # another drive
        return Path(path).name
    if os.path.dirname(common) == common:  # noqa: PTH120
        return Path(path).name
    return Path(os.path.relpath(there, here)).as_posix()


def load_fit(path: str | Path) -> Calibration:
    """Read a fit file; refuses one that is newer, damaged or no longer true.

    Raises
    ------
    FileError
        ``file-missing``, ``folder-as-file``, ``fit-unreadable``, ``fit-too-new``, ``fit-stale``.
    """
    return _loaded(Path(path))


def _loaded(path: Path, definition: Definition | None = None) -> Calibration:
    """A fit file, for the definition inside it or for another of the same content."""
    refuse_absent(path)
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as problem:
        raise FileError(
            "fit-unreadable",
            f"not a fit file: {problem}",
            path=path,
            expected="a file written by `fusetherm fit`",
            mend="fit the definition again",
        ) from None
    return _from_content(content, path, definition)


def _from_content(content: Any, path: Path, definition: Definition | None) -> Calibration:
    schema = str(content.get("schema", "")) if isinstance(content, dict) else ""
    number = schema.removeprefix("fusetherm/fit/")
    if not schema.startswith("fusetherm/fit/") or not number.isdigit():
        raise FileError(
            "fit-unreadable",
            f"schema is {schema!r}",
            path=path,
            expected=f"fusetherm/fit/{FIT_SCHEMA}",
            mend="fit the definition again",
        )
    if int(number) > FIT_SCHEMA:
        raise FileError(
            "fit-too-new",
            f"fit file of version {number}",
            path=path,
            expected=f"version {FIT_SCHEMA} or older",
            mend="use the program that wrote it, or fit the definition again",
        )
    try:
        source = None
        if definition is None:
            if content["definition_path"]:
                source = path.parent / content["definition_path"]
            definition = loads(content["definition"], path=source or "")
        own = content.get("family_path", "")
        family = load_family(own, path.parent) if own else family_of(definition)
        priors = family.priors(definition)
        stale = _stale(content, definition, family.family_hash, source)
        if stale:
            raise FileError(
                "fit-stale",
                stale,
                path=path,
                expected="a fit of the present definition, family and model",
                mend="fit the definition again",
            )
        p = len(priors)
        return Calibration(
            definition=definition,
            family=family,
            priors=priors,
            scores=_numbers([content["parameters"][p.name]["score"] for p in priors], p),
            covariance=_numbers(content["covariance"], p, p),
            residuals=tuple(PointResidual(**r) for r in content["residuals"]),
            cells=int(content["cells"]),
            contact=_contact(content["contact"]),
            notes=tuple(Note(n["code"], n["text"]) for n in content["notes"]),
            jacobian=_numbers(content["jacobian"], len(content["residuals"]), p),
            units=_units(content["units"]),
            kept=_draws(content["draws"], p),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        if isinstance(problem, InputError):
            raise
        raise FileError(
            "fit-unreadable",
            f"a part of the file is missing or damaged: {problem!r}",
            path=path,
            expected="a file written by `fusetherm fit`",
            mend="fit the definition again",
        ) from None


def _numbers(values: Any, *shape: int) -> npt.NDArray[np.float64]:
    """Finite numbers of a shape, or ValueError."""
    found = np.array(values, dtype=float)
    if found.shape != shape or not np.all(np.isfinite(found)):
        raise ValueError(f"{found.shape} numbers where {shape} finite ones belong")
    return found


def _units(content: Any) -> UnitSpread:
    """Spread of units, or ValueError."""
    names, source = set(content["sd"]), content["source"]
    if names != set(ASSUMED) or source not in ("assumed", "band"):
        raise ValueError(f"units differ in {names} by {source}")
    return UnitSpread({name: float(content["sd"][name]) for name in ASSUMED}, source)


def _draws(content: Any, parameters: int) -> Draws:
    """Draws, or ValueError."""
    count = len(content["scores"])
    return Draws(
        _numbers(content["scores"], count, parameters),
        _numbers(content["nuisances"], count, SCORES),
        int(content["seed"]),
    )


def _contact(word: str) -> Literal["new", "worn"]:
    if word == "new":
        return "new"
    if word == "worn":
        return "worn"
    raise ValueError(f"contacts are {word!r}, neither new nor worn")


@lru_cache(maxsize=1)
def _makers_hash() -> str:
    """Hash of the sources that make a fit."""
    digest = hashlib.sha256()
    package = Path(__file__).parents[1]
    for name in _MAKERS:
        for path in sorted((package / name).rglob("*.py")):
            digest.update(path.relative_to(package).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()


def _stale(
    content: dict[str, Any], definition: Definition, family_hash: str, source: Path | None
) -> str:
    """What no longer holds of a fit file, empty when all does."""
    if content["definition_hash"] != definition.definition_hash:
        return "the definition inside does not match its hash"
    if content["family_hash"] != family_hash:
        return "the family's priors have changed since the fit"
    if content["model_version"] != MODEL_VERSION:
        return f"fitted with model version {content['model_version']}, now {MODEL_VERSION}"
    if source is not None and source.is_file():
        try:
            present = load_fuse(source)
        except InputError:
            return f"the definition {source} cannot be read any more"
        if present.definition_hash != content["definition_hash"]:
            return f"the definition {source} has changed since the fit"
    return ""


def fit_or_definition(path: str | Path, *, contact: str = "new") -> Calibration:
    """Calibration of a fit file, or of a definition: fitted, or taken from the cache.

    Parameters
    ----------
    path : str or Path
        A fit file (JSON, whatever its name) or a definition (TOML).
    contact : {"new", "worn"}
        State of the contacts, for a definition; a fit file has been fitted with its own.

    Raises
    ------
    InputError
        ``contact-of-fit``, besides those of `load_fit` and `load_fuse`.
    """
    path = Path(path)
    # No TOML begins with a brace.
    if path.suffix.lower() == ".json" or read_text(path).lstrip().startswith("{"):
        fit = load_fit(path)
        if contact == "worn" and fit.contact != contact:
            raise FileError(
                "contact-of-fit",
                f"the fit was made with {fit.contact} contacts",
                path=path,
                expected="a fit with worn contacts, or the definition",
                mend="give the definition, or fit it again with worn contacts",
                arguments=(Argument("contact", "worn"),),
            )
        return fit
    definition = load_fuse(path)
    return cached_fit(definition, contact)


def cached_fit(definition: Definition, contact: str = "new") -> Calibration:
    """Calibration of a definition, kept in the user's cache under the hash of its inputs."""
    from ..compiled import cache_folder

    try:
        state = _contact(contact)
    except ValueError as problem:
        raise InputError(
            "unknown-contact",
            str(problem),
            expected="new or worn contacts",
            mend="choose one",
            arguments=(Argument("contact", "new"), Argument("contact", "worn")),
        ) from None
    family = family_of(definition)
    key = json.dumps(
        [
            definition.definition_hash,
            family.family_hash,
            state,
            CELLS,
            FIT_TOLERANCE,
            CURRENT_NOISE,
            TIME_NOISE,
            DRAWS,
            MODEL_VERSION,
            _makers_hash(),
        ]
    )
    kernels = cache_folder()
    if kernels is None:
        return calibrate(definition, contact=state)
    # beside the kernels: their folder's name changes with the code that made the fit
    folder = kernels / "fits"
    file = folder / (hashlib.sha256(key.encode()).hexdigest()[:32] + ".fit.json")
    if file.is_file():
        try:
            return _loaded(file, definition)
        except InputError:
            pass  # a damaged or outdated entry is made again
    fit = calibrate(definition, contact=state)
    try:
        os.makedirs(folder, exist_ok=True)  # noqa: PTH103
        # the key holds the definition's hash: an entry belongs to no file
        save_fit(changed(fit, definition=changed(definition, path="")), file, replace=True)
    except (OSError, WriteError, InputError):
        return fit  # a cache that cannot be written is no reason to withhold an answer
    return fit
