"""What an archive costs: linear in its logs, and two processes against one.

The clock on the wall of a busy machine says nothing, so that processor time is counted: of this process,
which reads, keeps and tells, and of its workers. On processors that nobody else uses, work that is spread
evenly takes its processor time divided by their number.
"""

from __future__ import annotations

import resource
import time
from dataclasses import dataclass
from pathlib import Path

import pytest
from archives import fill

from telemetry.archive import analyse_archive, process_engine

SIZES = (100, 1_000, 10_000)


@dataclass(frozen=True)
class Cost:
    """What one run took [s]: processor time of this process and of the workers, and the wall's clock."""

    here_s: float
    workers_s: float
    wall_s: float


def cost(archive: Path, out: Path, jobs: int) -> Cost:
    def workers_s() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    here, workers, wall = time.process_time(), workers_s(), time.perf_counter()
    summary = analyse_archive(archive, out, process_engine(jobs))
    assert summary.unusable == ()
    return Cost(time.process_time() - here, workers_s() - workers, time.perf_counter() - wall)


@pytest.mark.study
def test_an_archive_costs_in_proportion_to_its_logs(tmp_path: Path) -> None:
    """Start-up is what two logs cost; a log of the largest archive costs as much as one of the middle one."""
    start = cost(fill(tmp_path / "few", 2, rate_hz=1.0), tmp_path / "few results", 1)
    print(f"\nstart-up {start.here_s + start.workers_s:.1f} s of processor time, taken off below")
    print(f"  {'logs':>6}{'here [ms/log]':>15}{'worker [ms/log]':>17}{'both [s]':>10}{'again [ms/log]':>16}")
    each_ms = {}
    for size in SIZES:
        archive, out = fill(tmp_path / f"{size}", size, rate_hz=1.0), tmp_path / f"{size} results"
        taken = cost(archive, out, 1)
        again = cost(archive, out, 1)  # all is finished: what going on costs
        here_ms, worker_ms = (
            1e3 * (value - less) / size
            for value, less in ((taken.here_s, start.here_s), (taken.workers_s, start.workers_s))
        )
        each_ms[size] = here_ms + worker_ms
        both_s, again_ms = taken.here_s + taken.workers_s, 1e3 * again.here_s / size
        print(f"  {size:>6}{here_ms:>15.2f}{worker_ms:>17.2f}{both_s:>10.1f}{again_ms:>16.2f}")
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"  most memory: here {most:.0f} MiB (with pytest and the logs' making), a worker {worker:.0f} MiB")
    print(f"  a log of the largest costs {each_ms[SIZES[-1]] / each_ms[SIZES[1]]:.2f} times one of the next")


@pytest.mark.study
def test_two_processes_are_nearly_twice_as_fast_as_one(tmp_path: Path) -> None:
    """One worker's processor time over half of what two workers and this process take."""
    few, archive = fill(tmp_path / "few", 2, rate_hz=10.0), fill(tmp_path / "logs", 300, rate_hz=10.0)
    net = {}
    for jobs in (1, 2):
        start = cost(few, tmp_path / f"few {jobs}", jobs)
        taken = cost(archive, tmp_path / f"{jobs}", jobs)
        net[jobs] = Cost(
            taken.here_s - start.here_s, taken.workers_s - start.workers_s, taken.wall_s - start.wall_s
        )
        print(
            f"\n{jobs} workers: here {net[jobs].here_s:.2f} s, workers {net[jobs].workers_s:.2f} s, "
            f"wall {net[jobs].wall_s:.1f} s, start-up (workers) {start.workers_s:.1f} s"
        )
    ratio = net[1].workers_s / max((net[2].workers_s + net[2].here_s) / 2, net[2].here_s)
    # Two workers at once slow one another down (memory, processors that are halves of one): the most that the
    # machine lets any two reach.
    most = 2.0 * net[1].workers_s / net[2].workers_s
    print(
        f"by processor time {ratio:.2f} times as fast, by the wall {net[1].wall_s / net[2].wall_s:.2f} times "
        f"(wanted: at least 1.8); two workers that share nothing but the machine: {most:.2f} times"
    )
