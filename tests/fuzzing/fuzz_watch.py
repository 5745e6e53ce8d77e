"""What reading a log costs and touches: processor time, memory, and anything outside the program."""

from __future__ import annotations

import resource
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

_OUTSIDE: Final = (
    "socket.", "subprocess.", "os.system", "os.exec", "os.fork", "os.posix_spawn", "os.remove",
    "os.rename", "os.mkdir", "os.listdir", "os.scandir", "shutil.", "tempfile.", "urllib.", "ftplib.",
    "http.", "ctypes.dlopen", "webbrowser.", "pickle.", "compile_command",
)  # fmt: skip
_touched: list[str] | None = None
_watched_thread = 0  # others may serve or log meanwhile
_installed = False


def _hook(event: str, arguments: tuple[Any, ...]) -> None:
    if _touched is None or threading.get_ident() != _watched_thread:
        return
    if event == "open" and not _is_import(arguments[0]):
        _touched.append(f"open {arguments[0]!r}")
    elif event.startswith(_OUTSIDE) and not any(isinstance(a, str) and _is_import(a) for a in arguments):
        _touched.append(f"{event} {arguments!r}")


def _is_import(path: object) -> bool:
    """Whether a file is a module that is loaded late, or says how many processors there are."""
    return isinstance(path, str) and path.startswith(("/sys/fs/cgroup/", *filter(None, sys.path)))


class TooCostlyError(AssertionError):
    """An input that costs more time or memory than its size may."""


class TouchedOutsideError(AssertionError):
    """An input that made the program open something."""


@contextmanager
def watched(what: str, seconds: float, megabytes: float) -> Iterator[None]:
    """Fail where a block costs more than this, or opens a file, a socket or a process.

    Only Python's own opening is seen (its audit events). What the XML library's C code might open shows by
    its cost, since the mutations of GPX name a file without end, and by a socket in the reader's unit tests.
    """
    global _touched, _watched_thread, _installed
    if not _installed:
        sys.addaudithook(_hook)
        _installed = True
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun = time.process_time()
    _watched_thread = threading.get_ident()
    _touched = touched = []
    try:
        yield
    finally:
        _touched = None
    spent = time.process_time() - begun
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb) / 1024
    if touched:
        raise TouchedOutsideError(f"{what} touches {touched[:3]}")
    if spent > seconds:
        raise TooCostlyError(f"{what} takes {spent:.2f} s, allowed are {seconds:.2f}")
    if grown > megabytes:
        raise TooCostlyError(f"{what} needs {grown:.0f} MB more, allowed are {megabytes:.0f}")
