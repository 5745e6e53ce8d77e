"""Archives of small simulated logs, and engines and work for tests of archives."""

from __future__ import annotations

import os
import signal
from collections.abc import Generator, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pandas as pd

from sample_logs.outing import simulate_outing
from sample_logs.receiver import Receiver
from sample_logs.writers import motor_to_csv, to_csv, to_gpx
from telemetry.archive.table import RowFacts
from telemetry.archive.worker import Outcome, Task, run_task
from telemetry.core.frames import MotorLog, Track

ENDS_ITS_WORKER = b"this log ends the process that reads it"
FIRST_UTC = pd.Timestamp("2025-05-03T08:00:00Z")


@cache
def outings(rate_hz: float, passes: int) -> list[tuple[Track, MotorLog]]:
    """A few distinct outings, to be copied under other stamps."""
    drawn = (
        simulate_outing(k, receiver=Receiver(rate_hz=rate_hz), passes=passes, motor_rate_hz=10.0)
        for k in range(4)
    )
    return [(outing.track, outing.motor) for outing in drawn]


def speed_log(k: int, rate_hz: float = 2.0, passes: int = 2) -> bytes:
    """The k-th log: a few distinct ones, each an hour later than the one before, so that none are alike."""
    drawn = outings(rate_hz, passes)
    track, _ = drawn[k % len(drawn)]
    stamped = replace(track.meta, start_utc=FIRST_UTC + pd.Timedelta(hours=k))
    return to_csv(replace(track, meta=stamped))


def fill(archive: Path, logs: int, rate_hz: float = 2.0, passes: int = 2) -> Path:
    """Fill an archive with loose speed logs."""
    archive.mkdir(parents=True, exist_ok=True)
    for k in range(logs):
        (archive / f"{k:05d}.csv").write_bytes(speed_log(k, rate_hz, passes))
    return archive


def mixed(archive: Path) -> Path:
    """Fill an archive with some of everything."""
    fill(archive, 3)
    track, motor = outings(10.0, 2)[0]
    for name in ("2025/may", "twins"):
        (archive / name).mkdir(parents=True)
    (archive / "2025" / "may" / "speed.gpx").write_bytes(to_gpx(track))
    (archive / "2025" / "may" / "motor.csv").write_bytes(motor_to_csv(motor, "brackets", 2))
    (archive / "2025" / "may" / "cut.fit").write_bytes(b"\x0e\x10")
    (archive / "twins" / "00000.csv").write_bytes((archive / "00000.csv").read_bytes())
    (archive / "lake.gpx").write_bytes(to_gpx(track))
    (archive / "lake.csv").write_bytes(motor_to_csv(motor, "brackets", 2))
    (archive / "alone.csv").write_bytes(motor_to_csv(motor, "brackets", 2))
    (archive / "broken.gpx").write_bytes(b"<gpx>")
    (archive / "notes.md").write_text("windy", encoding="utf-8")
    return archive


def here(tasks: Iterator[Task]) -> Generator[tuple[Task, Outcome]]:
    """The engine that spreads nothing: this very process."""
    for task in tasks:
        yield task, run_task(task)


def work_or_end(task: Task) -> Outcome:
    """Work, but for a log that kills the process as the kernel does when memory is short."""
    if any(log.data == ENDS_ITS_WORKER for log in task.logs):
        os.kill(os.getpid(), signal.SIGKILL)
    return run_task(task)


def large(task: Task) -> Outcome:
    """Make a result that no pipe takes at once."""
    return Outcome(b"x" * 5_000_000, RowFacts.unusable("not looked at"))


def written(out: Path) -> dict[str, bytes]:
    """Everything in a folder of results, byte for byte."""
    files = (file for file in out.rglob("*") if file.is_file())
    return {file.relative_to(out).as_posix(): file.read_bytes() for file in files}
