"""How many cores a process may use."""

from __future__ import annotations

import math
import os
from pathlib import Path

import pytest

from fusetherm import threads


def machine(root: Path, groups: str, files: dict[str, str]) -> float:
    """Quota on a machine whose control groups are so."""
    (root / "proc/self").mkdir(parents=True)
    (root / "proc/self/cgroup").write_text(groups)
    for name, text in files.items():
        path = root / "sys/fs/cgroup" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return threads.quota.__wrapped__(root)


@pytest.mark.parametrize(
    ("groups", "files", "expected"),
    [
        ("0::/\n", {"cpu.max": "150000 100000\n"}, 1.5),  # inside a container
        ("0::/\n", {"cpu.max": "max 100000\n"}, math.inf),
        # the least of a group and those above it
        ("0::/job/step\n", {"job/cpu.max": "300000 100000\n",
                            "job/step/cpu.max": "max 100000\n"}, 3.0),
        ("0::/job\n", {}, math.inf),
        ("5:memory:/\n4:cpu,cpuacct:/job\n",
         {"cpu,cpuacct/job/cpu.cfs_quota_us": "50000\n",
          "cpu,cpuacct/job/cpu.cfs_period_us": "100000\n"}, 0.5),
        # a container that names the group as its host does, and sees the top only
        ("4:cpu,cpuacct:/docker/1f\n",
         {"cpu,cpuacct/cpu.cfs_quota_us": "200000\n",
          "cpu,cpuacct/cpu.cfs_period_us": "100000\n"}, 2.0),
        ("4:cpu:/\n", {"cpu/cpu.cfs_quota_us": "-1\n", "cpu/cpu.cfs_period_us": "100000\n"},
         math.inf),
        ("nonsense\n", {"cpu.max": "nonsense\n"}, math.inf),
    ],
)  # fmt: skip
def test_quota_of_control_groups(
    groups: str, files: dict[str, str], expected: float, tmp_path: Path
) -> None:
    assert machine(tmp_path, groups, files) == expected


def test_without_control_groups_there_is_no_quota(tmp_path: Path) -> None:
    assert threads.quota.__wrapped__(tmp_path) == math.inf


@pytest.mark.parametrize(("share", "expected"), [(0.5, 1), (1.5, 2), (2.0, 2), (99.0, 8)])
def test_no_more_cores_than_the_quota(
    share: float, expected: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "process_cpu_count", lambda: 8, raising=False)
    monkeypatch.setattr(threads, "quota", lambda: share)
    assert threads.cores() == expected


def test_no_more_cores_than_the_process_is_bound_to(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "process_cpu_count", raising=False)
    monkeypatch.setattr(os, "cpu_count", lambda: 64)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {3, 5, 8}, raising=False)
    monkeypatch.setattr(threads, "quota", lambda: math.inf)
    assert threads.cores() == 3
    monkeypatch.delattr(os, "sched_getaffinity")
    assert threads.cores() == 64
