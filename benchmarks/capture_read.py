"""Reading a measured file of 5 million rows, beside numpy's own reader, in one run.

    python benchmarks/capture_read.py [rows]

Each reading has a process of its own, so that peak memory is its own; the two alternate,
and the median of three readings is printed. `read_capture` does more: it hashes the file,
checks every value and stamp, and looks for clipping, offset and noise.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

ROWS = 5_000_000
ROUNDS = 3

#: Program -> what it runs; each prints seconds, peak memory [MiB] and the Joule integral.
PROGRAMS = {
    "numpy.loadtxt": """
table = np.loadtxt(path, delimiter=",", skiprows=1, comments=None)
h, i = np.diff(table[:, 0]), table[:, 1]
i2t = float(np.sum(h * (i[1:] ** 2 + i[1:] * i[:-1] + i[:-1] ** 2)) / 3)
""",
    "read_capture": """
i2t = read_capture(path).i2t()
""",
}
FRAME = """
import sys, time
import numpy as np
from fusetherm.current.capture import read_capture
path = sys.argv[1]
start = time.perf_counter()
{program}
seconds = time.perf_counter() - start
try:
    import resource
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak /= 1024.0 * (1024.0 if sys.platform == "darwin" else 1.0)
except ImportError:
    peak = float("nan")
print(seconds, peak, i2t)
"""


def write_record(path: Path, rows: int) -> None:
    """A load of 25 A with noise and a pulse, at 1 MHz."""
    rng = np.random.default_rng(20)
    with path.open("w", encoding="utf-8") as stream:
        stream.write("Time (s),Current (A)\n")
        for first in range(0, rows, 100_000):
            k = np.arange(first, min(first + 100_000, rows))
            pulse = np.where((k > rows // 2) & (k < rows // 2 + 20_000), 100.0, 0.0)
            current = 25.0 + pulse + rng.normal(0.0, 0.3, k.size)
            pairs = zip((k * 1e-6).tolist(), current.tolist(), strict=True)
            stream.writelines(f"{t:.6f},{i:.3f}\n" for t, i in pairs)


def measure(program: str, path: Path) -> tuple[float, float, float]:
    """Seconds, peak memory [MiB] and Joule integral [A2 s] of one reading."""
    done = subprocess.run(
        [sys.executable, "-c", FRAME.format(program=program), str(path)],
        check=True,
        capture_output=True,
        text=True,
    )
    seconds, peak, i2t = map(float, done.stdout.split())
    return seconds, peak, i2t


def compare(rows: int = ROWS, rounds: int = ROUNDS) -> dict[str, tuple[float, float, float]]:
    """Median seconds, greatest peak memory and Joule integral of each program."""
    found: dict[str, list[tuple[float, float, float]]] = {name: [] for name in PROGRAMS}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.csv"
        write_record(path, rows)
        for _ in range(rounds):
            for name, program in PROGRAMS.items():
                found[name].append(measure(program, path))
    return {
        name: (statistics.median(s), max(peak), i2t[0])
        for name, (s, peak, i2t) in (
            (n, tuple(zip(*runs, strict=True))) for n, runs in found.items()
        )
    }


def main() -> None:
    """Print the table."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    found = compare(rows)
    base = found["numpy.loadtxt"][0]
    print(f"{rows} rows, medians of {ROUNDS}")
    print(f"{'':<16}{'seconds':>9}{'ratio':>8}{'peak MiB':>10}{'I2t A2s':>16}")
    for name, (seconds, peak, i2t) in found.items():
        print(f"{name:<16}{seconds:9.2f}{seconds / base:8.2f}{peak:10.0f}{i2t:16.4f}")


if __name__ == "__main__":
    main()
