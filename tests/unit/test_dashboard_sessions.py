import base64
import time

import pytest

from dashboard.session import sessions as module
from dashboard.session import tab_session as session_module
from dashboard.session.intake import put_in, take_in
from dashboard.session.jobs import Job
from dashboard.session.samples import sample_uploads
from dashboard.session.sessions import Session, Sessions, new_token
from dashboard.session.uploads import read_upload
from telemetry import readers
from telemetry.analysis import Request
from telemetry.core.progress import report
from telemetry.readers.base import LogReader
from telemetry.twoway.rules import parse_rule, shipped_text


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def test_one_tab_never_sees_anothers_logs() -> None:
    sessions = Sessions()
    mine, yours = new_token(), new_token()
    sessions.open(mine).put(sample_uploads()[0])
    assert sessions.peek(mine).logs
    assert not sessions.peek(yours).logs
    assert not sessions.open(yours).logs


def test_looking_makes_no_session_and_a_guessed_name_is_refused() -> None:
    sessions = Sessions()
    sessions.peek(new_token())
    sessions.peek(None)
    assert len(sessions) == 0
    for guess in (None, "", "short", "x" * 31, "../" * 12, "a b" * 12):
        with pytest.raises(ValueError, match="load the page again"):
            sessions.open(guess)


def test_an_answer_keeps_its_name_until_it_is_another() -> None:
    session, later = Session(), Session()
    none = session.edition(Request())
    assert later.edition(Request()) != none  # of the same tab, after the first was forgotten
    put_in(session, sample_uploads()[:1])
    session.analysis(Request())
    first = session.edition(Request())
    assert first != none
    assert session.edition(Request(rule="land")) != first
    session.answer(Request(rule="land"))
    assert session.edition(Request()) == first
    put_in(session, sample_uploads()[1:2])
    session.analysis(Request())
    assert session.edition(Request()) != first


def test_sessions_are_bounded_and_the_one_idle_longest_goes_first() -> None:
    sessions = Sessions(limit=2)
    first, second, third = new_token(), new_token(), new_token()
    kept = sessions.open(first)
    sessions.open(second)
    sessions.peek(first)
    sessions.open(third)
    assert len(sessions) == 2
    assert sessions.peek(first) is kept
    assert sessions.peek(second) is not sessions.peek(second)


def test_an_idle_session_expires_and_a_used_one_does_not() -> None:
    clock = Clock()
    sessions = Sessions(idle_s=100.0, clock=clock)
    idle, used = new_token(), new_token()
    sessions.open(idle)
    kept = sessions.open(used)
    clock.now_s = 90.0
    sessions.peek(used)
    clock.now_s = 120.0
    assert sessions.peek(used) is kept
    assert len(sessions) == 1


def test_a_changed_question_judges_again_without_analysing_again(monkeypatch: pytest.MonkeyPatch) -> None:
    session = Session()
    session.put(sample_uploads()[0])
    first = session.analysis(Request())
    monkeypatch.setattr(session_module, "analyse", lambda *_: pytest.fail("the logs were analysed twice"))
    land = session.analysis(Request(rule="land"))
    assert first is not None
    assert land is not None
    assert (first.two_ways[0].mean, land.two_ways[0].mean) == ("of speeds", "of times")
    assert session.analysis(Request()) is first


def test_another_log_is_analysed_afresh_and_no_log_gives_no_answer() -> None:
    session = Session()
    assert session.analysis(Request()) is None
    speed, motor = sample_uploads()
    session.put(speed)
    first = session.analysis(Request())
    session.put(motor)
    second = session.analysis(Request())
    assert first is not None
    assert second is not None
    assert (len(first.motor_logs), len(second.motor_logs)) == (0, 1)
    session.remove(speed.key)
    session.remove(motor.key)
    session.remove("never there")
    assert session.analysis(Request()) is None


def test_a_session_holds_no_more_than_it_may(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(session_module, "MAX_FILES", 2)
    session = Session()
    for number in range(3):
        session.put(read_upload(f"{number}.gpx", f"not a log {number}".encode()))
    last = list(session.uploads.values())[-1]
    assert "too much is loaded" in str(last.error)
    assert last.data is None


def test_a_rule_of_the_users_own_is_kept_in_the_session() -> None:
    session = Session()
    rule = parse_rule(shipped_text("water").replace('"water"', '"ours"'), "ours.toml")
    session.add_rule(rule)
    assert session.rules == {"ours": rule}
    assert Session().rules == {}


def filled(sessions: Sessions, kilobytes: int) -> str:
    """Open a session that holds so much."""
    token = new_token()
    upload = read_upload(f"{token}.csv", b"t_s,speed_mps\n" + b"0,1\n1,1\n2,1\n" + b"\n" * (1000 * kilobytes))
    assert upload.logs
    sessions.open(token).put(upload)
    return token


def test_all_sessions_together_stay_within_their_bytes_and_the_longest_idle_goes_first() -> None:
    sessions = Sessions(most_bytes=1_000_000, workers=0)
    first, second, third = (filled(sessions, 300) for _ in range(3))
    assert 900_000 < sessions.held_bytes <= 1_000_000
    sessions.peek(first)  # so the second is idle longest
    fourth = filled(sessions, 300)
    assert sessions.held_bytes <= 1_000_000
    assert [bool(sessions.peek(token).logs) for token in (first, second, third, fourth)] == [
        True,
        False,
        True,
        True,
    ]


def test_a_reader_whose_logs_were_dropped_is_told_and_nobody_else_is() -> None:
    readers = ["anna"]
    sessions = Sessions(most_bytes=500_000, workers=0, reader=lambda: readers[0])
    mine = filled(sessions, 300)
    assert sessions.peek(mine).lost == ""
    readers[0] = "ben"
    filled(sessions, 300)
    assert sessions.peek(mine).lost == ""  # the name of Anna's tab means nothing in Ben's mouth
    readers[0] = "anna"
    assert sessions.peek(mine).lost == module.NO_ROOM
    again = sessions.open(mine)
    assert again.lost == module.NO_ROOM
    assert not again.logs
    again.put(sample_uploads()[0])
    assert again.lost == ""


def test_one_session_alone_is_never_dropped_for_what_it_holds_itself() -> None:
    sessions = Sessions(most_bytes=10_000, workers=0)
    token = filled(sessions, 300)
    assert sessions.peek(token).logs


def test_what_an_idle_session_held_is_said_to_be_gone_and_an_empty_one_is_no_loss() -> None:
    clock = Clock()
    sessions = Sessions(idle_s=100.0, clock=clock, workers=0)
    token, empty = filled(sessions, 1), new_token()
    sessions.open(empty)
    clock.now_s = 101.0
    assert sessions.peek(token).lost == module.IDLE
    assert sessions.peek(empty).lost == ""


def test_dropping_a_session_ends_its_work_and_lets_go_of_its_memory() -> None:
    sessions = Sessions(limit=1, workers=0)
    token = filled(sessions, 300)
    session = sessions.open(token)
    assert session.held_bytes > 300_000
    sessions.open(new_token())
    assert (session.held_bytes, session.logs) == (0, ())
    session.queue.add(Job("reading", "late", lambda _: pytest.fail("it was read all the same")))
    assert session.queue.views[0].state == "cancelled"


def test_while_other_logs_are_analysed_the_answer_for_those_before_stays_until_that_is_cancelled() -> None:
    sessions = Sessions()
    session = sessions.open(new_token())
    speed, motor = sample_uploads()
    session.put(speed)
    before = session.analysis(Request())
    session.put(motor)
    assert session.stale
    assert session.answer(Request()) is before
    session.cancel()
    assert session.answer(Request()) is None  # it must not be taken for an answer about both logs
    assert not session.has_answer
    session.settle()
    end = time.monotonic() + 60.0
    while session.queue.under_way and time.monotonic() < end:
        time.sleep(0.01)
    both = session.answer(Request())
    assert both is not None
    assert len(both.motor_logs) == 1
    assert not session.stale
    sessions.close()


def test_removing_the_last_log_takes_the_answer_away_at_once() -> None:
    session = Session()
    put_in(session, sample_uploads()[:1])
    assert session.has_answer
    session.remove(sample_uploads()[0].key)
    assert not session.has_answer
    assert session.answer(Request()) is None


def test_a_dropped_file_that_is_cancelled_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    session = Session()
    gpx = readers.READERS[0]

    def pressed_midway(data: bytes, file: str, options: readers.ReadOptions) -> tuple[readers.Log, ...]:
        read = gpx.read(data, file, options)
        session.cancel(session.queue.views[0].key)
        report(0.9)
        return read

    slow = LogReader(gpx.name, gpx.suffixes, gpx.sniff, pressed_midway)
    monkeypatch.setattr(readers, "READERS", (slow,))
    contents = "data:;base64," + base64.b64encode(sample_uploads()[0].data or b"").decode()
    assert take_in(session, [{"name": "long.gpx", "contents": contents}]) == ""
    assert session.uploads == {}
    assert [(view.name, view.state) for view in session.queue.views] == [("long.gpx", "cancelled")]
    assert session.held_bytes == 0
