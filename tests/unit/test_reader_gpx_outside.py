"""No GPX file makes the readers open another file or ask another machine, whichever decoder reads it."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from telemetry.core.errors import LogError
from telemetry.readers import read_bytes
from telemetry.readers.gpx_points import points_of_gpxpy

POINT = '<trkpt lat="46" lon="8"><time>2026-01-01T00:00:0{}Z</time><speed>{}</speed></trkpt>'
BODY = "<trk><trkseg>" + "".join(POINT.format(i, i) for i in range(5)) + "</trkseg></trk></gpx>"


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    """A port on which nobody may knock."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(0.2)
        yield listening
        with pytest.raises(TimeoutError):
            listening.accept()


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_a_definition_elsewhere_is_not_fetched(version: str, listener: socket.socket) -> None:
    port = listener.getsockname()[1]
    outside = f'<!DOCTYPE gpx SYSTEM "http://127.0.0.1:{port}/gpx.dtd">'
    text = f'<?xml version="1.0"?>{outside}<gpx version="{version}">{BODY}'
    (log,) = read_bytes(text.encode(), "lake.gpx")
    assert len(log.frame) == 5
    assert points_of_gpxpy(text).stamp_us.size == 5


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le"])
@pytest.mark.parametrize(
    "declared",
    [
        '<!ENTITY x SYSTEM "{}">',
        '<!ENTITY % x SYSTEM "{}"> %x;',
        '<!ENTITY x PUBLIC "a" "{}">',
        '<!ENTITY a "aaaaaaaaaa"><!ENTITY x "&a;&a;&a;">',
    ],
    ids=["external", "parameter", "public", "internal"],
)
@pytest.mark.parametrize("address", ["http://127.0.0.1:{port}/x", "file:///etc/hostname"])
def test_entities_are_refused_in_a_sentence_and_never_opened(
    address: str, declared: str, encoding: str, listener: socket.socket
) -> None:
    address = address.format(port=listener.getsockname()[1])
    text = f'<!DOCTYPE gpx [{declared.format(address)}]><gpx version="1.1"><name>&x;</name>{BODY}'
    with pytest.raises(LogError, match="declares XML entities"):
        read_bytes(text.encode(encoding), "lake.gpx")
