"""Tables made here: how they are written, what their headings mean, and which clock they follow."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.core.errors import ColumnMapNeededError, DamagedLogError, NothingUsableError
from telemetry.core.frames import Log, MotorLog, Track
from telemetry.readers import ReadOptions, read_bytes
from telemetry.readers.headings import best, match


def read(text: str, options: ReadOptions | None = None, encoding: str = "utf-8") -> tuple[Log, ...]:
    return read_bytes(text.encode(encoding), "made.csv", options)


def codes(log: Log) -> set[str]:
    return {f.code for f in log.findings}


@pytest.mark.parametrize(
    ("heading", "column", "raw", "value"),
    [
        ("Voltage [V]", "voltage_v", 22.2, 22.2),
        ("Voltage [mV]", "voltage_v", 22200.0, 22.2),
        ("Voltage/V", "voltage_v", 22.2, 22.2),
        ("Current (A)", "current_a", 80.0, 80.0),
        ("eRPM", "erpm", 1000.0, 1000.0),
        ("RPM", "motor_rpm", 1000.0, 1000.0),
        ("Shaft RPM", "rpm", 1000.0, 1000.0),
        ("ESC temp °C", "esc_temp_c", 40.0, 40.0),
        ("Motor temp", "motor_temp_c", 40.0, 40.0),
        ("Motor temp (°F)", "motor_temp_c", 212.0, 100.0),
        ("Throttle %", "throttle_pct", 50.0, 50.0),
        ("Throttle%", "throttle_pct", 50.0, 50.0),
        ("Throttle [us]", "throttle_pct", 2000.0, 100.0),
        ("Capacity [mAh]", "charge_mah", 500.0, 500.0),
        ("Speed (km/h)", "speed_mps", 36.0, 10.0),
        ("Speed [mph]", "speed_mps", 100.0, 44.704),
        ("Speed, kn", "speed_mps", 1.0, 1852 / 3600),
        ("GpsSpeed", "speed_mps", 1.0, 1.0),
        ("Altitude (ft)", "alt_m", 1000.0, 304.8),
        ("bearing_deg", "course_deg", 90.0, 90.0),
        ("Ax [m/s2]", "ax_mps2", 1.0, 1.0),
        ("az [g]", "az_mps2", 1.0, 9.80665),
        ("utc_ms", "utc", 1000.0, 1.0),
        ("t_host_s", "host", 1.0, 1.0),
    ],
)
def test_headings_of_the_trade(heading: str, column: str, raw: float, value: float) -> None:
    (found,) = match([heading], [], {})
    assert found.column == column
    assert raw * found.factor + found.offset == pytest.approx(value)


def test_headings_that_say_nothing_or_an_unknown_unit_match_nothing() -> None:
    assert match(["Speed [furlong]", "Weather", "", "pose_speed_mps", "Temperature"], [], {}) == []


def test_a_bare_temperature_is_the_controller_s_only_beside_motor_columns() -> None:
    assert best(match(["Voltage", "Temp"], [], {}))["esc_temp_c"].heading == "Temp"


def test_every_frame_column_has_a_spelling_of_its_own_name() -> None:
    from telemetry.core.frames import MOTOR_COLUMNS, TRACK_COLUMNS

    for name in (*TRACK_COLUMNS, *MOTOR_COLUMNS):
        (found,) = match([name], [], {})
        assert found.column == ("motor_rpm" if name == "rpm" else name)
        assert (found.factor, found.offset) == (1.0, 0.0)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiters_encodings_preamble_and_units_row(encoding: str, delimiter: str) -> None:
    rows = ["Recorder 3", "", "Time;Voltage;ESC temp", "s;V;°C", "0.0;22.2;20", "0.1;22.1;21"]
    (log,) = read("\n".join(rows).replace(";", delimiter), encoding=encoding)
    assert isinstance(log, MotorLog)
    assert log.t_s.tolist() == [0.0, 0.1]
    assert list(log.frame.voltage_v) == [22.2, 22.1]
    assert list(log.frame.esc_temp_c) == [20, 21]


def test_decimal_commas() -> None:
    (log,) = read("Time [s];Voltage [V];Current [A]\r\n0,00;22,25;1\r\n0,04;22,20;x\r\n0,08;22,10;3,5\r\n")
    assert log.t_s.tolist() == [0.0, 0.04, 0.08]
    assert list(log.frame.voltage_v) == [22.25, 22.2, 22.1]
    np.testing.assert_array_equal(log.frame.current_a, [1.0, np.nan, 3.5])
    assert "bad-number" in codes(log)


def test_gps_and_motor_columns_give_two_logs_on_one_clock() -> None:
    text = "utc_ms,lat,lon,speed_mps,Voltage [V],RPM\n" + "".join(
        f"{1700000000000 + 100 * i},46.0,{8 + i / 1e4},8.0,22.{i},1000\n" for i in range(5)
    )
    track, motor = read(text, ReadOptions(gear_ratio=2.0))
    assert isinstance(track, Track)
    assert isinstance(motor, MotorLog)
    assert track.t_s.tolist() == motor.t_s.tolist() == [0.0, 0.1, 0.2, 0.3, 0.4]
    assert track.meta.start_utc == motor.meta.start_utc is not None
    assert set(motor.frame.rpm) == {500.0}


def test_erpm_needs_pole_pairs_and_says_so() -> None:
    text = "t_s,Voltage [V],eRPM\n0,22.2,60000\n0.1,22.1,60000\n"
    (log,) = read(text)
    assert "rpm" not in log.frame
    assert "pole-pairs-unknown" in codes(log)
    (log,) = read(text, ReadOptions(pole_pairs=2, gear_ratio=1.5))
    assert set(log.frame.rpm) == {20000.0}


def test_an_empty_column_of_rpm_gives_way_to_the_next_that_has_numbers() -> None:
    text = "Time,Voltage,Shaft RPM,RPM,eRPM\n0,22,,,60000\n0.1,22,,,61200"
    (log,) = read(text, ReadOptions(pole_pairs=2, gear_ratio=1.5))
    assert list(log.frame.rpm) == [20000.0, 20400.0]
    told = [f for f in log.findings if f.code == "column-chosen"]
    assert [(f.message, f.count) for f in told] == [
        ("Shaft RPM, RPM: left aside for eRPM, which has numbers", 2)
    ]


def test_of_several_columns_of_rpm_that_have_numbers_the_one_nearest_the_shaft_is_read_and_told() -> None:
    (log,) = read("Time,Voltage,eRPM,RPM\n0,22,60000,30000\n0.1,22,61200,30600", ReadOptions(pole_pairs=3))
    assert list(log.frame.rpm) == [30000.0, 30600.0]
    told = [f.message for f in log.findings if f.code == "column-chosen"]
    assert told == ["eRPM: left aside for RPM, which is nearer the shaft"]


def test_columns_of_rpm_without_any_number_give_none() -> None:
    (log,) = read("Time,Voltage,RPM,eRPM\n0,22,,\n0.1,22,,")
    assert "rpm" not in log.frame


def test_the_receiver_s_clock_goes_before_the_host_s() -> None:
    text = "t_host_s,utc_ms,lat,lon\n0.00,1700000000000,46,8\n0.13,1700000000100,46,8\n"
    (log,) = read(text)
    assert log.t_s.tolist() == [0.0, 0.1]
    assert log.meta.clock == "receiver"
    assert "clock-chosen" in codes(log)
    (log,) = read(text.replace("utc_ms", "frame_no"))
    assert log.t_s.tolist() == [0.0, 0.13]
    assert log.meta.clock == "host"


@pytest.mark.parametrize(
    ("heading", "cells", "start"),
    [
        (
            "timestamp",
            ("2021-05-06T10:00:00.123+02:00", "2021-05-06T10:00:00.223+02:00"),
            "2021-05-06 08:00:00.123",
        ),
        ("UTC", ("2021-05-06 08:00:00.123Z", "2021-05-06 08:00:00.223Z"), "2021-05-06 08:00:00.123"),
        ("time", ("1620288000123", "1620288000223"), "2021-05-06 08:00:00.123"),
        ("time", ("1620288000.123", "1620288000.223"), "2021-05-06 08:00:00.123"),
        ("utc_us", ("1620288000123456", "1620288000223456"), "2021-05-06 08:00:00.123456"),
        ("Date time", ("06.05.2021 08:00:00.123", "06.05.2021 08:00:00.223"), "2021-05-06 08:00:00.123"),
        ("Date time", ("5/25/2021 8:00:00.123", "5/25/2021 8:00:00.223"), "2021-05-25 08:00:00.123"),
    ],
)
def test_absolute_times(heading: str, cells: tuple[str, str], start: str) -> None:
    (log,) = read(f"{heading};lat;lon\n{cells[0]};46;8\n{cells[1]};46;8\n")
    assert log.t_s.tolist() == [0.0, 0.1]
    assert str(log.meta.start_utc).removesuffix("+00:00").rstrip("0") == start.rstrip("0")


def test_a_date_that_may_be_two_days_leaves_the_day_open() -> None:
    (log,) = read("Date,Time,lat,lon\n03/04/2021,10:00:00,46,8\n03/04/2021,10:00:01,46,8\n")
    assert log.t_s.tolist() == [0.0, 1.0]
    assert log.meta.start_utc is None
    assert "date-ambiguous" in codes(log)


def test_time_of_day_runs_on_over_midnight() -> None:
    (log,) = read("Time,lat,lon\n23:59:59.5,46,8\n00:00:00.5,46,8\n")
    assert log.t_s.tolist() == [0.0, 1.0]
    assert "no-date" in codes(log)


def test_whole_numbers_far_apart_are_milliseconds() -> None:
    (log,) = read("Time,Voltage [V]\n0,22\n40,22\n80,21\n")
    assert log.t_s.tolist() == [0.0, 0.04, 0.08]
    assert "unit-assumed" in codes(log)


@pytest.mark.parametrize(
    ("unit", "factor"), [("m/s", 1.0), ("km/h", 3.6), ("mph", 2.2369363), ("kn", 1.9438445)]
)
def test_a_speed_without_unit_is_settled_by_the_positions(unit: str, factor: float) -> None:
    # One degree of latitude at 46 degrees is 111 142 m on WGS 84 (meridian arc, pyproj).
    step_deg = 2.0 / 111_142
    rows = "".join(f"{i / 10},{46 + i * step_deg:.8f},8.0,{20 * factor:.4f}\n" for i in range(60))
    (log,) = read("t_s,lat,lon,speed\n" + rows)
    np.testing.assert_allclose(log.frame.speed_mps, 20.0, rtol=1e-4)
    (finding,) = [f for f in log.findings if f.code == "speed-unit"]
    assert f"in {unit} " in finding.message


def test_a_speed_without_unit_is_asked_for_where_nothing_settles_it() -> None:
    with pytest.raises(ColumnMapNeededError, match="states no unit and nothing tells"):
        read("t_s,speed\n0,1\n1,2\n2,3\n")
    rows = "".join(f"{i / 10},{46 + i * 2e-5:.8f},8.0,500\n" for i in range(60))
    with pytest.raises(ColumnMapNeededError, match="times the positions' m/s"):
        read("t_s,lat,lon,speed\n" + rows)


def test_the_user_s_heading_map_wins() -> None:
    text = "clicks;U batt;V GPS;speed_mps\n0;22,2;36;99\n1;22,1;36;99\n"
    own = {"clicks": "elapsed:s", "U batt": "voltage_v", "V GPS": "speed_mps:km/h"}
    track, motor = read(text, ReadOptions(headings=own))
    assert list(track.frame.speed_mps) == [10.0, 10.0]
    assert list(motor.frame.voltage_v) == [22.2, 22.1]
    own = {"clicks": "elapsed", "U batt": "voltage_v", "V GPS": "ignore", "speed_mps": "ignore"}
    (motor,) = read(text, ReadOptions(headings=own))
    assert isinstance(motor, MotorLog)


@pytest.mark.parametrize("target", ["volts", "voltage_v:km/h"])
def test_a_heading_map_that_does_not_fit_is_told(target: str) -> None:
    with pytest.raises(ColumnMapNeededError, match="heading map does not fit") as error:
        read("t_s,U\n0,1\n", ReadOptions(headings={"U": target}))
    assert error.value.headings == ("t_s", "U")


def test_headings_are_named_when_they_are_not_understood() -> None:
    with pytest.raises(ColumnMapNeededError, match="its headings are: a, b") as error:
        read("a,b\n1,2\n")
    assert error.value.headings == ("a", "b")
    with pytest.raises(ColumnMapNeededError, match="no heading names the time"):
        read("lat,lon\n46,8\n")
    with pytest.raises(ColumnMapNeededError, match="no line of headings"):
        read("1,2\n3,4\n")


def test_damage_and_emptiness() -> None:
    with pytest.raises(DamagedLogError, match="no row of values"):
        read("t_s,speed_mps\n")
    with pytest.raises(NothingUsableError, match="none of its rows has a time"):
        read("utc,lat,lon\nx,1,2\nx,1,2\n")
    with pytest.raises(DamagedLogError, match="more than 1000 columns"):
        read(",".join(["t"] * 1500) + "\n" + ",".join(["1"] * 1500) + "\n")
    (log,) = read('t_s,speed_mps\n0,1\n1,2\n2,"3\n3,4\n4,5,6\n')
    assert len(log.frame) >= 3


def test_no_fix_rows_keep_their_place() -> None:
    (log,) = read("t_s,lat,lon,fix\n0,46,8,3\n1,,,0\n2,46,8,3\n")
    assert list(log.frame.fix) == [1, 0, 1]
    assert "no-fix" in codes(log)


@pytest.mark.parametrize(
    ("column", "unit", "raw", "value"),
    [("esc_temp_c", "°F", 212, 100.0), ("current_a", "mA", 1500, 1.5), ("cell_min_v", "[mV]", 3700, 3.7)],
)
def test_the_row_of_units_holds_for_columns_the_user_names_too(
    column: str, unit: str, raw: int, value: float
) -> None:
    text = f"wann;Dings\nms;{unit}\n" + "".join(f"{i * 100};{raw}\n" for i in range(30))
    (log,) = read(text, ReadOptions(headings={"wann": "elapsed", "Dings": column}))
    assert log.t_s[1] == 0.1
    np.testing.assert_allclose(log.frame[column], value)


def test_a_unit_the_user_gives_goes_before_the_row_of_units() -> None:
    text = "wann;Dings\ns;°F\n" + "".join(f"{i};50\n" for i in range(30))
    (log,) = read(text, ReadOptions(headings={"wann": "elapsed", "Dings": "esc_temp_c:°C"}))
    assert set(log.frame.esc_temp_c) == {50.0}


def test_dates_that_may_be_two_days_run_on_over_midnight() -> None:
    (log,) = read("Date,Time,lat,lon\n06/05/2024,23:59:59,46,8\n06/06/2024,00:00:00,46,8\n")
    assert log.t_s.tolist() == [0.0, 1.0]
    assert log.meta.start_utc is None
    assert "date-ambiguous" in codes(log)


@pytest.mark.parametrize(
    ("date", "ways"),
    [
        ("24-06-13", "day/month/year or year/month/day"),
        ("13/06/24", "day/month/year or year/month/day"),
        ("05-06-07", "day/month/year or month/day/year or year/month/day"),
        ("05/06/2024", "day/month/year or month/day/year"),
    ],
)
def test_a_date_whose_parts_may_be_in_several_orders_leaves_the_day_open(date: str, ways: str) -> None:
    (log,) = read(f"date,time,lat,lon\n{date},23:59:59,46,8\n{date},00:00:00,46,8\n")
    assert log.meta.start_utc is None
    assert log.t_s.tolist() == [0.0, 1.0]
    (told,) = [f.message for f in log.findings if f.code == "date-ambiguous"]
    assert f"may be {ways};" in told


@pytest.mark.parametrize(
    ("date", "day"),
    [
        ("05-05-2021", "2021-05-05"),
        ("05-05-05", "2005-05-05"),
        ("06/13/24", "2024-06-13"),
        ("13/06/2024", "2024-06-13"),
        ("24.06.13", "2013-06-24"),
        ("99-06-13", "1999-06-13"),
        ("06-99-13", None),
    ],
)
def test_a_date_that_can_be_but_one_day_is_that_day(date: str, day: str | None) -> None:
    (log,) = read(f"date,time,lat,lon\n{date},10:00:00,46,8\n{date},10:00:01,46,8\n")
    assert (None if log.meta.start_utc is None else f"{log.meta.start_utc:%Y-%m-%d}") == day
    assert "date-ambiguous" not in codes(log)


def test_one_false_date_does_not_settle_the_order_of_the_others() -> None:
    dates = ("05/06/2024", "05/06/2024", "99/99/2024", "05/06/2024")
    rows = [f"{date},10:00:0{i},46,8" for i, date in enumerate(dates)]
    (log,) = read("\n".join(["date,time,lat,lon", *rows]))
    assert log.meta.start_utc is None
    assert log.t_s.tolist() == [0.0, 1.0, 3.0]
    assert {"date-ambiguous", "no-time"} <= codes(log)


@pytest.mark.parametrize("form", ["{:02d}.06.2024", "2024-06-{:02d}", "06/{:02d}/2024", "202406{:02d}"])
@pytest.mark.parametrize("separate", [True, False])
def test_a_day_that_its_month_has_not_is_a_row_without_a_time(form: str, separate: bool) -> None:
    days = (30, 31, 30, 30)
    heading, sep = ("date,time,lat,lon", ",") if separate else ("time,lat,lon", " ")
    rows = [f"{form.format(day)}{sep}10:00:0{i},46,8" for i, day in enumerate(days)]
    (log,) = read("\n".join([heading, *rows]))
    assert str(log.meta.start_utc) == "2024-06-30 10:00:00+00:00"
    assert log.t_s.tolist() == [0.0, 2.0, 3.0]
    assert [f.count for f in log.findings if f.code == "no-time"] == [1]


@pytest.mark.parametrize("zone", ["+02", "+0200", "+02:00", " +02"])
@pytest.mark.parametrize(
    "heading_and_cells",
    ["time,lat,lon;2024-06-13T{}", "time,lat,lon;13.06.2024 {}", "date,time,lat,lon;2024-06-13,{}"],
)
def test_a_zone_is_taken_off_and_not_told_as_none(heading_and_cells: str, zone: str) -> None:
    heading, cells = heading_and_cells.split(";")
    rows = [cells.format(f"{time}{zone}") + ",46,8" for time in ("00:30:00", "00:30:00.5")]
    (log,) = read("\n".join([heading, *rows]))
    assert str(log.meta.start_utc) == "2024-06-12 22:30:00+00:00"
    assert log.t_s.tolist() == [0.0, 0.5]
    assert "time-zone-assumed" not in codes(log)


def test_times_of_which_some_name_a_zone_are_told_of_the_others() -> None:
    (log,) = read("date,time,lat,lon\n2024-06-13,10:00:00-01,46,8\n2024-06-13,11:00:01,46,8\n")
    assert str(log.meta.start_utc) == "2024-06-13 11:00:00+00:00"
    assert log.t_s.tolist() == [0.0, 1.0]
    assert [f.count for f in log.findings if f.code == "time-zone-assumed"] == [1]


@pytest.mark.parametrize(
    ("dates", "start"),
    [
        (("20240613", "20240614"), "2024-06-13 23:59:59.500000+00:00"),
        (("20240613", "20240614", ""), "2024-06-13 23:59:59.500000+00:00"),
        (("13062024", "14062024"), None),  # as a year, a month and a day it is none
        (("240613", "240614"), None),
    ],
)
def test_dates_of_eight_digits_are_year_month_and_day(dates: tuple[str, ...], start: str | None) -> None:
    times = ("23:59:59.5", "00:00:00.5", "00:00:01.5")
    rows = "".join(f"{date};{time};46;8\n" for date, time in zip(dates, times, strict=False))
    (log,) = read("Date;Time;lat;lon\n" + rows)
    assert log.t_s[:2].tolist() == [0.0, 1.0]
    assert (None if log.meta.start_utc is None else str(log.meta.start_utc)) == start
    assert ("no-date" in codes(log)) == (start is None)


@pytest.mark.parametrize(
    ("cells", "times"),
    [
        (("00:00", "00:01", "00:02"), [0.0, 1.0, 2.0]),
        (("0:05.5", "0:05,7", "1:06"), [0.0, 0.2, 60.5]),
        (("59:59.5", "1:00:00.0", "1:00:00.5"), [0.0, 0.5, 1.0]),
    ],
)
def test_elapsed_time_in_two_parts_is_what_a_stopwatch_shows(
    cells: tuple[str, ...], times: list[float]
) -> None:
    (log,) = read("elapsed;voltage_v\n" + "".join(f"{cell};22\n" for cell in cells))
    np.testing.assert_allclose(log.t_s, times)
    (told,) = [f for f in log.findings if f.code == "unit-assumed"]
    assert "minutes and seconds" in told.message


def test_utc_as_one_number_of_hours_minutes_and_seconds() -> None:
    cells = ("095959.50", "100000.00", "100000.50")
    (log,) = read("utc,lat,lon\n" + "".join(f"{cell},46,8\n" for cell in cells))
    assert log.t_s.tolist() == [0.0, 0.5, 1.0]
    assert {"unit-assumed", "no-date"} <= codes(log)
    (log,) = read("date,utc,lat,lon\n" + "".join(f"2024-06-13,{cell},46,8\n" for cell in cells))
    assert str(log.meta.start_utc) == "2024-06-13 09:59:59.500000+00:00"
    (log,) = read("utc,lat,lon\n235959,46,8\n000000,46,8\n")
    assert log.t_s.tolist() == [0.0, 1.0]


@pytest.mark.parametrize("cells", [("10058", "10059", "10060"), ("0", "1", "2")])
def test_utc_numbers_that_cannot_be_times_of_day_are_seconds(cells: tuple[str, ...]) -> None:
    (log,) = read("utc,lat,lon\n" + "".join(f"{cell},46,8\n" for cell in cells))
    assert log.t_s.tolist() == [0.0, 1.0, 2.0]


def test_blank_lines_are_no_bad_lines_however_many_stand_together() -> None:
    rows = [f"{k},{20 + k % 3}" for k in range(20)]
    (track,) = read("time_s,speed_mps\n" + "\n".join(rows[:9]) + "\n\n\n\n" + "\n".join(rows[9:]) + "\n")
    assert track.t_s.size == 20
    assert "bad-lines" not in codes(track)


def test_times_from_before_gps_began_are_told() -> None:
    rows = "".join(f"1970-01-01T00:00:{k:02d}Z,{20 + k % 3}\n" for k in range(20))
    (track,) = read("utc,speed_mps\n" + rows)
    assert [f.count for f in track.findings if f.code == "odd-stamp"] == [20]
