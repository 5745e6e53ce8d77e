"""An archive over real worker processes: the same bits, workers that die, a command that is ended."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import psutil
import pytest
from archives import ENDS_ITS_WORKER, fill, here, mixed, work_or_end, written

from telemetry.archive import analyse_archive, process_engine
from telemetry.archive.process_pool import ENDED_ITS_WORKER

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills processes as POSIX does")

WAIT_S = 300.0
LOGS = 16


@contextmanager
def command(archive: Path, out: Path, *more: str) -> Iterator[subprocess.Popen[bytes]]:
    """Run the command in a group of processes of its own, as a terminal does."""
    words = ["analyse", "--archive", str(archive), "--out", str(out), *more]
    argv = [sys.executable, "-m", "telemetry.cli", *words]
    # A suite that runs in the background may have been told to let Ctrl-C pass, and its children with it.
    listen = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    process = subprocess.Popen(
        argv,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        preexec_fn=listen,
    )
    with process:
        try:
            yield process
        finally:
            process.kill()


def midway(process: subprocess.Popen[bytes], out: Path, results: int) -> list[psutil.Process]:
    """Wait until some results are there, and return the processes that work on the others."""
    end = time.monotonic() + WAIT_S
    while finished(out) < results:
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < end
        time.sleep(0.01)
    return psutil.Process(process.pid).children(recursive=True)


def finished(out: Path) -> int:
    return len(list(out.glob("items/*.json")))


def test_the_results_are_the_same_bits_however_many_processes_make_them(tmp_path: Path) -> None:
    archive = mixed(tmp_path / "logs")
    analyse_archive(archive, tmp_path / "here", here)
    for jobs in (1, 2):
        analyse_archive(archive, tmp_path / f"{jobs}", process_engine(jobs))
    expected = written(tmp_path / "here")
    assert len(expected) == 7 + 2
    assert written(tmp_path / "1") == expected
    assert written(tmp_path / "2") == expected


def test_an_item_that_ends_its_worker_is_named_and_costs_no_other(tmp_path: Path) -> None:
    archive = fill(tmp_path / "logs", 4)
    (archive / "00001.csv").write_bytes(ENDS_ITS_WORKER)
    out = tmp_path / "out"
    rows = analyse_archive(archive, out, process_engine(2, work_or_end)).rows
    told = {item.name: facts for item, _, facts in rows}
    ended = [name for name, facts in told.items() if facts.error == ENDED_ITS_WORKER]
    assert ended == ["00001.csv"]
    assert [facts.outcome for facts in told.values()].count("done") == 3
    assert finished(out) == 3  # it is tried again next time


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, bytes]]:
    """An archive that takes two processes a few seconds, and its results."""
    archive = fill(tmp_path_factory.mktemp("many") / "logs", LOGS, rate_hz=10.0, passes=4)
    out = archive.with_name("expected")
    analyse_archive(archive, out, here)
    return archive, written(out)


def test_a_command_that_is_killed_is_gone_on_with(
    many: tuple[Path, dict[str, bytes]], tmp_path: Path
) -> None:
    archive, expected = many
    out = tmp_path / "out"
    with command(archive, out, "--jobs", "2") as running:
        workers = midway(running, out, 3)
    assert len(workers) >= 2
    assert psutil.wait_procs(workers, WAIT_S)[1] == []  # orphans would work on for nobody
    before = {name: data for name, data in written(out).items() if name.endswith(".json")}
    assert 3 <= len(before) < LOGS
    assert before.items() <= expected.items()
    assert "summary.csv" not in written(out)
    assert analyse_archive(archive, out, here).before == len(before)
    assert {name: data for name, data in written(out).items() if not name.endswith(".new")} == expected


def test_ctrl_c_ends_it_in_one_sentence(many: tuple[Path, dict[str, bytes]], tmp_path: Path) -> None:
    archive, expected = many
    out = tmp_path / "out"
    with command(archive, out, "--jobs", "2") as running:
        workers = midway(running, out, 2)
        os.killpg(running.pid, signal.SIGINT)
        output, errors = running.communicate(timeout=WAIT_S)
    assert running.returncode == 130
    assert output == b""
    assert errors.decode() == "reciprocal: interrupted; repeat the same call to continue\n"
    assert psutil.wait_procs(workers, WAIT_S)[1] == []
    kept = written(out)
    assert kept.keys() < expected.keys()
    assert kept.items() <= expected.items()


AMID_A_WAIT = """
from concurrent.futures import _base

def locked(self, lock=_base._AcquireFutures.__enter__):
    lock(self)
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(1000):
        pass  # here Python would listen

_base._AcquireFutures.__enter__ = locked
"""
AMID_A_RESULT = """
import time
from multiprocessing.connection import Connection

def slowly(self, size, *more, receive=Connection._recv):
    if size > 1_000_000:
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(2.0)
    return receive(self, size, *more)

Connection._recv = slowly
"""


@pytest.mark.parametrize("moment", [AMID_A_WAIT, AMID_A_RESULT])
def test_ctrl_c_at_the_worst_moment_ends_it_too(moment: str, tmp_path: Path) -> None:
    # Amid a wait a future stayed locked; amid a result, whose worker was ended, its rest was waited for.
    fill(tmp_path / "logs", 2)
    (tmp_path / "run.py").write_text(
        f"""
import os, signal, sys
{moment}
from pathlib import Path
sys.path.insert(0, {str(Path(__file__).parents[1] / "support")!r})
from archives import large
from telemetry.archive import analyse_archive, process_engine

if __name__ == "__main__":
    try:
        analyse_archive(Path("logs"), Path("out"), process_engine(2, large))
    except KeyboardInterrupt:
        sys.exit(130)
"""
    )
    path = os.pathsep.join([str(Path(__file__).parents[2]), os.environ.get("PYTHONPATH", "")])
    ended = subprocess.run(
        [sys.executable, "run.py"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": path},
        timeout=60.0,
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),
    )
    assert ended.returncode == 130
