"""Finished results: one file each, named by a hash of its inputs and so never computed twice."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from telemetry import __version__
from telemetry.analysis import Request
from telemetry.archive.discover import MARKER
from telemetry.archive.table import RowFacts, facts_of
from telemetry.archive.worker import MADE_BY
from telemetry.core.errors import CallError, LogError
from telemetry.core.paths import atomic_write
from telemetry.readers import LogFile, ReadOptions
from telemetry.schema import ANALYSIS_SCHEMA

_LETTERS: Final = 32
_HOUR_S: Final = 3600.0


def request_id(request: Request, options: ReadOptions) -> str:
    """Hash the request, the read options and the version of the program.

    The request holds the rule itself, so that an edited rule file gives another id.
    """
    asked = {
        "version": __version__,
        "schema": ANALYSIS_SCHEMA,
        "request": repr(request),  # repr keeps the kinds of corrections by hand apart
        "headings": dict(options.headings),
        "pole_pairs": options.pole_pairs,
        "gear_ratio": options.gear_ratio,
        "kept": [kept.to_dict() for _, kept in sorted(options.kept.items())],
    }
    return _digest(json.dumps(asked, sort_keys=True).encode())


def key_of(logs: Sequence[LogFile], unread: Sequence[LogError], question: str) -> str:
    """Hash the content and the names of an item's logs, and the request.

    Their location has no part in it: a renamed folder is not analysed again.

    Parameters
    ----------
    logs : sequence of LogFile
        The item's logs.
    unread : sequence of LogError
        Its files that could not be loaded.
    question : str
        The result of :func:`request_id`.
    """
    parts = [(log.file, hashlib.sha256(log.data).hexdigest()) for log in logs]
    content = json.dumps([parts, [str(error) for error in unread]])
    return f"{_digest(content.encode())}-{question}"


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:_LETTERS]


class Results:
    """A folder of results.

    Parameters
    ----------
    folder : Path
        Empty or not existing, or the results of an earlier run.

    Attributes
    ----------
    outdated : set of str
        The keys that were looked up and whose results came from other versions.

    Raises
    ------
    CallError
        If it holds anything else, or cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.outdated: set[str] = set()
        self._items = folder / "items"
        try:
            if folder.exists() and not (folder / MARKER).is_file() and any(folder.iterdir()):
                raise CallError(
                    f"{folder} holds files that are not results",
                    hint="name a new or empty folder with --out, or the results of an earlier run",
                )
            self._items.mkdir(parents=True, exist_ok=True)
            (folder / MARKER).write_text("Results of `reciprocal analyse --archive`.\n", encoding="utf-8")
            self._sweep()
        except OSError as error:
            raise _cannot_write(folder, error) from None

    def _sweep(self) -> None:
        """Remove half-written files of a killed run, unless so young that another run may be writing them."""
        for left in self.folder.rglob("*.new"):
            with suppress(FileNotFoundError):  # the other run has just renamed it
                if time.time() - left.stat().st_mtime > _HOUR_S:
                    left.unlink(missing_ok=True)

    @property
    def table(self) -> Path:
        """Path of the summary."""
        return self.folder / "summary.csv"

    def file(self, key: str) -> Path:
        """Path of a result, finished or not."""
        return self._items / f"{key}.json"

    def facts(self, key: str) -> RowFacts | None:
        """Load a finished result; None if there is none, or it is damaged or of other versions."""
        try:
            contract = json.loads(self.file(key).read_bytes())
            if contract["schema"] != ANALYSIS_SCHEMA or contract["archive"]["key"] != key:
                return None
            if contract["archive"]["made_by"] != MADE_BY:
                self.outdated.add(key)  # its last bits may differ from those of its neighbours
                return None
            return facts_of(contract)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError):
            return None  # damaged since it was written: computed again and replaced

    def keep(self, key: str, document: bytes) -> None:
        """Write a result atomically.

        Raises
        ------
        CallError
            If it cannot be written.
        """
        try:
            with atomic_write(self.file(key)) as stream:
                stream.write(document)
        except OSError as error:
            raise _cannot_write(self.folder, error) from None


def _cannot_write(folder: Path, error: OSError) -> CallError:
    reason = f"results cannot be written into {folder}: {error.strerror or error}"
    return CallError(reason, hint="free some space there, or name another folder with --out")
