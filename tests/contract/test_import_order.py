"""Floors: a file imports only from floors above its own; heavy libraries have one home."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import fusetherm

PACKAGE = Path(fusetherm.__file__).parent
FILES = sorted(PACKAGE.rglob("*.py"))

#: From the top down. Names that share a floor do not import one another.
FLOORS: tuple[tuple[str, ...], ...] = (
    ("errors",),
    ("units", "files", "written", "threads"),
    ("compiling",),
    ("compiled", "packed", "labelled"),
    ("physics",),
    ("fuse", "current"),
    ("solver",),
    ("calibration",),
    ("life",),
    ("conductor",),
    ("answers",),
    ("sweeps",),
    ("show",),
    ("demo",),
    ("verify",),
    ("cli",),
    ("__main__",),
)
FLOOR = {name: number for number, names in enumerate(FLOORS) for name in names}

#: Library -> the files, or folders with a final slash, that may import it.
HOMES = {
    "numba": ("compiled.py", "compiling/", "packed.py"),
    "llvmlite": ("compiled.py", "compiling/", "packed.py"),
    "xarray": ("labelled.py",),
    "h5netcdf": ("labelled.py",),
    "h5py": ("labelled.py",),
    "matplotlib": ("show/",),
    "pydantic": ("fuse/definition.py", "fuse/schema.py"),
    "click": ("cli/",),
    "rich": (),
    "jinja2": ("verify/page.py", "show/page/page.py"),
    "dask": ("sweeps/cluster.py",),
    "distributed": ("sweeps/cluster.py",),
    "pandas": (),
    "pint": (),
    "lmfit": (),
}


def place(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """Line and absolute name of every import in a file, wherever it stands."""
    package = ["fusetherm", *path.relative_to(PACKAGE).parts[:-1]]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            yield from ((node.lineno, f"{module}.{alias.name}") for alias in node.names)


def above(file: str) -> tuple[str, int]:
    """Name and floor of the file or folder directly below the package."""
    name = file.split("/")[0].removesuffix(".py")
    assert name in FLOOR, f"{file}: give {name!r} a place in FLOORS"
    return name, FLOOR[name]


def faults(path: Path) -> list[str]:
    """Imports of a file that the floors or the homes forbid."""
    found = []
    file = place(path)
    own, floor = above(file) if file != "__init__.py" else ("", len(FLOORS))
    for line, name in imports(path):
        library, *inside = name.split(".")
        if library == "fusetherm":
            # From the package itself only plain facts, such as its version.
            head = inside[0] if inside else ""
            other = FLOOR.get(head, -1 if head.startswith("__") else len(FLOORS))
            if head != own and other >= floor:
                found.append(f"{file}:{line} imports {name} from a floor not above its own")
        elif library in HOMES and not any(
            file == home or (home.endswith("/") and file.startswith(home))
            for home in HOMES[library]
        ):
            homes = " or ".join(HOMES[library]) or "no file"
            found.append(f"{file}:{line} imports {library}, which belongs to {homes}")
    return found


@pytest.mark.parametrize("path", FILES, ids=place)
def test_imports_come_from_above(path: Path) -> None:
    assert faults(path) == []


@pytest.mark.parametrize(
    ("file", "source", "fault"),
    [
        ("physics/metals.py", "from ..solver.run import Run", "floor"),
        ("physics/metals.py", "from .. import solver", "floor"),
        ("physics/metals.py", "def f():\n    import fusetherm.cli.main", "floor"),
        ("physics/metals.py", "from fusetherm import simulate", "floor"),
        ("fuse/model.py", "from ..current.waveform import Waveform", "floor"),
        ("errors.py", "from .units import kelvin", "floor"),
        ("solver/run.py", "import numba", "belongs to compiled.py"),
        ("answers/curve.py", "if True:\n    from xarray import Dataset", "belongs to labelled.py"),
        ("cli/main.py", "import pandas", "belongs to no file"),
        ("cli/main.py", "import click\nfrom ..answers.carry import carry", ""),
        ("physics/metals.py", "from ..errors import InputError\nfrom . import heat_loss", ""),
        ("labelled.py", "from . import __version__\nimport xarray", ""),
    ],
)
def test_the_check_sees_faults(file: str, source: str, fault: str, tmp_path: Path) -> None:
    package = tmp_path / "fusetherm"
    (package / file).parent.mkdir(parents=True)
    (package / file).write_text(source)
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(globals(), "PACKAGE", package)
        found = faults(package / file)
    assert len(found) == (1 if fault else 0)
    assert all(fault in text for text in found)


def test_files_stay_short() -> None:
    lengths = {place(path): len(path.read_text(encoding="utf-8").splitlines()) for path in FILES}
    assert {file: length for file, length in lengths.items() if length > 550} == {}
