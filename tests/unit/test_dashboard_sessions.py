import pytest

from dashboard.services import sessions as module
from dashboard.services.samples import sample_uploads
from dashboard.services.sessions import Session, Sessions, new_token
from dashboard.services.uploads import read_upload
from telemetry.analysis import Request
from telemetry.rules import parse_rule, shipped_text


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
    monkeypatch.setattr(module, "analyse", lambda *_: pytest.fail("the logs were analysed twice"))
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
    monkeypatch.setattr(module, "MOST_FILES", 2)
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
