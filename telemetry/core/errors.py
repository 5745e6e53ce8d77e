"""The errors a user can meet, as one tree.

::

    ReciprocalError
    ├── LogError                    something about one log file
    │   ├── UnknownFormatError      no reader, or several, claim the file
    │   ├── DamagedLogError         broken before the first usable sample
    │   ├── NothingUsableError      read without error, yet nothing to analyse
    │   ├── ColumnMapNeededError    a table whose columns cannot be named without the user
    │   └── PolePairsNeededError    electrical rpm only, and the motor's pole pairs are unknown
    ├── RuleError                   a rule file or rule name that cannot be used
    ├── SetupError                  a setup sheet, a gauge or a measurement that cannot be used
    ├── CallError                   arguments that do not fit together
    ├── SavedColumnsError           saved column meanings that cannot be written, read or removed
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
        # The message quotes files and their names, which may hold anything at any length.
        return shortened(f"{text} Fix: {self.hint}." if self.hint else text, _LONGEST)

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle all attributes, since the constructor takes keywords only."""
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
    """The file is well formed but holds nothing that can be analysed."""


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
    """A table with electrical rpm only, without the motor's pole pairs."""


class RuleError(ReciprocalError):
    """A two-way rule that does not exist or whose file is wrong."""


class SetupError(ReciprocalError):
    """A setup sheet, a gauge, a mass or a measurement that cannot be used."""

    def in_file(self, file: str) -> SetupError:
        """Return the same error with the name of its file."""
        return SetupError(self.reason, file=file, place=self.place, hint=self.hint)


class CallError(ReciprocalError):
    """Arguments that cannot be used together."""


class SavedColumnsError(ReciprocalError):
    """Saved column meanings that cannot be written, read or removed."""


class LogbookError(ReciprocalError):
    """The logbook on disk cannot be opened, read or written."""


class FilledLogbookError(LogbookError):
    """Data in the logbook would be lost."""


def path_fault(error: Exception) -> str:
    """Explain why a path cannot be opened, from its OSError, RuntimeError or ValueError."""
    if isinstance(error, RuntimeError):  # how pathlib reports circular links before Python 3.13
        return "its links form a circle"
    return getattr(error, "strerror", None) or str(error)


def fault_text(error: BaseException) -> str:
    """Report a fault of the program itself, and where it happened, in one sentence."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    message = shortened(str(error), _LONGEST)
    what = f"{type(error).__name__}: {message} ({Path(last.filename).name}, line {last.lineno})"
    return f"a fault of the program, not of your log: {what}. Fix: report it with the log."
