"""Heading maps that are kept: found again by the headings, whole or not at all, and never lost."""

from __future__ import annotations

import json
import multiprocessing
from pathlib import Path

import pytest

from telemetry.core.errors import PolePairsNeededError, SavedColumnsError
from telemetry.core.frames import Log, MotorLog, Track
from telemetry.readers import ReadOptions, SavedColumnMap, explain_table, read_bytes
from telemetry.readers import column_maps as headingmaps
from telemetry.readers.column_maps import folder, forget, forget_table, keep, keep_of_files, load

TABLE = "wann,umdr,span\n" + "".join(f"{i / 10},{60000 + i},22.{i % 10}\n" for i in range(40))
COLUMNS = {"wann": "elapsed:s", "umdr": "erpm:rpm", "span": "voltage_v:V"}
SAID = ReadOptions(COLUMNS, 3, 1.5)


def read(text: str, options: ReadOptions) -> tuple[Log, ...]:
    return read_bytes(text.encode(), "made.csv", options)


def say(text: str = TABLE, options: ReadOptions = SAID) -> SavedColumnMap | None:
    return keep(explain_table(text.encode(), "made.csv", options))


def remembered(**given: object) -> ReadOptions:
    return ReadOptions(kept=load()[0], **given)  # type: ignore[arg-type]


def kept_note(log: Log) -> str:
    return next((f.message for f in log.findings if f.code == "heading-map-kept"), "")


def test_a_table_explained_once_is_read_the_next_time_and_the_finding_says_from_when() -> None:
    assert say() is not None
    (log,) = read(TABLE, remembered())
    assert isinstance(log, MotorLog)
    assert log.frame.rpm.iloc[0] == 60000 / 3 / 1.5
    (kept,) = load()[0].values()
    assert kept_note(log) == (
        f"read as tables with these headings were explained on {kept.kept_utc[:10]}: wann as elapsed:s, "
        "umdr as erpm:rpm, span as voltage_v:V, pole pairs 3, gear ratio 1.5"
    )


def test_the_same_headings_in_another_spelling_are_the_same_table_others_are_not() -> None:
    say()
    (log,) = read(TABLE.replace("wann,umdr", "Wann , UMDR"), remembered())
    assert kept_note(log)
    for other in ("umdr,wann,span", "wann,umdr,spannung", "wann,umdr"):
        assert (
            explain_table(TABLE.replace("wann,umdr,span", other).encode(), "a.csv", remembered()).kept is None
        )


def test_another_row_of_units_is_another_table() -> None:
    text = "wann,tempo,breite,laenge\ns,km/h,deg,deg\n" + "".join(
        f"{i},36.0,47.0,{8 + i / 1e4}\n" for i in range(9)
    )
    said = {"wann": "elapsed:s", "tempo": "speed_mps:km/h", "breite": "lat_deg", "laenge": "lon_deg"}
    say(text, ReadOptions(said))
    (log,) = read(text, remembered())
    assert isinstance(log, Track)
    assert log.frame.speed_mps.iloc[0] == pytest.approx(10.0)
    assert explain_table(text.replace("km/h", "mph").encode(), "a.csv", remembered()).kept is None


def test_what_is_given_now_beats_what_is_kept_part_by_part() -> None:
    say()
    (log,) = read(TABLE, remembered(pole_pairs=2))
    assert log.frame.rpm.iloc[0] == 60000 / 2 / 1.5
    assert kept_note(log)
    (log,) = read(TABLE, remembered(headings={"span": "current_a:A"}))
    assert "voltage_v" not in log.frame
    assert log.frame.rpm.iloc[0] == 60000 / 3 / 1.5
    (log,) = read(TABLE, remembered(headings=COLUMNS, pole_pairs=4, gear_ratio=1.0))
    assert log.frame.rpm.iloc[0] == 60000 / 4
    assert kept_note(log) == ""  # nothing of it was used


def test_what_is_given_now_is_kept_from_now_on_and_the_same_again_changes_nothing() -> None:
    first = say()
    assert say() is None
    assert say(options=remembered()) is None
    changed = say(options=remembered(pole_pairs=2))
    assert first is not None
    assert changed is not None
    assert (changed.pole_pairs, changed.gear_ratio, changed.columns) == (2, 1.5, first.columns)
    assert list(load()[0].values()) == [changed]


@pytest.mark.parametrize(
    ("headings", "options", "columns", "poles", "gear"),
    [
        ("t_s,Voltage [V],eRPM", ReadOptions({"other": "hdop"}, 2, 1.5), {}, 2, 1.5),
        ("t_s,Voltage [V],Motor RPM", ReadOptions({}, 2, 1.5), {}, None, 1.5),
        ("t_s,Voltage [V],Current [A]", ReadOptions({"Current [A]": "ignore"}, 2, 1.5), None, None, None),
    ],
)
def test_only_what_concerns_the_table_is_kept(
    headings: str, options: ReadOptions, columns: dict[str, str] | None, poles: int | None, gear: float | None
) -> None:
    kept = say(headings + "\n0,1,2\n1,2,3\n", options)
    assert kept is not None
    wanted = {"Current [A]": "ignore"} if columns is None else columns
    assert (kept.columns, kept.pole_pairs, kept.gear_ratio) == (wanted, poles, gear)


def test_what_concerns_no_column_is_not_kept() -> None:
    assert say("t_s,Shaft RPM\n0,1\n1,2\n", ReadOptions({}, 2, 1.5)) is None
    assert say("t_s,Voltage [V]\n0,1\n1,2\n", ReadOptions({"U": "voltage_v"}, 2)) is None
    assert not folder().exists()


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: text[: len(text) // 2],
        lambda _: "",
        lambda _: "\ufffd\x00",
        lambda _: "[]",
        lambda _: '{"headings": 3}',
        lambda text: text.replace("voltage_v:V", "warp_factor"),
        lambda text: text.replace('"pole_pairs": 3', '"pole_pairs": true'),
        lambda text: text.replace('"gear_ratio": 1.5', '"gear_ratio": -1'),
    ],
)
def test_a_damaged_file_is_one_clear_message_and_stands_aside(damage) -> None:
    say()
    say("t_s,Voltage [V],eRPM\n0,1,2\n1,2,3\n", ReadOptions({}, 2))
    broken = next(f for f in folder().iterdir() if "voltage_v:V" in f.read_text(encoding="utf-8"))
    text = damage(broken.read_text(encoding="utf-8"))
    broken.write_text(text, encoding="utf-8")
    maps, (error,) = load()
    assert [kept.pole_pairs for kept in maps.values()] == [2]  # the other map is as it was
    assert str(broken) in str(error)
    assert "moved aside" in str(error)
    assert "Fix: say once more" in str(error)
    (aside,) = folder().glob("*.damaged")
    assert aside.name in str(error)
    assert aside.read_text(encoding="utf-8") == text
    assert load()[1] == ()  # said once
    assert say() is not None


def test_a_map_is_forgotten_by_its_id_or_the_beginning_of_it() -> None:
    first = say()
    say("t_s,Voltage [V],eRPM\n0,1,2\n1,2,3\n", ReadOptions({}, 2))
    assert first is not None
    for wrong in ("", "xyz"):
        with pytest.raises(SavedColumnsError, match="no map is kept that begins"):
            forget(wrong)
    assert forget(first.id[:8]) == first
    assert len(load()[0]) == 1


def test_a_map_is_forgotten_in_every_file_that_holds_it() -> None:
    said = explain_table(TABLE.encode(), "made.csv", SAID)
    for way in (lambda: forget(said.worth_keeping("").id), lambda: forget_table(said)):  # type: ignore[union-attr]
        say()
        (file,) = folder().iterdir()
        file.with_name("copy of it.json").write_bytes(file.read_bytes())
        file.rename(file.with_name("under another name.json"))
        way()
        assert load() == ({}, ())


def test_where_nothing_can_be_written_one_sentence_says_so(home: Path) -> None:
    home.parent.mkdir(exist_ok=True)
    home.write_text("a file where the folder would be", encoding="utf-8")
    with pytest.raises(SavedColumnsError, match=r"cannot be kept.*RECIPROCAL_HOME"):
        say()
    assert load() == ({}, ())
    file = home.with_name("made.csv")
    file.write_text(TABLE, encoding="utf-8")
    assert len(keep_of_files([file, file.with_name("gone.csv")], SAID)) == 1


def _write_many(home: str, poles: int) -> None:
    import os

    os.environ["RECIPROCAL_HOME"] = home
    for k in range(60):
        said = ReadOptions(COLUMNS, poles + k % 2)
        headingmaps.keep(explain_table(TABLE.encode(), "made.csv", said))
        own = TABLE.replace("wann", f"wann{poles}")
        headingmaps.keep(explain_table(own.encode(), "made.csv", ReadOptions({f"wann{poles}": "elapsed:s"})))


def test_two_writers_at_once_leave_whole_maps_and_lose_none(home: Path) -> None:
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=_write_many, args=(str(home), poles)) for poles in (10, 20)]
    for writer in writers:
        writer.start()
    seen = 0
    while any(writer.is_alive() for writer in writers):
        maps, errors = load()
        assert errors == ()
        seen = max(seen, len(maps))
    assert [writer.exitcode for writer in writers] == [0, 0]
    maps, errors = load()
    assert errors == ()
    assert len(maps) == 3
    shared = next(kept for kept in maps.values() if kept.headings[0] == "wann")
    assert shared.pole_pairs in (11, 21)
    assert sorted(p.suffix for p in folder().iterdir()) == [".json"] * 3  # nothing half written is left


def test_a_map_survives_the_way_to_the_file_and_back() -> None:
    kept = say()
    assert kept is not None
    (file,) = folder().iterdir()
    assert SavedColumnMap.from_dict(json.loads(file.read_text(encoding="utf-8"))) == kept


def test_a_gear_ratio_in_quotes_is_no_number() -> None:
    kept = say()
    assert kept is not None
    (file,) = folder().iterdir()
    document = json.loads(file.read_text(encoding="utf-8")) | {"gear_ratio": "1.5"}
    with pytest.raises(ValueError, match=r"'1\.5' is no gear ratio"):
        SavedColumnMap.from_dict(document)


def test_electrical_rpm_alone_asks_for_the_pole_pairs() -> None:
    with pytest.raises(PolePairsNeededError, match="pole pairs"):
        read("t_s,eRPM\n0,60000\n0.1,60000\n", ReadOptions())
    gps = "t_s,lat,lon,Speed [m/s],eRPM\n" + "".join(f"{i},47.0,{8 + i / 1e4},7.6,60000\n" for i in range(9))
    (track,) = read(gps, ReadOptions())
    assert isinstance(track, Track)
    assert "pole-pairs-unknown" in {f.code for f in track.findings}
    track, motor = read(gps, ReadOptions(pole_pairs=2))
    assert "pole-pairs-unknown" not in {f.code for f in track.findings}
    assert set(motor.frame.rpm) == {30000.0}
