"""What a measured file looks like: encoding, separator, decimal mark, header and units.

Nothing is assumed that the file does not show; what remains open is refused later.
"""

from __future__ import annotations

import contextlib
import csv
import gzip
import hashlib
import re
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from ..errors import FileError
from .clock import is_clock
from .preamble import Interval, stated_interval, states_interval
from .units_written import has_only_units

#: Rows read unless more are asked for, and bytes for each of them.
MOST_ROWS = 50_000_000
_BYTES_A_ROW = 40
_HEAD = 1 << 18
_LONGEST_LINE = 1 << 20
_MOST_COLUMNS = 1000
_LINES = 400

NUMBER = re.compile(r"[-+\u2212]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")
NUMBER_COMMA = re.compile(r"[-+\u2212]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][-+]?[0-9]+)?")
THOUSANDS = re.compile(
    r"[-+]?[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]*|[-+]?[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]*"
)
MISSING = frozenset({"", "nan", "na", "n/a", "null", "none", "-", "--"})
OVER_RANGE = frozenset({"inf", "+inf", "-inf", "ol", "o.l", "o.l.", "ovl", "over", "overflow", "∞"})

_KINDS = {
    b"PK\x03\x04": "a zip archive or a spreadsheet",
    b"\xd0\xcf\x11\xe0": "a spreadsheet of the old kind",
    b"\x89HDF": "an HDF5 file",
    b"PAR1": "a Parquet file",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"MATLAB": "a MATLAB file",
    b"BZh": "a bzip2 archive",
    b"\xfd7zXZ": "an xz archive",
}


@dataclass(frozen=True)
class Layout:
    """How a measured file is laid out; lines are counted from 1, columns from 0.

    Parameters
    ----------
    path : str
        The file.
    sha256 : str
        Hash of its bytes.
    size : int
        Bytes of text, after decompression.
    compressed : bool
        Whether it is gzip.
    encoding : str
        ``"utf-8"``, ``"utf-8-sig"``, ``"utf-16"`` or ``"latin-1"``.
    delimiter : str
        Separator; a blank stands for any run of spaces.
    decimal : str
        Decimal mark; ``decimal_shown`` says whether the head of the file shows one.
    header_row, unit_row : int or None
        Lines of the names and of the units.
    first_row : int
        Line of the first numbers.
    names, units : tuple of str
        As written; units only when they have a row of their own.
    fields : int
        Fields in a row of numbers.
    quoted : bool
        Whether numbers stand in quotes.
    clocks : tuple of int
        Columns of times written as on a clock.
    interval : Interval or None
        Time between samples as stated above the numbers.
    """

    path: str
    sha256: str
    size: int
    compressed: bool
    encoding: str
    delimiter: str
    decimal: str
    decimal_shown: bool
    header_row: int | None
    unit_row: int | None
    first_row: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    fields: int
    quoted: bool
    clocks: tuple[int, ...] = ()
    interval: Interval | None = None

    def open(self) -> IO[str]:
        """The text of the file, any kind of line end read as one."""
        if self.compressed:
            return gzip.open(self.path, "rt", encoding=self.encoding, errors="replace")
        return Path(self.path).open(encoding=self.encoding, errors="replace")

    def lines(self) -> Iterator[tuple[int, str]]:
        """Number and text of every line from the first row of numbers on."""
        with self.open() as stream:
            for number, line in enumerate(stream, 1):
                if number >= self.first_row:
                    yield number, line

    def split(self, line: str) -> list[str]:
        """Fields of a line, without blanks and quotes."""
        return split(line, self.delimiter)

    def fault(self, code: str, found: str, **more: object) -> FileError:
        """An error in this file."""
        return FileError(code, found, path=self.path, **more)  # type: ignore[arg-type]


def split(line: str, delimiter: str) -> list[str]:
    """Fields of a line, without blanks and quotes around them."""
    fields = line.split() if delimiter == " " else line.split(delimiter)
    if '"' in line:
        # A field longer than the reader takes is no number and no name: leave it as it is.
        with contextlib.suppress(csv.Error):
            fields = next(csv.reader([line.strip()], delimiter=delimiter, skipinitialspace=True))
    return [field.strip() for field in fields]


def sniff(path: str | Path, most_rows: int = MOST_ROWS) -> Layout:
    """Layout of a measured file, from its bytes.

    Parameters
    ----------
    path : str or Path
        Text file, plain or gzip.
    most_rows : int
        Refuse files that hold more, at 40 bytes a row.

    Returns
    -------
    Layout
        Encoding, separator, decimal mark, rows of names and units.

    Raises
    ------
    FileError
        ``file-missing``, ``folder-as-file``, ``empty-file``, ``binary-file``,
        ``nul-bytes``, ``not-a-record``, ``too-large``, ``line-too-long``, ``too-many-columns``,
        ``no-data-rows``, ``thousands-separator`` or ``decimal-comma-ambiguous``.
    """
    file = Path(path)
    if file.is_dir():
        raise FileError("folder-as-file", "this is a folder", path=file, expected="a file")
    if not file.exists():
        raise FileError("file-missing", "there is no such file", path=file, mend="check the path")
    try:
        head, digest, size, compressed, encoding = _scan(file, _BYTES_A_ROW * most_rows)
    except PermissionError:
        raise FileError(
            "file-not-readable", "reading is not permitted", path=file, mend="check its rights"
        ) from None
    except (EOFError, gzip.BadGzipFile, zlib.error) as problem:
        raise FileError(
            "bad-gzip", f"the archive is damaged: {problem}", path=file, mend="copy it again"
        ) from None
    text = head.decode(encoding, errors="replace")
    _refuse_another_kind(file, text)
    lines = text.splitlines()
    if size > len(head) and len(lines) > 1:
        lines.pop()  # cut off in the middle
    delimiter, decimal, shown, first = _table(file, lines)
    row = lines[first]
    fields = split(row, delimiter)
    if len(fields) > _MOST_COLUMNS:
        raise FileError(
            "too-many-columns", f"{len(fields)} columns", path=file, expected=f"{_MOST_COLUMNS}"
        )
    header, unit_row, names, units = _header(lines, first, delimiter, len(fields))
    _doubt_commas(file, lines, first, delimiter, header, len(fields))
    return Layout(
        path=str(file), sha256=digest, size=size, compressed=compressed, encoding=encoding,
        delimiter=delimiter, decimal=decimal, decimal_shown=shown,
        header_row=header, unit_row=unit_row, first_row=first + 1,
        names=names, units=units, fields=len(fields), quoted='"' in row,
        clocks=tuple(k for k, field in enumerate(fields) if is_clock(field)),
        interval=stated_interval(lines[:first]),
    )  # fmt: skip


def _scan(file: Path, most_bytes: int) -> tuple[bytes, str, int, bool, str]:
    """Head, hash, size, compression and encoding, from one pass over the bytes."""
    with file.open("rb") as stream:
        magic = stream.read(16)
    for start, kind in _KINDS.items():
        if magic.startswith(start):
            raise FileError(
                "binary-file", f"this is {kind}", path=file, expected="a text file of columns",
                mend="export the record as CSV",
            )  # fmt: skip
    compressed = magic.startswith(b"\x1f\x8b")
    digest = hashlib.sha256()
    wide = magic.startswith((b"\xff\xfe", b"\xfe\xff"))
    head, size, utf8 = b"", 0, True
    decoder = _Utf8()
    with gzip.open(file, "rb") if compressed else file.open("rb") as stream:
        while chunk := stream.read(_LONGEST_LINE):
            if not head:
                head = chunk[:_HEAD]
            digest.update(chunk)
            size += len(chunk)
            if size > most_bytes:
                raise FileError(
                    "too-large", f"more than {most_bytes:.3g} bytes of text", path=file,
                    expected=f"at most {most_bytes // _BYTES_A_ROW} rows",
                    mend="cut the record; in Python, most_rows allows more",
                )  # fmt: skip
            if b"\0" in chunk and not wide:
                raise FileError(
                    "nul-bytes", f"NUL bytes in {chunk[:8]!r}...", path=file,
                    expected="text", mend="export the record again as UTF-8 text",
                )  # fmt: skip
            if len(chunk) == _LONGEST_LINE and b"\n" not in chunk and b"\r" not in chunk:
                raise FileError("line-too-long", "a line of more than 1 MB", path=file)
            utf8 = utf8 and (wide or decoder.accepts(chunk))
    if not head.strip(b" \t\r\n\xef\xbb\xbf\xff\xfe\0"):
        raise FileError("empty-file", "the file is empty", path=file, expected="columns of numbers")
    controls = sum(head.count(bytes([c])) for c in (*range(1, 9), *range(14, 27)))
    if not wide and controls > 0.02 * len(head):
        raise FileError(
            "binary-file", "this is no text", path=file, expected="a text file of columns"
        )
    if compressed:
        digest = hashlib.sha256(file.read_bytes())
    if wide:
        encoding = "utf-16"
    elif head.startswith(b"\xef\xbb\xbf"):
        encoding = "utf-8-sig"
    else:
        encoding = "utf-8" if utf8 else "latin-1"
    return head, digest.hexdigest(), size, compressed, encoding


def _refuse_another_kind(file: Path, text: str) -> None:
    """Refuse a definition or a fit file: both hold rows of numbers that are no record."""
    kind = "JSON, perhaps a fit file" if text.lstrip().startswith("{") else ""
    if re.search(r"^schema_version\s*=", text, re.MULTILINE):
        kind = "the definition of a fuse"
    if kind:
        raise FileError(
            "not-a-record", f"this is {kind}", path=file, expected="a text file of columns",
            mend="give the capture first; the fuse has an option of its own",
        )  # fmt: skip


class _Utf8:
    """Whether chunks, one after another, are UTF-8."""

    def __init__(self) -> None:
        self.rest = b""

    def accepts(self, chunk: bytes) -> bool:
        """Whether everything so far is UTF-8, up to a character cut off at the end."""
        if not self.rest and chunk.isascii():
            return True
        data = self.rest + chunk
        try:
            data.decode("utf-8")
        except UnicodeDecodeError as problem:
            if problem.reason != "unexpected end of data":
                return False
            self.rest = data[problem.start :]
            return True
        self.rest = b""
        return True


def _is_row(fields: list[str], number: re.Pattern[str]) -> bool:
    """Whether fields look like a row of a table: numbers, or marks that stand for one."""
    numbers = sum(1 for field in fields if number.fullmatch(field))
    marks = sum(1 for f in fields if f.lower() in MISSING or f.lower() in OVER_RANGE or is_clock(f))
    return numbers >= 1 and numbers + marks >= 2


def _table(file: Path, lines: list[str]) -> tuple[str, str, bool, int]:
    """Delimiter, decimal mark, whether a mark was seen, and index of the first row."""
    filled = [k for k, line in enumerate(lines) if line.strip()][:_LINES]
    best: tuple[int, int, str, str, int] | None = None
    tied: set[str] = set()
    for delimiter in (";", "\t", ",", " "):
        for decimal, number in ((".", NUMBER), (",", NUMBER_COMMA)):
            if delimiter == decimal == ",":
                continue
            counts = {}
            for k in filled:
                fields = split(lines[k], delimiter)
                # A comma beside semicolons or tabs is a decimal mark, whatever else it is.
                if delimiter == "," and any(mark in lines[k] for mark in ";\t"):
                    continue
                if _is_row(fields, number):
                    counts[k] = len(fields)
            if not counts:
                continue
            width, rows = Counter(counts.values()).most_common(1)[0]
            first = next(k for k, count in counts.items() if count == width)
            trial = (rows, -first, delimiter, decimal, first)
            if best is None or trial[:2] > best[:2]:
                best, tied = trial, {decimal}
            elif trial[:2] == best[:2] and delimiter == best[2]:
                tied.add(decimal)
    alone = [k for k in filled if NUMBER.fullmatch(lines[k].strip().strip('"'))]
    if len(alone) > (1 if best is None else best[0]):
        return ";", ".", True, alone[0]  # one column: currents without times
    if best is None:
        _no_table(file, lines)
    assert best is not None
    _, _, delimiter, decimal, first = best
    return delimiter, decimal, len(tied) < 2 and delimiter != ",", first


def _no_table(file: Path, lines: list[str]) -> None:
    """Say why no row of numbers was found."""
    for k, line in enumerate(lines):
        for delimiter in (";", "\t", " "):
            for field in split(line, delimiter):
                if THOUSANDS.fullmatch(field):
                    raise FileError(
                        "thousands-separator", f"{field!r} has a mark for thousands", path=file,
                        line=k + 1, expected="one decimal mark and nothing between the thousands",
                        mend="export without thousands separators",
                    )  # fmt: skip
    raise FileError(
        "no-data-rows", "no row holds two numbers", path=file,
        expected="rows with at least a time and a current, as plain numbers",
        mend="export times and currents as plain numbers in columns of their own",
    )  # fmt: skip


def _header(
    lines: list[str], first: int, delimiter: str, fields: int
) -> tuple[int | None, int | None, tuple[str, ...], tuple[str, ...]]:
    """Rows (from 1) of names and units, and what stands there."""
    above = [k for k in range(first) if lines[k].strip()]
    unit_row: int | None = None
    units: tuple[str, ...] = ()
    if above:
        trial = _names(lines[above[-1]], delimiter, fields)
        if trial and has_only_units(trial):
            unit_row, units = above.pop() + 1, trial
    if not above:
        return None, unit_row, (), units
    names = _names(lines[above[-1]], delimiter, fields)
    return (above[-1] + 1 if names else None), unit_row, names, units


def _names(line: str, delimiter: str, fields: int) -> tuple[str, ...]:
    """Names in a header line, or none when their number does not fit."""
    if states_interval(line):
        return ()
    bare = re.sub(r"^\s*(?:#|%|//)\s*", "", line)
    found = split(bare, delimiter)
    if delimiter == " " and len(found) != fields:
        # A unit in brackets belongs to the word before it.
        found = re.sub(r"\s+(?=[(\[/])", "", bare).split()
    if delimiter == " " and len(found) != fields:
        found = [name.strip() for name in re.split(r"\s{2,}|\t", bare.strip())]
    while len(found) > fields and not found[-1]:
        found.pop()
    return tuple(found) if len(found) == fields and any(found) else ()


def _doubt_commas(
    file: Path, lines: list[str], first: int, delimiter: str, header: int | None, fields: int
) -> None:
    """Refuse commas that may both separate columns and mark decimals."""
    if delimiter != ",":
        return
    rows = [split(line, ",") for line in lines[first : first + _LINES] if line.strip()]
    whole = all(re.fullmatch(r"[-+]?[0-9]+", cell) or not cell for row in rows for cell in row)
    # "0,05" cut in two leaves a column of digits that begin with zeros.
    zeros = any(re.fullmatch(r"0[0-9]+", cell) for row in rows for cell in row)
    above = [k for k in range(first) if lines[k].strip()]
    few = 0
    if above and header is None:
        few = len(split(lines[above[-1]], ","))
        few = few if few > 1 and all(split(lines[above[-1]], ",")) else 0
    if whole and (zeros or few < fields <= 2 * few):
        raise FileError(
            "decimal-comma-ambiguous", f"{fields} whole numbers in a row: {lines[first].strip()!r}",
            path=file, line=first + 1,
            expected="a comma either between columns or as decimal mark, not both",
            mend="export with ';' between columns or with decimal points",
        )  # fmt: skip
