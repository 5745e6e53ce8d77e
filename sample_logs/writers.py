"""Logs as the bytes of a file: GPX, NMEA 0183 and CSV for tracks, CSV for motor logs."""

from __future__ import annotations

from functools import reduce
from operator import xor
from typing import Final, Literal

import numpy as np
import pandas as pd

from sample_logs.fit_writer import to_fit
from telemetry.core.frames import FloatArray, MotorLog, Track
from telemetry.core.units import KMH_MPS, KNOT_MPS

__all__ = ["MotorStyle", "motor_to_csv", "to_csv", "to_fit", "to_gpx", "to_gpx10", "to_nmea"]

MotorStyle = Literal["brackets", "decimal comma", "units row"]

EXTENSION_NAMESPACE: Final = "urn:reciprocal:sample:1"


def _stamps(track: Track) -> list[pd.Timestamp]:
    """UTC of each row, to the millisecond."""
    if track.meta.start_utc is None:
        raise ValueError("the track does not know its day")
    return [track.meta.start_utc + pd.Timedelta(int(ms), unit="ms") for ms in np.round(track.t_s * 1000.0)]


def _iso(stamp: pd.Timestamp) -> str:
    return f"{stamp:%Y-%m-%dT%H:%M:%S}.{stamp.microsecond // 1000:03d}Z"


def _texts(track: Track, name: str, decimals: int) -> list[str]:
    """Write one column; an empty text where it has no value or the track no such column."""
    values = track.column(name)
    if values is None:
        return [""] * len(track.frame)
    return [f"{v:.{decimals}f}" if np.isfinite(v) else "" for v in values]


def _element(name: str, text: str) -> str:
    return f"<{name}>{text}</{name}>" if text else ""


def _gpx_points(track: Track, version: str) -> str:
    """Write the points of a track; GPX knows no point without a place, so rows without a fix are left out."""
    rows = zip(
        _stamps(track),
        _texts(track, "lat_deg", 7),
        _texts(track, "lon_deg", 7),
        _texts(track, "alt_m", 2),
        _texts(track, "speed_mps", 3),
        _texts(track, "course_deg", 2),
        _texts(track, "vertical_mps", 3),
        _texts(track, "satellites", 0),
        _texts(track, "hdop", 2),
        strict=True,
    )
    points = []
    for stamp, lat, lon, alt, speed, course, vertical, satellites, hdop in rows:
        if not lat or not lon:
            continue
        inside = _element("ele", alt) + f"<time>{_iso(stamp)}</time>"
        if version == "1.0":
            inside += _element("course", course) + _element("speed", speed)
        inside += _element("sat", satellites) + _element("hdop", hdop)
        if version == "1.1":
            more = _element("r:speed", speed) + _element("r:course", course) + _element("r:vspeed", vertical)
            inside += _element("extensions", more)
        points.append(f'<trkpt lat="{lat}" lon="{lon}">{inside}</trkpt>\n')
    return "".join(points)


def to_gpx(track: Track) -> bytes:
    """Write GPX 1.1, measured speed, course and vertical speed as extensions in a namespace of our own.

    References
    ----------
    .. [1] GPX 1.1 schema, https://www.topografix.com/GPX/1/1/gpx.xsd.
    """
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="sample_logs" xmlns="http://www.topografix.com/GPX/1/1"'
        f' xmlns:r="{EXTENSION_NAMESPACE}">\n<trk><trkseg>\n'
        f"{_gpx_points(track, '1.1')}</trkseg></trk>\n</gpx>\n"
    ).encode()


def to_gpx10(track: Track) -> bytes:
    """Write GPX 1.0, which has elements for course and speed [m/s]; vertical speed has no place in it.

    References
    ----------
    .. [1] GPX 1.0 schema, https://www.topografix.com/GPX/1/0/gpx.xsd.
    """
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.0" creator="sample_logs" xmlns="http://www.topografix.com/GPX/1/0">\n<trk><trkseg>\n'
        f"{_gpx_points(track, '1.0')}</trkseg></trk>\n</gpx>\n"
    ).encode()


def nmea_sentence(body: str) -> str:
    """Frame a sentence: the checksum is the exclusive or of all characters between $ and *.

    Examples
    --------
    >>> nmea_sentence("GPVTG,054.7,T,034.4,M,005.5,N,010.2,K").strip()
    '$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48'
    """
    return f"${body}*{reduce(xor, body.encode(), 0):02X}\r\n"


def _degrees_minutes(degrees: float, positive: str, negative: str, width: int) -> str:
    if not np.isfinite(degrees):
        return ","
    whole, micro_minutes = divmod(round(abs(degrees) * 60e6), 60_000_000)
    minutes, fraction = divmod(micro_minutes, 1_000_000)
    return f"{whole:0{width}d}{minutes:02d}.{fraction:06d},{positive if degrees >= 0 else negative}"


def to_nmea(track: Track) -> bytes:
    """Write RMC, GGA and VTG sentences with checksums; a row without a fix is void.

    References
    ----------
    .. [1] NMEA 0183 as described in the field lists of gpsd, https://gpsd.io/NMEA.html.
    """
    speed = track.column("speed_mps")
    speed = np.full(len(track.frame), np.nan) if speed is None else speed
    lat = track.column("lat_deg")
    lon = track.column("lon_deg")
    if lat is None or lon is None:
        raise ValueError("NMEA needs positions")
    courses, satellites = _texts(track, "course_deg", 2), _texts(track, "satellites", 0)
    hdops, altitudes = _texts(track, "hdop", 2), _texts(track, "alt_m", 2)
    lines = []
    for i, stamp in enumerate(_stamps(track)):
        fixed = np.isfinite(lat[i])
        time = f"{stamp:%H%M%S}.{stamp.microsecond // 1000:03d}"
        place = f"{_degrees_minutes(lat[i], 'N', 'S', 2)},{_degrees_minutes(lon[i], 'E', 'W', 3)}"
        moving = np.isfinite(speed[i])
        knots = f"{speed[i] / KNOT_MPS:.3f}" if moving else ""
        kmh = f"{speed[i] / KMH_MPS:.3f}" if moving else ""
        status, mode = ("A", "A") if fixed else ("V", "N")
        lines += [
            nmea_sentence(f"GNRMC,{time},{status},{place},{knots},{courses[i]},{stamp:%d%m%y},,,{mode}"),
            nmea_sentence(
                f"GNGGA,{time},{place},{int(fixed)},{satellites[i]},{hdops[i]},{altitudes[i]},M,,M,,"
            ),
            nmea_sentence(f"GNVTG,{courses[i]},T,,M,{knots},N,{kmh},K,{mode}"),
        ]
    return "".join(lines).encode("ascii")


_TRACK_CSV: Final[tuple[tuple[str, str, float, int], ...]] = (
    ("lat_deg", "Latitude [deg]", 1.0, 7),
    ("lon_deg", "Longitude [deg]", 1.0, 7),
    ("alt_m", "Altitude [m]", 1.0, 2),
    ("speed_mps", "Speed [km/h]", KMH_MPS, 3),
    ("course_deg", "Course [deg]", 1.0, 2),
    ("vertical_mps", "Vertical speed [m/s]", 1.0, 3),
    ("hdop", "HDOP", 1.0, 2),
    ("satellites", "Satellites", 1.0, 0),
    ("fix", "Fix", 1.0, 0),
    ("ax_mps2", "Acceleration X [m/s²]", 1.0, 3),
    ("az_mps2", "Acceleration Z [m/s²]", 1.0, 3),
    ("gy_dps", "Pitch rate [deg/s]", 1.0, 2),
)


def _csv(columns: dict[str, list[str]], delimiter: str, units: list[str] | None = None) -> str:
    rows = [list(columns), *([units] if units else []), *zip(*columns.values(), strict=True)]
    return "".join(delimiter.join(row) + "\n" for row in rows)


def to_csv(track: Track) -> bytes:
    """Write a comma-separated table, UTC in the first column, speed in km/h."""
    columns = {"UTC": [_iso(stamp) for stamp in _stamps(track)]}
    for name, heading, unit, decimals in _TRACK_CSV:
        values = track.column(name)
        if values is not None:
            columns[heading] = [f"{v / unit:.{decimals}f}" if np.isfinite(v) else "" for v in values]
    return _csv(columns, ",").encode()


_MOTOR_CSV: Final[tuple[tuple[str, str, str, int], ...]] = (
    ("voltage_v", "Voltage", "V", 2),
    ("current_a", "Current", "A", 1),
    ("rpm", "eRPM", "", 0),
    ("throttle_pct", "Throttle", "%", 0),
    ("esc_temp_c", "ESC temp", "°C", 0),
    ("motor_temp_c", "Motor temp", "°C", 0),
    ("charge_mah", "Charge", "mAh", 0),
)


def motor_to_csv(motor: MotorLog, style: MotorStyle = "brackets", pole_pairs: int = 1) -> bytes:
    """Write a motor log as one of three tables a controller might export.

    Parameters
    ----------
    motor : MotorLog
        Columns that it lacks are left out.
    style : {"brackets", "decimal comma", "units row"}
        Units in brackets, commas between; the same with semicolons, decimal commas and a byte-order mark; or
        units in a row of their own.
    pole_pairs : int
        Turns shaft speed into the electrical speed that stands in the table.
    """
    table: list[tuple[str, str, FloatArray, int]] = [("Time", "s", motor.t_s, 3)]
    for name, heading, unit, decimals in _MOTOR_CSV:
        values = motor.column(name)
        if values is not None:
            table.append((heading, unit, values * pole_pairs if name == "rpm" else values, decimals))
    bracketed = style != "units row"
    columns = {
        f"{heading} [{unit}]" if unit and bracketed else heading: [f"{v:.{decimals}f}" for v in values]
        for heading, unit, values, decimals in table
    }
    if style == "units row":
        return _csv(columns, ",", [unit for _, unit, _, _ in table]).encode()
    if style == "decimal comma":
        columns = {heading: [text.replace(".", ",") for text in texts] for heading, texts in columns.items()}
        return _csv(columns, ";").encode("utf-8-sig")
    return _csv(columns, ",").encode()
