"""Logs in .zip and .gz: the same logs as unpacked, or one clear sentence for each that cannot be had."""

from __future__ import annotations

import bz2
import gzip
import hashlib
import io
import json
import struct
import tarfile
import zipfile
from pathlib import Path

import pytest

from sample_logs import data_folder
from telemetry.analysis import Request, read_and_analyse
from telemetry.cli import main
from telemetry.core.errors import LogError
from telemetry.readers import Bounds, open_bytes, read_log, read_logs, read_opened

LOGS = ("four_passes.gpx", "four_passes_motor.csv", "blow_over.nmea")
ORDERED = ("four_passes.gpx", "blow_over.nmea", "four_passes_motor.csv")  # speed logs stand first
ROW = b"t_s,speed_mps\n" + b"".join(b"%d,%d\n" % (i, i % 30) for i in range(60))


def zipped(files: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def sample(name: str) -> bytes:
    return (data_folder() / name).read_bytes()


def errors_of(data: bytes, file: str = "a.zip", bounds: Bounds | None = None) -> list[str]:
    opened = open_bytes(data, file, bounds)
    assert not opened.files
    return [str(error) for error in opened.errors]


@pytest.fixture
def packed(tmp_path: Path) -> Path:
    path = tmp_path / "outing.zip"
    path.write_bytes(zipped({f"lake/{name}": sample(name) for name in LOGS}))
    return path


def test_a_zip_with_several_logs_gives_them_all_under_both_names(packed: Path) -> None:
    logs, errors = read_logs(packed)
    assert errors == ()
    assert [log.meta.file for log in logs] == [f"{packed}/lake/{name}" for name in LOGS]
    assert [log.meta.sha256 for log in logs] == [hashlib.sha256(sample(name)).hexdigest() for name in LOGS]
    for log, name in zip(logs, LOGS, strict=True):
        (plain,) = read_log(data_folder() / name)
        assert log.frame.equals(plain.frame)


@pytest.mark.parametrize("name", LOGS)
def test_a_gz_gives_the_log_in_it(name: str, tmp_path: Path) -> None:
    path = tmp_path / f"{name}.gz"
    path.write_bytes(gzip.compress(sample(name)))
    (log,) = read_log(path)
    assert log.meta.file == f"{path}/{name}"
    assert log.meta.sha256 == hashlib.sha256(sample(name)).hexdigest()


def test_what_an_archive_is_called_decides_nothing(tmp_path: Path) -> None:
    path = tmp_path / "track.gpx"
    path.write_bytes(zipped({"inside.dat": sample("four_passes.gpx")}))
    assert read_log(path)[0].meta.format == "gpx"


def test_what_is_no_log_is_passed_over_as_in_a_folder() -> None:
    files = {
        "photo.jpg": b"\xff\xd8\xff" * 500,
        "__MACOSX/._lake.csv": b"\0\5\x16\7",
        ".DS_Store": b"x",
        "folder/": b"",
        "lake.csv": ROW,
    }
    opened = open_bytes(zipped(files), "a.zip")
    assert [found.file for found in opened.files] == ["a.zip/lake.csv"]
    assert opened.errors == ()
    assert "no log is in this archive" in errors_of(zipped({"photo.jpg": b"\xff\xd8\xff" * 500}))[0]
    assert "no log is in this archive" in errors_of(zipped({}))[0]


DOCUMENT = zipped({"[Content_Types].xml": b"<Types/>", "word/document.xml": b"<w/>"})


def test_a_document_beside_the_logs_is_passed_over_and_named() -> None:
    files = {"notes.docx": DOCUMENT, "__MACOSX/._lake.csv": b"\0\5\x16\7", "._lake.csv": b"\0\5\x16\7"}
    opened = open_bytes(zipped({**files, "lake.csv": ROW, "more.csv": ROW}), "a.zip")
    assert [found.file for found in opened.files] == ["a.zip/lake.csv", "a.zip/more.csv"]
    assert opened.errors == ()
    assert sorted(opened.passed_over) == ["._lake.csv", "__MACOSX/._lake.csv", "notes.docx"]
    logs, errors = read_opened(opened)
    assert errors == ()
    told = [[f for f in log.findings if f.code == "passed-over"] for log in logs]
    assert [len(findings) for findings in told] == [1, 0]
    assert told[0][0].count == 3
    assert "notes.docx" in told[0][0].message
    assert told[0][0].message.index("notes.docx") < told[0][0].message.index("._lake.csv")
    (plain,) = read_opened(open_bytes(zipped({"lake.csv": ROW}), "a.zip"))[0]
    assert "passed-over" not in {f.code for f in plain.findings}


@pytest.mark.parametrize("name", ["lake.csv", "lake.zip", "lake.gpx.gz", "lake", "lake.7z"])
def test_what_is_packed_and_may_hold_a_log_is_told_as_not_opened(name: str) -> None:
    opened = open_bytes(zipped({name: DOCUMENT, "more.csv": ROW}), "a.zip")
    assert [found.file for found in opened.files] == ["a.zip/more.csv"]
    assert ["an archive inside an archive" in str(error) for error in opened.errors] == [True]


def test_a_large_film_beside_the_logs_costs_nothing() -> None:
    data = zipped({"film.mp4": bytes(3_000_000), "lake.csv": ROW})
    opened = open_bytes(data, "a.zip", Bounds(each_bytes=10_000, all_bytes=10_000))
    assert [found.file for found in opened.files] == ["a.zip/lake.csv"]
    assert opened.errors == ()


def tar_of(data: bytes) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w") as archive:
        archive.addfile(tarfile.TarInfo("lake.csv"), io.BytesIO(data))
    return out.getvalue()


@pytest.mark.parametrize(
    "outer",
    [
        zipped({"in.zip": zipped({"lake.csv": ROW})}),
        zipped({"lake.csv": gzip.compress(ROW)}),
        zipped({"in.7z": b"7z\xbc\xaf\x27\x1c" + bytes(40)}),
        zipped({"in.bz2": bz2.compress(ROW)}),
        gzip.compress(zipped({"lake.csv": ROW})),
        gzip.compress(gzip.compress(ROW)),
        gzip.compress(tar_of(ROW)),
    ],
    ids=["zip in zip", "gz in zip", "7z in zip", "bz2 in zip", "zip in gz", "gz in gz", "tar in gz"],
)
def test_an_archive_in_an_archive_is_refused(outer: bytes) -> None:
    (said,) = errors_of(outer)
    assert "an archive inside an archive, which is not opened" in said
    assert "Fix: unpack it yourself" in said


def test_an_encrypted_file_is_named_and_its_neighbour_read() -> None:
    data = bytearray(zipped({"secret.csv": ROW, "lake.csv": ROW}))
    for signature, flags_at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(signature) + flags_at] |= 0x1
    opened = open_bytes(bytes(data), "a.zip")
    assert [found.file for found in opened.files] == ["a.zip/lake.csv"]
    assert str(opened.errors[0]).startswith("a.zip/secret.csv: it is encrypted.")


def test_a_way_of_packing_without_bounds_is_refused() -> None:
    (said,) = errors_of(zipped({"lake.csv": ROW}, zipfile.ZIP_BZIP2))
    assert "a.zip/lake.csv: it is packed by method 12" in said


@pytest.mark.parametrize("kind", ["zip", "gz"])
def test_any_cut_or_flipped_bit_is_a_sentence_or_the_whole_log(kind: str) -> None:
    whole = zipped({"lake.csv": ROW}) if kind == "zip" else gzip.compress(ROW, mtime=0)
    said = []
    for at in range(4, len(whole)):
        flipped = whole[:at] + bytes([whole[at] ^ 0x10]) + whole[at + 1 :]
        for damaged in (whole[:at], flipped):
            opened = open_bytes(damaged, f"a.{kind}")
            said += [str(error) for error in opened.errors]
            assert opened.errors or [found.data for found in opened.files] == [ROW]
    assert sum("damaged" in text for text in said) > 0.8 * len(said)


def test_more_than_the_bounds_is_refused_with_the_bound() -> None:
    bounds = Bounds(each_bytes=1000, all_bytes=1500, files=3)
    large = b"t_s,speed_mps\n" + b"1,2\n" * 300
    assert "more than 0.001 MB" in errors_of(zipped({"lake.csv": large}), bounds=bounds)[0]
    assert "more than 0.001 MB" in errors_of(gzip.compress(large), bounds=bounds)[0]
    opened = open_bytes(zipped({f"{i}.csv": large[:900] for i in range(3)}), "a.zip", bounds)
    assert [found.file for found in opened.files] == ["a.zip/0.csv"]
    assert [str(error) for error in opened.errors] == [
        "a.zip (from 1.csv on): together its files unpack to more than 0.0015 MB. "
        "Fix: unpack it yourself and give the logs that were in it."
    ]
    four = zipped({f"{i}.csv": ROW for i in range(4)})
    assert "it holds 4 files, more than the 3 that are opened" in errors_of(four, bounds=bounds)[0]
    forty = zipped({f"{i}.csv": ROW for i in range(40)})
    assert "it holds 40 files" in errors_of(forty, bounds=bounds)[0]


def test_what_shrinks_as_no_log_does_is_refused() -> None:
    bomb = b"t_s,speed_mps\n" + b"0" * 5_000_000
    for data in (zipped({"lake.csv": bomb}), gzip.compress(bomb)):
        assert "more than 250 times its size" in errors_of(data)[0]


def test_a_size_that_lies_gives_no_more_than_it_says() -> None:
    data = bytearray(zipped({"lake.csv": ROW + bytes(100_000)}))
    struct.pack_into("<I", data, data.index(b"PK\x01\x02") + 24, len(ROW))
    opened = open_bytes(bytes(data), "a.zip")
    assert not opened.files or len(opened.files[0].data) <= len(ROW)


@pytest.mark.parametrize("name", ["../../etc/lake.csv", "/lake.csv", "..\\lake.csv", "a/./../lake.csv"])
def test_a_name_inside_leads_nowhere(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    opened = open_bytes(zipped({name: ROW}), "a.zip")
    assert ".." not in opened.files[0].file
    assert opened.files[0].file.endswith("/lake.csv")
    assert list(tmp_path.iterdir()) == []


def test_a_name_inside_cannot_write_on_the_terminal() -> None:
    opened = open_bytes(zipped({"\x1b[2Jlake\n.csv": ROW, "x" * 5000 + ".csv": ROW}), "a.zip")
    assert opened.files[0].file == "a.zip/?[2Jlake?.csv"
    assert len(opened.files[1].file) < 200


def test_read_log_wants_every_part_and_read_logs_says_which_is_missing(tmp_path: Path) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(zipped({"lake.csv": ROW, "bad.gpx": b"<gpx"}))
    logs, errors = read_logs(path)
    assert len(logs) == 1
    assert errors[0].file == f"{path}/bad.gpx"
    with pytest.raises(LogError, match=r"bad\.gpx"):
        read_log(path)


def test_the_command_line_takes_an_archive_and_a_folder_with_one(
    packed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = read_and_analyse([data_folder() / name for name in LOGS], Request())
    for argument in (packed, packed.parent):
        assert main(["analyse", str(argument), "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert [log["file"] for log in told["logs"]] == [f"{packed}/lake/{name}" for name in ORDERED]
        assert [p["peak_mps"] for p in told["passes"]] == [p["peak_mps"] for p in plain.to_dict()["passes"]]


def test_files_that_lie_over_one_another_are_refused() -> None:
    data = zipped({"lake.csv": ROW})
    listed, end = data.index(b"PK\x01\x02"), data.index(b"PK\x05\x06")
    entries = data[listed:end] * 2
    tail = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, 2, 2, len(entries), listed, 0)
    (said,) = errors_of(data[:listed] + entries + tail)
    assert "its files lie over one another" in said
