"""What the writers write, read back by the formats' reference libraries and by our own readers."""

from __future__ import annotations

import datetime as dt
import io
from functools import cache

import fitdecode
import fitparse
import gpxpy
import numpy as np
import pandas as pd
import pynmea2
import pytest

from sample_logs.fit_writer import fit_crc, to_fit
from sample_logs.simulator import BlowOver, Faults, Outing, Receiver, RideScript, simulate_outing
from sample_logs.writers import motor_to_csv, nmea_sentence, to_csv, to_gpx, to_gpx10, to_nmea
from telemetry.core.frames import LogMeta, Track, make_track
from telemetry.core.units import KMH_MPS, KNOT_MPS
from telemetry.readers import ReadOptions, read_bytes


@cache
def outing(rate_hz: float = 10.0) -> Outing:
    return simulate_outing(3, passes=1, rate_hz=rate_hz, faults=Faults(no_fix=1, single=1))


def whole(track: Track) -> pd.DataFrame:
    """The rows with a fix."""
    return track.frame[track.frame["lat_deg"].notna()]


@pytest.mark.parametrize(("write", "version"), [(to_gpx, "1.1"), (to_gpx10, "1.0")])
def test_gpxpy_reads_what_was_written(write, version):
    track = outing().track
    gpx = gpxpy.parse(write(track).decode())
    points = gpx.tracks[0].segments[0].points
    rows = whole(track)
    assert gpx.version == version
    assert len(points) == len(rows)
    start = track.meta.start_utc
    assert [p.latitude for p in points] == pytest.approx(rows["lat_deg"].to_list(), abs=1e-12)
    assert [p.longitude for p in points] == pytest.approx(rows["lon_deg"].to_list(), abs=1e-12)
    assert [p.elevation for p in points] == rows["alt_m"].to_list()
    seconds = [(pd.Timestamp(p.time) - start).total_seconds() for p in points]
    assert seconds == pytest.approx(rows.index.to_list(), abs=5e-4)
    if version == "1.0":
        assert [p.speed for p in points] == rows["speed_mps"].to_list()
        assert [p.course for p in points] == rows["course_deg"].to_list()
    else:
        named = [{e.tag.rpartition("}")[2]: float(e.text) for e in p.extensions} for p in points]
        assert [n["speed"] for n in named] == rows["speed_mps"].to_list()
        assert [n["course"] for n in named] == rows["course_deg"].to_list()
        assert [n["vspeed"] for n in named] == rows["vertical_mps"].to_list()


def test_pynmea2_reads_what_was_written():
    track = outing().track
    sentences = [pynmea2.parse(line, check=True) for line in to_nmea(track).decode("ascii").splitlines()]
    rmc, gga, vtg = (sentences[i::3] for i in range(3))
    assert len(rmc) == len(gga) == len(vtg) == len(track.frame)
    assert {s.sentence_type for s in rmc} == {"RMC"}
    for i, (_, row) in enumerate(track.frame.iterrows()):
        stamp = track.utc(float(track.t_s[i]))
        assert dt.datetime.combine(rmc[i].datestamp, rmc[i].timestamp) == stamp.round("ms")
        if np.isnan(row["lat_deg"]):
            assert (rmc[i].status, rmc[i].lat, gga[i].gps_qual) == ("V", "", 0)
            continue
        assert rmc[i].status == "A"
        assert rmc[i].latitude == pytest.approx(row["lat_deg"], abs=2e-8)
        assert gga[i].longitude == pytest.approx(row["lon_deg"], abs=2e-8)
        assert float(rmc[i].spd_over_grnd) * KNOT_MPS == pytest.approx(row["speed_mps"], abs=3e-4)
        assert float(vtg[i].spd_over_grnd_kmph) * KMH_MPS == pytest.approx(row["speed_mps"], abs=3e-4)
        assert float(rmc[i].true_course) == row["course_deg"]
        assert float(gga[i].altitude) == row["alt_m"]
        assert float(gga[i].horizontal_dil) == row["hdop"]
        assert int(gga[i].num_sats) == row["satellites"]


@pytest.mark.parametrize(
    "sentence",
    [
        "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
        "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
        "$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39",
        "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48",
        "$GPVTG,359.95,T,,M,15.15,N,28.0,K,A*04",
        "$GPRMC,061831.000,A,2236.9152,N,11403.2422,E,0.00,,130214,,,D*76",
    ],
)
def test_published_nmea_checksums(sentence):
    # gpsd's field lists, https://gpsd.io/NMEA.html
    assert nmea_sentence(sentence[1:-3]) == sentence + "\r\n"


def test_minutes_that_round_up_to_sixty_carry_into_the_degrees():
    meta = LogMeta("x", "x", pd.Timestamp("2025-01-01T00:00:00Z"))
    track = make_track({"lat_deg": [-9.99999999999, 0.5], "lon_deg": [0.0, -179.5]}, [0.0, 1.0], meta)
    first, second = (pynmea2.parse(line) for line in to_nmea(track).decode().splitlines()[::3])
    assert (first.lat, first.lat_dir, first.lon) == ("1000.000000", "S", "00000.000000")
    assert (second.latitude, second.longitude) == (0.5, -179.5)


def test_both_fit_decoders_read_what_was_written():
    track = outing(1.0).track
    data = to_fit(track)
    parsed = [
        m.get_values() for m in fitparse.FitFile(io.BytesIO(data), check_crc=True).get_messages("record")
    ]
    with fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE) as reader:
        decoded = [
            {f.name: f.value for f in frame.fields}
            for frame in reader
            if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record"
        ]
    assert len(parsed) == len(decoded) == len(track.frame)
    for i, (_, row) in enumerate(track.frame.iterrows()):
        utc = track.utc(float(track.t_s[i]))
        assert parsed[i]["timestamp"] == utc.tz_localize(None)
        assert decoded[i]["timestamp"] == utc
        for values in (parsed[i], decoded[i]):
            if np.isnan(row["lat_deg"]):
                assert values["position_lat"] is None
                assert values["enhanced_speed"] is None
                continue
            # Half a semicircle is 4.2e-8 degrees.
            assert values["position_lat"] * 180 / 2**31 == pytest.approx(row["lat_deg"], abs=4.3e-8)
            assert values["position_long"] * 180 / 2**31 == pytest.approx(row["lon_deg"], abs=4.3e-8)
            assert values["enhanced_speed"] == pytest.approx(row["speed_mps"], abs=5.1e-4)
            assert values["enhanced_altitude"] == pytest.approx(row["alt_m"], abs=0.101)
            assert values["vertical_speed"] == pytest.approx(row["vertical_mps"], abs=5.1e-4)


def test_the_fit_checksum_has_its_published_check_value():
    # CRC-16/ARC of "123456789" is 0xBB3D: catalogue of parametrised CRC algorithms (reveng.sourceforge.io).
    assert fit_crc(b"123456789") == 0xBB3D


def test_fit_refuses_fractions_of_a_second():
    with pytest.raises(ValueError, match="whole seconds"):
        to_fit(outing(10.0).track)


@pytest.mark.parametrize("write", [to_gpx, to_nmea, to_fit, to_csv])
def test_a_track_without_its_day_is_refused(write):
    track = make_track({"lat_deg": [0.0, 0.0], "lon_deg": [0.0, 1.0]}, [0.0, 1.0], LogMeta("x", "x"))
    with pytest.raises(ValueError, match="day"):
        write(track)


def test_pandas_reads_the_csv_that_was_written():
    track = simulate_outing(3, passes=1, receiver=Receiver(has_imu=True), faults=Faults(no_fix=1)).track
    table = pd.read_csv(io.BytesIO(to_csv(track)))
    seconds = (pd.to_datetime(table["UTC"]) - track.meta.start_utc).dt.total_seconds()
    assert seconds.to_list() == pytest.approx(track.t_s.tolist(), abs=5e-4)
    for heading, name, unit in (
        ("Speed [km/h]", "speed_mps", KMH_MPS),
        ("Latitude [deg]", "lat_deg", 1.0),
        ("Vertical speed [m/s]", "vertical_mps", 1.0),
        ("Acceleration Z [m/s²]", "az_mps2", 1.0),
        ("Pitch rate [deg/s]", "gy_dps", 1.0),
    ):
        np.testing.assert_allclose(table[heading] * unit, track.column(name), atol=5.1e-3)
    assert table["Latitude [deg]"].isna().sum() == (table["Fix"] == 0).sum() > 0


@pytest.mark.parametrize(
    ("style", "options"),
    [
        ("brackets", {}),
        ("decimal comma", {"sep": ";", "decimal": ",", "encoding": "utf-8-sig"}),
        ("units row", {"skiprows": [1]}),
    ],
)
def test_pandas_reads_every_motor_table(style, options):
    made = outing()
    table = pd.read_csv(io.BytesIO(motor_to_csv(made.motor, style, made.boat.pole_pairs)), **options)
    assert table.iloc[:, 0].to_list() == pytest.approx(made.motor.t_s.tolist(), abs=5e-4)
    shaft = table["eRPM"] / made.boat.pole_pairs
    assert shaft.to_list() == pytest.approx(made.motor.frame["rpm"].to_list(), abs=0.5)
    volts = table["Voltage" if style == "units row" else "Voltage [V]"]
    assert volts.to_list() == made.motor.frame["voltage_v"].to_list()


WRITERS = {"gpx": to_gpx, "gpx10": to_gpx10, "nmea": to_nmea, "csv": to_csv}


@pytest.mark.parametrize("format_name", WRITERS)
@pytest.mark.parametrize("rate_hz", [1.0, 10.0, 18.0, 25.0])
def test_our_readers_give_the_track_back(format_name, rate_hz):
    track = outing(rate_hz).track
    (back,) = read_bytes(WRITERS[format_name](track), f"a.{format_name}")
    rows = whole(track) if format_name.startswith("gpx") else track.frame
    assert back.meta.speed_source == "measured"
    assert back.t_s == pytest.approx(rows.index.to_numpy() - rows.index[0], abs=1.1e-3)
    assert back.utc(0.0) == track.utc(float(rows.index[0]))
    for name, tolerance in (("lat_deg", 2e-8), ("lon_deg", 2e-8), ("speed_mps", 3e-4), ("course_deg", 1e-9)):
        np.testing.assert_allclose(back.column(name), rows[name], atol=tolerance)
    if format_name in ("gpx", "csv"):
        np.testing.assert_allclose(back.column("vertical_mps"), rows["vertical_mps"], atol=1e-9)


@pytest.mark.parametrize("style", ["brackets", "decimal comma", "units row"])
def test_our_readers_give_the_motor_log_back(style):
    made = simulate_outing(3)
    data = motor_to_csv(made.motor, style, made.boat.pole_pairs)
    (back,) = read_bytes(data, "motor.csv", ReadOptions(pole_pairs=made.boat.pole_pairs))
    assert back.t_s == pytest.approx(made.motor.t_s, abs=5e-4)
    for name in made.motor.frame:
        np.testing.assert_allclose(
            back.column(name), made.motor.column(name), atol=0.5 if name == "rpm" else 1e-9
        )


def test_a_blow_over_survives_every_format():
    made = simulate_outing(3, passes=1, ride=RideScript(blow_over=BlowOver(0, 5.5)))
    (spike,) = made.spikes
    for name, write in WRITERS.items():
        (back,) = read_bytes(write(made.track), f"a.{name}")
        assert back.frame["speed_mps"].max() == pytest.approx(spike.speed_mps, abs=1e-3)
