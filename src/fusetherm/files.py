"""Files written whole or not at all.

Writing in place can leave, after a crash, a file that opens cleanly and holds nothing.
Here a temporary file in the same folder is written, flushed to the disk, read back and
only then put under its name in one step; whatever stood there before stays untouched
until that step.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import secrets
import shutil
from collections.abc import Callable
from pathlib import Path

from .errors import Argument, InputError, WriteError

#: Names that are devices on one of the systems a file may be carried to, with any ending.
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)


def write_atomic(path: str | Path, data: bytes | str, replace: bool = False) -> Path:
    """Write a file in one step: afterwards it is there whole, or nothing has changed.

    Parameters
    ----------
    path : str or Path
        The file; its folder must exist.
    data : bytes or str
        Its whole content; a text is written as UTF-8 with its line ends as they are.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The path written.

    Raises
    ------
    InputError
        ``output-name``, ``output-exists``, ``output-is-link``, ``output-not-a-file`` or
        ``output-folder-missing``.
    WriteError
        ``write-failed`` or ``write-not-verified``.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_atomic(Path(folder) / "note.txt", "20 A").read_text()
    '20 A'
    """
    content = data.encode("utf-8") if isinstance(data, str) else data

    def fill(temporary: Path) -> None:
        temporary.write_bytes(content)

    def check(temporary: Path) -> None:
        if temporary.read_bytes() != content:
            raise ValueError("what was read back differs from what was written")

    return publish(path, fill, check, replace=replace)


def publish(
    path: str | Path,
    fill: Callable[[Path], None],
    check: Callable[[Path], None],
    replace: bool = False,
) -> Path:
    """Let ``fill`` write a temporary file and put it under its name once ``check`` has passed.

    Parameters
    ----------
    path : str or Path
        The file to come; its folder must exist.
    fill : callable
        Writes the temporary file it is given.
    check : callable
        Reads it back and raises when it does not hold what it should.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The path written.

    Raises
    ------
    InputError, WriteError
        As :func:`write_atomic`.
    """
    target = Path(path)
    check_output(target, replace=replace)
    temporary = target.parent / f".fusetherm-{secrets.token_hex(8)}.tmp"
    try:
        # Created here rather than by tempfile, so that the user's file mode applies.
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        fill(temporary)
        _flush(temporary)
        try:
            check(temporary)
        except Exception as cause:
            raise WriteError(
                "write-not-verified",
                f"{target} could not be read back: {cause}",
                mend="check the disk and write again; nothing was put under that name",
            ) from cause
        _put(temporary, target, replace=replace)
        _flush_folder(target.parent)
    except (OSError, RuntimeError) as cause:
        if isinstance(cause, WriteError):
            raise
        raise WriteError(
            "write-failed",
            f"{target} could not be written: {cause}",
            mend="check free space and the rights on the folder; nothing was put under that name",
        ) from cause
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
    return target


def check_output(path: str | Path, replace: bool = False) -> None:
    """Refuse a path that cannot or may not be written, before any long work.

    Parameters
    ----------
    path : str or Path
        The file to come.
    replace : bool
        Whether a file of that name may be replaced.

    Raises
    ------
    InputError
        ``output-name``, ``output-exists``, ``output-is-link``, ``output-not-a-file`` or
        ``output-folder-missing``.
    """
    target = Path(path)
    fault = fault_of_name(target)
    if fault:
        raise InputError(
            "output-name",
            f"{str(target)!r} {fault}",
            expected="a name that every system takes",
            mend="choose another name",
        )
    if target.is_symlink():
        raise InputError(
            "output-is-link",
            f"{target} is a symbolic link",
            expected="the path of a plain file",
            mend="give the file it leads to, or remove the link",
        )
    if target.is_file():
        if not replace:
            raise _exists(target)
    elif target.exists():
        raise InputError(
            "output-not-a-file", f"{target} is not a file", expected="the path of a file"
        )
    elif not target.parent.is_dir():
        raise InputError(
            "output-folder-missing",
            f"the folder {target.parent} does not exist",
            expected="a folder that exists",
            mend="create it first",
        )


def fault_of_name(target: Path) -> str:
    """What is wrong with the name of a file to come; empty when nothing is.

    ``..`` in a path is the user's own and leads where it says; as the name itself it is none.
    """
    if any(ord(c) < 32 or ord(c) == 127 for c in str(target)):
        return "holds control characters"
    if target.name in ("", ".."):
        return "names no file"
    if _DEVICES.fullmatch(target.name.rstrip(" .")):
        return "is the name of a device"
    return ""


def _exists(target: Path) -> InputError:
    return InputError(
        "output-exists",
        f"{target} exists already",
        expected="a new name",
        mend="choose another name, or ask for it to be replaced",
        arguments=(Argument("replace", True),),
    )


def _flush(path: Path) -> None:
    """Send what was written to the disk."""
    with path.open("r+b") as stream:
        os.fsync(stream.fileno())


def _flush_folder(folder: Path) -> None:
    """Send the entry of the folder to the disk, where the platform can."""
    if os.name == "nt":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _put(temporary: Path, target: Path, *, replace: bool) -> None:
    """Give the temporary file its name, in one step."""
    if replace:
        with contextlib.suppress(FileNotFoundError):
            shutil.copymode(target, temporary)
        temporary.replace(target)
        return
    # Linking fails when somebody made the file meanwhile; replacing would not.
    try:
        if os.name == "nt":
            temporary.rename(target)
        else:
            target.hardlink_to(temporary)
    except FileExistsError:
        raise _exists(target) from None
    except OSError as cause:
        if cause.errno not in (errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS):
            raise
        check_output(target)  # a file system without hard links
        temporary.replace(target)
