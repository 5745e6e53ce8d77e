"""The command ``demo``: the sample outings in a temporary logbook."""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module, resources
from pathlib import Path
from typing import Any

from telemetry.cli import options
from telemetry.cli.catalogue import Commands
from telemetry.cli.commands import serve_dashboard
from telemetry.cli.outcome import DONE, SOME_INPUT_UNUSED, complain
from telemetry.compare import Units, compare, comparison_text
from telemetry.core.errors import LogbookError
from telemetry.logbook import Boat, Conditions, Logbook, NamedLog, open_logbook
from telemetry.setup import Reading, SetupSheet
from telemetry.text.logbook import outings_text
from telemetry.text.run import analysis_text


def demo(args: Namespace) -> int:
    """Report the sample logs, outing by outing, and what the logbook then holds."""
    status = DONE
    with _throw_away_logbook() as logbook:
        for outing in _sample_outings():
            boat = _known(logbook, outing.boat)
            imported = logbook.import_outing(outing.files, boat, outing.sheet, outing.conditions)
            told = analysis_text(
                imported.analysis, args.unit, every_check=False, temperature_unit=args.temperature_unit
            )
            print(f"=== {outing.story}\n\n{told}\n")
            complain(imported.unused)
            status = max(status, SOME_INPUT_UNUSED if imported.unused else DONE)
        told = _season(logbook, Units(args.unit, args.temperature_unit))
        found = logbook.outings()
        print(f"=== Did the change help? A season of another boat, simulated now\n\n{told}\n")
        print(f"=== All of them in the logbook\n\n{outings_text(found, len(found), args.unit)}\n")
        if not args.no_serve and sys.stdout.isatty():
            serve_dashboard(args, samples=True, logbook=logbook.where)
    return status


def _season(logbook: Logbook, units: Units) -> str:
    """Add a simulated season to the logbook, and compare its first setup sheet with its last."""
    # The library must not import the simulator, as it must not import the samples: it is found by name.
    season: Any = import_module("sample_logs.season")
    name, length_m = season.SEASON_BOAT.name, season.SEASON_BOAT.length_m
    logbook.add_boat(Boat(name, hull_kind="catamaran", length_m=length_m))
    for one in season.season():
        conditions = Conditions(
            place=season.LAKE, wind_mps=one.wind_mps, air_c=one.air_c, water_c=one.water_c, pack=one.pack
        )
        logs = [NamedLog(file, content) for file, content in one.files.items()]
        logbook.import_outing(logs, name, one.sheet, conditions)
    first, *_, last = logbook.sheets(name)
    evidence = logbook.evidence(name)
    before, after = ([e for e in evidence if e.sheet_id == s.sheet_id] for s in (first, last))
    comparison = compare(before, after, before_sheet=first, after_sheet=last, history=evidence)
    return comparison_text(comparison, units)


@dataclass(frozen=True, slots=True)
class _SampleOuting:
    story: str
    start_utc: str
    files: tuple[Path, ...]
    boat: Boat
    sheet: SetupSheet
    conditions: Conditions


def _sample_outings() -> list[_SampleOuting]:
    # The samples are data to this library: found through the import system, never imported. The truth file
    # that the simulator wrote for each outing names its logs.
    folder = Path(str(resources.files("sample_logs"))) / "data"
    truths = [json.loads(file.read_text(encoding="utf-8")) for file in folder.glob("*_truth.json")]
    return sorted((_told(truth, folder) for truth in truths), key=lambda outing: outing.start_utc)


def _told(truth: dict[str, Any], folder: Path) -> _SampleOuting:
    boat, water = truth["boat"], truth["water"]
    # A second recorder aboard would list each pass twice.
    names = (truth["speed_logs"][0], truth["motor_log"])
    readings = {
        "prop_diameter_mm": boat["diameter_mm"],
        "prop_pitch_mm": boat["pitch_mm"],
        "kv_rpm_per_v": boat["kv_rpm_per_v"],
        "pole_pairs": float(boat["pole_pairs"]),
        "cells": float(boat["cells"]),
    }
    sheet = SetupSheet(boat["name"], {k: Reading(v) for k, v in readings.items()}, name="as simulated")
    east, north = water["wind_east_mps"], water["wind_north_mps"]
    conditions = Conditions(
        place=truth["lake"]["name"],
        wind_mps=math.hypot(east, north),
        wind_from_deg=math.degrees(math.atan2(-east, -north)) % 360.0,
    )
    return _SampleOuting(
        truth["story"],
        truth["start_utc"],
        tuple(folder / name for name in names),
        Boat(boat["name"], length_m=boat["length_m"]),
        sheet,
        conditions,
    )


@contextmanager
def _throw_away_logbook() -> Iterator[Logbook]:
    folder = tempfile.TemporaryDirectory(prefix="reciprocal-demo-", ignore_cleanup_errors=True)
    with folder as name, open_logbook(Path(name) / "logbook.sqlite") as logbook:
        yield logbook


def _known(logbook: Logbook, boat: Boat) -> str | Boat:
    """Return the name of a known boat; a new boat is added with its first outing."""
    try:
        return logbook.boat(boat.name).name
    except LogbookError:
        return boat


def _add_demo(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--no-serve",
        action="store_true",
        help="print only; this is the default if the output is not a terminal",
    )
    options.add_unit(parser)
    options.add_temperature_unit(parser)
    options.add_address(parser)


COMMANDS: Commands = {"demo": (demo, _add_demo)}
