from collections.abc import Callable

import pytest

from sample_logs import data_folder
from telemetry.analysis import analyse
from telemetry.core.errors import DamagedLogError
from telemetry.core.progress import Cancelled, report, report_each, scope, watched
from telemetry.readers import gpx, read_bytes
from telemetry.readers.base import LogReader

SAMPLES = ("four_passes.gpx", "blow_over.nmea", "four_passes_motor.csv")


def stop_at(share: float) -> Callable[[float], None]:
    def watch(told: float) -> None:
        if told >= share:
            raise Cancelled

    return watch


def test_parts_within_parts_tell_shares_of_the_whole() -> None:
    shares: list[float] = []
    with watched(shares.append), scope(0.5, 1.0):
        for _ in report_each(range(4), 4, every=2):
            pass
        with scope(0.5, 1.0):
            report(1.0)
    assert shares == [0.5, 0.5, 0.75, 0.75, 1.0]


def test_a_watch_ends_with_its_block_even_where_the_work_fails() -> None:
    shares: list[float] = []
    with pytest.raises(ValueError, match="broken"), watched(shares.append):
        raise ValueError("broken")
    report(0.5)
    assert shares == []


@pytest.mark.parametrize("name", SAMPLES)
def test_a_reader_tells_shares_that_never_fall_and_reads_the_same(name: str) -> None:
    data = (data_folder() / name).read_bytes()
    shares: list[float] = []
    with watched(shares.append):
        followed = read_bytes(data, name)
    assert shares
    assert shares == sorted(shares)
    assert 0.0 <= shares[0] <= shares[-1] <= 1.0
    for one, other in zip(followed, read_bytes(data, name), strict=True):
        assert one.frame.equals(other.frame)
        assert one.findings == other.findings


def test_an_analysis_tells_shares_that_never_fall_and_stops_where_it_is_told() -> None:
    logs = [
        log
        for name in ("four_passes.gpx", "four_passes_motor.csv")
        for log in read_bytes((data_folder() / name).read_bytes(), name)
    ]
    shares: list[float] = []
    with watched(shares.append):
        analyse(logs)
    assert shares == sorted(shares)
    assert len(set(shares)) > 10  # between the steps there is a chance to stop
    for share in (0.0, 0.3, 0.6, 0.8, 0.9):
        with pytest.raises(Cancelled), watched(stop_at(share)):
            analyse(logs)


def test_told_to_stop_is_no_damage_of_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    data = (data_folder() / "four_passes.gpx").read_bytes()
    with pytest.raises(Cancelled), watched(stop_at(0.0)):
        read_bytes(data, "four_passes.gpx")

    def broken(_data: bytes, _file: str, _options: object) -> tuple[()]:
        raise KeyError("trk")

    reader = LogReader("gpx", (".gpx",), gpx.READER.sniff, broken)
    monkeypatch.setattr("telemetry.readers.READERS", (reader,))
    with pytest.raises(DamagedLogError):  # what a decoder raises by itself still is
        read_bytes(data, "four_passes.gpx")
