"""Every reader over every recorded and every sample log, whole and damaged: logs, or one clear error."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telemetry.core.errors import LogError, UnknownFormatError
from telemetry.core.frames import MOTOR_COLUMNS, TRACK_COLUMNS, Log, MotorLog, Track
from telemetry.readers import READERS, ReadOptions, read_bytes, read_log

ROOT = Path(__file__).parents[2]
REAL = ROOT.parent / "shared" / "real_logs"
ENDINGS = {".gpx": "gpx", ".fit": "fit", ".nmea": "nmea", ".csv": "table"}
FILES = sorted(
    path for folder in (REAL, ROOT / "sample_logs") for path in folder.rglob("*.*") if path.suffix in ENDINGS
)

if not FILES:
    pytest.skip("neither recorded nor sample logs are here", allow_module_level=True)


def outcome(data: bytes, name: str) -> tuple[Log, ...] | LogError:
    """Read bytes; anything but logs or a LogError fails the test by itself."""
    try:
        logs = read_bytes(data, name)
    except LogError as error:
        refusal = error
    else:
        assert logs
        for log in logs:
            check(log)
        return logs
    assert name in str(refusal)
    assert refusal.reason
    assert "Traceback" not in str(refusal)
    return refusal


def check(log: Log) -> None:
    columns = TRACK_COLUMNS if isinstance(log, Track) else MOTOR_COLUMNS
    assert set(log.frame.columns) <= set(columns)
    assert len(log.frame) > 0
    assert np.isfinite(log.t_s).all()
    assert log.t_s[0] == 0.0
    assert len(log.meta.sha256) == 64
    for name in log.frame.columns:
        values = log.column(name)
        assert values is not None
        finite = values[np.isfinite(values)]
        assert finite.size
        assert finite.min() >= columns[name].low
        assert finite.max() <= columns[name].high
    for finding in log.findings:
        assert finding.code == finding.code.lower()
        assert finding.count >= 1
        assert finding.message
    if isinstance(log, MotorLog):
        assert log.meta.speed_source is None
    else:
        assert log.meta.speed_source == ("measured" if "speed_mps" in log.frame else "differenced")


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_exactly_one_reader_claims_each_file_whatever_its_name(path: Path) -> None:
    head = path.read_bytes()[:4096]
    assert [reader.name for reader in READERS if reader.sniff(head)] == [ENDINGS[path.suffix]]


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_each_file_loads_or_is_refused_with_one_sentence(path: Path) -> None:
    outcome(path.read_bytes(), path.name)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
@pytest.mark.parametrize("share", [0.03, 0.31, 0.5, 0.77, 0.995])
def test_a_cut_file_gives_what_stands_before_the_cut(path: Path, share: float) -> None:
    data = path.read_bytes()
    if len(data) > 200_000 and share != 0.5:
        pytest.skip("large files are cut at one place only, to keep the suite quick")
    whole = outcome(data, path.name)
    cut = outcome(data[: int(len(data) * share)], path.name)
    if isinstance(whole, LogError) or isinstance(cut, LogError):
        # The head of a small file may hold no sample yet; from the middle on, there is something to read.
        assert isinstance(whole, LogError) or share < 0.5 or len(data) < 1000
        return
    a, b = whole[0], cut[0]
    assert len(b.frame) <= len(a.frame)
    shared = [name for name in b.frame.columns if name in a.frame.columns and name != "speed_mps"]
    n = max(0, len(b.frame) - 2)  # the cut may go through the last epoch
    if a.meta.start_utc == b.meta.start_utc and not {f.code for f in a.findings} & {"odd-stamp"}:
        for name in shared:
            np.testing.assert_array_equal(a.column(name)[:n], b.column(name)[:n])  # type: ignore[index]
        np.testing.assert_allclose(a.t_s[:n], b.t_s[:n], atol=1e-9)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_bytes_that_are_no_utf8_harm_nothing_but_their_own_place(path: Path) -> None:
    data = bytearray(path.read_bytes()[:60_000])
    for place in range(5000, len(data), 5003):
        data[place] = 0xFF
    outcome(bytes(data), path.name)


@pytest.mark.parametrize("path", [p for p in FILES if p.suffix != ".fit"], ids=lambda p: p.name)
def test_text_logs_saved_as_utf16_are_read_or_refused(path: Path) -> None:
    outcome(path.read_bytes()[:60_000].decode("latin-1").encode("utf-16"), path.name)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_every_reader_refuses_what_is_not_its_own_without_another_exception(path: Path) -> None:
    data = path.read_bytes()[:60_000]
    for reader in READERS:
        if reader.name == ENDINGS[path.suffix]:
            continue
        try:
            logs = reader.read(data, path.name, ReadOptions())
        except LogError:
            continue
        assert all(isinstance(log, Track | MotorLog) for log in logs)


def test_an_empty_file_a_folder_and_a_missing_file_are_named(tmp_path: Path) -> None:
    (tmp_path / "empty.gpx").touch()
    with pytest.raises(LogError, match=r"empty\.gpx: it is empty"):
        read_log(tmp_path / "empty.gpx")
    with pytest.raises(LogError, match="it is a folder"):
        read_log(tmp_path)
    with pytest.raises(LogError, match=r"nowhere\.gpx: there is no such file"):
        read_log(tmp_path / "nowhere.gpx")


def test_foreign_content_is_told_the_known_formats() -> None:
    with pytest.raises(UnknownFormatError, match="gpx, fit, nmea, table"):
        read_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100), "picture.gpx")


def test_content_of_two_formats_names_both() -> None:
    both = b"<gpx>\n$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n"
    with pytest.raises(UnknownFormatError, match="several formats at once: gpx, nmea"):
        read_bytes(both, "both.log")


def test_a_name_never_decides() -> None:
    data = b"utc_ms,lat,lon,speed_mps\n1533226488299,46.0,8.0,1.0\n1533226488399,46.0,8.0,1.5\n"
    (log,) = read_bytes(data, "misnamed.fit")
    assert log.meta.format == "table"
