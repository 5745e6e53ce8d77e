from dashboard.session.column_maps import remembered, save_columns
from dashboard.session.samples import sample_uploads
from dashboard.session.uploads import (
    LARGEST_BYTES,
    column_choices,
    file_view,
    read_again,
    read_upload,
    read_uploads,
)
from telemetry.analysis import analyse
from telemetry.core.frames import MotorLog, Track

TABLE = "wann,vgps,umdr,span\n" + "".join(f"{i / 10},{i % 30},{i * 100},22.5\n" for i in range(200))
MOTOR = "t_s,Voltage [V],eRPM\n" + "".join(f"{i / 10},22.2,{600 * i}\n" for i in range(200))


def test_each_sample_says_what_was_read() -> None:
    speed, motor = sample_uploads()
    view = file_view(speed, None)
    assert view.name == "four_passes.gpx"
    kind, samples, rate, *_, source = view.summaries[0]
    assert (kind, rate, source) == ("GPX speed log", "10 Hz", "speed measured by the receiver")
    assert samples.endswith("samples")
    assert not view.error
    assert file_view(motor, None).summaries[0][0] == "CSV motor log"
    assert file_view(motor, None).pole_pairs == 2


def test_a_log_over_midnight_names_both_days() -> None:
    points = "".join(
        f'<trkpt lat="1" lon="{lon}"><time>2026-06-{stamp}Z</time></trkpt>'
        for lon, stamp in ((2.0, "13T23:59:59"), (2.00001, "14T00:00:00"), (2.00002, "14T00:00:01"))
    )
    gpx = f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    summary = file_view(read_upload("night.gpx", gpx.encode()), None).summaries[0]
    assert "13 Jun 2026" in summary
    assert "23:59:59 to 14 Jun 2026 00:00:01 UTC" in summary


def test_what_the_cleaning_found_stands_beside_the_file() -> None:
    from sample_logs import data_folder

    upload = read_upload("blow_over.nmea", (data_folder() / "blow_over.nmea").read_bytes())
    before, after = file_view(upload, None), file_view(upload, analyse(upload.logs))
    assert len(after.findings) > len(before.findings)
    assert any("spike" in finding.code for finding in after.findings)


def test_an_unusable_file_becomes_its_own_error_with_the_mend() -> None:
    for data in (b"", b"\x00\x01\x02" * 50, b"<gpx", b"\xff\xfe,,,"):
        upload = read_upload("C:\\logs\\outing.gpx", data)
        view = file_view(upload, None)
        assert view.name == "outing.gpx"
        assert not upload.logs
        assert view.error.endswith(".")
        assert "Traceback" not in view.error


def test_a_file_that_is_too_large_is_turned_away_unread() -> None:
    (upload,) = read_uploads("long.gpx", b" " * (LARGEST_BYTES + 1))
    assert "32 MB" in file_view(upload, None).error
    assert upload.data is None


def test_a_path_in_the_name_is_dropped() -> None:
    assert read_upload("../../etc/outing.csv", b"").name == "outing.csv"
    assert read_upload("", b"").name == "log"


def test_a_table_that_explains_nothing_asks_for_its_headings_and_is_read_again() -> None:
    upload = read_upload("odd.csv", TABLE.encode())
    view = file_view(upload, None)
    assert view.headings == ("wann", "vgps", "umdr", "span")
    choices = {value for value, _ in column_choices()}
    wanted = {"wann": "elapsed:s", "vgps": "speed_mps:km/h", "umdr": "erpm:rpm", "span": "voltage_v:V"}
    assert set(wanted.values()) <= choices
    again = read_again(upload, wanted, 3)
    kinds = {type(log) for log in again.logs}
    assert kinds == {Track, MotorLog}
    track = next(log for log in again.logs if isinstance(log, Track))
    assert track.frame["speed_mps"].max() == 29 / 3.6
    motor = next(log for log in again.logs if isinstance(log, MotorLog))
    assert motor.frame["rpm"].max() == 19_900 / 3
    assert again.key == upload.key
    assert not file_view(again, None).needs_poles
    assert file_view(read_again(upload, wanted, None), None).needs_poles


def test_every_choice_of_a_column_is_one_the_reader_understands() -> None:
    data = b"a,b\n1,2\n2,3\n3,4\n"
    for value, label in column_choices():
        upload = read_upload("odd.csv", data)
        again = read_again(
            upload, {"a": "elapsed:s" if not value.startswith("elapsed") else "satellites", "b": value}, 2
        )
        assert "column" not in str(again.error or "").partition("Fix")[0] or again.logs, (label, again.error)


def test_what_was_said_on_the_page_once_is_known_in_every_later_session() -> None:
    data = TABLE.encode()
    wanted = {"wann": "elapsed:s", "vgps": "speed_mps:km/h", "umdr": "erpm:rpm", "span": "voltage_v:V"}
    save_columns(read_again(read_upload("odd.csv", data), wanted, 3, 1.5))
    options, unusable = remembered()
    assert unusable == ""
    later = read_upload("later.csv", data.replace(b"22.5", b"22.4"), options)
    view = file_view(later, None)
    assert later.error is None
    assert (view.mapped, view.pole_pairs, view.gear_ratio) == (wanted, 3, 1.5)
    assert not view.needs_headings
    assert "heading-map-kept" in {f.code for f in view.findings}
    # What is said anew goes in its place, and what is not asked about stands.
    save_columns(read_again(later, None, 2))
    (kept,) = remembered()[0].kept.values()
    assert (kept.columns, kept.pole_pairs, kept.gear_ratio) == (wanted, 2, None)


def test_what_is_taken_back_on_the_page_is_forgotten() -> None:
    upload = read_upload("made.csv", MOTOR.encode())
    assert file_view(upload, None).needs_poles
    save_columns(read_again(upload, {}, 2))
    assert remembered()[0].kept
    save_columns(read_again(upload, {}, None))
    assert not remembered()[0].kept


def test_what_could_not_be_read_is_not_kept() -> None:
    upload = read_again(read_upload("odd.csv", TABLE.encode()), {"vgps": "speed_mps:km/h"}, None)
    assert upload.error is not None
    save_columns(upload)
    assert not remembered()[0].kept


def test_a_table_whose_only_motor_column_is_electrical_rpm_asks_for_the_pole_pairs() -> None:
    gps = "t_s,lat,lon,Speed [m/s],eRPM\n" + "".join(f"{i},47.0,{8 + i / 1e4},7.6,60000\n" for i in range(9))
    for text, kinds in ((gps, {Track, MotorLog}), ("t_s,eRPM\n0,60000\n1,60000\n", {MotorLog})):
        upload = read_upload("made.csv", text.encode())
        assert file_view(upload, None).needs_poles
        assert file_view(upload, analyse(upload.logs)).needs_poles
        assert file_view(upload, None).is_table
        again = read_again(upload, None, 2)
        assert {type(log) for log in again.logs} == kinds
        assert not file_view(again, None).needs_poles
