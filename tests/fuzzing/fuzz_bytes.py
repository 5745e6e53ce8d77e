"""Changing bytes and texts at random: what every mutator of a format falls back on."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Final

Raw = Callable[[bytes], bytes]
"""A mutation that knows nothing of the format."""

NUMBERS: Final = (
    "0", "-0", "-1", "+1", "1e400", "1e308", "-1e308", "1e-320", "nan", "NaN", "inf", "-inf", "9" * 40,
    "0x10", "1_000", "1,5", " 7 ", "", ".", "-", "1e", "1e999999999", "2147483648", "9223372036854775808",
    "4294967295", "-9223372036854775809", "0.1", "1.7976931348623157e308", "90", "-180", "360.0001",
    "\u0663", "\u00b2", "\u22125", "1" + "0" * 300, "0." + "0" * 300 + "1",
)  # fmt: skip
"""Numbers, and what some call a number: too large, too small, of other scripts, none at all."""

MOMENTS: Final = (
    "0000-01-01T00:00:00Z", "0001-01-01T00:00:00Z", "0001-01-01T00:00:00+14:00", "1677-09-21T00:12:43Z",
    "1969-12-31T23:59:59Z", "1980-01-06T00:00:00Z", "2016-12-31T23:59:60Z", "2021-02-30T00:00:00Z",
    "2021-05-05T24:00:00Z", "2021-05-05T10:11:12", "2021-05-05T10:11:12.123456789Z",
    "2021-05-05T10:11:12+99:99", "2021-05-05T10:11:12-0130", "2021-05-05 10:11:12", "20210505T101112Z",
    "2038-01-19T03:14:08Z", "2262-04-11T23:47:17Z", "9999-12-31T23:59:59.999999Z",
    "9999-12-31T23:59:59-14:00", "12021-01-01T00:00:00Z", "-2021-01-01T00:00:00Z", "05/05/2021 10:11:12",
    "25/05/2021", "5.5.21", "0.0.0", "99.99.9999", "10:11:12", "10:11:12,5", "1:2:3", "99:99:99",
    "24:00:00", "-1:00:00", "1600000000", "1600000000000", "1600000000000000000", "-62135596800", "now",
    "today", "NaT",
)  # fmt: skip
"""Times and dates, among them those at the edges of the calendars and clocks that computers keep."""

_PIECES: Final = (
    b"\0", b"\0" * 9, b"\xff", b"\xff" * 4, b"\x80", b"\xc3", b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff",
    b"\n", b"\r\n", b"\r", b"\x1a", b"\x1b[2J", b"\x7f", "\u202e".encode(), "\u2028".encode(),
)  # fmt: skip


def changed(data: bytes, rng: random.Random) -> bytes:
    """Change a few bytes: flip, overwrite, insert, remove, repeat, move."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        at = rng.randrange(len(out) + 1)
        length = min(rng.choice((1, 1, 2, 4, 16, 200)), len(out) - at)
        match rng.randrange(7):
            case 0 if length:
                out[at] ^= 1 << rng.randrange(8)
            case 1:
                out[at : at + length] = rng.randbytes(length)
            case 2:
                out[at:at] = rng.choice(_PIECES)
            case 3:
                del out[at : at + length]
            case 4:
                out[at:at] = out[at : at + length] * rng.choice((1, 2, 20))
            case 5:
                out[at : at + length] = bytes([rng.choice((0, 0x20, 0x7F, 0x80, 0xFF))]) * length
            case _:
                to = rng.randrange(len(out) + 1)
                out[to:to] = out[at : at + length]
    return bytes(out)


def word(rng: random.Random) -> str:
    """Return a number, a time, or a word that means something to some format."""
    return rng.choice(rng.choice((NUMBERS, NUMBERS, MOMENTS)))


def of_text(text: str, rng: random.Random, raw: Raw) -> str:
    """Change one value: another word, its neighbour in value, or its bytes."""
    match rng.randrange(5):
        case 0 | 1:
            return word(rng)
        case 2:
            try:
                return repr(float(text) + rng.choice((-1, 1, 0.05, 60, 86_400, 1e6)))
            except (ValueError, OverflowError):
                return text * 2
        case 3:
            return text * rng.choice((2, 50))
        case _:
            return raw(text.encode("utf-8", "replace")).decode("utf-8", "replace")
