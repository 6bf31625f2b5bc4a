"""Where a key stands in a TOML text: the standard reader gives values without their lines.

A small scanner for text that ``tomllib`` has already accepted, so it may be lax about what
is allowed and only has to follow the structure: headers, keys, strings, arrays, inline
tables. A style-preserving TOML library would do it too, at the price of one more
dependency and a second reader whose opinion on a file could differ from the first.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_right

#: A key path: names of tables and keys, and the numbers of elements of arrays.
Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}' r"|'''.*?'{3,5}" r'|"(?:\\.|[^"\\])*"' r"|'[^']*'", re.DOTALL
)
_SCALAR = re.compile(r"[^,\]}#\r\n]*")


class Places:
    """Lines of the keys of one TOML text.

    Parameters
    ----------
    text : str
        The text, valid TOML.

    Examples
    --------
    >>> places = Places("a = 1\\n[[curve.point]]\\ncurrent_A = 3.0\\n")
    >>> places.line(("curve", "point", 0, "current_A"))
    3
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._ends = [match.start() for match in re.finditer("\n", text)]
        self._at = 0
        self._counts: dict[Path, int] = {}
        self.lines: dict[Path, int] = {}
        table: Path = ()
        while self._skip(_BLANK) < len(text):
            if text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def line(self, path: Path) -> int | None:
        """Line of a key path, counted from 1, or of the nearest table that holds it.

        Parameters
        ----------
        path : tuple of str and int
            Key path; the number of an element may be given although the file writes a
            single table there.

        Returns
        -------
        int or None
            Line; None when the key belongs at the top and is not there.
        """
        for end in range(len(path), 0, -1):
            part = path[:end]
            plain = tuple(name for name in part if isinstance(name, str))
            for candidate in (part, plain):
                if candidate in self.lines:
                    return self.lines[candidate]
        return None

    def _skip(self, pattern: re.Pattern[str]) -> int:
        match = pattern.match(self._text, self._at)
        if match is not None:
            self._at = match.end()
        return self._at

    def _take(self, pattern: re.Pattern[str]) -> str:
        start = self._at
        return self._text[start : self._skip(pattern)]

    def _mark(self, path: Path, at: int) -> None:
        self.lines.setdefault(path, bisect_right(self._ends, at - 1) + 1)

    def _names(self) -> tuple[str, ...]:
        """A dotted key, spaces and quotes removed."""
        names = []
        while True:
            self._skip(_SPACE)
            if self._text[self._at] in "\"'":
                names.append(_unquoted(self._take(_STRING)))
            else:
                names.append(self._take(_BARE_KEY))
            self._skip(_SPACE)
            if self._text[self._at] != ".":
                return tuple(names)
            self._at += 1

    def _below(self, table: Path, names: tuple[str, ...]) -> Path:
        """The path of names below a table, through the last element of each array on the way."""
        path = table
        for name in names:
            path = (*path, name)
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
        return path

    def _header(self) -> Path:
        start = self._at
        many = self._text.startswith("[[", start)
        self._at += 2 if many else 1
        *above, last = self._names()
        self._at += 2 if many else 1
        holder = self._below((), tuple(above))
        path: Path = (*holder, last)
        for end in range(1, len(path) + 1):
            self._mark(path[:end], start)
        if many:
            self._counts[path] = self._counts.get(path, 0) + 1
            path = (*path, self._counts[path] - 1)
            self._mark(path, start)
        return path

    def _pair(self, table: Path) -> None:
        start = self._at
        names = self._names()
        self._at += 1  # the equals sign
        path = table
        for name in names:
            path = (*path, name)
            self._mark(path, start)
        self._value(path)

    def _value(self, path: Path) -> None:
        self._skip(_SPACE)
        first = self._text[self._at]
        if first in "\"'":
            self._skip(_STRING)
        elif first in "[{":
            self._group(path, first)
        else:
            self._skip(_SCALAR)

    def _group(self, path: Path, opening: str) -> None:
        """An array or an inline table, with all inside it."""
        self._at += 1
        count = 0
        while self._text[self._skip(_BLANK)] not in "]}":
            if self._text[self._at] == ",":
                self._at += 1
            elif opening == "{":
                self._pair(path)
            else:
                self._mark((*path, count), self._at)
                self._value((*path, count))
                count += 1
        self._at += 1


def _unquoted(text: str) -> str:
    """A quoted key without its quotes and escapes."""
    if text.startswith("'"):
        return text[1:-1]
    plain = re.sub(r"\\U([0-9A-Fa-f]{8})", lambda match: chr(int(match[1], 16)), text)
    return str(json.loads(plain, strict=False))


def dotted(path: Path) -> str:
    """A key path for a reader, elements counted from 1.

    Examples
    --------
    >>> dotted(("curve", "point", 0, "time_s"))
    'curve.point[1].time_s'
    """
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text
