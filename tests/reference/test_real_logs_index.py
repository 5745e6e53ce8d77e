"""What the recorded logs are known to hold (their index), against what the readers make of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telemetry.core.errors import ColumnMapNeededError, NothingUsableError
from telemetry.core.frames import Log, Track
from telemetry.readers import ReadOptions, read_log

REAL = Path(__file__).parents[2].parent / "shared" / "real_logs"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the recorded logs are not here")


def read(name: str, options: ReadOptions | None = None) -> Log:
    (log,) = read_log(REAL / name, options)
    return log


def count(log: Log, code: str) -> int:
    return sum(f.count for f in log.findings if f.code == code)


def without_position(log: Log) -> int:
    lat = log.column("lat_deg")
    assert lat is not None
    return int(np.isnan(lat).sum())


@pytest.mark.parametrize(
    ("name", "records"),
    [
        ("fit/ride_1hz_clean.fit", 4700),
        ("fit/ride_1hz_developer_fields_missing_positions.fit", 13471),
        ("fit/cut_off_14391_records.fit", 14391),
        ("fit/damaged_tail_false_last_record.fit", 473),
        ("fit/misaligned_field_sizes.fit", 11272),
    ],
)
def test_every_fit_record_becomes_a_sample_or_is_accounted_for(name: str, records: int) -> None:
    log = read(name)
    assert len(log.frame) + count(log, "no-value") + count(log, "odd-stamp") == records


def test_fit_records_without_position_are_counted() -> None:
    for name, expected in (
        ("ride_1hz_developer_fields_missing_positions", 123),
        ("misaligned_field_sizes", 967),
    ):
        log = read(f"fit/{name}.fit")
        assert without_position(log) + count(log, "no-value") == expected


def test_fit_figures_of_the_index() -> None:
    assert read("fit/ride_1hz_clean.fit").frame.speed_mps.max() == pytest.approx(16.1, abs=0.05)
    gap = read("fit/ride_1hz_developer_fields_missing_positions.fit")
    assert np.diff(gap.t_s).max() == 2530
    assert count(read("fit/cut_off_14391_records.fit"), "salvaged") == 1
    assert count(read("fit/misaligned_field_sizes.fit"), "second-decoder") == 0


def test_the_false_last_record_of_the_damaged_fit_is_out_of_the_track() -> None:
    log = read("fit/damaged_tail_false_last_record.fit")
    assert count(log, "odd-stamp") == 1
    assert count(log, "salvaged") == 1
    assert log.frame.speed_mps.max() < 10.0  # the record claims 38.9 m/s
    assert log.t_s.max() < 3600.0  # and the year 2085


def test_chained_fit_files_and_a_damaged_second_header() -> None:
    whole, damaged = read("fit/two_files_chained.fit"), read("fit/two_files_chained_second_header_bad.fit")
    assert len(whole.frame) == len(damaged.frame) == 14
    assert count(damaged, "salvaged") == 1


def test_a_fit_without_time_and_place_is_refused() -> None:
    with pytest.raises(NothingUsableError, match="none of its records holds a position"):
        read("fit/compressed_timestamps.fit")


@pytest.mark.parametrize(
    ("name", "points", "measured"),
    [
        ("gpx/car_10hz_speed_extension.gpx", 579, True),
        ("gpx/camera_18hz_no_speed.gpx", 308, False),
        ("gpx/some_points_without_time.gpx", 420 - 245, False),
        ("gpx/all_one_timestamp.gpx", 184, False),
        ("gpx/no_version_no_namespace.gpx", 3, True),
        ("gpx/bare_speed_in_extensions.gpx", 44, True),
    ],
)
def test_gpx_counts_and_speed_sources(name: str, points: int, measured: bool) -> None:
    log = read(name)
    assert len(log.frame) == points
    assert log.meta.speed_source == ("measured" if measured else "differenced")


def test_gpx_oddities_of_the_index() -> None:
    assert count(read("gpx/some_points_without_time.gpx"), "no-time") == 245
    # The index says 181 of 184; the file itself has 183 equal stamps and one shorter by its last four digits.
    assert np.unique(read("gpx/all_one_timestamp.gpx").t_s, return_counts=True)[1].max() == 183
    assert count(read("gpx/all_one_timestamp.gpx"), "odd-stamp") == 184
    months = read("gpx/segments_months_apart.gpx")
    assert (np.diff(months.t_s) > 0).all()  # its one step back is between two tracks, which are sorted
    assert (count(months, "out-of-order"), count(months, "several-tracks")) == (1, 3)
    assert read("gpx/camera_18hz_no_speed.gpx").rate_hz == pytest.approx(18, abs=0.5)
    assert str(read("gpx/offset_plus_0100.gpx").meta.start_utc) == "2015-12-11 14:43:13+00:00"
    assert {"speed_mps", "course_deg", "horizontal_sd_m"} <= set(
        read("gpx/bare_speed_in_extensions.gpx").frame
    )


def test_gpx_with_undefined_latitudes_is_refused() -> None:
    with pytest.raises(NothingUsableError, match="latitude or longitude of all 2 points is no number"):
        read("gpx/latitude_undefined.gpx")


def test_nmea_midnight_and_stray_lines() -> None:
    log = read("nmea/car_half_hz_midnight.nmea")
    assert len(log.frame) == 4469
    assert log.frame.speed_mps.max() == pytest.approx(30.1, abs=0.05)
    steps = np.diff(log.t_s)
    assert steps.min() > 0  # midnight falls inside the log
    assert steps.max() == 1250
    assert count(log, "stray-text") == 4
    assert log.rate_hz == 0.5


def test_nmea_without_a_date() -> None:
    log = read("nmea/sailing_no_date.nmea")
    assert log.meta.start_utc is None
    assert count(log, "no-date") == len(log.frame) == 7250
    assert log.t_s[-1] == 4 * 3600 + 7 * 60 + 25  # 09:55:59 to 14:03:24


def test_nmea_oddities_of_the_index() -> None:
    assert count(read("nmea/bad_checksums.nmea"), "bad-checksum") == 23
    assert count(read("nmea/cold_start.nmea"), "no-fix") == 22
    assert read("nmea/at_rest_20_minutes.nmea").frame.speed_mps.max() == pytest.approx(1.73, abs=0.005)
    ten = read("nmea/ten_hz_talker_changes.nmea")
    assert len(ten.frame) == 122
    assert ten.rate_hz == pytest.approx(10)
    assert np.diff(ten.t_s).max() == pytest.approx(630, abs=1)
    dropouts = np.rint(np.diff(read("nmea/dropouts.nmea").t_s)).astype(int)
    assert (dropouts - 1).sum() == 7


def test_csv_follows_the_receiver_s_clock() -> None:
    log = read("csv/car_10hz_two_clocks.csv")
    assert len(log.frame) == 579
    assert log.meta.clock == "receiver"
    assert count(log, "clock-chosen") == 1
    np.testing.assert_allclose(np.diff(log.t_s), np.rint(np.diff(log.t_s) * 10) / 10, atol=1e-9)  # no jitter
    gpx = read("gpx/car_10hz_speed_extension.gpx")
    assert log.meta.start_utc == gpx.meta.start_utc
    np.testing.assert_array_equal(log.t_s, gpx.t_s)
    np.testing.assert_array_equal(log.column("speed_mps"), gpx.column("speed_mps"))


def test_csv_speed_unit_is_found_from_the_positions() -> None:
    log = read("csv/electric_car_wheel_and_gps_speed.csv")
    assert isinstance(log, Track)
    assert len(log.frame) == 961
    assert str(log.meta.start_utc) == "2021-05-25 10:38:33+00:00"  # 05/25: month first
    (finding,) = [f for f in log.findings if f.code == "speed-unit"]
    assert "km/h" in finding.message
    assert count(log, "column-chosen") == 1  # the receiver's speed, not the wheel's


def test_csv_whose_headings_say_too_little_asks_and_takes_the_answer() -> None:
    with pytest.raises(ColumnMapNeededError, match="t_host_s, pose_speed_mps") as asked:
        read("csv/car_pose_speed_20hz_truth.csv")
    assert asked.value.headings == ("t_host_s", "pose_speed_mps")
    log = read("csv/car_pose_speed_20hz_truth.csv", ReadOptions(headings={"pose_speed_mps": "speed_mps:m/s"}))
    assert len(log.frame) == 1200
    assert log.meta.clock == "host"
    wheel = ReadOptions(headings={"can_speed_mps": "speed_mps"})
    assert len(read("csv/car_wheel_speed_83hz_truth.csv", wheel).frame) == 4974
