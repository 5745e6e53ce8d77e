"""The errors a user can meet, as one tree.

::

    ReciprocalError
    ├── LogError                    something about one log file
    │   ├── UnknownFormatError      no reader, or several, claim the file
    │   ├── DamagedLogError         broken before the first usable sample
    │   ├── NothingUsableError      read without error, yet nothing to analyse
    │   ├── HeadingMapNeededError   a table whose columns cannot be named without the user
    │   └── PolePairsNeededError    electrical rpm alone, and nobody said how many poles the motor has
    ├── RuleError                   a rule file or rule name that cannot be used
    ├── SetupError                  a setup sheet, a gauge or a measure from the bench
    ├── CallError                   arguments that do not fit together
    ├── KeptError                   what was asked once cannot be kept or forgotten
    └── LogbookError                the logbook on disk
        └── FilledLogbookError      something in it would be lost

Each message reads ``file (place): reason. Fix: hint`` so that a user never needs a traceback.
"""

from __future__ import annotations

import traceback
from pathlib import Path
from typing import Any, Final

from telemetry.core.sanitize import shortened

_LONGEST: Final = 2000


class ReciprocalError(Exception):
    """Root of every error this project raises on purpose.

    Parameters
    ----------
    reason : str
        What is wrong, without a full stop.
    file, place, hint : str, optional
        The file's name, the line, byte or column inside it, and what the user can do about it.
    """

    def __init__(self, reason: str, *, file: str = "", place: str = "", hint: str = "") -> None:
        self.reason = reason
        self.file = file
        self.place = place
        self.hint = hint
        super().__init__(self._text())

    def _text(self) -> str:
        where = f"{self.file} ({self.place})" if self.file and self.place else self.file or self.place
        text = f"{where}: {self.reason}." if where else f"{self.reason}."
        # It quotes files and their names, which may hold anything at any length.
        return shortened(f"{text} Fix: {self.hint}." if self.hint else text, _LONGEST)

    def __reduce__(self) -> tuple[Any, ...]:
        """Keep all that it says when it goes to another process: its arguments are keywords."""
        return _copied, (type(self), self.args, self.__dict__)


def _copied(kind: type[ReciprocalError], args: tuple[Any, ...], state: dict[str, Any]) -> ReciprocalError:
    error = kind.__new__(kind, *args)
    error.__dict__.update(state)
    return error


class LogError(ReciprocalError):
    """A log file that cannot be used."""


class UnknownFormatError(LogError):
    """No reader recognises the content, or more than one does."""


class DamagedLogError(LogError):
    """The file breaks off or contradicts itself before the first usable sample."""


class NothingUsableError(LogError):
    """The file is well formed and still holds nothing that can be analysed."""


class ColumnMapNeededError(LogError):
    """A table whose headings do not say which column means what.

    Attributes
    ----------
    headings : tuple of str
        The headings found, in file order, for the caller to ask about.
    """

    def __init__(
        self, reason: str, *, headings: tuple[str, ...], file: str = "", place: str = "", hint: str = ""
    ) -> None:
        super().__init__(reason, file=file, place=place, hint=hint)
        self.headings = headings


class PolePairsNeededError(LogError):
    """A table that tells only how fast the motor's field turns, without the motor's pole pairs."""


class RuleError(ReciprocalError):
    """A two-way rule that does not exist or whose file is wrong."""


class SetupError(ReciprocalError):
    """A setup sheet, a gauge, a mass or a measure that cannot be used."""

    def in_file(self, file: str) -> SetupError:
        """Say the same, with the file in which it stands."""
        return SetupError(self.reason, file=file, place=self.place, hint=self.hint)


class CallError(ReciprocalError):
    """Arguments that cannot be used together."""


class SavedColumnsError(ReciprocalError):
    """A map that was asked for once and cannot be kept, read again or forgotten."""


class LogbookError(ReciprocalError):
    """The logbook on disk cannot be opened, read or written."""


class FilledLogbookError(LogbookError):
    """What is in the logbook would be lost."""


def path_fault(error: Exception) -> str:
    """Explain why a path leads to no file: from the OSError, RuntimeError or ValueError that it brings about."""
    if isinstance(error, RuntimeError):  # how pathlib tells of links before Python 3.13
        return "its links lead in a circle"
    return getattr(error, "strerror", None) or str(error)


def fault_text(error: BaseException) -> str:
    """Say in one sentence that the program itself is at fault, and where."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    told = shortened(str(error), _LONGEST)
    what = f"{type(error).__name__}: {told} ({Path(last.filename).name}, line {last.lineno})"
    return f"a fault of the program, not of your log: {what}. Fix: report it with the log."
