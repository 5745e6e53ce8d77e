"""Backup, tables and restore from the page: the whole of it, or a sentence and nothing changed."""

from __future__ import annotations

import base64
import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path

import dash
import pytest
from dash_client import DashClient
from logbooks import everything, small_log, with_fleet
from test_dashboard_compare import text_of

from dashboard.app import Config, create_app
from dashboard.auth import Passphrase
from dashboard.auth.passphrase import Cost
from dashboard.features.logbook import backup_service as safety
from dashboard.features.logbook.backup_service import LARGEST_BACKUP_BYTES, BackupClient
from telemetry.core.errors import LogbookError
from telemetry.core.paths import home_folder
from telemetry.logbook import open_logbook


@pytest.fixture
def url(tmp_path: Path) -> str:
    """A logbook with an outing."""
    address = str(tmp_path / "lake.sqlite")
    with open_logbook(address) as book:
        with_fleet(book).import_outing([small_log()], "Kittiwake", "flat water")
    return address


@pytest.fixture
def backup(url: str) -> bytes:
    return b"".join(BackupClient(url).backup().chunks())


@pytest.fixture
def client(tmp_path: Path) -> Iterator[DashClient]:
    dash.page_registry.clear()
    yield DashClient(create_app(Config(logbook=str(tmp_path / "new.sqlite"))))
    dash.page_registry.clear()


def kept(url: str) -> object:
    with open_logbook(url) as book:
        return everything(book)


def test_a_backup_goes_out_and_comes_in_again_whole(url: str, backup: bytes, tmp_path: Path) -> None:
    other = str(tmp_path / "other.sqlite")
    told = BackupClient(other).restore("C:\\lake.zip", backup, "")
    assert (told.taken.rows["boats"], told.saved) == (2, None)
    assert kept(other) == kept(url)


def test_what_is_there_is_lost_by_no_mistake_and_saved_before_it_goes(url: str, backup: bytes) -> None:
    with open_logbook(url) as book:
        book.add_boat("Heron")
    before = kept(url)
    for word in ("", "yes", "replaced"):
        with pytest.raises(LogbookError, match="there are 3 boats and 1 outings in it") as refused:
            BackupClient(url).restore("lake.zip", backup, word)
        assert "write the word replace" in str(refused.value)
        assert kept(url) == before
    told = BackupClient(url).restore("lake.zip", backup, " Replace ")
    assert told.saved is not None
    assert told.saved.parent == home_folder() / "replaced"
    with open_logbook(url) as book:
        assert [boat.name for boat in book.boats()] == ["Kittiwake", "Ünruh"]
    BackupClient(url).restore("before.zip", told.saved.read_bytes(), "replace")
    assert kept(url) == before


def damaged(backup: bytes) -> bytes:
    at = len(backup) // 2
    return backup[:at] + bytes(b ^ 255 for b in backup[at : at + 40]) + backup[at + 40 :]


def with_member(backup: bytes, name: str, size: int) -> bytes:
    out = io.BytesIO(backup)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive, archive.open(name, "w") as stream:
        for _ in range(size // 1_000_000):
            stream.write(bytes(1_000_000))
    return out.getvalue()


def test_what_is_no_backup_is_refused_by_its_name(
    url: str, backup: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = str(tmp_path / "other.sqlite")
    monkeypatch.setattr(safety, "LARGEST_UNPACKED_BYTES", 20_000_000)
    cases = [
        (b"", "it is no backup"),
        (b"\x89PNG" + bytes(500), "it is no backup"),
        (backup[: len(backup) // 2], "it is no backup"),
        (damaged(backup), "missing or damaged|does not give its hash|no backup"),
        (with_member(backup, "logs/bomb", 30_000_000), "unpacks to more than a page may take in"),
        (bytes(LARGEST_BACKUP_BYTES + 1), "larger than 64 MB"),
    ]
    for data, said in cases:
        with pytest.raises(LogbookError, match=said) as refused:
            BackupClient(other).restore("../lake.zip", data, "replace")
        assert str(refused.value).startswith("lake.zip")
        assert str(tmp_path) not in str(refused.value)
    with open_logbook(other) as book:
        assert book.boats() == ()


def test_the_addresses_hand_out_the_backup_and_the_tables(client: DashClient, backup: bytes) -> None:
    address = "http://127.0.0.1:8050"
    restored = take(client, "lake.zip", backup)
    assert "Taken in: 2 boats, 1 outing" in text_of(restored["restore-said"]["children"])
    assert restored["book-revision"]["data"] == 1
    saved = client.http.get("/logbook/backup", base_url=address)
    assert saved.headers["Content-Disposition"].startswith('attachment; filename="logbook-')
    with zipfile.ZipFile(io.BytesIO(saved.data)) as a, zipfile.ZipFile(io.BytesIO(backup)) as b:
        assert {n: a.read(n) for n in a.namelist() if n != "logbook.json"} == {
            n: b.read(n) for n in b.namelist() if n != "logbook.json"
        }
    tables = client.http.get("/logbook/export", base_url=address)
    with zipfile.ZipFile(io.BytesIO(tables.data)) as archive:
        assert {"boats.csv", "outings.csv", "readings.csv", "logbook.json"} <= set(archive.namelist())
        assert json.loads(archive.read("logbook.json"))["schema"] == "reciprocal-export/1"
    foreign = client.http.get("/logbook/backup", base_url="http://elsewhere.example")
    assert foreign.status_code == 403


@pytest.mark.parametrize("address", ["/logbook/backup", "/logbook/export"])
def test_who_has_not_logged_in_gets_no_logbook(url: str, address: str) -> None:
    home, said = "http://192.168.4.1:8050", "four quiet words float"
    dash.page_registry.clear()
    app = create_app(Config(passphrase=Passphrase.of(said, Cost(2**4, 1, 1)), logbook=url))
    dash.page_registry.clear()
    reader = app.server.test_client()
    turned_away = reader.get(address, base_url=home)
    assert turned_away.status_code == 303
    assert "/login" in turned_away.headers["Location"]
    reader.post("/login", data={"passphrase": said, "next": "/"}, base_url=home, headers={"Origin": home})
    assert zipfile.is_zipfile(io.BytesIO(reader.get(address, base_url=home).data))


def test_the_page_says_why_a_backup_is_refused(client: DashClient, backup: bytes) -> None:
    assert "Choose the backup's file" in take(client, "", b"")["restore-error"]["children"]
    refused = take(client, "holiday.zip", b"\x89PNG")
    assert "holiday.zip: it is no backup" in refused["restore-error"]["children"]
    take(client, "lake.zip", backup)
    again = take(client, "lake.zip", backup)
    assert "write the word replace" in again["restore-error"]["children"]
    assert again["restore-said"]["children"] == []


def take(client: DashClient, name: str, data: bytes, word: str = "") -> dict[str, dict[str, object]]:
    contents = "data:application/zip;base64," + base64.b64encode(data).decode()
    values = {
        "restore-take.n_clicks": 1,
        "restore-waiting.data": {"name": name, "contents": contents} if name else None,
        "restore-word.value": word,
        "book-revision.data": 0,
    }
    return client.call("take_in", values, "restore-take.n_clicks")
