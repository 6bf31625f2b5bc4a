"""The public index: every name resolves, and type checkers see the same ones."""

from __future__ import annotations

import ast
import subprocess
import sys
from importlib import import_module, metadata
from pathlib import Path

import pytest

import fusetherm

STUB = Path(fusetherm.__file__).with_name("__init__.pyi")


def stub_names() -> dict[str, str]:
    """Name -> module, as the stub says."""
    found = {}
    for node in ast.parse(STUB.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom):
            assert node.level == 1
            for alias in node.names:
                assert alias.asname == alias.name, f"{alias.name} is not re-exported by the stub"
                found[alias.name] = node.module or ""
    return found


def test_stub_and_table_agree() -> None:
    submodules = dict.fromkeys(fusetherm._SUBMODULES, "")
    assert stub_names() == {**fusetherm._HOME, **submodules}


def test_no_name_is_given_twice() -> None:
    names = [name for names in fusetherm._PUBLIC.values() for name in names]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize("name", sorted(fusetherm._HOME))
def test_name_resolves(name: str) -> None:
    home = import_module(f"fusetherm.{fusetherm._HOME[name]}")
    assert getattr(fusetherm, name) is getattr(home, name)


@pytest.mark.parametrize("name", fusetherm._SUBMODULES)
def test_submodule_resolves_lazily(name: str) -> None:
    code = f"import fusetherm; assert fusetherm.{name}.__name__ == 'fusetherm.{name}'"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_no_public_name_hides_a_module() -> None:
    folders = {path.stem for path in STUB.parent.iterdir()}
    assert folders & set(fusetherm._HOME) == set()


def test_dir_and_all_list_the_public_names() -> None:
    assert dir(fusetherm) == sorted(fusetherm.__all__)
    assert {"simulate", "demo", "InputError", "__version__"} <= set(fusetherm.__all__)


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        fusetherm.simulat  # noqa: B018


def test_version_is_that_of_the_package() -> None:
    assert metadata.version("fusetherm") == fusetherm.__version__


def test_package_tells_that_it_is_typed() -> None:
    assert (STUB.parent / "py.typed").is_file()


def test_every_public_name_and_its_module_stand_in_the_reference() -> None:
    reference = (Path(__file__).parents[2] / "docs" / "api.md").read_text(encoding="utf-8")
    assert [name for name in fusetherm._HOME if f"`{name}`" not in reference] == []
    listed = {line.strip() for line in reference.splitlines()}
    assert {f"fusetherm.{home}" for home in fusetherm._HOME.values()} - listed == set()
