"""Tables as drivers have them: hemispheres, times, units in cells, other languages. All made here."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.core.frames import Log, MotorLog
from telemetry.readers import read_bytes
from telemetry.readers.headings import match
from telemetry.readers.stamps import chronological


def table(headings: str, rows: list[str]) -> Log:
    return read_bytes("\n".join([headings, *rows]).encode(), "made.csv")[0]


def codes(log: Log) -> dict[str, int]:
    return {f.code: f.count for f in log.findings}


@pytest.mark.parametrize(
    ("headings", "cells"),
    [
        ("lat,N/S,lon,E/W", "49.0733,N,125.76,W"),
        ("Latitude,lat dir,Longitude,lon dir", "49.0733,north,125.76,west"),
        ("lat,lon", "49.0733N,125.76W"),
        ("lat,lon", "N49.0733,W125.76"),
        ("lat,lon", "49.0733 North,125.76 West"),
        ("lat,lon", "49.0733°,-125.76°"),
        ("lat,lon", "49° 4.398' N,125° 45.6' W"),
        ("lat,lon", "49° 4′ 23.88″ N,125° 45′ 36″ W"),
        ("lat,N/S,lon,E/W", "4904.398,N,12545.6,W"),
        ("Position", "49.0733 -125.76"),
        ("where", "49.0733N 125.7600W"),
        ("GPS", '"49.0733, -125.7600"'),
        ("Breite,Länge", "49.0733N,125.76W"),
    ],
)
def test_a_western_place_lies_in_the_west(headings: str, cells: str) -> None:
    log = table("time_s,speed_mps," + headings, [f"{i},{10 + i},{cells}" for i in range(5)])
    np.testing.assert_allclose(log.column("lat_deg"), 49.0733, atol=1e-9)
    np.testing.assert_allclose(log.column("lon_deg"), -125.76, atol=1e-9)
    assert "columns-unread" not in codes(log)


def test_a_southern_column_of_hemispheres_turns_the_sign_row_by_row() -> None:
    log = table("t_s,v_kmh,lat,ns,lon,ew", ["0,9,0.001,N,8.5,E", "1,9,0.0,N,8.5,E", "2,9,0.001,S,8.5,E"])
    assert log.frame.lat_deg.tolist() == [0.001, 0.0, -0.001]
    assert log.frame.lon_deg.tolist() == [8.5] * 3


TIMES = {
    "HHMMSS": ("time", ["101458", "101459", "101500", "101501", "101601", "101702"], [0, 1, 2, 3, 63, 124]),
    "HHMMSS.sss": (
        "Time",
        ["101459.800", "101459.900", "101500.000", "101600.1", "101700.1", "101700.2"],
        [0, 0.1, 0.2, 60.3, 120.3, 120.4],
    ),
    "am and pm": ("time", ["11:59:59 AM", "12:00:00 PM", "12:00:01 PM", "1:00:00 PM"], [0, 1, 2, 3601]),
    "am after midnight": ("time", ["12:59:59 a.m.", "1:00:00 a.m.", "1:00:01.5 a.m."], [0, 1, 2.5]),
    "16-bit milliseconds that wrap": (
        "t_ms",
        [str((65_000 + 100 * i) % 65_536) for i in range(20)],
        [i / 10 for i in range(20)],
    ),
    "32-bit milliseconds that wrap twice": (
        "millis_ms",
        [str((2**32 - 300 + 100 * i) % 2**32) for i in range(8)],
        [i / 10 for i in range(8)],
    ),
}


@pytest.mark.parametrize(("heading", "cells", "t_s"), TIMES.values(), ids=TIMES)
def test_times_without_a_day(heading: str, cells: list[str], t_s: list[float]) -> None:
    log = table(f"{heading},lat,lon", [f"{cell},46.0,8.0" for cell in cells])
    np.testing.assert_allclose(log.t_s, t_s, atol=1e-9)
    assert ("clock-wrapped" in codes(log)) == ("wrap" in str(heading) or "ms" in heading)


def test_seconds_that_happen_to_look_like_times_of_day_stay_seconds() -> None:
    cells = [f"{10_000 + i * 0.5}" for i in range(300)]  # 10060 s is no time of day
    assert table("time,lat,lon", [f"{c},46,8" for c in cells]).t_s[-1] == 149.5
    assert table("time,lat,lon", [f"{10_000 + i},46,8" for i in range(5)]).t_s[-1] == 4  # too few to tell


def test_a_logger_that_was_switched_on_again_is_not_a_counter_that_wrapped() -> None:
    log = table("t_ms,volts,amps", [f"{t},22,5" for t in (0, 100, 200, 30_000, 30_100, 0, 100, 200)])
    assert "clock-wrapped" not in codes(log)


DATES = {
    "YYMMDD and HHMMSS": ("date,time", "250601,000958", "250601,001000"),
    "DDMMYY and HHMMSS": ("date,time", "010625,000958", "010625,001000"),
    "the heading gives the order": ("yymmdd,hhmmss", "250601,100958", "250601,101000"),
    "points between": ("Date,Time", "01.06.2025,10:09:58", "01.06.2025,10:10:00"),
    "date and am": ("when", "2025-06-01 10:09:58", "2025-06-01 10:10:00"),
    "ISO under any heading": ("Aufzeichnung", "2025-06-01T10:09:58Z", "2025-06-01T10:10:00Z"),
    "date and pm in one cell": ("timestamp", "06/13/2025 10:09:58 AM", "06/13/2025 10:10:00 AM"),
    "ISO date and am": ("timestamp", "2025-06-01 10:09:58 AM", "2025-06-01 10:10:00 AM"),
}


@pytest.mark.parametrize(("headings", "first", "last"), DATES.values(), ids=DATES)
def test_dates_and_times(headings: str, first: str, last: str) -> None:
    log = table(f"{headings},lat,lon", [f"{cell},46.0,8.0" for cell in (first, last)])
    assert log.t_s.tolist() == [0.0, 2.0]
    assert log.meta.start_utc is not None
    day = "2025-06-13" if "13" in first else "2025-06-01"
    hour = "00" if "0009" in first else "10"
    assert f"{log.meta.start_utc:%Y-%m-%d %H:%M:%S}" == f"{day} {hour}:09:58"


def test_a_date_of_six_digits_that_may_be_two_days_leaves_the_day_open() -> None:
    log = table("date,time,lat,lon", ["120611,10:00:00,46,8", "120611,10:00:01,46,8"])
    assert log.meta.start_utc is None
    assert "date-ambiguous" in codes(log)


@pytest.mark.parametrize("clock", ["10:00:{:02d}", "1000{:02d}", "2025-06-01T10:00:{:02d}Z"])
def test_milliseconds_beside_a_time_are_added(clock: str) -> None:
    date = "250601," * ("T" not in clock)
    moments = [(0, 0), (0, 100), (0, 900), (1, 0), (1, 50)]
    log = table(
        "date," * bool(date) + "time,ms,lat,lon", [f"{date}{clock.format(s)},{ms},46,8" for s, ms in moments]
    )
    np.testing.assert_allclose(log.t_s, [0.0, 0.1, 0.9, 1.0, 1.05], atol=1e-9)


def test_rows_newest_first_are_sorted_and_told() -> None:
    rows = [f"2025-06-01T10:00:{i:02d}Z,46,{8 + i}" for i in range(9, -1, -1)]
    log = table("utc,lat,lon", rows)
    assert log.t_s.tolist() == list(range(10))
    assert log.frame.lon_deg.tolist() == [8.0 + i for i in range(10)]
    assert codes(log)["out-of-order"] == 9


def test_only_stretches_that_do_not_overlap_are_moved() -> None:
    order = chronological(np.array([50, 51, 52, 10, 11, 12, 13, 30, 31, 5]))
    assert order is not None
    # The single last stamp is a false one and stays where it is in its stretch.
    assert order.tolist() == [3, 4, 5, 6, 7, 8, 9, 0, 1, 2]
    assert chronological(np.array([0, 1, 99, 2, 3, 4])) is None
    assert chronological(np.array([0, 1, 2, 3])) is None
    assert chronological(np.array([10, 11, 3, 12, 13])) is None


def test_cells_with_units() -> None:
    rows = [f"{i},46.0,8.0,{v},{a},{u}" for i, (v, a, u) in enumerate([
        ("36 km/h", "374.8 m", "22.2 V"), ("10 m/s", "1000 ft", "22200 mV"), ("fast", "0.5km", "22.2"),
    ])]  # fmt: skip
    logs = read_bytes("\n".join(["t_s,lat,lon,speed,alt,voltage", *rows]).encode(), "made.csv")
    np.testing.assert_allclose(logs[0].column("speed_mps"), [10.0, 10.0, np.nan])
    np.testing.assert_allclose(logs[0].column("alt_m"), [374.8, 304.8, 500.0])
    np.testing.assert_allclose(logs[1].column("voltage_v"), [22.2, 22.2, 22.2])
    assert codes(logs[0]) == {"bad-number": 1, "no-date": 3}


HEADINGS = [
    ("Spd(kmh)", "speed_mps", "kmh"), ("GSpd(kts)", "speed_mps", "kts"), ("Temp(@C)", "esc_temp_c", "@c"),
    ("Curr(A)", "current_a", "a"), ("Hdg(@)", "course_deg", "@"), ("Alt(m)", "alt_m", "m"),
    ("latDeg", "lat_deg", "deg"), ("speedMps", "speed_mps", "mps"), ("GPSSpeed (km/h)", "speed_mps", "km/h"),
    ("Uhrzeit", "clock", ""), ("Breitengrad", "lat_deg", ""), ("Längengrad", "lon_deg", ""),
    ("Geschwindigkeit (km/h)", "speed_mps", "km/h"), ("Kurs [°]", "course_deg", "°"),
    ("Höhe (m)", "alt_m", "m"),
    ("Satelliten", "satellites", ""), ("Akkuspannung [V]", "voltage_v", "v"), ("Strom [A]", "current_a", "a"),
    ("Drehzahl [U/min]", "motor_rpm", "u/min"), ("Gas [%]", "throttle_pct", "%"),
    ("Reglertemperatur [°C]", "esc_temp_c", "°c"),
    ("Heure", "clock", ""), ("Vitesse GPS (km/h)", "speed_mps", "km/h"), ("Cap (°)", "course_deg", "°"),
    ("Hauteur (m)", "alt_m", "m"), ("Nombre de satellites", "satellites", ""),
    ("Tension (V)", "voltage_v", "v"),
    ("Intensité (A)", "current_a", "a"), ("Régime moteur (tr/min)", "motor_rpm", "tr/min"),
    ("Gaz (%)", "throttle_pct", "%"), ("Température moteur (°C)", "motor_temp_c", "°c"),
    ("Hora", "clock", ""), ("Latitud", "lat_deg", ""), ("Longitud", "lon_deg", ""),
    ("Velocidad (km/h)", "speed_mps", "km/h"), ("Rumbo", "course_deg", ""), ("Altitud", "alt_m", ""),
    ("Satélites", "satellites", ""), ("Voltaje (V)", "voltage_v", "v"), ("Corriente (A)", "current_a", "a"),
    ("Revoluciones (rev/min)", "motor_rpm", "rev/min"), ("Acelerador (%)", "throttle_pct", "%"),
    ("Temperatura motor (°C)", "motor_temp_c", "°c"),
    ("Ora", "clock", ""), ("Latitudine", "lat_deg", ""), ("Longitudine", "lon_deg", ""),
    ("Velocità (km/h)", "speed_mps", "km/h"), ("Rotta", "course_deg", ""), ("Quota (m)", "alt_m", "m"),
    ("Satelliti", "satellites", ""), ("Tensione (V)", "voltage_v", "v"), ("Corrente (A)", "current_a", "a"),
    ("Giri motore", "motor_rpm", ""), ("Acceleratore (%)", "throttle_pct", "%"),
    ("Temperatura motore (°C)", "motor_temp_c", "°c"),
    ("Tijd", "clock", ""), ("Breedtegraad", "lat_deg", ""), ("Lengtegraad", "lon_deg", ""),
    ("Snelheid (km/u)", "speed_mps", "km/u"), ("Koers", "course_deg", ""), ("Hoogte (m)", "alt_m", "m"),
    ("Aantal satellieten", "satellites", ""), ("Spanning (V)", "voltage_v", "v"),
    ("Stroom (A)", "current_a", "a"),
    ("Toerental", "motor_rpm", ""), ("Gashendel (%)", "throttle_pct", "%"),
    ("Motortemperatuur (°C)", "motor_temp_c", "°c"),
]  # fmt: skip


@pytest.mark.parametrize(("heading", "column", "unit"), HEADINGS, ids=[h for h, _, _ in HEADINGS])
def test_headings_in_short_and_in_other_languages(heading: str, column: str, unit: str) -> None:
    found = match([heading, "RPM"], [], {})[0]
    assert (found.heading, found.column, found.unit) == (heading, column, unit)


def test_a_table_in_french_with_decimal_commas() -> None:
    rows = ["Heure;Tension (V);Intensité (A);Régime moteur (tr/min)"]
    rows += ["10:00:00;22,2;80,5;20000", "10:00:01;22,1;81;2e4"]
    data = "\n".join(rows)
    (log,) = read_bytes(data.encode(), "made.csv")
    assert isinstance(log, MotorLog)
    assert log.frame.voltage_v.tolist() == [22.2, 22.1]
    assert log.frame.current_a.tolist() == [80.5, 81.0]
    assert log.frame.rpm.tolist() == [20_000.0, 20_000.0]


@pytest.mark.parametrize("heading", ["cap", "Cap (mAh)", "Charge mAh", "Größe", "Wind"])
def test_words_that_mean_another_thing_are_not_taken_for_a_course(heading: str) -> None:
    assert all(m.column in ("charge_mah",) for m in match([heading], [], {}))
