"""An archive over a Dask cluster: a LocalCluster, and two workers on loopback of which one is killed."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from archives import ENDS_ITS_WORKER, fill, here, mixed, work_or_end, written

from telemetry.analysis import Request
from telemetry.archive import analyse_archive, cluster_engine
from telemetry.archive.cluster import ENDED_ITS_WORKERS
from telemetry.cli import main
from telemetry.core.errors import CallError

reason = "the optional packages of [cluster] are not installed"
dask = pytest.importorskip("dask", reason=reason)
distributed = pytest.importorskip("distributed", reason=reason)

WAIT_S = 300.0
LOGS = 16


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """The address of a cluster that gives a task up with the first worker that it ends."""
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
        ) as cluster,
    ):
        yield cluster.scheduler_address


def test_a_local_cluster_gives_the_same_bits(cluster: str, tmp_path: Path) -> None:
    archive = mixed(tmp_path / "logs")
    analyse_archive(archive, tmp_path / "here", here)
    analyse_archive(archive, tmp_path / "there", cluster_engine(cluster))
    assert written(tmp_path / "there") == written(tmp_path / "here")


def test_an_item_that_ends_its_workers_is_named_and_costs_no_other(cluster: str, tmp_path: Path) -> None:
    archive = fill(tmp_path / "logs", 1)
    (archive / "00001.csv").write_bytes(ENDS_ITS_WORKER)
    (_, _, good), (_, _, bad) = analyse_archive(
        archive, tmp_path / "out", cluster_engine(cluster, work_or_end)
    ).rows
    assert (good.outcome, bad.outcome, bad.error) == ("done", "could not be used", ENDED_ITS_WORKERS)


@contextmanager
def process(*argv: str, log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Run a Python program until the end of the block."""
    with (
        log.open("wb") as stream,
        subprocess.Popen([sys.executable, *argv], stdout=stream, stderr=stream) as run,
    ):
        try:
            yield run
        finally:
            run.kill()


def scheduler(folder: Path) -> tuple[str, ...]:
    file = str(folder / "scheduler.json")
    where = ("--host", "127.0.0.1", "--port", "0", "--scheduler-file", file)
    return ("-m", "distributed.cli.dask_scheduler", *where, "--no-dashboard", "--no-show")


def worker(address: str) -> tuple[str, ...]:
    return ("-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard")


def address_of(folder: Path) -> str:
    """Wait for a scheduler's word where it listens."""
    end = time.monotonic() + WAIT_S
    while True:
        assert time.monotonic() < end, (folder / "scheduler.log").read_text()
        try:
            return str(json.loads((folder / "scheduler.json").read_bytes())["address"])
        except (FileNotFoundError, ValueError):
            time.sleep(0.02)


def test_a_worker_killed_midway_costs_nothing_and_a_scheduler_killed_is_gone_on_without(
    tmp_path: Path,
) -> None:
    archive, out = fill(tmp_path / "logs", LOGS, rate_hz=10.0, passes=4), tmp_path / "out"
    analyse_archive(archive, tmp_path / "here", here)
    with ExitStack() as stack:
        spreads = stack.enter_context(process(*scheduler(tmp_path), log=tmp_path / "scheduler.log"))
        address = address_of(tmp_path)
        one, _ = (
            stack.enter_context(process(*worker(address), log=tmp_path / f"worker{k}.log")) for k in (1, 2)
        )
        with distributed.Client(address, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=WAIT_S)
        at: list[int] = []

        def kill_a_worker(settled: int, _: int) -> None:
            if settled >= 3 and one.poll() is None:
                at.append(settled)
                one.kill()

        analyse_archive(archive, out, cluster_engine(address), progress=kill_a_worker)
        assert one.returncode != 0
        assert at[0] < LOGS - 4  # while each worker still had some under way and some to come
        assert written(out) == written(tmp_path / "here")

        anew = Request(distance_m=50.0)
        with pytest.raises(CallError, match=r"was lost.*repeat this call"):
            analyse_archive(archive, out, cluster_engine(address), anew, progress=lambda *_: spreads.kill())
    assert 1 <= analyse_archive(archive, out, here, anew).before < LOGS


def test_without_a_worker_it_ends_and_says_so(tmp_path: Path) -> None:
    archive = fill(tmp_path / "logs", 1)
    with process(*scheduler(tmp_path), log=tmp_path / "scheduler.log"):
        address = address_of(tmp_path)
        with pytest.raises(CallError, match=r"has had no worker for 0 s.*repeat this call"):
            analyse_archive(archive, tmp_path / "out", cluster_engine(address, patience_s=0.0))


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "no address at all", "tcp://"])
def test_no_scheduler_is_one_sentence(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("telemetry.archive.cluster._CONNECT_S", 0.3)
    archive = fill(tmp_path / "logs", 1)
    assert main(["analyse", "--archive", str(archive), "--scheduler", address]) == 2
    assert f"no scheduler answers at {address}" in capsys.readouterr().err
