"""Hostile drops over HTTP: a clear sentence for each, nothing kept, and the server answers the next one."""

from __future__ import annotations

import base64
import gzip
import io
import zipfile
from collections.abc import Iterator

import dash
import pytest
from dash_client import DashClient
from test_dashboard_app import text_of

from dashboard.app import Config, create_app
from dashboard.session import intake as drops
from dashboard.session import tab_session as session_module
from dashboard.session.intake import take_in
from dashboard.session.sessions import Session, Sessions, new_token
from dashboard.session.uploads import LARGEST_BYTES, read_uploads
from sample_logs import data_folder

GPX = (data_folder() / "four_passes.gpx").read_bytes()
ROW = b"t_s,speed_mps\n" + b"".join(b"%d,%d\n" % (i, i % 30) for i in range(60))
POINT = b'<trkpt lat="46" lon="8"><time>2026-01-01T00:00:00Z</time></trkpt>'
BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(12))
    + b'<!ENTITY file SYSTEM "file:///etc/passwd">]><gpx version="1.1"><trk><name>&m;&file;</name><trkseg>'
    + POINT
    + b"</trkseg></trk></gpx>"
)


def zipped(**files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name.replace("_dot_", "."), data)
    return out.getvalue()


HOSTILE = {
    "oversized": (b" " * (LARGEST_BYTES + 1), "It is larger than 32 MB. Cut the outing out of it first."),
    "mis-named": (b"\xff\xd8\xff\xe0" + bytes(500), "Its content is none of the known formats"),
    "nested archive": (zipped(in_dot_zip=zipped(lake_dot_csv=ROW)), "an archive inside an archive"),
    "encrypted": (zipped(lake_dot_csv=ROW).replace(b"\x14\0\0\0", b"\x14\0\1\0"), "It is encrypted"),
    "zip bomb": (zipped(lake_dot_csv=b"t_s,speed_mps\n" + bytes(40_000_000)), "more than 32 MB"),
    "gz bomb": (gzip.compress(bytes(200_000_000), 1), "more than 32 MB"),
    "damaged archive": (gzip.compress(ROW)[:-9], "The archive is damaged"),
    "entity bomb": (BOMB, "declares XML entities"),
    "a million columns": (b"t," * 1_000_000 + b"\n" + b"1," * 1_000_000 + b"\n", "is longer than"),
    "nul bytes": (bytes(100_000), "Its content is none of the known formats"),
    "fit without end": (
        b"\x0e\x10\x54\x08\xf0\xff\xff\xff.FIT\0\0",
        "No usable record stands before the damage",
    ),
}


@pytest.fixture(autouse=True)
def _fresh_registry() -> Iterator[None]:
    dash.page_registry.clear()
    yield
    dash.page_registry.clear()


@pytest.fixture
def sessions() -> Sessions:
    return Sessions(workers=0)


@pytest.fixture
def client(sessions: Sessions) -> DashClient:
    return DashClient(create_app(Config(sessions)))


def dropped(name: str, data: bytes) -> dict[str, str]:
    return {"name": name, "contents": "data:;base64," + base64.b64encode(data).decode()}


def drop(client: DashClient, token: str, *files: dict[str, str]) -> str:
    """Drop files and return what the page then says of all."""
    client.call("receive", {"dropped.data": list(files), "session.data": token}, "dropped.data")
    listed = client.call("list_files", {"session.data": token, "revision.data": 1}, "revision.data")
    return text_of(listed["files"]["children"])


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_drop_is_told_kept_nowhere_and_harms_nothing(
    case: str, client: DashClient, sessions: Sessions
) -> None:
    data, said = HOSTILE[case]
    token = new_token()
    told = drop(client, token, dropped("track.gpx", data))
    assert said in told
    assert "Traceback" not in told
    assert "root:" not in told
    session = sessions.peek(token)
    assert session.logs == ()
    assert all(upload.data is None for upload in session.uploads.values())
    assert "four_passes.gpx" in drop(client, token, dropped("four_passes.gpx", GPX))
    assert len(session.logs) == 1


def test_a_log_under_a_wrong_name_is_read_by_its_content(client: DashClient, sessions: Sessions) -> None:
    token = new_token()
    told = drop(client, token, dropped("holiday.jpg", GPX))
    assert "GPX speed log" in told


def test_an_archive_becomes_its_logs_each_with_its_own_error(client: DashClient, sessions: Sessions) -> None:
    token = new_token()
    data = zipped(four_passes_dot_gpx=GPX, lake_dot_csv=ROW, bad_dot_gpx=b"<gpx")
    told = drop(client, token, dropped("C:\\outing.zip", data))
    for name in ("outing.zip/four_passes.gpx", "outing.zip/lake.csv", "outing.zip/bad.gpx"):
        assert name in told
    assert len(sessions.peek(token).logs) == 2
    drop(client, token, dropped("four_passes.gpx", GPX))  # the same content, unpacked
    assert len(sessions.peek(token).logs) == 2


def test_the_server_itself_holds_a_drop_to_its_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    many = [dropped(f"{i}.csv", ROW + b"%d,1\n" % (100 + i)) for i in range(15)]
    session = Session()
    said = take_in(session, many)
    assert said.startswith("Only the first 12 of 15 files were read. Drop at most 12 files or 64 MB at once")
    assert len(session.logs) == 12
    monkeypatch.setattr(drops, "MAX_BYTES_A_DROP", int(2.5 * len(ROW)))
    session = Session()
    assert take_in(session, many[:3]).startswith("Only the first 2 of 3 files were read.")
    assert len(session.logs) == 2
    assert take_in(Session(), many[:2]) == ""


def test_what_comes_out_of_archives_counts_for_the_session(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(session_module, "MAX_BYTES", 3 * len(ROW))
    session = Session()
    more = {f"{i}_dot_csv": ROW + b"%d,1\n" % (100 + i) for i in range(4)}
    for upload in read_uploads("a.zip", zipped(**more)):
        session.put(upload)
    assert len(session.logs) == 2
    assert all("too much is loaded already" in str(u.error) for u in list(session.uploads.values())[2:])


def test_refusals_do_not_pile_up_for_ever() -> None:
    session = Session()
    for k in range(100):
        for upload in read_uploads(f"{k}.jpg", b"\xff\xd8%d" % k):
            session.put(upload)
    assert len(session.uploads) == 40
    assert "99.jpg" in {upload.name for upload in session.uploads.values()}


def test_a_name_cannot_write_on_the_page_or_lead_anywhere() -> None:
    (upload,) = read_uploads("..\\..\x1b[2J\n<b>x.gpx", b"")
    assert upload.name == "_[2J__b_x.gpx"
