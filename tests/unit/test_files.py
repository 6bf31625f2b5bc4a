"""files.py: whole files or none."""

from __future__ import annotations

import errno
import os
import stat
import sys
from pathlib import Path

import pytest

from fusetherm import files
from fusetherm.errors import InputError, WriteError
from fusetherm.files import check_output, publish, write_atomic


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize("data", [b"\x00\r\n\xff", "20 µA\r\n\n", ""])
def test_written_as_given_and_nothing_else_left(tmp_path: Path, data: bytes | str) -> None:
    target = tmp_path / "out.txt"
    assert write_atomic(target, data) == target
    assert target.read_bytes() == (data.encode("utf-8") if isinstance(data, str) else data)
    assert names(tmp_path) == ["out.txt"]


def test_existing_file_is_kept_unless_told(tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    write_atomic(target, "old")
    with pytest.raises(InputError) as caught:
        write_atomic(target, "new")
    assert caught.value.code == "output-exists"
    assert target.read_text() == "old"
    write_atomic(target, "new", replace=True)
    assert target.read_text() == "new"
    assert names(tmp_path) == ["out.txt"]


def test_replace_needs_no_file_there(tmp_path: Path) -> None:
    assert write_atomic(tmp_path / "out.txt", "new", replace=True).read_text() == "new"


@pytest.mark.parametrize("replace", [False, True])
@pytest.mark.parametrize("leads_somewhere", [False, True])
def test_links_are_refused(tmp_path: Path, replace: bool, leads_somewhere: bool) -> None:
    behind = tmp_path / "behind.txt"
    if leads_somewhere:
        behind.write_text("old")
    link = tmp_path / "link.txt"
    link.symlink_to(behind)
    with pytest.raises(InputError) as caught:
        write_atomic(link, "new", replace=replace)
    assert caught.value.code == "output-is-link"
    assert link.is_symlink()
    assert behind.exists() == leads_somewhere


def test_folder_as_output_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        check_output(tmp_path, replace=True)
    assert caught.value.code == "output-not-a-file"


def test_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nowhere") as caught:
        write_atomic(tmp_path / "nowhere" / "out.txt", "")
    assert caught.value.code == "output-folder-missing"


def test_full_disk_leaves_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    target.write_text("old")

    def fill(temporary: Path) -> None:
        temporary.write_text("ha")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with pytest.raises(WriteError, match="No space") as caught:
        publish(target, fill, lambda _: None, replace=True)
    assert caught.value.code == "write-failed"
    assert target.read_text() == "old"
    assert names(tmp_path) == ["out.txt"]


def test_interrupt_leaves_nothing_behind(tmp_path: Path) -> None:
    def fill(temporary: Path) -> None:
        temporary.write_text("ha")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        publish(tmp_path / "out.txt", fill, lambda _: None)
    assert names(tmp_path) == []


def test_what_cannot_be_read_back_is_not_put_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lose_half(path: Path, data: bytes) -> int:
        with path.open("wb") as stream:
            return stream.write(data[: len(data) // 2])

    monkeypatch.setattr(Path, "write_bytes", lose_half)
    with pytest.raises(WriteError) as caught:
        write_atomic(tmp_path / "out.txt", "twelve bytes")
    assert caught.value.code == "write-not-verified"
    assert names(tmp_path) == []


@pytest.mark.parametrize("links", [True, False])
def test_file_made_meanwhile_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    target = tmp_path / "out.txt"
    if not links:
        monkeypatch.setattr(Path, "hardlink_to", _no_links)

    def meanwhile(_: Path) -> None:
        target.write_text("theirs")

    with pytest.raises(InputError) as caught:
        publish(target, lambda path: None, meanwhile)
    assert caught.value.code == "output-exists"
    assert target.read_text() == "theirs"
    assert names(tmp_path) == ["out.txt"]


def test_folder_without_hard_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Path, "hardlink_to", _no_links)
    write_atomic(tmp_path / "out.txt", "new")
    assert (tmp_path / "out.txt").read_text() == "new"
    assert names(tmp_path) == ["out.txt"]


def _no_links(self: Path, target: Path) -> None:
    raise OSError(errno.EPERM, os.strerror(errno.EPERM))


def test_flushed_to_disk_before_it_gets_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "out.txt"
    present: list[bool] = []
    real = os.fsync

    def fsync(handle: int) -> None:
        present.append(target.exists())
        real(handle)

    monkeypatch.setattr(files.os, "fsync", fsync)
    write_atomic(target, "new")
    assert present[0] is False
    assert present[1:] == ([] if sys.platform == "win32" else [True])


@pytest.mark.skipif(sys.platform == "win32", reason="no such modes on this platform")
def test_mode_follows_the_user_and_the_replaced_file(tmp_path: Path) -> None:
    plain = tmp_path / "plain.txt"
    plain.write_text("")
    target = write_atomic(tmp_path / "out.txt", "new")
    assert stat.S_IMODE(target.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)
    target.chmod(0o600)
    write_atomic(target, "newer", replace=True)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600


def test_longest_name_is_possible(tmp_path: Path) -> None:
    assert write_atomic(tmp_path / ("n" * 250), "new").read_text() == "new"
