"""Errors, warnings and notes: the family every part of fusetherm speaks in.

Each message says what was found, where, what was expected and how to mend it, and
carries a stable code (see the page "Error codes" of the documentation).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Argument:
    """An argument that settles a matter; each face spells it in its own way.

    Parameters
    ----------
    name : str
        Name in Python; the option of a command that stands for it has the same name inside.
    value : str, int, bool or None
        An example of what to give; None where the reader alone knows it.

    Examples
    --------
    >>> print(Argument("clamp", "10 mV/A"), Argument("time_unit"))
    clamp="10 mV/A" time_unit=...
    """

    name: str
    value: str | int | bool | None = None

    def __str__(self) -> str:
        if self.value is None:
            return f"{self.name}=..."
        value = f'"{self.value}"' if isinstance(self.value, str) else repr(self.value)
        return f"{self.name}={value}"


#: How a face spells an argument; empty where it has no way to give it.
Spelling = Callable[[Argument], str]


def _with_arguments(text: str, arguments: Iterable[Argument], spell: Spelling) -> str:
    """A text followed by the arguments that settle it: alternatives, or all of them."""
    arguments = tuple(arguments)
    spelt = [word for word in map(spell, arguments) if word]
    if not spelt:
        return text
    link = " or " if len({argument.name for argument in arguments}) == 1 else ", "
    return f"{text} ({link.join(spelt)})"


#: Characters of a part of a message.
_MOST = 1000


def _bounded(text: str) -> str:
    """A text whose middle is left out when it is endless: a cell of a file may hold a megabyte."""
    return text if len(text) <= _MOST else f"{text[: _MOST // 2]} ... {text[-_MOST // 4 :]}"


@dataclass(frozen=True)
class Note:
    """A remark that travels with a result; the face turns it into a warning.

    Parameters
    ----------
    code : str
        Stable code, lower case with hyphens, for example ``"clipped-record"``.
    text : str
        One sentence for the reader.
    arguments : tuple of Argument
        What would settle it, if anything would.
    """

    code: str
    text: str
    arguments: tuple[Argument, ...] = ()

    def told(self, spell: Spelling = str) -> str:
        """The sentence with what would settle it, as a face spells that."""
        return _with_arguments(self.text, self.arguments, spell)


class FusethermError(Exception):
    """Base of every error of fusetherm.

    Parameters
    ----------
    code : str
        Stable code, lower case with hyphens.
    found : str
        What was found, with its value.
    expected : str, optional
        What would have been right.
    mend : str, optional
        What the reader can do about it.
    arguments : tuple of Argument, optional
        What to give for it.
    """

    def __init__(
        self,
        code: str,
        found: str,
        *,
        expected: str = "",
        mend: str = "",
        arguments: tuple[Argument, ...] = (),
    ) -> None:
        self.code = code
        self.found = found = _bounded(found)
        self.expected = _bounded(expected)
        self.mend = _bounded(mend)
        self.arguments = arguments
        super().__init__(code, found)

    def __reduce__(self) -> tuple[Any, ...]:
        """Travel between processes with every attribute, whatever the signature."""
        return (_rebuild, (type(self), self.args, self.__dict__))

    def where(self) -> str:
        """Place of the fault, empty when there is none to name."""
        return ""

    def __str__(self) -> str:
        return self.told()

    def told(self, spell: Spelling = str) -> str:
        """The whole message, arguments spelt as a face spells them."""
        place = self.where()
        head = f"{place}: {self.found}" if place else self.found
        parts = [f"{head} [{self.code}]"]
        if self.expected:
            parts.append(f"expected: {self.expected}")
        if self.mend:
            mend = _with_arguments(self.mend, self.arguments, spell)
            parts.append(f"to mend it: {mend}")
        return "\n  ".join(parts)


def _rebuild(kind: type[FusethermError], args: tuple[Any, ...], state: dict[str, Any]) -> Any:
    error = kind.__new__(kind)
    error.args = args
    error.__dict__.update(state)
    return error


class InputError(FusethermError, ValueError):
    """A value that cannot be used: wrong sign, unit, range or kind."""


class FileError(InputError):
    """A fault in a file, with its path, line and key.

    Parameters
    ----------
    path : str or Path
        The file.
    line : int, optional
        Line, counted from 1.
    key : str, optional
        Key or column concerned.
    """

    def __init__(
        self,
        code: str,
        found: str,
        *,
        path: str | Path,
        line: int | None = None,
        key: str = "",
        expected: str = "",
        mend: str = "",
        arguments: tuple[Argument, ...] = (),
    ) -> None:
        super().__init__(code, found, expected=expected, mend=mend, arguments=arguments)
        self.path = str(path)
        self.line = line
        self.key = _bounded(key)

    def where(self) -> str:
        """File, line and key of the fault."""
        place = self.path
        if self.line is not None:
            place += f", line {self.line}"
        if self.key:
            place += f", {self.key}"
        return place


class SolveError(FusethermError, RuntimeError):
    """The integration could not be finished; ``run`` holds what was reached."""

    def __init__(
        self, code: str, found: str, *, run: Any = None, expected: str = "", mend: str = ""
    ) -> None:
        super().__init__(code, found, expected=expected, mend=mend)
        self.run = run


class CalibrationError(FusethermError):
    """The published data cannot be fitted by the model."""


class WriteError(FusethermError, OSError):
    """A result could not be written; nothing that stood there before was touched."""


class FusethermWarning(UserWarning):
    """Base of the warnings of fusetherm."""


class ExtrapolationWarning(FusethermWarning):
    """The answer lies outside the data the model was fitted to."""


class UndeterminedWarning(FusethermWarning):
    """The data leave a parameter to its prior, and the answer leans on it."""
