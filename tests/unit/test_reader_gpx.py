"""GPX made here, one oddity at a time."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.core.errors import DamagedLogError, NothingUsableError
from telemetry.core.frames import Log
from telemetry.readers import gpx, read_bytes
from telemetry.readers.gpx_points import points_of_elements
from telemetry.readers.gpx_shapes import points_of_shapes

HEAD = '<gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
TAIL = "</trkseg></trk></gpx>"


def point(second: float, inner: str = "", lat: str = "46.0", lon: str = "8.0") -> str:
    return f'<trkpt lat="{lat}" lon="{lon}"><time>2025-06-01T10:00:{second:06.3f}Z</time>{inner}</trkpt>'


def read(text: str, encoding: str = "utf-8") -> Log:
    (log,) = read_bytes(text.encode(encoding), "made.gpx")
    return log


def codes(log: Log) -> dict[str, int]:
    return {f.code: f.count for f in log.findings}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_any_encoding_with_a_declaration(encoding: str) -> None:
    name = encoding.replace("-sig", "").replace("latin-1", "ISO-8859-1")
    text = f'<?xml version="1.0" encoding="{name}"?>{HEAD.replace("made", "Küste")}{point(0)}{point(1)}{TAIL}'
    assert read(text, encoding).t_s.tolist() == [0.0, 1.0]


def test_extensions_by_local_name_in_any_namespace() -> None:
    inner = (
        '<extensions><q:deep xmlns:q="urn:any"><q:Speed>7.5</q:Speed><q:course>90</q:course></q:deep>'
        "<hAcc>1.5</hAcc><vAcc>2</vAcc></extensions>"
    )
    frame = read(HEAD + point(0, inner) + point(1, inner) + TAIL).frame
    assert list(frame.speed_mps) == [7.5, 7.5]
    assert list(frame.course_deg) == [90.0, 90.0]
    assert list(frame.horizontal_sd_m) == [1.5, 1.5]


def test_a_bare_speed_in_gpx_1_1_is_not_lost() -> None:
    log = read(HEAD + point(0, "<speed>3</speed>") + point(1, "<speed>4</speed>") + TAIL)
    assert list(log.frame.speed_mps) == [3.0, 4.0]
    assert codes(log) == {}


def test_tracks_and_segments_become_one_log_and_are_told() -> None:
    one, two = ("".join(point(i) for i in seconds) for seconds in ((1, 2, 3, 4), (7, 8, 9)))
    log = read(HEAD + one + "</trkseg></trk><trk><trkseg>" + two + TAIL)
    assert log.t_s.tolist() == [0, 1, 2, 3, 6, 7, 8]
    assert codes(log) == {"several-tracks": 2}


def test_tracks_newest_first_are_sorted_and_told() -> None:
    newest, oldest = (
        "".join(point(i, f"<ele>{i}</ele>") for i in seconds) for seconds in ((7, 8, 9), (1, 2, 3, 4))
    )
    log = read(HEAD + newest + "</trkseg></trk><trk><trkseg>" + oldest + TAIL)
    assert log.t_s.tolist() == [0, 1, 2, 3, 6, 7, 8]
    assert log.frame.alt_m.tolist() == [1, 2, 3, 4, 7, 8, 9]
    assert codes(log) == {"several-tracks": 2, "out-of-order": 1}


def test_fix_none_is_a_row_without_fix() -> None:
    log = read(HEAD + point(0, "<fix>3d</fix>") + point(1, "<fix>none</fix>") + TAIL)
    assert list(log.frame.fix) == [1, 0]
    assert codes(log) == {"no-fix": 1}


def test_a_cut_file_keeps_what_stands_before() -> None:
    text = HEAD + "".join(point(i) for i in range(10))
    log = read(text[: -len(point(9)) // 2])
    assert len(log.frame) >= 9
    assert codes(log).keys() == {"salvaged", "no-time"}


def test_one_bad_point_does_not_cost_the_others() -> None:
    log = read(HEAD + point(0) + point(1, lat="undefined") + point(2) + TAIL)
    assert log.t_s.tolist() == [0.0, 2.0]
    assert codes(log)["no-position"] == 1


def test_points_without_time_and_a_single_false_stamp() -> None:
    untimed = '<trkpt lat="46" lon="8"/>'
    late = point(3).replace("2025", "2085")
    log = read(HEAD + untimed + point(0) + point(1) + late + point(2) + TAIL)
    assert log.t_s.tolist() == [0.0, 1.0, 2.0]
    assert codes(log) == {"no-time": 1, "odd-stamp": 1}


def test_a_zone_and_a_time_without_one() -> None:
    zone = point(0).replace("Z</time>", "+01:00</time>")
    bare = point(0).replace("Z</time>", "</time>")
    assert read(HEAD + zone + bare + TAIL).t_s.tolist() == [0.0, 3600.0]


def test_refusals_are_one_sentence() -> None:
    with pytest.raises(NothingUsableError, match="none of its 1 points carries a time"):
        read(HEAD + '<trkpt lat="46" lon="8"/>' + TAIL)
    with pytest.raises(NothingUsableError, match="it holds no track point"):
        read(HEAD + TAIL)
    with pytest.raises(DamagedLogError, match="breaks off before the first track point"):
        read(HEAD)
    bomb = '<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'
    with pytest.raises(DamagedLogError, match="declares XML entities"):
        read(bomb + HEAD + point(0) + TAIL)


def test_the_xml_library_itself_refuses_entity_bombs() -> None:
    # Should a dependency change its mind, the reader's own refusal is all that stands.
    import gpxpy
    from gpxpy.gpx import GPXXMLSyntaxException

    entities = '<!ENTITY a "aaaaaaaaaa">' + "".join(
        f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(12)
    )
    with pytest.raises(GPXXMLSyntaxException):
        gpxpy.parse(f"<!DOCTYPE gpx [{entities}]><gpx><trk><name>&m;</name></trk></gpx>")


@pytest.mark.parametrize(
    ("inner", "column", "value"),
    [
        ("<course>90</course><extensions><speed>5</speed></extensions>", "course_deg", 90.0),
        ('<speed unit="m">5</speed>', "speed_mps", 5.0),
        ("<sAcc>0.5</sAcc>", "speed_sd_mps", 0.5),
    ],
)
def test_what_stands_bare_outside_the_schema_is_read(inner: str, column: str, value: float) -> None:
    log = read(HEAD + "".join(point(i, inner) for i in range(10)) + TAIL)
    assert set(log.frame[column]) == {value}
    assert codes(log) == {}


def test_a_speed_that_is_no_number_does_not_call_for_the_other_decoder() -> None:
    inner = "<extensions><speed>fast</speed></extensions>"
    assert codes(read(HEAD + point(0, inner) + point(1, inner) + TAIL)) == {}


FAST_AND_WALKED = {
    "one shape": [point(i, f"<ele>{i}</ele><extensions><speed>{i}.5</speed></extensions>") for i in range(9)],
    "two shapes": [point(i, "<ele>4</ele>" * (i % 2)) for i in range(9)],
    "speed twice in a point": [point(i, "<speed>1</speed><x><speed>2</speed></x>") for i in range(4)],
    "times written in three lengths": [
        point(0),
        point(1).replace(".000Z", "Z"),
        point(2).replace(".000Z", "Z").replace("-06-01", "-6-1"),
        point(3).replace(".000Z", ".0001239Z"),
        point(4).replace(".000Z", ".5-03:30"),
        point(5).replace("10:00:05", "10:00:61"),
        point(6).replace("2025-06-01", "2025-06-31"),
    ],
    "numbers that are none": [
        point(i, f"<ele>{text}</ele>") for i, text in enumerate(("1", "nan", "", "1e3"))
    ],
    "a latitude that is none": [point(0), point(1, lat="undefined"), point(2)],
    "fix": [point(i, f"<fix>{kind}</fix>") for i, kind in enumerate(("3d", "none", "2d"))],
    "points without a time": [point(0), point(1), '<trkpt lat="46" lon="8"/>'],
}
DECLINED = {
    "a comment": [point(0), "<!--" + point(1) + "-->", point(2)],
    "an entity in a value": [point(0), point(1, "<ele>&#49;</ele>")],
    "text of another alphabet": [point(0, "<name>ä</name>"), point(1, "<name>b</name>")],
    "a namespace of a point's own": [point(0, '<x:speed xmlns:x="urn:a">1</x:speed>')] * 2
    + ["<wpt xmlns='u'/>"],
    "an unclosed element": [point(0), "<extra>", point(1)],
    "a prefix that nobody declares": [point(0, "<y:speed>1</y:speed>"), point(1, "<y:speed>2</y:speed>")],
    "text beside elements": [point(0, "<a>text<speed>1</speed></a>"), point(1)],
    "more shapes than a recorder writes": [point(i, "<a>1</a>" * i) for i in range(9)],
}


@pytest.mark.parametrize("points", FAST_AND_WALKED.values(), ids=FAST_AND_WALKED)
def test_the_pattern_reads_what_the_walk_reads(points: list[str]) -> None:
    text = HEAD + "\n".join(points) + TAIL
    fast, (walked, damage) = points_of_shapes(text), points_of_elements(text)
    assert fast is not None
    assert damage == ""
    np.testing.assert_array_equal(fast.stamp_us, walked.stamp_us)
    assert (fast.misplaced, fast.tracks) == (walked.misplaced, walked.tracks)
    assert fast.columns.keys() == walked.columns.keys()
    for column, values in walked.columns.items():
        np.testing.assert_array_equal(fast.columns[column], values)


@pytest.mark.parametrize("points", DECLINED.values(), ids=DECLINED)
def test_the_pattern_declines_what_only_the_walk_reads_for_certain(points: list[str]) -> None:
    text = HEAD + "\n".join(points) + TAIL
    assert points_of_shapes(text) is None
    assert points_of_elements(text)[0].stamp_us.size


def test_gpxpy_is_asked_where_the_walk_finds_damage(monkeypatch: pytest.MonkeyPatch) -> None:
    text = HEAD + point(0) + point(1) + TAIL
    monkeypatch.setattr(gpx, "points_of_shapes", lambda _: None)
    lost = points_of_elements(HEAD + TAIL)[0]
    monkeypatch.setattr(gpx, "points_of_elements", lambda _: (lost, "a made damage"))
    log = read(text)
    assert len(log.frame) == 2
    assert codes(log) == {"second-decoder": 1}
    monkeypatch.setattr(gpx, "_MAX_POINTS", 1)
    with pytest.raises(DamagedLogError, match="a made damage"):
        read(text)


def test_very_many_points_without_a_time_are_refused_before_they_are_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(gpx, "_MAX_UNTIMED", 10)
    monkeypatch.setattr(gpx, "_points", lambda *_: pytest.fail("it was read"))
    with pytest.raises(NothingUsableError, match="none of its 11 points carries a time"):
        read(HEAD + '<trkpt lat="46" lon="8"/>' * 11 + TAIL)
