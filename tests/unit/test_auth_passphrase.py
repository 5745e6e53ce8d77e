"""The passphrase at rest, how it is come by, and how guessing is slowed."""

from __future__ import annotations

import json
import os
import stat
import threading
from pathlib import Path

import pytest

from dashboard.auth import passphrase_source as asking
from dashboard.auth.passphrase import LONGEST, SHORTEST, Cost, Passphrase, file
from dashboard.auth.passphrase_source import settled_passphrase
from dashboard.auth.rate_limit import Backoff, RateLimiter
from telemetry.core.errors import CallError, SavedColumnsError

SAID = "four quiet words float"
QUICK = Cost(n=2**4, r=1, p=1)


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RECIPROCAL_HOME", str(tmp_path / "home"))
    monkeypatch.delenv(asking.VARIABLE, raising=False)
    return tmp_path / "home"


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.auth.passphrase.Cost.__init__.__defaults__", (2**4, 1, 1))


def test_the_hash_is_scrypt_as_published() -> None:
    # RFC 7914, section 12, the second and third vectors.
    assert Cost(1024, 8, 16).digest(b"password", b"NaCl", 64).hex() == (
        "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
        "2eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640"
    )
    assert Cost(16384, 8, 1).digest(b"pleaseletmein", b"SodiumChloride", 64).hex() == (
        "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
        "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887"
    )


def test_a_guess_costs_what_is_advised() -> None:
    # OWASP, Password Storage Cheat Sheet (from memory): N = 2^15, r = 8, p = 3 is among the equal choices.
    made = Passphrase.of(SAID)
    assert (made.cost.n, made.cost.r, made.cost.p) == (2**15, 8, 3)
    assert made.is_said(SAID)


@pytest.mark.usefixtures("quick")
def test_only_the_passphrase_itself_opens() -> None:
    made = Passphrase.of(SAID)
    assert made.is_said(SAID)
    for wrong in ("", SAID + " ", SAID.upper(), SAID[:-1], "\ud800", SAID + "x" * LONGEST):
        assert not made.is_said(wrong)
    assert Passphrase.of("ﬁne weather today").is_said("fine weather today")  # one keyboard's ligature
    assert Passphrase.of("x" * LONGEST).is_said("x" * LONGEST)


@pytest.mark.usefixtures("quick")
def test_each_has_a_salt_and_a_key_of_its_own_and_never_the_words(home: Path) -> None:
    first, second = Passphrase.of(SAID), Passphrase.of(SAID)
    assert first.salt != second.salt
    assert first.hashed != second.hashed
    assert first.key != second.key
    first.keep()
    assert SAID not in file().read_text(encoding="utf-8")
    assert Passphrase.kept() == first
    assert [path.name for path in home.iterdir()] == ["passphrase.json"]


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX")
@pytest.mark.usefixtures("quick")
def test_the_file_is_for_the_user_alone() -> None:
    before = os.umask(0)
    try:
        Passphrase.of(SAID).keep()
    finally:
        os.umask(before)
    assert stat.S_IMODE(file().stat().st_mode) == 0o600
    file().chmod(0o644)
    with pytest.raises(SavedColumnsError, match="may be read by others"):
        Passphrase.kept()


@pytest.mark.parametrize("text", ["", "short", "x" * (SHORTEST - 1), " " * 40, "ab" + " " * 20])
def test_too_short_a_passphrase_is_refused(text: str) -> None:
    with pytest.raises(CallError, match=f"fewer than {SHORTEST} characters"):
        Passphrase.of(text)


@pytest.mark.usefixtures("quick")
def test_a_damaged_file_is_a_sentence_with_its_mend() -> None:
    Passphrase.of(SAID).keep()
    told = json.loads(file().read_text(encoding="utf-8"))
    damaged = [
        "",
        "[]",
        json.dumps({**told, "key": "AAAA"}),
        json.dumps({**told, "salt": "not base64!"}),
        json.dumps({**told, "scrypt": {"n": 2**40, "r": 8, "p": 1}}),
        json.dumps({**told, "scrypt": {"n": 1000, "r": 8, "p": 1}}),
    ]
    for text in damaged:
        file().write_text(text, encoding="utf-8")
        with pytest.raises(SavedColumnsError, match=r"cannot be read .*--new-passphrase"):
            Passphrase.kept()


@pytest.mark.usefixtures("quick")
def test_the_environment_gives_it_and_it_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(asking.VARIABLE, SAID)
    first = settled_passphrase()
    assert settled_passphrase() == first
    assert settled_passphrase(new=True).key != first.key
    monkeypatch.setenv(asking.VARIABLE, "other words for the door")
    assert not settled_passphrase().is_said(SAID)
    monkeypatch.delenv(asking.VARIABLE)
    assert settled_passphrase().is_said("other words for the door")
    monkeypatch.setenv(asking.VARIABLE, "short")
    with pytest.raises(CallError, match="fewer than"):
        settled_passphrase()


def test_where_nobody_can_be_asked_one_sentence_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: False)
    with pytest.raises(CallError, match=r"nobody is there to be asked.*RECIPROCAL_PASSPHRASE"):
        settled_passphrase()
    assert not file().exists()


@pytest.mark.usefixtures("quick")
def test_at_a_terminal_it_is_asked_for_twice(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    typed = iter(["short", SAID, "something else", SAID, SAID])
    monkeypatch.setattr("getpass.getpass", lambda _: next(typed))
    assert settled_passphrase().is_said(SAID)
    told = capsys.readouterr().out
    assert "fewer than 12 characters" in told
    assert "The two differ." in told
    assert SAID not in told
    monkeypatch.setattr("getpass.getpass", lambda _: "short")
    with pytest.raises(CallError, match="no passphrase was chosen"):
        settled_passphrase(new=True)
    kept = Passphrase.kept()
    assert kept is not None
    assert kept.is_said(SAID)


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def test_waiting_grows_with_every_wrong_try_and_ends_with_the_right_one() -> None:
    clock = Clock()
    attempts = RateLimiter(clock, Backoff(2, 4.0, 10.0), Backoff(100, 1.0, 1.0))
    waits = []
    for _ in range(5):
        while (wait_s := attempts.begin("10.0.0.7")) > 0.0:
            waits.append(wait_s)
            clock.now_s += wait_s
    assert waits == [4.0, 8.0, 10.0]
    clock.now_s += 10.0
    assert attempts.begin("10.0.0.7") == 0.0
    attempts.right("10.0.0.7")
    assert attempts.begin("10.0.0.7") == 0.0


def test_one_address_does_not_hold_up_another_but_all_together_do() -> None:
    clock = Clock()
    attempts = RateLimiter(clock, Backoff(1, 60.0, 60.0), Backoff(5, 3.0, 6.0))
    assert attempts.begin("10.0.0.1") == 0.0
    assert attempts.begin("10.0.0.1") == 60.0
    for k in range(2, 6):
        assert attempts.begin(f"10.0.0.{k}") == 0.0
    assert attempts.begin("10.0.0.99") == 3.0
    clock.now_s = 3.0
    assert attempts.begin("10.0.0.99") == 0.0
    assert attempts.begin("10.0.0.98") == 6.0


def test_an_hour_of_quiet_is_forgotten_and_memory_is_bounded() -> None:
    clock = Clock()
    attempts = RateLimiter(clock, Backoff(1, 600.0, 600.0), Backoff(10**6, 1.0, 1.0))
    attempts.begin("10.0.0.1")
    clock.now_s = 3601.0
    assert attempts.begin("10.0.0.1") == 0.0
    for k in range(3000):
        attempts.begin(f"host{k}")
    assert len(attempts._addresses) <= 1000


def test_the_addresses_of_one_ipv6_network_count_as_one() -> None:
    attempts = RateLimiter(Clock(), Backoff(2, 60.0, 60.0), Backoff(100, 1.0, 1.0))
    assert attempts.begin("fd00::1") == 0.0
    assert attempts.begin("fd00::2%eth0") == 0.0
    assert attempts.begin("fd00::ffff") == 60.0
    assert attempts.begin("fd01::1") == 0.0


def test_many_tries_at_once_are_no_way_round() -> None:
    attempts = RateLimiter(Clock(), Backoff(3, 60.0, 60.0), Backoff(100, 1.0, 1.0))
    granted = []
    threads = [
        threading.Thread(target=lambda: granted.append(attempts.begin("10.0.0.1") == 0.0)) for _ in range(40)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(granted) == 3
