"""Coverage-guided fuzzing of the readers: any bytes give a result or an `InputError`.

Run ``python benchmarks/fuzz_readers.py capture FOLDER -max_total_time=600`` (or ``definition``)
where atheris is installed; FOLDER keeps the inputs that reached new code, and is best begun with
a few good files. The options after it are libFuzzer's. What fails is written to ``crash-...`` in
the current folder: make it a case of ``tests/properties/test_readers_of_any_bytes.py``.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

import atheris

with atheris.instrument_imports(include=["fusetherm"]):
    from fusetherm.current import capture
    from fusetherm.errors import InputError
    from fusetherm.fuse import definition

_FILE = Path(tempfile.mkdtemp()) / "input.csv"
_WAYS: tuple[dict[str, Any], ...] = (
    {},
    {"clamp": "10 mV/A", "gaps": "hold", "missing": "hold"},
    {"time": 0, "current": 1, "time_unit": "s", "current_unit": "A", "missing": "linear"},
    {"interval": "1 ms", "current_unit": "A", "gaps": "linear", "bandwidth_hz": 1e3},
)


def read_capture(data: bytes) -> None:
    """Read a capture in one of several ways; the first byte chooses."""
    if not data:
        return
    _FILE.write_bytes(data[1:])
    try:
        record = capture.read_capture(_FILE, most_rows=100_000, **_WAYS[data[0] % len(_WAYS)])
    except InputError as refusal:
        str(refusal)
        return
    record.summary()


def read_definition(data: bytes) -> None:
    """Read a definition, and write and read it again."""
    _FILE.write_bytes(data)
    try:
        fuse = definition.load_fuse(_FILE)
    except InputError as refusal:
        str(refusal)
        return
    if definition.loads(fuse.to_toml()) != fuse:
        raise RuntimeError("a definition is not what it was after writing and reading it")


TARGETS = {"capture": read_capture, "definition": read_definition}

if __name__ == "__main__":
    target = TARGETS[sys.argv.pop(1)]
    atheris.Setup(sys.argv, target)
    atheris.Fuzz()
