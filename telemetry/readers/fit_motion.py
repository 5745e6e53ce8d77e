"""Messages of a FIT file that come faster than its records: positions, accelerations and turn rates.

Some recorders write one record a second and, beside it, every fix of the receiver as ``gps_metadata`` and the
samples of their accelerometer and gyroscope in blocks, each with times of their own.

References
----------
.. [1] FIT profile, messages ``gps_metadata`` (160), ``gyroscope_data`` (164), ``accelerometer_data`` (165)
   and ``three_d_sensor_calibration`` (167), as fitparse carries it. The use of level shift, offset and
   factor is from memory of the format's cookbook; the matrix that turns the sensor's axes is not applied.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from telemetry.core.frames import FloatArray, IntArray
from telemetry.readers.fit_scan import FIELD_DESCRIPTION, TIMESTAMP, FitStructure
from telemetry.readers.heading_names import STANDARD_GRAVITY_MPS2

GPS_METADATA: Final = 160
GYROSCOPE: Final = 164
ACCELEROMETER: Final = 165
CALIBRATION: Final = 167
FAST_MESSAGES: Final = (GPS_METADATA, GYROSCOPE, ACCELEROMETER, CALIBRATION, FIELD_DESCRIPTION)

_TIMESTAMP_MS: Final = 0
_SEMICIRCLES_PER_DEG: Final = 2.0**31 / 180.0
_GPS_FIELDS: Final = {
    1: ("lat_deg", _SEMICIRCLES_PER_DEG, 0.0),
    2: ("lon_deg", _SEMICIRCLES_PER_DEG, 0.0),
    3: ("alt_m", 5.0, 500.0),
    4: ("speed_mps", 1000.0, 0.0),
    5: ("course_deg", 100.0, 0.0),
}
_VELOCITY: Final = 7  # east, north, up [cm/s]
_OFFSETS_MS: Final = 1
_FIT_EPOCH_S: Final = 631_065_600  # 1989-12-31T00:00:00Z in Unix time
# For each sensor: its number in a calibration, the columns, and for raw, calibrated and packed values the
# first of three field numbers and the factor to the column's unit.
_SENSORS: Final = {
    ACCELEROMETER: (
        0,
        ("ax_mps2", "ay_mps2", "az_mps2"),
        {"raw": (2, STANDARD_GRAVITY_MPS2), "calibrated": (5, STANDARD_GRAVITY_MPS2),
         "packed": (8, STANDARD_GRAVITY_MPS2 / 1000.0)},
    ),
    GYROSCOPE: (1, ("gx_dps", "gy_dps", "gz_dps"), {"raw": (2, 1.0), "calibrated": (5, 1.0)}),
}  # fmt: skip


def gps_fixes(found: FitStructure) -> tuple[IntArray, dict[str, FloatArray]]:
    """Read the receiver's own fixes.

    Returns
    -------
    stamp_us : ndarray of int, shape (n,)
        Microseconds since 1970; only fixes with a time are returned.
    columns : dict of str to ndarray, shape (n,)
    """
    stamps: list[IntArray] = []
    parts: list[dict[str, FloatArray]] = []
    for fields in found.messages_of(GPS_METADATA):
        stamp_us, timed = _stamps(fields)
        columns = {
            name: fields[number][:, 0] / scale - offset
            for number, (name, scale, offset) in _GPS_FIELDS.items()
            if number in fields
        }
        if _VELOCITY in fields and fields[_VELOCITY].shape[1] == 3:
            columns["vertical_mps"] = fields[_VELOCITY][:, 2] / 100.0
        stamps.append(stamp_us[timed])
        parts.append({name: values[timed] for name, values in columns.items()})
    frame = pd.concat([pd.DataFrame(part) for part in parts]) if parts else pd.DataFrame()
    columns = {str(name): frame[name].to_numpy(dtype=np.float64) for name in frame.columns}
    return np.concatenate([*stamps, np.zeros(0, dtype=np.int64)]), columns


def motion_frame(found: FitStructure, start_us: int) -> tuple[pd.DataFrame | None, list[str]]:
    """Read accelerations and turn rates at their own rate.

    Parameters
    ----------
    found : FitStructure
    start_us : int
        Time of the track's first sample [µs since 1970].

    Returns
    -------
    DataFrame or None
        Indexed by ``t_s`` on the track's clock.
    list of str
        What is there and could not be read.
    """
    frames: list[pd.DataFrame] = []
    unread: list[str] = []
    for message, name in ((ACCELEROMETER, "accelerometer"), (GYROSCOPE, "gyroscope")):
        blocks = [_block(found, message, fields, start_us) for fields in found.messages_of(message)]
        read = [block for block in blocks if block is not None and len(block)]
        if blocks and not read:
            unread.append(f"{name} (without calibration)")
        frames += [pd.concat(read)] if read else []
    if not frames:
        return None, unread
    joined = pd.concat([frame[~frame.index.duplicated()] for frame in frames], axis=1).sort_index()
    joined.index.name = "t_s"
    return joined, unread


def _stamps(fields: dict[int, FloatArray]) -> tuple[IntArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """Return the times of messages [µs since 1970], and which of them have one."""
    second = fields[TIMESTAMP][:, 0]
    more_ms = np.nan_to_num(fields[_TIMESTAMP_MS][:, 0]) if _TIMESTAMP_MS in fields else np.zeros(second.size)
    timed = np.isfinite(second)
    stamp_us = (np.nan_to_num(second) + _FIT_EPOCH_S) * 1e6 + more_ms * 1e3
    return np.rint(stamp_us).astype(np.int64), timed


def _block(
    found: FitStructure, message: int, fields: dict[int, FloatArray], start_us: int
) -> pd.DataFrame | None:
    """Read the samples of messages of one layout; None where they carry no calibrated value."""
    _, names, kinds = _SENSORS[message]
    values = None
    for kind in ("calibrated", "packed", "raw"):
        first, factor = kinds.get(kind, (-3, 0.0))
        if not all(first + i in fields for i in range(3)):
            continue
        axes = [fields[first + i] for i in range(3)]
        if kind == "raw":
            axes = _calibrated(found, message, axes)
        if axes:
            values = [axis * factor for axis in axes]
            break
    if values is None:
        return None
    stamp_us, timed = _stamps(fields)
    width = min(axis.shape[1] for axis in values)
    offsets_ms = fields.get(_OFFSETS_MS, np.zeros((stamp_us.size, width)))[:, :width]
    t_s = (stamp_us - start_us)[:, None] / 1e6 + offsets_ms / 1e3
    usable = np.isfinite(t_s) & timed[:, None]
    columns = {name: axis[:, : t_s.shape[1]][usable] for name, axis in zip(names, values, strict=True)}
    return pd.DataFrame(columns, index=pd.Index(t_s[usable], name="t_s"))


def _calibrated(found: FitStructure, message: int, axes: list[FloatArray]) -> list[FloatArray]:
    """Apply the file's last calibration of the sensor to raw values; nothing where there is none."""
    for fields in reversed(found.messages_of(CALIBRATION)):
        of_sensor = fields.get(0, np.full((1, 1), np.nan))[:, 0] == _SENSORS[message][0]
        if not of_sensor.any() or not {1, 2, 3, 4} <= fields.keys() or fields[4].shape[1] != 3:
            continue
        factor, divisor, shift = (fields[number][of_sensor][-1, 0] for number in (1, 2, 3))
        if divisor > 0:
            offsets = fields[4][of_sensor][-1]
            return [(axis - shift - offsets[i]) * factor / divisor for i, axis in enumerate(axes)]
    return []
