"""What is fuzzed, by name: where to begin, how to change it, and what must hold of it."""

from __future__ import annotations

import random
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import fuzz_fit
import fuzz_mutators
import fuzz_texts
from fuzz_bytes import Raw
from fuzz_oracle import FILE, examine, hold_error
from fuzz_seeds import seeds

from telemetry.core.errors import LogError
from telemetry.core.frames import Log
from telemetry.readers import READERS, LogReader, ReadOptions, open_bytes, read_bytes

Mutator = Callable[[bytes, random.Random, Raw], bytes]
Check = Callable[[bytes, float, bool], object]

_ONE_IN = 5  # of all inputs during a long run, how many are looked at thoroughly


@dataclass(frozen=True)
class Target:
    """One thing to fuzz.

    Attributes
    ----------
    name : str
    seeds : callable
        Inputs to begin from.
    mutate : callable
        Changes an input and keeps its shape.
    check : callable
        ``check(data, slack, thorough)`` raises where something is wrong with what is made of the input.
    """

    name: str
    seeds: Callable[[], list[bytes]]
    mutate: Mutator
    check: Check

    def sampled(self, data: bytes, slack: float) -> None:
        """Check an input, thoroughly where its bytes say so: the same input is always treated alike."""
        self.check(data, slack, zlib.crc32(data) % _ONE_IN == 0)


def _options(data: bytes) -> ReadOptions:
    """Choose by the bytes what the user has told the reader."""
    told = (
        ReadOptions(),
        ReadOptions(pole_pairs=3, gear_ratio=1.5),
        ReadOptions(headings={"time": "ignore", "speed": "speed_mps:mph"}),
    )
    return told[zlib.adler32(data) % len(told)]


def _reader(reader: LogReader, data: bytes, slack: float, thorough: bool) -> None:
    """Past the registry, so that nothing turns a reader's own exception into an error."""
    for one in READERS:
        assert one.sniff(data[:4096]) in (True, False)
    examine(lambda: reader.read(data, FILE, _options(data)), len(data), slack=slack, thorough=thorough)


def _sniffing(data: bytes, slack: float, thorough: bool) -> None:
    examine(partial(_unconverted, data, FILE), len(data), slack=slack, thorough=thorough)


def _unconverted(data: bytes, file: str) -> tuple[Log, ...]:
    """Read as the program does, but let through what the registry would turn into an error."""
    try:
        return read_bytes(data, file, _options(data))
    except LogError as error:
        if "reader cannot make sense of it" in error.reason:
            raise error.__cause__ or error from None
        raise


def _archive(data: bytes, slack: float, thorough: bool) -> None:
    def read() -> tuple[Log, ...]:
        opened = open_bytes(data, FILE)
        logs: list[Log] = []
        refused = list(opened.errors)
        for found in opened.files:
            try:
                logs += _unconverted(found.data, found.file)
            except LogError as error:
                refused.append(error)
        for error in refused:
            hold_error(error)
        if not logs:
            raise refused[0]
        return tuple(logs)

    examine(read, 20_000 + 250 * len(data), slack=slack, thorough=thorough)


_MUTATORS: dict[str, Mutator] = {
    "gpx": fuzz_mutators.gpx,
    "fit": fuzz_fit.fit,
    "nmea": fuzz_mutators.nmea,
    "table": fuzz_mutators.table,
}


def _any(data: bytes, rng: random.Random, raw: Raw) -> bytes:
    return raw(data) if rng.random() < 0.5 else rng.choice(list(_MUTATORS.values()))(data, rng, raw)


TARGETS: dict[str, Target] = {
    **{
        reader.name: Target(
            reader.name, partial(seeds, reader.name), _MUTATORS[reader.name], partial(_reader, reader)
        )
        for reader in READERS
    },
    "archive": Target("archive", partial(seeds, "archive"), fuzz_mutators.archive, _archive),
    **{
        name: Target(name, partial(fuzz_texts.seeds, name), mutate, check)
        for name, mutate, check in (
            ("rule", fuzz_texts.text, fuzz_texts.rule),
            ("sheet", fuzz_texts.text, fuzz_texts.sheet),
            ("found", fuzz_texts.text, fuzz_texts.found),
            ("parts", fuzz_texts.text, fuzz_texts.parts),
            ("map", fuzz_texts.text, fuzz_texts.heading_map),
            ("backup", fuzz_texts.backup_text, fuzz_texts.backup),
        )
    },
    "sniffing": Target("sniffing", partial(seeds, "sniffing"), _any, _sniffing),
}
