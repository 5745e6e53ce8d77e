"""Mutations that keep a format's shape, so that what is changed reaches the code behind the first check.

Each takes the bytes, a source of chance and a mutation that knows nothing of formats, and gives other bytes.
One time in ten or so the shape is broken too.
"""

from __future__ import annotations

import codecs
import copy
import gzip
import io
import random
import zipfile
from functools import reduce
from operator import xor
from typing import Any, Final

from fuzz_bytes import Raw, of_text, word
from lxml import etree

Rng = random.Random


def _shuffled(items: list[Any], rng: Rng) -> None:
    """Repeat, remove, move or multiply a few neighbours of a list."""
    if not items:
        return
    at = rng.randrange(len(items))
    length = rng.choice((1, 1, 2, 5))
    part = items[at : at + length]
    match rng.randrange(4):
        case 0:
            del items[at : at + length]
        case 1:
            items[at:at] = part
        case 2:
            to = rng.randrange(len(items) + 1)
            items[to:to] = part
        case _:
            items[at:at] = part * rng.choice((3, 30))


# NMEA: the checksum follows what was changed.

_KINDS: Final = ("RMC", "GGA", "GLL", "VTG", "GSA", "ZDA", "GSV", "GNS", "TXT")
_FIELDS: Final = (
    "A", "V", "N", "S", "E", "W", "D", "", "235959.99", "000000", "235960", "246060", "123519",
    "4807.038", "01131.000", "9999.99", "310299", "010100", "311299", "320000", "31", "2038",
)  # fmt: skip


def nmea(data: bytes, rng: Rng, raw: Raw) -> bytes:
    """Change fields and sentences of an NMEA log."""
    if rng.random() < 0.1:
        return raw(data)
    lines = data.decode("latin-1").splitlines()
    for _ in range(rng.choice((1, 1, 2, 4))):
        at = rng.randrange(len(lines)) if lines else 0
        if not lines or rng.random() < 0.3:
            _shuffled(lines, rng)
        elif rng.random() < 0.1:
            lines[at] = raw(lines[at].encode("latin-1", "replace")).decode("latin-1")
        else:
            lines[at] = _sentence(lines[at], rng, raw)
    return rng.choice(("\r\n", "\r\n", "\n", "\r")).join(lines).encode("latin-1", "replace") + b"\r\n"


def _sentence(line: str, rng: Rng, raw: Raw) -> str:
    fields = line.partition("$")[2].partition("*")[0].split(",")
    at = rng.randrange(len(fields))
    if at == 0:
        fields[0] = rng.choice(("GP", "GN", "GL", "P")) + rng.choice(_KINDS)
    elif rng.random() < 0.5:
        fields[at] = rng.choice(_FIELDS)
    else:
        fields[at] = of_text(fields[at], rng, raw)
    if rng.random() < 0.15:
        _shuffled(fields, rng)
    body = ",".join(fields)
    checksum = reduce(xor, body.encode("latin-1", "replace"), 0)
    return f"${body}*{checksum ^ (rng.random() < 0.03):02X}" if rng.random() < 0.95 else f"${body}"


# GPX: elements are moved about, the XML stays well formed.

_NAMES: Final = (
    "trkpt", "trkseg", "trk", "wpt", "rtept", "gpx", "time", "speed", "course", "ele", "sat", "hdop",
    "fix", "extensions", "hAcc", "sAcc", "vspeed", "TrackPointExtension", "name", "magvar", "number",
    "ageofdgpsdata", "dgpsid", "link", "bounds", "metadata", "author", "copyright", "year",
)  # fmt: skip
_FOREIGN: Final = b'<!DOCTYPE gpx SYSTEM "file:///dev/zero">'  # whoever opens it does not come to its end


def gpx(data: bytes, rng: Rng, raw: Raw) -> bytes:
    """Change, move and rename the elements of a GPX file."""
    if rng.random() < 0.15:
        return raw(data)
    if rng.random() < 0.02:
        return _FOREIGN + data
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError):
        return raw(data)
    elements = list(root.iter(etree.Element))
    for _ in range(rng.choice((1, 1, 2, 4))):
        _element(rng.choice(elements), elements, rng, raw)
    encoding = rng.choice(("utf-8", "utf-8", "utf-8", "utf-16", "latin-1", "us-ascii"))
    try:
        return bytes(etree.tostring(root, encoding=encoding, xml_declaration=rng.random() < 0.5))
    except (LookupError, ValueError, etree.LxmlError):
        return raw(data)


def _element(element: Any, elements: list[Any], rng: Rng, raw: Raw) -> None:
    parent = element.getparent()
    try:
        match rng.randrange(8):
            case 0 | 1:
                element.text = of_text(element.text or "", rng, raw)
            case 2 if len(element.attrib):
                key = rng.choice(list(element.attrib))
                element.set(key, of_text(element.get(key), rng, raw))
            case 3 if parent is not None:
                parent.remove(element)
            case 4 if parent is not None:
                for _ in range(rng.choice((1, 1, 5))):
                    parent.insert(rng.randrange(len(parent) + 1), _copied(element))
            case 5:
                space = etree.QName(element).namespace if rng.random() < 0.7 else rng.choice((None, "x:y"))
                name = rng.choice(_NAMES)
                element.tag = f"{{{space}}}{name}" if space else name
            case 6:
                child = etree.SubElement(rng.choice(elements), rng.choice(_NAMES))
                child.text = word(rng)
            case _:
                child = _copied(element)
                rng.choice(elements).append(child)
    except ValueError:  # control characters, which XML does not hold
        return


def _copied(element: Any) -> Any:
    return copy.deepcopy(element)


# Tables: cells, rows, columns, delimiters, encodings.

_HEADINGS: Final = (
    "time", "utc", "Date", "t_s", "Time [ms]", "elapsed", "host time", "lat", "lon", "GPS Speed", "alt",
    "Speed (km/h)", "speed_mps", "course", "fix", "sats", "hdop", "Voltage [V]", "Current (A)", "eRPM",
    "RPM", "shaft rpm", "Throttle %", "ESC temp \u00b0F", "temp", "charge [Ah]", "ax [g]", "", "V",
)  # fmt: skip


def table(data: bytes, rng: Rng, raw: Raw) -> bytes:
    """Change cells, rows, columns, the delimiter and the encoding of a table."""
    if rng.random() < 0.1:
        return raw(data)
    text = data.decode("utf-8", "replace")
    delimiter = max(",;\t", key=text[:500].count)
    rows = [line.split(delimiter) for line in text.splitlines()]
    for _ in range(rng.choice((1, 1, 2, 4))):
        match rng.randrange(9):
            case 0:
                _shuffled(rows, rng)
            case 1 if rows and rows[0]:
                rows[0][rng.randrange(len(rows[0]))] = rng.choice(_HEADINGS)
            case 2 if rows:
                _shuffled(rng.choice(rows), rng)
            case 3 if rows:
                _column(rows, rng)
            case 4 if rows:
                row = rng.choice(rows)
                row[:] = [f'"{cell}"' if rng.random() < 0.5 else cell + '"' for cell in row]
            case 5 if rng.random() < 0.3:
                delimiter = rng.choice(",;\t|")
            case _ if rows:
                row = rng.choice(rows)
                if row:
                    at = rng.randrange(len(row))
                    row[at] = of_text(row[at], rng, raw)
    end = rng.choice(("\n", "\n", "\r\n", "\r"))
    out = end.join(delimiter.join(row) for row in rows) + end * rng.randrange(2)
    return _encoded(out, rng)


def _column(rows: list[list[str]], rng: Rng) -> None:
    at = rng.randrange(max(1, len(rows[0])))
    to = rng.randrange(max(1, len(rows[0])))
    value = word(rng) if rng.random() < 0.5 else None
    for row in rows[1:]:
        if at < len(row) and to < len(row):
            row[to] = row[at] if value is None else value


def _encoded(text: str, rng: Rng) -> bytes:
    encoding = rng.choice(
        ("utf-8",) * 8 + ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252")
    )
    data = text.encode(encoding, "replace")
    return codecs.BOM_UTF8 + data if rng.random() < 0.02 else data


# Archives: what is inside is changed, then packed again; or the archive's own bytes are.


def archive(data: bytes, rng: Rng, raw: Raw) -> bytes:
    """Change what an archive holds, how it holds it, or its own bytes."""
    if rng.random() < 0.5:
        return raw(data)
    files = _unpacked(data)
    name = rng.choice(list(files))
    inside = files[name]
    mutator = gpx if b"<gpx" in inside else nmea if b"$GP" in inside else table
    files[name] = raw(inside) if b".FIT" in inside[:14] else mutator(inside, rng, raw)
    if rng.random() < 0.1:
        files[rng.choice(("../x.csv", "/x.gpx", "a\\b.fit", "\x1b[2J.csv", "x" * 300, "in.zip"))] = inside
    if rng.random() < 0.3:
        packed = gzip.compress(files[name], 1, mtime=0)
        return packed + packed if rng.random() < 0.1 else packed
    out = io.BytesIO()
    method = rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_BZIP2))
    with zipfile.ZipFile(out, "w", method) as packing:
        for name, inside in list(files.items())[:8]:
            packing.writestr(zipfile.ZipInfo(name), inside, method)
    packed = out.getvalue()
    return raw(packed) if rng.random() < 0.2 else packed


def _unpacked(data: bytes) -> dict[str, bytes]:
    """Take small archives apart; what is none stands for itself."""
    try:
        if data.startswith(b"\x1f\x8b"):
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
                return {"in.csv": stream.read(100_000)}
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            small = [m for m in packed.infolist()[:8] if m.file_size < 100_000]
            return {m.filename: packed.read(m) for m in small} or {"in.csv": data}
    except Exception:  # any damage there is: this is what the archives are damaged for
        return {"in.csv": data}
