"""A small FIT activity: header, file id, one definition of record messages, the records, checksums.

References
----------
.. [1] The public description of the FIT protocol: header, definition and data messages, CRC.
"""

from __future__ import annotations

import struct
from typing import Final

import numpy as np

from telemetry.core.frames import Track

FIT_EPOCH_S: Final = 631_065_600  # 1989-12-31T00:00:00Z in Unix time
SEMICIRCLES_PER_DEG: Final = 2.0**31 / 180.0
PROTOCOL: Final = 0x20
PROFILE: Final = 2132
FILE_ID, RECORD = 0, 20
ACTIVITY, DEVELOPMENT = 4, 255
# Base types of the protocol: number, size and the value that says "none".
ENUM, UINT16, SINT32, UINT32, SINT16 = 0x00, 0x84, 0x85, 0x86, 0x83
NO_SINT32, NO_UINT32, NO_SINT16 = 0x7FFFFFFF, 0xFFFFFFFF, 0x7FFF

_NIBBLES: Final = (
    0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401,
    0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400,
)  # fmt: skip


def fit_crc(data: bytes) -> int:
    """Checksum of the protocol, CRC-16 with polynomial 0x8005 reflected, a nibble at a time.

    Examples
    --------
    >>> hex(fit_crc(b"123456789"))
    '0xbb3d'
    """
    crc = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            crc = (crc >> 4) ^ _NIBBLES[(crc ^ nibble) & 0xF]
    return crc


def _definition(local: int, message: int, fields: tuple[tuple[int, int, int], ...]) -> bytes:
    """Little-endian definition message; a field is its number, its size in bytes and its base type."""
    packed = b"".join(struct.pack("BBB", *field) for field in fields)
    return struct.pack("<BBBHB", 0x40 | local, 0, 0, message, len(fields)) + packed


def to_fit(track: Track) -> bytes:
    """Write a track as a FIT activity.

    Parameters
    ----------
    track : Track
        Its stamps must be whole seconds, since that is what a FIT time stamp holds.

    Raises
    ------
    ValueError
        If a stamp is not a whole second, or the day is unknown.
    """
    if track.meta.start_utc is None:
        raise ValueError("the track does not know its day")
    unix_s = track.meta.start_utc.timestamp() + track.t_s
    stamps = np.round(unix_s).astype(np.int64) - FIT_EPOCH_S
    if np.any(np.abs(unix_s - np.round(unix_s)) > 1e-6):
        raise ValueError("FIT time stamps are whole seconds: log at 1 Hz")

    def scaled(name: str, scale: float, offset: float, none: int) -> list[int]:
        values = track.column(name)
        if values is None:
            return [none] * len(stamps)
        return [round((float(v) + offset) * scale) if np.isfinite(v) else none for v in values]

    body = _definition(0, FILE_ID, ((0, 1, ENUM), (1, 2, UINT16), (4, 4, UINT32)))
    body += struct.pack("<BBHI", 0, ACTIVITY, DEVELOPMENT, int(stamps[0]))
    body += _definition(
        1,
        RECORD,
        ((253, 4, UINT32), (0, 4, SINT32), (1, 4, SINT32), (78, 4, UINT32), (73, 4, UINT32), (32, 2, SINT16)),
    )
    rows = zip(
        stamps.tolist(),
        scaled("lat_deg", SEMICIRCLES_PER_DEG, 0.0, NO_SINT32),
        scaled("lon_deg", SEMICIRCLES_PER_DEG, 0.0, NO_SINT32),
        scaled("alt_m", 5.0, 500.0, NO_UINT32),
        scaled("speed_mps", 1000.0, 0.0, NO_UINT32),
        scaled("vertical_mps", 1000.0, 0.0, NO_SINT16),
        strict=True,
    )
    body += b"".join(struct.pack("<BIiiIIh", 1, *row) for row in rows)
    header = struct.pack("<BBHI4s", 14, PROTOCOL, PROFILE, len(body), b".FIT")
    header += struct.pack("<H", fit_crc(header))
    return header + body + struct.pack("<H", fit_crc(header + body))
