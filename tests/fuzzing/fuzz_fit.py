"""FIT files taken apart into messages and put together again, with lengths and checksums that fit."""

from __future__ import annotations

import random
import struct
from typing import Final

from fuzz_bytes import Raw

from telemetry.readers.fit_scan import crc16

_BASES: Final = (
    0x00, 0x01, 0x02, 0x83, 0x84, 0x85, 0x86, 0x88, 0x89, 0x0A, 0x8B, 0x8C, 0x07, 0x0D, 0x8E, 0x8F, 0x90,
    0xFF,
)  # fmt: skip
_NUMBERS: Final = (253, 0, 1, 2, 5, 6, 31, 32, 48, 73, 78, 254, 255, 8)
_VALUES: Final = (
    0, 1, 0x7F, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x10000000, 0x0FFFFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF,
    0x3F800000, 0x7FC00000, 0xFF800000, 1_000_000_000, 2_147_483_646,
)  # fmt: skip


def whole(body: bytes, header: int = 14, claim: int | None = None, checksum: int | None = None) -> bytes:
    """Wrap messages into a file; a claimed length or checksum may lie."""
    size = len(body) if claim is None else claim
    head = struct.pack("<BBHI4s", header, 0x10, 2132, size & 0xFFFFFFFF, b".FIT")
    if header >= 14:
        head += struct.pack("<H", crc16(head)) + bytes(header - 14)
    data = head + body
    return data + struct.pack("<H", crc16(data) if checksum is None else checksum)


def definition(
    *fields: tuple[int, int, int], local: int = 0, number: int = 20, order: str = "<", developer: bytes = b""
) -> bytes:
    """Write a definition message; a field is its number, size and base type."""
    head = 0x60 if developer else 0x40
    packed = struct.pack(f"{order}BBBHB", head | local, 0, order == ">", number, len(fields))
    return packed + b"".join(bytes(field) for field in fields) + developer


def messages_of(data: bytes) -> list[bytes]:
    """Cut a file's body into messages, as far as they can be told apart; the rest is the last piece."""
    at = data[0] if data[8:12] == b".FIT" else 0
    end = len(data) - 2 if at else len(data)
    sizes: dict[int, int] = {}
    messages = []
    while at < end:
        head = data[at]
        if head & 0xC0 == 0x40:
            count = data[at + 5] if at + 5 < end else 0
            after = at + 6 + 3 * count
            size = sum(data[at + 7 : after : 3])
            if head & 0x20 and after < end:
                more = data[after]
                size += sum(data[after + 2 : after + 1 + 3 * more : 3])
                after += 1 + 3 * more
            sizes[head & 0x0F] = size
        else:
            local = head >> 5 & 0x03 if head & 0x80 else head & 0x0F
            if local not in sizes:
                break
            after = at + 1 + sizes[local]
        if after > end:
            break
        messages.append(data[at:after])
        at = after
    return [*messages, data[at:end]] if at < end else messages


def fit(data: bytes, rng: random.Random, raw: Raw) -> bytes:
    """Change the messages of a FIT file, and sometimes what its header and checksum say."""
    if rng.random() < 0.1:
        return raw(data)
    messages = [m for m in messages_of(data) if m]
    for _ in range(rng.choice((1, 1, 2, 4))):
        if not messages:
            break
        at = rng.randrange(len(messages))
        one = messages[at]
        match rng.randrange(8):
            case 0:
                del messages[at]
            case 1:
                messages.insert(rng.randrange(len(messages) + 1), one)
            case 2:
                messages[at:at] = [one] * rng.choice((2, 40))
            case 3:
                messages[at] = raw(one) or b"\0"
            case 4:
                messages.insert(at, _new_definition(rng))
            case 5 if one[0] & 0xC0 != 0x40:
                messages[at] = bytes([rng.choice((0x80 | rng.randrange(128), rng.randrange(16)))]) + one[1:]
            case _:
                messages[at] = _other_field(one, rng) if one[0] & 0xC0 == 0x40 else _other_value(one, rng)
    body = b"".join(messages)
    header = rng.choice((14,) * 8 + (12, 13, 16))
    claim = rng.choice((None,) * 12 + (0, len(body) - 1, len(body) + 100, 0xFFFFFFFF, len(body) // 2))
    file = whole(body, header, claim, rng.choice((None,) * 8 + (0,)))
    return file + file if rng.random() < 0.03 else file


def _new_definition(rng: random.Random) -> bytes:
    fields = [
        (rng.choice(_NUMBERS), rng.choice((1, 2, 4, 4, 8, 0, 3, 255)), rng.choice(_BASES))
        for _ in range(rng.choice((1, 3, 6)))
    ]
    developer = bytes([1, 0, rng.choice((1, 4)), 0]) if rng.random() < 0.2 else b""
    return definition(
        *fields,
        local=rng.randrange(4),
        number=rng.choice((20, 20, 20, 0, 18, 206, 207)),
        order=rng.choice("<<>"),
        developer=developer,
    )


def _other_field(message: bytes, rng: random.Random) -> bytes:
    out = bytearray(message)
    if len(out) < 9:
        return bytes(out) + b"\0"
    at = 6 + 3 * rng.randrange((len(out) - 6) // 3)
    out[at + rng.randrange(3)] = rng.choice((*_NUMBERS, *_BASES, 1, 2, 4, 8))
    if rng.random() < 0.1:
        out[rng.choice((0, 2, 3, 5))] ^= 1 << rng.randrange(6)
    return bytes(out)


def _other_value(message: bytes, rng: random.Random) -> bytes:
    out = bytearray(message)
    width = rng.choice((1, 2, 4, 4))
    at = 1 + rng.randrange(max(1, len(out) - width))
    value = rng.choice(_VALUES)
    if rng.random() < 0.3:
        value = int.from_bytes(out[at : at + width], "little") + rng.choice((-1, 1, 1000, -86_400))
    out[at : at + width] = (value % (1 << 8 * width)).to_bytes(width, "little")
    return bytes(out)
