"""Texts that users bring besides logs: rules, sheets, measures as found, parts, heading maps, backups."""

from __future__ import annotations

import io
import json
import random
import re
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from fuzz_bytes import NUMBERS, Raw, of_text, word
from fuzz_oracle import hold_text
from fuzz_watch import watched

from telemetry.core.errors import LogbookError, ReciprocalError, RuleError, SetupError
from telemetry.logbook.backup import open_backup
from telemetry.readers import SavedColumnMap
from telemetry.readers.column_maps import map_of_text
from telemetry.setup.files import parse_table, parts_of_table
from telemetry.setup.inspection import FoundMeasure
from telemetry.setup.sheet import SetupSheet
from telemetry.twoway.rules import parse_rule, shipped_text

FILE: Final = "any.toml"
_TOKEN: Final = re.compile(r'"[^"\n]*"|[-+\w.]+|\S')
_ODD: Final = (
    "[" * 3000, "{" * 3000, "[[a]]", "a.b.c = 1", '"""', "'", "\\u0000", "\\ud800", "true", "null",
    "1979-05-27T07:32:00Z", "[]", "{}", "=", "[a]", "0b1", "1e400", "inf", "nan", "9" * 5000,
)  # fmt: skip

_SHEET: Final = b"""boat = "Kestrel"
name = "calm water"
made_utc = "2025-06-14T08:00:00Z"
[readings]
strut_depth_mm = { value = 3.0, gauge = "calliper", resolution = 0.05 }
strut_angle_deg = 1.5
[[own]]
name = "sponson_mm"
title = "sponson"
unit = "mm"
"""
_PARTS: Final = b"""[[parts]]
name = "pack"
mass = 1.1
place = "180 mm"
low = 150
high = 220
[[parts]]
name = "hull"
mass = "1200 g"
place = 330
mass_resolution = 0.005
"""
_MAP: Final = SavedColumnMap(
    ("when", "V GPS", "turns"), ("", "km/h", ""), {"V GPS": "speed_mps", "turns": "erpm"}, 3, 1.5
)


def text(data: bytes, rng: random.Random, raw: Raw) -> bytes:
    """Change, move, repeat and drop the words of a text in TOML or JSON."""
    if rng.random() < 0.2:
        return raw(data)
    words = list(_TOKEN.finditer(data.decode("utf-8", "replace")))
    source = data.decode("utf-8", "replace")
    for _ in range(rng.choice((1, 1, 2, 4))):
        if not words:
            return raw(data)
        at = rng.choice(words)
        new = rng.choice(
            (
                rng.choice(_ODD),
                rng.choice(NUMBERS),
                f'"{word(rng)}"',
                of_text(at[0], rng, raw),
                "",
                rng.choice(words)[0],
            )
        )
        source = source[: at.start()] + new + source[at.end() :]
        words = list(_TOKEN.finditer(source))
    return source.encode("utf-8", "replace")


def _only(
    errors: type[ReciprocalError], read: Callable[[str], object]
) -> Callable[[bytes, float, bool], object]:
    def check(data: bytes, slack: float, thorough: bool) -> None:
        try:
            source = data.decode("utf-8")
        except UnicodeDecodeError:
            return  # refused where the file is read
        with watched("reading", slack * (0.5 + 1e-5 * len(data)), 60):
            try:
                made = read(source)
            except errors as error:
                hold_text(str(error))
                return
        assert made == read(source) or "nan" in source.lower(), "read twice, two results"

    return check


rule = _only(RuleError, lambda source: parse_rule(source, FILE))
sheet = _only(SetupError, lambda source: SetupSheet.from_dict(parse_table(source, FILE), FILE).to_dict())
found = _only(SetupError, lambda source: FoundMeasure.from_dict(parse_table(source, FILE), FILE))
parts = _only(SetupError, lambda source: parts_of_table(parse_table(source, FILE), FILE))


def heading_map(data: bytes, slack: float, thorough: bool) -> None:
    """A kept map is read back, or is damaged: a ValueError, which sets it aside."""
    with watched("reading", slack * (0.5 + 1e-5 * len(data)), 60):
        try:
            kept = map_of_text(data.decode("utf-8"))
        except ValueError:
            return
    assert SavedColumnMap.from_dict(json.loads(json.dumps(kept.to_dict()))) == kept


def backup(data: bytes, slack: float, thorough: bool) -> None:
    """A backup is opened with every hash right, or is refused in a sentence."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "any.zip"
        file.write_bytes(data)
        try:
            archive, *_ = open_backup(file)
        except LogbookError as error:
            hold_text(str(error))
        else:
            archive.close()


def _backup() -> bytes:
    out = io.BytesIO()
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    manifest: dict[str, Any] = {
        "schema": "reciprocal-backup/1", "program_version": "0.1.0", "revision": "0001",
        "made_utc": "2025-06-14T08:00:00+00:00", "tables": {"logs": {"rows": 0, "sha256": empty}},
    }  # fmt: skip
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(zipfile.ZipInfo("tables/logs.jsonl"), b"")
        archive.writestr(zipfile.ZipInfo("logbook.json"), json.dumps(manifest))
    return out.getvalue()


def backup_text(data: bytes, rng: random.Random, raw: Raw) -> bytes:
    """Change what a backup says of itself, or its bytes."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
    except Exception:  # damaged on purpose
        return raw(data)
    if rng.random() < 0.3 or not members:
        return raw(data)
    name = rng.choice(list(members))
    members[name] = text(members[name], rng, raw)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, inside in members.items():
            archive.writestr(zipfile.ZipInfo(name), inside)
    return out.getvalue()


def seeds(name: str) -> list[bytes]:
    """Return texts of one kind to begin from."""
    return {
        "rule": [shipped_text(name).encode() for name in ("water", "land", "sixteenth-mile")],
        "sheet": [_SHEET, json.dumps(parse_table(_SHEET.decode(), FILE)).encode()],
        "found": [
            _SHEET,
            b'boat = "Kestrel"\nmeasured_utc = "2025-06-14T08:00:00Z"\nreadings.strut_depth_mm = "3,0 mm"\n',
        ],
        "parts": [_PARTS],
        "map": [json.dumps(_MAP.to_dict()).encode()],
        "backup": [_backup()],
    }[name]
