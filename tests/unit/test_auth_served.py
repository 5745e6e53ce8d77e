"""`reciprocal serve --lan` as it is started: what it prints, keeps, and lets in."""

from __future__ import annotations

import http.client
import io
import os
import re
import stat
import subprocess
import sys
import urllib.parse
from collections.abc import Iterator
from pathlib import Path

import pytest
import segno

from dashboard.auth import lan_addresses as addresses
from dashboard.auth.lan_addresses import greeting, own_addresses

SAID = "four quiet words float"


@pytest.fixture
def served(home: Path) -> Iterator[tuple[int, str]]:
    """The port of a dashboard on the local network, and what was printed."""
    command = [sys.executable, "-m", "telemetry.cli", "serve", "--lan", "--port", "0"]
    environment = {**os.environ, "RECIPROCAL_PASSPHRASE": SAID, "PYTHONUTF8": "1"}
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8"
    ) as process:
        assert process.stdout is not None
        said = process.stdout.readline() + process.stdout.readline()
        found = re.search(r"http://[^ ]+:(\d+)", said)
        if found is None:
            process.kill()
            pytest.fail(f"{said}\n{process.communicate()[1]}")
        yield int(found.group(1)), said
        process.terminate()
        process.communicate(timeout=20)


def ask(
    port: int, method: str, path: str, form: dict[str, str] | None = None, **headers: str
) -> tuple[int, http.client.HTTPMessage]:
    connection = http.client.HTTPConnection(next(iter(own_addresses()), "127.0.0.1"), port, timeout=30)
    more = {name.replace("_", "-"): value for name, value in headers.items()}
    body = urllib.parse.urlencode(form) if form is not None else None
    if body is not None:
        more["Content-Type"] = "application/x-www-form-urlencoded"
    connection.request(method, path, body, more)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.status, answer.headers


def test_it_prints_where_it_is_and_lets_in_who_says_the_passphrase(
    served: tuple[int, str], home: Path
) -> None:
    port, said = served
    for address in own_addresses():
        assert f"http://{address}:{port}" in said
    assert "Plain HTTP: whoever else is on this network can read along." in said
    assert SAID not in said
    status, headers = ask(port, "GET", "/")
    assert (status, headers["Location"]) == (303, "/login?next=%2F")
    assert ask(port, "POST", "/login", {"passphrase": "not these words at all"})[0] == 403
    status, headers = ask(port, "POST", "/login", {"passphrase": SAID})
    assert status == 303
    cookie = headers.get_all("Set-Cookie", [])[0].partition(";")[0]
    assert ask(port, "GET", "/", Cookie=cookie)[0] == 200
    assert ask(port, "GET", "/", Cookie=cookie, Host="evil.example")[0] == 403
    kept = home / "passphrase.json"
    assert SAID not in kept.read_text(encoding="utf-8")
    if os.name == "posix":
        assert stat.S_IMODE(kept.stat().st_mode) == 0o600


def test_without_a_terminal_or_a_passphrase_it_does_not_begin() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "telemetry.cli", "serve", "--lan", "--port", "0"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "nobody is there to be asked" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_picture_is_the_first_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(addresses, "own_addresses", lambda: ["192.168.4.1", "10.0.0.2"])
    told = greeting("0.0.0.0", 8050, picture=True)
    assert "http://192.168.4.1:8050 or http://10.0.0.2:8050" in told
    drawn = io.StringIO()
    segno.make("http://192.168.4.1:8050", error="m", micro=False).terminal(drawn, border=2, compact=True)
    assert drawn.getvalue().strip() in told
    assert "█" not in greeting("0.0.0.0", 8050, picture=False)


def test_a_machine_on_no_network_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(addresses, "own_addresses", list)
    told = greeting("0.0.0.0", 8050, picture=False)
    assert "on no network now" in told
    assert "http://127.0.0.1:8050" in told
    assert "http://192.168.7.7:1" in greeting("192.168.7.7", 1, picture=False)


def test_own_addresses_are_none_that_only_this_machine_knows() -> None:
    assert not any(address.startswith("127.") for address in own_addresses())
    assert len(set(own_addresses())) == len(own_addresses())
