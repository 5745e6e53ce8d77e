"""Analyse one item: bytes in, bytes out, identical in any process and on any machine."""

from __future__ import annotations

import json
import platform
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy
import pandas
import scipy

from telemetry import __version__
from telemetry.analysis import Request, analyse
from telemetry.archive.table import RowFacts, facts_of
from telemetry.core.errors import LogError, ReciprocalError, fault_text
from telemetry.core.frames import Log
from telemetry.readers import LogFile, ReadOptions, open_bytes, read_opened

MADE_BY: Final = (
    f"reciprocal {__version__} with Python {'.'.join(platform.python_version_tuple()[:2])}, "
    f"numpy {numpy.__version__}, pandas {pandas.__version__}, scipy {scipy.__version__}"
)
"""The versions on which the last bit of a result may depend, apart from the kind of processor."""


@dataclass(frozen=True, slots=True)
class Task:
    """Everything a worker needs; no path of this machine is in it.

    Attributes
    ----------
    key : str
        The name of the result, see :func:`telemetry.archive.results.key_of`.
    logs : tuple of LogFile
        Their bytes, archives still packed.
    unread : tuple of LogError
        Files of the item that could not be loaded into memory.
    request : Request
        With the rule itself, not its file.
    options : ReadOptions
    """

    key: str
    logs: tuple[LogFile, ...]
    unread: tuple[LogError, ...]
    request: Request
    options: ReadOptions


@dataclass(frozen=True, slots=True)
class Outcome:
    """The result of a task.

    Attributes
    ----------
    document : bytes
        The contract ``reciprocal-analysis/1`` as JSON; empty if there is none.
    facts : RowFacts
        The facts of the summary's row.
    made_by : str
        :data:`MADE_BY` of the worker.
    """

    document: bytes
    facts: RowFacts
    made_by: str = MADE_BY


Work = Callable[[Task], Outcome]
"""The work of a worker: :func:`run_task`, except in tests."""

Engine = Callable[[Iterator[Task]], Generator[tuple[Task, Outcome]]]
"""Takes tasks as it has room for them, and yields each with its outcome, in any order."""


def run_task(task: Task) -> Outcome:
    """Analyse one item.

    Returns
    -------
    Outcome
        An item without a usable log has a document too, which gives the reason. After a fault of the program
        itself there is none, so that a later version tries again.

    Raises
    ------
    ReciprocalError
        If the request cannot be used.
    """
    logs: list[Log] = []
    errors: list[LogError] = list(task.unread)
    try:
        for file in task.logs:
            read, unused = read_opened(open_bytes(file.data, file.file), task.options)
            logs += read
            errors += unused
        contract = analyse(logs, task.request, errors).to_dict()
        document = serialise_result(contract, task.key)
    except ReciprocalError:
        raise
    except Exception as error:  # a fault in one log must not end thousands of others
        return Outcome(b"", RowFacts.unusable(fault_text(error)))
    return Outcome(document, facts_of(contract))


def serialise_result(contract: dict[str, Any], key: str) -> bytes:
    """Serialise a result: the contract, and the key by which it is found again."""
    kept = contract | {"archive": {"key": key, "made_by": MADE_BY}}
    return json.dumps(kept, allow_nan=False, separators=(",", ":")).encode("ascii") + b"\n"
