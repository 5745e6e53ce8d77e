"""Several processes, and processes that are killed, at one logbook."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest
from crash_study import kill_imports, processes
from logbooks import BOAT, SHEET, everything, small_log

from telemetry.core.errors import LogbookError
from telemetry.logbook import Logbook, open_logbook

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL and no fork server there")


def test_killing_an_import_leaves_all_of_it_or_nothing(fleet: Logbook, logbook_url: str) -> None:
    tally = kill_imports(fleet, logbook_url, range(10, 16), random.Random(4))
    assert tally.whole + tally.none == tally.kills == 6
    assert tally.none  # some were stopped short, or nothing was shown


def _add(url: str, hours: range, gate: object, refused: object) -> None:
    with open_logbook(url) as logbook:
        gate.wait()  # type: ignore[attr-defined]
        for hour in hours:
            try:
                logbook.import_outing([small_log(hour)], BOAT, SHEET.name)
            except LogbookError as error:
                refused.put(str(error))  # type: ignore[attr-defined]


def together(url: str, *hours: range) -> list[str]:
    """Import in several processes at the same time; return what they were refused."""
    context = processes()
    gate, refused = context.Barrier(len(hours)), context.Queue()
    running = [context.Process(target=_add, args=(url, mine, gate, refused)) for mine in hours]
    for process in running:
        process.start()
    for process in running:
        process.join(timeout=120)
    assert [process.exitcode for process in running] == [0] * len(hours)
    said = []
    while not refused.empty():
        said.append(refused.get())
    refused.close()
    refused.join_thread()
    return said


def test_two_processes_that_add_at_once_both_succeed(fleet: Logbook, logbook_url: str) -> None:
    assert together(logbook_url, range(4), range(4, 8)) == []
    assert [o.passes for o in fleet.outings()] == [2] * 8
    assert {log.file for o in fleet.outings() for log in o.logs} == {f"outing_{h}.csv" for h in range(8)}


def test_two_processes_that_add_the_same_logs_at_once_add_each_once(fleet: Logbook, logbook_url: str) -> None:
    refused = together(logbook_url, range(3), range(3))
    assert len(refused) == 3
    assert all("in the logbook already" in said for said in refused)
    assert fleet.count_outings() == 3
    assert len(everything(fleet)["logs"]) == 3


def _open(url: str, gate: object, failed: object) -> None:
    gate.wait()  # type: ignore[attr-defined]
    try:
        with open_logbook(url) as logbook:
            logbook.boats()
    except Exception as error:
        failed.put(repr(error))  # type: ignore[attr-defined]


def test_several_processes_may_make_the_same_new_logbook(logbook_url: str, tmp_path: Path) -> None:
    context = processes()
    gate, failed = context.Barrier(4), context.Queue()
    running = [context.Process(target=_open, args=(logbook_url, gate, failed)) for _ in range(4)]
    for process in running:
        process.start()
    for process in running:
        process.join(timeout=60)
    said = []
    while not failed.empty():
        said.append(failed.get())
    failed.close()
    failed.join_thread()
    assert said == []
    with open_logbook(logbook_url) as logbook:
        assert logbook.boats() == ()
