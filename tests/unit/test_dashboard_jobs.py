import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard.session.jobs import SILENT_S, Job, Queue
from telemetry.core.errors import CallError
from telemetry.core.progress import report


@pytest.fixture
def pool():
    with ThreadPoolExecutor(2) as threads:
        yield threads


def wait(until: Callable[[], bool]) -> None:
    """Wait for other threads; a job that never gets there fails the test."""
    end = time.monotonic() + 20.0
    while not until():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.005)


class Work:
    """Work that a test lets go on step by step."""

    def __init__(self) -> None:
        self.begun, self.go_on = threading.Event(), threading.Event()
        self.left: list[str] = []

    def __call__(self, job: Job) -> None:
        self.begun.set()
        report(0.5)
        while not self.go_on.wait(0.005):
            report(0.4)  # a share that falls is not shown
        job.conclude()
        self.left.append(job.name)


def test_jobs_of_one_reader_run_small_ones_first_and_one_after_another(pool: ThreadPoolExecutor) -> None:
    queue, first, order = Queue(pool), Work(), []
    queue.add(Job("reading", "first", first))
    assert first.begun.wait(20)
    for name, kind, size in (("big", "reading", 9), ("all", "analysing", 0), ("small", "reading", 1)):
        queue.add(Job(kind, name, lambda job: order.append(job.name), size))
    assert [view.state for view in queue.views] == ["under way", "waiting", "waiting", "waiting"]
    assert queue.waiting_bytes == 10
    first.go_on.set()
    wait(lambda: not queue.under_way)
    assert (first.left, order) == (["first"], ["small", "big", "all"])
    assert queue.views == ()  # what they left speaks for them
    assert queue.waiting_bytes == 0


def test_readers_take_turns() -> None:
    order: list[str] = []
    with ThreadPoolExecutor(1) as pool:
        mine, yours, first = Queue(pool), Queue(pool), Work()
        mine.add(Job("reading", "first", first))
        assert first.begun.wait(20)
        for k in range(3):
            mine.add(Job("reading", f"mine {k}", lambda job: order.append(job.name)))
        yours.add(Job("reading", "yours", lambda job: order.append(job.name)))
        first.go_on.set()
        wait(lambda: not mine.under_way and not yours.under_way)
    assert order.index("yours") <= 1


def test_the_share_never_falls_and_what_fails_is_said(pool: ThreadPoolExecutor) -> None:
    queue, work = Queue(pool), Work()
    queue.add(Job("reading", "a", work))
    assert work.begun.wait(20)
    wait(lambda: queue.views[0].share == 0.5)
    time.sleep(0.02)
    assert queue.views[0].share == 0.5
    work.go_on.set()

    def refuse(_job: Job) -> None:
        raise CallError("no such thing", hint="say another")

    def break_down(_job: Job) -> None:
        raise KeyError("an inner fault")

    for fails in (refuse, break_down):
        queue.add(Job("reading", "b", fails))
    wait(lambda: not queue.under_way)
    refused, broken = queue.views
    assert (refused.state, refused.said) == ("failed", "no such thing. Fix: say another.")
    assert broken.state == "failed"
    assert "inner fault" not in broken.said  # for the server's log, not for the page
    queue.forget(refused.key)
    assert len(queue.views) == 1


def test_a_cancelled_job_leaves_nothing_and_the_next_one_runs(pool: ThreadPoolExecutor) -> None:
    queue, work, waiting, after = Queue(pool), Work(), Work(), Work()
    after.go_on.set()
    for name, one in (("running", work), ("waiting", waiting), ("after", after)):
        queue.add(Job("reading", name, one))
    assert work.begun.wait(20)
    running, second, _ = queue.views
    queue.cancel(running.key)
    queue.cancel(second.key)
    wait(lambda: not queue.under_way)
    work.go_on.set()
    assert (work.left, waiting.left, after.left) == ([], [], ["after"])
    assert not waiting.begun.is_set()
    assert [view.state for view in queue.views] == ["cancelled", "cancelled"]


def test_past_its_point_of_no_return_a_job_is_done_whatever_is_pressed() -> None:
    queue, left = Queue(), []

    def work(job: Job) -> None:
        job.conclude()
        queue.cancel_all()
        left.append(job.view.state)

    queue.add(Job("keeping", "", work))
    assert left == ["under way"]
    assert queue.views == ()


def test_the_jobs_of_a_tab_that_is_not_heard_of_end() -> None:
    now_s = [0.0]
    queue, left = Queue(clock=lambda: now_s[0]), []

    def work(job: Job) -> None:
        report(0.1)
        now_s[0] += SILENT_S - 1.0
        queue.hear()
        now_s[0] += SILENT_S - 1.0
        report(0.2)
        now_s[0] += 2.0
        report(0.3)
        left.append(job.name)

    queue.add(Job("reading", "a", work))
    assert left == []
    assert queue.views[0].state == "cancelled"


def test_a_closed_queue_takes_no_more(pool: ThreadPoolExecutor) -> None:
    queue, work = Queue(pool), Work()
    queue.add(Job("reading", "a", work))
    assert work.begun.wait(20)
    queue.close()
    queue.add(Job("reading", "b", work))
    wait(lambda: not queue.under_way)
    assert work.left == []
